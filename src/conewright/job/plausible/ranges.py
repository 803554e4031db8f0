"""The ranges of every field that holds a number, and the walk to all that a job gives of them."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from typing import Any, NamedTuple, cast, get_args

from pydantic import PlainValidator

from conewright.data_files import data_rows
from conewright.errors import BadInputError
from conewright.job.document.document import Document
from conewright.job.document.fields import NumberField, QuantityField
from conewright.job.document.parts import UNKNOWN, UNUSED, Table
from conewright.job.document.paths import Steps, fields_of, inside, table_at, table_within
from conewright.job.quantity.expression import ValuePart, parse_load
from conewright.job.quantity.size import Size
from conewright.job.quantity.spots import KeptClear, PanelHole, Spot
from conewright.job.quantity.units import unit_named
from conewright.job.quantity.values import Quantity

__all__ = ["Measured", "Range", "field_of", "measured", "path_of", "range_of", "ranges"]

LOAD = "channel.load"
PLACES, AXES = ("at", "ear"), "xyz"

_PART_DIMENSIONS = {
    "capacitor": "capacitance",
    "inductor": "inductance",
    "resistor": "resistance",
    "wire_length": "length",
    "wire_size": "conductor",
}

End = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Range:
    """What one field can hold.

    Attributes:
        field: in the job file, without the places in lists: `location.mount.cutout`.
        dimension: of its values; empty for a plain number.
        unit: it is told in; empty for a plain number.
        possible: least and most there can be [SI].
        likely: least and most that is usual [SI].
        told: both ranges in words.
        source: where the four numbers are from.

    """

    field: str
    dimension: str
    unit: str
    possible: End
    likely: End
    told: tuple[str, str]
    source: str


class Measured(NamedTuple):
    """One number that a job gives: the steps to it, what holds for it, and the number itself.

    values: the central one, then the ends of its spread [SI].
    """

    steps: Steps
    range: Range
    written: object
    values: tuple[float, ...]


Values = tuple[float, ...]
Read = Callable[[object], Iterable[tuple[str, Values]]]
"""Gives the numbers in a value, each with the rest of its range's field, mostly nothing."""

Numbers = tuple[tuple[Range, Values, bool], ...]
"""Each number with its range, and whether it is possible with the whole of its spread."""


class _Step(NamedTuple):
    """A field that holds numbers, or a table with such fields."""

    name: str
    table: type[Table] | None
    field: str
    read: Callable[[object], Numbers] | None


@cache
def ranges() -> Mapping[str, Range]:
    """Return the ranges by field."""
    return {row["field"]: _range(row) for row in data_rows("job.plausible", "ranges.csv")}


def range_of(path: str, raw: Mapping[str, Any]) -> Range | None:
    """Return the range of a value by its path in a job; None where no number can stand."""
    field = field_of(path, raw)
    return None if field is None else ranges().get(field)


def field_of(path: str, raw: Mapping[str, Any]) -> str | None:
    """Return the field that a path in a job means; None where no part has such an id."""
    head, _, rest = path.partition(".")
    names = [each for each in rest.split(".") if not each.isdecimal() and each not in AXES]
    if head not in fields_of(Document):
        table = next((name for name, node, _ in _parts(raw) if node.get("id") == head), None)
        return None if table is None else ".".join((table, *names))
    if isinstance(raw.get(head), list) and names and f"{head}.{names[0]}" not in ranges():
        names = names[1:]
    return ".".join((head, *names))


def measured(
    raw: Mapping[str, Any], at: Steps = (), *, impossible: bool = False
) -> Iterator[Measured]:
    """Yield every number in a job's plain values that can be read, at those steps and below.

    Args: raw: the tables of a file, `like` already expanded; at: steps to a part, none for all;
    impossible: only those that are not possible.
    """
    if not at:
        for _, _, steps in _parts(raw):
            yield from measured(raw, steps, impossible=impossible)
        return
    table, node = table_at(Document, at), inside(raw, *at)
    if table is not None and isinstance(node, dict):
        for steps, step, value in _below(table, node, at, str(at[0])):
            if step.read is None or not isinstance(value, str | int | float):
                continue
            for range, values, possible in step.read(value):
                if impossible and possible:
                    continue
                yield Measured(steps, range, value, values)


def path_of(steps: Steps, raw: Mapping[str, Any]) -> str:
    """Return where a number stands as proposals and `sure` name it: `door-fl.mount.cutout`."""
    head, *rest = steps
    names = [str(head)]
    if rest and isinstance(rest[0], int):
        index = int(rest.pop(0))
        name = inside(raw, head, index, "id")
        called = name if isinstance(name, str) else str(index + 1)
        names = [called] if head != "proposal" and isinstance(name, str) else [*names, called]
    for step in rest:
        axis = isinstance(step, int) and names[-1] in PLACES and step < len(AXES)
        names.append(str(step) if isinstance(step, str) else AXES[step] if axis else str(step + 1))
    return ".".join(names)


def _parts(raw: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any], Steps]]:
    for name in fields_of(Document):
        node = raw.get(name)
        if isinstance(node, dict):
            yield name, node, (name,)
        elif isinstance(node, list):
            for index, entry in enumerate(node):
                if isinstance(entry, dict):
                    yield name, entry, (name, index)


