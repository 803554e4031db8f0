"""The page of the libraries that are installed for users, each with its licence."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from docs.markdown import paragraph, table

__all__ = ["LICENCES", "dependencies_page"]

LICENCES = Path(__file__).resolve().parent / "dependencies.csv"


def dependencies_page() -> Iterator[str]:
    """Yield the page of the libraries."""
    yield from ("# The libraries and their licences", "")
    yield paragraph(
        "Everything that is installed for users, the extra `postgres` included, with the licence "
        "that its own metadata names. A test refuses a licence that is not on its list, one that "
        "cannot be told, and a library that is missing here. What a package for one system "
        "carries inside is not told by metadata; it was read from the notices that come with the "
        "packages for Linux, by hand, and no test looks at it."
    )
    yield ""
    yield paragraph(
        "`requirements.txt` pins the version of each by its hashes, for the tasks; `pip` refuses "
        "a file with another hash. `uv pip check` finds no two versions that do not fit. Tools "
        "that look for known weaknesses (`pip-audit`, `uv audit`) ask a service outside: it could "
        "not be reached where this page was made, so nothing is said about known weaknesses. "
        "Whoever can reach it asks with `pip-audit --require-hashes -r requirements.txt`."
    )
    with LICENCES.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    heads = ("package", "licence", "carries inside", "note")
    cells = (
        (f"`{row['package']}`", row["licence"], paragraph(row["carries"]), paragraph(row["note"]))
        for row in rows
    )
    yield from ("", *table(heads, cells))
