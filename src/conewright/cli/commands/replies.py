"""What is typed in the dialogue of `find --ask`: commands, words, values, other readings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from conewright.errors import BadInputError
from conewright.stages.find.faults.trade import INCONCLUSIVE, test
from conewright.stages.find.talk.answering import Answered, read_answer, same_words
from conewright.stages.find.talk.cards import card_of
from conewright.stages.report.data import ReadingCard, Report
from conewright.views.layout import paragraph
from conewright.views.numbers import minutes

__all__ = ["COMMANDS", "chosen_card", "chosen_reply", "explained", "listed_cards", "picked"]

SKIP = "skip"
COMMANDS = (SKIP, "other", "undo", "stop")
EXAMPLE = "look@door-fl"


def explained(card: ReadingCard) -> str:
    """Say what a reading can be answered with."""
    kind = test(card.test)
    words = ", ".join(kind.words)
    if kind.number == "quantity":
        said = f"Say a number (in {kind.unit} if you name no unit), or {words}"
    elif kind.number == "sweep":
        said = f"Say figures as in resonance 62 Hz, peak 19 ohm, coil 3.4 ohm; or {words}"
    elif card.answers:
        said = f"Say 1 to {len(kind.words)}, or the word"
    else:
        said = "Say " + ", ".join(f"{n} {word}" for n, word in enumerate(kind.words, start=1))
    return f"{said}; or skip (not conclusive), other (another reading), undo, stop."


def chosen_reply(typed: str, card: ReadingCard) -> Answered | str:
    """Return the answer to a reading, or the command, that was typed.

    Args:
        typed: a number of the list, a word or its beginning, a value, or a command.
        card: of the reading that was asked for.

    Raises:
        BadInputError: it is none of them, or may be two of them.

    """
    kind = test(card.test)
    if typed.isdecimal() and kind.number != "quantity":
        return Answered(_numbered(typed, kind.words))
    name = picked(typed, (*kind.words, *COMMANDS))
    if name == SKIP:
        return Answered(INCONCLUSIVE)
    return name if name in COMMANDS else read_answer(card.test, name or typed)


def picked(typed: str, names: Sequence[str]) -> str | None:
    """Return the name that is meant by a name or its beginning; None where none is.

    Raises:
        BadInputError: nothing was typed, or it is the beginning of several names.

    """
    if not typed:
        raise BadInputError(f"found nothing; allowed are {', '.join(names)}")
    exact = [name for name in names if same_words(name, typed)]
    begun = [name for name in names if same_words(name[: len(typed)], typed)]
    if len(begun) > 1 and not exact:
        raise BadInputError(f'found "{typed}", which may be {" or ".join(begun)}')
    return next(iter(exact or begun), None)


def listed_cards(report: Report, *, width: int) -> Iterator[str]:
    """Yield the readings that can be chosen, numbered from 1, and how to choose one."""
    for place, card in enumerate(report.readings, start=1):
        said = f"{card.title} at {card.subject}, {minutes(card.minutes)}"
        yield from paragraph(said, width=width, first=f"{place:>3} ", rest="    ")
    yield from paragraph(
        f"Say a number, or any test and its place as in {EXAMPLE}; nothing: back to the best one.",
        width=width,
    )


def chosen_card(typed: str, report: Report) -> ReadingCard:
    """Return the card of a reading that was chosen by its number, or as `test@place`.

    Raises:
        BadInputError: there is no such reading.

    """
    ids = [card.id for card in report.readings]
    if typed.isdecimal():
        typed = _numbered(typed, ids)
    if not typed.partition("@")[2]:
        raise BadInputError(
            f'found "{typed[:60]}"; allowed is a number of the list, or a test and its place as '
            f"in {EXAMPLE}"
        )
    return card_of(report, typed)


def _numbered(typed: str, names: Sequence[str]) -> str:
    numbers = [str(place) for place in range(1, len(names) + 1)]
    if typed not in numbers:
        raise BadInputError(f"found {typed[:20]}; allowed are 1 to {len(names)}")
    return names[numbers.index(typed)]
