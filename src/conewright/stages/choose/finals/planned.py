"""A plan of the search as a proposal of the job: what it sets, mends and buys, and in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from math import ceil
from typing import TYPE_CHECKING

from conewright.catalogue.job_entries import driver_entry, in_words
from conewright.job.document.document import Proposal
from conewright.job.document.places import DriverSheet
from conewright.phrases import capital, listed
from conewright.stages.choose.finals.plan_answers import Chosen
from conewright.stages.choose.space.groups import KEPT, Change, RadioOption, Space, together
from conewright.stages.choose.space.wiring_forms import CAPACITOR, with_capacitor
from conewright.stages.find.faults import trade

if TYPE_CHECKING:
    from pydantic import JsonValue

    from conewright.job.builds.job import Job
    from conewright.stages.choose.engine.solve import Picks

__all__ = ["RADIO", "WIRING", "PlannedPlan", "job_with"]


@dataclass(frozen=True)
class PlannedPlan:
    """A plan of a space.

    Attributes:
        id: of its proposal.
        space: what it is of.
        picks: what it takes.
        trust: whether figures get the spread that their origin deserves.

    """

    id: str
    space: Space
    picks: Picks
    trust: bool = False

    @cached_property
    def choices(self) -> tuple[tuple[str, str, str, Change], ...]:
        """Group, option, words and change of everything that it takes, as found as well."""
        return tuple(self._choices())

    def _choices(self) -> Iterator[tuple[str, str, str, Change]]:
        space, compiled = self.space, self.space.offer.compiled
        start = 1 + 3 * len(space.channels)
        for g, group in enumerate(space.places):
            option = self.picks[start + g]
            variant, row = group.variant_of(option)
            words, name = variant.words, variant.id
            if row >= 0:
                name = f"{compiled.text('id', row)}{name.removeprefix('new')}"
                words = words.replace("new driver", in_words(compiled, row), 1)
            yield group.id, name, words, group.change_of(option, space.offer)
        for c, channels in enumerate(space.channels):
            yield self._wired(c)
            corner = channels.corners[self.picks[1 + 3 * c + 2]]
            told = "as found" if corner is None else f"high-pass {corner:g} Hz"
            told = "high-pass off" if corner == 0.0 else told
            name = KEPT if corner is None else f"{corner:g}-hz"
            yield f"{HIGH_PASS}{channels.id}", name, told, channels.corner_change(corner)
        yield RADIO, self._radio.id, self._radio.words, self._radio.change

    @property
    def _radio(self) -> RadioOption:
        return self.space.radios[self.picks[0]]

    def _wired(self, c: int) -> tuple[str, str, str, Change]:
        channels = self.space.channels[c]
        form = channels.forms[self.picks[1 + 3 * c]]
        name, words, change = form.id, form.words, form.change
        if form.chosen is not None:
            row = int(form.chosen.rows[self.picks[1 + 3 * c + 1]])
            size = float(form.chosen.size[self.picks[1 + 3 * c + 1]])
            value = f"{1e6 * size:.6g} uF"
            fields = dict(change.set)
            for channel, key in form.chosen.keys.items():
                field = f"{channel}.load"
                fields[field] = with_capacitor(str(fields[field]), key, value)
            part = self.space.offer.compiled.text("id", row)
            buy = {row: float(len(form.chosen.keys))}
            change = replace(change, set=fields, buy=buy)
            name, words = f"{name}+{part}", words.replace(CAPACITOR, f"{CAPACITOR} of {value}")
        return f"{WIRING}{channels.id}", name, words, change

    @cached_property
    def change(self) -> Change:
        """All that it changes, what every plan mends included."""
        return together([self.space.base, *(change for *_, change in self.choices)])

    @property
    def rows(self) -> tuple[int, ...]:
        """Rows of the drivers that it fits."""
        compiled = self.space.offer.compiled
        return tuple(r for r in self.change.buy if compiled.text("kind", r) == "driver")

    @property
    def title(self) -> str:
        """What is done, in one line."""
        told: dict[str, list[str]] = {}
        for group, _, words, change in self.choices:
            if not (change.set or change.mends or change.repairs):
                continue
            called = self._called(group)
            told.setdefault(called, []).append(words)
        mended = [fault_in_words(fault) for fault in self.space.base.mends]
        if mended:
            told["put right"] = [listed(mended)]
        lines = (f"{where}: {', '.join(words)}" for where, words in told.items())
        return capital("; ".join(lines)) if told else "Nothing is done"

    def _called(self, whole: str) -> str:
        """Return what a group of places or channels is called: `front doors`."""
        if whole == RADIO:
            return "amplifier added" if self._radio.change.add else "new radio"
        group = whole.removeprefix(WIRING).removeprefix(HIGH_PASS)
        names = {place.id: place.name for place in self.space.job.locations}
        called = [names.get(each) or each.replace("-", " ") for each in group.split("+")]
        plain = {" ".join(w for w in each.split() if w not in SIDES) for each in called}
        if len(called) > 1 and len(plain) == 1:
            one = plain.pop()
            return f"{one}s" if group.split("+")[0] in names else f"{one} channels"
        return listed(called)

    @property
    def chosen(self) -> dict[str, Chosen]:
        """What it takes, by group."""
        compiled = self.space.offer.compiled
        return {
            group: Chosen(
                id=name,
                words=words,
                where=RADIO if group == RADIO else self._called(group),
                set=dict(change.set),
                add=_added(change),
                buy={compiled.text("id", row): count for row, count in change.buy.items()},
            )
            for group, name, words, change in self.choices
        }

    @property
    def drivers(self) -> tuple[dict[str, JsonValue], ...]:
        """The drivers of the list that it fits, as entries of a job."""
        compiled = self.space.offer.compiled
        return tuple(driver_entry(compiled, row, trust=self.trust) for row in self.rows)

    @property
    def entry(self) -> dict[str, JsonValue]:
        """It as an entry of `[[proposal]]`."""
        change = self.change
        entry: dict[str, JsonValue] = {"id": self.id, "name": self.title[:LONGEST]}
        if change.mends:
            entry["mends"] = list(change.mends)
        if change.repairs:
            entry["repairs"] = list(change.repairs)
        if change.set:
            entry["set"] = dict(change.set)
        if change.add:
            entry["add"] = {
                name: [dict(each) for each in some] for name, some in change.add.items()
            }
        if change.buy:
            entry["catalogue"] = self.space.offer.words
            entry["buy"] = [dict(self._bought(row, n)) for row, n in change.buy.items()]
        return entry

    def _bought(self, row: int, count: float) -> Iterator[tuple[str, JsonValue]]:
        """Yield the fields of a purchase."""
        compiled = self.space.offer.compiled
        kind, per = compiled.text("kind", row), compiled.text("per", row) or "piece"
        supplier, part = compiled.text("supplier", row), compiled.text("part", row)
        name = in_words(compiled, row)
        value = compiled.number("value", row)
        if kind in VALUES and value is not None:
            scale, unit = VALUES[kind]
            name = f"{name}, {scale * value:.6g} {unit}"
        yield "part", f"{supplier} {part}".strip()
        yield "kind", kind
        yield "name", name
        yield "count", float(ceil(count / 2)) if per == "pair" else count
        for field in ("price", "price_low", "price_high"):
            price = compiled.number(field, row)
            if price is not None:
                yield field, price
        yield "per", per
        currency = compiled.text("currency", row)
        if currency:
            yield "currency", currency


def _added(change: Change) -> dict[str, JsonValue]:
    """Return what a change adds, as a proposal has it."""
    return {name: [dict(each) for each in some] for name, some in change.add.items()}


VALUES = {"capacitor": (1e6, "uF"), "cable": (1e6, "mm2"), "fuse": (1.0, "A")}
"""Scale and unit of what tells parts of a kind apart."""

LONGEST = 300
"""Letters of a plan's name."""

SIDES = ("left", "right")
WIRING, HIGH_PASS, RADIO = "wiring ", "high-pass ", "radio"
"""What groups of channels, and the radio, are called before their names."""


def fault_in_words(fault: str) -> str:
    """Return a fault, as fault@place, in words."""
    name, _, at = fault.partition("@")
    return f"{trade.fault(name).title} at {at}"


def job_with(job: Job, plans: tuple[PlannedPlan, ...]) -> Job:
    """Return a job with plans as proposals beside its own, and the drivers that they fit."""
    drivers = {driver.id: driver for driver in job.drivers}
    for plan in plans:
        for entry in plan.drivers:
            if entry["id"] not in drivers:
                drivers[str(entry["id"])] = DriverSheet.model_validate(entry)
    entries = tuple(Proposal.model_validate(plan.entry) for plan in plans)
    return job.model_copy(
        update={"drivers": tuple(drivers.values()), "proposals": (*job.proposals, *entries)}
    )
