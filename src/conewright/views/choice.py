"""The choice of a whole plan as text: plans side by side, what other money buys, the proof."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from conewright.job.document.parts import AS_FOUND
from conewright.phrases import capital, listed
from conewright.stages.choose.finals.plan_answers import (
    BEST,
    DO_NOTHING,
    FIX_ONLY,
    RECOMMENDED,
    Choice,
    Chosen,
    PlanAnswer,
    Rejection,
    SearchTold,
)
from conewright.stages.find.faults import trade
from conewright.stages.report.data import Figure, Kind, Report
from conewright.stages.report.words import number
from conewright.views.cells import NOTHING, Column
from conewright.views.layout import Cell, Paragraph, Section, Table, fold
from conewright.views.numbers import TENTHS, brief_odds, many, money, summing

__all__ = [
    "choice_head",
    "choice_sections",
    "choice_tables",
    "currency_of",
    "led_plans",
    "plan_sections",
    "wish_name",
]

LED = (BEST, RECOMMENDED, DO_NOTHING, FIX_ONLY)
"""Plans that stand side by side, in this order."""
HEAD_WIDTH, GROUP_WIDTH = 12, 24
TITLES = 0.6
"""Part of the width that the titles of plans take."""
MOST_NEAR, MOST_SHOWN = 3, 3
SMALLEST_GAIN = 0.05
"""Points below which a plan is worth no more than another."""
NEXT = re.compile(r"next_(\d+)_value")
BEHIND = (
    Column("bass_change", "bass [dB]"),
    Column("max_clean_level_change", "loudest clean\nlevel [dB]"),
    Column("treble_change", "treble [dB]"),
)
BURDENS = (
    Column("minimum_load", "lowest load\n[ohm]"),
    Column("chip_temperature", "chip, loud\nmusic [°C]"),
    Column("travel", "cone travel /\nXmax"),
    Column("fit_odds", "odds that it\nis too tight"),
)


def choice_head(report: Report) -> Iterator[Paragraph]:
    """Yield which parts were chosen from."""
    used = report.catalogue if isinstance(report, Choice) else None
    if used is not None:
        version = "" if used.version is None else f", version {used.version}"
        told = f"{many(used.parts)} of {used.name}{version}, sha256 {used.sha256[:12]}"
        yield Paragraph(f"Parts: {told}", rest="  ")


def led_plans(report: Choice) -> dict[str, PlanAnswer]:
    """Return best, recommended, do nothing and fix only by what they are called; equals once."""
    roles: dict[str, list[str]] = {}
    plans = {}
    for role in LED:
        plan = _plan(report, role)
        if plan is not None:
            roles.setdefault(plan.id, []).append(role.replace("-", " "))
            plans[plan.id] = plan
    return {listed(names): plans[id] for id, names in roles.items()}


def currency_of(report: Report) -> str:
    """Return the currency of all money in a report; empty where there is none."""
    return next((each.unit for each in report.figures if each.kind is Kind.MONEY), "")


def wish_name(wish: str) -> str:
    """Return a wish as people say it."""
    return wish.replace("_", "-")


def _plan(report: Choice, role: str) -> PlanAnswer | None:
    found = (each for each in report.plans if role == each.id or role in each.roles)
    return next(found, None)


# --- Tables ---------------------------------------------------------------------------------------


def choice_tables(report: Report, figures: Mapping[str, Figure]) -> Iterator[Table]:
    """Yield the plans side by side, then what other plans are worth."""
    if isinstance(report, Choice):
        plans = led_plans(report)
        yield _side_by_side(report, plans, figures)
        yield from _other_plans(report, plans.values())


def _side_by_side(
    report: Choice, plans: Mapping[str, PlanAnswer], figures: Mapping[str, Figure]
) -> Table:
    unit = currency_of(report)
    told = list(plans.values())
    rows = [
        *_points(told),
        _row("at the careful ends", (_tenths(each.careful_value) for each in told)),
        *_if_any("odds to beat\nthe runner-up", (_odds(each.better_odds) for each in told)),
        *_figures(BEHIND, told, figures),
        _row(f"money [{unit}]" if unit else "money", map(_money, told)),
        _row("hours of work", ((_hours(each),) for each in told)),
        *_figures(BURDENS, told, figures),
    ]
    head: list[Cell] = [("points of 100",), *(fold(name, width=HEAD_WIDTH) for name in plans)]
    return Table(head, rows if told else ())


def _row(title: str, cells: Iterable[Cell]) -> list[Cell]:
    return [tuple(title.split("\n")), *cells]


def _if_any(title: str, cells: Iterable[Cell]) -> Iterator[list[Cell]]:
    row = _row(title, cells)
    if any(cell != NOTHING for cell in row[1:]):
        yield row


def _points(plans: Sequence[PlanAnswer]) -> Iterator[list[Cell]]:
    """Yield the points of each wish, adding up as printed, and the value of every plan."""
    wishes = list(dict.fromkeys(wish for plan in plans for wish in plan.points))
    columns = [_adding_up(plan, wishes) for plan in plans]
    for place, wish in enumerate(wishes):
        yield _row(wish_name(wish), (cells[place] for cells in columns))
    yield _row("all together", (cells[-1] for cells in columns))


def _adding_up(plan: PlanAnswer, wishes: Sequence[str]) -> list[Cell]:
    if plan.value is None:
        return [NOTHING] * (len(wishes) + 1)
    parts = [plan.points.get(wish, 0.0) for wish in wishes]
    # A plan whose points nobody told is shown by its value alone.
    if not plan.points:
        return [*[NOTHING] * len(wishes), _tenths(plan.value)]
    texts, whole = summing(parts, plan.value, signs=False)
    return [(text,) for text in (*texts, whole)]


def _figures(
    columns: Iterable[Column], plans: Sequence[PlanAnswer], figures: Mapping[str, Figure]
) -> Iterator[list[Cell]]:
    for column in columns:
        cells = (column.cell(_figure(plan, column.name, figures)) for plan in plans)
        yield from _if_any(column.head, cells)


def _figure(plan: PlanAnswer, name: str, figures: Mapping[str, Figure]) -> Figure | None:
    """Return a figure of a plan, under whichever of its ids it is told."""
    ids = (f"{id}.{name}" for id in dict.fromkeys((plan.id, *plan.roles)))
    return next((figures[id] for id in ids if id in figures), None)


def _tenths(value: float | None) -> Cell:
    return NOTHING if value is None else (number(value, spread=TENTHS),)


def _odds(chance: float | None) -> Cell:
    return NOTHING if chance is None else (brief_odds(chance),)


def _money(plan: PlanAnswer) -> Cell:
    """Return what a plan costs, and under it the ends that a quote would name."""
    low, high = plan.money_low, plan.money_high
    first = money(plan.money, highest=high)
    ends = [money(each, highest=high) for each in (low, high)]
    return (first, " to ".join(ends)) if ends[0] != ends[1] else (first,)


def _hours(plan: PlanAnswer) -> str:
    return number(plan.hours, spread=TENTHS) if plan.hours else "0"


def _other_plans(report: Choice, led: Iterable[PlanAnswer]) -> Iterator[Table]:
    """Yield what less money buys and fewer hours do, what is nearly as good, what the job has."""
    shown = {plan.id for plan in led}
    for title, front in (
        ("what less money buys", report.front),
        ("what fewer hours do", report.quicker),
    ):
        steps = [plan for step in front if (plan := _plan(report, step.plan)) is not None]
        if len(steps) > 1:
            yield _worth(title, steps, report)
        shown |= {plan.id for plan in steps}
    others = [plan for plan in report.plans if plan.id not in shown]
    near = [plan for plan in others if plan.id.startswith("near-")][:MOST_NEAR]
    yield _worth("nearly as good", near, report)
    own = [plan for plan in report.plans if _own_name(plan)]
    yield _worth("plans of the job", own, report, named=True)


def _worth(
    title: str, plans: Sequence[PlanAnswer], report: Choice, *, named: bool = False
) -> Table:
    unit = currency_of(report)
    rows = [
        [
            (f"{_own_name(plan)}: {plan.title}" if named else plan.title,),
            (money(plan.money),),
            (_hours(plan),),
            _tenths(plan.value),
        ]
        for plan in plans
    ]
    return Table([(title,), (unit or "money",), ("hours",), ("points",)], rows, first=TITLES)


OURS = re.compile(rf"(?:{'|'.join(LED)}|(?:front|quicker|near|next)-\d+)")


def _own_name(plan: PlanAnswer) -> str:
    """Return the id under which the job has a plan as a proposal; empty where it has not."""
    names = (id for id in (plan.id, *plan.roles) if not OURS.fullmatch(id))
    return next(names, "")


# --- What goes in ---------------------------------------------------------------------------------


def plan_sections(report: Report) -> Iterator[Section]:
    """Yield what goes in where under each plan that leads, and which limits they break."""
    if not isinstance(report, Choice):
        return
    plans = led_plans(report)
    for name, plan in plans.items():
        leads = {BEST, RECOMMENDED} & {plan.id, *plan.roles}
        if leads or _taken(plan):
            yield Section(f"What goes in: {name}", tuple(_what_goes_in(plan)))
    yield Section("What breaks a limit", tuple(_broken(plans)))


def _taken(plan: PlanAnswer) -> dict[str, Chosen]:
    """Return the options of a plan that change something, by group."""
    return {group: each for group, each in plan.options.items() if each.id != AS_FOUND}


def _what_goes_in(plan: PlanAnswer) -> Iterator[Paragraph]:
    taken = _taken(plan)
    named = [(each.where or group, each) for group, each in taken.items()]
    room = min(max((len(name) for name, _ in named), default=0), GROUP_WIDTH)
    for group, each in named:
        bought = ", ".join(f"{number(count)} {part}" for part, count in each.buy.items())
        told = f"{each.words} ({bought})" if bought else each.words
        yield Paragraph(told, first=f"  {group:<{room}}  ", rest=" " * (room + 4))
    if not taken:
        yield Paragraph("nothing is changed", first="  ")
    for fault in plan.leaves:
        yield Paragraph(f"Left as it is: {_fault(fault)}", first="  ", rest="    ")
    if plan.why_not:
        yield Paragraph(f"Not recommended: {plan.why_not}", first="  ", rest="    ")


def _fault(name: str) -> str:
    fault, _, place = name.partition("@")
    return f"{trade.fault(fault).title} at {place}"


def _broken(plans: Mapping[str, PlanAnswer]) -> Iterator[Paragraph]:
    for name, plan in plans.items():
        for limit in plan.breaks:
            yield Paragraph(f"{name}: {limit}", rest="  ")


# --- More money, what is left out, the proof --------------------------------------------------


def choice_sections(report: Report) -> Iterator[Section]:
    """Yield what more money buys, whether to measure first, what is left out, and the proof."""
    if not isinstance(report, Choice):
        return
    figures = {figure.id: figure for figure in report.figures}
    yield Section("What more money buys", tuple(_more_money(report)))
    yield Section("Measure first, or buy?", tuple(_measure(figures)))
    yield Section("What does not go in", tuple(_left_out(report)))
    if report.search is not None:
        yield Section("How it was proved", (Paragraph(_proved(report.search)),))


def _more_money(report: Choice) -> Iterator[Paragraph]:
    best, unit = _plan(report, BEST), currency_of(report)
    for figure in report.figures:
        found = NEXT.fullmatch(figure.name)
        if not found or figure.value is None or best is None or best.value is None:
            continue
        more, gain = f"{found[1]} {unit}".rstrip(), figure.value
        if gain < SMALLEST_GAIN:
            yield Paragraph(f"{more} more: nothing better.", rest="  ")
            continue
        plan = _plan(report, f"next-{found[1]}")
        told = "" if plan is None else f": {plan.title} ({_price(plan, unit)})"
        yield Paragraph(f"{more} more: {number(gain, spread=TENTHS)} points{told}.", rest="  ")


def _price(plan: PlanAnswer, unit: str) -> str:
    return f"{money(plan.money)} {unit}".rstrip() + f", {_hours(plan)} h"


def _measure(figures: Mapping[str, Figure]) -> Iterator[Paragraph]:
    reading, gain = (figures.get(f"choice.measure_first{end}") for end in ("", "_points"))
    if reading is not None and reading.text:
        worth = "" if gain is None or gain.value is None else _worth_points(gain.value)
        yield Paragraph(f"{capital(reading.text)}{worth}", rest="  ")
    stop = figures.get("choice.stop")
    if stop is not None and stop.text:
        yield Paragraph(stop.text, rest="  ")


def _worth_points(points: float) -> str:
    return f": worth {number(points, spread=TENTHS)} points, for it could change the choice."


def _left_out(report: Choice) -> Iterator[Paragraph]:
    """Yield how many parts each gate rejects, with the first of them, and how many plans."""
    counts, used = _counts(report, "rejected_"), report.catalogue
    if counts and used is not None:
        yield Paragraph(f"Ruled out of {many(used.parts)} parts, by reason:")
    for figure in counts:
        gate = figure.name.removeprefix("rejected_").replace("-", "_")
        told = f"{many(figure.value or 0.0)} {figure.label}"
        yield Paragraph(told, rest="  ")
        here = [
            each
            for each in report.rejected
            if each.reason.replace("-", "_") == gate.replace("-", "_")
        ]
        for each in here[:MOST_SHOWN]:
            yield Paragraph(_rejection(each), first="  ", rest="    ")
    plans = [
        f"{many(each.value or 0.0)} {each.label}" for each in _counts(report, "plans_rejected_")
    ]
    if plans:
        yield Paragraph(f"Of whole plans: {'; '.join(plans)}.", rest="  ")


def _counts(report: Choice, stem: str) -> list[Figure]:
    found = [each for each in report.figures if each.subject == "choice" and each.value]
    return [each for each in found if each.name.startswith(stem)]


def _rejection(told: Rejection) -> str:
    return told.words if told.part in told.words else f"{told.part} at {told.place}: {told.words}"


def _proved(search: SearchTold) -> str:
    """Say in one line how the best was proved."""
    plans = f"Of {many(search.plans)} plans from {many(search.options)} options"
    exact = f"{many(search.checked)} were worked out exactly"
    if search.bound is None:
        others = "no other one can be worth more"
    else:
        others = f"no other one can be worth more than {number(search.bound, spread=TENTHS)} points"
    within = f", so the best is proved to within {number(search.gap)} points" if search.gap else ""
    time = number(search.seconds, "s", spread=TENTHS)
    return f"{plans}, {exact}; {others}{within} ({time})."
