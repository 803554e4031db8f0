"""The plans of an answer: which is recommended, what each is worth, takes, cures and breaks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conewright.stages.choose.finals.finalists import unsafe
from conewright.stages.choose.finals.outcome import NEAR, Outcome, Rules, all_kept, roles_of
from conewright.stages.choose.finals.plan_answers import (
    BEST,
    DO_NOTHING,
    FIX_ONLY,
    RECOMMENDED,
    Chosen,
    FrontStep,
    PlanAnswer,
)
from conewright.stages.choose.finals.planned import RADIO, WIRING
from conewright.stages.compare.advice import ALIKE_ODDS
from conewright.stages.compare.wishes import ALIKE_POINTS
from conewright.stages.outlay.holding import cost_with_returns, holding
from conewright.stages.report.words import odds

if TYPE_CHECKING:
    from conewright.stages.choose.engine.solve import Found, Search
    from conewright.stages.choose.finals.finalists import Finalist, Panel
    from conewright.stages.choose.space.groups import Space

__all__ = ["Told", "behind", "front_steps", "plans_of", "recommended_of", "title_of"]


@dataclass(frozen=True)
class Told:
    """Everything that the answer is made of."""

    space: Space
    search: Search
    outcome: Outcome
    panel: Panel
    rules: Rules

    @property
    def currency(self) -> str:
        """Of the job; empty where none is written."""
        return self.space.job.about.currency or ""


def recommended_of(given: Told, best: Finalist | None) -> Finalist | None:
    """Return the plan to take: of those near the best that hold their limits at the ends of the
    bands, and that are as good as the best of these, the one that costs least.

    That is compare's order: alike in points, then money with the chance that it comes back; alike
    is what at the careful ends is near as well.
    """
    if best is None or best.value is None:
        return None
    near = [
        each
        for each in given.panel.finalists
        if each.shown.found is not None
        and given.rules.limits.hold(each.shown.found.money, each.shown.found.hours)
        and each.shown.found.value >= best.value - NEAR
    ]
    held = [each for each in near if not unsafe(each)]
    value = max((each.value or 0.0 for each in held), default=0.0) - ALIKE_POINTS
    careful = max((each.careful or 0.0 for each in held), default=0.0) - NEAR
    alike = [
        each for each in held if (each.value or 0.0) >= value and (each.careful or 0.0) >= careful
    ]
    alike.sort(key=lambda each: (round(_with_returns(each), 2), -(each.careful or 0.0)))
    # What a stage says is asked of the first few only: that takes longest.
    safe = (each for each in alike if not each.broken)
    return next(safe, best)


def _holds(each: Finalist) -> float | None:
    """Return the chance that what a plan mends holds two years; None where it mends nothing."""
    held = holding(each.build)
    return None if held is None else held.chance.typical


def _with_returns(each: Finalist) -> float:
    return cost_with_returns(each.taken.total.typical, _holds(each))


def plans_of(
    given: Told, best: Finalist | None, recommended: Finalist | None
) -> tuple[PlanAnswer, ...]:
    """Return every plan that is told: the best first, then the recommended one, then by worth."""
    found = []
    runner = _runner_up(given, best)
    for each in given.panel.finalists:
        roles = [*roles_of(each.shown.found, given.outcome)]
        if each is recommended:
            roles.append(RECOMMENDED)
        if FIX_ONLY not in (each.id, *roles) and _mends_alone(given, each):
            roles.append(FIX_ONLY)
        if each.id not in roles:
            roles.insert(0, each.id)
        found.append(_plan(given, each, tuple(roles), best, recommended, runner))
    return tuple(sorted(found, key=_place))


def _mends_alone(given: Told, each: Finalist) -> bool:
    """Whether a plan mends what is broken and changes nothing else."""
    if not given.space.faults:
        return each.id == DO_NOTHING
    found = each.shown.found
    return found is not None and found.picks == all_kept(given.space)


def _place(plan: PlanAnswer) -> tuple[int, float]:
    """Best first, then recommended, then by what they are worth."""
    first = 0 if BEST in plan.roles else 1 if RECOMMENDED in plan.roles else 2
    return first, -(plan.value or 0.0)


def _runner_up(given: Told, best: Finalist | None) -> Finalist | None:
    others = [
        each
        for each in given.panel.finalists
        if each is not best and each.id.startswith("near") and each.value is not None
    ]
    return max(others, key=lambda each: each.value or 0.0, default=None)


def _plan(
    given: Told,
    each: Finalist,
    roles: tuple[str, ...],
    best: Finalist | None,
    recommended: Finalist | None,
    runner: Finalist | None,
) -> PlanAnswer:
    planned = each.shown.plan
    taken = each.taken
    ended = _ended(given, each)
    against = runner if each is best else best
    asked = each.shown.found is None or each.shown.passed is not None or each is recommended
    why = [*each.broken] if asked else []
    if each is not recommended and each.shown.found is not None and not why:
        why = [*unsafe(each)] or [behind(each, recommended)]
    return PlanAnswer(
        id=each.id,
        roles=roles,
        title=title_of(each),
        value=each.value,
        careful_value=each.careful,
        better_odds=_better(each, against),
        money=taken.total.typical,
        money_low=taken.total.low,
        money_high=taken.total.high,
        hours=taken.hours.typical,
        options=planned.chosen if planned is not None else _as_found(given.space),
        points=each.points,
        shares=each.shares,
        cures=ended,
        leaves=tuple(fault for fault in given.space.faults if fault not in ended),
        breaks=tuple(each.broken) if asked else (),
        why_not=None if each is recommended else "; ".join(filter(None, why)) or None,
        proposal=planned.entry if planned is not None else {},
        drivers=planned.drivers if planned is not None else (),
    )


def title_of(each: Finalist) -> str:
    """Return what is done, in one line."""
    if each.shown.plan is not None:
        return each.shown.plan.title
    return "Nothing is done" if each.id == DO_NOTHING else each.build.title


def _as_found(space: Space) -> dict[str, Chosen]:
    kept = Chosen(id="as-found", words="as found", set={}, buy={})
    groups = [group.id for group in space.places]
    wired = (f"{WIRING}{channels.id}" for channels in space.channels)
    return dict.fromkeys([*groups, *wired, RADIO], kept)


def _ended(given: Told, each: Finalist) -> tuple[str, ...]:
    """Return the established faults that are there no more."""
    left = {fault.id for fault in each.build.faults}
    if each.build.proposal is None:
        return ()
    return tuple(fault for fault in given.space.faults if fault not in left)


def behind(each: Finalist, recommended: Finalist | None) -> str:
    """Return why a plan is not recommended beside the one that is; empty where that is unknown."""
    if recommended is None or each.careful is None or recommended.careful is None:
        return ""
    held, better = _holds(each), _holds(recommended)
    if held is not None and better is not None and held < better - ALIKE_ODDS:
        return (
            f"what it mends holds two years with {odds(held)}, that of the recommended plan with "
            f"{odds(better)}"
        )
    more = each.taken.total.typical - recommended.taken.total.typical
    if more > 0.0 and (each.value or 0.0) > (recommended.value or 0.0):
        gained = (each.value or 0.0) - (recommended.value or 0.0)
        return f"it costs {more:.0f} more for {gained:.1f} points"
    return (
        f"with every change at its low end it is worth {each.careful:.0f} points, the recommended "
        f"plan {recommended.careful:.0f}"
    )


def _better(each: Finalist, other: Finalist | None) -> float | None:
    """Return the chance that a plan is worth more than another one, half where they are alike."""
    if other is None or each is other or each.values is None or other.values is None:
        return None
    one, two = (drawn[1:] if drawn.size > 1 else drawn for drawn in (each.values, other.values))
    return float(np.mean(one > two) + 0.5 * np.mean(one == two))


def front_steps(front: Sequence[Found], finalists: Mapping[str, Finalist]) -> Iterator[FrontStep]:
    """Yield what less money buys, or fewer hours do, the best first."""
    by_picks = {f.shown.found.picks: f for f in finalists.values() if f.shown.found is not None}
    for found in front:
        each = by_picks[found.picks]
        yield FrontStep(plan=each.id, money=found.money, hours=found.hours, value=found.value)
