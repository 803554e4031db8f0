"""Parts, hours, surprises and money of a plan, from what it changes and nothing else.

Amounts are low, as a rule and high; they add by squares, since they vary by themselves. Prices that
the job gives stand as they are; the rest are typical ones, plain numbers in whatever currency the
job names. Nothing is drawn or printed here, so that thousands of plans can be asked about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING

from conewright.data_files import data_rows
from conewright.physics.basics import bands
from conewright.stages.common.changes import Changes, as_found, changes, new_parts, planned_job
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.load import radio_load
from conewright.stages.common.mends import capacitors_at
from conewright.stages.feed.components import PartBurden, burdens
from conewright.stages.outlay.amounts import (
    NOTHING,
    Amount,
    Line,
    LineKind,
    amount_of,
    chance_of_any,
    exactly,
    line_of,
    together,
)
from conewright.stages.outlay.bodies import bodies
from conewright.stages.outlay.bought import Bought, with_bought
from conewright.stages.outlay.consumables import consumables, trims
from conewright.stages.outlay.needs import bought_drivers, wanted_of
from conewright.stages.outlay.purchases import (
    BY_VALUE,
    fuses_and_cables,
    new_drivers,
    new_units,
    parts_by_value,
    used_drivers,
)
from conewright.stages.outlay.steps import MINUTES_PER_HOUR, Step, total_minutes, work_steps
from conewright.stages.report.having import has_all, instead_of
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import PartState
    from conewright.job.document.document import Document, Proposal

__all__ = ["CURRENCY", "Outlay", "Surprise", "labour", "outlay"]

CURRENCY = "currency units"
NINE_IN_TEN = 1.645
"""Standard deviations above the middle that 95 % of a normal spread lie below."""

BESIDES_DRIVERS: tuple[LineKind, ...] = ("radio", "material")
"""What a proposal's `extra_cost` is about."""


@dataclass(frozen=True, slots=True)
class Surprise:
    """Something that may turn up: the chance that it does at all, and what it costs then."""

    title: str
    chance: float
    hours: Amount
    cost: Amount
    source: str


@dataclass(frozen=True, slots=True)
class Outlay:
    """What a plan takes; nine in ten lie between the low and the high of every amount.

    Attributes:
        changed: what the plan changes.
        steps: of the work, in their order.
        lines: of the list, what may turn up last.
        hours: of work: those that the proposal writes, with the spread of its steps; else those
            of the steps.
        reckoned: hours that the steps add up to.
        rate: price of an hour; None where the job gives none, and then no work is priced.
        material: what the proposal writes for all but the drivers, None for nothing.
        surprises: what may turn up.
        total: of all lines, what is kept for surprises in it.
        currency: of the job.
        unpriced: what the total leaves out for want of a price, and the field that would give it.
        chosen_from: the list that the plan was chosen from; nothing where it names none.
        remarks: what to know of the prices of parts that are bought by name.

    """

    changed: Changes
    steps: tuple[Step, ...]
    lines: tuple[Line, ...]
    hours: Amount
    reckoned: Amount
    rate: float | None
    material: float | None
    surprises: tuple[Surprise, ...]
    total: Amount
    currency: str
    unpriced: tuple[str, ...]
    chosen_from: str = ""
    remarks: tuple[str, ...] = ()

    @property
    def chance(self) -> float:
        """Chance that any of the surprises comes."""
        return chance_of_any(each.chance for each in self.surprises)

    @property
    def computed(self) -> float:
        """What all but the drivers comes to as a rule, as far as it follows from the changes."""
        return _besides_drivers(line for line in self.lines if line.item != REST)

    @property
    def told_hours(self) -> str:
        """The hours that the steps add up to, where the proposal writes others; else nothing."""
        if self.hours == self.reckoned:
            return ""
        written, spent = (number(each.typical, "h") for each in (self.hours, self.reckoned))
        return f"the proposal writes {written} of work, its steps add up to {spent}"

    def sum_of(self, kind: LineKind) -> Amount:
        """Return what all lines of a kind come to."""
        return together(line.cost for line in self.lines if line.kind == kind)


