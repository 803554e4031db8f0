"""What somebody answers to a reading, as typed, and what of it is written into the job."""

from __future__ import annotations

import re
from dataclasses import dataclass

from conewright.errors import BadInputError, QuantityError
from conewright.job.quantity.values import format_quantity, parse_quantity
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.trade import INCONCLUSIVE
from conewright.stages.find.talk.inquiry import SWEEP_FIGURES, heard

__all__ = ["SWEEP_EXAMPLE", "Answered", "allowed_answers", "read_answer", "same_words"]

OPEN_ON_A_METER = ("ol", "o.l", "o.l.", "0l", "inf", "infinite", "∞")
"""What meters show, and people say, where nothing is connected."""

LONGEST = 2000
"""Of an answer; a sweep of some hundred figures is shorter."""

SWEEP_EXAMPLE = "resonance 62 Hz, peak 19 ohm, coil 3.4 ohm"

_PARTS = re.compile(r";|,\s")
_AT_FREQUENCY = re.compile(r"(?P<name>[0-9.,]+ ?k?Hz)\s*[:=]?\s*(?P<said>.+)", re.IGNORECASE)
_NAMED = re.compile(r"(?P<name>[a-z]+)\s*[:=]?\s*(?P<said>.+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer as it stands in a job: a word of the test, a value with its unit, or a sweep.

    assumed: unit of a number that was given without one, else empty.
    """

    value: str | dict[str, str]
    assumed: str = ""

    def __str__(self) -> str:
        if isinstance(self.value, str):
            return self.value
        return ", ".join(f"{name} {said}" for name, said in self.value.items())


def read_answer(test: str, text: str) -> Answered:
    """Read an answer to a test.

    Args:
        test: id of the test.
        text: one of its words, `not conclusive`, a number with or without unit where the test is
            answered by a number, or the figures of a sweep.

    Raises:
        BadInputError: the test is not answered like that; names what is allowed.

    """
    kind = trade.test(test)
    said = " ".join(text.split())
    if len(said) > LONGEST:
        raise BadInputError(f"found {len(said)} characters; {allowed_answers(test)}")
    for word in (*kind.words, INCONCLUSIVE):
        if same_words(word, said):
            return Answered(word)
    if "open" in kind.words and said.lower() in OPEN_ON_A_METER:
        return Answered("open")
    if kind.number == "quantity":
        value = _quantity(kind, said)
        heard(test, value)
        return Answered(value, assumed="" if value == said else kind.unit or "")
    if kind.number == "sweep":
        figures = _sweep(said)
        heard(test, figures)
        return Answered(figures)
    raise BadInputError(f'found "{said[:60]}"; {allowed_answers(test)}')


def allowed_answers(test: str) -> str:
    """Say what answers a test."""
    kind = trade.test(test)
    words = ", ".join(kind.words)
    if kind.number == "quantity":
        return f"a number, in {kind.unit} where no unit stands behind it, or one of: {words}"
    if kind.number == "sweep":
        return f"figures as in {SWEEP_EXAMPLE}, or as in 100 Hz 5.8 ohm; or one of: {words}"
    return f"allowed is one of: {words}"


def same_words(one: str, other: str) -> bool:
    """Whether two texts are the same words, whatever their case and however they are joined."""
    return _plain(one) == _plain(other)


def _plain(text: str) -> str:
    return text.strip().lower().replace("-", " ")


def _quantity(kind: trade.TestKind, text: str) -> str:
    """Return a number with its unit: as typed, or with the test's own unit where it had none."""
    reasons = []
    for said in (text, f"{text} {kind.unit}"):
        try:
            parse_quantity(said, dimension=kind.dimension or "", nonnegative=True)
        except QuantityError as error:
            reasons.append(str(error).split("; ")[0])
        else:
            return said
    reason = reasons[-1 if text[-1:].isdigit() else 0]
    raise BadInputError(f"{reason}; {allowed_answers(kind.id)}")


def _sweep(text: str) -> dict[str, str]:
    """Return the figures of a sweep by name, or by frequency."""
    figures: dict[str, str] = {}
    for part in _PARTS.split(text):
        name, said = _figure(part.strip())
        if name in figures:
            raise BadInputError(f'found "{name}" twice; each figure is given once')
        figures[name] = said
    return figures


def _figure(text: str) -> tuple[str, str]:
    at_frequency = _AT_FREQUENCY.fullmatch(text)
    if at_frequency is not None:
        frequency = parse_quantity(at_frequency["name"], dimension="frequency", positive=True)
        parse_quantity(at_frequency["said"], dimension="resistance", positive=True)
        return format_quantity(frequency), at_frequency["said"]
    named = _NAMED.fullmatch(text)
    if named is None or named["name"].lower() not in SWEEP_FIGURES:
        raise BadInputError(f'found "{text[:60]}"; {allowed_answers("impedance-sweep")}')
    name = named["name"].lower()
    parse_quantity(named["said"], dimension=SWEEP_FIGURES[name][1], positive=True)
    return name, named["said"]
