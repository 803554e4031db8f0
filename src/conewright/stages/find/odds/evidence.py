"""What a reading says: its chance in every state of the chains that it touches."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from conewright.errors import BadInputError
from conewright.job.builds.states.build import Build
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.electrics.wiring import Parallel, Tree, leaves
from conewright.stages.common.together import in_group
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import VEHICLE, Atom, Chain, is_tweeter
from conewright.stages.find.faults.effects import effects_of
from conewright.stages.find.instruments.meter import METER_TESTS, Meter
from conewright.stages.find.instruments.midway import weaker_together
from conewright.stages.find.instruments.mixture import Mixture, likelihood, outcomes
from conewright.stages.find.instruments.sweep import (
    SweepBench,
    SweepReading,
    sweep_likelihood,
)
from conewright.stages.find.instruments.wordmix import Mix, Side, chances_of, pair_chances
from conewright.stages.find.odds.inference import PairFactor
from conewright.stages.find.odds.prior import twin_chains
from conewright.stages.report import words as wording

__all__ = ["LEG_BIAS", "SWEEP", "Case", "ChainEvidence", "Evidence", "Question"]

SWEEP, LEG_BIAS = "impedance-sweep", "leg-bias"


@dataclass(frozen=True, slots=True)
class Question:
    """A test at a subject: a location, a channel, a pair of them by side, an amplifier, or the
    vehicle."""

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
class _Alike:
    """States that look alike to a test: the faults it can see, and which of these each holds."""

    kinds: tuple[frozenset[Atom], ...]
    states: NDArray[np.intp]

    @classmethod
    def of(cls, states: Iterable[Sequence[Atom]], visible: frozenset[str]) -> _Alike:
        seen = [frozenset(atom for atom in atoms if atom.fault in visible) for atoms in states]
        kinds = {kind: number for number, kind in enumerate(dict.fromkeys(seen))}
        return cls(tuple(kinds), np.array([kinds[kind] for kind in seen], dtype=np.intp))


@dataclass(frozen=True)
class Case:
    """A vehicle under suspicion: its chains, and what an answer says in each of their states."""

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
        if subject in self._amplifiers:
            return 0
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
        kind = trade.test(test)
        if kind.needs == "amplifier":
            return Question(test, self._amplifier(test, at))
        if kind.target == "vehicle":
            return Question(test, VEHICLE)
        if kind.target == "pair":
            return Question(test, self._end(test, at))
        chain = self.chains[self.chain_of(at)]
        if chain.channel is None:
            raise BadInputError(f"{test} is done at a channel or a driver, not at the {chain.id}")
        if test == LEG_BIAS and chain.channel.driven_by is not None:
            unit = chain.channel.driven_by
            raise BadInputError(f"{test} is read at an output of the radio; {unit} drives {at}")
        if kind.target == "channel":
            return Question(test, chain.id)
        if at != chain.id:
            return Question(test, at)
        place = chain.tweeter or chain.woofer if test == "treble-burst" else chain.woofer
        place = place or chain.tweeter
        assert place is not None
        return Question(test, place.id)

    @property
    def _amplifiers(self) -> tuple[str, ...]:
        return tuple(each.id for each in self.build.amplifiers)

    def _amplifier(self, test: str, at: str) -> str:
        known = self._amplifiers
        if at in known:
            return at
        if len(known) == 1 and at == VEHICLE:
            return known[0]
        told = ", ".join(known) or "none is written down"
        raise BadInputError(f"{test} is read at an amplifier; amplifiers here: {told}")

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

    @cached_property
    def meter(self) -> Meter:
        """The hand-held meter at this vehicle."""
        return Meter(self.build)

    @cached_property
    def _of_pairs(self) -> dict[Question, dict[str, PairFactor]]:
        return {}

    @cached_property
    def _known(self) -> dict[Question, tuple[tuple[str, ...], FloatArray]]:
        return {}

    @cached_property
    def sweeps(self) -> SweepBench:
        """Impedance sweeps of this vehicle's drivers."""
        return SweepBench(self.build)

    def outcomes(self, question: Question) -> tuple[tuple[str, ...], FloatArray]:
        """Answers that a plan reckons with, and their chances, shape (shared, states, answers).

        For a meter they come from what it would show; for the rest from the table of words. So
        they do for a sweep: to foresee one in every state would take longer than it is worth.
        """
        if question not in self._known:
            self._known[question] = self._outcomes(question)
        return self._known[question]

    def _outcomes(self, question: Question) -> tuple[tuple[str, ...], FloatArray]:
        if question.test in METER_TESTS:
            words = tuple(outcomes(self._healthy(question)))
            table = self._over_states(
                question, lambda atoms: [outcomes(self._metered(question, atoms))[w] for w in words]
            )
            return words, table
        return trade.word_table(question.test).words, self.word_chances(question)

    def of_number(self, question: Question, read: Quantity) -> ChainEvidence:
        """Return the chance of a number on a meter in every state."""
        table = self._over_states(
            question, lambda atoms: [likelihood(self._metered(question, atoms), read)]
        )
        return ChainEvidence(self.chain_of(question.subject), table[..., 0])

    def of_sweep(self, question: Question, reading: SweepReading) -> ChainEvidence:
        """Return the chance of the figures of an impedance sweep in every state."""
        table = self._over_states(
            question,
            lambda atoms: [
                sweep_likelihood(
                    self.sweeps.predict(question.subject, atoms, frequencies=reading.frequencies),
                    reading,
                )
            ],
        )
        return ChainEvidence(self.chain_of(question.subject), table[..., 0])

    def healthy_words(self, question: Question) -> str:
        """What the test says when all is well, on this very vehicle."""
        if question.test in METER_TESTS:
            chain = self.chains[self.chain_of(question.subject)]
            return self.meter.expected(question.test, question.subject, chain).text
        if question.test == SWEEP:
            sound = self.sweeps.expected(question.subject)
            figures = (
                ("resonance", sound.resonance, "Hz"),
                ("peak", sound.peak, "ohm"),
                ("coil", sound.resistance, "ohm"),
            )
            said = [f"{name} {wording.number(x or 0.0, unit)}" for name, x, unit in figures]
            return ", ".join(said)
        return trade.test(question.test).healthy

    def _metered(self, question: Question, atoms: Iterable[Atom]) -> Mixture:
        chain = self.chains[self.chain_of(question.subject)]
        return self.meter.predict(question.test, question.subject, atoms, chain)

    def _healthy(self, question: Question) -> Mixture:
        return self._metered(question, self.chains[self.chain_of(question.subject)].known)

    def _over_states(
        self, question: Question, judge: Callable[[frozenset[Atom]], Sequence[float]]
    ) -> FloatArray:
        """Judge what an instrument shows in every state; most states look alike to it."""
        if question not in self._looks:
            self._looks[question] = self._look(question)
        shared, own = self._looks[question]
        judged = np.array([[judge(one | other) for other in own.kinds] for one in shared.kinds])
        return judged[np.ix_(shared.states, own.states)]

    def _look(self, question: Question) -> tuple[_Alike, _Alike]:
        index = self.chain_of(question.subject)
        chain = self.chains[index]
        states = [chain.faults(state) for state in chain.states] if index > 0 else [()]
        visible = effects_of(question.test)
        return _Alike.of(self._shared(), visible), _Alike.of(states, visible)

    @cached_property
    def _looks(self) -> dict[Question, tuple[_Alike, _Alike]]:
        return {}

    def of_word(self, question: Question, word: str) -> Evidence:
        """Return the chance of a word in every state.

        Raises:
            BadInputError: the test is not answered with that word; names those that are.

        """
        words = trade.word_table(question.test)
        if word not in words.words:
            allowed = ", ".join(words.words)
            raise BadInputError(f"{question.test} is not answered with {word!r}, but: {allowed}")
        if trade.test(question.test).target == "pair":
            if question not in self._of_pairs:
                self._of_pairs[question] = self._pair_words(question)
            return self._of_pairs[question][word]
        return ChainEvidence(
            self.chain_of(question.subject),
            self.word_chances(question)[..., words.words.index(word)],
        )

    def of_words(self, question: Question, odds: Mapping[str, float]) -> Evidence:
        """Return the chance of a recording in every state, by how well it goes with each word.

        A recording is evidence of what an ear would have said there, and of nothing else:
        P(recording) = sum of P(word) times its weight (Pearl, Probabilistic Reasoning in
        Intelligent Systems, 1988, on virtual evidence; from memory).

        Raises:
            BadInputError: the test is not answered with one of the words.

        """
        most = max(odds.values())
        parts = [(self.of_word(question, word), weight / most) for word, weight in odds.items()]
        table = np.sum([part.table * weight for part, weight in parts], axis=0)
        return replace(parts[0][0], table=table)

    def word_chances(self, question: Question) -> FloatArray:
        """Chance of every word of a test, shape (shared states, states, words)."""
        words = trade.word_table(question.test)
        index = self.chain_of(question.subject)
        chain = self.chains[index]
        heard = self._heard(chain, question, words)
        shared = _mixes(self._shared(), heard, words)
        if index == 0:
            return np.array([[mix.chances()] for mix in shared])
        own = _mixes([chain.faults(state) for state in chain.states], heard, words)
        return chances_of(shared, own, words)

    def _shared(self) -> list[tuple[Atom, ...]]:
        return [self.chains[0].faults(state) for state in self.chains[0].states]

    def _heard(
        self, chain: Chain, question: Question, words: trade.WordTable
    ) -> dict[Atom, Mapping[str, float]]:
        """Rows of the word table for the faults that a test at this subject can notice."""
        atoms = {
            atom
            for each in (self.chains[0], chain)
            for atom in (*each.known, *each.atoms)
            if self._reaches(atom, chain, question)
        }
        return {atom: self._row(words, atom, chain, question) for atom in atoms}

    def _reaches(self, atom: Atom, chain: Chain, question: Question) -> bool:
        if atom.subject in self._amplifiers and chain.channel is not None:
            return atom.subject == chain.channel.driven_by
        if atom.subject in (VEHICLE, chain.id, question.subject):
            return True
        if trade.test(question.test).target == "channel":
            return True
        # Treble is missing at the tweeter also when it is the woofer's place that was named.
        return question.test == "treble-burst" and self._is_small(atom, chain)

    def _is_small(self, atom: Atom, chain: Chain) -> bool:
        """Whether a fault is at a tweeter."""
        return any(
            place.id == atom.subject and is_tweeter(place, chain.channel) for place in chain.places
        )

    def _row(
        self, words: trade.WordTable, atom: Atom, chain: Chain, question: Question
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
        words = trade.word_table(question.test)
        left, right = self.pairs[question.subject]
        classes, mixes = [], []
        for number in (left, right):
            members, kinds = self._pair_classes(self.chains[number], words)
            classes.append(members)
            mixes.append(kinds)
        sides = [self.chains[number].woofer for number in (left, right)]
        assert sides[0] is not None
        assert sides[1] is not None
        weaker = weaker_together(self.build, sides[0], sides[1])
        table = np.array(
            [[pair_chances(one, other, words, weaker) for other in mixes[1]] for one in mixes[0]]
        )
        return {
            word: PairFactor(left, right, classes[0], classes[1], table[:, :, k])
            for k, word in enumerate(words.words)
        }

    def _pair_classes(
        self, chain: Chain, words: trade.WordTable
    ) -> tuple[np.ndarray[tuple[int], np.dtype[np.intp]], list[Side]]:
        woofer = chain.woofer
        assert woofer is not None
        turned = Atom("reversed", woofer.id)
        kinds: dict[Side, int] = {}
        sides: dict[tuple[bool, tuple[str, ...]], int] = {}
        members = []
        for state in chain.states:
            atoms = chain.faults(state)
            others = tuple(sorted(atom.fault for atom in atoms if atom.fault != "reversed"))
            key = (turned in atoms, others)
            if key not in sides:
                side = Side(key[0], Mix.of([words.chance[fault] for fault in others], words))
                sides[key] = kinds.setdefault(side, len(kinds))
            members.append(sides[key])
        return np.array(members, dtype=np.intp), list(kinds)


def _mixes(
    states: Iterable[Sequence[Atom]],
    heard: Mapping[Atom, Mapping[str, float]],
    words: trade.WordTable,
) -> list[Mix]:
    """What each state sounds like; most states sound alike to one test."""
    known: dict[tuple[Atom, ...], Mix] = {}
    found = []
    for atoms in states:
        near = tuple(atom for atom in atoms if atom in heard)
        if near not in known:
            known[near] = Mix.of([heard[atom] for atom in near], words)
        found.append(known[near])
    return found


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
