"""The tool that cuts, the side its kerf falls on, and what it cannot cut."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import inf
from typing import Literal

from conewright.data_files import data_rows
from conewright.errors import ConewrightError, OutOfRangeError
from conewright.job.document.bench import Tool, ToolKind
from conewright.job.document.document import Bench
from conewright.papers.drawing.geometry import Entity
from conewright.papers.drawing.outlines import Cornered, Outline, Oval, Round, drawn, grown

__all__ = ["CannotCutError", "Cut", "Cutter", "Waste", "Work", "cut", "cutter_for"]

Work = Literal["panel", "board", "foam"]
Waste = Literal["inside", "outside"]

USUAL: dict[Work, ToolKind] = {"panel": "jigsaw", "board": "jigsaw", "foam": "knife"}
"""What cuts where the job names no tool; common practice, no source."""

SAW_PLAY = 1.5
"""How much wider than wanted a hole may come out, in diameter [mm]; common practice, no source."""


class CannotCutError(ConewrightError):
    """This tool cannot cut this outline; `nearest` says what can."""

    def __init__(self, sentence: str, nearest: str) -> None:
        self.sentence, self.nearest = sentence, nearest
        super().__init__(f"{sentence} {nearest}")


@dataclass(frozen=True, slots=True)
class Cutter:
    """A tool ready to cut.

    Attributes:
        kind: of tool.
        words: what it is called.
        how: `edge` runs along the line, `beside` runs beside it on the waste side, `middle` is led
            by its middle, `saw` cuts a circle of its own size.
        kerf: width of what it takes away [mm].
        least_radius: tightest bend it follows [mm].
        saws: diameters of hole saws at hand [mm].

    """

    kind: ToolKind
    words: str
    how: Literal["edge", "beside", "middle", "saw"]
    kerf: float
    least_radius: float
    saws: tuple[float, ...] = ()

    @property
    def lines(self) -> str:
        """Say what a line drawn for this tool is: the finished edge, or with the kerf in it."""
        if self.how == "middle" and self.kerf:
            return (
                f"lines are the way of the {self.kind}'s middle, kerf {self.kerf:g} mm is in them"
            )
        if self.how == "saw":
            return "circles are the size of the hole saws"
        return "lines are the finished edge, no kerf is in them"


@dataclass(frozen=True, slots=True)
class Cut:
    """What is drawn of an edge, the edge that comes out, and how to cut it."""

    entities: tuple[Entity, ...]
    edge: Outline
    note: str


def cutter_for(bench: Bench, work: Work) -> Cutter:
    """Return the tool that a workshop has for one kind of work, or the usual one."""
    tool: Tool | None = getattr(bench, work)
    kind = USUAL[work] if tool is None else tool.kind
    row = _tools()[kind]
    given = None if tool is None or tool.kerf is None else 1e3 * tool.kerf.value
    saws = tool.saws if tool is not None else None
    kerf = float(row["kerf_mm"]) if given is None else given
    middle = row["how"] == "middle"
    return Cutter(
        kind=kind,
        words=kind if middle and given is not None else row["words"],
        how=_how(row["how"]),
        kerf=kerf,
        least_radius=kerf / 2 if middle else float(row["least_radius_mm"]),
        saws=_usual_saws() if saws is None else tuple(sorted(1e3 * saw.value for saw in saws)),
    )


def cut(outline: Outline, *, with_: Cutter, waste: Waste) -> Cut:
    """Return what is drawn so that this edge comes out.

    Raises: CannotCutError where the tool cannot.
    """
    if with_.how == "saw":
        return _sawn(outline, with_, waste)
    _hold_bend(outline, with_)
    away = -1.0 if waste == "inside" else 1.0
    line = drawn(outline, "cut")
    if with_.how == "edge" or with_.kerf == 0.0:
        return Cut(line, outline, f"Cut along the line with a {with_.kind}.")
    if with_.how == "beside":
        far = drawn(_beside(outline, away * with_.kerf, with_), "mark")
        note = (
            f"{with_.kind.capitalize()}, kerf {with_.kerf:g} mm: keep the blade on the waste side, "
            f"{waste} the black line; the grey line beside it is as far as the kerf goes."
        )
        return Cut((*line, *far), outline, note)
    path = drawn(_beside(outline, away * with_.kerf / 2, with_), "cut")
    note = (
        f"{with_.kind.capitalize()}, kerf {with_.kerf:g} mm: the black line is the way of the "
        f"tool's middle, half a kerf {waste} the finished edge, which is grey. The kerf is in it: "
        "do not correct for it again."
    )
    if with_.kind == "router" and waste == "inside" and isinstance(outline, Cornered):
        note += f" Inner corners keep a radius of {with_.least_radius:g} mm: file them square."
    return Cut((*path, *drawn(outline, "mark")), outline, note)


# --- Underneath ---------------------------------------------------------------------------------


@cache
def _tools() -> dict[str, dict[str, str]]:
    return {row["tool"]: row for row in data_rows("papers", "tools.csv")}


@cache
def _usual_saws() -> tuple[float, ...]:
    return tuple(float(row["diameter_mm"]) for row in data_rows("papers", "saws.csv"))


def _how(text: str) -> Literal["edge", "beside", "middle", "saw"]:
    ways: tuple[Literal["edge", "beside", "middle", "saw"], ...]
    ways = ("edge", "beside", "middle", "saw")
    return next(way for way in ways if way == text)


def _beside(outline: Outline, by: float, cutter: Cutter) -> Outline:
    """Return the outline beside an edge; raises CannotCutError where the tool has no room."""
    try:
        return grown(outline, by=by)
    except OutOfRangeError as error:
        raise CannotCutError(
            f"A {cutter.kind} with a kerf of {cutter.kerf:g} mm has no room in its narrowest part.",
            "Take a tool with a finer kerf.",
        ) from error


def _hold_bend(outline: Outline, cutter: Cutter) -> None:
    """Raise CannotCutError for a bend tighter than the tool can follow; corners are cut in two."""
    bend = _tightest(outline)
    if bend < cutter.least_radius:
        raise CannotCutError(
            f"A {cutter.kind} does not follow a bend of {bend:.3g} mm radius; the least is "
            f"{cutter.least_radius:g} mm.",
            "Take a hole saw or a knife.",
        )


def _tightest(outline: Outline) -> float:
    """Return the radius of the tightest bend of an outline [mm]; of an oval that at its tips."""
    if isinstance(outline, Round):
        return outline.radius
    if isinstance(outline, Oval):
        return min(outline.half_axes) ** 2 / max(outline.half_axes)
    return inf


def _sawn(outline: Outline, cutter: Cutter, waste: Waste) -> Cut:
    """Return the circle of the saw that does it: the hole it leaves, or the disc that falls out."""
    if not isinstance(outline, Round):
        raise CannotCutError(
            "A hole saw cuts circles only, and this is none.", "Take a jigsaw and keep to the line."
        )
    wanted, walls = 2 * outline.radius, 0.0 if waste == "inside" else 2 * cutter.kerf
    fitting = [s for s in cutter.saws if 0.0 <= s - walls - wanted <= SAW_PLAY]
    if not fitting:
        raise CannotCutError(
            f"None of the hole saws at hand cuts {wanted:.1f} mm (to {SAW_PLAY:g} mm more).",
            _nearest_saw(wanted + walls, cutter),
        )
    saw = fitting[0]
    edge = Round((saw - walls) / 2)
    note = f"Hole saw of {saw:g} mm: set its pilot drill on the middle of the cross."
    return Cut(drawn(edge, "cut"), edge, note)


def _nearest_saw(diameter: float, cutter: Cutter) -> str:
    larger = [saw for saw in cutter.saws if saw > diameter]
    if not larger:
        return "No saw at hand is larger: take a jigsaw and keep to the line."
    return f"The next saw is {larger[0]:g} mm; a jigsaw cuts the size that is wanted."
