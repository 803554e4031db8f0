"""Plans of the search looked at by all stages, as compare looks at written ones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from conewright.physics.basics import bands
from conewright.stages.choose.engine.solve import Found, Limits
from conewright.stages.choose.finals.plan_answers import DO_NOTHING
from conewright.stages.choose.finals.planned import PlannedPlan, job_with
from conewright.stages.choose.mounted.plan_rows import AS_BEFORE, MOST_TRAVEL
from conewright.stages.common.changes import moved_places, planned_job
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.load import EASY, RadioLoad, overloaded, radio_load
from conewright.stages.compare.wishes import (
    beyond,
    marked,
    points_by_wish,
    seat_that_counts,
    share_of,
)
from conewright.stages.compare.worth import risks
from conewright.stages.feed.stage import feed_answer
from conewright.stages.fit.stage import fit
from conewright.stages.hear.heard import BuildSound, sound_of
from conewright.stages.hear.stage import hear_answer
from conewright.stages.outlay.reckoning import Outlay, outlay
from conewright.stages.report.data import HIGH, LOW, Report
from conewright.stages.report.having import may_have
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.draws import Draws
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build
    from conewright.physics.basics.arrays import FloatArray

__all__ = ["Finalist", "Panel", "Passed", "Shown", "unsafe"]


@dataclass(frozen=True)
class Shown:
    """What is shown of a build that is weighed: a plan of the search, or one that is written.

    Attributes:
        id: of its proposal.
        plan, found: of one of the search.
        passed: of one that every stage has let through already.

    """

    id: str
    plan: PlannedPlan | None = None
    found: Found | None = None
    passed: Passed | None = None


@dataclass(frozen=True)
class Passed:
    """What was seen when every stage looked at a plan and none stopped it."""

    fit_odds: float | None


class Panel:
    """Builds that are weighed side by side with shared draws, the vehicle as found as reference."""

    def __init__(self, job: Job, shown: Sequence[Shown], limits: Limits, samples: int) -> None:
        plans = tuple(each.plan for each in shown if each.plan is not None)
        self.job = job_with(job, plans)
        self.limits = limits
        self.found = self.job.build()
        self.draws = conditioned_draws(self.found, samples=samples)
        self.solver = Solver(self.draws, bands.fine_grid())
        self.seat = seat_that_counts(self.job)
        self.finalists = tuple(
            Finalist(self, each, self.job.build(None if each.id == DO_NOTHING else each.id))
            for each in shown
        )

    @cached_property
    def before(self) -> BuildSound:
        """The sound that changes are counted from."""
        return sound_of(self.found, self.solver)

    @cached_property
    def reference(self) -> BuildSound:
        """The sound as found; that of the vehicle mended where it is silent as found."""
        if not self.before.silent:
            return self.before
        mended = next((each for each in self.finalists if not each.sound.silent), None)
        return self.before if mended is None else mended.sound


@dataclass(frozen=True, eq=False)
class Finalist:
    """A build with what every stage has to say of it, each worked out when it is asked for."""

    panel: Panel
    shown: Shown
    build: Build

    @property
    def id(self) -> str:
        """What it is told under."""
        return self.shown.id

    @property
    def _draws(self) -> Draws:
        """The draws behind everything."""
        return self.panel.draws

    @cached_property
    def sound(self) -> BuildSound:
        """What is heard of it."""
        return sound_of(self.build, self.panel.solver)

    @cached_property
    def load(self) -> RadioLoad:
        """What its channels ask of the radio."""
        return radio_load(self.build, self.panel.solver)

    @cached_property
    def taken(self) -> Outlay:
        """What it costs and takes."""
        return outlay(self.build, solver=self.panel.solver)

    @cached_property
    def changes(self) -> dict[str, FloatArray]:
        """Change of bass, loudness and clarity against as found, draws of each [dB]."""
        reference = self.panel.reference
        if self.sound.silent or reference.silent:
            return {}
        now, was = (each.seats[self.panel.seat] for each in (self.sound, reference))
        pairs = (
            ("bass", now.bass, was.bass),
            ("loudness", now.clean_overall, was.clean_overall),
            ("clarity", now.treble, was.treble),
        )
        return {name: np.ravel(new - old) for name, new, old in pairs}

    @cached_property
    def _given(self) -> dict[str, FloatArray | float]:
        """What every wish is judged by: draws, or one number."""
        return {**self.changes, **marked(self.build)}

    @cached_property
    def values(self) -> FloatArray | None:
        """Points of 100 in every draw, the central state first; None where it is silent."""
        told = points_by_wish(self.build.job, self._given) if self.changes else None
        return None if told is None else np.atleast_1d(np.asarray(sum(told.values()), dtype=float))

    @property
    def value(self) -> float | None:
        """Points of 100, central values."""
        return None if self.values is None else float(self.values[0])

    @cached_property
    def points(self) -> dict[str, float]:
        """What each wish adds, central values."""
        told = points_by_wish(self.build.job, self._given) if self.changes else None
        return {} if told is None else {name: _first(each) for name, each in told.items()}

    @cached_property
    def shares(self) -> dict[str, float]:
        """How much of each wish is fulfilled, central values."""
        goals = self.build.job.wishes.goals
        return {name: _first(share_of(name, self._given[name], goals)) for name in self.points}

    @cached_property
    def careful(self) -> float | None:
        """Points with every change at the low end of its band."""
        if not self.changes:
            return None
        low = {name: self._low(name) for name in self.changes}
        told = points_by_wish(self.build.job, {**low, **marked(self.build)})
        return None if told is None else float(sum(_first(each) for each in told.values()))

    def _low(self, name: str) -> float:
        """Return the low end of a change [dB]; no more than its central value."""
        draws = self.changes[name]
        spread = draws[1:] if draws.size > 1 else draws
        return float(min(np.quantile(spread, LOW), draws[0]))

    # --- What a stage says ------------------------------------------------------------------------

    @cached_property
    def _fitted(self) -> Report:
        """What fit says."""
        return fit(self.build, whole=False)

    @cached_property
    def reports(self) -> tuple[Report, ...]:
        """What feed, hear and fit say."""
        return (
            feed_answer(self.build, None, solver=self.panel.solver, whole=False),
            hear_answer(self.build, None, solver=self.panel.solver, whole=False),
            self._fitted,
        )

    @cached_property
    def fit_odds(self) -> float | None:
        """The worst chance of being tighter than it should be, of all places that change."""
        if self.shown.passed is not None:
            return self.shown.passed.fit_odds
        moved = moved_places(self.build.job, planned_job(self.build))
        odds = [
            each.value
            for each in self._fitted.figures
            if each.subject in moved
            and each.name in ("rear_odds", "front_odds")
            and each.value is not None
        ]
        return max(odds) if odds else None

    @cached_property
    def broken(self) -> tuple[str, ...]:
        """Why it must not be done, and what of it the owner does not want: limits it breaks."""
        said: list[str] = []
        if self.shown.passed is None:
            moved = moved_places(self.build.job, planned_job(self.build))
            said += risks(self.load, self.reports, moved)
        if self.build.proposal is not None:
            said += [
                f"the cone at {name} moves {number(ratio)} times its Xmax before the radio clips"
                for name, ratio in self._too_far()
            ]
        cost, hours = self.taken.total.typical, self.taken.hours.typical
        playing = self.sound.circuit.playing
        said += beyond(self.build, cost=cost, hours=hours, playing=playing)
        return tuple(dict.fromkeys(said))

    def _too_far(self) -> Iterator[tuple[str, float]]:
        """Yield places whose cone meets its end, and where it did not go as far before."""
        before = self.panel.before.travel_ratio
        drivers = {place.id: place.driver.id for place in self.panel.found.locations}
        for name, ratio in self.sound.travel_ratio.items():
            host = name.partition(".tweeter")[0]
            kept = drivers.get(host) == self.build.location(host).driver.id
            there = float(before[name][0].max()) if kept and name in before else 0.0
            here = float(ratio[0].max())
            if here > max(MOST_TRAVEL, there * AS_BEFORE * (1.0 + 1e-9)):
                yield name, here

    @cached_property
    def travel(self) -> float:
        """Peak travel over Xmax at the radio's ceiling, of the worst place."""
        ratios = self.sound.travel_ratio.values()
        return max((float(each[0].max()) for each in ratios), default=0.0)

    @cached_property
    def at_the_ends(self) -> tuple[str, ...]:
        """Limits that it breaks at the careful ends of the bands, and not before."""
        load, draws = self.load, self._draws
        said = []
        least = {
            name: _quantile(each.minimum_impedance / load.allowed_of(name), LOW)
            for name, each in load.live.items()
        }
        under = [name for name, share in least.items() if share < 1.0]
        if under and not overloaded(load):
            said.append(f"at the low end of its band the load of {under[0]} is too low")
        if may_have(self.build, "output-chip"):
            hot = _quantile(load.chip_temperature(EASY), HIGH)
            limit = _quantile(draws(self.build.head_unit.limit), LOW)
            if hot > limit:
                said.append("at the high end of its band the radio's chip protects itself")
        most, total = self.panel.limits.money, self.taken.total
        if most is not None and total.high > most >= total.typical:
            said.append(
                f"{FAR_END} of the prices it costs {number(total.high, spread=1.0)}, "
                f"and {number(most)} is the most"
            )
        return tuple(said)


def unsafe(each: Finalist) -> tuple[str, ...]:
    """Return the limits that it breaks at the ends of the bands, but for money: a quote tells that
    before anything is bought.
    """
    return tuple(said for said in each.at_the_ends if not said.startswith(FAR_END))


FAR_END = "at the far end"


def _first(values: FloatArray | float) -> float:
    return float(np.ravel(np.asarray(values))[0])


def _quantile(values: FloatArray, at: float) -> float:
    drawn = np.ravel(values)
    return float(np.quantile(drawn[1:] if drawn.size > 1 else drawn, at))
