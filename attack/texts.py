"""What is more than one quantity, made by chance: wirings, patterns, places, tables, documents."""

import csv
import io
import json
import random
import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from fnmatch import fnmatchcase
from functools import cache
from typing import Any

from attack.words import (
    SCALES,
    Said,
    inches,
    number,
    numeral,
    quantity,
    same,
    temperature,
    with_unit,
)
from conewright.job.document.paths import known_names, path_text, show
from conewright.job.quantity.expression import Load, format_load, parse_load
from conewright.job.quantity.spots import parse_hole, parse_kept, parse_spot
from conewright.job.text.parsing import job_text, loads
from conewright.job.text.readings import with_reading, without_reading
from conewright.job.text.starter import starter_text
from conewright.job.wildcards import matches
from conewright.physics.electrics.wiring import Leaf, Parallel, Tree
from conewright.stages.common.frequencies import parse_frequencies
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.rows import read_rows, split_text
from conewright.stages.find.odds.prior import said_by_owner
from conewright.stages.find.talk.answering import Answered, read_answer

__all__ = ["KINDS"]

Maker = Callable[[random.Random], Said]
Nested = str | tuple[Any, ...]
"""A tree of a wiring as it was drawn: a name, or a sign and what it joins."""


# --- Wirings --------------------------------------------------------------------------------------


def load(chance: random.Random) -> Said:
    """Return a load expression: any tree of places, some reversed, and parts by value."""
    places = [f"door-{n}" for n in range(12)]
    chance.shuffle(places)
    text, tree = _joined(chance, places, depth=0)
    return Said(text, _read_load, lambda found: _drawn(found.tree, found) == tree)


def _read_load(text: str) -> Load:
    found = parse_load(text)
    if parse_load(format_load(found)) != found:
        raise AssertionError(f"{text!r} is written as {format_load(found)!r}")
    return found


def _joined(chance: random.Random, places: list[str], *, depth: int) -> tuple[str, Nested]:
    """Return series in parallel, as written and as drawn."""
    rows = [_in_series(chance, places, depth=depth) for _ in range(chance.choice((1, 1, 2, 3)))]
    text = chance.choice((" | ", "|")).join(text for text, _ in rows)
    trees = tuple(tree for _, tree in rows)
    return text, trees[0] if len(trees) == 1 else ("|", *trees)


def _in_series(chance: random.Random, places: list[str], *, depth: int) -> tuple[str, Nested]:
    items = [_item(chance, places, depth=depth) for _ in range(chance.choice((1, 1, 2)))]
    trees = tuple(tree for _, tree in items)
    return " + ".join(text for text, _ in items), trees[0] if len(trees) == 1 else ("+", *trees)


def _item(chance: random.Random, places: list[str], *, depth: int) -> tuple[str, Nested]:
    way = chance.randrange(8)
    if way == 0 and depth < 3:
        text, tree = _joined(chance, places, depth=depth + 1)
        return f"({text})", tree
    if way <= 4 and places:
        place = places.pop()
        turned = chance.random() < 0.3
        return (f"-{place}", f"-{place}") if turned else (place, place)
    if way == 5:
        metres, size = chance.randrange(1, 9), chance.choice(("0.5", "0.75", "1.5"))
        return f"wire({metres} m, {size} mm2)", f"wire {metres / 1} {float(size) * 1e-6:.6g}"
    kind, unit = chance.choice((("capacitor", "uF"), ("inductor", "mH"), ("resistor", "ohm")))
    digits, value = number(chance)
    dimension = {"uF": "capacitance", "mH": "inductance", "ohm": "resistance"}[unit]
    si = float(value * Decimal(SCALES[dimension][unit]))
    return with_unit(digits, unit, chance), f"{kind} {si!r}"


def _drawn(tree: Tree, whole: Load) -> Nested:
    if not isinstance(tree, Leaf):
        sign = "|" if isinstance(tree, Parallel) else "+"
        return (sign, *(_drawn(part, whole) for part in tree.parts))
    part = whole.parts.get(tree.name)
    if part is None:
        return f"-{tree.name}" if tree.name in whole.reversed else tree.name
    if part.kind == "wire":
        return f"wire {part.length.value} {part.size.value:.6g}"
    return f"{part.kind} {part.value.value!r}"


# --- Names and places -----------------------------------------------------------------------------