def _below(
    table: type[Table], node: Mapping[str, Any], at: Steps, field: str
) -> Iterator[tuple[Steps, _Step, object]]:
    plan = _plan(table, field)
    for name, value in node.items():
        step = plan.get(name)
        if step is None:
            continue
        if step.table is not None:
            entries = enumerate(value) if isinstance(value, list) else [(None, value)]
            for index, entry in entries:
                if isinstance(entry, dict):
                    below = (*at, name) if index is None else (*at, name, index)
                    yield from _below(step.table, entry, below, step.field)
        elif isinstance(value, list):
            for index, each in enumerate(value):
                yield (*at, name, index), step, each
        else:
            yield (*at, name), step, value


@cache
def _plan(table: type[Table], field: str) -> Mapping[str, _Step]:
    """Return the fields of a table that hold numbers, and the tables in it, by name."""
    steps = {}
    for name, annotation in fields_of(table).items():
        inner, here = table_within(annotation), f"{field}.{name}"
        if inner is not None:
            steps[name] = _Step(name, inner, here, None)
        elif here == LOAD or here in ranges():
            read = _of_load if here == LOAD else _reader(annotation)
            steps[name] = _Step(name, None, here, _kept(read, here))
    return steps


def _kept(read: Read, field: str) -> Callable[[object], Numbers]:
    """Let a reader read each text once; jobs are read anew with mostly the same values."""

    @lru_cache(maxsize=1024)
    def numbers(value: object) -> Numbers:
        try:
            return tuple(_held(ranges()[field + part], values) for part, values in read(value))
        except BadInputError:
            return ()

    return numbers


def _held(range: Range, values: Values) -> tuple[Range, Values, bool]:
    low, high = range.possible
    return range, values, low <= min(values) and max(values) <= high


def _reader(annotation: object) -> Read:
    """Return what reads the numbers of a field from plain values."""
    kind = next(_kinds(annotation), None)
    if isinstance(kind, QuantityField | NumberField):
        return lambda value: (("", _ends(kind.read(value))),)
    if isinstance(kind, PlainValidator):
        read = cast(Callable[[object], object], kind.func)
        return lambda value: [("", (each.value,)) for each in _lengths(read(value))]
    return _plain


def _kinds(annotation: object) -> Iterator[object]:
    """Yield what reads a field's values, wherever pydantic keeps it."""
    for each in (annotation, *getattr(annotation, "__metadata__", ())):
        for kind in (each, *getattr(each, "metadata", ())):
            if isinstance(kind, QuantityField | NumberField | PlainValidator):
                yield kind
    for inner in get_args(annotation):
        yield from _kinds(inner)


def _ends(quantity: Quantity) -> tuple[float, ...]:
    if quantity.low is None or quantity.high is None:
        return (quantity.value,)
    return quantity.value, quantity.low, quantity.high


def _lengths(value: object) -> tuple[Quantity, ...]:
    match value:
        case Size(short_axis=short, long_axis=long):
            return (short,) if short == long else (short, long)
        case Spot(forward=forward, up=up):
            return forward, up
        case PanelHole(along=along, high=high, at=at):
            return along, high, at.forward, at.up
        case KeptClear(width=width, at=at):
            return width, at.forward, at.up
    return ()


def _plain(value: object) -> Iterable[tuple[str, Values]]:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return (("", (float(cast(float, value)),)),) if number else ()


def _of_load(value: object) -> Iterable[tuple[str, Values]]:
    if not isinstance(value, str) or value in (UNKNOWN, UNUSED):
        return ()
    found: list[tuple[str, Values]] = []
    for part in parse_load(value).parts.values():
        if isinstance(part, ValuePart):
            found.append((f".{part.kind}", _ends(part.value)))
        else:
            found += [(".wire_length", _ends(part.length)), (".wire_size", _ends(part.size))]
    return found


def _range(row: Mapping[str, str]) -> Range:
    field, unit = row["field"], row["unit"]
    dimension = _dimension(field)
    pairs = [(row[f"{kind}_low"], row[f"{kind}_high"]) for kind in ("possible", "likely")]
    possible, likely = (
        (_si(low, dimension, unit), _si(high, dimension, unit)) for low, high in pairs
    )
    first, second = (f"{low} to {high} {unit}".strip() for low, high in pairs)
    return Range(field, dimension, unit, possible, likely, (first, second), row["source"])


def _dimension(field: str) -> str:
    """Return the dimension of a field's values; empty for a plain number."""
    table, _, name = field.rpartition(".")
    if table == LOAD:
        return _PART_DIMENSIONS[name]
    at = table_at(Document, tuple(table.split(".")))
    assert at is not None
    kind = next(_kinds(fields_of(at)[name]), None)
    if isinstance(kind, QuantityField):
        return kind.dimension
    return "length" if isinstance(kind, PlainValidator) else ""


def _si(number: str, dimension: str, unit: str) -> float:
    exact = Fraction(number)
    return float(unit_named(unit, dimension=dimension).si(exact) if dimension else exact)
