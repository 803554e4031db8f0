"""Plans of many kinds of vehicles, by chance: as the stages have them, and never above the bounds.

Sources: the stages themselves are the reference of what a plan comes to; the bounds are derived
(triangle inequality, energies that add, passive loads), so none may be broken by rounding alone.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pytest
from random_vehicles import random_job
from spaces import Plan, Watched, few_parts, searched, written_build

from conewright.job.builds.states.build import Build
from conewright.physics.basics import bands
from conewright.stages.choose.mounted.exact import Solved
from conewright.stages.choose.mounted.plan_rows import MOST_TRAVEL
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.load import EASY, radio_load
from conewright.stages.hear.heard import sound_of

KNOBS = ("ring", "cover", "polarity", "wiring", "capacitor", "high-pass", "radio")
PLANS = 5
# With a high-pass ahead of an amplifier (9, 13), parts before all branches (23), 24 V behind a
# converter, boxes, boards, coaxial drivers, faults of one side; the rest as they came.
SEEDS = (2, 4, 9, 13, 23, 27, 31, 49, 60)


@dataclass(frozen=True)
class Case:
    """A plan: what the search has of it, and what the stages need to work it out."""

    seed: int
    plan: Plan
    value: float
    found: Solved
    build: Build
    seat: str
    passes: Mapping[str, float]

    def __str__(self) -> str:
        return f"vehicle {self.seed}, plan {self.plan.picks}"


def _cases() -> Iterator[Case]:
    for seed in SEEDS:
        chance = random.Random(seed)
        may = ["driver", *chance.sample(KNOBS, 3)]
        seat = chance.choice(("driver", "behind"))
        parts = few_parts(seed, driver=4, capacitor=2, radio=1)
        search = searched(random_job(seed), parts, may=may, seat=seat)
        for plan in search.some_plans(seed, PLANS):
            value, found = search.worked_out(plan)
            build = written_build(search.ready.space, plan.picks)
            passes = _let_pass(search, plan)
            yield Case(seed, plan, value, found, build, seat, passes)


def _let_pass(search: Watched, plan: Plan) -> dict[str, float]:
    """Travel that is let pass over the usual most, by place and tweeter on a frame."""
    ready, found = search.ready, {}
    start = 1 + 3 * len(ready.space.channels)
    for g, group in enumerate(ready.space.places):
        for name in group.places:
            options = ready.mounted[name].at(np.array([plan.picks[start + g]]))
            found[name] = float(options.stretch[0, 0])
            if options.tweeter is not None:
                found[f"{name}.tweeter"] = float(options.tweeter.stretch[0, 0])
    return found


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    return list(_cases())


def test_a_plan_is_what_the_stages_make_of_it_as_a_proposal(cases: list[Case]) -> None:
    for case in cases:
        draws = conditioned_draws(case.build, samples=1)
        solver = Solver(draws, bands.fine_grid())
        sound, load = sound_of(case.build, solver), radio_load(case.build, solver)
        seat = sound.seats[case.seat]
        borne = [
            each.minimum_impedance[0, 0] / load.allowed_of(name)[0, 0]
            for name, each in load.channels.items()
            if not each.idle
        ]
        wanted = {
            "bass": seat.bass[0, 0],
            "clarity": seat.treble[0, 0],
            "loudness": seat.clean_overall[0, 0],
            "least_load": min(borne),
            "chip": load.chip_temperature(EASY)[0, 0],
            "travel": max(
                ratio[0].max() / case.passes[name] for name, ratio in sound.travel_ratio.items()
            ),
        }
        got = {name: float(getattr(case.found, name)[0]) for name in wanted}
        assert got == pytest.approx(wanted, rel=1e-9), case


def test_no_plan_is_better_than_its_bounds(cases: list[Case]) -> None:
    for case in cases:
        for name, bounds in case.plan.bounds.items():
            level = float(getattr(case.found, name)[0])
            assert min(bounds) >= level - 1e-9, (case, name)
        assert case.plan.bound >= case.value - 1e-9, case


def test_bounds_are_near_what_they_bound(cases: list[Case]) -> None:
    """A bound of everything would hold too: phases make the bass nearly exact."""
    slack = {
        name: [case.plan.bounds[name][1] - float(getattr(case.found, name)[0]) for case in cases]
        for name in ("bass", "clarity", "loudness")
    }
    assert np.percentile(slack["bass"], 33) < 0.1
    assert np.median(slack["clarity"]) < 0.1
    assert np.median(slack["loudness"]) < 3.0


def test_travel_and_load_rule_out_nothing_that_passes(cases: list[Case]) -> None:
    passed = [case for case in cases if case.found.least_load[0] >= 1.0 - 1e-9]
    assert 20 < len(passed) < len(cases)
    for case in passed:
        assert not case.plan.overloaded, case
        assert not case.plan.lacking or case.found.travel[0] > MOST_TRAVEL, case
        assert max(case.plan.travel) <= case.found.travel[0] * (1.0 + 1e-9), case
    # And they do rule out: neither is a bound of nothing.
    assert any(case.plan.overloaded for case in cases)
    assert max(case.plan.travel[0] / case.found.travel[0] for case in passed) > 0.8


def test_vehicles_are_of_all_kinds(cases: list[Case]) -> None:
    builds = [case.build for case in cases]
    channels = [channel for build in builds for channel in build.channels]
    assert any(channel.driven_by is not None for channel in channels)
    assert any(channel.settings.high_pass is not None for channel in channels)
    assert any(build.converter is not None for build in builds)
    assert any(part.kind == "resistor" for channel in channels for part in channel.parts)
    assert any(place.tweeter is not None for build in builds for place in build.locations)
    kinds = {place.kind for build in builds for place in build.locations}
    assert kinds >= {"door", "panel", "pillar", "roof", "open", "box"}
    assert any(build.job.findings for build in builds)
    assert any(sign < 0 for channel in channels for _, sign in channel.polarity)
