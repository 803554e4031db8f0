"""What sits in a place proves that it goes in; the depth behind is narrowed by it, exactly."""

from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import truncnorm

from conewright.job.builds.draws import quantile, score_at
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.job.text.parsing import from_dict
from conewright.stages.fit.stage import fit, spacer_windows
from conewright.stages.report.data import Report, Severity

SIGMA = 2.0 / 1.959964
"""Standard deviation of a reading of 58 mm ± 2 mm, of which 95 % lie within [mm]."""


def _job(
    *,
    sits: dict[str, Any],
    new: dict[str, Any],
    mount: dict[str, Any] | None = None,
    kind: str = "shelf",
    changes: dict[str, Any] | None = None,
) -> Any:
    """A job with one place; a shelf has no glass that swings."""
    driver = {"size": "165 mm", "age": "new", "xmax": "3 mm"}
    place = {
        "id": "place",
        "name": "the place",
        "kind": kind,
        "at": ["0.9 m", "0.8 m", "0.3 m"],
        "driver": "sits",
        "mount": {"glass_depth": ["58 mm ± 2 mm"], **(mount or {})},
    }
    return from_dict(
        {
            "format": 1,
            "head_unit": {"name": "radio"},
            "channel": [{"id": "left", "load": "place"}],
            "location": [place],
            "driver": [
                {"id": "sits", **driver, "frame": sits},
                {"id": "new", **driver, "frame": new},
            ],
            "proposal": [{"id": "plan", "set": {"place.driver": "new", **(changes or {})}}],
        }
    )


@cache
def _closed(limit: float) -> Report:
    """A driver so many millimetres deep sits where 58 mm ± 2 mm were read; one of 55 mm comes."""
    job = _job(sits={"depth": f"{limit} mm ± 0 mm"}, new={"depth": "55 mm ± 0 mm"})
    return fit(job.build("plan"), whole=False)


@pytest.mark.parametrize("limit", [52.0, 57.0, 58.0, 59.0, 60.5])
def test_the_depth_is_that_of_a_truncated_normal(limit: float) -> None:
    # Closed form and independent tool (scipy's truncnorm): what was measured, cut off at what sits
    # there. 8192 points of a Sobol sequence give a quantile to some 1e-3 of the spread.
    report = _closed(limit)
    left = truncnorm((limit - 58.0) / SIGMA, np.inf, loc=58.0, scale=SIGMA)
    depth = report.figure("place.glass_depth")
    assert depth.value == pytest.approx(left.median(), abs=1e-6)
    assert depth.low == pytest.approx(left.ppf(0.1), abs=0.005)
    assert depth.high == pytest.approx(left.ppf(0.9), abs=0.005)
    odds = report.figure("place.rear_odds").value
    assert odds == pytest.approx(left.cdf(60.0), abs=5e-4)
    # Mean by the closed form: mu + sigma phi(a) / (1 - Phi(a)).
    alpha = (limit - 58.0) / SIGMA
    mean = 58.0 + SIGMA * np.exp(-(alpha**2) / 2) / np.sqrt(2 * np.pi) / ndtr(-alpha)
    assert left.mean() == pytest.approx(mean, rel=1e-9)


def test_a_driver_that_is_shallow_proves_nothing_new() -> None:
    # Six standard errors below what was read: the depth stays what was read, and nothing is said.
    report = _closed(52.0)
    assert report.figure("place.glass_depth").value == pytest.approx(58.0, abs=1e-6)
    assert not [each for each in report.verdicts if "proved" in each.id]


def test_a_spread_of_the_driver_and_the_play_of_the_glass_are_weighed() -> None:
    # Independent sampling: four million draws of depth, frame and play, those kept in which the old
    # driver clears the glass. The new driver is 4 mm shallower.
    rng = np.random.default_rng(5)
    count = 4_000_000
    depth = rng.normal(58.0, SIGMA, count)
    sits = rng.normal(58.0, 1.0 / 1.959964, count)
    play = np.abs(rng.normal(0.0, 1.0, count))
    kept = depth - sits - play >= 0.0
    wanted = np.mean((depth - 54.0 - play)[kept] < 5.0)
    before = np.mean(depth - 54.0 - play < 5.0)
    job = _job(
        sits={"depth": "58 mm ± 1 mm"},
        new={"depth": "54 mm ± 0 mm"},
        kind="door",
    )
    odds = fit(job.build("plan"), whole=False).figure("place.rear_odds").value
    # Resampled draws are worth some thousands: 0.02 is three standard errors.
    assert odds == pytest.approx(wanted, abs=0.02)
    assert before - wanted > 0.1


