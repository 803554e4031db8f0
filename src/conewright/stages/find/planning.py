"""Which reading to take next: bits per minute, two steps ahead, and a plan to certainty.

The bits of a reading are the mutual information between its answer and what is wrong. Opening a
panel or pulling the radio is paid once: readings behind the same panel are weighed together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from conewright.physics.arrays import FloatArray
from conewright.stages.find import tables
from conewright.stages.find.chains import Chain, is_tweeter
from conewright.stages.find.evidence import Case, Question
from conewright.stages.find.inference import Odds, PairFactor

__all__ = ["CERTAIN", "Opened", "Proposal", "Step", "next_readings", "plan_to_certainty", "top"]

CERTAIN = 0.85
"""Odds at which a cause is as good as found."""

NEGLIGIBLE = 1e-7
"""States less likely than this are left out of a look ahead."""

DEEPEST, LIKELY = 6, 0.12
"""How many readings a plan follows, and the least likely answer that it follows."""

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


@dataclass(frozen=True, slots=True)
class Step:
    """One reading of a plan: when it is taken at all, and what is expected to be said."""

    question: Question
    minutes: float
    chance: float
    likely: str
    cause: str
    certainty: float


def questions(case: Case, asked: Iterable[Question]) -> list[Question]:
    """Every reading that makes sense on this vehicle and has not been taken."""
    done = set(asked)
    wanted = [
        Question(kind.id, subject) for kind in tables.tests() for subject in _subjects(kind, case)
    ]
    return [question for question in wanted if question not in done]


def access_key(question: Question) -> Key:
    """What must be open for a reading."""
    access = tables.test(question.test).access
    return (access, question.subject if access == "trim" else "")


def next_readings(
    case: Case, odds: Odds, asked: Iterable[Question], opened: Opened
) -> list[Proposal]:
    """Return the readings that are possible now, the most bits per minute first."""
    candidates = questions(case, asked)
    proposals: list[Proposal] = []
    for number in range(len(case.chains)):
        own = [q for q in candidates if _chain_number(q, case) == number]
        proposals += _ChainPlan(case, odds, number, own).proposals(opened)
    pairs = [q for q in candidates if tables.test(q.test).target == "pair"]
    proposals += [_pair_proposal(question, case, odds) for question in pairs]
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


def plan_to_certainty(
    case: Case,
    odds: Odds,
    asked: Sequence[Question],
    opened: Opened,
    answer: Callable[[Sequence[tuple[Question, str]]], Odds],
) -> tuple[tuple[Step, ...], float, float]:
    """Follow the best readings until a cause is certain.

    Args:
        case: the vehicle.
        odds: as they stand.
        asked: readings taken.
        opened: what is open.
        answer: the odds after some more answers.

    Returns:
        The steps of the likeliest course; minutes expected over all courses followed; and the
        chance that certainty is reached within the readings followed.

    """
    plan = _Plan(case, answer)
    minutes, reached = plan.follow(odds, list(asked), opened, [], 1.0, on_course=True)
    return tuple(plan.steps), minutes, reached


class _Plan:
    def __init__(
        self, case: Case, answer: Callable[[Sequence[tuple[Question, str]]], Odds]
    ) -> None:
        self.case, self.answer = case, answer
        self.steps: list[Step] = []

    def follow(
        self,
        odds: Odds,
        asked: list[Question],
        opened: Opened,
        said: list[tuple[Question, str]],
        chance: float,
        *,
        on_course: bool,
    ) -> tuple[float, float]:
        """Minutes expected from here, weighed with the chance of being here, and chance to end."""
        if top(odds)[1] >= CERTAIN:
            return 0.0, chance
        found = [] if len(said) >= DEEPEST else next_readings(self.case, odds, asked, opened)
        if not found or found[0].bits <= 0.0:
            return 0.0, 0.0
        best = found[0]
        minutes, reached = best.minutes * chance, 0.0
        likely = max(best.answers, key=lambda word: best.answers[word])
        after = {
            word: self.answer([*said, (best.question, word)])
            for word, part in best.answers.items()
            if part * chance >= LIKELY
        }
        if on_course and likely in after:
            self.steps.append(
                Step(best.question, best.minutes, chance, likely, *top(after[likely]))
            )
        inside = opened.with_(access_key(best.question))
        for word, odds_then in after.items():
            more, ended = self.follow(
                odds_then,
                [*asked, best.question],
                inside,
                [*said, (best.question, word)],
                chance * best.answers[word],
                on_course=on_course and word == likely,
            )
            minutes, reached = minutes + more, reached + ended
        return minutes, reached


class _ChainPlan:
    """All readings of one chain weighed at once, as matrices over its states."""

    def __init__(self, case: Case, odds: Odds, number: int, candidates: list[Question]) -> None:
        self.case, self.candidates = case, candidates
        states = odds.joint[number].ravel()
        keep = states > NEGLIGIBLE * states.max()
        self.weight = states[keep] / states[keep].sum()
        tables_of = [case.outcomes(q)[1].reshape(states.size, -1)[keep] for q in candidates]
        self.tables: list[FloatArray] = tables_of

    def proposals(self, opened: Opened) -> list[Proposal]:
        """Every candidate with its bits and its rate, the best follower weighed in."""
        if not self.candidates:
            return []
        every = np.concatenate(self.tables, axis=1)
        noise = np.stack([_entropy(table) for table in self.tables], axis=1)
        bits = self._bits(self.weight[None, :], every, noise)[0]
        minutes = self._minutes(opened)
        found = []
        for first, question in enumerate(self.candidates):
            chances = self.weight @ self.tables[first]
            then = self._follower(first, bits, minutes, every, noise, opened)
            found.append(self._proposal(question, bits[first], minutes[first], then, chances))
        return found

    def _proposal(
        self,
        question: Question,
        bits: float,
        minutes: float,
        then: tuple[float, Question] | None,
        chances: FloatArray,
    ) -> Proposal:
        alone = bits / minutes
        rate, follower = (alone, None) if then is None or then[0] <= alone else then
        words, _ = self.case.outcomes(question)
        answers = {word: float(c) for word, c in zip(words, chances, strict=True)}
        return Proposal(question, float(bits), minutes, float(rate), follower, answers)

    def _minutes(self, opened: Opened) -> list[float]:
        return [
            tables.test(q.test).minutes + opened.minutes(access_key(q), self.case)
            for q in self.candidates
        ]

    def _follower(
        self,
        first: int,
        bits: FloatArray,
        minutes: list[float],
        every: FloatArray,
        noise: FloatArray,
        opened: Opened,
    ) -> tuple[float, Question] | None:
        """Best rate of a reading with one that follows it behind the same panel."""
        question = self.candidates[first]
        inside = opened.with_(access_key(question))
        joint = self.weight[:, None] * self.tables[first]
        chance = joint.sum(axis=0)
        after = self._bits((joint / np.maximum(chance, 1e-300)).T, every, noise)
        gain = chance @ after
        best = None
        for second, other in enumerate(self.candidates):
            if second == first:
                continue
            more = tables.test(other.test).minutes + inside.minutes(access_key(other), self.case)
            rate = (bits[first] + gain[second]) / (minutes[first] + more)
            if best is None or rate > best[0]:
                best = (float(rate), other)
        return best

    def _bits(self, weights: FloatArray, every: FloatArray, noise: FloatArray) -> FloatArray:
        """Bits of every candidate for rows of weights, shape (rows, candidates)."""
        spread = weights @ every
        edges = np.cumsum([0, *(table.shape[1] for table in self.tables)])
        entropy = np.stack([_entropy(spread[:, a:b]) for a, b in pairwise(edges)], axis=1)
        return np.asarray(np.maximum(entropy - weights @ noise, 0.0))


def _pair_proposal(question: Question, case: Case, odds: Odds) -> Proposal:
    """Bits of a reading that hears two chains, taken as independent of each other."""
    words = tables.word_table(question.test).words
    factors = [case.of_word(question, word) for word in words]
    first = factors[0]
    assert isinstance(first, PairFactor)
    left = np.bincount(first.left_class, weights=odds.of_states(first.left))
    right = np.bincount(first.right_class, weights=odds.of_states(first.right))
    table = np.stack([f.table for f in factors if isinstance(f, PairFactor)], axis=-1)
    joint = left[:, None] * right[None, :]
    chances = np.einsum("lr,lrw->w", joint, table)
    bits = float(_entropy(chances[None, :])[0] - np.sum(joint * _entropy(table)))
    minutes = tables.test(question.test).minutes
    answers = {word: float(c) for word, c in zip(words, chances, strict=True)}
    return Proposal(question, max(bits, 0.0), minutes, max(bits, 0.0) / minutes, None, answers)


def _entropy(chances: FloatArray) -> FloatArray:
    """Entropy over the last axis [bits]."""
    safe = np.maximum(chances, 1e-300)
    return np.asarray(-np.sum(chances * np.log2(safe), axis=-1))


def _chain_number(question: Question, case: Case) -> int | None:
    if tables.test(question.test).target == "pair":
        return None
    return case.chain_of(question.subject)


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
