"""Exact odds over the states of all chains, given complaints and readings.

Given the state of what all channels share, chains are independent but for twins: age rots both
surrounds, and a mono test hears two chains at once. Both act through a few classes of states, so
that the sum over all combinations folds into small products. What ties everything together is that
a complaint comes from some fault somewhere, each bringing it on with its own chance (a noisy or).
So for every chain the sum goes over the sets of complaints that it may bring on; the rest of the
vehicle brings on what is left.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, reduce

import numpy as np
from numpy.typing import NDArray

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import Atom, Chain
from conewright.stages.find.odds.covering import brought_exactly, covered, covered_by_any

__all__ = ["Complained", "Model", "Odds", "PairFactor", "infer"]


@dataclass(frozen=True, eq=False)
class Complained:
    """A complaint: each fault that is there brings it on with its own chance.

    `groundless` is the chance of the complaint with none of its causes there.
    """

    id: str
    causes: Mapping[Atom, float]
    groundless: float


@dataclass(frozen=True)
class PairFactor:
    """What two chains say together: classes of the states of each, and a table over classes.

    Attributes:
        left, right: index of the chains.
        left_class, right_class: class of every state, shape (states,).
        table: chance for every pair of classes, shape (left classes, right classes).

    """

    left: int
    right: int
    left_class: NDArray[np.intp]
    right_class: NDArray[np.intp]
    table: FloatArray


@dataclass(frozen=True)
class Model:
    """A vehicle's chains with their prior odds; chain 0 is what all share.

    Attributes:
        chains: the chains, the shared one first.
        weights: prior weight of every state of every chain, no fault weighing 1.
        pairs: factors over pairs of chains that always hold, at most one pair a chain.
        complaints: what the owner said; each triples the work.
        aside: ids of complaints that are not reckoned with.

    """

    chains: tuple[Chain, ...]
    weights: tuple[FloatArray, ...]
    pairs: tuple[PairFactor, ...] = ()
    complaints: tuple[Complained, ...] = ()
    aside: tuple[str, ...] = ()

    @cached_property
    def brings(self) -> tuple[FloatArray, ...]:
        """Chance that each state brings each complaint on, shape (complaints, states), by chain.

        What brings a complaint on with no cause there counts to what all share.
        """
        groundless = np.array([complaint.groundless for complaint in self.complaints])
        shared, *others = (_brings(chain, self.complaints) for chain in self.chains)
        return (_either(groundless[:, None], shared), *others)

    @cached_property
    def exactly(self) -> tuple[FloatArray, ...]:
        """Chance that each state brings on exactly a set, shape (sets, states), by chain."""
        return tuple(brought_exactly(brings) for brings in self.brings)


@dataclass(frozen=True)
class Odds:
    """The answer: chances of states and of faults.

    Attributes:
        joint: for every chain, chance of (shared state, state), shape (shared, states); chain 0
            has shape (shared, 1).
        log_evidence: logarithm of the chance of all readings together.
        unsaid: for every complaint, what `joint` would be without it, in the same proportion: a
            fault's chance to bring the complaint on, times this, is the chance that it did.

    """

    model: Model
    joint: tuple[FloatArray, ...]
    log_evidence: float
    unsaid: tuple[tuple[FloatArray, ...], ...] = ()

    def of_atoms(self) -> dict[Atom, float]:
        """Chance of every fault; 1 for a known one."""
        chances = {atom: 1.0 for chain in self.model.chains for atom in chain.known}
        for number, chain in enumerate(self.model.chains):
            held = self.of_states(number) @ chain.members
            # Sums of many states may come out a rounding above 1.
            chances |= dict(zip(chain.atoms, np.minimum(held, 1.0).tolist(), strict=True))
        return chances

    def of_states(self, number: int) -> FloatArray:
        """Chance of every state of a chain, shape (states,)."""
        return np.asarray(self.joint[number].sum(axis=1 if number == 0 else 0))


def infer(
    model: Model,
    likelihoods: Mapping[int, FloatArray],
    readings: Iterable[PairFactor] = (),
) -> Odds:
    """Return the odds given the readings.

    Args:
        model: chains, priors, complaints.
        likelihoods: for a chain, the chance of its readings for every shared state and state,
            shape (shared, states), or (shared,) for chain 0; a chain without one has no reading.
        readings: readings that hear two chains at once.

    Returns:
        Exact odds: the sum over every combination of states, done by factors.

    Raises:
        BadInputError: the readings have no chance at all in any state.

    """
    fold = _Fold(model, likelihoods, tuple(readings))
    tables = fold.tables()
    total = float(tables[0][0].sum())
    if not total > 0.0:
        raise BadInputError("these readings cannot all come from this vehicle")
    joint, *unsaid = (
        tuple(table[number] / total for table in tables)
        for number in range(1 + len(model.complaints))
    )
    return Odds(model, joint, float(np.log(total)) + fold.log_scale, tuple(unsaid))


def _either(one: FloatArray, other: FloatArray) -> FloatArray:
    """Chance that one of two independent causes brings something on, small ones kept exact."""
    return np.asarray(one + other * (1.0 - one))


def _brings(chain: Chain, complaints: Sequence[Complained]) -> FloatArray:
    """Chance that the faults of a state bring a complaint on, shape (complaints, states)."""
    alone = (
        np.outer([complaint.causes.get(atom, 0.0) for complaint in complaints], held)
        for atom, held in zip(chain.atoms, chain.members.T, strict=True)
    )
    return reduce(_either, alone, np.zeros((len(complaints), len(chain.states))))


@dataclass
class _Fold:
    """Messages between chains, shared states down the rows."""

    model: Model
    likelihoods: Mapping[int, FloatArray]
    readings: tuple[PairFactor, ...]
    scaled: list[FloatArray] = field(init=False)
    log_scale: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        self.scaled = []
        for number, weights in enumerate(self.model.weights):
            table = self._likelihood(number) * (weights[:, None] if number == 0 else weights)
            peak = float(table.max())
            if not peak > 0.0:
                raise BadInputError("these readings cannot all come from this vehicle")
            # Scaling keeps long series of readings from running out of floating-point range.
            self.log_scale += float(np.log(peak))
            self.scaled.append(table / peak)

    def _likelihood(self, number: int) -> FloatArray:
        shared = len(self.model.chains[0].states)
        count = 1 if number == 0 else len(self.model.chains[number].states)
        given = self.likelihoods.get(number)
        if given is None:
            return np.ones((shared, count))
        return np.asarray(given, dtype=float).reshape(shared, count)

    def tables(self) -> list[FloatArray]:
        """Weight of every state of every chain, shape (1 + complaints, shared, states).

        The first is with all complaints, each other one without one of them.
        """
        nothing = np.zeros((2 ** len(self.model.complaints), 1))
        nothing[0] = 1.0
        if len(self.scaled) == 1:
            alone = self._left_over(np.repeat(nothing, len(self.scaled[0]), axis=1))
            return [alone[:, 0, :, None] * self.scaled[0]]
        found = {}
        kinds, kind = self._shared_kinds
        for block, rest in _rests(self._blocks(kinds), np.repeat(nothing, len(kinds), axis=1)):
            for which, side in enumerate(block.sides):
                found[side.chain] = self._of_side(side, block.beside(which, rest)[..., kind])
        return [found[1].sum(axis=2, keepdims=True), *(found[n] for n in sorted(found))]

    def _of_side(self, side: _Side, beside: FloatArray) -> FloatArray:
        """Weights of the states of a chain, given those of all other channels by its classes."""
        exactly = self.model.exactly[side.chain]
        parts = np.zeros((1 + len(self.model.complaints), *self.scaled[side.chain].shape))
        for number, needed in enumerate(beside):
            held = side.classes == number
            parts[..., held] = self._left_over(needed).transpose(0, 2, 1) @ exactly[:, held]
        return parts * self.scaled[0] * self.scaled[side.chain]

    def _left_over(self, needed: FloatArray) -> FloatArray:
        """Weight of what a chain leaves to all others, by the set that it brings on itself.

        Shape (1 + complaints, sets, shared): with all complaints, and without each of them.
        """
        every = covered(self.model.brings[0], needed)[::-1]
        sets = np.arange(len(every))
        bits = [0, *(1 << number for number in range(len(self.model.complaints)))]
        return np.asarray(every[np.array([sets | bit for bit in bits])])

    @property
    def _shared_kinds(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """One shared state of each kind that no channel tells apart, and the kind of each."""
        rows = np.concatenate(self.scaled[1:], axis=1)
        _, first, kind = np.unique(rows, axis=0, return_index=True, return_inverse=True)
        return first, np.ravel(kind)

    def _blocks(self, kinds: NDArray[np.intp]) -> list[_Block]:
        """Chains that nothing ties to others, and pairs that something ties together."""
        factors: dict[tuple[int, int], list[PairFactor]] = {}
        for factor in (*self.model.pairs, *self.readings):
            factors.setdefault((factor.left, factor.right), []).append(factor)
        blocks = []
        for (left, right), group in factors.items():
            left_kinds, left_class = _joint_classes([factor.left_class for factor in group])
            right_kinds, right_class = _joint_classes([factor.right_class for factor in group])
            table = np.ones((len(left_kinds), len(right_kinds)))
            for number, factor in enumerate(group):
                table *= factor.table[np.ix_(left_kinds[:, number], right_kinds[:, number])]
            sides = (self._side(left, left_class, kinds), self._side(right, right_class, kinds))
            blocks.append(_Block(sides, table))
        tied = {number for pair in factors for number in pair}
        for number in range(1, len(self.scaled)):
            if number not in tied:
                alike = np.zeros(self.scaled[number].shape[1], dtype=np.intp)
                blocks.append(_Block((self._side(number, alike, kinds),), np.ones((1, 1))))
        return blocks

    def _side(self, chain: int, classes: NDArray[np.intp], kinds: NDArray[np.intp]) -> _Side:
        return _Side(chain, classes, self.model.brings[chain], self.scaled[chain][kinds].T)


@dataclass(frozen=True)
class _Side:
    """A chain with the classes of its states, what they bring on, and their weights.

    Shapes (states,), (complaints, states) and (states, shared).
    """

    chain: int
    classes: NDArray[np.intp]
    brings: FloatArray
    weights: FloatArray

    def covered(self, needed: FloatArray) -> FloatArray:
        """Weight of each class with at least a set brought on, by it or by others.

        Args: needed: by others, for each class, (classes, sets, shared). Returns: The same shape.
        """
        held = [self.classes == number for number in range(len(needed))]
        return np.stack(
            [
                covered_by_any(self.brings[:, each], self.weights[each], left)
                for each, left in zip(held, needed, strict=True)
            ]
        )


@dataclass(frozen=True)
class _Block:
    """One chain, or two that a table over the classes of their states ties together."""

    sides: tuple[_Side, ...]
    table: FloatArray

    def beside(self, which: int, needed: FloatArray) -> FloatArray:
        """Weight with which all but a side bring on at least a set, for each class of the side.

        Args: needed: the same without this block, (sets, shared).
        Returns: Shape (classes, sets, shared).
        """
        if len(self.sides) == 1:
            return needed[None]
        table = self.table if which == 0 else self.table.T
        alike = np.broadcast_to(needed, (table.shape[1], *needed.shape))
        return np.asarray(np.tensordot(table, self.sides[1 - which].covered(alike), 1))

    def joined(self, needed: FloatArray) -> FloatArray:
        """Weight with which this block and others bring on at least a set, (sets, shared)."""
        return np.asarray(self.sides[0].covered(self.beside(0, needed)).sum(axis=0))


def _rests(blocks: Sequence[_Block], needed: FloatArray) -> Iterator[tuple[_Block, FloatArray]]:
    """Each block with the weight with which all others bring on at least a set."""
    if len(blocks) == 1:
        yield blocks[0], needed
        return
    half = len(blocks) // 2
    one, other = blocks[:half], blocks[half:]
    for near, far in ((one, other), (other, one)):
        yield from _rests(near, reduce(lambda rest, block: block.joined(rest), far, needed))


def _joint_classes(
    classes: list[NDArray[np.intp]],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Classes of states alike in all factors, and the class of each state."""
    kinds, kind = np.unique(np.stack(classes, axis=1), axis=0, return_inverse=True)
    return kinds, np.ravel(kind)
