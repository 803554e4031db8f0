"""The way in and out of the program: what was asked is done, what went wrong gives its exit code.

Exit codes: 0 answered, 2 bad input or a place that cannot be read or written, 1 only for a failure
of the program itself, 130 ended by Ctrl-C. A reader of the output who leaves early is no failure.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable, Sequence
from textwrap import wrap
from typing import NoReturn

from conewright.cli.app import app
from conewright.cli.base.console import complain, hold_streams, leave_streams
from conewright.errors import ConewrightError, JobError

__all__ = ["main"]

BAD_INPUT, FAILED = 2, 1
OUTSIDE = {
    errno.ENOSPC,
    errno.EDQUOT,
    errno.EFBIG,
    errno.EIO,
    errno.EROFS,
    errno.EMFILE,
    errno.ENFILE,
}
"""Errors of the system that no program can help: disks that are full or fail, too many files."""
WIDTH = 80


def main(
    arguments: Sequence[str] | None = None, *, interrupted: Callable[[], bool] = lambda: False
) -> NoReturn:
    """Run the command line and leave with its exit code.

    Args:
        arguments: the words after the program's name; those of this process when None.
        interrupted: whether Ctrl-C was pressed, whatever became of it.

    """
    # Products as small as ours are done before other threads have woken up; it counts only where
    # it is said before numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        sys.exit(_code(arguments, interrupted))
    finally:
        leave_streams()


def _code(arguments: Sequence[str] | None, interrupted: Callable[[], bool]) -> int:
    """Run the command line and return its exit code."""
    try:
        hold_streams()
        app(args=None if arguments is None else list(arguments), prog_name="conewright")
    except SystemExit as left:
        # Whoever read the help has read enough.
        return 0 if isinstance(left.__context__, BrokenPipeError) else int(left.code or 0)
    except Exception as error:
        if interrupted():
            # Libraries that call us back turn an interrupt into errors of their own.
            raise KeyboardInterrupt from None
        return _told(error)
    return 0


def _told(error: Exception) -> int:
    """Say what went wrong and return its exit code."""
    if isinstance(error, ConewrightError):
        complain(_in_lines(error))
        return BAD_INPUT
    if isinstance(error, OSError) and error.errno in OUTSIDE:
        place = f"{error.filename}: " if error.filename else ""
        complain(f"conewright cannot go on: {place}{error.strerror}")
        return BAD_INPUT
    if os.environ.get("CONEWRIGHT_DEBUG"):
        raise error
    complain(
        f"conewright failed: {type(error).__name__}: {error}\n"
        "This is a fault of the program; CONEWRIGHT_DEBUG=1 shows where it is."
    )
    return FAILED


def _in_lines(error: ConewrightError) -> str:
    """Return an error's sentences one under the other; what they quote stays as it is."""
    sentences = str(error).splitlines()
    if isinstance(error, JobError) and len(error.problems) > 1:
        sentences.insert(0, f"{error.file}: {len(error.problems)} problems")
    return "\n".join(line for sentence in sentences for line in _wrapped(sentence))


def _wrapped(sentence: str) -> list[str]:
    if sentence.startswith(" "):
        return [sentence]
    # Names of files and fields stay whole, so that they can be searched for.
    return wrap(
        sentence,
        WIDTH,
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )
