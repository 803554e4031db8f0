"""The wiring diagram: one drawing a channel, from the radio's plug to the drivers, true to the job.

SVG with a user unit of one millimetre. Black and white: the plus wire is a thick line, the minus
wire is dashed, terminals carry their sign, and a driver that is turned round says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from textwrap import wrap
from typing import TYPE_CHECKING

from conewright.papers.wiring.ladder import HEIGHT, Rung, Wire, ladder, measure
from conewright.papers.wiring.schedule import Conductor, Schedule, schedule
from conewright.papers.wiring.symbols import symbol
from conewright.phrases import listed
from conewright.stages.common.nets import MINUS, PLUS, Part, fed_by, parts_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState

__all__ = ["Diagram", "diagrams"]

LETTER = 3.53
"""Height of the writing: 10 pt [mm]."""

ADVANCE = 2.15
"""Mean width of a letter of it [mm]."""

LINE = 4.4
LONGEST_NAME, PLUG_LETTERS = 18, 11
PLUG, RUN, EDGE = 26.0, 46.0, 2.0
ABOVE, BELOW = 9.0, 8.0
CAP = (7.0, 3.2)
CAPPED = "insulated, tied down"
STROKES = {
    PLUS: 'stroke-width="0.7"',
    MINUS: 'stroke-width="0.5" stroke-dasharray="2.6 1.2"',
}
INNER = 'stroke-width="0.4"'


@dataclass(frozen=True, slots=True)
class Diagram:
    """The drawing of one channel [mm]."""

    channel: str
    title: str
    svg: str
    width_mm: float
    height_mm: float


def diagrams(build: Build, plan: Schedule | None = None) -> tuple[Diagram, ...]:
    """Return a drawing of each channel.

    Args:
        build: the state of the vehicle that the papers are for.
        plan: its wiring schedule; made here when None.

    """
    plan = plan or schedule(build)
    return (
        *(_channel(channel, build, plan) for channel in build.channels),
        *(_unused(channel.id, build, plan) for channel in build.unused),
    )


def _channel(channel: ChannelState, build: Build, plan: Schedule) -> Diagram:
    parts = {part.key: part for part in parts_of(channel)}
    labels = {key: _label(part, build) for key, part in parts.items()}
    widths = {key: _width(label) for key, label in labels.items()}
    wires = {row.sign: _wire_words(row) for row in plan.conductors if row.group == channel.id}
    run = max(RUN, *(ADVANCE * len(words) + 4.0 for words in wires.values()))
    size = measure(channel.tree, widths)
    left, top = PLUG + run, ABOVE
    bottom = top + max(size.height, HEIGHT)
    fresh = {each.name for each in plan.splices if each.channel == channel.id and each.new}
    body = [*_plug(channel.id, top, bottom, of="amplifier" if channel.driven_by else "radio")]
    for sign, y in ((PLUS, top), (MINUS, bottom)):
        body.append(_line(((PLUG, y), (left + size.axis, y)), sign))
        body.append(_text(PLUG + 2.5, y - 1.4 if sign == PLUS else y + LETTER + 0.8, wires[sign]))
    for item in ladder(
        channel.tree, parts, widths, left=left, top=top, bottom=bottom, between=(PLUS, MINUS)
    ):
        if isinstance(item, Wire):
            body += _joint(item, fresh)
        else:
            body += _rung(item, labels[item.part.key])
    width, height = left + size.width + EDGE, bottom + BELOW
    return Diagram(channel.id, _title(channel, plan), _svg(width, height, body), width, height)


def _unused(name: str, build: Build, plan: Schedule) -> Diagram:
    """An output that drives no loudspeaker: two wires, to an amplifier or with capped ends."""
    fed = listed([each.name for each in fed_by(build, name)])
    told = f"to the input of {fed}" if fed else CAPPED
    wires = {row.sign: _wire_words(row) for row in plan.conductors if row.group == name}
    run = max(RUN, *(ADVANCE * len(words) + 4.0 for words in wires.values()))
    end, top, bottom = PLUG + run, ABOVE, ABOVE + HEIGHT
    body = [*_plug(name, top, bottom)]
    for sign, y in ((PLUS, top), (MINUS, bottom)):
        body.append(_line(((PLUG, y), (end, y)), sign))
        body.append(_text(PLUG + 2.5, y - 1.4 if sign == PLUS else y + LETTER + 0.8, wires[sign]))
        if not fed:
            body.append(_cap(end, y))
    width, height = end + CAP[0] + ADVANCE * len(told) + EDGE, bottom + BELOW
    body.append(_text(end + CAP[0] + 2.0, 0.5 * (top + bottom) + 1.2, told))
    title = f"{name}: feeds {fed}" if fed else f"{name}: unused, each end insulated by itself"
    return Diagram(name, title, _svg(width, height, body), width, height)


def _title(channel: ChannelState, plan: Schedule) -> str:
    """The finding: what hangs on the channel, and what an ohm-meter should read."""
    proof = next(row.proof for row in plan.conductors if row.group == channel.id)
    plug = f"the plug of {channel.driven_by}" if channel.driven_by else "the plug"
    return f"{channel.id}: {channel.load}, {proof.expected} at {plug}"


def _label(part: Part, build: Build) -> tuple[str, ...]:
    """Lines beside a part, the first one bold."""
    if part.kind != "driver":
        return (part.label,)
    name = build.location(part.key).name
    lines = wrap(name, LONGEST_NAME, max_lines=2, placeholder=" …")
    return (part.label, *lines, *(("turned round",) if part.turned else ()))


def _width(label: tuple[str, ...]) -> float:
    return 14.0 + ADVANCE * max(len(line) for line in label) + 4.0


def _wire_words(row: Conductor) -> str:
    words = [f"pin {row.pin}" if row.pin else "", row.colour, row.size, row.length, row.joint]
    return ", ".join(word for word in words if word)


# --- Marks ----------------------------------------------------------------------------------------


def _plug(name: str, top: float, bottom: float, *, of: str = "radio") -> Iterator[str]:
    """The plug of the radio, or of an amplifier, with its two terminals."""
    y, height = top - 6.0, bottom - top + 12.0
    yield (
        f'<rect x="0.25" y="{y:.2f}" width="{PLUG - 3:.2f}" height="{height:.2f}" fill="none" '
        'stroke="black" stroke-width="0.5"/>'
    )
    yield _text(2.0, 0.5 * (top + bottom) - 1.0, of, bold=True)
    for row, part in enumerate(wrap(name, PLUG_LETTERS), start=1):
        yield _text(2.0, 0.5 * (top + bottom) - 1.0 + row * LINE, part)
    for sign, at in ((PLUS, top), (MINUS, bottom)):
        yield f'<circle cx="{PLUG - 1.5}" cy="{at:.2f}" r="1.3" fill="white" stroke="black" '
        yield 'stroke-width="0.4"/>'
        yield _text(PLUG - 7.0, at + 1.3, sign, bold=True)


def _cap(x: float, y: float) -> str:
    """A sleeve over the end of a wire."""
    width, height = CAP
    return (
        f'<rect x="{x - 2.0:.2f}" y="{y - 0.5 * height:.2f}" width="{width}" height="{height}" '
        'rx="1" fill="white" stroke="black" stroke-width="0.4"/>'
    )


def _joint(wire: Wire, fresh: set[str]) -> Iterator[str]:
    """A rail with its dots; a joint inside the load carries its name, ■ where it is new."""
    yield _line(wire.ends, wire.joint)
    for x, y in wire.dots:
        if wire.joint in fresh:
            yield f'<rect x="{x - 1:.2f}" y="{y - 1:.2f}" width="2" height="2"/>'
        else:
            yield f'<circle cx="{x:.2f}" cy="{y:.2f}" r="0.9"/>'
    if wire.ends[0] == wire.ends[1]:
        x, y = wire.ends[0]
        yield _text(x + 1.6, y - 1.1, wire.joint)


def _rung(rung: Rung, label: tuple[str, ...]) -> Iterator[str]:
    """A part on its line, with its symbol, the signs of its terminals and its label."""
    middle = 0.5 * (rung.top + rung.bottom)
    reach, marks = symbol(rung.part.kind, rung.x, middle)
    yield _line(((rung.x, rung.top), (rung.x, middle - reach)), "")
    yield _line(((rung.x, middle + reach), (rung.x, rung.bottom)), "")
    yield from marks
    if rung.part.kind == "driver":
        upper, lower = (MINUS, PLUS) if rung.part.turned else (PLUS, MINUS)
        yield _text(rung.x - 4.6, middle - 3.4, upper, bold=True)
        yield _text(rung.x - 4.6, middle + 6.0, lower, bold=True)
    start = middle + 1.2 - 0.5 * LINE * (len(label) - 1)
    for index, line in enumerate(label):
        yield _text(rung.x + 8.5, start + LINE * index, line, bold=index == 0)


def _line(ends: tuple[tuple[float, float], tuple[float, float]], joint: str) -> str:
    (x0, y0), (x1, y1) = ends
    style = STROKES.get(joint, INNER)
    return f'<path d="M{x0:.2f} {y0:.2f}L{x1:.2f} {y1:.2f}" fill="none" stroke="black" {style}/>'


def _text(x: float, y: float, words: str, *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.2f}" y="{y:.2f}"{weight}>{escape(words, quote=False)}</text>'


def _svg(width: float, height: float, body: Iterable[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="0 0 {width:.2f} {height:.2f}"><g font-family="DejaVu Sans" '
        f'font-size="{LETTER}">{"".join(body)}</g></svg>\n'
    )
