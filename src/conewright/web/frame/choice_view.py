"""A choice as its page shows it: plans with their points, steps, reasons, and how it was proved."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from conewright.errors import BadInputError
from conewright.job.text.labels import field_at, fields_of, part_of
from conewright.phrases import capital
from conewright.stages.choose.finals.plan_answers import BEST, DO_NOTHING, FIX_ONLY, RECOMMENDED
from conewright.stages.find.faults.trade import fault
from conewright.stages.report.words import number, odds
from conewright.views.numbers import TENTHS, WHOLE, money, summing
from conewright.web.frame.answer import TableView, VerdictView, verdict_views

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from conewright.job.builds.job import Job
    from conewright.stages.choose.finals.plan_answers import (
        Choice,
        FrontStep,
        PlanAnswer,
        Rejection,
        SearchTold,
    )
    from conewright.stages.report.data import Figure, Working

__all__ = ["ChoiceView", "choice_view", "front_table"]

CHOICE = "choice"
"""Subject of the figures that are of no plan."""
AS_FOUND_OPTION = "as-found"
REJECTED, PLANS_REJECTED = "rejected_", "plans_rejected_"
NEXT = "next-"
LEADING = (RECOMMENDED, BEST)
ALWAYS = {DO_NOTHING: "Do nothing", FIX_ONLY: "Mend only what is broken"}
ROLES = {BEST: "Most points", RECOMMENDED: "Recommended", **ALWAYS}
MOST_EXAMPLES, MOST_OTHERS = 3, 12
GATES: Mapping[str, str] = {
    "restraint": "sit where nobody has ruled a restraint part out",
    "fit-behind": "are too deep",
    "fit-front": "stand out too far in front",
    "unmeasured": "are larger than the old one where nobody measured",
    "hole": "need a hole that may not be cut",
    "stock": "are not in stock in time",
    "price": "have no price",
    "load": "load the radio below what it bears",
    "fuse": "would be fed without a fuse",
    "money": "cost more than there is",
    "hours": "take more time than there is",
    "must": "lose what must be kept",
}
"""What keeps parts and plans out, by the id of the gate; another one is told by its figure."""
LARGE = ((1e12, "million million"), (1e9, "thousand million"), (1e6, "million"))


@dataclass(frozen=True, slots=True)
class WishView:
    """What a plan gives of one wish: its points, and how much of the wish that is, in percent."""

    label: str
    points: str
    share: int


@dataclass(frozen=True, slots=True)
class PlanView:
    """A plan: what it is, what is done, what it is worth, takes, cures, leaves and breaks.

    role: what it is among the plans, in words. href: of the proposal that it is already. tried:
    whether it can be tried as a proposal.
    """

    id: str
    role: str
    title: str
    points: str
    careful: str
    better: str
    money: str
    band: str
    hours: str
    done: tuple[tuple[str, str], ...]
    wishes: tuple[WishView, ...]
    cures: tuple[str, ...]
    leaves: tuple[str, ...]
    breaks: tuple[str, ...]
    why_not: str
    href: str
    tried: bool


@dataclass(frozen=True, slots=True)
class ReasonView:
    """Why parts or plans are out: how many, in which words, and the first of them."""

    count: str
    words: str
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FirstReading:
    """The reading that could change the choice: in words, and the address of its field if any."""

    words: str
    points: str
    href: str


@dataclass(frozen=True, slots=True)
class ChoiceView:
    """A choice in the order of its page.

    leading: best and recommended, one where they are the same. always: do nothing, and fix only.
    further: what more money would buy, each with how much more. steps: what less money buys.
    quicker: what fewer hours do. others: near plans, and the job's own.
    """

    answer: str
    currency: str
    leading: tuple[PlanView, ...]
    always: tuple[PlanView, ...]
    same: tuple[str, ...]
    further: tuple[tuple[str, PlanView], ...]
    steps: tuple[PlanView, ...]
    quicker: tuple[PlanView, ...]
    others: tuple[PlanView, ...]
    verdicts: tuple[VerdictView, ...]
    rejected: str
    reasons: tuple[ReasonView, ...]
    plan_reasons: tuple[ReasonView, ...]
    first: FirstReading | None
    stop: str
    proof: tuple[str, ...]
    working: tuple[Working, ...]
    source: str
    cautions: tuple[str, ...]


def choice_view(choice: Choice, job: Job, *, base: str) -> ChoiceView:
    """Return a choice for its page.

    Args:
        choice: what choose answers.
        job: that it is about, with the wishes that were asked for.
        base: address of the job.

    """
    views = _Plans(choice, job, base)
    leading, always = views.of(LEADING), views.of(ALWAYS)
    further = views.starting(NEXT)
    steps = [plan for step in _cheapest_first(choice) for plan in views.of((step.plan,))]
    quicker = [plan for step in choice.quicker[1:] for plan in views.of((step.plan,))]
    more = (plan for _, plan in further)
    told = {plan.id for plan in (*leading, *always, *steps, *quicker, *more)}
    others = [plan for plan in choice.plans if plan.id not in told]
    figures = {figure.id: figure for figure in choice.figures}
    return ChoiceView(
        answer=choice.answer,
        currency=job.about.currency or "",
        leading=tuple(map(views.view, leading)),
        always=tuple(views.view(plan) for plan in always if plan not in leading),
        same=tuple(
            ALWAYS[role] for role in ALWAYS for plan in views.of((role,)) if plan in leading
        ),
        further=tuple((role.removeprefix(NEXT), views.view(plan)) for role, plan in further),
        steps=tuple(map(views.view, steps)),
        quicker=tuple(map(views.view, quicker)),
        others=tuple(map(views.view, others[:MOST_OTHERS])),
        verdicts=tuple(_about(each) for each in verdict_views(choice.verdicts)),
        rejected=_rejected(choice),
        reasons=tuple(_reasons(choice, REJECTED)),
        plan_reasons=tuple(_reasons(choice, PLANS_REJECTED)),
        first=_first(figures, job, base),
        stop=_text(figures, "stop"),
        proof=tuple(_proof(choice.search)) if choice.search else (),
        working=choice.working,
        source=_source(choice),
        cautions=tuple(caution.text for caution in choice.cautions),
    )


def front_table(choice: Choice, currency: str) -> TableView:
    """Return what each limit of money buys at best, as a table: cheapest first."""
    heads = (f"Money{f' [{currency}]' if currency else ''}", "Points", "Hours", "What is done")
    titles = {role: plan.title for plan in choice.plans for role in (*plan.roles, plan.id)}
    rows = tuple(
        (
            money(step.money),
            number(step.value, spread=TENTHS),
            number(step.hours, spread=TENTHS),
            titles.get(step.plan, step.plan),
        )
        for step in _cheapest_first(choice)
    )
    return TableView("choose: what each limit of money buys at best", heads, rows)


def _cheapest_first(choice: Choice) -> list[FrontStep]:
    return sorted(choice.front, key=lambda step: step.money)


# --- Plans ----------------------------------------------------------------------------------------


class _Plans:
    """The plans of a choice as they are shown."""

    def __init__(self, choice: Choice, job: Job, base: str) -> None:
        self._choice = choice
        self._base = base
        self._own = {proposal.id for proposal in job.proposals}
        self._highest = max((plan.money_high for plan in choice.plans), default=0.0)
        self._wishes = {
            field.path.partition(".")[2]: field.label for field in fields_of(part_of(job, "wishes"))
        }
        self._names = {
            **{place.id: place.name or place.id for place in job.locations},
            "radio": "Radio",
        }

    def of(self, roles: Iterable[str]) -> list[PlanAnswer]:
        """Return the plans of some roles, each once."""
        found = (self._having(role) for role in roles)
        return list({plan.id: plan for plan in found if plan is not None}.values())

    def starting(self, stem: str) -> list[tuple[str, PlanAnswer]]:
        """Return the roles that begin with a word, in their order, each with its plan."""
        every = {role for plan in self._choice.plans for role in (plan.id, *plan.roles)}
        roles = sorted((role for role in every if role.startswith(stem)), key=_natural)
        return [(role, plan) for role in roles if (plan := self._having(role)) is not None]

    def view(self, plan: PlanAnswer) -> PlanView:
        """Return a plan as it is shown."""
        own = next((role for role in (plan.id, *plan.roles) if role in self._own), "")
        low, high = (
            money(each, highest=self._highest) for each in (plan.money_low, plan.money_high)
        )
        changed = any(option.set or option.buy for option in plan.options.values())
        return PlanView(
            id=plan.id,
            role=_role(plan, own),
            title=plan.title,
            points=_points(plan.value),
            careful=_points(plan.careful_value),
            better=odds(plan.better_odds) if plan.better_odds is not None else "",
            money=money(plan.money, highest=self._highest),
            band=f"{low} to {high}" if low != high else "",
            hours=number(plan.hours, spread=TENTHS if plan.hours else None),
            done=tuple(self._done(plan)),
            wishes=tuple(self._wish_views(plan)),
            cures=tuple(map(self._fault, plan.cures)),
            leaves=tuple(map(self._fault, plan.leaves)),
            breaks=plan.breaks,
            why_not=(plan.why_not or "").rstrip("."),
            href=f"{self._base}/proposals/{own}" if own else "",
            tried=not own and (changed or bool(plan.cures)),
        )

    def _having(self, role: str) -> PlanAnswer | None:
        found = (plan for plan in self._choice.plans if role in (plan.id, *plan.roles))
        return next(found, None)

    def _done(self, plan: PlanAnswer) -> Iterator[tuple[str, str]]:
        for group, option in plan.options.items():
            if option.id != AS_FOUND_OPTION:
                yield capital(option.where or self._names.get(group, group)), option.words

    def _wish_views(self, plan: PlanAnswer) -> Iterator[WishView]:
        told, _ = summing(list(plan.points.values()), plan.value or 0.0)
        for (name, _), points in zip(plan.points.items(), told, strict=True):
            share = round(100.0 * min(max(plan.shares.get(name, 0.0), 0.0), 1.0))
            yield WishView(self._wishes.get(name, name.replace("_", " ")), points, share)

    def _fault(self, id: str) -> str:
        return _fault_in_words(id, self._names)


def _role(plan: PlanAnswer, own: str) -> str:
    roles = {plan.id, *plan.roles}
    if roles.issuperset(LEADING):
        return "Best and recommended"
    told = next((words for role, words in ROLES.items() if role in roles), "")
    return told or (f"Your proposal {own}" if own else "")


def _about(verdict: VerdictView) -> VerdictView:
    """Return a verdict whose plans are named as the page names them."""
    named = (ROLES.get(each, each) for each in verdict.subjects if each != CHOICE)
    return replace(verdict, subjects=tuple(named))


def _natural(role: str) -> tuple[int, str]:
    """Return what roles are sorted by: next-20 before next-100."""
    number = role.rpartition("-")[2]
    return int(number) if number.isdecimal() else 0, role


def _points(value: float | None) -> str:
    return "" if value is None else number(value, spread=WHOLE)


def _fault_in_words(id: str, names: Mapping[str, str]) -> str:
    name, _, at = id.partition("@")
    try:
        title = fault(name).title
    except BadInputError:
        title = name
    return f"{title} at {names.get(at, at)}" if at else title


# --- Reasons --------------------------------------------------------------------------------------


def _counts(choice: Choice, stem: str) -> list[tuple[str, Figure]]:
    """Return the gates that kept anything out, with their figures, the strictest first."""
    start = f"{CHOICE}.{stem}"
    found = [
        (figure.id.removeprefix(start), figure)
        for figure in choice.figures
        if figure.id.startswith(start) and figure.value
    ]
    return sorted(found, key=lambda each: -(each[1].value or 0.0))


def _rejected(choice: Choice) -> str:
    """Return in one sentence how many parts do not go in, and why most do not."""
    counts = _counts(choice, REJECTED)
    if not counts:
        return ""
    out = sum(figure.value or 0.0 for _, figure in counts)
    every = choice.catalogue.parts if choice.catalogue else 0
    gate, figure = counts[0]
    words = f"{'most' if len(counts) > 1 else 'all'} {GATES.get(gate, figure.label)}"
    # A part may be out at one place and in at another: then places are counted, not parts.
    if out > every:
        return f"{out:,.0f} times a part does not go in at a place, or may not: {words}."
    return f"{out:,.0f} of {every:,} do not go in, or may not: {words}."


def _reasons(choice: Choice, stem: str) -> Iterator[ReasonView]:
    examples: dict[str, list[Rejection]] = {}
    for each in choice.rejected if stem == REJECTED else ():
        examples.setdefault(each.reason, []).append(each)
    for gate, figure in _counts(choice, stem):
        first = examples.get(gate, [])[:MOST_EXAMPLES]
        yield ReasonView(
            count=f"{figure.value:,.0f}",
            words=GATES.get(gate, figure.label),
            examples=tuple(f"{each.part} at {each.place}: {each.words}" for each in first),
        )


# --- What could change it, and how it was proved --------------------------------------------------


def _text(figures: Mapping[str, Figure], name: str) -> str:
    figure = figures.get(f"{CHOICE}.{name}")
    return (figure.text or "") if figure is not None else ""


def _first(figures: Mapping[str, Figure], job: Job, base: str) -> FirstReading | None:
    words = _text(figures, "measure_first")
    gain = figures.get(f"{CHOICE}.measure_first_points")
    if not words or gain is None or not gain.value:
        return None
    path = next((each for each in words.split() if "." in each.strip(".,:;")), "").strip(".,:;")
    return FirstReading(
        words=words,
        points=number(gain.value, spread=TENTHS),
        href=_field_address(job, path, base),
    )


def _field_address(job: Job, path: str, base: str) -> str:
    """Return the address of the field at a path; empty where there is none."""
    try:
        field = field_at(job, path)
    except BadInputError:
        return ""
    return f"{base}/part/{path.partition('.')[0]}#f-{field.path}"


def _proof(search: SearchTold) -> Iterator[str]:
    yield (
        f"{_many(search.options)} {'option' if search.options == 1 else 'options'} in "
        f"{_many(search.frames)} {'way' if search.frames == 1 else 'ways'} to wire, turn and "
        f"filter make {_many(search.plans)} whole plans."
    )
    bound = "" if search.bound is None else f": none of them gets above {_tenths(search.bound)}"
    yield (
        f"{_many(search.checked)} were worked out exactly. Bounds ruled out "
        f"{_many(search.bounded)} without that{bound}."
    )
    within = f"to within {_tenths(search.gap)} points" if search.gap else "with nothing left open"
    yield f"So the best is proved {within}. It took {_tenths(search.seconds)} s."


def _tenths(value: float) -> str:
    return number(value, spread=TENTHS)


def _many(count: float) -> str:
    """Return a count in words that are read at a glance: 1,494; 440 thousand million."""
    for size, word in LARGE:
        if count >= size:
            return f"{count / size:.3g} {word}" if count < 1e3 * size else f"{count:.1e}"
    return f"{count:,.0f}"


def _source(choice: Choice) -> str:
    used = choice.catalogue
    if used is None:
        return ""
    version = "" if used.version is None else f", version {used.version}"
    return f"{used.name}{version}, {used.parts:,} parts"
