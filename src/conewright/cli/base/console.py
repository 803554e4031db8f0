"""What goes to which stream: results to standard output, everything else to standard error."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Timer
from typing import TextIO

from conewright.errors import BadInputError

__all__ = ["busy", "complain", "read_line", "say", "say_bytes"]

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


def say(text: str) -> None:
    """Write a result to standard output."""
    with _reader_may_leave():
        _write(sys.stdout, text)


def say_bytes(content: bytes) -> None:
    """Write a result to standard output as it is, whatever the terminal can show."""
    with _reader_may_leave():
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()


@contextmanager
def _reader_may_leave() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        # Whoever reads has read enough; Python must not trip over the pipe when it leaves.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def read_line(prompt: str) -> str:
    """Return a line from standard input without the blanks around it.

    Where nobody types it but a file or a program gives it, it is written behind the prompt, so
    that what was said can be read as a whole.

    Raises:
        EOFError: there is no further line.
        BadInputError: the line is no text.

    """
    try:
        if sys.stdin.isatty():
            return input(prompt).strip()
        say(prompt)
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        raise BadInputError("standard input: found bytes that are no text") from None
    if not line:
        raise EOFError
    say(f"{line.strip()}\n")
    return line.strip()


def complain(text: str) -> None:
    """Write anything that is no result to standard error."""
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
