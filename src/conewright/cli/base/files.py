"""Reading and writing files, with what goes wrong said in words."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from conewright.errors import BadInputError

__all__ = ["folder", "read_text", "write_job", "write_text"]


def read_text(file: Path) -> str:
    """Return the text of a file, every byte of it.

    Raises:
        BadInputError: it cannot be read, or is no text.

    """
    try:
        return file.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadInputError(
            f"{file}: found bytes that are no text (at byte {error.start + 1}); a job file is text "
            "in UTF-8"
        ) from None
    except OSError as error:
        raise BadInputError(f"{file}: cannot be read ({error.strerror or error})") from error


def write_job(
    file: Path, text: str, *, force: bool = False, endings: Sequence[str] = (".toml",)
) -> None:
    """Write a job file; one that is there already stays as it is unless forced.

    Raises:
        BadInputError: as `write_text`, or it does not end as it should.

    """
    if file.suffix.lower() not in endings:
        allowed = " or ".join(endings)
        raise BadInputError(f'{file}: found a name ending in "{file.suffix}"; it ends in {allowed}')
    write_text(file, text, force=force)


def write_text(file: Path, text: str, *, force: bool = False) -> None:
    """Write a file; one that is there already stays as it is unless forced.

    Raises:
        BadInputError: the file is there, or cannot be written.

    """
    try:
        with file.open("w" if force else "x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise BadInputError(
            f"{file}: found a file of that name; choose another, or --force to write over it"
        ) from None
    except OSError as error:
        raise BadInputError(f"{file}: cannot be written ({error.strerror or error})") from error


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
