"""The kinds of value a job file can hold: quantities with a unit, plain numbers, names, dates."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import (
    Field,
    GetCoreSchemaHandler,
    GetJsonSchemaHandler,
    PlainSerializer,
    PlainValidator,
    StringConstraints,
    WithJsonSchema,
)
from pydantic_core import CoreSchema, core_schema

from conewright.errors import QuantityError
from conewright.job.quantity.size import Size, parse_size
from conewright.job.quantity.spots import (
    KeptClear,
    PanelHole,
    Spot,
    parse_hole,
    parse_kept,
    parse_spot,
)
from conewright.job.quantity.units import dimension_of
from conewright.job.quantity.values import Quantity, format_quantity, parse_quantity

__all__ = [
    "Angle",
    "Area",
    "Capacitance",
    "Charge",
    "Compliance",
    "Conductor",
    "Count",
    "Current",
    "Day",
    "ForceFactor",
    "Frequency",
    "Gain",
    "Gap",
    "Hash",
    "Identifier",
    "Inductance",
    "KeptSpot",
    "Length",
    "Level",
    "Mass",
    "MechanicalResistance",
    "Money",
    "NominalSize",
    "Number",
    "NumberField",
    "PanelOpening",
    "PanelSpot",
    "Position",
    "PositiveCurrent",
    "PositiveNumber",
    "PositiveResistance",
    "Power",
    "QuantityField",
    "ReadingOdds",
    "ReadingValue",
    "Resistance",
    "SemiInductance",
    "SurfaceDensity",
    "Temperature",
    "Text",
    "ThermalResistance",
    "Voltage",
    "Volume",
    "When",
    "is_hash",
]

LONGEST_TEXT = 2000
LONGEST_SWEEP = 200
ALLOWED_READING = (
    'a text or a number is wanted, like "2.2 ohm" or "weaker"; of a sweep a table of texts, like '
    '{ resonance = "62 Hz", peak = "19 ohm" }'
)
LARGEST_NUMBER = 1e30

# One job is checked once for each of its proposals, mostly with the same values.
_parse = lru_cache(maxsize=4096)(parse_quantity)
_format = lru_cache(maxsize=4096)(format_quantity)
_parse_size = lru_cache(maxsize=256)(parse_size)

Bound = Literal["any", "zero or more", "above zero"]


@dataclass(frozen=True, slots=True)
class QuantityField:
    """A field read from text with a unit; refuses a bare number."""

    dimension: str
    examples: tuple[str, ...]
    bound: Bound = "above zero"

    def __get_pydantic_core_schema__(self, _: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return _plain(self.read, _format, core_schema.str_schema())

    def __get_pydantic_json_schema__(
        self, _: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "string", "examples": list(self.examples), "x-dimension": self.dimension}

    def read(self, value: object) -> Quantity:
        """Return the quantity written in `value`; raises QuantityError."""
        if isinstance(value, Quantity):
            quantity = _of_dimension(value, self.dimension)
        elif isinstance(value, str):
            quantity = _parse(value, dimension=self.dimension)
        else:
            kind = dimension_of(self.dimension)
            raise QuantityError(
                f"a text in quotes with a unit is wanted; {kind.phrase} is written like "
                f"{kind.examples}"
            )
        _hold_bound(quantity, self.bound)
        return quantity


@dataclass(frozen=True, slots=True)
class NumberField:
    """A field without a unit: a plain number, or a text that gives it a spread."""

    example: float
    spread_example: str

    def __get_pydantic_core_schema__(self, _: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return _plain(self.read, _write_number, core_schema.any_schema())

    def __get_pydantic_json_schema__(
        self, _: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {
            "anyOf": [{"type": "number", "exclusiveMinimum": 0}, {"type": "string"}],
            "examples": [self.example, self.spread_example],
        }

    def read(self, value: object) -> Quantity:
        """Return the number written in `value`; raises QuantityError."""
        if isinstance(value, Quantity):
            quantity = _of_dimension(value, "number")
        elif isinstance(value, str):
            quantity = _parse(value, dimension="number")
        elif (number := _finite(value)) is not None:
            quantity = Quantity(value=number, dimension="number", unit="")
        else:
            raise QuantityError(
                f'a number is wanted, like {self.example} or "{self.spread_example}"'
            )
        _hold_bound(quantity, "above zero")
        return quantity


def _plain(
    read: Callable[[object], object], write: Callable[[Any], object], written: CoreSchema
) -> CoreSchema:
    """Return the schema of a value that is read and written by our own functions."""
    return core_schema.no_info_plain_validator_function(
        read,
        serialization=core_schema.plain_serializer_function_ser_schema(
            write, return_schema=written
        ),
    )


def _read_size(value: object) -> Size:
    """Return a nominal size; raises QuantityError."""
    if isinstance(value, Size):
        return value
    if not isinstance(value, str):
        raise QuantityError('a size with a unit is wanted, like "165 mm" or "6x9 in"')
    return _parse_size(value)


def _read_spot(value: object) -> Spot:
    """Return a place on a panel; raises QuantityError."""
    return value if isinstance(value, Spot) else parse_spot(value)


def _read_hole(value: object) -> PanelHole:
    """Return an opening of a panel; raises QuantityError."""
    return value if isinstance(value, PanelHole) else parse_hole(value)


def _read_kept(value: object) -> KeptClear:
    """Return what a patch leaves clear; raises QuantityError."""
    return value if isinstance(value, KeptClear) else parse_kept(value)


def _of_dimension(quantity: Quantity, dimension: str) -> Quantity:
    if quantity.dimension != dimension:
        raise QuantityError(f"a {dimension} is wanted, not a {quantity.dimension}")
    return quantity


def _hold_bound(quantity: Quantity, bound: Bound) -> None:
    """Raise QuantityError where the value or its spread reaches below the bound."""
    ends = [end for end in (quantity.value, quantity.low) if end is not None]
    if bound == "above zero" and min(ends) <= 0:
        raise QuantityError("it must be above zero, with the whole of its spread")
    if bound == "zero or more" and min(ends) < 0:
        raise QuantityError("it must not be below zero, with the whole of its spread")


def _finite(value: object) -> float | None:
    """Return a plain number as a float; None for true, false, and all that is no number."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return None
    return float(value) if abs(value) < LARGEST_NUMBER else None


