"""What may well be, but seldom is: asked back, until somebody says that it is so."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from conewright.data_files import data_rows
from conewright.job.document.bench import is_other_currency
from conewright.job.document.paths import inside
from conewright.job.plausible.ranges import Measured, Range, measured, path_of
from conewright.job.plausible.volts import odd_supply
from conewright.job.quantity.values import display

__all__ = ["Doubt", "doubts_of", "other_currencies"]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A value that is possible and unlikely.

    Attributes:
        path: as `sure` takes it, `door-fl.mount.cutout`.
        found: as it is written.
        usual: what is, in words.
        proposal: id of the proposal that sets it; None where it stands in the job itself.

    """

    path: str
    found: str
    usual: str
    proposal: str | None = None

    @property
    def text(self) -> str:
        """The question in one line."""
        by = f", by proposal {self.proposal}" if self.proposal else ""
        return f"{self.path}{by}: is it really {self.found}? {self.usual}"


def doubts_of(raw: Mapping[str, Any]) -> list[Doubt]:
    """Return every number that is seldom so and that `sure` does not confirm, one for each path.

    Args: raw: the plain values of a job without problems.
    """
    sure = inside(raw, "job", "sure")
    known = frozenset(sure if isinstance(sure, list) else ())
    numbers = [(path_of(each.steps, raw), each) for each in measured(raw)]
    found: dict[str, Doubt] = {}
    for path, each in numbers:
        low, high = each.range.likely
        if not low <= each.values[0] <= high:
            told = f"Usual is {each.range.told[1]}."
            found.setdefault(path, Doubt(path, str(each.written), told))
    for doubt in _odd_beside(raw, numbers):
        found.setdefault(doubt.path, doubt)
    by_field = {each.range.field: (path, each) for path, each in reversed(numbers)}
    for path, written, usual in odd_supply(raw, by_field):
        found.setdefault(path, Doubt(path, written, usual))
    for doubt in other_currencies(raw):
        found.setdefault(doubt.path, doubt)
    return [doubt for path, doubt in found.items() if path not in known]


def other_currencies(raw: Mapping[str, Any]) -> Iterator[Doubt]:
    """Yield what is bought in another currency than that of the job, which is not added up."""
    own, plans = inside(raw, "job", "currency"), raw.get("proposal")
    if not isinstance(own, str):
        return
    for plan, entry in enumerate(plans if isinstance(plans, list) else ()):
        bought = inside(entry, "buy")
        for index, each in enumerate(bought if isinstance(bought, list) else ()):
            paid = inside(each, "currency")
            if isinstance(paid, str) and is_other_currency(paid, own):
                path = path_of(("proposal", plan, "buy", index, "currency"), raw)
                told = f"The job reckons in {own}: a price in {paid} is not added up."
                yield Doubt(path, paid, told)


# --- One value beside another -------------------------------------------------------------------


Number = tuple[str, Measured]
"""A number and its path."""


def _odd_beside(raw: Mapping[str, Any], numbers: Sequence[Number]) -> Iterator[Doubt]:
    """Yield the values that seldom go with another one, of the same part or of its driver."""
    first: dict[tuple[str, str], Number] = {}
    for path, each in numbers:
        first.setdefault((path.partition(".")[0], each.range.field), (path, each))
    fitted = {
        place.get("id"): str(place.get("driver"))
        for place in raw.get("location", ())
        if isinstance(place, dict)
    }
    wound_twice = {
        driver.get("id")
        for driver in raw.get("driver", ())
        if isinstance(driver, dict) and "coils" in driver
    }
    for (part, field), number in first.items():
        for row in _relations().get(field, ()):
            for owner in (part, fitted.get(part, "")):
                # What is read at a place is of both coils as wired, what is printed of one.
                wired = owner != part and owner in wound_twice
                if (owner, row["against"]) in first and not wired:
                    yield from _beside(number, first[owner, row["against"]], row)


def _beside(number: Number, other: Number, row: Mapping[str, str]) -> Iterator[Doubt]:
    (path, each), (against, value) = number, other
    if value.values[0] < float(row["from"]):
        return
    scale = value.values[0] ** -float(row["power"])
    low, high = float(row["likely_low"]) * scale, float(row["likely_high"]) * scale
    if not low <= each.values[0] <= high:
        ends = f"{_shown(low, each.range)} to {_shown(high, each.range)}"
        usual = f"Beside {against} of {value.written}, usual is {ends}."
        yield Doubt(path, str(each.written), usual)


def _shown(value: float, range: Range) -> str:
    return display(value, dimension=range.dimension, unit=range.unit, digits=2)


@cache
def _relations() -> dict[str, list[Mapping[str, str]]]:
    found: dict[str, list[Mapping[str, str]]] = {}
    for row in data_rows("job.plausible", "relations.csv"):
        found.setdefault(row["field"], []).append(row)
    return found
