"""What hangs on the channels of which nobody knows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf

from conewright.phrases import listed
from conewright.stages.find.faults import trade
from conewright.stages.find.instruments.topology import (
    Key,
    LoadReading,
    expected_at_plug,
    topology_odds,
)
from conewright.stages.find.instruments.unknown import UnknownLoad
from conewright.stages.find.talk.cards import reading_card, reading_figures
from conewright.stages.find.talk.planning import CERTAIN, Opened
from conewright.stages.find.talk.separation import expected_bits, telling_apart
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Kind, Outlook, ReadingCard, Severity
from conewright.stages.report.words import number, odds

__all__ = ["wiring_cards", "wiring_figures"]

LEAST_ODDS = 0.005

LEAST_BITS = 0.05
"""A reading that tells less is not asked for."""

IN_SERIES = "two-series"

TELLING = 1.0
"""Two loads that read nearer to each other than this, in spreads, are not told apart by it."""


def wiring_figures(answer: Answer, loads: Iterable[UnknownLoad]) -> None:
    """Add the odds of every usual load of each unknown channel, and what would tell them apart."""
    for load in loads:
        for name, chance in load.ranked:
            if chance >= LEAST_ODDS:
                answer.figure(
                    "wiring",
                    f"{load.channel}.{name}",
                    chance,
                    unit="",
                    kind=Kind.ODDS,
                    label=trade.topology(name).title,
                )
        _say(answer, load)


def _say(answer: Answer, load: UnknownLoad) -> None:
    (first, chance), *others = load.ranked
    told = [f"{trade.topology(n).title} ({odds(c)})" for n, c in load.ranked[:3] if c >= LEAST_ODDS]
    text = f"{load.channel}, of which nobody knows what it drives: {listed(told)}."
    if chance < CERTAIN:
        text += " " + _apart(first, others[0][0], load)
    elif first == IN_SERIES:
        text += (
            " Each of two alike in series has half of the output's volts: 6 dB less from each than "
            "alone on it, with nothing broken."
        )
    severity = Severity.GOOD if chance >= CERTAIN else Severity.NOTE
    answer.verdict("wiring", load.channel, severity, text, f"wiring.{load.channel}.{first}")


def _apart(first: str, second: str, load: UnknownLoad) -> str:
    """What tells the two likeliest loads apart, in words."""
    telling = telling_apart(first, second, load.context, load.taken)
    if telling.separation < TELLING:
        return f"No reading at the plug tells the first two apart: {trade.topology(first).apart}."
    at = "" if telling.frequency is None else f" at {number(telling.frequency, 'Hz')}"
    one, two = (number(v, "ohm") if v < inf else "open" for v in telling.expected)
    return (
        f"To tell the first two apart, read {READ[telling.kind]}{at}: {one} for the first, "
        f"{two} for the second."
    )


def wiring_cards(
    answer: Answer, loads: Iterable[UnknownLoad], opened: Opened
) -> tuple[ReadingCard, ...]:
    """Return, for each unknown channel that is not settled, the reading worth taking next.

    The one with most bits about the load for its minutes, if any at the plug tells anything. Its
    figures are added as those of every other reading.
    """
    cards = tuple(card for load in loads if (card := _card(load, opened)) is not None)
    for card in cards:
        reading_figures(
            answer,
            card.id,
            title=card.title,
            rate=card.bits_per_minute,
            bits=card.bits,
            minutes=card.minutes,
        )
    return cards


def _card(load: UnknownLoad, opened: Opened) -> ReadingCard | None:
    if load.ranked[0][1] >= CERTAIN:
        return None
    asked = {
        key: bits
        for key, bits in expected_bits(dict(load.ranked), load.taken, load.context).items()
        if key[0] in TEST_OF and bits >= LEAST_BITS
    }
    if not asked:
        return None  # what is done by unplugging something is told in words
    key = max(asked, key=lambda key: asked[key] / _minutes(key, opened))
    kind, frequency = key
    minutes = _minutes(key, opened)
    at, how = "", ""
    if frequency is not None:
        at, how = f" at {frequency:.0f} Hz", f" Say it as {frequency:.0f} Hz and ohms."
    card = reading_card(
        TEST_OF[kind],
        load.channel,
        minutes=minutes,
        bits=asked[key],
        rate=asked[key] / minutes,
        healthy="nobody knows yet what hangs there",
        answers=_outlooks(load, key),
    )
    asked_for = {"title": f"{READ[kind]}{at}", "how": f"{card.how}{how}", "unit": "ohm"}
    return card.model_copy(update=asked_for)


def _minutes(key: Key, opened: Opened) -> float:
    access = 0.0 if ("radio", "") in opened.keys else trade.access("radio").first_minutes
    return trade.test(TEST_OF[key[0]]).minutes + access


def _outlooks(load: UnknownLoad, key: Key) -> Iterator[Outlook]:
    """What the likeliest loads would read, and what is likeliest after that reading."""
    kind, frequency = key
    frequencies = () if frequency is None else (frequency,)
    said: dict[str, tuple[float, float]] = {}
    for name, chance in load.ranked[:4]:
        ohm = expected_at_plug(name, frequencies, load.context)[-1]
        word = number(ohm, "ohm") if ohm < inf else "open"
        said[word] = (ohm, said.get(word, (ohm, 0.0))[1] + chance)
    for word, (ohm, chance) in said.items():
        read = LoadReading(kind, ohm, frequency=frequency)
        cause, after = topology_odds([*load.taken, read], load.context)[0]
        yield Outlook(word=word, chance=chance, cause=f"{load.channel}.{cause}", odds=after)


TEST_OF = {"plug": "pair-resistance", "impedance": "impedance-sweep"}
"""Readings of an unknown channel that a card asks for, and the test that takes them."""

READ = {
    "plug": "the ohms at the radio plug",
    "unplugged": "the ohms at the plug with the woofer unplugged",
    "returns": "the ohms between its minus wire and that of another channel",
    "impedance": "the impedance at the plug",
}