def outlay(build: Build, *, solver: Solver | None = None) -> Outlay:
    """Return parts, steps, hours, surprises and money of a plan.

    Args:
        build: the plan; the vehicle as found takes nothing.
        solver: that other answers share; what parts by value bear is looked up there. Where there
            is none, one is made for a plan that buys such parts, and for no other.

    >>> import conewright as cw
    >>> taken = cw.outlay(cw.demo_job().build("slim-fronts"))
    >>> taken.hours.typical, taken.total.low < taken.total.typical < taken.total.high
    (2.5, True)
    """
    before, planned, changed = as_found(build), planned_job(build), changes(build)
    rate, currency = build.job.about.hour_rate, build.job.about.currency or CURRENCY
    steps = work_steps(build, changed)
    spent = total_minutes(steps).times(1.0 / MINUTES_PER_HOUR) if changed.any else NOTHING
    plan = _plan(build)
    written, extra = (None, None) if plan is None else (plan.hours, plan.extra_cost)
    hours = spent if written is None else _written_hours(written, steps)
    bought, unbought = _bought(build, before, changed, solver)
    usual = (
        *new_drivers(planned, build, changed),
        *used_drivers(planned, build, changed),
        *new_units(planned, changed),
        *parts_by_value(bought),
        *fuses_and_cables(build, before, changed),
        *consumables(build, before, changed),
        *bodies(build, changed),
    )
    listed = _from_a_list(build, planned, changed, usual)
    parts = listed.lines
    surprises = tuple(_surprises(build, changed, rate))
    lines = (
        *parts,
        *_rest(extra, parts),
        *([] if rate is None or hours == NOTHING else [_work(hours, rate)]),
        *([_contingency(surprises)] if surprises else []),
    )
    return Outlay(
        changed=changed,
        steps=steps,
        lines=lines,
        hours=hours,
        reckoned=spent,
        rate=rate,
        material=extra,
        surprises=surprises,
        total=together(line.cost for line in lines),
        currency=currency,
        unpriced=(*_unpriced(planned, build, changed, listed, hours), *unbought, *listed.unpriced),
        chosen_from="" if plan is None else plan.catalogue or "",
        remarks=listed.remarks,
    )


def labour(build: Build, changed: Changes) -> tuple[float, float]:
    """Return the hours of some changes, and the money for them besides parts, as a rule.

    That is what depends on all changes together: the first of a kind takes longer, a trim is taken
    off once, and what may turn up does so once.

    Args:
        build: any of the vehicle.
        changed: what is changed, put together of what several plans change.

    """
    if not changed.any:
        return 0.0, 0.0
    rate = build.job.about.hour_rate
    hours = total_minutes(work_steps(build, changed)).typical / MINUTES_PER_HOUR
    used_up = trims(len(changed.at("trimmed")), rattles=len(changed.at("quieted")))
    lines = [*used_up, _contingency(tuple(_surprises(build, changed, rate)))]
    return hours, hours * (rate or 0.0) + sum(line.cost.typical for line in lines)


# --- What the proposal writes -------------------------------------------------------------------


def _plan(build: Build) -> Proposal | None:
    """Return the plan as it is written; None as found."""
    return None if build.proposal is None else build.job.proposal(build.proposal)


def _from_a_list(
    build: Build, planned: Document, changed: Changes, usual: tuple[Line, ...]
) -> Bought:
    """Return the parts of a plan with those that it buys by name."""
    plan = _plan(build)
    if plan is None or not plan.buy:
        return Bought(usual)
    wanted = wanted_of(planned, build, changed)
    return with_bought(usual, plan, wanted, currency=build.job.about.currency)


def _written_hours(written: float, steps: tuple[Step, ...]) -> Amount:
    """Return written hours with the spread that the steps have."""
    whole = total_minutes(steps)
    return whole.times(written / whole.typical)


REST = "rest"


