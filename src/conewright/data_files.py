"""The data files that come with the program, each in the folder `data` of its room."""

from csv import DictReader
from functools import cache
from importlib.resources import files

__all__ = ["data_rows", "data_text"]


def data_text(room: str, name: str) -> str:
    """Return the text of a file of a room, whose name is dotted: `job.text`, `starter.toml`."""
    return (files(f"conewright.{room}") / "data" / name).read_text(encoding="utf-8")


@cache
def data_rows(room: str, name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a table of a room, each by the names of its columns."""
    return tuple(DictReader(data_text(room, name).splitlines()))