def test_a_plan_of_the_same_job_and_its_spacers_use_the_same_depth() -> None:
    job = _job(sits={"depth": "59 mm ± 0 mm"}, new={"depth": "55 mm ± 0 mm"})
    plan = job.build("plan")
    low = spacer_windows(plan)["place"].low
    assert low is not None
    left = truncnorm(1.0 / SIGMA, np.inf, loc=58.0, scale=SIGMA)
    # Closed form: 5 mm wanted behind in 98 of 100: 60 mm less the 2 % point of the depth.
    assert 1e3 * low == pytest.approx(60.0 - left.ppf(0.02), abs=0.005)
    assert fit(plan, whole=False).figure("place.spacer_low").value == pytest.approx(1e3 * low)


def test_a_depth_that_the_plan_writes_anew_keeps_its_own_draws() -> None:
    changes = {"place.mount.glass_depth": ["80 mm ± 2 mm"]}
    job = _job(sits={"depth": "59 mm"}, new={"depth": "55 mm"}, changes=changes)
    depth = fit(job.build("plan"), whole=False).figure("place.glass_depth")
    # Closed form: normal, 1.2816 standard deviations to either side.
    assert depth.value == pytest.approx(80.0)
    assert depth.low == pytest.approx(80.0 - 1.2816 * SIGMA, abs=0.01)


def test_a_typical_frame_proves_nothing() -> None:
    # Nobody measured how deep the old one is: that it sits there says nothing of the glass.
    job = _job(sits={"cutout": "146 mm"}, new={"depth": "55 mm ± 0 mm"})
    depth = fit(job.build("plan"), whole=False).figure("place.glass_depth")
    assert depth.value == pytest.approx(58.0)
    assert depth.low == pytest.approx(58.0 - 1.2816 * SIGMA, abs=0.01)


def test_a_ruler_that_disagrees_is_told_and_nothing_is_narrowed() -> None:
    # 66 mm sit where 58 mm ± 2 mm were read: eight standard errors. Which is wrong is not for us.
    job = _job(sits={"depth": "66 mm ± 0 mm"}, new={"depth": "50 mm ± 0 mm"})
    for plan in ("plan", None):
        report = fit(job.build(plan), whole=False)
        told = next(each for each in report.verdicts if each.id == "place.disproved_behind")
        assert told.severity is Severity.WARN
        assert "58 mm" in told.text
        assert "takes 66 mm" in told.text
        assert "Measure again" in told.text
        assert report.figure("place.glass_depth").value == pytest.approx(58.0)


def test_the_gap_in_front_is_narrowed_by_the_front_that_stands_in_it() -> None:
    # The trim goes on over a front of 20 mm: a gap read as 20 mm is hardly less than that.
    frame = {"depth": "40 mm", "front_height": "20 mm ± 0 mm"}
    new = {"depth": "40 mm", "front_height": "10 mm"}
    job = _job(sits=frame, new=new, mount={"trim_gap": "20 mm ± 2 mm"})
    gap = fit(job.build("plan"), whole=False).figure("place.trim_gap")
    # Independent sampling: gap and give of the trim (sigma 1 mm), kept where the front has room.
    rng = np.random.default_rng(6)
    drawn, give = rng.normal(20.0, SIGMA, 1_000_000), rng.normal(0.0, 1.0, 1_000_000)
    kept = drawn[drawn + give >= 20.0]
    assert gap.low == pytest.approx(np.quantile(kept, 0.1), abs=0.06)
    assert gap.high == pytest.approx(np.quantile(kept, 0.9), abs=0.06)


def test_no_deeper_than_what_sits_there_goes_in_where_nobody_measured() -> None:
    # A practitioner's shortest proof: the window passes the old one, and the new one is shallower.
    job = from_dict(_unmeasured({"cutout": "146 mm"}))
    plan = fit(job.build("plan"), whole=False)
    rear = next(each for each in plan.verdicts if each.id == "place.rear")
    assert rear.severity is Severity.GOOD
    assert "4 mm less behind the steel" in rear.text
    raised = fit(job.build("deep"), whole=False)
    rear = next(each for each in raised.verdicts if each.id == "place.rear")
    assert rear.severity is Severity.NOTE
    assert "not judged" in rear.text


