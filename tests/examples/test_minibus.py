"""The minibus: what a practitioner would say before the job is reckoned.

Said after a first run of the example, and held since:

* The fronts are far from the benches and there is nothing behind: a pair at the second row makes it
  clearly louder there (some 3 to 7 dB), and less so at the driver, who sits beside his own.
* Each of the radio's free outputs drives one 4 ohm loudspeaker: no load falls below what is printed
  on the lid; with four channels in work the chip gets warmer, and stays below where it protects
  itself.
* The work is two openings, two grilles, two cables through the vehicle and two pairs onto the plug:
  a long half day to a day, not two hours. Nothing is done at the doors.
* The dead roof loudspeaker draws no current: taking it out changes nothing that one hears, costs
  no part but a plate, and takes the fault with it. Mending it would load the front left output
  with two in parallel, which the radio is not made for.
* So: the rear pair. Taking the dead one out is tidy, and brings the passengers nothing.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

import conewright as cw
from conewright.papers.make import papers
from conewright.papers.wiring.schedule import schedule
from conewright.stages.common.changes import changes
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Report, Severity

FILE = Path(__file__).parents[2] / "examples" / "minibus.toml"


@cache
def minibus() -> cw.Job:
    return cw.load(FILE)


@cache
def compared() -> Report:
    return cw.compare(minibus(), samples=64)


def value(report: Report, id: str) -> float:
    found = report.figure(id).value
    assert found is not None
    return found


def test_the_benches_hear_and_the_driver_hardly_notices() -> None:
    report = cw.hear(minibus().build("rear-pair"), minibus().build())
    assert 3.0 < value(report, "second-row.level_change") < 7.0
    assert value(report, "driver.level_change") < value(report, "second-row.level_change") - 1.0
    # What is new comes from the new places, and they are named.
    share = report.figure("second-row.change_voice_from_places")
    assert "side-rl and side-rr added" in share.label
    assert share.value == pytest.approx(value(report, "second-row.change_voice"), abs=0.1)


def test_each_free_output_drives_one_and_the_chip_bears_it() -> None:
    report = cw.feed(minibus().build("rear-pair"), minibus().build())
    for channel in ("rear-left", "rear-right"):
        assert 3.2 < value(report, f"{channel}.minimum_impedance") < 4.5
    assert value(report, "head_unit.chip_temperature_change") > 5.0
    limit = minibus().build().head_unit.limit.si - 273.15
    assert value(compared(), "rear-pair.chip_temperature") < limit
    assert not [each for each in report.verdicts if each.severity is Severity.STOP]


def test_it_is_a_day_and_not_two_hours() -> None:
    taken = outlay(minibus().build("rear-pair"))
    assert 4.0 < taken.hours.typical < 9.0
    changed = changes(minibus().build("rear-pair"))
    assert changed.opened == ("side-rl", "side-rr")
    for kind, at in (
        ("holed", ("side-rl", "side-rr")),
        ("grilled", ("side-rl", "side-rr")),
        ("relaid", ("rear-left", "rear-right")),
        ("channel-added", ("rear-left", "rear-right")),
    ):
        assert changed.at(kind) == at, kind
    assert taken.unpriced == ()


def test_the_dead_one_is_missed_by_nobody() -> None:
    report = cw.hear(minibus().build("roof-out"), minibus().build())
    for seat in ("driver", "second-row", "back-row"):
        assert value(report, f"{seat}.level_change") == pytest.approx(0.0, abs=0.05)
    taken = outlay(minibus().build("roof-out"))
    assert "blank" in {line.item for line in taken.lines}
    assert not [line for line in taken.lines if line.kind == "driver"]
    assert taken.hours.typical < 3.0
    assert minibus().build("roof-out").faults == ()
    assert cw.find(minibus().build("roof-out")).answer


def test_the_rear_pair_is_what_to_take() -> None:
    assert compared().answer.startswith("Take rear-pair (a rear pair in the side panels")
    told = [each.text for each in compared().verdicts if each.id == "mend.risk"]
    assert told
    assert "front-left falls below what the radio bears" in told[0]


@pytest.mark.parametrize("plan", ["rear-pair", "roof-out"])
def test_all_papers(plan: str) -> None:
    build = minibus().build(plan)
    made = papers(build)
    names = {file.name for file in made.files}
    assert {"job-sheet.pdf", "wiring.pdf", "parts.csv", "parts.pdf", "flags.pdf"} <= names
    wires = {row.group for row in schedule(build).conductors}
    if plan == "rear-pair":
        assert {"side-rl-new-opening.svg", "side-rr-new-opening.dxf"} <= names
        assert {"rear-left", "rear-right"} <= wires
    else:
        assert "rear-left" not in wires
