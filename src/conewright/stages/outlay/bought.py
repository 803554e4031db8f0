"""Parts of a list that are bought for a plan, in the place of what it would be reckoned with.

A purchase serves the lines of its kind as far as it reaches. What is left of them keeps its usual
price; a purchase that no line wants stands by itself, as it is paid all the same. Which line it
serves, the surest sign first: the value in its name (4.7 uF, 4 mm2, 30 A), and then no other value;
of drivers and the like the id or the name; the line that it fills exactly; the first.

How far it reaches: metres and kilograms as they are written; a piece is one piece, or one run of
cable, or as much area as its name says, or else all that one place wants. What is measured
otherwise than its line, as a ring by the kilogram, is taken to be enough.

A driver, a radio or an amplifier has a price in its own sheet, which counts: there a purchase only
tells whose part it is. Nothing is counted twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import inf, isclose
from typing import TYPE_CHECKING, Final

from conewright.catalogue.compiled import part_ids
from conewright.job.document.bench import PartKind, is_other_currency
from conewright.phrases import listed
from conewright.stages.outlay.amounts import NOTHING, Amount, Line, LineKind, line_of
from conewright.stages.outlay.needs import LEAST, PIECES, Need, Wanted, needs_of, value_in
from conewright.stages.outlay.purchases import OR_ANOTHER, THE_JOB

if TYPE_CHECKING:
    from conewright.job.document.bench import Purchase
    from conewright.job.document.document import Proposal

__all__ = ["CATALOGUE", "Bought", "with_bought"]

CATALOGUE = "catalogue"
"""How the source of a price begins that the list gives which a plan was chosen from."""

ITEMS: Final[Mapping[PartKind, tuple[str, ...]]] = {
    "ring": ("ring",),
    "patch": ("patch",),
    "film": ("film",),
    "adapter": ("board",),
    "capacitor": ("capacitor",),
    "cable": ("cable",),
    "fuse": ("fuse", "blade"),
    "repair": ("surround", "bench", "gap"),
    "radio": ("head_unit",),
    "amplifier": ("amplifier",),
}
"""The lines that parts of a kind serve, by their items; those of drivers are a kind of line."""

LINE_KINDS: Final[Mapping[PartKind, LineKind]] = {
    "driver": "driver",
    "radio": "radio",
    "amplifier": "radio",
}
"""The parts that a sheet of the job may have a price for; all others are material."""

VALUES: Final[Mapping[PartKind, str]] = {
    "capacitor": "capacitance",
    "cable": "conductor",
    "fuse": "current",
}
"""What tells parts of a kind apart, as their names have it."""

UNITS: Final = {"pair": "pair", "piece": "piece", "metre": "m", "kg": "kg"}
COUNTED: Final = ("piece", "lot", "set", "pair")
SAME = 0.05
"""Values are one within this share; the usual steps lie further apart."""

ALONE = "for nothing that is reckoned here"


@dataclass(frozen=True, slots=True)
class Bought:
    """The lines of a plan with what is bought in them.

    Attributes:
        lines: of the plan.
        unpriced: what has no price, and the field that would give it.
        remarks: what to know of its prices.
        paid: new drivers that only the list has a price for, by their ids.

    """

    lines: tuple[Line, ...]
    unpriced: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    paid: frozenset[str] = frozenset()


def with_bought(
    lines: Sequence[Line], plan: Proposal, wanted: Wanted, *, currency: str | None
) -> Bought:
    """Return the lines of a plan with its purchases in the place of what they serve.

    Args:
        lines: parts of the plan at the job's prices and at usual ones.
        plan: as it is written.
        wanted: how much it wants.
        currency: of the job, if it names one.

    """
    needs = needs_of(lines, wanted)
    shops = [_Shop(each, number, plan, wanted, currency) for number, each in enumerate(plan.buy, 1)]
    # What can be told apart goes first; the rest takes what is left.
    for shop in sorted(shops, key=lambda shop: not shop.is_told_apart(needs)):
        shop.serve(needs)
    half = (
        f"{need.line.title}: give driver[{need.line.item}].price"
        for need in needs
        if need.missing and need.paid and need.is_open
    )
    return Bought(
        lines=(
            *(line for need in needs for line in need.lines()),
            *(shop.alone for shop in shops if shop.alone is not None),
        ),
        unpriced=(*half, *(shop.unpriced for shop in shops if shop.unpriced)),
        remarks=tuple(remark for shop in shops for remark in shop.remarks),
        paid=frozenset(need.line.item for need in needs if need.missing and need.paid),
    )


@dataclass
class _Shop:
    """A purchase on its round of the lines of a plan, and what comes of it.

    `alone` is its own line where it serves none; `unpriced` what would give it a price.
    """

    each: Purchase
    number: int
    plan: Proposal
    wanted: Wanted
    currency: str | None
    alone: Line | None = None
    unpriced: str = ""
    remarks: list[str] = field(default_factory=list)

    def is_told_apart(self, needs: Iterable[Need]) -> bool:
        """Whether its value or its name says which lines it serves."""
        return self._value is not None or any(map(self._is_named, needs))

    def serve(self, needs: Sequence[Need]) -> None:
        """Take from the lines that it serves what it reaches, and stand in their place."""
        given = self.each.count
        served: list[tuple[Need, float]] = []
        for need in self._meant(needs):
            reach, shared = self._reach(need)
            amount = min(need.left, given * reach)
            need.left -= amount
            served.append((need, amount))
            given -= 0.0 if shared else amount / reach
            if given <= LEAST:
                break
        keeping = [need for need, _ in served if self._keeps_its_price(need)]
        for need in keeping:
            need.told.append(self.each.part)
            self._compare(need.line)
        if not keeping:
            self._stand_for(served)

    # --- Which lines ----------------------------------------------------------------------------

    def _meant(self, needs: Sequence[Need]) -> list[Need]:
        """Return the lines that it serves, those first that it is most likely bought for."""
        named = [need for need in needs if self._is_named(need)]
        named = [need for need in named if need.is_open or self._keeps_its_price(need)]
        if named:
            return named
        own = [need for need in needs if self._is_of_kind(need)]
        if self.each.kind == "repair" and not own:
            # Without a repair of that fault, another driver is reckoned with.
            own = [need for need in needs if need.line.title.endswith(OR_ANOTHER)]
        ranked = [(rank, need) for need in own if need.is_open and (rank := self._rank(need)) < 2]
        return [need for _, need in sorted(ranked, key=lambda each: each[0])]

    def _rank(self, need: Need) -> int:
        """Return 0 for what it is surely bought for, 1 for what it may be, 2 for nothing of it."""
        if self._value is None:
            reach, _ = self._reach(need)
            return 0 if isclose(self.each.count * reach, need.left) else 1
        value = value_in(need.line.title, VALUES[self.each.kind])
        if value is None:
            return 1
        return 0 if isclose(value, self._value, rel_tol=SAME) else 2

    def _is_of_kind(self, need: Need) -> bool:
        if self.each.kind == "driver":
            return need.line.kind == "driver"
        return need.line.item in ITEMS[self.each.kind]

    def _is_named(self, need: Need) -> bool:
        """Whether a line is that of its own driver, radio or amplifier."""
        if self.each.kind not in LINE_KINDS or not self._is_of_kind(need):
            return False
        line = need.line
        names = {line.title, line.title.partition(": ")[2], self.wanted.names.get(line.item)}
        return line.item == self._id or self.each.name in names

    def _keeps_its_price(self, need: Need) -> bool:
        return self.each.kind in LINE_KINDS and need.line.source == THE_JOB

    # --- How far --------------------------------------------------------------------------------

    def _reach(self, need: Need) -> tuple[float, bool]:
        """Return how much of a line each of it serves, and whether other lines get as much."""
        line, pieces = need.line, PIECES.get(self.each.per)
        places = self.wanted.places.get(line.item, 0)
        if pieces is None:
            same = line.unit == UNITS[self.each.per]
            return (1.0, False) if same else (inf, True)
        if line.unit in COUNTED:
            return pieces, False
        area = value_in(self.each.name, "area")
        if area and places:
            per_area = 1.0 if line.unit == "m2" else need.whole / self.wanted.area
            return pieces * area * per_area, False
        # A run of cable is a line by itself; a place wants its share of each.
        return (pieces * need.whole / places, True) if places else (pieces * need.whole, False)

    # --- What comes of it -----------------------------------------------------------------------

    def _stand_for(self, served: Sequence[tuple[Need, float]]) -> None:
        price = self._price
        for need, _ in served:
            need.paid = True
        if price is None:
            self._stand_unpriced(served)
        elif served:
            titles = listed(list(dict.fromkeys(need.line.title for need, _ in served)))
            first = served[0][0]
            first.bought.append(self._line(first.line.item, price, f"for {titles}"))
        else:
            self.alone = self._line(self._id, price, ALONE)

    def _stand_unpriced(self, served: Sequence[tuple[Need, float]]) -> None:
        """Let the usual prices stand; where there is none, say what would give one."""
        foreign = is_other_currency(self.each.currency, self.currency)
        why = f"priced in {self.each.currency}" if foreign else "no price in the list"
        for need, amount in served:
            need.bought.append(need.part(amount, note=f"{why}: the usual one", title=self._title))
        if not served:
            self.alone = self._line(self._id, NOTHING, f"{why}, {ALONE}")
        if not served or any(need.missing for need, _ in served):
            at, own = f"buy[{self.number}].price", f" in {self.currency}" if foreign else ""
            self.unpriced = f"{self._title}: give proposal[{self.plan.id}].{at}{own}"
        elif foreign:
            self.remarks.append(
                f"{self._title} is priced in {self.each.currency}, the job in {self.currency}: the "
                "usual price stands in its place."
            )

    def _compare(self, line: Line) -> None:
        """Tell where the list has another price than the sheet, which counts."""
        if self._price is None or self.each.per not in PIECES:
            return
        asked = self._price.typical / PIECES[self.each.per]
        written = line.price.typical / PIECES[line.unit]
        if not isclose(asked, written, abs_tol=0.005):
            self.remarks.append(
                f"{self._title} is {asked:.2f} a piece by the list and {written:.2f} by the job's "
                "own sheet: that of the sheet counts."
            )

    def _line(self, item: str, price: Amount, note: str) -> Line:
        return line_of(
            LINE_KINDS.get(self.each.kind, "material"),
            item,
            self._title,
            quantity=self.each.count,
            unit=UNITS[self.each.per],
            price=price,
            note=note,
            source=f"{CATALOGUE}: {self.plan.catalogue}" if self.plan.catalogue else CATALOGUE,
        )

    @property
    def _title(self) -> str:
        return f"{self.each.name}, {self.each.part}"

    @cached_property
    def _id(self) -> str:
        """What it is called in a job, where a catalogue gave it its id."""
        return part_ids([("", self.each.part)])[0]

    @cached_property
    def _value(self) -> float | None:
        dimension = VALUES.get(self.each.kind)
        return None if dimension is None else value_in(self.each.name, dimension)

    @cached_property
    def _price(self) -> Amount | None:
        """Its price, where there is one that can be added up."""
        low, price, high = self.each.price_low, self.each.price, self.each.price_high
        if price is None or is_other_currency(self.each.currency, self.currency):
            return None
        return Amount(price if low is None else low, price, price if high is None else high)
