"""Which reading to take next: bits per minute, two steps ahead, and a plan to certainty.

The bits of a reading are the mutual information between its answer and what is wrong. Opening a
panel or pulling the radio is paid once: readings behind the same panel are weighed together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from conewright.physics.arrays import FloatArray
from conewright.stages.find import tables
from conewright.stages.find.chains import Chain, is_tweeter
from conewright.stages.find.evidence import Case, Question
from conewright.stages.find.inference import Odds, PairFactor

__all__ = ["CERTAIN", "Foresight", "Opened", "Proposal", "access_key", "top"]

CERTAIN = 0.85
"""Odds at which a cause is as good as found."""

NEGLIGIBLE = 1e-5
"""States less likely than this are left out of a look ahead."""

WOOFER_TESTS = frozenset(
    {"slow-bass", "press-trim", "cone-push", "cell-pulse", "impedance-sweep", "coil-resistance"}
)
WITH_DOOR = frozenset({"door-swing"})

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
            return tables.access("radio").first_minutes
        kind = tables.access(case.build.location(key[1]).kind)
        first = not any(other[0] == "trim" for other in self.keys)
        return kind.first_minutes if first else kind.minutes

    def with_(self, key: Key) -> Opened:
        """The same with one thing more open."""
        return self if key[0] == "none" else Opened(self.keys | {key})


@dataclass(frozen=True, slots=True)
class Proposal:
    """A reading that could be taken now.

    Attributes:
        bits: information expected from it.
        minutes: to take it, opening what must be opened first.
        rate: bits per minute, of the reading alone or with the best one that follows it.
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
    access = tables.test(question.test).access
    return (access, question.subject if access == "trim" else "")


class Foresight:
    """What every reading of a vehicle may say in every state, laid out once for many questions."""

    def __init__(self, case: Case) -> None:
        self._case = case
        every = self.questions = tuple(_questions(case))
        alone = [q for q in every if tables.test(q.test).target != "pair"]
        self._chains = [
            _ChainView(case, [q for q in alone if case.chain_of(q.subject) == number])
            for number in range(len(case.chains))
        ]
        self._pairs = [_PairView(case, q) for q in every if q not in alone]

    def next_readings(
        self, odds: Odds, asked: Iterable[Question], opened: Opened
    ) -> list[Proposal]:
        """Return the readings that are possible now, the most bits per minute first."""
        done = frozenset(asked)
        proposals: list[Proposal] = []
        for number, view in enumerate(self._chains):
            proposals += view.proposals(odds.joint[number], done, opened)
        proposals += [view.proposal(odds) for view in self._pairs if view.question not in done]
        return sorted(proposals, key=lambda proposal: -proposal.rate)


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
        key = (tables.fault(atom.fault).repair_group, atom.subject)
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
        self._noise: FloatArray = np.stack([_entropy(t) for t in tables_] or [np.zeros(1)], axis=1)

    def proposals(
        self, joint: FloatArray, done: frozenset[Question], opened: Opened
    ) -> list[Proposal]:
        """Every reading not taken yet with its bits and its rate, the best follower weighed in."""
        left = [n for n, question in enumerate(self._questions) if question not in done]
        if not left:
            return []
        states = joint.ravel()
        keep = states > NEGLIGIBLE * states.max()
        weight = states[keep] / states[keep].sum()
        every, noise = self._every[keep], self._noise[keep]
        bits = self._bits(weight[None, :], every, noise)[0]
        minutes = self._minutes(opened)
        found = []
        for first in left:
            own = every[:, self._columns(first)]
            then = None
            if len(left) > 1:
                gain = self._gain(weight[:, None] * own, every, noise)
                after = self._minutes(opened.with_(access_key(self._questions[first])))
                rates = (bits[first] + gain) / (minutes[first] + after)
                then = max((n for n in left if n != first), key=lambda n: float(rates[n]))
                follower = (float(rates[then]), self._questions[then])
            found.append(
                self._proposal(
                    first,
                    float(bits[first]),
                    float(minutes[first]),
                    weight @ own,
                    follower if then is not None else None,
                )
            )
        return found

    def _proposal(
        self,
        number: int,
        bits: float,
        minutes: float,
        chances: FloatArray,
        then: tuple[float, Question] | None,
    ) -> Proposal:
        alone = bits / minutes
        rate, follower = (alone, None) if then is None or then[0] <= alone else then
        answers = {w: float(c) for w, c in zip(self._words[number], chances, strict=True)}
        return Proposal(self._questions[number], bits, minutes, rate, follower, answers)

    def _minutes(self, opened: Opened) -> FloatArray:
        return np.array(
            [
                tables.test(q.test).minutes + opened.minutes(access_key(q), self._case)
                for q in self._questions
            ]
        )

    def _columns(self, number: int) -> slice:
        return slice(int(self._edges[number]), int(self._edges[number + 1]))

    def _gain(self, joint: FloatArray, every: FloatArray, noise: FloatArray) -> FloatArray:
        """Bits of every reading that are expected once another has been answered."""
        chance = joint.sum(axis=0)
        after = self._bits((joint / np.maximum(chance, 1e-300)).T, every, noise)
        return np.asarray(chance @ after)

    def _bits(self, weights: FloatArray, every: FloatArray, noise: FloatArray) -> FloatArray:
        """Bits of every reading for rows of weights, shape (rows, readings)."""
        spread = weights @ every
        terms = -spread * np.log2(np.maximum(spread, 1e-300))
        entropy = np.add.reduceat(terms, self._edges[:-1], axis=1)
        return np.asarray(np.maximum(entropy - weights @ noise, 0.0))