def _write_number(quantity: Quantity) -> float | str:
    plain = quantity.spread == "none" and quantity.unit == ""
    return quantity.value if plain else _format(quantity)


def _read_day(value: object) -> date:
    """Return a calendar day; raises QuantityError."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and len(value) == len("2026-03-02"):
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise QuantityError("a day is wanted, like 2026-03-02")


def _read_reading(value: object) -> str | float | dict[str, str]:
    """Return what an instrument or an ear said: a text, a number or, of a sweep, several texts by
    name; raises QuantityError.
    """
    if isinstance(value, Mapping) and 0 < len(value) <= LONGEST_SWEEP:
        return {_reading_text(name): _reading_text(text) for name, text in value.items()}
    if isinstance(value, str) and 0 < len(value.strip()) <= LONGEST_TEXT:
        return value
    if (number := _finite(value)) is not None:
        return number
    raise QuantityError(ALLOWED_READING)


def _read_odds(value: object) -> dict[str, float]:
    """Return weights of some words; raises QuantityError."""
    if isinstance(value, Mapping) and 0 < len(value) <= LONGEST_SWEEP:
        weights = {_reading_text(word): _finite(weight) for word, weight in value.items()}
        found = {word: weight for word, weight in weights.items() if weight is not None}
        if len(found) == len(weights) and min(found.values()) >= 0.0 < max(found.values()):
            return found
    raise QuantityError(
        "weights of answers are wanted, none below zero and one above: { rattle = 9, clean = 1 }"
    )


def is_hash(text: str) -> bool:
    """Whether a text is a SHA-256 in hexadecimal digits."""
    return len(text) == 64 and not set(text) - set("0123456789abcdef")


def _read_hash(value: object) -> str:
    """Return a SHA-256; raises QuantityError."""
    if isinstance(value, str) and is_hash(value):
        return value
    raise QuantityError("a SHA-256 is wanted: 64 digits from 0 to 9 and a to f")


def _read_when(value: object) -> str:
    """Return `before`, `after` or a day as text; raises QuantityError."""
    if value in ("before", "after"):
        return str(value)
    try:
        return _read_day(value).isoformat()
    except QuantityError:
        raise QuantityError(
            "before, after or the day is wanted: before the work, after it, or 2026-03-02"
        ) from None


def _reading_text(value: object) -> str:
    if isinstance(value, str) and 0 < len(value.strip()) <= LONGEST_TEXT:
        return value
    raise QuantityError(ALLOWED_READING)


Length = Annotated[Quantity, QuantityField("length", ("62 mm ± 1 mm", "6 1/2 in", "3.8 m"))]
Gap = Annotated[Quantity, QuantityField("length", ("24 mm ± 1.5 mm",), "zero or more")]
Position = Annotated[Quantity, QuantityField("length", ("0.95 m", "-0.82 m"), "any")]
Angle = Annotated[Quantity, QuantityField("angle", ("45 deg", "-30 deg"), "any")]
Area = Annotated[Quantity, QuantityField("area", ("85 cm2", "60 cm2 ± 15 cm2"), "zero or more")]
Volume = Annotated[Quantity, QuantityField("volume", ("42 L ± 8 L", "3 m3"))]
Mass = Annotated[Quantity, QuantityField("mass", ("9.5 g",))]
SurfaceDensity = Annotated[Quantity, QuantityField("surface-density", ("4 kg/m2",))]
Resistance = Annotated[
    Quantity, QuantityField("resistance", ("0.08..0.10..0.20 ohm", "35 mohm"), "zero or more")
]
PositiveResistance = Annotated[
    Quantity, QuantityField("resistance", ("3.4 ohm ± 0.2 ohm", "4 ohm"))
]
Capacitance = Annotated[Quantity, QuantityField("capacitance", ("4.7 uF",))]
Inductance = Annotated[Quantity, QuantityField("inductance", ("0.35 mH",))]
SemiInductance = Annotated[Quantity, QuantityField("semi-inductance", ("0.012 ohm s^n",))]
Voltage = Annotated[Quantity, QuantityField("voltage", ("13.8 V", "12.5 V ± 0.05 V"))]
Current = Annotated[Quantity, QuantityField("current", ("4.5 A", "3 mA"), "zero or more")]
PositiveCurrent = Annotated[Quantity, QuantityField("current", ("4.5 A",))]
Power = Annotated[Quantity, QuantityField("power", ("45 W",))]
Frequency = Annotated[Quantity, QuantityField("frequency", ("78 Hz", "60..80 Hz"))]
Temperature = Annotated[Quantity, QuantityField("temperature", ("50 degC",))]
ThermalResistance = Annotated[Quantity, QuantityField("temperature-rise-per-watt", ("3.2 K/W",))]
Level = Annotated[Quantity, QuantityField("level", ("90 dB", "-3 dB"), "any")]
Gain = Annotated[Quantity, QuantityField("level", ("-3 dB", "0 dB ± 1 dB"), "any")]
Compliance = Annotated[Quantity, QuantityField("compliance", ("0.46 mm/N",))]
MechanicalResistance = Annotated[Quantity, QuantityField("mechanical-resistance", ("0.9 kg/s",))]
ForceFactor = Annotated[Quantity, QuantityField("force-factor", ("4.6 T m",))]
Charge = Annotated[Quantity, QuantityField("charge", ("70 Ah",))]
Conductor = Annotated[Quantity, QuantityField("conductor", ("0.75 mm2", "18 AWG"))]
Number = Annotated[Quantity, NumberField(0.72, "0.7 ± 0.1")]

Text = Annotated[str, StringConstraints(strict=True, min_length=1, max_length=LONGEST_TEXT)]
Identifier = Annotated[
    str,
    StringConstraints(
        strict=True, max_length=60, pattern=r"^[A-Za-z][A-Za-z0-9_]*(-[A-Za-z0-9_]+)*$"
    ),
]
Count = Annotated[int, Field(strict=True, ge=1)]
Money = Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)]
PositiveNumber = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
Day = Annotated[
    date,
    PlainValidator(_read_day),
    PlainSerializer(date.isoformat, return_type=str),
    WithJsonSchema({"type": "string", "format": "date"}),
]
When = Annotated[
    str,
    PlainValidator(_read_when),
    WithJsonSchema({"type": "string", "examples": ["before", "after", "2026-03-02"]}),
]
Hash = Annotated[
    str, PlainValidator(_read_hash), WithJsonSchema({"type": "string", "pattern": "^[0-9a-f]{64}$"})
]
NominalSize = Annotated[
    Size,
    PlainValidator(_read_size),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["165 mm", "6 1/2 in", "6x9 in"]}),
]
PanelSpot = Annotated[
    Spot,
    PlainValidator(_read_spot),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["-62 mm, 15 mm"]}),
]
PanelOpening = Annotated[
    PanelHole,
    PlainValidator(_read_hole),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["120 x 60 mm at 150 mm, -20 mm"]}),
]
KeptSpot = Annotated[
    KeptClear,
    PlainValidator(_read_kept),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["drain 12 mm at 150 mm, -70 mm"]}),
]
ReadingValue = Annotated[
    str | float | dict[str, str],
    PlainValidator(_read_reading),
    WithJsonSchema(
        {
            "type": ["string", "number", "object"],
            "additionalProperties": {"type": "string"},
            "examples": ["2.2 ohm ± 0.1 ohm", "weaker", {"resonance": "62 Hz", "peak": "19 ohm"}],
        }
    ),
]
ReadingOdds = Annotated[
    dict[str, float],
    PlainValidator(_read_odds),
    WithJsonSchema(
        {
            "type": "object",
            "additionalProperties": {"type": "number", "minimum": 0},
            "examples": [{"rattle": 9, "clean": 1}],
        }
    ),
]