def wildcard(chance: random.Random) -> Said:
    """Return a pattern of names; the standard library's matcher of file names knows it too."""
    name = "".join(chance.choices("ab-.x", k=chance.randrange(0, 30)))
    pattern = "".join(chance.choices("ab-.*?**", k=chance.choice((2, 5, 12, 60))))
    means = fnmatchcase(name, pattern)
    return Said(pattern, lambda text: matches(name, text), lambda found: found is means)


def path(chance: random.Random) -> Said:
    """Return a name that is shown, and looked for among others: never a sign nobody sees."""
    name = "".join(chance.choices("abcdoor-_. =é", k=chance.randrange(1, 90)))

    def read(text: str) -> str:
        told = (
            f"{path_text(('location', 0, text), {'location': [{'id': text}]})}"
            f"{show(text)}{known_names('door', (text, 'door-fl', 'rear'))}"
        )
        if re.search(r"[\x00-\x1f]", told):
            raise AssertionError(f"{told!r} holds a control sign")
        told.encode()
        return told

    return Said(name, read, lambda told: isinstance(told, str))


def spot(chance: random.Random) -> Said:
    """Return a place on a panel, an opening there, or what stays clear."""
    forward, up = (chance.randrange(-300, 300) for _ in range(2))
    place = f"{forward} mm, {up} mm"
    metres = (forward / 1000, up / 1000)
    wide = chance.randrange(1, 300)
    way = chance.randrange(3)
    if way == 0:
        return Said(place, parse_spot, lambda found: _at(found.metres, metres))
    if way == 1:
        return Said(
            f"{wide} mm at {place}",
            parse_hole,
            lambda found: _at(found.at.metres, metres) and same(found.along.value, wide / 1000),
        )
    return Said(
        f"drain {wide} mm at {place}",
        parse_kept,
        lambda found: _at(found.at.metres, metres) and same(found.width.value, wide / 1000),
    )


def _at(found: tuple[float, float], wanted: tuple[float, float]) -> bool:
    return all(same(one, other) for one, other in zip(found, wanted, strict=True))


def frequencies(chance: random.Random) -> Said:
    """Return a list of frequencies."""
    hertz = [chance.randrange(10, 25_001) for _ in range(chance.randrange(1, 9))]
    words = [f"{each / 1000:.3f}k" if chance.random() < 0.3 else str(each) for each in hertz]
    return Said(
        ",".join(words),
        parse_frequencies,
        lambda found: all(same(one, other) for one, other in zip(found, hertz, strict=True)),
    )


# --- What was heard and read ----------------------------------------------------------------------


def complaint(chance: random.Random) -> Said:
    """Return complaints, parted by line ends: each counts once."""
    known = [each.id for each in trade.complaints()]
    told = [
        chance.choice(known) + chance.choice(("", "", "@front", "@door-fl", "@rear-left"))
        for _ in range(chance.randrange(1, 17))
    ]
    wanted = sorted({tuple(each.partition("@")[::2]) for each in told})
    return Said(
        "\n".join(told),
        lambda text: said_by_owner(text.split("\n")),
        lambda found: [(each.complaint.id, each.where) for each in found] == wanted,
    )


def answer(chance: random.Random) -> Said:
    """Return what is answered to a reading: one of its words, a number, or a sweep's figures."""
    test = chance.choice(trade.tests())
    read: Callable[[str], Answered] = lambda text: read_answer(test.id, text)  # noqa: E731
    if test.number == "quantity" and chance.random() < 0.7:
        # Within what every instrument shows: beyond it a right text is refused.
        digits = f"{chance.uniform(0.0, 15.0):.{chance.randrange(4)}f}"
        unit = chance.choice(("", f" {test.unit}"))
        wanted = f"{digits} {test.unit}"
        return Said(f"{digits}{unit}", read, lambda found: found.value == wanted)
    if test.number == "sweep":
        figures = {"resonance": "62 Hz", "peak": "19 ohm", "coil": "3.4 ohm"}
        names = chance.sample(sorted(figures), k=chance.randrange(1, 4))
        chosen = {name: figures[name] for name in names}
        text = ", ".join(f"{name} {said}" for name, said in chosen.items())
        return Said(text, read, lambda found: found.value == chosen)
    word = chance.choice((*test.words, "not conclusive"))
    typed = chance.choice((word, word.upper(), word.replace("-", " "), f"  {word} "))
    return Said(typed, read, lambda found: found.value == word)


# --- Tables and documents -------------------------------------------------------------------------