class _PairView:
    """A reading that hears two chains, taken as independent of each other."""

    def __init__(self, case: Case, question: Question) -> None:
        self.question = question
        self._words = tables.word_table(question.test).words
        factors = [case.of_word(question, word) for word in self._words]
        self._factors = [factor for factor in factors if isinstance(factor, PairFactor)]
        self._table = np.stack([factor.table for factor in self._factors], axis=-1)

    def proposal(self, odds: Odds) -> Proposal:
        """The reading with its bits and its rate."""
        first = self._factors[0]
        left = np.bincount(first.left_class, weights=odds.of_states(first.left))
        right = np.bincount(first.right_class, weights=odds.of_states(first.right))
        joint = left[:, None] * right[None, :]
        chances = np.einsum("lr,lrw->w", joint, self._table)
        bits = float(_entropy(chances[None, :])[0] - np.sum(joint * _entropy(self._table)))
        minutes = tables.test(self.question.test).minutes
        answers = {word: float(c) for word, c in zip(self._words, chances, strict=True)}
        bits = max(bits, 0.0)
        return Proposal(self.question, bits, minutes, bits / minutes, None, answers)


def _entropy(chances: FloatArray) -> FloatArray:
    """Entropy over the last axis [bits]."""
    safe = np.maximum(chances, 1e-300)
    return np.asarray(-np.sum(chances * np.log2(safe), axis=-1))


def _questions(case: Case) -> list[Question]:
    """Every reading that makes sense on this vehicle."""
    return [
        Question(kind.id, subject) for kind in tables.tests() for subject in _subjects(kind, case)
    ]


def _subjects(kind: tables.TestKind, case: Case) -> list[str]:
    if kind.target == "vehicle":
        return [case.chains[0].id]
    if kind.target == "pair":
        return list(case.pairs)
    channels = case.chains[1:]
    if kind.target == "channel":
        return [chain.id for chain in channels if _channel_test(kind.id, chain)]
    return [
        place.id
        for chain in channels
        for place in chain.places
        if _place_test(kind.id, chain, small=is_tweeter(place, chain.channel))
    ]


def _channel_test(test: str, chain: Chain) -> bool:
    return test not in WITH_DOOR or any(place.kind == "door" for place in chain.places)


def _place_test(test: str, chain: Chain, *, small: bool) -> bool:
    if test == "treble-burst":
        return small or chain.tweeter is None
    return not small or test not in WOOFER_TESTS
