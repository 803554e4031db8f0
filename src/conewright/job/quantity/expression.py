"""The load of a channel as a repairer writes it, read into a wiring tree and written back.

`|` parallel, `+` series (binds tighter), parentheses, `-name` a driver connected the other way
round, a part by its value (`4.7 uF`, `0.33 mH`, `2 ohm`), with its rating after it where somebody
read it (`4.7 uF 63 V`, `0.33 mH 3 A`, `2 ohm 10 W`), `wire(1.2 m, 0.5 mm2)`.

    parallel := series { "|" series }
    series   := item { "+" item }
    item     := "(" parallel ")" | name | "-" name | value | "wire" "(" length "," size ")"
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Literal, NoReturn, TypeAlias

from conewright.errors import LoadError, QuantityError
from conewright.job.quantity.numerals import short
from conewright.job.quantity.values import Quantity, format_quantity, parse_quantity
from conewright.physics.electrics.wiring import Leaf, Parallel, Series, Tree, leaves

__all__ = ["Load", "Part", "ValuePart", "WirePart", "format_load", "parse_load"]

LONGEST = 500
DEEPEST = 30
SHOWN = 60

ValueKind = Literal["capacitor", "inductor", "resistor"]
_DIMENSIONS: dict[ValueKind, str] = {
    "capacitor": "capacitance",
    "inductor": "inductance",
    "resistor": "resistance",
}
_RATINGS: dict[ValueKind, tuple[str, str]] = {
    "capacitor": ("voltage", "V"),
    "inductor": ("current", "A"),
    "resistor": ("power", "W"),
}
# A rating stands after the value: a number and its unit.
_RATED = re.compile(
    r"(?P<value>.*?[^\W\d_].*?)[ \t]+(?P<rating>[0-9]+(?:[.,][0-9]+)?[ \t]*(?P<unit>[VAW]))",
    re.DOTALL,
)
# Last letters of unit texts and component markings (uF, mfd, 4n7; mH; ohms, Ω, 4k7, 4R7, 1M5).
_ENDINGS: dict[str, ValueKind] = {
    **dict.fromkeys("fdpnu\u03bc", "capacitor"),
    "h": "inductor",
    **dict.fromkeys("msωkr", "resistor"),
}
_WORD = re.compile(r"[^\W\d_]+")

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?:-[A-Za-z0-9_]+)*")
_WIRE = re.compile(r"wire\s*\(")
# A value goes on to the next operator; the + of "+/-" and of a power of ten is none.
_VALUE = re.compile(r"[0-9.,½¼¾⅛⅜⅝⅞](?:\+/[-\u2212]|(?<=[0-9][eE])\+(?=[0-9])|[^|+()])*")
# Between two digits a comma is a decimal comma.
_COMMA = re.compile(r"(?<![0-9]),|,(?![0-9])")

ALLOWED = (
    "a load is written with | for parallel, + for series, parentheses, location ids (-id when "
    "reversed), parts by value like 4.7 uF, 0.33 mH or 2 ohm, and wire(1.2 m, 0.5 mm2)"
)


@dataclass(frozen=True, slots=True)
class ValuePart:
    """A capacitor, inductor or resistor, by its value [F, H or ohm], and the rating printed on it
    [V, A or W], None where nobody read it.
    """

    kind: ValueKind
    value: Quantity
    rating: Quantity | None = None


@dataclass(frozen=True, slots=True)
class WirePart:
    """A two-conductor run: its one-way length [m] and the size of each conductor [m2]."""

    length: Quantity
    size: Quantity
    kind: Literal["wire"] = "wire"


Part: TypeAlias = ValuePart | WirePart


@dataclass(frozen=True, slots=True)
class Load:
    """What a channel drives.

    tree: its leaves are location ids and the keys of `parts`, "part:1" onwards in the order they
    are written (a colon is no letter of an id); reversed: ids of drivers connected the other way
    round.
    """

    tree: Tree
    reversed: frozenset[str] = frozenset()
    parts: Mapping[str, Part] = field(default_factory=dict, hash=False)

    @property
    def locations(self) -> tuple[str, ...]:
        """Location ids in the order they are written."""
        return tuple(name for name in leaves(self.tree) if name not in self.parts)

    def __str__(self) -> str:
        return format_load(self)


def parse_load(text: str) -> Load:
    """Read a load expression.

    Raises: LoadError that points at the character and says what is allowed; nothing else.
    """
    if not isinstance(text, str):
        raise LoadError(f"a text is wanted; {ALLOWED}")
    if len(text) > LONGEST:
        raise LoadError(f"the load is longer than {LONGEST} characters; {ALLOWED}")
    return _load_of(text)


@lru_cache(maxsize=4096)
def _load_of(text: str) -> Load:
    """Return the load that a text says; every build of a job asks for the same few again."""
    return _Reader(text).load()


class _Reader:
    """Recursive descent over one text."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._move(0)
        self._depth = 0
        self._names: set[str] = set()
        self._reversed: set[str] = set()
        self._parts: dict[str, Part] = {}

    def load(self) -> Load:
        tree = self._parallel()
        if self._at < len(self._text):
            self._fail("expected |, + or the end")
        return Load(tree, frozenset(self._reversed), self._parts)

    def _parallel(self) -> Tree:
        parts = [self._series()]
        while self._take("|"):
            parts.append(self._series())
        return Parallel(tuple(parts)) if len(parts) > 1 else parts[0]

    def _series(self) -> Tree:
        parts = [self._item()]
        while self._take("+"):
            parts.append(self._item())
        return Series(tuple(parts)) if len(parts) > 1 else parts[0]

    def _item(self) -> Tree:
        if self._text.startswith("(", self._at):
            return self._group()
        if self._take("-") or self._take("\u2212"):
            return self._turned()
        if _WIRE.match(self._text, self._at):
            return self._wire()
        name = _NAME.match(self._text, self._at)
        if name is not None:
            return self._leaf(name)
        value = _VALUE.match(self._text, self._at)
        if value is None:
            self._fail("expected a location id, a part by value, wire(...) or (")
        return self._value(value[0])

    def _group(self) -> Tree:
        opened = self._at
        if self._depth == DEEPEST:
            self._fail(f"parentheses go deeper than {DEEPEST}")
        self._move(opened + 1)
        self._depth += 1
        tree = self._parallel()
        self._depth -= 1
        if self._at == len(self._text):
            self._fail("this ( is never closed", at=opened)
        if not self._take(")"):
            self._fail("expected |, + or )")
        return tree

    def _turned(self) -> Leaf:
        name = _NAME.match(self._text, self._at)
        if name is None or _WIRE.match(self._text, self._at):
            self._fail("after - comes the id of the driver that is reversed")
        self._reversed.add(name[0])
        return self._leaf(name)

    def _leaf(self, found: re.Match[str]) -> Leaf:
        name = found[0]
        if name in self._names:
            self._fail(f"{name} stands here a second time; a driver is wired in once")
        self._names.add(name)
        self._move(found.end())
        return Leaf(name)

    def _value(self, text: str) -> Leaf:
        try:
            part = _value_part(text.strip())
        except QuantityError as error:
            self._fail(str(error))
        self._move(self._at + len(text))
        return self._add(part)

    def _wire(self) -> Leaf:
        start = self._text.index("(", self._at) + 1
        end = self._text.find(")", start)
        if end < 0:
            self._fail("this ( is never closed", at=start - 1)
        commas = [found.start() for found in _COMMA.finditer(self._text, start, end)]
        if len(commas) != 1:
            self._fail("a wire has a length and a size, as in wire(1.2 m, 0.5 mm2)")
        comma = commas[0]
        part = WirePart(
            length=self._inside(start, comma, "length"),
            size=self._inside(comma + 1, end, "conductor"),
        )
        self._move(end + 1)
        return self._add(part)

    def _inside(self, start: int, end: int, dimension: str) -> Quantity:
        text = self._text[start:end]
        try:
            return parse_quantity(text.strip(), dimension=dimension, positive=True)
        except QuantityError as error:
            self._fail(str(error), at=start + len(text) - len(text.lstrip()))

    def _add(self, part: Part) -> Leaf:
        key = f"part:{len(self._parts) + 1}"
        self._parts[key] = part
        return Leaf(key)

    def _take(self, sign: str) -> bool:
        if not self._text.startswith(sign, self._at):
            return False
        self._move(self._at + len(sign))
        return True

    def _move(self, at: int) -> None:
        """Go on there, past the blanks that follow."""
        while at < len(self._text) and self._text[at].isspace():
            at += 1
        self._at = at

    def _fail(self, what: str, *, at: int | None = None) -> NoReturn:
        raise LoadError(_pointed(self._text, self._at if at is None else at, what))


