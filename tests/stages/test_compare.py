"""Compare: the vehicle as found and every proposal, from the same figures as the stages."""

import pytest
from workbench import DOOR, channel, job, location

from conewright.job.builds.job import Job
from conewright.stages.compare.stage import compare
from conewright.stages.feed.stage import feed
from conewright.stages.hear.stage import hear
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Severity


def bench() -> Job:
    return job(
        location("door", "F165-2", kind="door", more=DOOR),
        channel("front", "door"),
        '[job]\nhour_rate = 40\ncurrency = "EUR"\n',
        '[[proposal]]\nid = "higher"\nname = "4 ohm unit"\nhours = 2\nextra_cost = 10\n'
        '[proposal.set]\n"door.driver" = "F165"\n',
        '[[proposal]]\nid = "bare"\nname = "ring off"\n[proposal.set]\n"door.mount.ring" = false\n',
    )


def test_columns_agree_with_the_stages() -> None:
    found = bench()
    report = compare(found)
    change = hear(found.build("higher"), found.build())
    names = {name: name for name in ("bass_change", "treble_change")}
    for theirs, ours in {**names, "level_change": "overall_change"}.items():
        figure = change.figure(f"driver.{theirs}")
        column = report.figure(f"higher.{ours}_driver")
        assert column.value == pytest.approx(figure.value, abs=1e-9)
        assert column.low == pytest.approx(figure.low, abs=1e-9)
    fed = feed(found.build("higher"))
    load = report.figure("higher.minimum_load").value
    assert load == pytest.approx(fed.figure("front.minimum_impedance").value)
    heat = report.figure("higher.chip_temperature").value
    assert heat == pytest.approx(fed.figure("head_unit.chip_temperature").value)


def test_money_and_hours_are_those_of_the_outlay() -> None:
    found, report = bench(), compare(bench())
    for plan in ("as-found", "higher", "bare"):
        taken = outlay(found.build(plan))
        for name, amount in (("cost", taken.total), ("hours", taken.hours)):
            figure = report.figure(f"{plan}.{name}")
            ends = (amount.low, amount.typical, amount.high)
            assert (figure.low, figure.value, figure.high) == pytest.approx(ends)
    assert report.figure("higher.cost").unit == "EUR"
    assert report.figure("higher.hours").value == 2.0
    # by hand, in minutes: 5 + 15 + 3 + 20 + 5 + 7 + 3 + 15 + 10 + 12 + 20
    assert report.figure("higher.hours").text == (
        "the proposal writes 2 h of work, its steps add up to 1.92 h"
    )
    assert report.figure("as-found.cost").value == 0.0
    # A ring that comes off is work as well, whatever nobody wrote.
    assert (report.figure("bare.hours").value or 0.0) > 0.5


def test_every_build_has_its_worst_verdict_and_unknown_sensors_stop_door_work() -> None:
    report = compare(bench())
    told = [entry for entry in reversed(report.verdicts) if entry.subject != "vehicle"]
    worst = {entry.subject: entry.severity for entry in told}
    assert set(worst) == {"as-found", "higher", "bare"}
    # Nobody said whether the door holds a pressure sensor.
    assert worst["higher"] is worst["bare"] is Severity.STOP
    assert worst["as-found"] is not Severity.STOP


def test_a_job_without_proposals_is_answered() -> None:
    alone = job(location("door", "F165"), channel("front", "door"))
    report = compare(alone)
    assert "no proposal" in report.answer
    assert report.figure("as-found.minimum_load").value == pytest.approx(3.58, rel=0.02)


def test_a_plan_that_brings_nothing_is_not_praised() -> None:
    found = job(
        location("woofer", "F165"),
        channel("front", "woofer"),
        '[[proposal]]\nid = "same"\n[proposal.set]\n"front.load" = "-woofer"\n',
    )
    # Turning the only loudspeaker round changes nothing that is heard.
    assert compare(found).answer.startswith("Nothing has to be done")


def test_no_caution_is_said_twice() -> None:
    texts = [caution.text for caution in compare(bench()).cautions]
    assert any(text.startswith("Restraint parts") for text in texts)
    assert len(texts) == len(set(texts))
