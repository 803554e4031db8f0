"""What was read of a channel whose load is unknown, and the odds of the usual loads by it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import inf

from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import UnknownChannelState
from conewright.job.document.document import Reading
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.phrases import listed
from conewright.stages.find.faults.trade import INCONCLUSIVE, topology
from conewright.stages.find.instruments.topology import (
    LoadContext,
    LoadReading,
    context_of,
    topology_odds,
)
from conewright.stages.report.words import odds

__all__ = ["UnknownLoad", "loads_in_words", "unknown_loads"]


@dataclass(frozen=True, slots=True)
class UnknownLoad:
    """What is known of a channel's unknown load.

    Attributes:
        channel: id of the channel.
        taken: what was read of it.
        context: cable, radio and temperature.
        ranked: every usual load with its odds, likeliest first.

    """

    channel: str
    taken: tuple[LoadReading, ...]
    context: LoadContext
    ranked: tuple[tuple[str, float], ...]


def loads_in_words(ranked: Iterable[tuple[str, float]]) -> str:
    """Return usual loads, at least one, by their titles, each with its odds in words."""
    return listed([f"{topology(name).title} ({odds(chance)})" for name, chance in ranked])


def unknown_loads(build: Build) -> tuple[UnknownLoad, ...]:
    """Return what is known of the load of each unknown channel."""
    loads = []
    for channel in build.unknown:
        taken, context = tuple(_taken(build, channel)), context_of(build, channel)
        loads.append(UnknownLoad(channel.id, taken, context, topology_odds(taken, context)))
    return tuple(loads)


def _taken(build: Build, channel: UnknownChannelState) -> list[LoadReading]:
    return [
        found
        for entry in build.job.readings
        if entry.at == channel.id
        for found in _load_readings(entry)
    ]


def _load_readings(entry: Reading) -> Iterator[LoadReading]:
    """Turn a reading of an unknown channel into ohms at the plug or impedances."""
    if str(entry.value).strip().lower() == INCONCLUSIVE:
        return
    if entry.test == "pair-resistance":
        yield _ohms("plug", str(entry.value), None)
    elif entry.test == "impedance-sweep" and isinstance(entry.value, dict):
        yield from _series(entry.value.items())


def _series(points: Iterable[tuple[str, str]]) -> Iterator[LoadReading]:
    for name, text in points:
        if name == "unplugged":
            yield _ohms("unplugged", text, None)
        elif name == "coil":
            yield _ohms("plug", text, None)
        elif name not in ("resonance", "peak"):
            yield _ohms("impedance", text, parse_quantity(name, dimension="frequency").value)


def _ohms(kind: str, text: str, frequency: float | None) -> LoadReading:
    if text.strip().lower() == "open":
        return LoadReading(kind, inf, None, frequency)
    quantity = parse_quantity(text, dimension="resistance", positive=True)
    return LoadReading(kind, quantity.value, _error(quantity), frequency)


def _error(quantity: Quantity) -> float | None:
    if quantity.low is None or quantity.high is None:
        return None
    return (quantity.high - quantity.low) / (2 * 1.96)
