"""What the stages say of one plan, each asked once for all papers, and only if one needs it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from conewright.job.builds.states.build import Build
from conewright.papers.press.supply_plan import SupplyPlan, supply
from conewright.stages.common.changes import as_found
from conewright.stages.feed.stage import feed
from conewright.stages.find.stage import find
from conewright.stages.fit.stage import fit
from conewright.stages.hear.stage import hear
from conewright.stages.outlay.holding import Holding, holding
from conewright.stages.outlay.reckoning import Outlay, outlay
from conewright.stages.report.data import Figure, Report, Verdict

__all__ = ["Answers"]


class Answers:
    """The reports about a plan: find of the vehicle as found, the others against it.

    Each raises BadInputError where its stage has no answer.
    """

    def __init__(self, build: Build) -> None:
        self.build = build
        self.before = as_found(build)
        self._against = None if build.proposal is None else self.before

    @cached_property
    def find(self) -> Report:
        """What is wrong with the vehicle as found."""
        return find(self.before)

    @cached_property
    def fit(self) -> Report:
        """Whether the plan goes in."""
        return fit(self.build, self._against)

    @cached_property
    def feed(self) -> Report:
        """What each channel of the plan drives."""
        return feed(self.build, self._against)

    @cached_property
    def hear(self) -> Report:
        """What is heard of the plan."""
        return hear(self.build, against=self._against)

    @cached_property
    def supply(self) -> SupplyPlan:
        """What feeds the radio and amplifiers, and how long the battery lasts."""
        return supply(self.build, self.feed)

    @cached_property
    def taken(self) -> Outlay:
        """What the plan takes in parts, hours and money."""
        return outlay(self.build)

    @cached_property
    def held(self) -> Holding | None:
        """How long what the plan mends holds; None where it mends nothing."""
        return holding(self.build)

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """All verdicts about the plan itself; what several stages say alike is there once."""
        every = (verdict for report in self._about_plan() for verdict in report.verdicts)
        return tuple({(verdict.subject, verdict.text): verdict for verdict in every}.values())

    def figure(self, id: str) -> Figure | None:
        """Return a figure about the plan by its id, None where no stage gives it."""
        figures = (figure for report in self._about_plan() for figure in report.figures)
        return next((figure for figure in figures if figure.id == id), None)

    def _about_plan(self) -> Iterator[Report]:
        yield from (self.fit, self.feed, self.hear)
