"""What a plan needs of each thing that may be bought from a list, and what is left of it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import ceil
from typing import TYPE_CHECKING, Final

from conewright.errors import BadInputError
from conewright.job.quantity.values import parse_quantity
from conewright.stages.outlay.amounts import NOTHING, Line, line_of
from conewright.stages.outlay.consumables import patched_area

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.document.document import Document
    from conewright.stages.common.changes import Changes

__all__ = [
    "LEAST",
    "PIECES",
    "Need",
    "Wanted",
    "bought_drivers",
    "needs_of",
    "value_in",
    "wanted_of",
]

AT_PLACES: Final[Mapping[str, tuple[str, ...]]] = {
    "ring": ("ring", "mount-renewed"),
    "board": ("spacer", "adapted"),
    "patch": ("patched",),
    "film": ("filmed",),
}
"""What is cut for one place after the other: the item, and the kinds of change that want it."""

PIECES: Final = {"pair": 2.0, "piece": 1.0}
"""How many pieces there are in what is counted."""

LEAST = 1e-9
"""Less than this share of a line is nothing."""

# Part numbers are no figures: nothing joined to a letter, a stop or a hyphen.
_FIGURE = re.compile(r"(?<![\w.,-])\d+(?:[.,]\d+)?\s*[A-Za-zµμ]+[2²]?(?![\w-])")


@dataclass(frozen=True, slots=True)
class Wanted:
    """How much a plan wants, besides its lines.

    Attributes:
        places: that want something cut, by the item of its line.
        area: that patches cover, for all of them [m2].
        drivers: how many new ones, by id.
        names: what these are called.

    """

    places: Mapping[str, int]
    area: float
    drivers: Mapping[str, int]
    names: Mapping[str, str]


@dataclass
class Need:
    """A line of a plan that parts may serve, and how much of it is left to be served.

    Attributes:
        line: at the price that it has without them.
        whole: of it, drivers in pieces, all else in the line's unit.
        missing: whether it has no price at all, and is on no list by itself.
        left: of the whole.
        told: whose parts it is, where its price stays.
        bought: lines in its place.
        paid: whether anything that is bought serves it.

    """

    line: Line
    whole: float
    missing: bool = False
    left: float = 0.0
    told: list[str] = field(default_factory=list)
    bought: list[Line] = field(default_factory=list)
    paid: bool = False

    def __post_init__(self) -> None:
        """Begin with all of it left."""
        self.left = self.whole

    @property
    def is_open(self) -> bool:
        """Whether anything is left of it."""
        return self.left > LEAST * self.whole

    def lines(self) -> Iterator[Line]:
        """Yield what is bought for it, and what is left of it at the price that it had."""
        yield from self.bought
        if self.told:
            yield replace(self.line, note="; ".join(filter(None, (*self.told, self.line.note))))
        elif self.left == self.whole and not self.missing:
            yield self.line
        elif self.is_open and not self.missing:
            yield self.part(self.left, note="what is not bought by name")

    def part(self, amount: float, *, note: str, title: str = "") -> Line:
        """Return so much of its line; of what is sold by the pair, whole pairs."""
        quantity = self.line.quantity * amount / self.whole
        quantity = float(ceil(quantity - LEAST)) if self.line.unit == "pair" else quantity
        return replace(
            self.line,
            title=title or self.line.title,
            quantity=quantity,
            cost=self.line.price.times(quantity),
            note=note,
        )


def bought_drivers(build: Build, changed: Changes) -> dict[str, str]:
    """Return the places that get a new driver which has to be bought, and its id.

    One that leaves its place is fitted again before another of its kind is bought, unless a fault
    was found there that is more than two wires turned round.
    """
    stays = {place.id: place.driver.id for place in build.locations}
    hurt = {each.at for each in build.job.findings if each.fault != "reversed"}
    spare = Counter(
        place.driver
        for place in build.job.locations
        if stays.get(place.id) != place.driver and place.id not in hurt
    )
    bought = {}
    for place in changed.at("new-driver"):
        id = stays[place]
        if spare[id] > 0:
            spare[id] -= 1
        else:
            bought[place] = id
    return bought


def wanted_of(planned: Document, build: Build, changed: Changes) -> Wanted:
    """Return how much a plan wants of what is cut, and of drivers.

    Args:
        planned: the job with the plan carried out.
        build: the plan.
        changed: what it changes.

    """
    drivers = Counter(bought_drivers(build, changed).values())
    return Wanted(
        places={
            item: len({place for kind in kinds for place in changed.at(kind)})
            for item, kinds in AT_PLACES.items()
        },
        area=sum(patched_area(build.location(at)) for at in changed.at("patched")),
        drivers=drivers,
        names={id: planned.driver(id).name or id for id in drivers},
    )


def needs_of(lines: Iterable[Line], wanted: Wanted) -> list[Need]:
    """Return a need for each line of a plan, and for the new drivers that have no price."""
    needs, priced = [], set()
    for line in lines:
        whole = line.quantity
        if line.kind == "driver":
            priced.add(line.item)
            # Of an odd number one of a pair is left over.
            whole = min(whole * PIECES[line.unit], wanted.drivers.get(line.item, whole))
        needs.append(Need(line, whole))
    for id, count in wanted.drivers.items():
        if id not in priced:
            line = line_of("driver", id, wanted.names[id], quantity=count, price=NOTHING, source="")
            needs.append(Need(line, count, missing=True))
    return needs


@lru_cache(maxsize=1024)
def value_in(text: str, dimension: str) -> float | None:
    """Return the first value of a dimension in a name [SI], None for none: 4.7 uF, 4 mm2, 30 A."""
    for figure in _FIGURE.findall(text):
        try:
            return parse_quantity(figure, dimension=dimension).value
        except BadInputError:
            continue
    return None
