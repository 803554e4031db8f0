"""Which reading to take next: bits per minute, two steps ahead, and a plan to certainty.

The bits of a reading are the mutual information between its answer and the cause of a complaint.
Opening a panel or pulling the radio is paid once: readings behind the same panel are weighed
together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Chain, is_tweeter
from conewright.stages.find.faults.presence import has_corners
from conewright.stages.find.odds.blame import Blame, group_of
from conewright.stages.find.odds.evidence import LEG_BIAS, Case, Question
from conewright.stages.find.odds.inference import Odds, PairFactor

__all__ = [
    "CERTAIN",
    "HANDLING",
    "UNLIKELY",
    "Foresight",
    "Key",
    "Opened",
    "Proposal",
    "access_key",
    "told_bits",
    "top",
]

CERTAIN = 0.85
"""Odds at which a cause is as good as found."""

UNLIKELY = 0.003
"""Causes less likely than this are counted as one."""

HANDLING = 2.0
"""Minutes that a reading takes besides its own, to set it up and write it down; assumed.

They count for the rate alone: without them many readings that tell next to nothing come first.
"""

Key = tuple[str, str]
"""What has to be opened: `("radio", "")` or `("trim", location)`; `("none", "")` for nothing."""


@dataclass(frozen=True, slots=True)
class Opened:
    """What is open already."""

    keys: frozenset[Key] = frozenset()

    def minutes(self, key: Key, case: Case) -> float:
        """Minutes to open what a reading needs."""
        if key[0] == "none" or key in self.keys:
            return 0.0
        if key[0] == "radio":
            return trade.access("radio").first_minutes
        kind = trade.access(case.build.location(key[1]).kind)
        first = not any(other[0] == "trim" for other in self.keys)
        return kind.first_minutes if first else kind.minutes

    def with_(self, key: Key) -> Opened:
        """The same with one thing more open."""
        return self if key[0] == "none" else Opened(self.keys | {key})


@dataclass(frozen=True, slots=True)
class Proposal:
    """A reading that could be taken now.

    Attributes:
        bits: information about the cause of a complaint expected from it.
        minutes: to take it, opening what must be opened first.
        rate: bits per minute, of the reading alone or with the best one that follows it, with
            the minutes that handling takes.
        then: the reading that makes it worth while, if it is not so by itself.
        answers: chance of each answer.

    """

    question: Question
    bits: float
    minutes: float
    rate: float
    then: Question | None
    answers: Mapping[str, float]


def access_key(question: Question) -> Key:
    """What must be open for a reading."""
    access = trade.test(question.test).access
    return (access, question.subject if access == "trim" else "")


class Foresight:
    """What every reading of a vehicle may say in every state, laid out once for many questions."""

    def __init__(self, case: Case) -> None:
        self._case = case
        self.questions = tuple(_questions(case))
        self._blame: Blame | None = None

    @cached_property
    def _chains(self) -> list[_ChainView]:
        """Readings of each chain."""
        case = self._case
        alone = [q for q in self.questions if trade.test(q.test).target != "pair"]
        return [
            _ChainView(case, [q for q in alone if case.chain_of(q.subject) == number])
            for number in range(len(case.chains))
        ]

    @cached_property
    def _pairs(self) -> list[_PairView]:
        """Readings that hear two chains."""
        two = [q for q in self.questions if trade.test(q.test).target == "pair"]
        return [_PairView(self._case, question) for question in two]

    def next_readings(
        self, odds: Odds, asked: Iterable[Question], opened: Opened
    ) -> list[Proposal]:
        """Return the readings that are possible now, the most bits per minute first."""
        done = frozenset(asked)
        if self._blame is None or self._blame.model is not odds.model:
            self._blame = Blame(odds.model)
        proposals: list[Proposal] = []
        for number, view in enumerate(self._chains):
            proposals += view.proposals(self._blame.masses(odds, number), done, opened)
        proposals += [
            view.proposal(odds, self._blame) for view in self._pairs if view.question not in done
        ]
        # Two readings are worth the same in either order: rounding must not choose between them.
        return sorted(proposals, key=lambda proposal: -float(f"{proposal.rate:.9g}"))


def top(odds: Odds) -> tuple[str, float]:
    """Return the most likely cause and its odds; faults with one repair count together.

    Two faults of one subject that the same repair cures are one cause to the repairer.
    """
    groups: dict[tuple[str, str], float] = {}
    best: dict[tuple[str, str], tuple[float, str]] = {}
    known = {atom for chain in odds.model.chains for atom in chain.known}
    for atom, chance in odds.of_atoms().items():
        if atom in known:
            continue
        key = group_of(atom)
        groups[key] = groups.get(key, 0.0) + chance
        best[key] = max(best.get(key, (0.0, "")), (chance, atom.id))
    if not groups:
        return "", 0.0
    first = max(groups, key=lambda key: groups[key])
    return best[first][1], min(groups[first], 1.0)


class _ChainView:
    """All readings of one chain as one matrix over its states."""

    def __init__(self, case: Case, questions: list[Question]) -> None:
        self._case, self._questions = case, questions
        self._words = [case.outcomes(question)[0] for question in questions]
        tables_ = [
            case.outcomes(question)[1].reshape(-1, len(words))
            for question, words in zip(questions, self._words, strict=True)
        ]
        self._edges = np.cumsum([0, *(len(words) for words in self._words)])
        self._every: FloatArray = np.concatenate(tables_, axis=1) if tables_ else np.zeros((1, 0))

    def proposals(
        self, masses: FloatArray, done: frozenset[Question], opened: Opened
    ) -> list[Proposal]:
        """Every reading not taken yet with its bits and its rate, the best follower weighed in.

        Args:
            masses: chance of every state and cause, shape (states, causes).
            done: readings that are taken.
            opened: what is open.

        """
        left = [n for n, question in enumerate(self._questions) if question not in done]
        if not left:
            return []
        columns = [self._columns(n) for n in left]
        edges = np.cumsum([0, *(len(each) for each in columns[:-1])])
        told = (masses.T @ self._every)[:, np.concatenate(columns)] / masses.sum()
        told = _leading(told, edges)
        bits, gains = _bits(told, edges)
        return self._weighed(left, bits, gains, told.sum(axis=0), opened)

    def _weighed(
        self,
        left: list[int],
        bits: FloatArray,
        gains: FloatArray,
        chances: FloatArray,
        opened: Opened,
    ) -> list[Proposal]:
        """Weigh each reading alone, and with each other that could follow it."""
        questions = [self._questions[n] for n in left]
        keys = [access_key(question) for question in questions]
        minutes = self._minutes(questions, keys, opened)
        later = {key: self._minutes(questions, keys, opened.with_(key)) for key in set(keys)}
        found, start = [], 0
        for row, number in enumerate(left):
            rates = (bits[row] + gains[row]) / (minutes[row] + later[keys[row]] + 2 * HANDLING)
            rates[row] = bits[row] / (minutes[row] + HANDLING)
            then = int(np.argmax(rates))
            words = self._words[number]
            answers = dict(zip(words, chances[start : start + len(words)].tolist(), strict=True))
            start += len(words)
            found.append(
                Proposal(
                    questions[row],
                    float(bits[row]),
                    float(minutes[row]),
                    float(rates[then]),
                    None if then == row else questions[then],
                    answers,
                )
            )
        return found

    def _minutes(self, questions: list[Question], keys: list[Key], opened: Opened) -> FloatArray:
        """Minutes of readings with what must be opened for each, shape (readings,)."""
        access = {key: opened.minutes(key, self._case) for key in set(keys)}
        return np.array(
            [
                trade.test(question.test).minutes + access[key]
                for question, key in zip(questions, keys, strict=True)
            ]
        )

    def _columns(self, number: int) -> NDArray[np.intp]:
        return np.arange(self._edges[number], self._edges[number + 1])


def _bits(told: FloatArray, edges: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Bits of every reading, and those expected of every other once it has been answered.

    Args:
        told: chance of every cause and answer, shape (causes, answers of all readings).
        edges: first answer of every reading.

    Returns:
        Shapes (readings,) and (readings, readings). For the second, readings count as independent
        of each other given the cause.

    """
    chance = np.add.reduceat(told, edges, axis=1)[:, :1]
    given = told / np.maximum(chance, 1e-300)
    both = told.T[:, :, None] * given[None, :, :]
    return told_bits(told, edges), np.add.reduceat(told_bits(both, edges), edges, axis=0)


