"""Writing the tables that find reckons with, for a shop that has counted its own."""

from __future__ import annotations

from pathlib import Path
from shlex import quote

from conewright.cli.base.files import folder, write_texts
from conewright.stages.find.faults.shop import VARIABLE
from conewright.stages.find.faults.trade import table_texts

__all__ = ["write_tables"]


def write_tables(place: Path, *, force: bool) -> str:
    """Write every table into a folder; returns what to do with them.

    Raises:
        BadInputError: a file is there already and not forced, or cannot be written.

    """
    out = folder(place)
    write_texts({out / name: text for name, text in table_texts().items()}, force=force)
    return (
        f"{out} holds the tables. Put your own counts in and delete the files that stay as they\n"
        f"are, then: export {VARIABLE}={quote(str(out.resolve()))}\n"
    )
