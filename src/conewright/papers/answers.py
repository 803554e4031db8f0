"""What the stages say of one plan, asked once for all papers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from conewright.job.state import Build
from conewright.stages.care import as_found
from conewright.stages.feed import feed
from conewright.stages.find.find import find
from conewright.stages.fit import fit
from conewright.stages.hear import hear
from conewright.stages.report import Figure, Report, Verdict

__all__ = ["Answers", "ask"]


@dataclass(frozen=True, slots=True)
class Answers:
    """The reports about a plan: find of the vehicle as found, the others against it."""

    build: Build
    before: Build
    find: Report
    fit: Report
    feed: Report
    hear: Report

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """All verdicts about the plan itself, those of each stage in its order, each text once."""
        every = (
            verdict for report in (self.fit, self.feed, self.hear) for verdict in report.verdicts
        )
        return tuple({verdict.text: verdict for verdict in every}.values())

    def figure(self, id: str) -> Figure | None:
        """Return a figure about the plan by its id, None where no stage gives it."""
        return next((figure for figure in self._figures() if figure.id == id), None)

    def _figures(self) -> Iterator[Figure]:
        for report in (self.fit, self.feed, self.hear):
            yield from report.figures


def ask(build: Build) -> Answers:
    """Ask find, fit, feed and hear about a plan.

    Raises:
        BadInputError: a stage has no answer; names the place in the job.

    """
    before = as_found(build)
    against = None if build.proposal is None else before
    return Answers(
        build=build,
        before=before,
        find=find(before),
        fit=fit(build, against),
        feed=feed(build, against),
        hear=hear(build, against=against),
    )