def _rest(written: float | None, parts: tuple[Line, ...]) -> Iterator[Line]:
    """Yield what the proposal writes for material beyond what was computed, if it does."""
    left = (written or 0.0) - _besides_drivers(parts)
    if left > 0.0:
        note = f"the proposal's {written:g}, less what is computed above"
        price = exactly(left)
        yield line_of(
            "material", REST, "other material", unit="lot", price=price, note=note, source="the job"
        )


def _besides_drivers(lines: Iterable[Line]) -> float:
    return sum(line.cost.typical for line in lines if line.kind in BESIDES_DRIVERS)


# --- Parts by value -----------------------------------------------------------------------------


def _bought(
    build: Build, before: Build, changed: Changes, solver: Solver | None
) -> tuple[list[tuple[PartState, PartBurden]], list[str]]:
    """Return parts by value that a plan buys with what each bears, and those that nobody sells."""
    new = {
        (channel.id, part.key): part
        for channel in build.channels
        if channel.id in changed.at("new-parts")
        for part in new_parts(channel, before)
        if part.kind in BY_VALUE
    }
    renewed = {place: [*capacitors_at(place, build)] for place in changed.at("capacitor-renewed")}
    new |= {(name, part.key): part for found in renewed.values() for name, part in found}
    unwritten = [
        f"the capacitor before {place}: write it into the load of its channel"
        for place, found in renewed.items()
        if not found
    ]
    if not new:
        return [], unwritten
    asked = solver or Solver(conditioned_draws(build, samples=1), bands.fine_grid())
    loaded = [
        (new[at], burden)
        for burden in burdens(radio_load(build, asked))
        if (at := (burden.channel, burden.part.key)) in new
    ]
    unsold = [
        f"{burden.title} in {burden.channel}: no usual one bears it"
        for _, burden in loaded
        if burden.rating is None
    ]
    return loaded, [*unwritten, *unsold]


# --- Work and surprises -------------------------------------------------------------------------


def _work(hours: Amount, rate: float) -> Line:
    note = f"{hours.low:.1f} to {hours.high:.1f} h"
    price, cost = exactly(rate), hours.times(rate)
    return Line(
        "work", "work", "work", hours.typical, "h", price, cost, note, "the job's hour rate"
    )


def _surprises(build: Build, changed: Changes, rate: float | None) -> Iterator[Surprise]:
    """Yield what may turn up in this plan; several places have several chances."""
    needed = instead_of("stages.outlay")
    for row in data_rows("stages.outlay", "surprises.csv"):
        needs, _ = needed.get(("surprises", row["surprise"]), ("", ""))
        count = sum(has_all(build, needs, (place,)) for place in changed.at(row["when"]))
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
    return line_of(
        "contingency",
        "contingency",
        "surprises, chance times cost",
        unit="lot",
        price=Amount(0.0, mean, mean + NINE_IN_TEN * sqrt(variance)),
        note="given back where none comes",
        source="closed form from the list of surprises",
    )


def _unpriced(
    planned: Document, build: Build, changed: Changes, listed: Bought, hours: Amount
) -> Iterator[str]:
    """Yield what the total leaves out, with the field that would price it."""
    priced = {line.item for line in listed.lines if line.kind == "driver"} | listed.paid
    for name in dict.fromkeys(bought_drivers(build, changed).values()):
        if name not in priced:
            yield f"{planned.driver(name).name or name}: give driver[{name}].price"
    for cable in build.feeds:
        if cable.id in changed.at("recabled") and None in (cable.length, cable.size):
            yield f"the cable {cable.id}: give feed[{cable.id}].length and size"
    if (planned.vehicle.system, planned.vehicle.ground) != (
        build.job.vehicle.system,
        build.job.vehicle.ground,
    ):
        plan = _plan(build)
        if plan is None or plan.extra_cost is None:
            yield "the vehicle changed over to another supply: give extra_cost and hours"
    if build.job.about.hour_rate is None and hours != NOTHING:
        yield "the work: give job.hour_rate"
