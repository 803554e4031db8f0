"""The cards of readings: what to do, what a healthy vehicle says, what each answer would mean."""

from __future__ import annotations

from collections.abc import Iterable

from conewright.stages.find.faults import trade
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Kind, Outlook, ReadingCard, Report

__all__ = ["card_of", "minutes_of", "reading_card", "reading_figures"]

OF_DOORS = "window"
"""Caution of work in a door alone."""


def reading_card(
    test: str,
    subject: str,
    *,
    minutes: float | None = None,
    bits: float = 0.0,
    rate: float = 0.0,
    healthy: str | None = None,
    answers: Iterable[Outlook] = (),
    then: str | None = None,
    in_door: bool = True,
) -> ReadingCard:
    """Return the card of a reading.

    Args:
        test: id of the test.
        subject: where it is done.
        minutes: with what must be opened first; None for the test alone.
        bits: expected from it.
        rate: bits per minute.
        healthy: what a healthy vehicle says there; None for what it says anywhere.
        answers: what each answer would change.
        then: the reading that makes it worth while.
        in_door: whether the place may be in a door, with its glass.

    Raises:
        BadInputError: there is no such test.

    """
    kind = trade.test(test)
    return ReadingCard(
        id=f"{test}@{subject}",
        test=test,
        subject=subject,
        title=kind.title,
        how=kind.how,
        equipment=kind.equipment,
        minutes=kind.minutes if minutes is None else minutes,
        bits=bits,
        bits_per_minute=rate,
        healthy=kind.healthy if healthy is None else healthy,
        unit=kind.unit or "",
        cautions=tuple(each.text for each in kind.cautions if in_door or each.id != OF_DOORS),
        answers=tuple(answers),
        then=then,
    )


def card_of(report: Report, id: str) -> ReadingCard:
    """Return the card of a reading, `test@subject`; one that is not among the best has no odds.

    Raises:
        BadInputError: there is no such test.

    """
    for card in report.readings:
        if card.id == id:
            return card
    test, _, subject = id.partition("@")
    return reading_card(test, subject, minutes=minutes_of(report, id))


def minutes_of(report: Report, id: str) -> float | None:
    """Return how long a reading takes; None where it cannot be taken any more."""
    known = (figure.value for figure in report.figures if figure.id == f"next.{id}.minutes")
    return next(known, None)


def reading_figures(
    answer: Answer, id: str, *, title: str, rate: float, bits: float, minutes: float
) -> None:
    """Add the figures of a reading that could be taken: bits per minute, bits and minutes."""
    answer.figure("next", id, rate, unit="bit/min", label=title)
    answer.figure("next", f"{id}.bits", bits, unit="bit", label=title)
    answer.figure("next", f"{id}.minutes", minutes, unit="min", kind=Kind.TIME, label=title)
