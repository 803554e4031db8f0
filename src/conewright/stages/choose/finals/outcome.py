"""What the search is asked for: the best plan, those near it, what other money would buy."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import ceil
from typing import TYPE_CHECKING

from conewright.stages.choose.engine.solve import Found, Limits, Search
from conewright.stages.choose.finals.finalists import Finalist, Panel, Passed, Shown
from conewright.stages.choose.finals.plan_answers import BEST, DO_NOTHING, FIX_ONLY
from conewright.stages.choose.finals.planned import PlannedPlan

if TYPE_CHECKING:
    from conewright.stages.choose.engine.solve import Picks
    from conewright.stages.choose.space.groups import Space

__all__ = ["MORE", "NEAR", "Outcome", "Rules", "all_kept", "roles_of", "shown_of", "sought"]

NEAR = 3.0
"""Plans worth no less than so much below the best are looked at with care [points]."""

NEARER, ENOUGH = (0.1, 0.3, 1.0), 64
"""Of thousands of parts hundreds of thousands of plans may be worth as much within `NEAR`: it is
looked no further than to where so many are."""

MOST_NEAR = 8
MOST_STEPS = 8
STEP = 1.0
"""A cheaper plan is told where it is worth so much less than the one before [points]."""

CENT = 0.01
MORE = (20, 50)
"""Further money that is asked about."""

MOST_STOPPED = 12
"""Plans in a row that a stage may stop before the search gives up."""


@dataclass(frozen=True)
class Rules:
    """How the search is held.

    Attributes:
        limits: of money and hours.
        sure: whether the money holds at the high end of a quote.
        trust: whether figures get the spread that their origin deserves.
        samples: draws behind the careful values.
        unasked: whether nobody said what is wished.

    """

    limits: Limits
    sure: bool
    trust: bool
    samples: int
    unasked: bool = False


@dataclass
class Outcome:
    """What was found.

    Attributes:
        best: None where no plan meets the limits.
        near: plans near the best, the best first.
        front: what less money buys, the best first.
        quicker: what fewer hours do, the best first.
        more: what more money would buy, by how much more.
        gap: points within which the best is proved.
        stopped: plans that a stage stops, with its reasons.
        passed: plans that every stage let through.

    """

    best: Found | None = None
    near: list[Found] = field(default_factory=list)
    front: list[Found] = field(default_factory=list)
    quicker: list[Found] = field(default_factory=list)
    more: dict[int, Found] = field(default_factory=dict)
    gap: float = 0.0
    stopped: list[tuple[Found, tuple[str, ...]]] = field(default_factory=list)
    passed: dict[Picks, Passed] = field(default_factory=dict)


def sought(search: Search, space: Space, rules: Rules) -> Outcome:
    """Return the best plan and all that is told beside it."""
    outcome = Outcome()
    seeker = _Seeker(search, space, rules, outcome)
    outcome.best = seeker.best(rules.limits)
    if outcome.best is None:
        return outcome
    limits = seeker.held
    outcome.gap = search.proved_within(outcome.best, limits)
    near: list[Found] = []
    for below in (*NEARER, NEAR):
        near = search.near(limits, below=below)
        if len(near) > ENOUGH:
            break
    outcome.near = _worth_a_look([each for each in near if each.picks != outcome.best.picks])
    outcome.front = [outcome.best, *seeker.less(outcome.best, _cheaper)]
    outcome.quicker = [outcome.best, *seeker.less(outcome.best, _quicker)]
    if rules.limits.money is not None:
        for more in MORE:
            wider = replace(rules.limits, money=rules.limits.money + more)
            found = seeker.best(wider)
            if found is not None:
                outcome.more[more] = found
    return outcome


def _worth_a_look(near: Sequence[Found]) -> list[Found]:
    """Return those of some plans, the best first, that are the best or that nothing cheaper beats.

    Few are looked at: the first by worth, and the cheapest of all that are worth as much.
    """
    found = list(near[: MOST_NEAR // 2])
    cheapest = min((each.money for each in found), default=float("inf"))
    thrifty = []
    for each in near[MOST_NEAR // 2 :]:
        if each.money < cheapest - CENT:
            cheapest = each.money
            thrifty.append(each)
    return [*found, *thrifty[-(MOST_NEAR // 2) :]]


class _Seeker:
    """Asks the search and lets every stage look at what it finds."""

    def __init__(self, search: Search, space: Space, rules: Rules, outcome: Outcome) -> None:
        self._search, self._space, self._rules = search, space, rules
        self._outcome = outcome
        self.held = rules.limits

    def best(self, limits: Limits) -> Found | None:
        """Return the best plan that no stage stops."""
        for _ in range(MOST_STOPPED):
            found = self._search.best(limits)
            if found is None or found.picks in self._outcome.passed:
                return found
            finalist = self._looked_at(found, limits)
            over = finalist.taken.total.high - (self._rules.limits.money or 0.0)
            if self._rules.sure and limits.money is not None and over > CENT:
                spread = finalist.taken.total.high - found.money
                limits = replace(limits, money=min(found.money - CENT, limits.money - spread))
                self.held = limits
                continue
            # What the search holds by itself is none of the reasons of a stage.
            if not finalist.broken:
                self._outcome.passed[found.picks] = Passed(finalist.fit_odds)
                return found
            self._outcome.stopped.append((found, finalist.broken))
            self._search.bar(found.picks)
        return None

    def less(self, best: Found, limit: Callable[[Limits, Found], Limits | None]) -> Iterator[Found]:
        """Yield what less buys: where a step is lost, the least before it and the next.

        Args:
            best: plan.
            limit: what leaves out a plan and all that takes as much, None where nothing is less.

        """
        lead = last = best
        for _ in range(MOST_STEPS):
            limits = limit(self.held, last)
            found = None if limits is None else self.best(limits)
            if found is None:
                break
            if found.value <= lead.value - STEP:
                if last is not lead:
                    yield last
                yield found
                lead = found
            last = found
        if last is not lead:
            yield last

    def _looked_at(self, found: Found, limits: Limits) -> Finalist:
        plan = PlannedPlan("plan", self._space, found.picks, trust=self._rules.trust)
        job = self._space.job
        wishes = job.wishes.model_copy(update={"money": limits.money, "hours": limits.hours})
        about = job.about.model_copy(update={"budget": None})
        held = job.model_copy(update={"wishes": wishes, "about": about, "proposals": ()})
        return Panel(held, [Shown("plan", plan, found)], limits, 1).finalists[0]


def _cheaper(held: Limits, last: Found) -> Limits | None:
    """Return limits below the money of a plan."""
    return replace(held, money=last.money - CENT) if last.money > CENT else None


def _quicker(held: Limits, last: Found) -> Limits | None:
    """Return limits at the next half hour below the hours of a plan."""
    hours = (ceil(2.0 * last.hours - CENT) - 1) / 2.0
    return replace(held, hours=hours) if hours >= 0.0 else None


def shown_of(outcome: Outcome, space: Space, rules: Rules) -> list[Shown]:
    """Return every plan that is told, each once, with an id that no proposal of the job has."""
    taken = {proposal.id for proposal in space.job.proposals}
    found: dict[Picks, Shown] = {}
    nothing, kept = all_kept(space), Shown(DO_NOTHING)

    def add(name: str, plan: Found | None) -> None:
        nonlocal kept
        if plan is not None and plan.picks == nothing and not space.faults:
            kept = Shown(DO_NOTHING, None, plan, outcome.passed.get(plan.picks))
        elif plan is not None and plan.picks not in found:
            free = name if name not in taken else f"{name}-plan"
            planned = PlannedPlan(free, space, plan.picks, trust=rules.trust)
            found[plan.picks] = Shown(free, planned, plan, outcome.passed.get(plan.picks))

    add(BEST, outcome.best)
    for number, plan in enumerate(outcome.near, start=1):
        add(f"near-{number}", plan)
    for number, plan in enumerate(outcome.front, start=1):
        add(f"front-{number}", plan)
    for number, plan in enumerate(outcome.quicker, start=1):
        add(f"quicker-{number}", plan)
    for more, plan in outcome.more.items():
        add(f"next-{more}", plan)
    if nothing not in found and space.faults:
        planned = PlannedPlan(FIX_ONLY, space, nothing, trust=rules.trust)
        found[nothing] = Shown(FIX_ONLY, planned)
    written = [Shown(proposal.id) for proposal in space.job.proposals]
    return [*found.values(), kept, *written]


def all_kept(space: Space) -> Picks:
    """Return the plan that changes nothing and mends what is broken."""
    picks = [0]
    for _ in space.channels:
        picks += [0, -1, 0]
    return tuple(picks + [0] * len(space.places))


def roles_of(found: Found | None, outcome: Outcome) -> Sequence[str]:
    """Return every id under which a plan of the search is told."""
    if found is None:
        return ()
    roles = [BEST] if outcome.best is not None and found.picks == outcome.best.picks else []
    for name, steps in (("front", outcome.front), ("quicker", outcome.quicker)):
        roles += [
            f"{name}-{number}"
            for number, each in enumerate(steps, start=1)
            if each.picks == found.picks
        ]
    roles += [f"next-{more}" for more, each in outcome.more.items() if each.picks == found.picks]
    return roles
