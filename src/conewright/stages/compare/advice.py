"""Which plan to take, and why: nothing that stops, what cures, what was asked for, what costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.job.document.parts import AS_FOUND
from conewright.phrases import capital, listed
from conewright.stages.compare.wishes import ALIKE_POINTS
from conewright.stages.outlay.holding import cost_with_returns
from conewright.stages.report.words import number, odds

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.stages.outlay.reckoning import Outlay

__all__ = ["ALIKE_ODDS", "Candidate", "advice", "advised"]

ALIKE_ODDS = 0.05
"""Chances of a cure within this of the best count as the same."""

CURES = 0.05
"""A plan that cures no complaint with more than this moves what is not wrong."""

LIKELY = 0.5
"""A plan that cures with less than this is a guess: a reading comes first."""

MOST_NAMED = 3


@dataclass(frozen=True)
class Candidate:
    """A build in the choice.

    Attributes:
        build: the build.
        cure: chance that no cause of the complaint is left; None where nobody complains.
        helps: the same of the one complaint that it helps most.
        points: of 100, what it gives of what was asked for; None where nothing was.
        cost, hours: as a rule.
        hold: chance that what it mends holds two years; None where it mends nothing.
        risks: why it must not be recommended.
        beyond: what of it the owner does not want.
        taken: parts, steps, hours and money.
        cures, leaves: established faults, and channels below what the radio bears, that it ends
            and that it does not, each as fault@place.

    """

    build: Build
    cure: float | None
    helps: float
    points: float | None
    cost: float
    hours: float
    hold: float | None
    risks: tuple[str, ...]
    beyond: tuple[str, ...]
    taken: Outlay
    cures: tuple[str, ...]
    leaves: tuple[str, ...]

    @property
    def name(self) -> str:
        """The plan as it is named in a sentence."""
        build = self.build
        if build.proposal is None:
            return "doing nothing"
        return build.id if build.title == build.id else f"{build.id} ({build.title})"

    @property
    def cost_with_returns(self) -> float:
        """What it costs, and as much again by the chance that it comes back."""
        return cost_with_returns(self.cost, self.hold)

    @property
    def takeable(self) -> bool:
        """Whether nothing speaks against it: no stop, nothing that the owner does not want."""
        return not self.risks and not self.beyond

    @property
    def idle(self) -> bool:
        """Whether it moves only what is not wrong."""
        return self.build.proposal is not None and self.cure is not None and self.helps < CURES


def advised(candidates: Sequence[Candidate]) -> Candidate | None:
    """Return the build to take, None where none may be.

    Nothing that stops, that overloads or overheats the radio, or that is too tight; nothing that
    the owner does not want. Then what cures the complaint, what gives most of what was asked for,
    what costs least with the chance that it comes back in it, what takes least time.
    """
    free = [each for each in candidates if each.takeable]
    free = _best(free, "cure", ALIKE_ODDS)
    free = _best(free, "points", ALIKE_POINTS)
    return min(free, key=lambda each: (each.cost_with_returns, each.hours), default=None)


def advice(
    candidates: Sequence[Candidate], best: Candidate | None, *, trouble: str, currency: str
) -> str:
    """Say which build to take and why, in one sentence or two.

    Args:
        candidates: every build, the vehicle as found first.
        best: the one to take, as `advised`.
        trouble: what is to be cured: the owner's words, or what was found.
        currency: of the job.

    """
    if best is None:
        return f"No plan can be recommended: {_obstacles(candidates)}."
    if best.build.proposal is None or best.idle:
        obstacles = _obstacles(candidates)
        told = f" {capital(obstacles)}." if obstacles else ""
        if best.cure is None:
            return f"Nothing has to be done: no plan that may be taken is worth more.{told}"
        return (
            f"No plan that may be recommended cures {trouble}: take the next reading of "
            f"find, or make the plan that mends what was found.{told}"
        )
    if best.cure is not None and best.cure < LIKELY:
        return (
            f"Take the next reading of find first: no plan that may be taken cures {trouble} "
            f"with more than {odds(best.cure)}, as {best.name} does."
        )
    reasons = [] if best.cure is None else [f"cures {trouble} with {odds(best.cure)}"]
    reasons += [] if best.hold is None else [f"holds two years with {odds(best.hold)}"]
    source = "its source" if best.build.amplifiers else "the radio"
    reasons += [f"loads every channel within what {source} bears"]
    reasons += [] if best.points is None else [f"gives {best.points:.0f} of 100 of what was asked"]
    cost = number(best.cost, spread=1.0)
    in_words = f"{cost} {currency}" if currency else f"{cost} (no currency is written)"
    money = f"{in_words}, {number(best.hours, 'h')} of work"
    return f"Take {best.name}: it {listed(reasons)}; {money}."


def _best(candidates: list[Candidate], name: str, alike: float) -> list[Candidate]:
    """Return the candidates that are as good as the best in one figure; all where none has it."""
    having = [each for each in candidates if getattr(each, name) is not None]
    if not having:
        return candidates
    least = max(getattr(each, name) for each in having) - alike
    return [each for each in having if getattr(each, name) >= least]


def _obstacles(candidates: Sequence[Candidate]) -> str:
    """Say, of the first few plans that may not be taken, why not."""
    told = [
        f"{'as it is' if each.build.id == AS_FOUND else each.build.id}: {reasons[0]}"
        for each in candidates
        if (reasons := (*each.risks, *each.beyond))
    ]
    rest = len(told) - MOST_NAMED
    more = [f"{rest} more"] if rest > 0 else []
    return "; ".join([*told[:MOST_NAMED], *more])
