"""The data files of the papers: what is told or read on them, and in which order."""

from csv import DictReader
from functools import cache
from importlib.resources import files

__all__ = ["rows"]


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a data file of the papers."""
    text = (files("conewright.papers") / "data" / name).read_text(encoding="utf-8")
    return tuple(DictReader(text.splitlines()))
