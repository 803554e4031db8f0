"""What radios and vehicles of a year can have, whether an era is written or follows."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

from conewright.data_files import data_rows

if TYPE_CHECKING:
    from conewright.job.document.document import HeadUnit
    from conewright.job.document.parts import Era

__all__ = ["YEARS", "eras_without", "of_year", "of_years", "usual_year"]

YEARS: Mapping[Era, int] = {"mono": 1970, "stereo": 1985, "digital": 2002, "connected": 2014}
"""Years in the middle of the eras of radios; workshop experience, from memory."""


def usual_year(unit: HeadUnit, built: int | None) -> int | None:
    """Return the year that a radio is taken to be of, None where it may be of any.

    One of a written era is of that. Another is as old as its vehicle, unless the outputs that are
    written of it tell that it cannot be.

    Args:
        unit: as written.
        built: year of the vehicle.

    """
    if unit.era is not None:
        return YEARS[unit.era]
    too_new = unit.output == "bridge" and built is not None and not of_year("bridge", built)
    return None if too_new else built


def of_year(part: str, year: int | None) -> bool:
    """Whether what is of a year can have a part; all of what is of any year.

    Raises: KeyError for a part that the table of years does not have.
    """
    since = int(_rows()[part]["since"])
    return year is None or year >= since


def of_years(part: str) -> str:
    """Return what a part belongs to: `vehicle` or `radio`."""
    return _rows()[part]["of"]


def eras_without(part: str) -> tuple[Era, ...]:
    """Return the eras whose radios do not have a part."""
    return tuple(era for era, year in YEARS.items() if not of_year(part, year))


@cache
def _rows() -> Mapping[str, Mapping[str, str]]:
    return {row["part"]: row for row in data_rows("job", "eras.csv")}
