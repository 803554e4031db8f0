"""Parts, hours and money of a plan: a list to order from, and a quote to hand over.

Amounts are low, as a rule and high; they add by squares, since they vary by themselves. Prices that
the job gives stand as they are; the rest are typical ones, plain numbers in whatever currency the
job names.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING, Literal

from conewright.data_files import data_rows
from conewright.job.builds.typical import nearest_size
from conewright.papers.work.consumables import Consumable, consumables
from conewright.papers.work.money import (
    NOTHING,
    Amount,
    amount_of,
    chance_of_any,
    exactly,
    together,
)
from conewright.papers.work.steps import MINUTES_PER_HOUR, total_minutes, work_steps
from conewright.phrases import sheet_cell
from conewright.stages.common.changes import Changes, changes, planned_job
from conewright.views.numbers import money

if TYPE_CHECKING:
    from conewright.job.builds.state import Build
    from conewright.job.document.document import Document, DriverSheet
    from conewright.papers.press.supply_plan import SupplyPlan
    from conewright.papers.templates.drawings import Templates
    from conewright.papers.wiring.schedule import Schedule

__all__ = ["Bill", "Line", "Surprise", "bill", "csv_text"]

Kind = Literal["driver", "material", "work", "contingency"]
CURRENCY = "currency units"
NINE_IN_TEN = 1.645
"""Standard deviations above the middle that 95 % of a normal spread lie below."""

COLUMNS = (
    "kind",
    "item",
    "quantity",
    "unit",
    "price_low",
    "price_typical",
    "price_high",
    "cost_low",
    "cost_typical",
    "cost_high",
    "currency",
    "note",
    "source",
)
SPREAD = "nine in ten lie between low and high, which add by squares"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list: how much of what, the price of one, what it comes to."""

    kind: Kind
    title: str
    quantity: float
    unit: str
    price: Amount
    cost: Amount
    note: str
    source: str


@dataclass(frozen=True, slots=True)
class Surprise:
    """Something that may turn up: the chance that it does at all, and what it costs then."""

    title: str
    chance: float
    hours: Amount
    cost: Amount
    source: str


@dataclass(frozen=True, slots=True)
class Bill:
    """What a plan takes.

    Attributes:
        hours: of work, as planned.
        rate: of one hour; None where the job gives none, and then no work is priced.
        unpriced: what the total leaves out for want of a price.
        alternates: other drivers of the job that are as large, with their prices.
        chance: that any of the surprises comes.
        verdict: how the total stands to the budget; empty without one.

    """

    lines: tuple[Line, ...]
    hours: Amount
    rate: float | None
    surprises: tuple[Surprise, ...]
    chance: float
    total: Amount
    currency: str
    unpriced: tuple[str, ...]
    alternates: tuple[str, ...]
    exclusions: tuple[str, ...]
    notes: tuple[str, ...]
    verdict: str

    def sum_of(self, kind: Kind) -> Amount:
        """Return what all lines of a kind come to."""
        return together(line.cost for line in self.lines if line.kind == kind)


def bill(build: Build, drawn: Templates, plan: Schedule, feeds: SupplyPlan) -> Bill:
    """Return parts, hours, contingency and total of a plan.

    Args:
        build: the plan; the vehicle as found takes nothing.
        drawn: its drawings.
        plan: its wiring schedule.
        feeds: its supply cables.

    """
    job, changed = planned_job(build), changes(build)
    rate = build.outlay.hour_rate
    hours = _hours(build, changed)
    used = consumables(build, changed, drawn, plan, feeds)
    surprises = tuple(_surprises(changed, rate))
    materials = [_material(each) for each in used]
    rest = _rest(build, materials)
    lines = (
        *_drivers(build, job),
        *materials,
        *([rest] if rest is not None else []),
        *([] if rate is None or hours.typical == 0.0 else [_work(hours, rate)]),
        *([] if not surprises else [_contingency(surprises)]),
    )
    total = together(line.cost for line in lines)
    return Bill(
        lines=lines,
        hours=hours,
        rate=rate,
        surprises=surprises,
        chance=chance_of_any(each.chance for each in surprises),
        total=total,
        currency=job.about.currency or CURRENCY,
        unpriced=tuple(_unpriced(build, job, lines, hours)),
        alternates=tuple(_alternates(build, job)),
        exclusions=tuple(_exclusions(changed)),
        notes=tuple(_notes(build, materials)),
        verdict=_verdict(job, total),
    )


# --- Drivers --------------------------------------------------------------------------------------


def _drivers(build: Build, job: Document) -> Iterator[Line]:
    """Yield new drivers: by the pair at the job's price, else one by one at a typical one."""
    for new in build.outlay.drivers:
        sheet = job.driver(new.id)
        if new.pair_price is not None:
            quantity, unit, source = new.pairs, "pair", "the job's price"
            price = exactly(new.pair_price)
        elif (row := _typical_price(sheet)) is not None:
            quantity, unit, source = new.count, "piece", row["source"]
            price = amount_of(row)
        else:
            continue
        cost = price.times(quantity)
        yield Line("driver", sheet.name or new.id, quantity, unit, price, cost, new.id, source)


def _typical_price(sheet: DriverSheet) -> dict[str, str] | None:
    if sheet.size is None:
        return None
    size = nearest_size(minor=sheet.size.minor, major=sheet.size.major)
    return next(
        (row for row in data_rows("papers", "driver_prices.csv") if row["size"] == size), None
    )