def table(chance: random.Random) -> Said:
    """Return a table as a spreadsheet writes it, with whatever in its cells."""
    columns = ["name", "words", "share"]
    cells = [
        [f"n{row}", _cell(chance), str(chance.randrange(101)), "workshop"]
        for row in range(chance.randrange(1, 6))
    ]
    written = io.StringIO()
    csv.writer(written).writerows([[*columns, "source"], *cells])
    wanted = [[cell.strip() for cell in row] for row in cells]

    def read(text: str) -> list[list[str]]:
        rows = read_rows(text, file="own.csv", columns=columns)
        for row in rows:
            split_text(row.cells["words"])
            row.share("share")
        return [list(row.cells.values()) for row in rows]

    return Said(written.getvalue(), read, lambda found: found == wanted)


def _cell(chance: random.Random) -> str:
    return "".join(chance.choices("ab ,;\"'\n\r=€\t", k=chance.randrange(9)))


def document(chance: random.Random) -> Said:
    """Return a small document in JSON, its values as they were before it was written."""
    values = _value(chance, 0)
    wanted = {"a": values}
    text = json.dumps(wanted, ensure_ascii=chance.random() < 0.5, indent=chance.choice((None, 1)))
    return Said(text, lambda text: job_text(text, "json").tables, lambda found: found == wanted)


def tables(chance: random.Random) -> Said:
    """Return a small document in TOML."""
    wanted: dict[str, Any] = {f"k{n}": _value(chance, 2) for n in range(chance.randrange(1, 6))}
    text = "".join(f"{name} = {_toml(value)} # {name}\n" for name, value in wanted.items())
    entries = [{"id": _word(chance), "n": n} for n in range(chance.randrange(3))]
    for entry in entries:
        text += "[[entry]]\n" + "".join(f"{name} = {_toml(said)}\n" for name, said in entry.items())
    if entries:
        wanted["entry"] = entries
    return Said(text, lambda text: job_text(text).tables, lambda found: found == wanted)


def _value(chance: random.Random, depth: int) -> Any:
    way = chance.randrange(8 if depth < 3 else 4)
    if way == 0:
        return chance.randrange(-(2**63), 2**63)
    if way == 1:
        return chance.uniform(-1e6, 1e6)
    if way == 2:
        return chance.random() < 0.5
    if way <= 4:
        return _word(chance)
    if way == 5:
        return {_word(chance) + str(n): _value(chance, depth + 1) for n in range(3)}
    return [_value(chance, depth + 1) for _ in range(chance.randrange(4))]


def _word(chance: random.Random) -> str:
    return "".join(chance.choices("ab =.#[]{},'\"\\Ω½\U0001f697", k=chance.randrange(12)))


def _toml(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_toml(key)} = {_toml(said)}" for key, said in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    # TOML 1.0 takes the escapes of JSON, but for halves of a sign.
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


@cache
def _starter() -> str:
    return starter_text()


def job(chance: random.Random) -> Said:
    """Return a whole job with another text in one of its values; nobody knows what it means."""
    lines = _starter().split("\n")
    at = chance.choice([n for n, line in enumerate(lines) if "=" in line])
    other = chance.choice(_VALUES)(chance).text
    name = lines[at].partition("=")[0]
    lines[at] = f"{name}= {json.dumps(other, ensure_ascii=False)}"
    return Said("\n".join(lines), loads, None)


def reading(chance: random.Random) -> Said:
    """Return a job with a note that looks like readings: one more goes in, and comes out again."""
    note = "".join(
        chance.choices(("[[reading]]\n", "]", "[", "\n", "reading = [", "#", "a = 1"), k=9)
    )
    text = _starter().replace("[job]\n", f"[job]\nnotes = '''{note}'''\n", 1)
    lines = [line for line in text.split("\n") if not line.startswith('notes = "')]

    def read(text: str) -> bool:
        before = job_text(text).tables
        with_one = with_reading(text, "toml", test="look", at="door-fl", value="weaker")
        if job_text(with_one).tables["reading"][-1]["value"] != "weaker":
            raise AssertionError("the reading is not there")
        return bool(job_text(without_reading(with_one)).tables == before)

    return Said("\n".join(lines), read, lambda found: found is True)


_VALUES: tuple[Maker, ...] = (quantity, temperature, inches, load, wildcard, answer, spot)

KINDS: dict[Maker, int] = {
    quantity: 300,
    temperature: 60,
    inches: 40,
    numeral: 150,
    load: 110,
    wildcard: 110,
    path: 25,
    spot: 60,
    frequencies: 20,
    complaint: 20,
    answer: 80,
    table: 35,
    document: 35,
    tables: 25,
    job: 2,
    reading: 1,
}
"""Every maker, and how often of a thousand it is asked: what takes long comes seldom."""
