"""The quote around what a plan takes: alternatives, exclusions, notes, budget; and its list as CSV.

Every amount is that of stage room `outlay`; nothing is reckoned here.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.papers.work.checks import needed_rows
from conewright.phrases import capital, sheet_cell
from conewright.stages.common.changes import planned_job
from conewright.stages.outlay.bought import CATALOGUE
from conewright.views.numbers import money

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.document.document import Document
    from conewright.stages.outlay.amounts import Amount, Line
    from conewright.stages.outlay.reckoning import Outlay

__all__ = ["Bill", "bill", "chosen_from", "csv_text"]

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
class Bill:
    """What a plan takes, with the words of a quote.

    Attributes:
        taken: parts, hours and money.
        alternates: other drivers of the job that are as large, with their prices.
        exclusions: what is not in it.
        notes: what to know of its prices.
        verdict: how the total stands to the budget; empty without one.

    """

    taken: Outlay
    alternates: tuple[str, ...]
    exclusions: tuple[str, ...]
    notes: tuple[str, ...]
    verdict: str


def bill(build: Build, taken: Outlay) -> Bill:
    """Return the bill of a plan.

    Args:
        build: the plan; the vehicle as found takes nothing.
        taken: what it takes.

    """
    job = planned_job(build)
    return Bill(
        taken=taken,
        alternates=tuple(_alternates(job, build, taken)),
        exclusions=tuple(_exclusions(build, taken)),
        notes=tuple(_notes(taken)),
        verdict=_verdict(job, taken),
    )


# --- Words ----------------------------------------------------------------------------------------


def _alternates(job: Document, build: Build, taken: Outlay) -> Iterator[str]:
    """Yield drivers of the job as large as a new one, that are neither fitted nor planned."""
    planned = {build.location(place).driver.id for place in taken.changed.at("new-driver")}
    fitted = {place.driver for place in build.job.locations} | planned
    sizes = {job.driver(name).size for name in planned} - {None}
    for sheet in job.drivers:
        if sheet.id not in fitted and sheet.size in sizes:
            price = "no price" if sheet.price is None else f"{sheet.price:g} the pair"
            yield f"{sheet.name or sheet.id} ({sheet.size}), {price}"


def _exclusions(build: Build, taken: Outlay) -> Iterator[str]:
    for row in needed_rows(build, "exclusions.csv"):
        if row["when"] == "always" or taken.changed.at(row["when"]):
            yield row["text"]


def _notes(taken: Outlay) -> Iterator[str]:
    written, computed = taken.material, taken.computed
    if written is not None and computed > written:
        yield (
            f"The proposal reckons {written:g} for material; what it changes comes to "
            f"{money(computed)}. The larger is used."
        )
    if taken.told_hours:
        yield capital(f"{taken.told_hours}.")
    yield from taken.remarks
    if any(line.kind in ("material", "radio") and _is_usual(line) for line in taken.lines):
        yield (
            "Prices of material are typical ones, from memory: put in those of the shop before it "
            "is signed."
        )


def _is_usual(line: Line) -> bool:
    """Whether the price of a line is one from no list and no sheet of the job."""
    return not line.source.startswith(CATALOGUE)


def _verdict(job: Document, taken: Outlay) -> str:
    budget, total, currency = job.about.budget, taken.total, taken.currency
    if budget is None:
        return ""
    if total.high <= budget:
        return f"Within the budget of {budget:g} {currency}, surprises and all."
    if total.typical <= budget:
        return (
            f"Within the budget of {budget:g} {currency} as a rule; it may come to "
            f"{money(total.high)}."
        )
    over = money(total.typical - budget)
    return f"Over the budget of {budget:g} {currency} by {over} as a rule."


def chosen_from(taken: Outlay) -> str:
    """Return what a plan was chosen from, in words; nothing where it does not say."""
    return f"chosen from {taken.chosen_from}" if taken.chosen_from else ""


# --- CSV ------------------------------------------------------------------------------------------


def csv_text(taken: Outlay) -> str:
    """Return the list as CSV (RFC 4180): a head, a line for each, the total last."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(COLUMNS)
    for line in taken.lines:
        writer.writerow(
            [
                line.kind,
                sheet_cell(line.title),
                _plain(line.quantity),
                line.unit,
                *_three(line.price),
                *_three(line.cost),
                sheet_cell(taken.currency),
                sheet_cell(line.note),
                sheet_cell(line.source),
            ]
        )
    if taken.rate is None and taken.hours.typical > 0.0:
        spent = [f"{taken.hours.typical:.2f}", "h", *["0.00"] * 6]
        ends = f"{taken.hours.low:.1f} to {taken.hours.high:.1f} h"
        head = ["hours", "hours of work, not priced"]
        writer.writerow([*head, *spent, sheet_cell(taken.currency), ends, ""])
    blanks, chosen = [""] * 5, sheet_cell(chosen_from(taken))
    writer.writerow(
        [
            "total",
            "total",
            *blanks,
            *_three(taken.total),
            sheet_cell(taken.currency),
            SPREAD,
            chosen,
        ]
    )
    return stream.getvalue()


def _three(amount: Amount) -> list[str]:
    return [f"{each:.2f}" for each in (amount.low, amount.typical, amount.high)]


def _plain(quantity: float) -> str:
    return f"{quantity:.3f}".rstrip("0").rstrip(".")
