"""What was read moves what is reckoned: against closed forms, and against draws thrown away."""

import json
from typing import Any

import numpy as np
import pytest

import conewright as cw
from conewright.job.builds.draws import draw
from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads
from conewright.pictures.hear import hear_title
from conewright.stages.common.conditioned import ReadDraws, conditioned_draws
from conewright.stages.common.updating import updated
from conewright.stages.report.data import Report

SAMPLES = 64
COIL, PAIR = (
    ("coil-resistance", "door-fr", "3.6 ohm"),
    ("pair-resistance", "front-right", "3.8 ohm"),
)


def demo(*readings: tuple[str, str, Any], **changes: Any) -> Job:
    """Return the demo job with readings."""
    tables = cw.demo_job().to_dict()
    tables["reading"] = [{"test": test, "at": at, "value": said} for test, at, said in readings]
    return loads(json.dumps({**tables, **changes}), "json")


def one_door(*readings: tuple[str, str, Any]) -> Job:
    """Return a job with one door of the demo job and a driver of which only the size is known."""
    place = next(each for each in cw.demo_job().to_dict()["location"] if each["id"] == "door-fr")
    return demo(
        *readings,
        driver=[{"id": "old", "size": "165 mm"}],
        location=[{**place, "driver": "old"}],
        channel=[{"id": "front-right", "load": "door-fr"}],
        lead=[],
        proposal=[],
    )


def feed(job: Job, proposal: str | None = None) -> Report:
    """Return feed of a job."""
    return cw.feed(job.build(proposal), samples=SAMPLES)


def moved(job: Job) -> ReadDraws:
    """Return the draws of a job with readings."""
    found = conditioned_draws(job.build(), samples=SAMPLES)
    assert isinstance(found, ReadDraws)
    return found


def test_the_update_of_a_linear_model_is_the_closed_form() -> None:
    slopes = np.array([[0.4, -0.1, 0.0, 0.2], [0.0, 0.3, 0.5, 0.0]])
    noise, offset, read = np.array([0.1, 0.2]), np.array([3.0, 1.0]), np.array([3.5, 0.6])
    before = draw(tuple("abcd"), samples=SAMPLES).scores
    found = updated(lambda z: offset + z @ slopes.T, read, noise, before)
    # Kalman's form, which has the inverse of the measurements' covariance instead.
    gain = slopes.T @ np.linalg.inv(slopes @ slopes.T + np.diag(noise**2))
    covariance = np.eye(4) - gain @ slopes
    assert found.centre == pytest.approx(gain @ (read - offset), abs=1e-9)
    assert found.covariance == pytest.approx(covariance, abs=1e-9)
    assert found.effective == pytest.approx(SAMPLES, rel=1e-9)
    # The draws are the old ones, put where the closed form has them.
    deviations = np.linalg.inv(np.linalg.cholesky(covariance)) @ (found.scores - found.centre).T
    spread = (before - before.mean(axis=0)).std(axis=0)
    assert deviations.std(axis=1) == pytest.approx(spread, rel=0.2)


def test_a_model_that_is_not_linear_has_the_draws_that_rejection_leaves() -> None:
    def observe(z: Any) -> Any:
        return np.exp(0.5 * z[:, :1]) + np.exp(0.3 * z[:, 1:])

    read, noise = np.array([2.8]), np.array([0.3])
    found = updated(observe, read, noise, draw(("a", "b"), samples=65536).scores)
    thrown = np.random.default_rng(1).standard_normal((1_000_000, 2))
    chance = np.exp(-0.5 * ((observe(thrown) - read) / noise) ** 2)[:, 0]
    kept = thrown[np.random.default_rng(2).random(len(thrown)) < chance]
    assert len(kept) > 100_000
    assert found.scores.mean(axis=0) == pytest.approx(kept.mean(axis=0), abs=0.015)
    assert np.cov(found.scores.T) == pytest.approx(np.cov(kept.T), abs=0.02)
    assert 50.0 < found.effective < 0.95 * 65536


def test_coil_and_pair_show_at_the_plug_as_measured() -> None:
    before, after = feed(demo()), feed(demo(COIL, PAIR))
    plug = after.figure("front-right.plug_resistance")
    assert plug.value == pytest.approx(3.8, abs=0.08)
    assert plug.origin == "measured"
    # A meter's 0.06 ohm and leads that may not be zeroed, twice read: 80 % within ±0.1.
    assert plug.low is not None
    assert plug.high is not None
    assert 0.1 < plug.high - plug.low < 0.25
    # The twin on the other side has what is written.
    twin = "front-left.plug_resistance"
    assert after.figure(twin).value == before.figure(twin).value


