"""What is joined to what on a channel: its load as parts with two ends, and the joints between;
what drives it, and what the filters set there let through.

`+` and `-` are the two wires of the pair; joints inside the load are counted J1, J2, from the plus
wire on. An end is told by its part and its side: of a driver its own + and - terminals.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING

import numpy as np

from conewright.job.builds.fills import plain_text
from conewright.physics.electrics.filters import Side, filter_response
from conewright.physics.electrics.wiring import Leaf, Series, Tree

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.job.builds.draws import Draws
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import (
        AmplifierState,
        ChannelState,
        FilterState,
        HeadUnitState,
        PartState,
        SettingsState,
    )
    from conewright.physics.basics.arrays import ComplexArray, FloatArray

__all__ = [
    "MINUS",
    "PLUS",
    "End",
    "Joint",
    "Part",
    "fed_by",
    "filters_of",
    "joints",
    "parts_of",
    "source_of",
]

PLUS, MINUS = "+", "−"
"""The two wires of a pair, and the two terminals of a driver."""


@dataclass(frozen=True, slots=True)
class Part:
    """A driver or a part of the load, between two joints; `turned` drivers have + at the lower.

    `upper` is the joint on the side of the plus wire.
    """

    key: str
    kind: str
    label: str
    upper: str
    lower: str
    turned: bool = False


@dataclass(frozen=True, slots=True)
class End:
    """One end of a part at a joint; `terminal` is + or − of a driver, empty of other parts."""

    part: Part
    terminal: str

    @property
    def text(self) -> str:
        """How the end is called on paper: `door-fl +`, `4.7 µF`."""
        return f"{self.part.label} {self.terminal}".rstrip()


@dataclass(frozen=True, slots=True)
class Joint:
    """Ends that are joined; `name` is +, − or J1, J2 …"""

    name: str
    ends: tuple[End, ...]

    @property
    def text(self) -> str:
        """All ends as words."""
        return ", ".join(end.text for end in self.ends)


def source_of(build: Build, channel: ChannelState) -> HeadUnitState | AmplifierState:
    """Return what drives a channel: the radio, or an amplifier."""
    if channel.driven_by is None:
        return build.head_unit
    return next(each for each in build.amplifiers if each.id == channel.driven_by)


def fed_by(build: Build, channel: str) -> tuple[AmplifierState, ...]:
    """Return the amplifiers that a channel of the radio feeds at loudspeaker level."""
    fed = {
        each.driven_by
        for each in build.channels
        if each.input is not None and each.input.channel == channel
    }
    return tuple(each for each in build.amplifiers if each.id in fed)


def filters_of(
    settings: SettingsState, draws: Draws, frequency: FloatArray
) -> tuple[ComplexArray, ComplexArray]:
    """Return what the high-pass and the low-pass of some settings let through [V/V].

    Args:
        settings: of one channel in what drives it.
        draws: of the corners.
        frequency: shape (F,) [Hz].

    Returns: two responses, shape (1 + samples or 1, F); (1, 1) of ones where nothing is set.
    """

    def passed(side: Side, each: FilterState | None) -> ComplexArray:
        if each is None:
            return np.ones((1, 1), dtype=complex)
        return filter_response(
            side=side,
            kind=each.kind,
            corner=draws(each.corner),
            order=each.slope // 6,
            frequency=frequency,
        )

    return passed("high-pass", settings.high_pass), passed("low-pass", settings.low_pass)


def parts_of(channel: ChannelState) -> tuple[Part, ...]:
    """Return the drivers and parts of a channel in reading order, with their joints."""
    return tuple(_walk(channel.tree, channel, PLUS, MINUS, count(1)))


def joints(channel: ChannelState) -> tuple[Joint, ...]:
    """Return the joints of a channel: that of the plus wire, those inside, that of the minus."""
    parts = parts_of(channel)
    names = dict.fromkeys((PLUS, *(part.lower for part in parts), MINUS))
    inner = [name for name in names if name not in (PLUS, MINUS)]
    return tuple(Joint(name, tuple(_ends(parts, name))) for name in (PLUS, *inner, MINUS))


def _walk(
    tree: Tree, channel: ChannelState, upper: str, lower: str, numbers: count[int]
) -> Iterator[Part]:
    if isinstance(tree, Leaf):
        yield _part(tree.name, channel, upper, lower)
    elif isinstance(tree, Series):
        inner = [f"J{next(numbers)}" for _ in tree.parts[1:]]
        for part, above, below in zip(tree.parts, [upper, *inner], [*inner, lower], strict=True):
            yield from _walk(part, channel, above, below, numbers)
    else:
        for part in tree.parts:
            yield from _walk(part, channel, upper, lower, numbers)


def _part(key: str, channel: ChannelState, upper: str, lower: str) -> Part:
    turned = dict(channel.polarity)
    if key in turned:
        return Part(key, "driver", key, upper, lower, turned[key] < 0)
    part = next(part for part in channel.parts if part.key == key)
    return Part(key, part.kind, _label(part), upper, lower)


def _label(part: PartState) -> str:
    if part.wire is None:
        assert part.value is not None
        return plain_text(part.value.quantity)
    length, size = part.wire.length, part.wire.size
    assert length is not None
    assert size is not None
    return f"wire {plain_text(length.quantity)}, {plain_text(size.quantity)}"


def _ends(parts: tuple[Part, ...], joint: str) -> Iterator[End]:
    for part in parts:
        for at, terminal in ((part.upper, PLUS), (part.lower, MINUS)):
            if at == joint:
                yield End(part, _terminal(part, terminal))


def _terminal(part: Part, side: str) -> str:
    if part.kind != "driver":
        return ""
    if part.turned:
        return MINUS if side == PLUS else PLUS
    return side
