"""What faults do to a reading, and how readings spread: a data file that a shop may edit.

A fault shows itself in one of a few variants, each with its chance; with what is left of the
chance it does not show at all that day. A variant is one effect or several together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from conewright.data_files import data_text
from conewright.errors import BadInputError, QuantityError
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.stages.find.faults.rows import HEALTHY, Row, read_rows

__all__ = [
    "ALARM",
    "COMMON_GROUND",
    "LEADS",
    "READING",
    "Variant",
    "effects_of",
    "has_variant",
    "parse_effects",
    "size",
    "variants",
]

FILE = "meter.csv"
COLUMNS = ("test", "subject", "variant", "effect", "chance", "low", "typical", "high", "unit")

READING = "reading"
"""Subject of the rows on meters and on those who read them."""

COMMON_GROUND = "common-ground"
"""Subject of the rows on a radio without bridge outputs, without fault."""

LEADS = "leads"
"""Subject of the rows on meter leads."""

ALARM = "alarm"
"""Subject of the rows on false alarms: what a sound vehicle reads now and then."""

NO_FAULTS = frozenset({HEALTHY, READING, COMMON_GROUND, LEADS, ALARM})

DIMENSIONS = {
    "": "number",
    "ohm": "resistance",
    "V": "voltage",
    "mA": "current",
    "A": "current",
    "degC": "temperature",
}

# Chances that add up to more than 1 by less than this do so by rounding.
_TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Variant:
    """One way a fault shows: its chance, and the size of every effect, None for one without."""

    chance: float
    effects: Mapping[str, Quantity | None] = field(default_factory=dict)


Effects = Mapping[tuple[str, str], Mapping[str, Variant]]


def variants(test: str, subject: str) -> tuple[Variant, ...]:
    """Return the ways a fault shows in a test, the one in which it does not show last.

    Args: test: id of the test; subject: id of a fault, or `healthy`.
    Returns: variants whose chances add up to 1; a fault the test cannot see has one without effect.
    """
    shown = tuple(_effects().get((test, subject), {}).values())
    rest = 1.0 - sum(variant.chance for variant in shown)
    return (*shown, Variant(rest)) if rest > _TINY or not shown else shown


@cache
def effects_of(test: str) -> frozenset[str]:
    """Return the faults that a test can see."""
    subjects = {subject for name, subject in _effects() if name == test}
    return frozenset(subjects - NO_FAULTS)


def has_variant(test: str, subject: str, name: str) -> bool:
    """Whether the table has such a variant."""
    return name in _effects().get((test, subject), {})


def size(test: str, subject: str, name: str, effect: str = "value") -> Quantity:
    """Return the size of one effect by its name.

    Raises: BadInputError if the table does not give it.
    """
    variant = _effects().get((test, subject), {}).get(name)
    found = None if variant is None else variant.effects.get(effect)
    if found is None:
        raise BadInputError(f"{FILE}: a row is missing: {test}, {subject}, {name}, {effect}")
    return found


def parse_effects(text: str) -> Effects:
    """Read and check the table.

    Args: text: of the file.
    Raises: BadInputError that names the row and what is wanted there.
    """
    table: dict[tuple[str, str], dict[str, Variant]] = {}
    for row in read_rows(text, file=FILE, columns=COLUMNS):
        place = table.setdefault((row.key, row.text("subject")), {})
        name, chance = row.text("variant"), row.value("chance", most=1.0)
        known = place.get(name, Variant(chance))
        effect = row.text("effect")
        if effect in known.effects:
            row.fail("effect", f"{name} has that effect already")
        if known.chance != chance:
            row.fail("chance", f"all effects of {name} have one chance, {known.chance:g}")
        place[name] = Variant(known.chance, {**known.effects, effect: _size(row)})
    _hold_chances(table)
    return table


@cache
def _effects() -> Effects:
    return parse_effects(data_text("stages.find", FILE))


def _size(row: Row) -> Quantity | None:
    points = [row.cells[name] for name in ("low", "typical", "high") if row.cells[name]]
    if not points:
        return None
    unit = row.cells["unit"]
    if unit not in DIMENSIONS:
        row.fail("unit", f"one of {', '.join(name or 'none' for name in DIMENSIONS)} is wanted")
    try:
        return parse_quantity(f"{'..'.join(points)} {unit}".strip(), dimension=DIMENSIONS[unit])
    except QuantityError as error:
        raise BadInputError(f"{row.where}: {error}") from error


def _hold_chances(table: Effects) -> None:
    for (test, subject), shown in table.items():
        total = sum(variant.chance for variant in shown.values())
        if subject not in (HEALTHY, READING) and total > 1.0 + _TINY:
            raise BadInputError(f"{FILE}: the chances of {subject} in {test} add up to {total:g}")
