"""Exact odds over the states of all chains, given complaints and readings.

Given the state of what all channels share, chains are independent but for twins: age rots both
surrounds, and a mono test hears two chains at once. Both act through a few classes of states, so
that the sum over all combinations folds into small products. What ties everything together is that
a complaint comes from some fault somewhere, each bringing it on with its own chance (a noisy or).
So for every chain the sum goes over the sets of complaints that it may bring on; the rest of the
vehicle brings on what is left.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, reduce
from math import prod

import numpy as np
from numpy.typing import NDArray

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import Atom, Chain
from conewright.stages.find.odds.blocks import Block, Side, rests
from conewright.stages.find.odds.covering import Alike, Indices, dwindling, either

__all__ = ["Complained", "Model", "Odds", "PairFactor", "infer"]


@dataclass(frozen=True, eq=False)
class Complained:
    """A complaint: each fault that is there brings it on with its own chance.

    Attributes:
        id: the words, and where.
        causes: chance of each fault that may be there to bring it on.
        from_nothing: chance of the complaint with no fault behind it.
        known: the same as `causes` of faults that are certain, or were until they were mended.

    """

    id: str
    causes: Mapping[Atom, float]
    from_nothing: float
    known: Mapping[Atom, float] = field(default_factory=dict)

    @property
    def groundless(self) -> float:
        """Chance of the complaint with none of its causes there."""
        return 1.0 - (1.0 - self.from_nothing) * prod(1.0 - told for told in self.known.values())


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
        complaints: what the owner said; each at most triples the sum.
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
        return (either(groundless[:, None], shared), *others)

    @cached_property
    def order(self) -> list[int]:
        """The order of complaints that takes the least work."""
        return dwindling(self.brings)

    @cached_property
    def alike(self) -> tuple[Alike, ...]:
        """What states do to complaints, in the order above, by chain; nothing for chain 0."""
        nobody = np.zeros((len(self.complaints), 1))
        return tuple(Alike.of(brings[self.order]) for brings in (nobody, *self.brings[1:]))


@dataclass(frozen=True)
class Odds:
    """The answer: chances of states and of faults.

    Attributes:
        joint: for every chain, chance of (shared state, state), shape (shared, states); chain 0
            has shape (shared, 1).
        log_evidence: logarithm of the chance of all readings together.

    """

    model: Model
    joint: tuple[FloatArray, ...]
    log_evidence: float
    _fold: _Fold

    @cached_property
    def unsaid(self) -> tuple[tuple[FloatArray, ...], ...]:
        """For every complaint, what `joint` would be without it, in the same proportion.

        A fault's chance to bring the complaint on, times this, is the chance that it did.
        """
        every, *single = self._fold.tables(singly=True)
        total = float(every[0].sum())
        return tuple(tuple(table / total for table in tables) for tables in single)

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
    (tables,) = fold.tables(singly=False)
    total = float(tables[0].sum())
    if not total > 0.0:
        raise BadInputError("these readings cannot all come from this vehicle")
    joint = tuple(table / total for table in tables)
    return Odds(model, joint, float(np.log(total)) + fold.log_scale, fold)


def _brings(chain: Chain, complaints: Sequence[Complained]) -> FloatArray:
    """Chance that the faults of a state bring a complaint on, shape (complaints, states)."""
    causes = [[complaint.causes.get(atom, 0.0) for complaint in complaints] for atom in chain.atoms]
    alone = np.reshape(causes, (len(chain.atoms), -1, 1)) * chain.members.T[:, None, :]
    # Sorted, so that faults alike come out alike to the last digit.
    nothing = np.zeros((len(complaints), len(chain.states)))
    return reduce(either, np.sort(alone, axis=0)[::-1], nothing)


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

    def tables(self, *, singly: bool) -> list[list[FloatArray]]:
        """Weight of every state of every chain, shape (shared, states), with all complaints.

        If singly, then also without each of them, one after the other.
        """
        first, kind = self._shared_kinds
        blocks = self._blocks(first)
        common = Alike.of(self.model.brings[0][self.model.order], kind)
        back = [0, *(1 + np.argsort(self.model.order))] if singly else [0]
        found = {}
        for block, rest in zip(blocks, rests([block.brought() for block in blocks]), strict=True):
            for side, beside in zip(
                block.sides, block.beside(rest, common, singly=singly), strict=True
            ):
                found[side.chain] = beside[back] * self.scaled[0] * self._own(side.chain)
        found.setdefault(0, found[max(found)].sum(axis=2, keepdims=True))
        return [[found[n][which] for n in range(len(self.scaled))] for which in range(len(back))]

    @property
    def _shared_kinds(self) -> tuple[Indices, Indices]:
        """One shared state of each kind that no channel tells apart, and the kind of each."""
        rows = np.concatenate([self._own(number) for number in range(len(self.scaled))], axis=1)
        first: dict[bytes, int] = {}
        alike = [first.setdefault(row.tobytes(), number) for number, row in enumerate(rows)]
        return np.unique(np.array(alike, dtype=np.intp), return_inverse=True)

    def _own(self, number: int) -> FloatArray:
        """Weights of the states of a chain, (shared, states); of none for what all share."""
        return np.ones_like(self.scaled[0]) if number == 0 else self.scaled[number]

    def _blocks(self, first: Indices) -> list[Block]:
        """The chains two by two: those that something ties together, then all others."""
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
            sides = (self._side(left, first, left_class), self._side(right, first, right_class))
            blocks.append(Block(sides, table))
        tied = {number for pair in factors for number in pair}
        free = [number for number in range(1, len(self.scaled)) if number not in tied]
        # An odd one out has none beside it, which stands for what all share.
        free += [0] * (len(free) % 2 or 2 * (not blocks and not free))
        for left, right in zip(free[::2], free[1::2], strict=True):
            blocks.append(
                Block((self._side(left, first), self._side(right, first)), np.ones((1, 1)))
            )
        return blocks

    def _side(self, number: int, first: Indices, classes: Indices | None = None) -> Side:
        weights = self._own(number)[first]
        none = np.zeros(weights.shape[1], dtype=np.intp)
        alike = self.model.alike[number]
        return Side(number, alike, none if classes is None else classes, weights)


def _joint_classes(
    classes: list[NDArray[np.intp]],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Classes of states alike in all factors, and the class of each state."""
    kinds, kind = np.unique(np.stack(classes, axis=1), axis=0, return_inverse=True)
    return kinds, np.ravel(kind)
