"""A catalogue compiled to columns of numbers, and those columns as bytes to be kept."""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np

from conewright.catalogue.sheets import FIGURES
from conewright.data_files import data_text
from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray

__all__ = ["Compiled", "compiled_with", "offered_of", "pack", "part_ids", "unpack"]

FORMAT: Final = 1
"""Of the packed bytes and of how they were compiled; another one is compiled again."""

_TABLES: Final = (
    ("catalogue", "columns.csv"),
    ("job.builds", "ages.csv"),
    ("job.builds", "drivers.csv"),
    ("job.builds", "frames.csv"),
    ("job.builds", "rated_impedance.csv"),
    ("job.quantity", "units.csv"),
)
APART: Final = ("price_low", "price", "price_high", "stock", "lead_days")
"""What may differ between two offers of the same works."""
SAME_WORDS: Final = ("kind", "metal", "cures", "currency", "per")
"""What may not: prices of two currencies, or of piece and pair, are not compared."""


@dataclass(frozen=True, slots=True)
class Compiled:
    """A catalogue as columns, one entry of each for a part, sorted by kind, supplier and part.

    texts: columns of words and `id`, "" where nothing is known. numbers, low, high: columns of
    numbers with the ends of their spreads [SI, prices in their currency], NaN where nothing is
    known; a size is `size` and `size_long`. figures: of the drivers, completed to a whole sheet
    [SI]. offered: the row that stands for a part: its own, or that of the cheapest in stock with
    the same figures.
    """

    texts: Mapping[str, tuple[str, ...]]
    numbers: Mapping[str, FloatArray]
    low: Mapping[str, FloatArray]
    high: Mapping[str, FloatArray]
    figures: Mapping[str, FloatArray]
    offered: np.ndarray

    def __len__(self) -> int:
        """Return the number of parts."""
        return len(self.offered)

    def number(self, name: str, row: int) -> float | None:
        """Return one number [SI], None where it is not known."""
        value = float(self.numbers[name][row]) if name in self.numbers else np.nan
        return None if np.isnan(value) else value

    def text(self, name: str, row: int) -> str:
        """Return one text, empty where it is not known."""
        return self.texts[name][row] if name in self.texts else ""

    def alternates(self, row: int) -> list[int]:
        """Return the other rows with the figures of one, the offered one first."""
        same = np.flatnonzero(self.offered == self.offered[row])
        first = int(self.offered[row])
        return [each for each in sorted(map(int, same), key=lambda r: r != first) if each != row]


@cache
def compiled_with() -> str:
    """Return what names the tables and rules by which a catalogue is compiled today."""
    digest = hashlib.sha256(f"{FORMAT}".encode())
    for room, name in _TABLES:
        digest.update(data_text(room, name).encode("utf-8"))
    return digest.hexdigest()[:16]


def part_ids(keys: Sequence[tuple[str, str]]) -> tuple[str, ...]:
    """Return what parts are called in a job, by supplier and part; unlike each other."""
    plain = [_slug(f"{supplier} {part}") for supplier, part in keys]
    seen: dict[str, int] = {}
    for each in plain:
        seen[each] = seen.get(each, 0) + 1
    return tuple(
        each if seen[each] == 1 else f"{each}-{_mark(key)}"
        for each, key in zip(plain, keys, strict=True)
    )


def _slug(text: str) -> str:
    words = re.findall(r"[a-z0-9]+", text.casefold())
    plain = "-".join(words)[:60].rstrip("-")
    return plain if plain[:1].isalpha() else f"part-{plain}".rstrip("-")


def _mark(key: tuple[str, str]) -> str:
    return hashlib.sha256("\n".join(key).encode("utf-8")).hexdigest()[:6]


def offered_of(texts: Mapping[str, Sequence[str]], numbers: Mapping[str, FloatArray]) -> np.ndarray:
    """Return for each part the row that is offered in its place: the same works, cheapest in stock.

    Parts without any figure are nobody's works; one with nothing in stock comes after all others,
    and one without a price after those with one.
    """
    words = [texts[name] for name in SAME_WORDS if name in texts]
    count = len(texts["kind"])
    names = [name for name in numbers if name not in APART]
    figures = np.array([numbers[name] for name in names]).reshape(len(names), count)
    known = ~np.isnan(figures)
    rows = np.ascontiguousarray(np.nan_to_num(figures, nan=-1.0).T)
    price = np.nan_to_num(numbers.get("price", np.full(count, np.nan)), nan=np.inf)
    gone = numbers.get("stock", np.full(count, np.nan)) == 0.0
    offered = np.arange(count)
    works: dict[tuple[tuple[str, ...], bytes], list[int]] = {}
    for row in map(int, np.flatnonzero(known.any(axis=0))):
        told = tuple(column[row] for column in words)
        works.setdefault((told, rows[row].tobytes()), []).append(row)
    for same in works.values():
        offered[same] = min(same, key=lambda row: (bool(gone[row]), float(price[row]), row))
    return offered


# --- To be kept -----------------------------------------------------------------------------------


def pack(compiled: Compiled) -> bytes:
    """Return a compiled catalogue as bytes."""
    head = {
        "format": FORMAT,
        "texts": {name: "\n".join(each) for name, each in compiled.texts.items()},
        "numbers": list(compiled.numbers),
        "spreads": list(compiled.low),
    }
    stacks: dict[str, Any] = {
        "head": np.frombuffer(json.dumps(head).encode("utf-8"), np.uint8),
        "numbers": _stacked(compiled.numbers, len(compiled)),
        "low": _stacked(compiled.low, len(compiled)),
        "high": _stacked(compiled.high, len(compiled)),
        "figures": _stacked(compiled.figures, len(compiled)),
        "offered": compiled.offered,
    }
    stream = io.BytesIO()
    np.savez(stream, **stacks)
    return zlib.compress(stream.getvalue(), 1)


def unpack(content: bytes) -> Compiled:
    """Return a catalogue from its bytes; raises BadInputError where they are none."""
    try:
        with np.load(io.BytesIO(zlib.decompress(content)), allow_pickle=False) as stacks:
            head = json.loads(stacks["head"].tobytes())
            numbers, figures = stacks["numbers"], stacks["figures"]
            low, high, offered = stacks["low"], stacks["high"], stacks["offered"]
        count = len(offered)
        return Compiled(
            texts={name: _split(text, count) for name, text in head["texts"].items()},
            numbers=dict(zip(head["numbers"], numbers, strict=True)),
            low=dict(zip(head["spreads"], low, strict=True)),
            high=dict(zip(head["spreads"], high, strict=True)),
            figures=dict(zip(FIGURES, figures, strict=True)),
            offered=offered,
        )
    except (zlib.error, zipfile.BadZipFile, ValueError, LookupError, OSError, TypeError) as error:
        raise BadInputError("found bytes that are no compiled catalogue") from error


def _stacked(named: Mapping[str, FloatArray], count: int) -> FloatArray:
    return np.array(list(named.values()), float).reshape(len(named), count)


def _split(text: str, count: int) -> tuple[str, ...]:
    parts = tuple(text.split("\n")) if count else ()
    if len(parts) != count:
        raise ValueError
    return parts
