"""What hangs on the channels of which nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf

from conewright.job.document import Reading
from conewright.job.quantity import Quantity, parse_quantity
from conewright.job.state import Build, UnknownChannelState
from conewright.stages.assembly import Answer
from conewright.stages.find import tables
from conewright.stages.find.topology import (
    LoadReading,
    context_of,
    telling_apart,
    topology_odds,
)
from conewright.stages.report import Severity
from conewright.stages.words import listed, number, odds

__all__ = ["wiring_figures"]

LEAST_ODDS = 0.005
CERTAIN = 0.85


def wiring_figures(answer: Answer, build: Build) -> None:
    """Add the odds of every usual load of each unknown channel, and what would tell them apart."""
    for channel in build.unknown:
        readings = [
            found
            for entry in build.job.readings
            if entry.at == channel.id
            for found in _load_readings(entry)
        ]
        ranked = topology_odds(readings, context_of(build, channel))
        for name, chance in ranked:
            if chance >= LEAST_ODDS:
                answer.figure(
                    "wiring",
                    f"{channel.id}.{name}",
                    chance,
                    unit="",
                    label=tables.topology(name).title,
                )
        _say(answer, build, channel, ranked)


def _say(
    answer: Answer,
    build: Build,
    channel: UnknownChannelState,
    ranked: tuple[tuple[str, float], ...],
) -> None:
    (first, chance), (second, _), *_ = ranked
    told = [f"{tables.topology(n).title} ({odds(c)})" for n, c in ranked[:3] if c >= LEAST_ODDS]
    text = f"{channel.id}, of which nobody knows what it drives: {listed(told)}."
    if chance < CERTAIN:
        telling = telling_apart(first, second, context_of(build, channel))
        at = "" if telling.frequency is None else f" at {number(telling.frequency, 'Hz')}"
        one, two = (number(v, "ohm") if v < inf else "open" for v in telling.expected)
        text += (
            f" To tell the first two apart, read {READ[telling.kind]}{at}: {one} for the first, "
            f"{two} for the second."
        )
    severity = Severity.GOOD if chance >= CERTAIN else Severity.NOTE
    answer.verdict("wiring", channel.id, severity, text, f"wiring.{channel.id}.{first}")


READ = {
    "plug": "the ohms at the radio plug",
    "unplugged": "the ohms at the plug with the woofer unplugged",
    "returns": "the ohms between its minus wire and that of another channel",
    "impedance": "the impedance at the plug",
}


def _load_readings(entry: Reading) -> Iterator[LoadReading]:
    """Turn a reading of an unknown channel into ohms at the plug or impedances."""
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
