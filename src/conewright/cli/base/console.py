"""What goes to which stream: results to standard output, everything else to standard error."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Timer
from typing import TextIO, cast

from conewright.errors import BadInputError
from conewright.whole_file import unwritten

__all__ = [
    "busy",
    "complain",
    "hold_streams",
    "leave_streams",
    "read_line",
    "say",
    "say_bytes",
]

OUTPUT = "standard output"
PATIENCE = 1.0
"""Seconds of work without a word."""
# What a terminal without these characters shows in their place.
IN_ASCII = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{EN DASH}": "-",
        "\N{PLUS-MINUS SIGN}": "+/-",
        "\N{MULTIPLICATION SIGN}": "x",
        "\N{DEGREE SIGN}": "deg",
        "\N{SUPERSCRIPT TWO}": "2",
        "\N{SUPERSCRIPT THREE}": "3",
        "\N{SUPERSCRIPT FOUR}": "4",
        "\N{MICRO SIGN}": "u",
        "\N{MIDDLE DOT}": " ",
        "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
        "\N{WHITE CIRCLE}": "o",
        "\N{BLACK CIRCLE}": "*",
        "\N{BLACK UP-POINTING TRIANGLE}": "!",
        "\N{BLACK SQUARE}": "#",
        "\N{RIGHTWARDS ARROW}": "->",
        "\N{HORIZONTAL ELLIPSIS}": "...",
    }
)


def hold_streams() -> None:
    """Have all three streams, so that no file is opened in the place of one that is closed.

    Raises:
        BadInputError: standard output is closed, so that nothing could be answered.

    """
    sys.stdin = sys.stdin or _nowhere("r")
    closed = sys.stdout is None
    sys.stdout = sys.stdout or _nowhere("w")
    sys.stderr = sys.stderr or _nowhere("w")
    if closed:
        raise BadInputError(f"{OUTPUT}: found it closed; give a place for the answer")


def leave_streams() -> None:
    """Let go of what a stream would not take, which Python must not trip over when it leaves."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            _let_go(stream)


def say(text: str) -> None:
    """Write a result to standard output; raises BadInputError where it cannot be written."""
    with _reader_may_leave():
        _write(sys.stdout, text)


def say_bytes(content: bytes) -> None:
    """Write a result to standard output as it is, whatever the terminal can show.

    Raises:
        BadInputError: it cannot be written.

    """
    with _reader_may_leave():
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()


@contextmanager
def _reader_may_leave() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        # Whoever reads has read enough.
        _let_go(sys.stdout)
    except OSError as error:
        raise unwritten(OUTPUT, error) from error


def _let_go(stream: TextIO) -> None:
    """Lead what is still to come from a stream nowhere."""
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), stream.fileno())


def _nowhere(mode: str) -> TextIO:
    return cast(TextIO, open(os.devnull, mode, encoding="utf-8"))


def read_line(prompt: str) -> str:
    """Return a line from standard input without the blanks around it.

    Where nobody types it but a file or a program gives it, it is written behind the prompt, so
    that what was said can be read as a whole.

    Raises:
        EOFError: there is no further line.
        BadInputError: the line is no text, or cannot be read.

    """
    try:
        if sys.stdin.isatty():
            return input(prompt).strip()
        say(prompt)
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        raise BadInputError("standard input: found bytes that are no text") from None
    except OSError as error:
        raise BadInputError(f"standard input: cannot be read ({error.strerror})") from error
    if not line:
        raise EOFError
    say(f"{line.strip()}\n")
    return line.strip()


def complain(text: str) -> None:
    """Write anything that is no result to standard error, if that takes it."""
    with suppress(OSError):
        _write(sys.stderr, text + "\n")


@contextmanager
def busy(doing: str) -> Iterator[None]:
    """Say on standard error what takes so long, if it takes more than a second."""
    timer = Timer(PATIENCE, complain, [f"{doing} ..."])
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _write(stream: TextIO, text: str) -> None:
    encoding = stream.encoding or "ascii"
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        text = text.translate(IN_ASCII).encode(encoding, "replace").decode(encoding)
    stream.write(text)
    stream.flush()
