"""Exact odds over the states of all chains, given complaints and readings.

Given the state of what all channels share, chains are independent but for twins: age rots both
surrounds, and a mono test hears two chains at once. Both act through a few classes of states, so
that the sum over all combinations folds into small products. What ties everything together is that
a complaint comes from some fault somewhere. It stays away if every fault keeps quiet, each with its
own chance (a noisy or); so its chance is a difference of two products over chains.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import Atom, Chain

__all__ = ["Complained", "Model", "Odds", "PairFactor", "Term", "infer"]


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
class Term:
    """One term of the chance of all complaints.

    Attributes:
        sign: its sign, with what does not depend on the faults.
        quiet: the complaints that nothing brings on in it.
        factors: for every chain a factor for every state, shape (states,).

    """

    sign: float
    quiet: tuple[Complained, ...]
    factors: tuple[FloatArray, ...]


@dataclass(frozen=True)
class Model:
    """A vehicle's chains with their prior odds; chain 0 is what all share.

    Attributes:
        chains: the chains, the shared one first.
        weights: prior weight of every state of every chain, no fault weighing 1.
        pairs: factors over pairs of chains that always hold, at most one pair a chain.
        complaints: what the owner said.

    """

    chains: tuple[Chain, ...]
    weights: tuple[FloatArray, ...]
    pairs: tuple[PairFactor, ...] = ()
    complaints: tuple[Complained, ...] = ()

    @cached_property
    def terms(self) -> tuple[Term, ...]:
        """The chance of all complaints as a sum of products over chains.

        The product of (1 - [chance that no fault brings it on]) over the complaints, multiplied
        out.
        """
        terms = []
        for size in range(len(self.complaints) + 1):
            for chosen in combinations(self.complaints, size):
                sign = float(np.prod([complaint.groundless - 1.0 for complaint in chosen]))
                factors = tuple(_quiet(chain, chosen) for chain in self.chains)
                terms.append(Term(sign, chosen, factors))
        return tuple(terms)


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
            chances |= dict(zip(chain.atoms, held.tolist(), strict=True))
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
    sums = [_Sum(fold.shapes) for _ in range(1 + len(model.complaints))]
    for term in model.terms:
        part, parts = fold.weighed(term.factors)
        sums[0].add(term.sign, part, parts)
        for number, complaint in enumerate(model.complaints, start=1):
            if complaint not in term.quiet:
                sums[number].add(term.sign, part, parts)
    whole, *without = sums
    if not whole.total > 0.0:
        raise BadInputError("these readings cannot all come from this vehicle")
    return Odds(
        model=model,
        joint=whole.scaled(whole.total),
        log_evidence=float(np.log(whole.total)) + fold.log_scale,
        unsaid=tuple(each.scaled(whole.total) for each in without),
    )


class _Sum:
    """A sum of joint tables with signs."""

    def __init__(self, shapes: Iterable[tuple[int, ...]]) -> None:
        self.total = 0.0
        self.joint = [np.zeros(shape) for shape in shapes]

    def add(self, sign: float, part: float, parts: Iterable[FloatArray]) -> None:
        self.total += sign * part
        for joint, values in zip(self.joint, parts, strict=True):
            joint += sign * values

    def scaled(self, total: float) -> tuple[FloatArray, ...]:
        return tuple(np.maximum(joint / total, 0.0) for joint in self.joint)


def _quiet(chain: Chain, complaints: Sequence[Complained]) -> FloatArray:
    """Chance that no fault of a state brings on any of these complaints, shape (states,)."""
    silent = [
        float(np.prod([1.0 - complaint.causes.get(atom, 0.0) for complaint in complaints]))
        for atom in chain.atoms
    ]
    return np.asarray(np.prod(np.where(chain.members > 0.0, silent, 1.0), axis=1))


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

    @property
    def shapes(self) -> list[tuple[int, ...]]:
        return [table.shape for table in self.scaled]

    def _likelihood(self, number: int) -> FloatArray:
        shared = len(self.model.chains[0].states)
        count = 1 if number == 0 else len(self.model.chains[number].states)
        given = self.likelihoods.get(number)
        if given is None:
            return np.ones((shared, count))
        return np.asarray(given, dtype=float).reshape(shared, count)

    def weighed(self, factors: Sequence[FloatArray]) -> tuple[float, list[FloatArray]]:
        """Sum, and joint tables, over all states, each weighed with its chain's factor."""
        shared, *others = factors
        tables = [self.scaled[0] * shared[:, None]]
        tables += [table * own for table, own in zip(self.scaled[1:], others, strict=True)]
        messages: dict[int, FloatArray] = {}
        blocks: list[FloatArray] = []
        for pair in self._coupled:
            left, right = tables[pair.left], tables[pair.right]
            # Sums over the states of each class; rows are shared states.
            to_left = (right @ pair.right_members) @ pair.table.T @ pair.left_members.T
            to_right = (left @ pair.left_members) @ pair.table @ pair.right_members.T
            messages[pair.left], messages[pair.right] = to_left, to_right
            blocks.append(np.sum(left * to_left, axis=1))
        alone = [n for n in range(1, len(tables)) if n not in messages]
        blocks += [tables[number].sum(axis=1) for number in alone]
        product = tables[0][:, 0] * np.prod(blocks, axis=0) if blocks else tables[0][:, 0]
        joints = [product[:, None]]
        for number in range(1, len(tables)):
            own = tables[number] * messages.get(number, 1.0)
            whole = own.sum(axis=1)
            rest = np.divide(product, whole, out=np.zeros_like(product), where=whole > 0.0)
            joints.append(own * rest[:, None])
        return float(product.sum()), joints

    @cached_property
    def _coupled(self) -> list[_Coupling]:
        """One table over joint classes for every pair of chains that something ties together."""
        factors: dict[tuple[int, int], list[PairFactor]] = {}
        for factor in (*self.model.pairs, *self.readings):
            factors.setdefault((factor.left, factor.right), []).append(factor)
        return [_Coupling.of(group) for group in factors.values()]


@dataclass(frozen=True)
class _Coupling:
    """Factors over one pair of chains, joined: members of each class, and a table over classes."""

    left: int
    right: int
    left_members: FloatArray
    right_members: FloatArray
    table: FloatArray

    @classmethod
    def of(cls, factors: Sequence[PairFactor]) -> _Coupling:
        left, left_members = _joint_classes([factor.left_class for factor in factors])
        right, right_members = _joint_classes([factor.right_class for factor in factors])
        table = np.ones((len(left), len(right)))
        for number, factor in enumerate(factors):
            table = table * factor.table[np.ix_(left[:, number], right[:, number])]
        return cls(factors[0].left, factors[0].right, left_members, right_members, table)


def _joint_classes(classes: list[NDArray[np.intp]]) -> tuple[NDArray[np.intp], FloatArray]:
    """Classes of states alike in all factors, and which state is in which, (states, classes)."""
    kinds, members = np.unique(np.stack(classes, axis=1), axis=0, return_inverse=True)
    return kinds, np.eye(len(kinds))[np.ravel(members)]
