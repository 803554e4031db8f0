"""Names that a pattern means: `*` stands for any letters or none, `?` for one letter.

All ways to read the pattern are followed side by side, one bit each, so that no letter of a name
is looked at twice, whatever the pattern.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

__all__ = ["has_wildcards", "matches"]

_WILD = re.compile(r"[*?]")


@dataclass(frozen=True, slots=True)
class _Pattern:
    """A pattern as bits: bit n stands for its first n signs being met, stars not counted.

    head, tail: what stands before its first and behind its last wildcard.
    stays: where a star lets any letter pass. takes: where a letter is wanted, by letter;
    any_letter: where one that is not among those is. length: how many signs there are.
    """

    head: str
    tail: str
    stays: int
    takes: dict[str, int]
    any_letter: int
    length: int


def has_wildcards(pattern: str) -> bool:
    """Whether a pattern may mean more than the one name it spells."""
    return _WILD.search(pattern) is not None


def matches(name: str, pattern: str) -> bool:
    """Whether a pattern means a whole name; case counts, and no sign but `*` and `?` is special."""
    if not has_wildcards(pattern):
        return name == pattern
    table = _table(pattern)
    if not (name.startswith(table.head) and name.endswith(table.tail)):
        return False
    met = 1
    for letter in name:
        met = (met & table.takes.get(letter, table.any_letter)) << 1 | met & table.stays
        if not met:
            return False
    return bool(met >> table.length & 1)


@lru_cache(maxsize=512)
def _table(pattern: str) -> _Pattern:
    stays = any_letter = length = 0
    wanted: dict[str, int] = {}
    for sign in pattern:
        bit = 1 << length
        if sign == "*":
            stays |= bit
            continue
        length += 1
        if sign == "?":
            any_letter |= bit
        else:
            wanted[sign] = wanted.get(sign, 0) | bit
    takes = {letter: bits | any_letter for letter, bits in wanted.items()}
    parts = _WILD.split(pattern)
    return _Pattern(parts[0], parts[-1], stays, takes, any_letter, length)
