"""How much may stand in the text of a job: counted in one pass, before a parser sees it.

Parsers of TOML and JSON take time that grows with the square of a key's parts, and a thousand
times the memory of a text that is all names. What passes here costs them time and memory that
grow with its length alone. Quotes and comments are known, or a full stop in a note would count;
both formats are read alike: where a sign means something in one of them only, the other one's
parser stops at it, and comes to nothing behind it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from conewright.errors import Problem

__all__ = ["LONGEST_SMALL", "excess", "is_small"]

DEEPEST = 100
"""Brackets in brackets; tables of a job go less deep, which is told by their names later."""
LONGEST_KEY = 100
MOST_PIECES = 50_000
"""Names, values and brackets; two hundred entries in every list with all their fields are fewer."""
MOST_LINES = 50_000
LONGEST_WORD = 1_000
"""Of what stands in no quotes: a number, a date or a name."""

LONGEST_SMALL, MOST_SMALL_PIECES = 16_000, 1_000
"""Characters and pieces of a small text; the demo has half of each. To parse or edit a text takes
time that grows with both."""

# Each of these looks for one sign and never goes back.
_SIGN = re.compile(r"[\"'#=,.:{}\[\]]")
_ENDS = {'"': re.compile(r'[\\\n"]'), "'": re.compile(r"[\n']")}
# One or two quotes more belong to the text that three of them end.
_LONG_ENDS = {'"': re.compile(r'\\|"{3,5}'), "'": re.compile(r"'{3,5}")}
_OPENS, _CLOSES, _PARTS = frozenset("[{"), frozenset("]}"), frozenset("=,.:[{")


@dataclass
class _Counts:
    """What was met so far."""

    depth: int = 0
    stops: int = 0
    pieces: int = 0

    def meet(self, sign: str, most: int) -> tuple[str, str] | None:
        """Count a sign outside of quotes; return what is too much, and what is allowed."""
        self.depth += (sign in _OPENS) - (sign in _CLOSES)
        self.pieces += sign in _PARTS
        self.stops = self.stops + 1 if sign == "." else 0
        if self.depth > DEEPEST:
            return "tables in tables without end", f"at most {DEEPEST} brackets in brackets"
        if self.stops > LONGEST_KEY:
            return "a key of very many parts", f"at most {LONGEST_KEY} stops in one piece"
        if self.pieces > most:
            return "very many names and values", f"at most {most} go into one job"
        return None


def is_small(text: str) -> bool:
    """Whether a text is so short, and of so few pieces, that to read and edit it costs little."""
    return len(text) <= LONGEST_SMALL and excess(text, most=MOST_SMALL_PIECES) is None


def excess(text: str, *, most: int = MOST_PIECES) -> Problem | None:
    """Return what is too much in a text to parse it, and where; None for what may be parsed.

    Args: most: pieces that it may have.
    """
    if text.count("\n") > MOST_LINES:
        return Problem("file", "very many lines", f"at most {MOST_LINES} go into one job")
    counts, at = _Counts(), 0
    while at < len(text):
        found = _SIGN.search(text, at)
        end = found.start() if found else len(text)
        for word in text[at:end].split():
            if len(word) > LONGEST_WORD:
                start = text.index(word, at)
                return _problem(text, start, "a number without end", "numbers have a few digits")
        sign = text[end : end + 1]
        if sign in _ENDS:
            at = _behind_text(text, end)
        elif sign == "#":
            newline = text.find("\n", end)
            at = len(text) if newline < 0 else newline
        else:
            at = end + 1
            too_much = counts.meet(sign, most)
            if too_much is not None:
                return _problem(text, end, *too_much)
    return None


def _problem(text: str, at: int, found: str, allowed: str) -> Problem:
    line, column = text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)
    return Problem(f"line {line}, column {column}", found, allowed)


def _behind_text(text: str, start: int) -> int:
    """Return the place behind the text in quotes that starts there, or where it breaks off."""
    quote = text[start]
    long = text.startswith(quote * 3, start)
    ends = (_LONG_ENDS if long else _ENDS)[quote]
    at = start + (3 if long else 1)
    while found := ends.search(text, at):
        at = found.end()
        if found[0] != "\\":
            return at
        at += 1
    return len(text)