def _leading(told: FloatArray, edges: NDArray[np.intp]) -> FloatArray:
    """Causes with those that are hardly possible put together with the last, anything else."""
    total = np.add.reduceat(told, edges, axis=1)[:, 0]
    keep = total > UNLIKELY
    keep[-1] = False
    rest = told[~keep].sum(axis=0)
    return np.asarray(np.vstack((told[keep], rest)))


def told_bits(joint: FloatArray, edges: NDArray[np.intp]) -> FloatArray:
    """Bits that answers tell of causes, times the chance of all together.

    Args:
        joint: chance of every cause and answer, shape (..., causes, answers of all readings).
        edges: first answer of every reading.

    Returns:
        I = sum p(c, a) log2( p(c, a) p / (p(c) p(a)) ), shape (..., readings).

    """
    both = np.add.reduceat(_surprise(joint).sum(axis=-2), edges, axis=-1)
    answers = np.add.reduceat(_surprise(joint.sum(axis=-2)), edges, axis=-1)
    causes = np.add.reduceat(joint, edges, axis=-1)
    of_causes = _surprise(causes).sum(axis=-2)
    return np.asarray(np.maximum(answers + of_causes - both - _surprise(causes.sum(axis=-2)), 0.0))


def _surprise(chance: FloatArray) -> FloatArray:
    return np.asarray(-chance * np.log2(np.maximum(chance, 1e-300)))