def test_a_reading_that_was_taken_is_not_asked_for() -> None:
    asked = {each.path for each in feed(one_door()).narrowing}
    left = {each.path for each in feed(one_door(COIL)).narrowing}
    assert "old.re" in asked
    assert not any(path.endswith(".re") for path in left)


def test_a_reading_that_disagrees_is_told_and_moves_nothing() -> None:
    plain, job = feed(one_door()), one_door(("coil-resistance", "door-fr", "8 ohm"))
    report = feed(job)
    # What find suspects may well change by it.
    shown, before = (
        [figure for figure in each.figures if figure.subject != "suspected"]
        for each in (report, plain)
    )
    assert shown == before
    for stage in (report, cw.find(job.build())):
        told = next(v for v in stage.verdicts if v.id == "door-fr.coil-resistance-disagrees")
        assert told.severity == "warn"
        assert "8 ohm" in told.text
        assert told.text.count(";") >= 3


@pytest.mark.parametrize("said", ["open", "inf ohm", "3.6 ohm"])
def test_what_a_finding_explains_moves_nothing(said: str) -> None:
    finding = [{"fault": "coil-open", "at": "door-fr"}]
    read = demo(("coil-resistance", "door-fr", said), finding=finding)
    assert feed(read).figures == feed(demo(finding=finding)).figures


def test_the_same_reading_again_replaces_the_first() -> None:
    again = ("coil-resistance", "door-fr", "3.3 ohm")
    name = "front-right.plug_resistance"
    assert feed(demo(COIL, again)).figure(name) == feed(demo(again)).figure(name)


def test_a_reading_does_not_hold_for_what_a_plan_puts_there() -> None:
    new = {"id": "new", "set": {"door-fr.driver": "slim-130"}}
    name = "front-right.plug_resistance"
    read, plain = (feed(demo(*taken, proposal=[new]), "new") for taken in ((COIL,), ()))
    assert read.figure(name) == plain.figure(name)


def test_a_sweep_narrows_its_place_as_it_is_mounted() -> None:
    swept = {"resonance": "85 Hz", "peak": "16 ohm", "coil": "3.5 ohm"}
    job = demo(("impedance-sweep", "door-fl", swept))
    curve = cw.feed(job.build(), samples=SAMPLES).curve("front-left.impedance")
    frequency, ohms = np.array(curve.x.values), np.hypot(*np.array(curve.y.values).T)
    bass = frequency < 400.0
    # The channel has a tweeter behind a capacitor beside it, and some cable.
    assert frequency[bass][ohms[bass].argmax()] == pytest.approx(85.0, rel=0.04)
    assert ohms[bass].max() == pytest.approx(16.0, rel=0.05)
    assert moved(job).settled == {("impedance-sweep", "door-fl")}


def test_volts_lost_on_the_feed_move_its_resistance() -> None:
    job = demo(("feed-drop", "vehicle", "0.6 V"))
    feeds = job.build().head_unit.feed_resistance
    before, after = (d(feeds) for d in (conditioned_draws(demo().build(), samples=64), moved(job)))
    assert after[0, 0] > 1.5 * before[0, 0]
    assert np.std(np.log(after[1:])) < 0.9 * np.std(np.log(before[1:]))


def test_an_unknown_load_keeps_its_channel() -> None:
    tables = cw.demo_job().to_dict()
    channels = [
        {**each, "load": "unknown"} if each["id"] == "rear-right" else each
        for each in tables["channel"]
    ]
    taken = ("pair-resistance", "rear-right", "1.9 ohm")
    build = demo(taken, channel=channels, proposal=[]).build()
    report = cw.feed(build, samples=SAMPLES)
    odds = [each for each in report.figures if each.id.startswith("rear-right.wiring.")]
    assert sum(each.value or 0.0 for each in odds) == pytest.approx(1.0, abs=0.1)
    assert max(odds, key=lambda each: each.value or 0.0).id.endswith(("two-parallel", "one-2-ohm"))
    lowest = report.figure("rear-right.likely_minimum_impedance")
    # Above the ohms of its coils, by what cone and inductance leave at the dip between them.
    assert lowest.value is not None
    assert 1.9 < lowest.value < 1.4 * 1.9
    told = next(each for each in report.verdicts if each.id == "rear-right.unknown")
    assert told.severity == "warn"
    title = hear_title(cw.hear(build, samples=SAMPLES), ("driver",))
    assert title.endswith("(rear-right by the odds of its wiring)")
