"""Turning what a job gives into values, and filling what it does not, on record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from conewright.job.builds.states.drivers import ScrewHoles
from conewright.job.builds.states.value import Corners, Fill, Origin, Value
from conewright.job.builds.typical import Typical
from conewright.job.document.document import Screws
from conewright.job.quantity.spots import Spot
from conewright.job.quantity.units import to_unit, unit_named
from conewright.job.quantity.values import Quantity, format_quantity

__all__ = ["CALLIPER", "RULER", "Filler", "metres_of", "plain_text", "screw_holes"]

# How a dimension is read by hand: within what 95 % of the readings lie [m], and its note.
RULER = (2.0e-3, "ruler, ±2 mm")
CALLIPER = (1.2e-3, "calliper on a moulded part, ±1.2 mm")


def plain_text(quantity: Quantity) -> str:
    """Return a quantity with its spread as one reads it, to three digits: `60..90..130 cm²`."""
    if quantity.unit == "AWG":
        return format_quantity(quantity)
    unit = unit_named(quantity.unit, dimension=quantity.dimension).pretty
    if quantity.low is None or quantity.high is None:
        text = _number(quantity, quantity.value)
    elif quantity.spread == "plus-minus":
        text = f"{_number(quantity, quantity.value)} {unit}".strip() + f" ± {_margin(quantity)}"
    else:
        points = [quantity.low, quantity.value, quantity.high]
        if quantity.spread == "range":
            del points[1]
        text = "..".join(_number(quantity, point) for point in points)
    return f"{text} {unit}".strip()


def _number(quantity: Quantity, si: float) -> str:
    return _digits(_in_unit(quantity, si))


def _margin(quantity: Quantity) -> str:
    assert quantity.high is not None
    return _digits(_in_unit(quantity, quantity.high) - _in_unit(quantity, quantity.value))


def _in_unit(quantity: Quantity, si: float) -> float:
    return float(to_unit(si, dimension=quantity.dimension, unit=quantity.unit))


def _digits(number: float) -> str:
    return np.format_float_positional(number, precision=3, fractional=False, trim="-")


@dataclass(frozen=True)
class Filler:
    """Makes the values of one build and keeps the record of what it filled.

    Attributes:
        planned: paths that the proposal of the build sets; nobody has measured those yet.
        proposal: id of that proposal, for the sources.

    """

    planned: frozenset[str] = frozenset()
    proposal: str = ""
    _fills: dict[str, Fill] = field(default_factory=dict)

    @property
    def fills(self) -> tuple[Fill, ...]:
        """Everything that was filled, in the order it was needed."""
        return tuple(self._fills.values())

    def given(
        self,
        path: str,
        quantity: Quantity,
        *,
        origin: Origin = Origin.MEASURED,
        source: str = "the job",
        signed: bool = False,
        within: tuple[float, float] | None = None,
    ) -> Value:
        """Return a value that the job gives."""
        if path in self.planned:
            origin, source = Origin.ASSUMED, f"planned in proposal {self.proposal}"
        return Value(path, quantity, origin, source, signed=signed, within=within)

    def filled(self, path: str, row: Typical) -> Value:
        """Return a value that the job does not give, from a typical one; it goes on record."""
        origin = Origin.ASSUMED if row.source.startswith("assumed") else Origin.TYPICAL
        self.record(path, plain_text(row.quantity), origin, row.source)
        return Value(path, row.quantity, origin, row.source)

    def value(self, path: str, quantity: Quantity | None, row: Typical) -> Value:
        """Return the value the job gives, or the typical one in its place."""
        return self.filled(path, row) if quantity is None else self.given(path, quantity)

    def values(
        self, stem: str, quantities: Mapping[str, Quantity | None], rows: Mapping[str, Typical]
    ) -> dict[str, Value]:
        """Return a value for every name: given, or typical; paths are `stem.name`."""
        return {
            name: self.value(f"{stem}.{name}", quantity, rows[name])
            for name, quantity in quantities.items()
        }

    def optional(self, path: str, quantity: Quantity | None) -> Value | None:
        """Return the value the job gives, None if it gives none."""
        return None if quantity is None else self.given(path, quantity)

    def word(self, path: str, given: str | None, usual: str, source: str) -> Origin:
        """Return the origin of a word of the job; the usual one in its place goes on record."""
        if given is None:
            self.record(path, usual, Origin.ASSUMED, source)
            return Origin.ASSUMED
        return Origin.ASSUMED if path in self.planned else Origin.MEASURED

    def read_with(self, value: Value, margin: float, how: str) -> Value:
        """Return a value with the spread of the way it was read, if it states none itself.

        Args: margin: [SI] 95 % lie within ± this; how: named on record.
        """
        old = value.quantity
        if value.spreads:
            return value
        quantity = Quantity.of(old.value, old.dimension, old.unit, margin=margin)
        source = f"assumed spread: {how}"
        self.record(value.path, plain_text(quantity), Origin.ASSUMED, source)
        return replace(value, quantity=quantity)

    def record(self, path: str, text: str, origin: Origin, source: str) -> None:
        """Put on record that something was filled; the first entry for a path stands."""
        self._fills.setdefault(path, Fill(path, text, origin, source))


def metres_of(spots: Sequence[Spot] | None) -> Corners:
    """Return places as pairs of metres, none where none are written."""
    return tuple(spot.metres for spot in spots or ())


def screw_holes(path: str, screws: Screws, filler: Filler) -> ScrewHoles:
    """Return what is known of screws besides their number and their circle."""
    return ScrewHoles(
        angle=None if screws.angle is None else screws.angle.value,
        places=metres_of(screws.places),
        diameter=filler.optional(f"{path}.diameter", screws.diameter),
    )
