"""What is odd about volts and amperes beside the supply system that the vehicle has."""

from collections.abc import Iterator, Mapping
from math import pi
from typing import Any

from conewright.data_files import data_rows
from conewright.job.document.paths import inside
from conewright.job.plausible.ranges import Measured
from conewright.job.quantity.values import display

__all__ = ["odd_supply"]

USUAL_SYSTEM, USUAL_LOAD, USUAL_OUTPUT = "12 V", 4.0, 13.6
"""Where nobody says otherwise, [ohm] and [V]; as the typical values have it."""

COIL_SHARE, CLIP_LOSS = 0.85, 0.35
"""Coil over rated impedance [1], and what a radio loses at the clip point [ohm]; as the typical
values have it."""

BESIDES = 0.6
"""What a radio draws besides its output chip [A]; as the typical values have it."""

PRESSED_HARD = 0.5
"""Mean current of music that is pressed hard over that of full tones; closed form for a normal
amplitude of a third of their power."""


def odd_supply(
    raw: Mapping[str, Any], numbers: Mapping[str, tuple[str, Measured]]
) -> Iterator[tuple[str, str, str]]:
    """Yield path, what is written and what is usual, of what seldom goes with the supply.

    Args:
        raw: the plain values of a job without problems.
        numbers: path and number of each field that the job gives, by the field.

    """
    table = inside(raw, "converter")
    fitted = isinstance(table, dict) and bool(table) and table.get("kind") != "none"
    yield from _volts(raw, numbers, fitted=fitted)
    if fitted:
        yield from _rating(raw, numbers)


def _volts(
    raw: Mapping[str, Any], numbers: Mapping[str, tuple[str, Measured]], *, fitted: bool
) -> Iterator[tuple[str, str, str]]:
    """Yield the volts that another system has."""
    system = inside(raw, "vehicle", "system") or USUAL_SYSTEM
    for row in data_rows("job.plausible", "systems.csv"):
        field = row["field"]
        before_radio = field == "head_unit.supply"
        wanted = "converter" if fitted and before_radio else system
        if row["system"] != wanted or field not in numbers:
            continue
        path, each = numbers[field]
        low, high = float(row["likely_low"]), float(row["likely_high"])
        if low <= each.values[0] <= high:
            continue
        where = "Behind a converter" if wanted == "converter" else f"On {system}"
        usual = f"{where}, usual is {low:g} V to {high:g} V."
        if before_radio and not fitted and system != USUAL_SYSTEM:
            usual += " Where a converter stands between, write it down (converter)."
        elif not fitted:
            usual += " Another system is said by vehicle.system."
        yield path, str(each.written), usual


def _rating(
    raw: Mapping[str, Any], numbers: Mapping[str, tuple[str, Measured]]
) -> Iterator[tuple[str, str, str]]:
    """Yield a converter that gives less than the radio asks for with music pressed hard."""
    if "converter.rated_current" not in numbers:
        return
    path, each = numbers["converter.rated_current"]
    channels = raw.get("channel")
    count = len(channels) if isinstance(channels, list) else 0
    volts = _number(numbers, "converter.output", USUAL_OUTPUT)
    load = COIL_SHARE * _number(numbers, "head_unit.minimum_load", USUAL_LOAD) + CLIP_LOSS
    least = BESIDES + PRESSED_HARD * 2.0 / pi * count * volts / load
    if each.values[0] < least:
        asked = display(least, dimension="current", unit="A", digits=2)
        usual = f"A radio with {count} outputs asks for {asked} when music is pressed hard."
        yield path, str(each.written), usual


def _number(numbers: Mapping[str, tuple[str, Measured]], field: str, usual: float) -> float:
    return numbers[field][1].values[0] if field in numbers else usual
