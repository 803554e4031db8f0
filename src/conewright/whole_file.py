"""Files that are written whole or not at all, whatever fills up, breaks off or comes between.

What is new is written aside, down to the disk, and only then put in the place of what was there.
Whoever writes holds the folder meanwhile, so that of two of our programs the second sees what the
first wrote. Where a system has no such lock (flock) only the moment of putting is left to chance.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from errno import EACCES
from pathlib import Path
from secrets import token_hex
from shutil import copymode

from conewright.errors import BadInputError

__all__ = ["unwritten", "write_instead", "write_new", "write_whole"]

ANYBODY, OWNER = 0o666, 0o600
"""Who may use a new file: whom the system's own mask lets, or its owner alone."""


@dataclass(frozen=True, slots=True)
class _Change:
    """A file as it was named, what that leads to, and what is to stand there."""

    file: Path
    target: Path
    content: bytes


def write_whole(files: Mapping[Path, bytes], *, private: bool = False) -> None:
    """Write files in the place of what may be there; none is touched before all are on the disk.

    Args:
        files: what is to stand in each.
        private: whether they are for their owner's eyes alone; else who may use a file stays.

    Raises:
        BadInputError: they cannot be written.

    """
    _put(files, _hold_writable, private=private)


def write_new(files: Mapping[Path, bytes]) -> None:
    """Write files of which none may be there yet, all of them or none.

    Raises:
        BadInputError: one is there, or they cannot be written.

    """
    _put(files, _hold_free)


def write_instead(file: Path, content: bytes, *, of: bytes) -> None:
    """Write a file in the place of just these bytes.

    Raises:
        BadInputError: something else stands there by now, or it cannot be written.

    """

    def hold(change: _Change) -> None:
        if not change.target.exists() or change.target.read_bytes() != of:
            raise BadInputError(
                f"{file}: found it changed by somebody else meanwhile; nothing was written over "
                "it. Look at what is in it now and start again"
            )
        _hold_writable(change)

    _put({file: content}, hold)


def unwritten(place: object, error: OSError) -> BadInputError:
    """Return the error of a place that cannot be written, in words."""
    return BadInputError(f"{place}: cannot be written ({error.strerror or error})")


def _put(
    files: Mapping[Path, bytes], hold: Callable[[_Change], None], *, private: bool = False
) -> None:
    # What a link points to is replaced, not the link.
    changes = [
        _Change(file, Path(os.path.realpath(file)), content) for file, content in files.items()
    ]
    with ExitStack() as held:
        aside = [held.enter_context(_aside(change, private=private)) for change in changes]
        # In one order for all, or two would wait for each other.
        for folder in sorted({change.target.parent for change in changes}):
            held.enter_context(_alone_in(folder))
        for change in changes:
            with _in_words(change):
                hold(change)
        for change, written in zip(changes, aside, strict=True):
            with _in_words(change):
                if change.target.exists() and not private:
                    copymode(change.target, written)
                os.replace(written, change.target)


@contextmanager
def _aside(change: _Change, *, private: bool) -> Iterator[Path]:
    """Give a file beside the target that holds the content, on the disk; gone at the end."""
    written = change.target.with_name(f".conewright-{token_hex(8)}.part")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        with _in_words(change):
            handle = os.open(written, flags, OWNER if private else ANYBODY)
            with open(handle, "wb") as stream:
                stream.write(change.content)
                stream.flush()
                os.fsync(stream.fileno())
        yield written
    finally:
        with suppress(OSError):
            written.unlink()


@contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Hold a folder against others of ours; what was put into it is on the disk at the end."""
    with ExitStack() as opened:
        # Where a folder cannot be opened or locked, there is no lock to be had.
        with suppress(ImportError, OSError):
            from fcntl import LOCK_EX, flock

            handle = os.open(folder, os.O_RDONLY)
            opened.callback(os.close, handle)
            flock(handle, LOCK_EX)
            opened.callback(_to_disk, handle)
        yield


def _to_disk(folder: int) -> None:
    with suppress(OSError):
        os.fsync(folder)


@contextmanager
def _in_words(change: _Change) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise unwritten(change.file, error) from error


def _hold_free(change: _Change) -> None:
    if os.path.lexists(change.target):
        raise BadInputError(
            f"{change.file}: found a file of that name; choose another, or --force to write over it"
        )


def _hold_writable(change: _Change) -> None:
    # Replacing asks the folder only; a file that is protected itself stays protected.
    if change.target.exists() and not os.access(change.target, os.W_OK):
        raise PermissionError(EACCES, os.strerror(EACCES))
