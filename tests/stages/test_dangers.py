"""What burns or breaks something is said wherever a plan is looked at: one row for each danger."""

from dataclasses import dataclass
from functools import cache

import pytest

import conewright as cw
from conewright.data_files import data_rows
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.papers.make import reasons_against
from conewright.papers.press.answers import Answers
from conewright.papers.work.job_sheet import sheet_data
from conewright.stages.report.data import Severity, Verdict
from conewright.web.frame.answer import verdict_views

BASE = """
format = 1

[vehicle]
class = "estate"
battery = {{ capacity = "70 Ah", health = 0.9 }}
restraints = {{ curtain = "none", door_sensor = "none" }}

[[seat]]
id = "driver"
ear = ["0.1 m", "0.36 m", "1.1 m"]

[head_unit]
name = "radio"
output = "bridge"
minimum_load = "4 ohm"

[[channel]]
id = "left"
cable = {{ length = "3 m", size = "0.75 mm2" }}
return_by = "wire"
load = "door-l"

[[channel]]
id = "right"
cable = {{ length = "3 m", size = "0.75 mm2" }}
return_by = "wire"
load = "door-r | (4.7 uF + pillar-r)"

[[location]]
id = "door-l"
kind = "door"
at = ["0.8 m", "0.7 m", "0.3 m"]
driver = "woofer"

[[location]]
id = "door-r"
like = "door-l"
at = ["0.8 m", "-0.7 m", "0.3 m"]

[[location]]
id = "pillar-r"
kind = "pillar"
at = ["1.0 m", "-0.6 m", "0.9 m"]
driver = "tweeter"

[[driver]]
id = "woofer"
size = "165 mm"
age = "ageing"
re = "3.4 ohm"

[[driver]]
id = "two-ohm"
size = "165 mm"
age = "new"
re = "1.5 ohm"

[[driver]]
id = "tweeter"
size = "25 mm"
age = "ageing"
re = "3.4 ohm"

[[feed]]
id = "amp-feed"
to = "amplifier"
current = "25 A"
{fuse}fuse_distance = "200 mm"
length = "5 m"
size = "10 mm2"
metal = "copper"
route = "free"

[[proposal]]
id = "plan"
[proposal.set]
{changes}
"""
FUSED = 'fuse = "30 A"\n'


@dataclass(frozen=True)
class Danger:
    """A plan that burns something: what it changes, which verdict says so, how severe."""

    changes: str
    verdict: str
    severity: Severity
    word: str
    fuse: str = FUSED

    @property
    def job(self) -> Job:
        return _job(self.changes, self.fuse)

    def is_it(self, verdict: Verdict) -> bool:
        found = verdict.id.endswith(self.verdict) and self.word in verdict.text
        return found and verdict.severity is self.severity


@cache
def _job(changes: str, fuse: str) -> Job:
    return cw.loads(BASE.format(changes=changes, fuse=fuse))


STOP, WARN = Severity.STOP, Severity.WARN
DANGERS = {
    "unfused cable": Danger('"left.gain" = "-1 dB"', "amp-feed.fuse", STOP, "no fuse", fuse=""),
    "fuse far along it": Danger(
        '"amp-feed.fuse_distance" = "1.2 m"', "amp-feed.fuse", STOP, "burns unfused"
    ),
    "clad cable": Danger(
        '"amp-feed.metal" = "clad-aluminium"\n"amp-feed.size" = "4 mm2"',
        "amp-feed.protection",
        WARN,
        "clad aluminium",
    ),
    "converter overloaded": Danger(
        '"vehicle.system" = "24 V"\n"converter.rated_current" = "1 A"',
        "converter.overload",
        STOP,
        "1 A for good",
    ),
    "converter a little small": Danger(
        '"vehicle.system" = "24 V"\n"converter.rated_current" = "2 A"',
        "converter.overload",
        WARN,
        "2 A for good",
    ),
    "radio on 24 V": Danger('"vehicle.system" = "24 V"', "head_unit.supply", STOP, "24 V"),
    "radio on 6 V": Danger('"vehicle.system" = "6 V"', "head_unit.supply", STOP, "6 V"),
    "amplifier on 24 V": Danger('"vehicle.system" = "24 V"', "amp-feed.system", STOP, "24 V"),
    "positive earth": Danger('"vehicle.ground" = "positive"', "head_unit.ground", STOP, "plus"),
    "common ground on a bridge": Danger(
        '"left.return_by" = "chassis"', "left.return", STOP, "through the body"
    ),
    "shared return on a bridge": Danger(
        '"left.return_by" = "shared"', "left.return", STOP, "other loudspeakers use"
    ),
    "load under the limit": Danger('"door-l.driver" = "two-ohm"', "left.load", WARN, "falls to"),
    "resistor above its watts": Danger(
        '"left.load" = "door-l | 8.2 ohm"', "left.resistor_1", WARN, "resistor"
    ),
    "tweeter without capacitor": Danger(
        '"right.load" = "door-r | pillar-r"', "pillar-r.bare", STOP, "no capacitor"
    ),
}
ROWS = pytest.mark.parametrize("danger", DANGERS.values(), ids=DANGERS)


@ROWS
def test_feed_and_its_page_say_it(danger: Danger) -> None:
    report = cw.feed(danger.job.build("plan"))
    said = [each for each in report.verdicts if danger.is_it(each)]
    assert len(said) == 1
    shown = verdict_views(report.verdicts)
    assert any(danger.word in each.text and each.word == danger.severity for each in shown)


