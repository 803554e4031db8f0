"""Parts of a catalogue as entries of a job: the sheet of a driver, what is set of a radio."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from conewright.catalogue.columns import columns
from conewright.data_files import data_rows
from conewright.job.quantity.units import to_unit

if TYPE_CHECKING:
    from pydantic import JsonValue

    from conewright.catalogue.compiled import Compiled

__all__ = ["AmplifierEntry", "amplifier_entry", "driver_entry", "in_words", "radio_fields"]

SHEET: Final = (
    *("rated_impedance", "re", "fs", "qes", "qms", "qts", "vas", "sd", "mms", "cms", "bl", "rms"),
    *("le", "l2", "r2", "k", "n", "xmax", "power", "sensitivity"),
)
FRAME: Final = ("depth", "cutout", "cutout_long", "outer", "outer_long", "front_height")
RADIO: Final = ("minimum_load", "peak_current", "clip_loss", "output_resistance")


def driver_entry(compiled: Compiled, row: int, *, trust: bool = False) -> dict[str, JsonValue]:
    """Return a driver of a catalogue as an entry of `[[driver]]`, without its price.

    Args:
        compiled: the catalogue.
        row: of the driver.
        trust: whether a figure without a spread gets the one that its origin deserves.

    """
    entry: dict[str, JsonValue] = {
        "id": compiled.text("id", row),
        "name": compiled.text("name", row) or compiled.text("part", row),
        "age": "new",
    }
    minor, major = compiled.number("size", row), compiled.number("size_long", row)
    if minor is not None:
        round_one = major is None or major == minor
        entry["size"] = _mm(minor) if round_one else f"{_plain(1e3 * minor)} x {_mm(major or 0.0)}"
    told = compiled.text("trust", row) if trust else ""
    for name in SHEET:
        text = _written(compiled, name, row, widened=_widening().get((told, name), 0.0))
        if text is not None:
            entry[name] = text
    frame: dict[str, JsonValue] = {}
    for name in FRAME:
        text = _written(compiled, name, row)
        if text is not None:
            frame[name] = text
    screws = _screws(compiled, row)
    if screws:
        frame["screws"] = screws
    if frame:
        entry["frame"] = frame
    return entry


def radio_fields(compiled: Compiled, row: int) -> dict[str, JsonValue]:
    """Return what a radio of a catalogue sets, by field of a job."""
    fields: dict[str, JsonValue] = {
        "head_unit.name": compiled.text("name", row) or compiled.text("part", row)
    }
    for name in RADIO:
        text = _written(compiled, name, row)
        if text is not None:
            fields[f"head_unit.{name}"] = text
    heat = _written(compiled, "junction_to_dash", row)
    if heat is not None:
        fields["head_unit.thermal.junction_to_dash"] = heat
    hands_free = compiled.number("hands_free", row)
    if hands_free is not None:
        fields["head_unit.carries"] = ["hands-free"] if hands_free else []
    return fields


@dataclass(frozen=True)
class AmplifierEntry:
    """An amplifier of a catalogue.

    Attributes:
        fields: of an entry of `[[amplifier]]`, without gain, feed and price.
        power: clean, of one channel into that load [W].
        load: the lowest that it bears [ohm].

    """

    fields: Mapping[str, JsonValue]
    power: float
    load: float


def amplifier_entry(compiled: Compiled, row: int) -> AmplifierEntry | None:
    """Return an amplifier of a catalogue; None where its power cannot be told.

    It is taken to give its peak current into the lowest load that it bears: P = I^2 R/2.
    """
    load, current = (compiled.number(name, row) for name in ("minimum_load", "peak_current"))
    if load is None or current is None:
        return None
    power = 0.5 * current**2 * load
    ohms = f"{_plain(load)} ohm"
    return AmplifierEntry(
        {
            "id": compiled.text("id", row),
            "name": in_words(compiled, row),
            "clean_power": f"{power:.4g} W",
            "clean_load": ohms,
            "minimum_load": ohms,
        },
        power,
        load,
    )


def in_words(compiled: Compiled, row: int) -> str:
    """Return what a part is called among people: its name, and its key where it has none."""
    return compiled.text("name", row) or compiled.text("part", row)


def _screws(compiled: Compiled, row: int) -> dict[str, JsonValue]:
    count, circle = compiled.number("screw_count", row), _written(compiled, "screw_circle", row)
    screws: dict[str, JsonValue] = {} if count is None else {"count": int(count)}
    return screws if circle is None else {**screws, "circle": circle}


def _written(compiled: Compiled, name: str, row: int, *, widened: float = 0.0) -> JsonValue:
    """Return a figure with its unit and spread as a job has it; None where it is not known."""
    value = compiled.number(name, row)
    if value is None:
        return None
    column = columns()[name]
    low, high = (
        float(ends[name][row]) if name in ends else np.nan for ends in (compiled.low, compiled.high)
    )
    known = not np.isnan(low) and not np.isnan(high) and high > low
    if not known and widened:
        low, high, known = value * (1.0 - widened), value * (1.0 + widened), True
    if column.dimension == "number":
        if not known:
            return float(_plain(value))
        return _spread(value, low, high, "")
    unit = column.unit
    there = [
        float(to_unit(each, dimension=column.dimension, unit=unit)) for each in (value, low, high)
    ]
    return _spread(there[0], there[1], there[2], unit) if known else f"{_plain(there[0])} {unit}"


def _spread(value: float, low: float, high: float, unit: str) -> str:
    end = f" {unit}" if unit else ""
    below, above = value - low, high - value
    if abs(above - below) <= 1e-6 * abs(value):
        return f"{_plain(value)}{end} ± {_plain(above)}{end}"
    return f"{_plain(low)}..{_plain(value)}..{_plain(high)}{end}"


def _plain(value: float) -> str:
    """Return a number with all digits that a list may have, and no exponent."""
    return np.format_float_positional(value, precision=12, fractional=False, trim="-")


def _mm(metres: float) -> str:
    return f"{_plain(1e3 * metres)} mm"


@cache
def _widening() -> Mapping[tuple[str, str], float]:
    """Return how far a figure may be off, by where it is from and what it is [1]."""
    return {
        (row["trust"], name): float(row["share"])
        for row in data_rows("catalogue", "trust.csv")
        for name in row["figures"].split()
    }