def _unmeasured(mount: dict[str, str]) -> dict[str, Any]:
    frames = {"sits": "59 mm", "new": "55 mm", "deep": "61 mm"}
    return {
        "format": 1,
        "head_unit": {"name": "radio"},
        "channel": [{"id": "left", "load": "place"}],
        "location": [
            {
                "id": "place",
                "name": "the place",
                "kind": "door",
                "at": ["0.9 m", "0.8 m", "0.3 m"],
                "driver": "sits",
                "mount": mount,
            }
        ],
        "driver": [
            {"id": name, "size": "165 mm", "age": "new", "frame": {"depth": depth}}
            for name, depth in frames.items()
        ],
        "proposal": [
            {"id": "plan", "set": {"place.driver": "new"}},
            {"id": "deep", "set": {"place.driver": "deep"}},
        ],
    }


@pytest.mark.parametrize(
    "text", ["58 mm ± 2 mm", "2 mm ± 3 mm", "50..60..80 mm", "0..4..9 mm", "10..11 mm"]
)
@pytest.mark.parametrize("signed", [True, False])
def test_scores_are_the_inverse_of_quantiles(text: str, *, signed: bool) -> None:
    quantity = parse_quantity(text, dimension="length")
    score = np.linspace(-3.0, 3.0, 13)
    value = quantile(quantity, score, signed=signed)
    there = value > 0.0 if not signed else np.ones(13, dtype=bool)
    assert score_at(quantity, value, signed=signed)[there] == pytest.approx(score[there], abs=1e-9)


def test_nothing_lies_below_what_a_length_can_be() -> None:
    below = np.array([-1e-3])
    for text in ("2 mm ± 3 mm", "50..60..80 mm", "0..4..9 mm"):
        quantity = parse_quantity(text, dimension="length")
        assert score_at(quantity, below)[0] == -np.inf
    with pytest.raises(Exception, match="without spread"):
        score_at(Quantity.of(1.0, "length", "mm"), below)


# --- The first mend that works ------------------------------------------------------------------


def test_a_ring_that_works_is_offered_with_its_numbers() -> None:
    # Closed form: 58 deep, 57 mm of driver: 1 mm behind. A ring of 6 mm plastic leaves 7 mm behind
    # and 24 - 6 - 8 - 4 = 6 mm in front; 3 mm would leave 4 mm, too little. So the first mend is
    # the ring, and no word of another driver.
    mount = {"glass_depth": ["58 mm ± 0.5 mm"], "trim_gap": "24 mm ± 0.5 mm"}
    new = {"depth": "57 mm ± 0 mm", "front_height": "8 mm ± 0 mm"}
    job = _job(sits={"cutout": "146 mm"}, new=new, mount=mount)
    report = fit(job.build("plan"), whole=False)
    rear = next(each for each in report.verdicts if each.id == "place.rear")
    assert rear.severity in (Severity.WARN, Severity.STOP)
    assert "A ring of 6 mm rigid plastic (ABS or PVC) does: 7 mm behind" in rear.text
    assert "6 mm in front" in rear.text
    assert not any("Take a driver" in each.text for each in report.verdicts)


def test_a_spacer_too_many_is_taken_out() -> None:
    mount = {"glass_depth": ["80 mm ± 1 mm"], "trim_gap": "16 mm ± 0.5 mm"}
    new = {"depth": "57 mm ± 0 mm", "front_height": "6 mm ± 0 mm"}
    changes = {"place.mount.spacer": "9 mm"}
    job = _job(sits={"cutout": "146 mm"}, new=new, mount=mount, changes=changes)
    report = fit(job.build("plan"), whole=False)
    front = next(each for each in report.verdicts if each.id == "place.front")
    assert front.severity is Severity.STOP
    # Closed form: 80 - 57 behind, 16 - 6 - 4 in front, nothing under the driver.
    assert "Without a spacer it goes in: 23 mm behind" in front.text
    assert "6 mm in front" in front.text
