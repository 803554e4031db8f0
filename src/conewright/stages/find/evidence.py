"""What a reading says: its chance in every state of the chains that it touches."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from conewright.errors import BadInputError
from conewright.job.state import Build
from conewright.physics.arrays import FloatArray
from conewright.physics.wiring import Parallel, Tree, leaves
from conewright.stages.find import tables
from conewright.stages.find.chains import VEHICLE, Atom, Chain, is_tweeter
from conewright.stages.find.inference import PairFactor
from conewright.stages.find.prior import in_group, twin_chains

__all__ = ["SLIP", "Bench", "ChainEvidence", "Evidence", "Question"]

SLIP = 0.01
"""Chance that an answer is a slip of the hand or pen, and means nothing."""

Weighed = Callable[[str], float]


@dataclass(frozen=True, slots=True)
class Question:
    """A test at a subject: a location, a channel, a pair of channels by side, or the vehicle."""

    test: str
    subject: str

    @property
    def id(self) -> str:
        """`test@subject`."""
        return f"{self.test}@{self.subject}"


@dataclass(frozen=True)
class ChainEvidence:
    """Chance of an answer for every shared state and every state of one chain."""

    chain: int
    table: FloatArray


Evidence = ChainEvidence | PairFactor


@dataclass(frozen=True)
class Bench:
    """A vehicle under test: its chains, and what the words of a test say in each state."""

    build: Build
    chains: tuple[Chain, ...]

    @cached_property
    def pairs(self) -> Mapping[str, tuple[int, int]]:
        """Pairs of twin chains by their end of the vehicle: `front`, `rear`."""
        found = {}
        for left, right in twin_chains(self.chains):
            woofer = self.chains[left].woofer
            assert woofer is not None
            found["front" if in_group(woofer, "front") else "rear"] = (left, right)
        return found

    def chain_of(self, subject: str) -> int:
        """Number of the chain that a location, a channel or the vehicle belongs to.

        Raises:
            BadInputError: nothing of that name is connected to a channel.

        """
        for number, chain in enumerate(self.chains):
            if subject == chain.id or subject in {place.id for place in chain.places}:
                return number
        raise BadInputError(f"{subject!r} is not connected to any channel of this vehicle")

    def question(self, test: str, at: str) -> Question:
        """Put a reading's place the way its test asks for.

        A test of a location that is written at its channel is about the channel's woofer, or its
        tweeter where the test is of treble; one of a channel written at a location is about that
        location's channel.

        Raises:
            BadInputError: the test cannot be done at such a place.

        """
        kind = tables.test(test)
        if kind.target == "vehicle":
            return Question(test, VEHICLE)
        if kind.target == "pair":
            return Question(test, self._end(test, at))
        chain = self.chains[self.chain_of(at)]
        if kind.target == "channel":
            return Question(test, chain.id)
        if at != chain.id:
            return Question(test, at)
        place = chain.tweeter or chain.woofer if test == "treble-burst" else chain.woofer
        place = place or chain.tweeter
        assert place is not None
        return Question(test, place.id)

    def _end(self, test: str, at: str) -> str:
        if at in self.pairs:
            return at
        for end, pair in self.pairs.items():
            names = {name for n in pair for name in self._names(n)}
            if at in names:
                return end
        known = ", ".join(self.pairs) or "none: no two places mirror each other"
        raise BadInputError(f"{test} hears a left and a right door together; pairs here: {known}")

    def _names(self, number: int) -> set[str]:
        chain = self.chains[number]
        return {chain.id, *(place.id for place in chain.places)}

    def of_word(self, question: Question, word: str) -> Evidence:
        """Return the chance of a word in every state.

        Raises:
            BadInputError: the test is not answered with that word; names those that are.

        """
        words = tables.word_table(question.test)
        if word not in words.words:
            allowed = ", ".join(words.words)
            raise BadInputError(f"{question.test} is not answered with {word!r}, but: {allowed}")
        if tables.test(question.test).target == "pair":
            return self._pair_words(question)[word]
        return ChainEvidence(
            self.chain_of(question.subject),
            self.word_chances(question)[..., words.words.index(word)],
        )

    def word_chances(self, question: Question) -> FloatArray:
        """Chance of every word of a test, shape (shared states, states, words)."""
        words = tables.word_table(question.test)
        number = self.chain_of(question.subject)
        chain = self.chains[number]
        shared = [_Mix.of(self._heard(atoms, chain, question), words) for atoms in self._shared()]
        if number == 0:
            return np.array([[mix.chances()] for mix in shared])
        own = [
            _Mix.of(self._heard(chain.faults(state), chain, question), words)
            for state in chain.states
        ]
        return _chances(shared, own, words)

    def _shared(self) -> list[tuple[Atom, ...]]:
        return [self.chains[0].faults(state) for state in self.chains[0].states]

    def _heard(
        self, atoms: Sequence[Atom], chain: Chain, question: Question
    ) -> list[Mapping[str, float]]:
        """Rows of the word table for the faults that a test at this subject can notice."""
        words = tables.word_table(question.test)
        near = [atom for atom in atoms if self._reaches(atom, chain, question)]
        return [self._row(words, atom, chain, question) for atom in near]

    def _reaches(self, atom: Atom, chain: Chain, question: Question) -> bool:
        if atom.subject in (VEHICLE, chain.id, question.subject):
            return not (atom.fault == "reversed" and self._is_small(atom, chain))
        if tables.test(question.test).target == "channel":
            return not (atom.fault == "reversed" and self._is_small(atom, chain))
        # Treble is missing at the tweeter also when it is the woofer's place that was named.
        return question.test == "treble-burst" and self._is_small(atom, chain)

    def _is_small(self, atom: Atom, chain: Chain) -> bool:
        """Whether a fault is at a tweeter, whose polarity no bass test and no pulse shows."""
        return any(
            place.id == atom.subject and is_tweeter(place, chain.channel) for place in chain.places
        )

    def _row(
        self, words: tables.WordTable, atom: Atom, chain: Chain, question: Question
    ) -> Mapping[str, float]:
        row = words.chance[atom.fault]
        if question.test == "corner-solo" and self._leaves_another(atom, chain):
            # Another loudspeaker beside it still plays: weaker, not silent.
            row = dict(row)
            row["weaker"] += row["silent"]
            row["silent"] = 0.0
        return row

    def _leaves_another(self, atom: Atom, chain: Chain) -> bool:
        cones = {place.id for place in chain.places if not is_tweeter(place, chain.channel)}
        if chain.channel is None or atom.subject not in cones:
            return False
        return any(beside & cones for beside in _in_parallel_with(atom.subject, chain.channel.tree))

    def _pair_words(self, question: Question) -> dict[str, PairFactor]:
        """Chance of every word of a mono test, over the classes of the two chains."""
        words = tables.word_table(question.test)
        left, right = self.pairs[question.subject]
        classes, mixes = [], []
        for number in (left, right):
            members, kinds = self._pair_classes(self.chains[number], words)
            classes.append(members)
            mixes.append(kinds)
        table = np.array(
            [[_pair_chances(one, other, words) for other in mixes[1]] for one in mixes[0]]
        )
        return {
            word: PairFactor(left, right, classes[0], classes[1], table[:, :, k])
            for k, word in enumerate(words.words)
        }

    def _pair_classes(
        self, chain: Chain, words: tables.WordTable
    ) -> tuple[np.ndarray[tuple[int], np.dtype[np.intp]], list[_Side]]:
        kinds: dict[_Side, int] = {}
        members = []
        for state in chain.states:
            members.append(kinds.setdefault(self._side(chain, state, words), len(kinds)))
        return np.array(members, dtype=np.intp), list(kinds)

    def _side(self, chain: Chain, state: tuple[int, ...], words: tables.WordTable) -> _Side:
        atoms = chain.faults(state)
        woofer = chain.woofer
        turned = woofer is not None and Atom("reversed", woofer.id) in atoms
        others = [words.chance[atom.fault] for atom in atoms if atom.fault != "reversed"]
        return _Side(turned, _Mix.of(others, words))


@dataclass(frozen=True, slots=True)
class _Mix:
    """Several faults heard at once: how much less likely the healthy word is, and the others.

    Each fault lets a healthy sign through with its own chance, independent of the others; a wrong
    sign is any one fault's.
    """

    passed: float
    wrong: tuple[float, ...]
    words: tuple[str, ...]
    normal: str
    healthy: tuple[float, ...]

    @classmethod
    def of(cls, rows: Sequence[Mapping[str, float]], words: tables.WordTable) -> _Mix:
        sound = words.healthy[words.normal]
        passed = float(np.prod([row[words.normal] / sound for row in rows]))
        wrong = [
            0.0 if word == words.normal else sum(row[word] for row in rows) for word in words.words
        ]
        healthy = tuple(words.healthy[word] for word in words.words)
        return cls(round(passed, 12), tuple(wrong), words.words, words.normal, healthy)

    def chances(self) -> FloatArray:
        """Chance of every word."""
        return _blend(np.array(self.passed), np.array(self.wrong), self)


@dataclass(frozen=True, slots=True)
class _Side:
    """What a mono test hears of one side: turned round or not, and the other faults."""

    turned: bool
    mix: _Mix


def _chances(shared: list[_Mix], own: list[_Mix], words: tables.WordTable) -> FloatArray:
    passed = np.outer([mix.passed for mix in shared], [mix.passed for mix in own])
    wrong = np.array([mix.wrong for mix in shared])[:, None, :] + np.array(
        [mix.wrong for mix in own]
    )
    return _blend(passed, wrong, _Mix.of((), words))


def _blend(passed: FloatArray, wrong: FloatArray, healthy: _Mix) -> FloatArray:
    """Chances of words from how much passes and how the wrong ones split; last axis words."""
    sound = np.array(healthy.healthy)
    normal = healthy.words.index(healthy.normal)
    right = np.minimum(sound[normal] * passed, 1.0 - 1e-6)
    alarm = sound.copy()
    alarm[normal] = 0.0
    split = np.where(wrong.sum(axis=-1, keepdims=True) > 0.0, wrong, alarm)
    total = split.sum(axis=-1, keepdims=True)
    chances = (1.0 - right[..., None]) * np.divide(split, total, where=total > 0.0, out=split * 0.0)
    chances[..., normal] = right
    return np.asarray((1.0 - SLIP) * chances + SLIP / sound.size)


def _pair_chances(one: _Side, other: _Side, words: tables.WordTable) -> FloatArray:
    """Two turned round pull together again; one alone is what a mono test is for."""
    rows = _Mix.of((words.chance["reversed"],) if one.turned != other.turned else (), words)
    passed = np.array(one.mix.passed * other.mix.passed * rows.passed)
    wrong = np.array(one.mix.wrong) + np.array(other.mix.wrong) + np.array(rows.wrong)
    return _blend(passed, wrong, rows)


def _in_parallel_with(location: str, tree: Tree) -> list[set[str]]:
    """For each parallel on the way to a location, the names in its other branches."""
    found: list[set[str]] = []
    while hasattr(tree, "parts"):
        inside = next(part for part in tree.parts if location in leaves(part))
        if isinstance(tree, Parallel):
            found.append(
                {name for part in tree.parts if part is not inside for name in leaves(part)}
            )
        tree = inside
    return found