@ROWS
@pytest.mark.slow
def test_compare_and_its_page_say_it_of_the_plan(danger: Danger) -> None:
    report = cw.compare(danger.job)
    said = [each for each in report.verdicts if danger.is_it(each)]
    assert "plan" in {each.subject for each in said}
    shown = verdict_views(each for each in report.verdicts if each.subject == "plan")
    assert any(danger.word in each.text and each.word == danger.severity for each in shown)
    if danger.severity is STOP:
        assert "Take plan" not in report.answer


@ROWS
@pytest.mark.slow
def test_no_paper_is_made_of_a_stop_and_a_warning_stands_on_the_job_sheet(danger: Danger) -> None:
    answers = Answers(danger.job.build("plan"))
    if danger.severity is STOP:
        assert any(danger.word in each for each in reasons_against(answers))
    else:
        assert any(danger.word in each for each in sheet_data(answers)["warnings"])


def test_every_danger_that_compare_repeats_has_a_row_here() -> None:
    names = {danger.verdict.rpartition(".")[2] for danger in DANGERS.values()}
    listed = {row["verdict"] for row in data_rows("stages.compare", "dangers.csv")}
    # A fuse asked for too much and a loom that nobody looked at have tests of their own; volts and
    # amperes of a part by value are beyond every usual rating only behind a large amplifier.
    apart = {"asked", "shared-return", "capacitor_*", "inductor_*"}
    assert listed - apart == {name.replace("resistor_1", "resistor_*") for name in names}


def test_a_sound_plan_has_none_of_them() -> None:
    report = cw.feed(cw.loads(BASE.format(changes='"left.gain" = "-1 dB"', fuse=FUSED)).build())
    assert not [each for each in report.verdicts if each.severity.rank >= WARN.rank]


def test_a_second_wire_ends_the_stop() -> None:
    text = BASE.format(changes='"left.return_by" = "wire"', fuse=FUSED)
    text = text.replace(
        'return_by = "wire"\nload = "door-l"', 'return_by = "chassis"\nload = "door-l"'
    )
    job = cw.loads(text)
    for ask in (cw.find, cw.feed):
        assert any(each.id == "left.return" for each in ask(job.build()).verdicts)
    mended = job.build("plan")
    assert not any(each.id == "left.return" for each in cw.feed(mended).verdicts)
    taken = cw.outlay(mended)
    assert taken.changed.at("return-laid") == ("left",)
    assert [step.id for step in taken.steps if step.kind == "return-laid"] == ["second-wire"]
    # 3 m of one wire of 0.75 mm2, half of what a pair of that length takes.
    wire = next(line for line in taken.lines if "second of its pair" in line.title)
    assert wire.quantity == 3.0


@pytest.mark.parametrize("complaint", ["pops-or-hum", "all-silent-after-change"])
def test_a_shared_return_that_is_known_is_the_cause(complaint: str) -> None:
    text = BASE.format(changes='"left.return_by" = "wire"', fuse=FUSED)
    text = text.replace(
        'return_by = "wire"\nload = "door-l"', 'return_by = "chassis"\nload = "door-l"'
    )
    raw = cw.loads(text).to_dict()
    raw["job"] = raw.get("job", {}) | {"complaints": [complaint]}
    job = from_dict(raw)
    found = cw.find(job.build())
    # By definition: what is written down is there; and it explains what is complained of, so that
    # a radio with d.c. on its output is no likelier than in any vehicle.
    odds = {f.id: f.value or 0.0 for f in found.figures if f.id.startswith("cause.")}
    assert odds["cause.shared-return@left"] == 1.0
    assert "cause.shared-return@right" not in odds
    assert sum(chance for id, chance in odds.items() if "channel-offset" in id) < 0.1
    assert found.answer.startswith("Found: bridge output on a shared return at left.")
    cause = next(v.text for v in found.verdicts if v.id == "cause.shared-return@left")
    assert "second wire of its own" in cause
    # A plan that lays the second wire cures it; one that does not, does not.
    compared = cw.compare(job)
    cured = compared.figure("plan.cure_odds").value
    assert cured is not None
    assert cured > 0.6
    assert compared.figure("as-found.cure_odds").value == 0.0
    assert not [v for v in compared.verdicts if v.id == "plan.idle"]


def test_a_shared_return_is_no_cause_at_a_radio_that_is_made_for_it() -> None:
    text = BASE.format(changes='"left.gain" = "-1 dB"', fuse=FUSED)
    text = text.replace('output = "bridge"', 'output = "common-ground"')
    text = text.replace('return_by = "wire"', 'return_by = "chassis"')
    figures = cw.find(cw.loads(text).build()).figures
    assert not [f for f in figures if "shared-return" in f.id]


def test_a_plan_that_only_swaps_the_radio_is_stopped_on_the_old_loom() -> None:
    text = BASE.format(changes='"head_unit.name" = "new radio"', fuse=FUSED)
    text = text.replace('output = "bridge"', 'output = "common-ground"')
    text = text.replace('return_by = "wire"', 'return_by = "chassis"')
    job = cw.loads(text)
    assert not any(each.severity is STOP for each in cw.feed(job.build()).verdicts)
    build = job.build("plan")
    # Nothing says what the new radio's outputs are: bridges, as of every usual one.
    assert build.head_unit.output == "bridge"
    stopped = {each.id for each in cw.feed(build).verdicts if each.severity is STOP}
    assert stopped == {"left.return", "right.return"}
    loom = text.replace('return_by = "chassis"\n', "")
    warned = cw.feed(cw.loads(loom).build("plan"))
    assert any(each.id == "head_unit.shared-return" for each in warned.verdicts)
