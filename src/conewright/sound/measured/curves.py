"""Curves that were measured elsewhere: text of columns, and Touchstone files of one port.

A text has two or three columns: frequency, magnitude, and phase in degrees. How its columns are
parted and how its decimals are written is judged from the whole file, never line by line.
Touchstone is an open standard (IBIS Open Forum, Touchstone File Format Specification 1.1, 2002, and
2.0, 2009; from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from itertools import pairwise
from math import cos, hypot, inf, isfinite, log10, radians, sin
from typing import Final, Literal, TypeAlias

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray

__all__ = ["MOST_BYTES", "MOST_ROWS", "Curve", "CurveKind", "read_curve"]

MOST_ROWS: Final = 100_000
MOST_BYTES: Final = 20_000_000
HIGHEST: Final = 1e12
"""Highest frequency of any curve [Hz]."""

CurveKind: TypeAlias = Literal["impedance", "level"]

NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
FIRST_ROW: Final = re.compile(r"[-+\d.,;eE\s\"']+")
ROW: Final = re.compile(r"[\"']?[-+]?[.,]?\d")
COMMENT: Final = re.compile(r"[*#;!%\"']|//")
UNIT: Final = re.compile(r"(?<![\d.,] )(?<![A-Za-z\d.])([kMG]?)Hz\b", re.IGNORECASE)
OHM: Final = re.compile(r"\bohms?\b|[\u03a9\u2126]|impedan|\|Z\|", re.IGNORECASE)
DECIBEL: Final = re.compile(r"\bdB|\bSPL\b|\blevel\b", re.IGNORECASE)
SCALES: Final = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}

HIGHEST_MEDIAN: Final = 40.0
"""Above this the middle of a column without a unit is no impedance of a loudspeaker [ohm]."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A curve over frequency.

    Attributes:
        name: of the file.
        frequency: rising [Hz], shape (F,).
        magnitude: modulus [ohm] or level [dB], shape (F,).
        phase: [rad], shape (F,); None where the file gives none.
        kind: what it most likely is.
        reason: why that is thought, for the one who may know better.
        sha256: of the file's bytes.

    """

    name: str
    frequency: FloatArray
    magnitude: FloatArray
    phase: FloatArray | None
    kind: CurveKind
    reason: str
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class _Row:
    """One line of numbers."""

    line: int
    numbers: tuple[float, ...]


def read_curve(data: bytes, *, name: str) -> Curve:
    """Read a curve.

    Args:
        data: the bytes of the file.
        name: of the file; one that ends in .s1p is a Touchstone file.

    Raises:
        BadInputError: naming file and line, what was found and what is allowed: over 20 MB or
            100,000 rows, no text, no rows, a line that is no row, frequencies that do not run one
            way or are not above zero, an impedance not above zero.

    """
    if len(data) > MOST_BYTES:
        raise BadInputError(
            f"{name}: found {len(data) / 1e6:.1f} MB; a curve has at most {MOST_BYTES // 10**6} MB"
        )
    lines = _text(data, name).splitlines()
    found = _touchstone if name.lower().endswith(".s1p") else _columns
    return replace(found(lines, name), sha256=sha256(data).hexdigest())


def _text(data: bytes, name: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise BadInputError(f"{name}: found bytes that are no text; a curve is text of columns")


def _refused(name: str, line: int, found: str, allowed: str) -> BadInputError:
    return BadInputError(f"{name}, line {line}: found {found}; {allowed}")


def _shown(text: str) -> str:
    return f'"{text[:40]}"' + (" ..." if len(text) > 40 else "")


# --- Text of columns --------------------------------------------------------------------------


def _columns(lines: Sequence[str], name: str) -> Curve:
    head, numbered = _parted(lines, name)
    split, comma = _separator([text for _, text in numbered])
    rows = [_row(name, line, split(text), comma=comma) for line, text in numbered]
    width = len(rows[0].numbers)
    for row in rows:
        if len(row.numbers) != width or width not in (2, 3):
            wanted = (
                f"{width} numbers, as in the first row" if width in (2, 3) else "2 or 3 numbers"
            )
            raise _refused(name, row.line, f"{len(row.numbers)}", f"a row has {wanted}")
    unit = _frequency_unit(head)
    rows = _rising(name, rows, unit)
    magnitude = np.array([row.numbers[1] for row in rows])
    kind, reason = _kind(head, magnitude)
    if kind == "impedance":
        for row in rows:
            if not row.numbers[1] > 0.0:
                raise _refused(
                    name, row.line, f"{row.numbers[1]:g} ohm", "an impedance is above zero"
                )
    phase = np.deg2rad([row.numbers[2] for row in rows]) if width == 3 else None
    return Curve(name, np.array([row.numbers[0] * unit for row in rows]), magnitude, phase, kind,
                 reason)  # fmt: skip


def _parted(lines: Sequence[str], name: str) -> tuple[list[str], list[tuple[int, str]]]:
    """Heading and comments before the first row, and the rows with their line numbers."""
    head: list[str] = []
    rows: list[tuple[int, str]] = []
    for number, line in enumerate(lines, start=1):
        text = line.strip(" \r\n\f\v\u00a0")
        if not text.strip():
            continue
        if ROW.match(text) and (rows or FIRST_ROW.fullmatch(text)):
            rows.append((number, text))
            if len(rows) > MOST_ROWS:
                raise _refused(name, number, "one more row", f"at most {MOST_ROWS} are read")
        elif not rows:
            head.append(text)
        elif not COMMENT.match(text):
            raise _refused(name, number, _shown(text), "rows of numbers follow one another")
    if not rows:
        raise BadInputError(
            f"{name}: found no row of numbers; frequency, magnitude and perhaps phase are wanted"
        )
    return head, rows


@dataclass(frozen=True, slots=True)
class _Split:
    """How the fields of a row are parted."""

    pattern: re.Pattern[str]

    def __call__(self, text: str) -> list[str]:
        fields = [field.strip(" \t\"'\u00a0") for field in self.pattern.split(text)]
        # A separator at the end of every row is a habit of spreadsheets.
        return fields[:-1] if len(fields) > 2 and not fields[-1] else fields


def _separator(rows: Sequence[str]) -> tuple[_Split, bool]:
    """How rows are parted, and whether a comma stands in decimals."""
    for mark in (";", "\t"):
        if any(mark in row.strip() for row in rows):
            return _Split(re.compile(";" if mark == ";" else r"\t+")), True
    if not any("," in row for row in rows):
        return _Split(re.compile(r"\s+")), False
    if all(re.search(r",\s", row) for row in rows):
        # "20, 5.3" and "20,5, 5,3": the comma that parts is the one with a space behind it.
        return _Split(re.compile(r",\s+")), True
    if all(re.search(r"\s", row) for row in rows) and not any(
        re.search(r"\s,|,\s", row) for row in rows
    ):
        return _Split(re.compile(r"\s+")), True
    return _Split(re.compile(",")), False


def _row(name: str, line: int, fields: Sequence[str], *, comma: bool) -> _Row:
    found = []
    for field in fields:
        text = field
        if comma and "," in text:
            if "." in text or text.count(",") > 1:
                raise _refused(
                    name, line, _shown(field), "a number has one decimal mark and no thousands"
                )
            text = text.replace(",", ".")
        value = float(text) if NUMBER.fullmatch(text) else inf
        if not isfinite(value):
            raise _refused(name, line, _shown(field), "a finite number is wanted, like 63.5")
        found.append(value)
    return _Row(line, tuple(found))


def _rising(name: str, rows: list[_Row], scale: float, *, may_fall: bool = True) -> list[_Row]:
    """Rows by rising frequency; a curve that falls throughout is turned round."""
    if may_fall and len(rows) > 1 and rows[1].numbers[0] < rows[0].numbers[0]:
        way, ordered = "fall", rows[::-1]
    else:
        way, ordered = "rise", rows
    for row in rows:
        if not row.numbers[0] > 0.0:
            raise _refused(name, row.line, f"{row.numbers[0]:g} Hz", "a frequency is above zero")
        if not row.numbers[0] * scale <= HIGHEST:
            found = f"{row.numbers[0] * scale:g} Hz"
            raise _refused(name, row.line, found, f"a frequency is at most {HIGHEST:g} Hz")
    for before, after in pairwise(ordered):
        if not after.numbers[0] > before.numbers[0]:
            at = after if way == "rise" else before
            raise _refused(
                name, at.line, f"{at.numbers[0]:g}", f"frequencies {way} from row to row"
            )
    return ordered


def _frequency_unit(head: Sequence[str]) -> float:
    """Hertz in one of the frequency column, by the last heading that names a unit of it."""
    for text in reversed(head):
        if unit := UNIT.search(text):
            return SCALES[unit[1].lower()]
    return 1.0


def _kind(head: Sequence[str], magnitude: FloatArray) -> tuple[CurveKind, str]:
    for text in reversed(head):
        ohm, decibel = OHM.search(text), DECIBEL.search(text)
        if ohm and not decibel:
            return "impedance", f'the heading says "{ohm[0]}"'
        if decibel and not ohm:
            return "level", f'the heading says "{decibel[0]}"'
    if magnitude.min() <= 0.0:
        return "level", "some values are not above zero, as no impedance is"
    middle = float(np.median(magnitude))
    if middle > HIGHEST_MEDIAN:
        return "level", f"half of the values are above {middle:.0f}, too much for ohm"
    return "impedance", f"all values are above zero and half of them below {middle:.3g}"


# --- Touchstone -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Option:
    """The option line: hertz in one unit, parameter, format, reference [ohm]."""

    scale: float = 1e9
    parameter: str = "S"
    form: str = "MA"
    reference: float = 50.0


def _touchstone(lines: Sequence[str], name: str) -> Curve:
    option: _Option | None = None
    second = False
    rows: list[_Row] = []
    for number, text in _uncommented(lines):
        if text.startswith("#"):
            # Only the first option line counts.
            option = _option(name, number, text) if option is None else option
        elif text.startswith("["):
            second = True
            option = _keyword(name, number, text, option)
        else:
            fields = text.split()
            if len(fields) != 3:
                raise _refused(
                    name, number, f"{len(fields)} numbers", "one port has a frequency and a pair"
                )
            rows.append(_row(name, number, fields, comma=False))
            if len(rows) > MOST_ROWS:
                raise _refused(name, number, "one more row", f"at most {MOST_ROWS} are read")
    if not rows:
        raise BadInputError(f"{name}: found no row of numbers; a frequency and a pair are wanted")
    option = option or _Option()
    rows = _rising(name, rows, option.scale, may_fall=False)
    z = np.array([_impedance(name, row, option, second=second) for row in rows])
    return Curve(
        name,
        np.array([row.numbers[0] * option.scale for row in rows]),
        np.abs(z),
        np.angle(z),
        "impedance",
        f"a Touchstone file of one port, {option.parameter} parameters",
    )


def _uncommented(lines: Sequence[str]) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(lines, start=1):
        text = line.split("!", 1)[0].strip()
        if text:
            yield number, text


def _option(name: str, line: int, text: str) -> _Option:
    """`# [Hz|kHz|MHz|GHz] [S|Z] [MA|DB|RI] [R ohm]`, in any order and any case."""
    scale, parameter, form, reference = 1e9, "S", "MA", 50.0
    words = iter(text[1:].split())
    for word in words:
        upper = word.upper()
        if upper in ("HZ", "KHZ", "MHZ", "GHZ"):
            scale = SCALES[word[:-2].lower()]
        elif upper in ("S", "Z"):
            parameter = upper
        elif upper in ("MA", "DB", "RI"):
            form = upper
        elif upper == "R":
            value = next(words, "")
            reference = float(value) if NUMBER.fullmatch(value) else inf
            if not 0.0 < reference < inf:
                raise _refused(name, line, _shown(value), "R stands before an ohm value above zero")
        else:
            allowed = "Hz to GHz, S or Z, MA, DB or RI, and R with its ohms are read"
            raise _refused(name, line, _shown(word), allowed)
    return _Option(scale, parameter, form, reference)


def _keyword(name: str, line: int, text: str, option: _Option | None) -> _Option | None:
    """A keyword of version 2; those that change nothing for one port are passed over."""
    word, _, value = text[1:].partition("]")
    word, value = " ".join(word.lower().split()), value.strip()
    if word == "number of ports" and value != "1":
        raise _refused(name, line, f"{_shown(value)} ports", "one port is read")
    if word == "reference":
        ohm = float(value) if NUMBER.fullmatch(value) else inf
        if not 0.0 < ohm < inf:
            raise _refused(name, line, _shown(value), "one reference above zero is wanted here")
        given = option or _Option()
        return _Option(given.scale, given.parameter, given.form, ohm)
    passed = ("version", "number of ports", "number of frequencies", "network data", "end")
    if word not in passed:
        raise _refused(name, line, _shown(text), f"of version 2, {', '.join(passed)} are read")
    return option


def _impedance(name: str, row: _Row, option: _Option, *, second: bool) -> complex:
    """Impedance of one row [ohm]: R (1 + S)/(1 - S), or Z, which version 1 divides by R."""
    _, first, last = row.numbers
    if option.form == "RI":
        value = complex(first, last)
    else:
        if option.form == "DB" and not first < 20.0 * log10(1e12):
            raise _refused(name, row.line, f"{first:g} dB", "a ratio of two waves is meant")
        size = 10.0 ** (first / 20.0) if option.form == "DB" else first
        value = complex(size * cos(radians(last)), size * sin(radians(last)))
    if option.parameter == "Z":
        z = value if second else value * option.reference
    elif value == 1.0:
        raise _refused(name, row.line, "S = 1, an open end", "a finite impedance is wanted")
    else:
        z = option.reference * (1.0 + value) / (1.0 - value)
    size = hypot(z.real, z.imag)
    if not 0.0 < size < inf:
        raise _refused(name, row.line, f"{size:g} ohm", "an impedance is finite and above zero")
    return z
