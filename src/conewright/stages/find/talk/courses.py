"""The way to certainty, if the likeliest cause is the cause: an example of the readings to come.

A course supposes one cause and lets every reading answer what that cause most likely makes it
answer. What the way takes whatever the cause is another matter, see `rollouts`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.odds.evidence import Question
from conewright.stages.find.odds.inference import Odds, PairFactor
from conewright.stages.find.talk.inquiry import Inquiry, Said
from conewright.stages.find.talk.planning import (
    CERTAIN,
    Foresight,
    Opened,
    Proposal,
    access_key,
    top,
)

__all__ = ["Course", "Step", "likeliest_course"]

LONGEST = 10
"""Readings after which a course gives up."""


@dataclass(frozen=True, slots=True)
class Step:
    """One reading of a course: what it is expected to say, and what is likeliest then."""

    question: Question
    minutes: float
    said: str
    cause: str
    odds: float


@dataclass(frozen=True, slots=True)
class Course:
    """The readings that show one cause.

    Attributes:
        cause: what is supposed to be wrong.
        chance: its odds now.
        steps: the readings, in order.
        reached: whether they end with a cause as good as certain.

    """

    cause: Atom
    chance: float
    steps: tuple[Step, ...]
    reached: bool


def likeliest_course(inquiry: Inquiry, foresight: Foresight) -> Course | None:
    """Return the course of the likeliest cause; None where nothing can fail."""
    known = {atom for chain in inquiry.case.chains for atom in chain.known}
    chances = {atom: c for atom, c in inquiry.odds.of_atoms().items() if atom not in known}
    if not chances:
        return None
    cause = min(chances, key=lambda atom: (-chances[atom], atom))
    return _Guide(inquiry, foresight).course(cause, chances[cause])


class _Guide:
    """Follows courses; what two of them have in common is worked out once."""

    def __init__(self, inquiry: Inquiry, foresight: Foresight) -> None:
        self._inquiry, self._foresight = inquiry, foresight
        self._odds: dict[tuple[Said, ...], Odds] = {}
        self._next: dict[tuple[Said, ...], Proposal | None] = {}

    def course(self, cause: Atom, chance: float) -> Course:
        said: tuple[Said, ...] = ()
        opened = self._inquiry.opened
        steps: list[Step] = []
        while len(steps) < LONGEST and top(self._after(said))[1] < CERTAIN:
            best = self._best(said, opened)
            if best is None:
                break
            word = self._answer(best.question, cause)
            said = (*said, (best.question, word))
            opened = opened.with_(access_key(best.question))
            steps.append(Step(best.question, best.minutes, word, *top(self._after(said))))
        return Course(cause, chance, tuple(steps), top(self._after(said))[1] >= CERTAIN)

    def _after(self, said: tuple[Said, ...]) -> Odds:
        if said not in self._odds:
            self._odds[said] = self._inquiry.after(self._inquiry.taken, said)
        return self._odds[said]

    def _best(self, said: tuple[Said, ...], opened: Opened) -> Proposal | None:
        if said not in self._next:
            asked = [*self._inquiry.asked, *(question for question, _ in said)]
            found = self._foresight.next_readings(self._after(said), asked, opened)
            self._next[said] = found[0] if found and found[0].bits > 0.0 else None
        return self._next[said]

    def _answer(self, question: Question, cause: Atom) -> str:
        """What a reading most likely says if this and nothing else is wrong."""
        case = self._inquiry.case
        if trade.test(question.test).target == "pair":
            chances = {
                word: self._pair_chance(question, word, cause)
                for word in trade.word_table(question.test).words
            }
            return max(chances, key=lambda word: chances[word])
        words, table = case.outcomes(question)
        chain = case.chains[case.chain_of(question.subject)]
        shared = case.chains[0]
        row = 1 + shared.atoms.index(cause) if cause in shared.atoms else 0
        column = 1 + chain.atoms.index(cause) if row == 0 and cause in chain.atoms else 0
        return words[int(np.argmax(table[row, column]))]

    def _pair_chance(self, question: Question, word: str, cause: Atom) -> float:
        case = self._inquiry.case
        factor = case.of_word(question, word)
        assert isinstance(factor, PairFactor)
        states = []
        for number in (factor.left, factor.right):
            atoms = case.chains[number].atoms
            states.append(1 + atoms.index(cause) if cause in atoms else 0)
        left, right = factor.left_class[states[0]], factor.right_class[states[1]]
        return float(factor.table[left, right])
