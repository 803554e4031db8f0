"""Money and hours of plans put together of options, against the outlay of the same proposal."""

from __future__ import annotations

from pathlib import Path

import pytest
from random_vehicles import random_job
from spaces import Watched, few_parts, searched, written_build

import conewright as cw
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict, loads
from conewright.stages.choose.engine.found import Limits
from conewright.stages.outlay.reckoning import outlay

EXAMPLES = Path(__file__).resolve().parents[3] / "examples"
# Faults that are mended, an amplifier, a 24 V vehicle, adapters, torn surrounds.
NAMED = ("convertible", "estate-amplifier", "pickup-24v", "shelf-saloon", "work-cab")
RANDOM = (1, 3, 4, 5, 49)
WISHES = {"bass": "matters", "loudness": "matters", "clarity": "matters"}
PLANS = 10


def job_of(name: str) -> Job:
    if name == "demo":
        raw = cw.demo_job().to_dict()
    elif name.startswith("random"):
        return random_job(int(name.removeprefix("random ")))
    else:
        raw = loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8"), "toml").to_dict()
    return from_dict(raw | {"wishes": WISHES})


def search_of(name: str) -> Watched:
    may: tuple[str, ...] = (
        "driver",
        "ring",
        "cover",
        "wiring",
        "radio",
        "polarity",
        "capacitor",
        "repair",
    )
    if name in ("demo", "shelf-saloon"):
        # All their plans need a high-pass; so that cells stay few, little else is turned.
        may = ("driver", "ring", "high-pass", "repair")
    parts = few_parts(len(name), driver=6, capacitor=3, radio=2)
    return searched(job_of(name), parts, may=may)


@pytest.mark.parametrize("name", ["demo", *NAMED, *(f"random {seed}" for seed in RANDOM)])
def test_a_plan_costs_what_its_outlay_says(name: str) -> None:
    search = search_of(name)
    plans = search.some_plans(3, PLANS)
    assert plans
    for plan in plans:
        taken = outlay(written_build(search.ready.space, plan.picks))
        assert plan.money == pytest.approx(taken.total.typical, abs=0.005), plan.picks
        assert plan.hours == pytest.approx(taken.hours.typical, abs=1e-6), plan.picks


def test_no_combination_is_left_out_of_limits_that_a_plan_of_it_keeps() -> None:
    """What leaves combinations out ahead must be no more than what any of their plans takes."""
    search = search_of("random 4")
    for plan in search.some_plans(5, 25):
        held = search.reached(plan.radio, Limits(money=plan.money, hours=plan.hours))
        assert plan.at in held.at
        fewer = search.reached(plan.radio, Limits(hours=0.2 * plan.hours))
        assert len(fewer) < len(held)
