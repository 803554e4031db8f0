"""A shop's own tables: files of a folder that take the place of the packaged ones."""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path

from conewright.errors import BadInputError
from conewright.job.document.paths import known_names

__all__ = ["VARIABLE", "own_texts"]

VARIABLE = "CONEWRIGHT_TABLES"
"""Names the folder, for a shop that has counted its own faults and minutes."""


def own_texts(names: Collection[str]) -> dict[str, str]:
    """Return the texts of a shop's own tables by file name; none if the variable is not set.

    Args:
        names: of the files that there are.

    Raises:
        BadInputError: no such folder, a table that nobody would read, or one that is no text.

    """
    place = os.environ.get(VARIABLE)
    if not place:
        return {}
    folder = Path(place)
    if not folder.is_dir():
        raise BadInputError(f"{VARIABLE}: found no folder {place!r}; one with tables is wanted")
    return {file.name: _text(file, names) for file in sorted(folder.glob("*.csv"))}


def _text(file: Path, names: Collection[str]) -> str:
    if file.name not in names:
        raise BadInputError(f"{file}: found no table of that name; {known_names(file.name, names)}")
    try:
        return file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInputError(
            f"{file}: found bytes that are no text (at byte {error.start + 1}); save it as UTF-8"
        ) from None
    except OSError as error:
        raise BadInputError(f"{file}: cannot be read ({error.strerror or error})") from error
