"""Places, channels and drivers that a plan adds or removes: the same as written from the start."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.text.parsing import loads
from conewright.job.text.starter import starter_text
from conewright.stages.common.changes import changes
from conewright.stages.feed.stage import feed
from conewright.stages.fit.stage import fit
from conewright.stages.hear.stage import hear
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.care import restraint_gate
from conewright.stages.report.data import Report, Severity

PARTS = {
    "location": (
        'id = "side-rl"\nkind = "panel"\nat = ["-0.9 m", "0.6 m", "0.7 m"]\ndriver = "small-100"\n'
        'trim = { grille_area = "60 cm2" }\nmount = { glass_depth = ["70 mm ± 2 mm"], ring = true, '
        'trim_gap = "18 mm ± 2 mm" }\n',
        'id = "side-rr"\nlike = "side-rl"\nat = ["-0.9 m", "-0.6 m", "0.7 m"]\n',
    ),
    "channel": (
        'id = "rear-left"\ncable = { length = "5 m", size = "0.75 mm2" }\nload = "side-rl"\n'
        'high_pass = "100 Hz"\n',
        'id = "rear-right"\ncable = { length = "5.5 m" }\nload = "4.7 uF + side-rr"\n',
    ),
    "driver": ('id = "small-100"\nsize = "100 mm"\nage = "new"\nprice = 40\n',),
}
REMOVED = ["side-rl", "side-rr", "rear-left", "rear-right"]


def entries(head: str) -> str:
    return "".join(f"[[{head}{name}]]\n{each}" for name, parts in PARTS.items() for each in parts)


def planned() -> Job:
    """The starter's vehicle with a plan that adds a rear pair."""
    return loads(f'{starter_text()}\n[[proposal]]\nid = "rear"\n{entries("proposal.add.")}')


def written() -> Job:
    """The same with the pair in it from the start, and a plan that takes it out."""
    return loads(
        f'{starter_text()}\n{entries("")}\n[[proposal]]\nid = "bare"\nremove = {REMOVED}\n'
    )


def alike(one: Report, other: Report) -> None:
    """Hold that two reports have the same figures to 1e-9, bands and all.

    What find suspects is of the vehicle as found, which is another one in the two jobs.
    """
    numbers = [
        {
            each.id: (each.value, each.low, each.high)
            for each in report.figures
            if each.subject != "suspected"
        }
        for report in (one, other)
    ]
    assert numbers[0].keys() == numbers[1].keys()
    assert len(numbers[0]) > 5
    for name, values in numbers[0].items():
        told, others = (np.array(each, dtype=float) for each in (values, numbers[1][name]))
        np.testing.assert_allclose(told, others, rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.mark.parametrize("stage", [feed, hear, fit])
def test_an_added_pair_is_one_written_from_the_start(stage: Callable[[Build], Report]) -> None:
    # closed form: the same vehicle, so the same figures, bands and all
    alike(stage(planned().build("rear")), stage(written().build()))


@pytest.mark.parametrize("stage", [feed, hear])
def test_a_removed_pair_is_one_that_never_was(stage: Callable[[Build], Report]) -> None:
    # closed form, as above; the other job's plan has the same axes
    alike(stage(written().build("bare")), stage(planned().build()))


def test_what_an_added_pair_brings_is_what_its_removal_takes() -> None:
    # closed form: the same two vehicles the other way round
    there, back = planned(), written()
    gain = hear(there.build("rear"), there.build())
    loss = hear(back.build("bare"), back.build())
    for band in ("bass", "voice", "treble"):
        up = gain.figure(f"driver-seat.change_{band}").value
        down = loss.figure(f"driver-seat.change_{band}").value
        assert up is not None
        assert down is not None
        assert up == pytest.approx(-down, abs=1e-9)
        share = gain.figure(f"driver-seat.change_{band}_from_places")
        assert share.value == pytest.approx(up, abs=1e-9)
        assert "side-rl and side-rr added" in share.label
        taken = loss.figure(f"driver-seat.change_{band}_from_places")
        assert "side-rl and side-rr taken out" in taken.label
    # A pair more is louder at every pitch it plays; a reversed sign would not be.
    assert (gain.figure("driver-seat.change_voice").value or 0.0) > 0.5


def test_a_place_in_a_load_that_is_there_shares_its_channels_cause() -> None:
    text = f"""{starter_text()}
[[proposal]]
id = "more"
[[proposal.add.location]]
id = "pillar-fl"
kind = "pillar"
at = ["0.9 m", "0.6 m", "0.9 m"]
driver = "dome"
[[proposal.add.driver]]
id = "dome"
size = "25 mm"
age = "new"
[proposal.set]
"front-left.load" = "door-fl | (4.7 uF + pillar-fl)"
"door-f?.mount.ring" = true
"""
    job = loads(text)
    report = hear(job.build("more"), job.build())
    told = {each.id for each in report.figures if each.id.startswith("driver-seat.change_treble")}
    assert told == {
        "driver-seat.change_treble",
        "driver-seat.change_treble_from_places",
        "driver-seat.change_treble_from_ring",
    }
    parts = [report.figure(name).value or 0.0 for name in told if "_from_" in name]
    whole = report.figure("driver-seat.change_treble").value
    assert sum(parts) == pytest.approx(whole, abs=1e-9)
    # A tweeter where there was none: treble comes from it, and not from the ring.
    assert (report.figure("driver-seat.change_treble_from_places").value or 0.0) > 1.0


def test_work_and_parts_of_an_added_pair() -> None:
    # common practice, no source: two holes, two grilles, two pairs of cable and joints at both ends
    taken = outlay(planned().build("rear"))
    steps = {step.id: step.subjects for step in taken.steps}
    for name in ("open", "new-hole", "grille", "driver", "ring", "close"):
        assert steps[name] == ("side-rl", "side-rr"), name
    for name in ("rewire", "pair-on", "lay"):
        assert steps[name] == ("rear-left", "rear-right"), name
    assert steps["filter"] == ("rear-left",)
    assert "cut" not in steps
    lines = {line.item: line for line in taken.lines}
    assert (lines["small-100"].quantity, lines["small-100"].cost.typical) == (1, 40.0)
    assert lines["grille"].quantity == 2
    assert sum(line.quantity for line in taken.lines if line.item == "cable") == 10.5
    assert lines["capacitor"].quantity == 1
    assert taken.unpriced == ()


def test_work_of_a_removed_pair() -> None:
    taken = outlay(written().build("bare"))
    steps = {step.id: step for step in taken.steps}
    assert steps["take-out"].subjects == ("side-rl", "side-rr")
    assert steps["take-out"].where == "side-rl and side-rr"
    assert steps["pair-out"].subjects == ("rear-left", "rear-right")
    assert "driver" not in steps
    assert {line.item for line in taken.lines} >= {"blank", "sleeve", "clip", "work"}
    assert not any(line.kind == "driver" for line in taken.lines)


def test_taking_a_loudspeaker_out_of_a_door_is_stopped_where_a_sensor_may_sit() -> None:
    text = f'{starter_text()}\n[[proposal]]\nid = "one"\nremove = ["door-fr", "front-right"]\n'
    build = loads(text).build("one")
    assert changes(build).at("removed") == ("door-fr",)
    (gate,) = restraint_gate(build)
    assert gate.severity is Severity.STOP
    assert "door-fr" in gate.text or "front right door" in gate.text
