"""Exact odds over the states of all chains, given complaints and readings.

Given the state of what all channels share, chains are independent but for twins: age rots both
surrounds, and a mono test hears two chains at once. Both act through a few classes of states, so
that the sum over all combinations folds into small products. What ties everything together is that
a complaint has a cause somewhere; that is inclusion and exclusion over the complaints.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from conewright.physics.arrays import FloatArray
from conewright.stages.find.chains import Atom, Chain

__all__ = ["Complained", "Model", "Odds", "PairFactor", "infer"]


@dataclass(frozen=True)
class Complained:
    """A complaint: it has one of these causes, or else, with this small chance, none at all."""

    id: str
    causes: frozenset[Atom]
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
        complaints: what is known to have a cause.

    """

    chains: tuple[Chain, ...]
    weights: tuple[FloatArray, ...]
    pairs: tuple[PairFactor, ...] = ()
    complaints: tuple[Complained, ...] = ()


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

    def of_atoms(self) -> dict[Atom, float]:
        """Chance of every fault; 1 for a known one."""
        chances = {atom: 1.0 for chain in self.model.chains for atom in chain.known}
        for number, chain in enumerate(self.model.chains):
            states = self.joint[number].sum(axis=1 if number == 0 else 0)
            for index, atom in enumerate(chain.atoms):
                present = [index in state for state in chain.states]
                chances[atom] = float(states[present].sum())
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
        ValueError: the readings have no chance at all in any state.

    """
    fold = _Fold(model, likelihoods, tuple(readings))
    total = 0.0
    joint = [np.zeros(shape) for shape in fold.shapes]
    for sign, absent in _signed_subsets(model.complaints):
        part, parts = fold.without(absent)
        total += sign * part
        for number, values in enumerate(parts):
            joint[number] += sign * values
    if not total > 0.0:
        raise ValueError("these readings cannot all come from this vehicle")
    return Odds(
        model=model,
        joint=tuple(np.maximum(values / total, 0.0) for values in joint),
        log_evidence=float(np.log(total)) + fold.log_scale,
    )


def _signed_subsets(
    complaints: Sequence[Complained],
) -> Iterable[tuple[float, frozenset[Atom]]]:
    """Expand the product of (1 - (1 - h) [no cause present]) over the complaints."""
    for size in range(len(complaints) + 1):
        for chosen in combinations(complaints, size):
            sign = float(np.prod([complaint.groundless - 1.0 for complaint in chosen]))
            yield sign, frozenset().union(*(complaint.causes for complaint in chosen))


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
                raise ValueError("these readings cannot all come from this vehicle")
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

    def without(self, absent: frozenset[Atom]) -> tuple[float, list[FloatArray]]:
        """Sum, and joint tables, over the states in which none of these atoms is present."""
        tables = [table * self._mask(number, absent) for number, table in enumerate(self.scaled)]
        coupled = self._coupled()
        messages: list[FloatArray] = [np.ones_like(tables[0][:, 0])] * len(tables)
        blocks: list[FloatArray] = []
        for left, right, factor in coupled:
            # factor[l, r] over states of both chains; rows of the tables are shared states.
            to_left = tables[right] @ factor.T
            to_right = tables[left] @ factor
            messages[left], messages[right] = to_left, to_right
            blocks.append(np.sum(tables[left] * to_left, axis=1))
        paired = {number for left, right, _ in coupled for number in (left, right)}
        alone = [n for n in range(1, len(tables)) if n not in paired]
        blocks += [tables[number].sum(axis=1) for number in alone]
        product = tables[0][:, 0] * np.prod(blocks, axis=0) if blocks else tables[0][:, 0]
        joints = [product[:, None]]
        for number in range(1, len(tables)):
            message = messages[number] if number in paired else np.ones_like(tables[number])
            own = tables[number] * message
            whole = own.sum(axis=1)
            rest = np.divide(product, whole, out=np.zeros_like(product), where=whole > 0.0)
            joints.append(own * rest[:, None])
        return float(product.sum()), joints

    def _mask(self, number: int, absent: frozenset[Atom]) -> FloatArray:
        chain = self.model.chains[number]
        hit = [any(chain.atoms[index] in absent for index in state) for state in chain.states]
        keep = np.where(hit, 0.0, 1.0)
        return keep[:, None] if number == 0 else keep

    def _coupled(self) -> list[tuple[int, int, FloatArray]]:
        """One table over the states of both chains for every coupled pair."""
        tables: dict[tuple[int, int], FloatArray] = {}
        for factor in (*self.model.pairs, *self.readings):
            spread = factor.table[np.ix_(factor.left_class, factor.right_class)]
            key = (factor.left, factor.right)
            tables[key] = tables[key] * spread if key in tables else spread
        return [(left, right, table) for (left, right), table in tables.items()]
