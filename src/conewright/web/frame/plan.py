"""The vehicle from above, to scale from the coordinates of its job: a picture and a menu.

Only geometry is made here, in units of the drawing; the template writes it as SVG. Front is up, so
x forward runs upwards and y left runs to the left. Cables run along the sills, one rail for each
channel, as looms do: where they really run nobody has said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from conewright.job.builds.job import Job
from conewright.job.document.document import Channel, Location
from conewright.job.document.parts import UNUSED
from conewright.job.quantity.expression import Load
from conewright.physics.electrics.wiring import Leaf, Parallel, Series, Tree, leaves

__all__ = ["Branch", "Line", "Mark", "Plan", "SeatMark", "State", "draw_plan"]

WIDTH = 360.0
LABEL = 88.0
"""Width of the drawing, and of each column of labels beside the vehicle."""

ROW = 46.0
"""Height of a label: a thumb finds it."""

WIDEST, LONGEST = 168.0, 480.0
TOP = 16.0
LETTERS = 14
RADIO_BACK = 0.16
"""The radio is drawn this far behind the front of the cabin [m]: nobody measures where it is."""

RAIL_IN, RAIL_STEP = 0.34, 0.11
WALL, NOSE = 0.14, 0.30
"""What is left free around the outermost loudspeaker, at the sides and lengthwise [m]."""

# Length and width of the cabin [m]: workshop experience, from memory.
CABINS = {
    "compact": (2.7, 1.46),
    "saloon": (2.9, 1.52),
    "estate": (3.4, 1.52),
    "convertible": (2.5, 1.50),
    "pickup-cab": (1.9, 1.56),
    "van": (4.0, 1.80),
    "minibus": (4.8, 1.84),
    "camper": (4.4, 1.84),
    "motorhome": (6.2, 2.24),
    "work-cab": (1.7, 1.56),
    "other": (3.0, 1.60),
}

BACKS = {
    "box": "in a closed box",
    "open": "on an open board",
    "free": "open behind",
    "boot-shelf": "over the boot",
}
"""What lies behind a place that is none of the usual, in a few words."""

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class State:
    """How a place does: a shape, a word, and what belongs to it in a few more words."""

    mark: str
    word: str
    kind: str


UNJUDGED = State("·", "not judged", "none")


@dataclass(frozen=True, slots=True)
class Mark:
    """A place with its loudspeaker, and its label beside the vehicle."""

    id: str
    name: str
    x: float
    y: float
    label_x: float
    label_y: float
    left: bool
    short: str
    back: str
    state: State
    reversed: bool
    changed: bool
    selected: bool
    href: str
    leader: str

    @property
    def faces_left(self) -> bool:
        """Whether the cone points to the left in the drawing: into the cabin, if not reversed."""
        return self.left == self.reversed

    @property
    def spoken(self) -> str:
        """The place in one line, for those who do not see the drawing."""
        extra = [self.back] if self.back else []
        extra += [word for word, holds in self._words() if holds]
        return ", ".join([self.name, self.state.word, *extra])

    def _words(self) -> tuple[tuple[str, bool], ...]:
        return (
            ("connected the other way round", self.reversed),
            ("changed by this proposal", self.changed),
            ("selected", self.selected),
        )


@dataclass(frozen=True, slots=True)
class Branch:
    """A piece of a channel: from the rail to a loudspeaker, or from one to the next in series."""

    path: str
    series: bool
    turned: Point | None
    part: Point | None


@dataclass(frozen=True, slots=True)
class Line:
    """A channel: its rail, its branches, and what hangs on it in words.

    loose, end: where its end is drawn when nobody knows what hangs on it, or nothing does, and
    what stands there.
    """

    id: str
    rail: str
    joints: tuple[Point, ...]
    branches: tuple[Branch, ...]
    loose: Point | None
    end: str
    style: int
    words: str
    href: str
    selected: bool
    changed: bool


@dataclass(frozen=True, slots=True)
class SeatMark:
    """A place to listen from."""

    id: str
    x: float
    y: float
    href: str


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole drawing."""

    width: float
    height: float
    outline: str
    windows: tuple[str, ...]
    radio: Point
    radio_href: str
    marks: tuple[Mark, ...]
    lines: tuple[Line, ...]
    seats: tuple[SeatMark, ...]
    metre: float
    """Length of the bar that stands for one metre."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """The cabin on the drawing: half its length and width [m], and units for each metre."""

    half_length: float
    half_width: float
    scale: float = field(init=False)

    def __post_init__(self) -> None:
        scale = min(WIDEST / (2 * self.half_width), LONGEST / (2 * self.half_length))
        object.__setattr__(self, "scale", scale)

    def point(self, x: float, y: float) -> Point:
        """Return where a place of the vehicle is drawn."""
        across = WIDTH / 2 - y * self.scale
        return round(across, 1), round(TOP + (self.half_length - x) * self.scale, 1)


def draw_plan(
    job: Job,
    *,
    states: Mapping[str, State],
    href: Callable[[str], str],
    changed: frozenset[str] = frozenset(),
    selected: str | None = None,
) -> Plan:
    """Return the vehicle of a job as a drawing.

    Args:
        job: as found, or with a proposal carried out.
        states: how each place does; one that is missing was not judged.
        href: the address of a place, channel, seat or the radio, by its id.
        changed: ids of what a proposal changes.
        selected: id of what is looked at.

    """
    frame = _frame(job)
    marks = _marks(job, frame, states, href, changed, selected)
    radio = frame.point(frame.half_length - RADIO_BACK, 0.0)
    lowest = max((mark.label_y for mark in marks), default=0.0) + ROW
    height = max(TOP + 2 * frame.half_length * frame.scale, lowest) + TOP
    return Plan(
        width=WIDTH,
        height=round(height, 1),
        outline=_outline(frame),
        windows=tuple(_windows(frame)),
        radio=radio,
        radio_href=href("head_unit"),
        marks=marks,
        lines=tuple(_lines(job, frame, radio, href, changed, selected)),
        seats=tuple(
            SeatMark(seat.id, *frame.point(seat.ear[0].value, seat.ear[1].value), href(seat.id))
            for seat in job.seats
        ),
        metre=round(frame.scale, 1),
    )


# --- The cabin ----------------------------------------------------------------------------------


def _frame(job: Job) -> _Frame:
    length, width = CABINS[job.vehicle.class_ or "other"]
    points = [(place.at[0].value, place.at[1].value) for place in job.locations]
    points += [(seat.ear[0].value, seat.ear[1].value) for seat in job.seats]
    return _Frame(
        max(length / 2, *(abs(x) + NOSE for x, _ in points)),
        max(width / 2, *(abs(y) + WALL for _, y in points)),
    )


def _outline(frame: _Frame) -> str:
    """Return a plain cabin: a rounded front, straight sides, a squarer back."""
    left, top = frame.point(frame.half_length, frame.half_width)
    right, bottom = frame.point(-frame.half_length, -frame.half_width)
    front, back = 0.30 * (right - left), 0.12 * (right - left)
    return (
        f"M{left} {top + front:.1f}Q{left + 4:.1f} {top + 3:.1f} {left + front:.1f} {top}"
        f"L{right - front:.1f} {top}Q{right - 4:.1f} {top + 3:.1f} {right} {top + front:.1f}"
        f"L{right} {bottom - back:.1f}Q{right} {bottom} {right - back:.1f} {bottom}"
        f"L{left + back:.1f} {bottom}Q{left} {bottom} {left} {bottom - back:.1f}Z"
    )


def _windows(frame: _Frame) -> Iterator[str]:
    """Yield the line under the windscreen and the one before the rear window."""
    left, top = frame.point(frame.half_length, frame.half_width)
    right, bottom = frame.point(-frame.half_length, -frame.half_width)
    for y, bend in ((top + 0.30 * frame.scale, -0.10), (bottom - 0.16 * frame.scale, 0.05)):
        middle = y + bend * frame.scale
        yield f"M{left + 6:.1f} {y:.1f}Q{WIDTH / 2} {middle:.1f} {right - 6:.1f} {y:.1f}"


# --- Loudspeakers -------------------------------------------------------------------------------


def _marks(
    job: Job,
    frame: _Frame,
    states: Mapping[str, State],
    href: Callable[[str], str],
    changed: frozenset[str],
    selected: str | None,
) -> tuple[Mark, ...]:
    loads = [load for channel in job.channels if (load := channel.wiring)]
    turned = frozenset().union(*(load.reversed for load in loads))
    places = [
        (place, *frame.point(place.at[0].value, place.at[1].value)) for place in job.locations
    ]
    rows = _rows(places)
    marks = []
    for place, x, y in places:
        left, label_y = rows[place.id]
        edge = LABEL if left else WIDTH - LABEL
        middle = label_y + ROW / 2
        marks.append(
            Mark(
                id=place.id,
                name=place.name or place.id,
                x=x,
                y=y,
                label_x=0.0 if left else WIDTH - LABEL,
                label_y=label_y,
                left=left,
                short=_short(place.id),
                back=BACKS.get(place.kind, ""),
                state=states.get(place.id, UNJUDGED),
                reversed=place.id in turned,
                changed=place.id in changed,
                selected=place.id == selected,
                href=href(place.id),
                leader=f"M{x} {y}L{edge} {middle:.1f}",
            )
        )
    return tuple(marks)


def _rows(places: Sequence[tuple[Location, float, float]]) -> dict[str, tuple[bool, float]]:
    """Return for each place whether its label is on the left, and where the label starts."""
    sides: dict[bool, list[tuple[str, float]]] = {True: [], False: []}
    for place, x, y in sorted(places, key=lambda each: (each[2], each[1])):
        central = abs(x - WIDTH / 2) < 1.0
        left = len(sides[True]) <= len(sides[False]) if central else x < WIDTH / 2
        sides[left].append((place.id, y))
    return {
        id: (left, start)
        for left, entries in sides.items()
        for (id, _), start in zip(entries, _stacked([y for _, y in entries]), strict=True)
    }


def _stacked(heights: Sequence[float]) -> list[float]:
    """Return where labels start, each near its own height and none over another."""
    starts: list[float] = []
    for height in heights:
        lowest = starts[-1] + ROW if starts else 0.0
        starts.append(round(max(height - ROW / 2, lowest), 1))
    return starts


def _short(id: str) -> str:
    return id if len(id) <= LETTERS else f"{id[: LETTERS - 1]}…"


# --- Channels -----------------------------------------------------------------------------------


def _lines(
    job: Job,
    frame: _Frame,
    radio: Point,
    href: Callable[[str], str],
    changed: frozenset[str],
    selected: str | None,
) -> Iterator[Line]:
    points = {p.id: frame.point(p.at[0].value, p.at[1].value) for p in job.locations}
    used = {True: 0, False: 0}
    for style, channel in enumerate(job.channels):
        load = channel.wiring
        names = load.locations if load else ()
        left = sum(points[name][0] - WIDTH / 2 for name in names) <= 0
        inset = (RAIL_IN + RAIL_STEP * used[left]) * frame.scale
        half = frame.half_width * frame.scale
        rail = round(WIDTH / 2 + (-1 if left else 1) * max(half - inset, 12.0), 1)
        used[left] += 1
        branches = tuple(_branches(load, points, rail)) if load else ()
        starts = [points[chain[0]][1] for chain, _ in _chains(load)] if load else []
        # Each rail leaves the radio a little lower than the one before.
        out = round(radio[1] + 5.0 * (used[left] - 1), 1)
        yield Line(
            id=channel.id,
            rail=_rail(radio[0], out, rail, starts),
            joints=tuple((rail, y) for y in starts[:-1]),
            branches=branches,
            loose=None if load else (rail, out),
            style=style % 4,
            words=_words(channel),
            end="" if load else "–" if channel.load == UNUSED else "?",
            href=href(channel.id),
            selected=channel.id == selected,
            changed=channel.id in changed,
        )


def _words(channel: Channel) -> str:
    """What hangs on a channel, and what drives it where that is not the radio."""
    drives = "nothing" if channel.load == UNUSED else channel.load
    return drives if channel.amplifier is None else f"{drives}, by {channel.amplifier}"


def _rail(x: float, out: float, rail: float, starts: Sequence[float]) -> str:
    ends = [out, *starts]
    return f"M{x} {out}L{rail} {out}M{rail} {min(ends)}L{rail} {max(ends)}"


def _branches(load: Load, points: Mapping[str, Point], rail: float) -> Iterator[Branch]:
    for chain, part in _chains(load):
        x, y = points[chain[0]]
        turned = (round((rail + x) / 2, 1), y) if chain[0] in load.reversed else None
        yield Branch(f"M{rail} {y}L{x} {y}", False, turned, (_near(rail, x), y) if part else None)
        for before, after in pairwise(chain):
            (x1, y1), (x2, y2) = points[before], points[after]
            middle = (round((x1 + x2) / 2, 1), round((y1 + y2) / 2, 1))
            turned = middle if after in load.reversed else None
            yield Branch(f"M{x1} {y1}L{x2} {y2}", True, turned, None)


def _near(rail: float, x: float) -> float:
    """Return a place on a branch for a part, near the rail."""
    return round(rail + (x - rail) * 0.4, 1)


def _chains(load: Load | None) -> Iterator[tuple[tuple[str, ...], bool]]:
    """Yield what hangs in parallel: its loudspeakers in order, and whether parts are in it."""
    if load is None:
        return
    for tree in _parallels(load.tree):
        names = leaves(tree)
        places = tuple(name for name in names if name not in load.parts)
        if places:
            yield places, len(places) < len(names)


def _parallels(tree: Tree) -> Iterator[Tree]:
    if isinstance(tree, Parallel):
        for part in tree.parts:
            yield from _parallels(part)
    elif isinstance(tree, Series) and any(isinstance(part, Parallel) for part in tree.parts):
        # Parts before a junction: drawn as if each of what follows had them.
        for part in tree.parts:
            if not isinstance(part, Leaf):
                yield from _parallels(part)
    else:
        yield tree
