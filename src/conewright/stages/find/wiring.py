"""What hangs on the channels of which nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf, log2

from conewright.job.document import Reading
from conewright.job.quantity import Quantity, parse_quantity
from conewright.job.state import Build, UnknownChannelState
from conewright.stages.assembly import Answer
from conewright.stages.find import tables
from conewright.stages.find.inquiry import INCONCLUSIVE
from conewright.stages.find.planning import Opened
from conewright.stages.find.topology import (
    LoadContext,
    LoadReading,
    context_of,
    expected_at_plug,
    telling_apart,
    topology_odds,
)
from conewright.stages.report import Outlook, ReadingCard, Severity
from conewright.stages.words import listed, number, odds

__all__ = ["wiring_cards", "wiring_figures"]

LEAST_ODDS = 0.005
CERTAIN = 0.85


def wiring_figures(answer: Answer, build: Build) -> None:
    """Add the odds of every usual load of each unknown channel, and what would tell them apart."""
    for channel in build.unknown:
        ranked = topology_odds(_taken(build, channel), context_of(build, channel))
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


def wiring_cards(answer: Answer, build: Build, opened: Opened) -> tuple[ReadingCard, ...]:
    """Return, for each unknown channel that is not settled, the reading that tells most.

    The ohms at the plug come first; after them what separates the two likeliest loads best. Its
    figures are added as those of every other reading.
    """
    cards = tuple(
        card for channel in build.unknown if (card := _card(build, channel, opened)) is not None
    )
    for card in cards:
        for name, value, unit in (
            (card.id, card.bits_per_minute, "bit/min"),
            (f"{card.id}.bits", card.bits, "bit"),
            (f"{card.id}.minutes", card.minutes, "min"),
        ):
            answer.figure("next", name, value, unit=unit, label=card.title)
    return cards


def _card(build: Build, channel: UnknownChannelState, opened: Opened) -> ReadingCard | None:
    taken, context = _taken(build, channel), context_of(build, channel)
    ranked = topology_odds(taken, context)
    if ranked[0][1] >= CERTAIN:
        return None
    known = {reading.kind for reading in taken}
    telling = telling_apart(ranked[0][0], ranked[1][0], context)
    kind = telling.kind if "plug" in known else "plug"
    if kind not in ASKED:
        return None  # what is done by unplugging something is told in words
    test = tables.test("pair-resistance" if kind == "plug" else "impedance-sweep")
    minutes = test.minutes + (
        0.0 if ("radio", "") in opened.keys else tables.access("radio").first_minutes
    )
    bits = -sum(chance * log2(chance) for _, chance in ranked if chance > 0.0)
    at = "" if telling.frequency is None or kind == "plug" else f" at {telling.frequency:.0f} Hz"
    return ReadingCard(
        id=f"{test.id}@{channel.id}",
        test=test.id,
        subject=channel.id,
        title=f"{READ[kind]}{at}",
        how=test.how
        if kind == "plug"
        else f"{test.how} Say it as {telling.frequency:.0f} Hz and ohms.",
        equipment=test.equipment,
        minutes=minutes,
        bits=bits,
        bits_per_minute=bits / minutes,
        healthy="nobody knows yet what hangs there",
        unit="ohm",
        cautions=tuple(caution.text for caution in test.cautions),
        answers=tuple(_outlook(channel.id, name, chance, context) for name, chance in ranked[:4]),
    )


def _outlook(channel: str, name: str, chance: float, context: LoadContext) -> Outlook:
    (ohm,) = expected_at_plug(name, (), context)
    said = number(ohm, "ohm") if ohm < inf else "open"
    return Outlook(
        word=f"{said} at the plug", chance=chance, cause=f"{channel}.{name}", odds=chance
    )


def _taken(build: Build, channel: UnknownChannelState) -> list[LoadReading]:
    return [
        found
        for entry in build.job.readings
        if entry.at == channel.id
        for found in _load_readings(entry)
    ]


ASKED = ("plug", "impedance")
"""Readings of an unknown channel that a card asks for."""

READ = {
    "plug": "the ohms at the radio plug",
    "unplugged": "the ohms at the plug with the woofer unplugged",
    "returns": "the ohms between its minus wire and that of another channel",
    "impedance": "the impedance at the plug",
}


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
