"""Reading and writing files, with what goes wrong said in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from conewright.errors import BadInputError
from conewright.whole_file import write_new, write_whole

__all__ = ["folder", "read_bytes", "read_text", "write_job", "write_texts"]


def read_text(file: Path) -> str:
    """Return the text of a file, every byte of it.

    Raises:
        BadInputError: it cannot be read, or is no text.

    """
    try:
        return read_bytes(file).decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadInputError(
            f"{file}: found bytes that are no text (at byte {error.start + 1}); a job file is text "
            "in UTF-8"
        ) from None


def read_bytes(file: Path) -> bytes:
    """Return what is in a file; raises BadInputError where it cannot be read."""
    try:
        return file.read_bytes()
    except OSError as error:
        raise BadInputError(f"{file}: cannot be read ({error.strerror or error})") from error


def write_job(
    file: Path, text: str, *, force: bool = False, endings: Sequence[str] = (".toml",)
) -> None:
    """Write a job file; one that is there already stays as it is unless forced.

    Raises:
        BadInputError: as `write_texts`, or it does not end as it should.

    """
    if file.suffix.lower() not in endings:
        allowed = " or ".join(endings)
        raise BadInputError(f'{file}: found a name ending in "{file.suffix}"; it ends in {allowed}')
    write_texts({file: text}, force=force)


def write_texts(files: Mapping[Path, str], *, force: bool = False) -> None:
    """Write files, all or none; those that are there already stay as they are unless forced.

    Raises:
        BadInputError: a file is there, or cannot be written.

    """
    contents = {file: text.encode("utf-8") for file, text in files.items()}
    if force:
        write_whole(contents)
    else:
        write_new(contents)


def folder(path: Path) -> Path:
    """Return a folder, made if it was not there.

    Raises:
        BadInputError: it cannot be made.

    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInputError(
            f"{path}: found no folder, nor can one be made there ({error.strerror})"
        ) from error
    return path
