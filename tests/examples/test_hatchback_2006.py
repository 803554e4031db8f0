"""A hatchback of 2006 whose amplifier nobody switched on: what a good hand would say.

Written down before the job was run:

- Silent everywhere since the new radio, each coil sound, and no volts on the amplifier's turn-on
  wire: the amplifier is off, and find says so with at least 85 in 100. No loudspeaker is to blame.
- Joining the turn-on wire ends it and costs half an hour or so; that is the plan to take.
- The door woofers are 2 ohm. The amplifier is made for that and bears them; no stop.
- The radio is made for 4 ohm. A plan that hangs the woofers on its rear outputs loads it with less
  than it bears: never to be taken, and it cures only half.
- The tweeters have neither capacitor nor fault: the amplifier keeps bass from them at 3.5 kHz. That
  is no stop; without the high-pass it would be one.
- Woofer and tweeter of a door hand over near 3 kHz, at the corners of their filters.
- With the turn-on wire joined it plays; until then nothing does, and hear says so.
- The radio's two front outputs drive no loudspeaker: its chip stays cool, they feed the amplifier,
  and the wiring sheet says to which input they go.
- The amplifier's cable is 4 mm2 copper behind 20 A: its fuse protects it, and the current asked for
  follows from the amplifier itself.
"""

from pathlib import Path

import pytest

import conewright as cw
from conewright.papers.make import papers
from conewright.papers.press.answers import Answers
from conewright.papers.wiring.schedule import schedule
from conewright.papers.work.checks import power_up
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Report, Severity

FILE = Path(__file__).parents[2] / "examples" / "hatchback-2006.toml"
JOB = cw.load(FILE)
TURN_ON, ON_RADIO = "turn-on", "woofers-on-radio"
WOOFERS, TWEETERS = ("woofer-left", "woofer-right"), ("tweeter-left", "tweeter-right")


def value(report: Report, name: str) -> float:
    found = report.figure(name).value
    assert found is not None
    return found


@pytest.fixture(scope="module")
def fed() -> Report:
    return cw.feed(JOB.build(TURN_ON))


@pytest.fixture(scope="module")
def compared() -> Report:
    return cw.compare(JOB)


def test_find_names_the_amplifier_and_no_loudspeaker() -> None:
    report = cw.find(JOB.build())
    assert value(report, "cause.amplifier-off@door-amplifier") > 0.85
    assert "amplifier in the vehicle dead or not turned on at door-amplifier" in report.answer
    others = [f for f in report.figures if f.id.startswith("cause.coil-open@")]
    assert all((each.value or 0.0) < 0.05 for each in others)


def test_without_the_reading_of_the_wire_it_is_the_likeliest_all_the_same() -> None:
    job = JOB.without_reading("turn-on", "door-amplifier")
    report = cw.find(job.build())
    causes = {f.id: f.value or 0.0 for f in report.figures if f.id.startswith("cause.")}
    assert max(causes, key=causes.__getitem__) == "cause.amplifier-off@door-amplifier"


def test_the_amplifier_bears_its_woofers(fed: Report) -> None:
    for name in WOOFERS:
        assert 1.6 <= value(fed, f"{name}.minimum_impedance") <= 2.6
        verdict = next(v for v in fed.verdicts if v.id == f"{name}.load")
        assert verdict.severity in (Severity.GOOD, Severity.NOTE)
        assert "Boot amplifier" in verdict.text
        # 20 W into 2 ohm as printed, less what its cable takes
        assert 14.0 < value(fed, f"{name}.clean_power") < 21.0
    assert not any(v.severity is Severity.STOP for v in fed.verdicts)


def test_the_radio_drives_nothing_itself(fed: Report) -> None:
    assert "The radio drives no loudspeaker itself" in fed.answer
    for name in ("front-left", "front-right"):
        assert fed.figure(f"{name}.minimum_impedance").text == "feeds Boot amplifier"
    assert value(fed, "head_unit.chip_temperature") < 70.0