def _alternates(build: Build, job: Document) -> Iterator[str]:
    """Yield drivers of the job as large as a new one, that are neither fitted nor planned."""
    planned = {new.id for new in build.outlay.drivers}
    fitted = {place.driver for place in build.job.locations} | planned
    sizes = {job.driver(name).size for name in planned} - {None}
    for sheet in job.drivers:
        if sheet.id not in fitted and sheet.size in sizes:
            price = "no price" if sheet.price is None else f"{sheet.price:g} the pair"
            yield f"{sheet.name or sheet.id} ({sheet.size}), {price}"


# --- Material -------------------------------------------------------------------------------------


def _material(used: Consumable) -> Line:
    cost = used.price.times(used.quantity)
    return Line(
        "material", used.title, used.quantity, used.unit, used.price, cost, used.note, used.source
    )


def _rest(build: Build, materials: list[Line]) -> Line | None:
    """Return what the proposal reckons for material beyond what was computed, None for nothing."""
    written = build.outlay.material
    left = (written or 0.0) - sum(line.cost.typical for line in materials)
    if left <= 0.0:
        return None
    cost = exactly(left)
    note = f"the proposal's {written:g}, less what is computed above"
    return Line("material", "other material", 1, "lot", cost, cost, note, "the job")


# --- Work and surprises ---------------------------------------------------------------------------


def _hours(build: Build, changed: Changes) -> Amount:
    """Return the hours of a plan: as the proposal says, with the spread of its steps.

    Where nothing is done and no hours are written, it takes none.
    """
    written = build.outlay.hours
    if written is None and not any(changed.by_kind.values()):
        return NOTHING
    reckoned = total_minutes(work_steps(build)).times(1.0 / MINUTES_PER_HOUR)
    return reckoned if written is None else reckoned.times(written / reckoned.typical)


def _work(hours: Amount, rate: float) -> Line:
    price = exactly(rate)
    cost, note = hours.times(rate), f"{hours.low:.1f} to {hours.high:.1f} h"
    return Line("work", "work", hours.typical, "h", price, cost, note, "the job's hour rate")


def _surprises(changed: Changes, rate: float | None) -> Iterator[Surprise]:
    """Yield what may turn up in this plan; several places have several chances."""
    for row in data_rows("papers", "surprises.csv"):
        count = len(changed.by_kind[row["when"]])
        if count == 0:
            continue
        hours, cost = amount_of(row["hours"]), amount_of(row["cost"])
        yield Surprise(
            title=row["title"],
            chance=chance_of_any([float(row["chance"])] * count),
            hours=hours,
            cost=together((hours.by(exactly(rate or 0.0)), cost)),
            source=row["source"],
        )


def _contingency(surprises: tuple[Surprise, ...]) -> Line:
    """Return chance times cost of every surprise; the high end is that of 19 in 20 jobs."""
    mean = sum(each.chance * each.cost.typical for each in surprises)
    variance = sum(each.chance * (1.0 - each.chance) * each.cost.typical**2 for each in surprises)
    cost = Amount(0.0, mean, mean + NINE_IN_TEN * sqrt(variance))
    return Line(
        "contingency",
        "surprises, chance times cost",
        1,
        "lot",
        cost,
        cost,
        "given back where none comes",
        "closed form from the list of surprises",
    )


# --- Words ----------------------------------------------------------------------------------------


def _unpriced(build: Build, job: Document, lines: tuple[Line, ...], hours: Amount) -> Iterator[str]:
    """Yield what the total leaves out, with the field that would price it."""
    priced = {line.note for line in lines if line.kind == "driver"}
    for new in build.outlay.drivers:
        if new.id not in priced:
            yield f"{job.driver(new.id).name or new.id}: give driver[{new.id}].price"
    if build.outlay.hour_rate is None and hours.typical > 0.0:
        yield "the work: give job.hour_rate"


def _exclusions(changed: Changes) -> Iterator[str]:
    for row in data_rows("papers", "exclusions.csv"):
        if row["when"] == "always" or changed.by_kind[row["when"]]:
            yield row["text"]


def _notes(build: Build, materials: list[Line]) -> Iterator[str]:
    written, computed = build.outlay.material, sum(line.cost.typical for line in materials)
    if written is not None and computed > written:
        yield (
            f"The proposal reckons {written:g} for material; what the drawings and the wiring take "
            f"comes to {money(computed)}. The larger is used."
        )
    if materials:
        yield (
            "Prices of material are typical ones, from memory: put in those of the shop before it "
            "is signed."
        )


def _verdict(job: Document, total: Amount) -> str:
    budget = job.about.budget
    if budget is None:
        return ""
    currency = job.about.currency or CURRENCY
    if total.high <= budget:
        return f"Within the budget of {budget:g} {currency}, surprises and all."
    if total.typical <= budget:
        return (
            f"Within the budget of {budget:g} {currency} as a rule; it may come to "
            f"{money(total.high)}."
        )
    over = money(total.typical - budget)
    return f"Over the budget of {budget:g} {currency} by {over} as a rule."


# --- CSV ------------------------------------------------------------------------------------------


def csv_text(made: Bill) -> str:
    """Return the list as CSV (RFC 4180): a head, a line for each, the total last."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(COLUMNS)
    for line in made.lines:
        writer.writerow(
            [
                line.kind,
                sheet_cell(line.title),
                _plain(line.quantity),
                line.unit,
                *_three(line.price),
                *_three(line.cost),
                sheet_cell(made.currency),
                sheet_cell(line.note),
                sheet_cell(line.source),
            ]
        )
    blanks = [""] * 5
    writer.writerow(
        ["total", "total", *blanks, *_three(made.total), sheet_cell(made.currency), SPREAD, ""]
    )
    return stream.getvalue()


def _three(amount: Amount) -> list[str]:
    return [f"{each:.2f}" for each in (amount.low, amount.typical, amount.high)]


def _plain(quantity: float) -> str:
    return f"{quantity:.3f}".rstrip("0").rstrip(".")