def _pointed(text: str, at: int, what: str) -> str:
    """A message with a caret under the character, in a window that fits a terminal."""
    start = max(0, min(at - SHOWN // 2, len(text) - SHOWN))
    # One sign per column, or the caret would stand beside the place.
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    window = plain[start : start + SHOWN]
    return f"{what}\n  {window}\n  {' ' * (at - start)}^ character {at + 1}\n{ALLOWED}"


def _value_part(text: str) -> ValuePart:
    """The part the text is a value of, by its first unit; raises QuantityError."""
    for word in _WORD.findall(text):
        kind = _ENDINGS.get(word[-1].casefold())
        if kind is not None:
            rated = _RATED.fullmatch(text)
            value = parse_quantity(
                rated["value"] if rated else text, dimension=_DIMENSIONS[kind], positive=True
            )
            return ValuePart(kind, value, None if rated is None else _rating(kind, rated))
    raise QuantityError(f'"{short(text)}" is no value of a capacitor, inductor or resistor')


def _rating(kind: ValueKind, rated: re.Match[str]) -> Quantity:
    dimension, unit = _RATINGS[kind]
    if rated["unit"] != unit:
        raise QuantityError(f'a {kind} is rated in {unit}, not "{rated["rating"]}"')
    return parse_quantity(rated["rating"], dimension=dimension, positive=True)


def format_load(load: Load) -> str:
    """Write a load so that reading it back gives the same.

    Args: load: with its parts numbered in reading order, as `parse_load` gives them.
    """
    return _written(load.tree, load)


def _written(tree: Tree, load: Load) -> str:
    if isinstance(tree, Leaf):
        return _written_leaf(tree.name, load)
    sign = " | " if isinstance(tree, Parallel) else " + "
    texts = [(_written(part, load), isinstance(part, Leaf)) for part in tree.parts]
    return sign.join(text if leaf else f"({text})" for text, leaf in texts)


def _written_leaf(name: str, load: Load) -> str:
    part = load.parts.get(name)
    if part is None:
        return f"-{name}" if name in load.reversed else name
    if isinstance(part, WirePart):
        return f"wire({format_quantity(part.length)}, {format_quantity(part.size)})"
    rating = "" if part.rating is None else f" {format_quantity(part.rating)}"
    return f"{format_quantity(part.value)}{rating}"