def test_the_tweeters_are_kept_by_their_high_pass_and_not_without(fed: Report) -> None:
    assert not any(v.id.endswith(".bare") for v in fed.verdicts)
    text = FILE.read_text(encoding="utf-8")
    off = '[[proposal]]\nid = "off"\n[proposal.set]\n"tweeter-*.high_pass" = "off"\n'
    bare = [
        each
        for each in cw.feed(cw.loads(f"{text}\n{off}").build("off")).verdicts
        if each.id.endswith(".bare")
    ]
    assert {each.subject for each in bare} == {"pillar-fl", "pillar-fr"}
    assert {each.severity for each in bare} == {Severity.STOP}
    # As it was found one may sit in the tweeter itself: that is looked at first.
    found = cw.feed(cw.loads(text.replace('high_pass = "3500 Hz"', 'high_pass = "off"')).build())
    told = {each.severity for each in found.verdicts if each.id.endswith(".bare")}
    assert told == {Severity.WARN}


def test_the_supply_of_the_amplifier_follows_from_it(fed: Report) -> None:
    asked = value(fed, "amplifier-feed.asked_current")
    assert asked == pytest.approx(15.0)  # its own fuse, as printed
    music = value(fed, "door-amplifier.supply_current")
    assert 1.0 < music < value(fed, "door-amplifier.supply_current_sine") < 15.0
    protection = next(v for v in fed.verdicts if v.id == "amplifier-feed.protection")
    assert protection.severity is Severity.GOOD
    assert value(fed, "door-amplifier.heat") > 5.0


def test_it_is_silent_until_the_wire_is_joined() -> None:
    found = JOB.with_finding("amplifier-off", "door-amplifier")
    silent = cw.hear(found.build())
    assert silent.answer.startswith("Nothing plays")
    plays = cw.hear(found.build(TURN_ON))
    assert value(plays, "driver.max_clean_level") > 85.0


def test_woofer_and_tweeter_hand_over_at_their_filters() -> None:
    report = cw.hear(JOB.build(TURN_ON))
    for name in ("pillar-fl", "pillar-fr"):
        assert 2000.0 < value(report, f"{name}.crossover") < 4500.0


def test_the_turn_on_wire_is_the_plan_and_the_radio_is_not(compared: Report) -> None:
    assert value(compared, f"{TURN_ON}.cure_odds") > 0.8
    assert f"{TURN_ON}" in compared.answer or "turn-on wire" in compared.answer.lower()
    risk = next(v for v in compared.verdicts if v.id == f"{ON_RADIO}.risk")
    assert "woofer-left falls below what the radio bears" in risk.text
    assert not any(v.id == f"{TURN_ON}.risk" for v in compared.verdicts)


def test_mending_is_half_an_hour_of_work() -> None:
    steps = {step.id: step for step in outlay(JOB.build(TURN_ON)).steps}
    assert "amplifier-proved" in steps
    assert 10.0 <= steps["amplifier-proved"].minutes.typical <= 45.0


def test_the_papers_show_the_amplifier_between_radio_and_doors() -> None:
    build = JOB.build(TURN_ON)
    plan = schedule(build)
    rows = {row.title: row for row in plan.conductors}
    assert rows["front-left +"].goes_to == "input of Boot amplifier, +"
    assert rows["woofer-left +"].goes_to == "door-fl +, from door-amplifier"
    assert any("Boot amplifier stands between the radio and" in note for note in plan.notes)
    checks = {check.id: check for check in power_up(Answers(build))}
    assert [line.subject for line in checks["turn-on"].lines] == ["door-amplifier"]
    loud = checks["all"].lines[0].expect
    assert "by the radio and " in loud
    assert loud.endswith("by Boot amplifier from the supply")
    # no output of the radio has a loudspeaker, and no output of an amplifier rests at half supply
    assert "bias" not in checks
    assert len(papers(build).files) > 3
