"""A saloon of 1972 whose one loudspeaker rasps on bass: what a good hand would say.

Written down before the job was run:

- One loudspeaker in the dash, a mono radio with two knobs: there is no corner to compare, no fader,
  no hands-free, no phone. Nobody is asked to reset settings, to record a call, to swing a door, to
  listen to left and right together.
- It rasps on bass: the cone's edge has gone, something on the dash rattles along, or the coil rubs.
  Together they are behind nine of ten; the paper and cloth of 1972 first.
- Look at it and push on the cone: the grille is off in a quarter of an hour, and that settles it.
  With a torn edge seen it is certain enough to act on.
- The one that is torn has no twin to budget for.
- Such a radio gives some 5 W, one side of the loudspeaker on chassis: never to a bridge output.
- It has no high-pass to set: bass down at the tone knob.
- An oval in an oval: 91 x 138 mm goes into 92 x 139 mm, nothing is cut, and screws lie on screws.
- A new surround or a new oval cures it; both are told with their price, and a new one costs more.
"""

from pathlib import Path

import pytest

import conewright as cw
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.papers.make import papers
from conewright.papers.press.answers import Answers
from conewright.papers.work.checks import settings
from conewright.stages.report.data import Report, Severity

FILE = Path(__file__).parents[2] / "examples" / "saloon-1972.toml"
JOB = cw.load(FILE)
NOT_THERE = {"settings", "microphone", "amplifier-off", "sleep-drain", "reversed", "panel-open"}
NEVER_ASKED = {
    *("settings-reset", "call-test", "corner-solo", "mono-bass", "door-swing", "sleep-current"),
}


def read(**readings: str) -> Job:
    taken = [
        {"test": test.replace("_", "-"), "at": "dash-centre", "value": value}
        for test, value in readings.items()
    ]
    return from_dict(JOB.to_dict() | {"reading": taken})


def odds(report: Report) -> dict[str, float]:
    causes = [each for each in report.figures if each.id.startswith("cause.")]
    return {each.id.removeprefix("cause."): each.value or 0.0 for each in causes}


@pytest.fixture(scope="module")
def found() -> Report:
    return cw.find(JOB.build())


def test_it_checks() -> None:
    assert not JOB.doubts
    assert JOB.build().head_unit.output == "common-ground"


def test_what_a_radio_of_1972_has_not_cannot_fail(found: Report) -> None:
    assert not {name.partition("@")[0] for name in odds(found)} & NOT_THERE
    asked = {card.test for card in found.readings} | {
        step.reading.partition("@")[0] for step in found.plan
    }
    assert not asked & NEVER_ASKED


def test_the_edge_a_rattle_or_the_coil_is_behind_it(found: Report) -> None:
    causes = odds(found)
    assert max(causes, key=causes.__getitem__) == "surround-torn@dash-centre"
    rasping = {
        *("surround-torn", "trim-rattle", "coil-rubbing", "mount-loose", "cap-unglued"),
        "grit-or-water",
    }
    # Chances of causes that can be there together: they add up to a little more than one.
    assert sum(causes[f"{name}@dash-centre"] for name in rasping) > 0.9


def test_the_next_readings_are_a_look_and_a_push(found: Report) -> None:
    assert {"look", "cone-push"} <= {card.test for card in found.readings[:3]}
    for card in found.readings:
        assert not any("In a door" in text for text in card.cautions), card.id
    assert {card.subject for card in found.readings} <= {"dash-centre", "mono", "vehicle"}


def test_seen_torn_it_is_settled_and_has_no_twin() -> None:
    report = cw.find(read(look="torn surround").build())
    assert odds(report)["surround-torn@dash-centre"] > 0.85
    said = " ".join(verdict.text for verdict in report.verdicts)
    assert "twin" not in said
    assert "pair of drivers" not in said
    assert "or the driver replaced" in said


def test_some_five_watts_and_one_side_on_chassis() -> None:
    fed = cw.feed(JOB.build())
    power = fed.figure("mono.clean_power").value
    assert power is not None
    assert 3.0 < power < 6.5
    assert any("Common-ground" in caution.text for caution in fed.cautions)


def test_there_is_no_high_pass_to_set() -> None:
    heard = cw.hear(JOB.build())
    travel = next(each.text for each in heard.verdicts if each.id == "dash-centre.travel")
    assert "no filter" in travel
    assert "high-pass" not in travel
    card = settings(Answers(JOB.build()))
    assert [line.expect for line in card.high_pass] == [
        "this radio has none: bass down at the tone knob"
    ]
    assert not any("fader" in text or "Sound-field" in text for text in (*card.set, *card.off))


def test_an_oval_goes_into_an_oval() -> None:
    fits = cw.fit(JOB.build("new-oval"), whole=False)
    assert fits.figure("dash-centre.enlarge").value == pytest.approx(0.0, abs=0.5)
    assert fits.figure("dash-centre.driver_cutout_long").value == pytest.approx(138.0, abs=0.1)
    assert not [each for each in fits.verdicts if each.id == "dash-centre.oval"]


def test_both_plans_cure_it_and_a_new_one_costs_more() -> None:
    table = cw.compare(JOB)
    assert not [each for each in table.verdicts if each.severity is Severity.STOP]
    cure = {plan: table.figure(f"{plan}.cure_odds").value for plan in ("new-oval", "surround")}
    assert cure["new-oval"] is not None
    assert cure["surround"] is not None
    assert cure["new-oval"] > cure["surround"] > 0.3
    cost = [table.figure(f"{plan}.cost").value for plan in ("new-oval", "surround")]
    assert cost[0] is not None
    assert cost[1] is not None
    assert cost[0] > cost[1] > 0.0


@pytest.mark.parametrize("plan", [None, "new-oval", "surround"])
def test_the_papers_are_made(plan: str | None) -> None:
    made = papers(JOB.build(plan))
    # What is left as it was found has no quote.
    bought = {"parts.csv"} if plan else set()
    assert {"job-sheet.pdf", "wiring.pdf"} | bought <= {each.name for each in made.files}