class _PairView:
    """A reading that hears two chains, taken as independent of each other."""

    def __init__(self, case: Case, question: Question) -> None:
        self.question = question
        self._words = trade.word_table(question.test).words
        factors = [case.of_word(question, word) for word in self._words]
        self._factors = [factor for factor in factors if isinstance(factor, PairFactor)]
        self._table = np.stack([factor.table for factor in self._factors], axis=-1)

    def proposal(self, odds: Odds, blame: Blame) -> Proposal:
        """The reading with its bits and its rate."""
        first = self._factors[0]
        left, left_causes = _classed(first.left, first.left_class, odds, blame)
        right, right_causes = _classed(first.right, first.right_class, odds, blame)
        told = [
            np.einsum("lk,r,lrw->kw", left_causes, right, self._table),
            np.einsum("l,rk,lrw->kw", left, right_causes, self._table),
        ]
        chances = np.einsum("l,r,lrw->w", left, right, self._table)
        rest = np.maximum(chances - sum(part.sum(axis=0) for part in told), 0.0)
        bits = float(told_bits(np.vstack((*told, rest)), np.array([0]))[0])
        minutes = trade.test(self.question.test).minutes
        answers = {word: float(c) for word, c in zip(self._words, chances, strict=True)}
        return Proposal(self.question, bits, minutes, bits / (minutes + HANDLING), None, answers)


def _classed(
    number: int, classes: NDArray[np.intp], odds: Odds, blame: Blame
) -> tuple[FloatArray, FloatArray]:
    """Chances of the classes of a chain, (classes,), and with its causes, (classes, causes)."""
    member = np.eye(int(classes.max()) + 1)[classes]
    causes = blame.own(odds, number).sum(axis=0)
    return odds.of_states(number) @ member, member.T @ causes


def _questions(case: Case) -> list[Question]:
    """Every reading that makes sense on this vehicle."""
    return [
        Question(kind.id, subject) for kind in trade.tests() for subject in _subjects(kind, case)
    ]


def _subjects(kind: trade.TestKind, case: Case) -> list[str]:
    shared, *channels = case.chains
    if kind.needs == "amplifier":
        return [each.id for each in case.build.amplifiers]
    if kind.target == "vehicle":
        there = {atom.fault for atom in (*shared.known, *shared.atoms)}
        return [shared.id] if kind.needs is None or kind.needs in there else []
    if kind.target == "pair":
        return list(case.pairs)
    if kind.target == "channel":
        return [chain.id for chain in channels if _channel_test(kind, chain, case)]
    return [
        place.id
        for chain in channels
        for place in chain.places
        if _place_test(kind, chain, small=is_tweeter(place, chain.channel))
    ]


def _channel_test(kind: trade.TestKind, chain: Chain, case: Case) -> bool:
    if kind.id == LEG_BIAS and chain.channel is not None and chain.channel.driven_by is not None:
        return False
    if kind.needs == "corners":
        return has_corners(case.build)
    return kind.needs != "door" or chain.in_door


def _place_test(kind: trade.TestKind, chain: Chain, *, small: bool) -> bool:
    if kind.needs == "treble":
        return small or chain.tweeter is None
    return not small or kind.needs != "woofer"
