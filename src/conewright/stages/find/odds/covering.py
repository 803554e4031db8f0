"""Sets of complaints: which of them are brought on, and which are left for others to bring on.

A set of n complaints is a number below 2^n, one bit a complaint; tables run over all sets down
their first axis. A complaint counts as brought on however many causes it has, so what two causes
bring on is the union of both sets. Chances are multiplied and added here, never subtracted but
from 1: the chance of many complaints together is far smaller than that of any, and a difference of
large numbers would lose it.

Complaints are taken one after the other. Most faults bring most complaints on alike, so that states
that differ in what they do to the complaints so far soon do not differ in what is to come, and
count as one from there on: as the sets double, the states dwindle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray

__all__ = ["Alike", "Indices", "Step", "at_least", "dwindling", "either", "together"]

Indices = NDArray[np.intp]
"""Numbers of rows or columns."""


@dataclass(frozen=True)
class Step:
    """What kinds of states do to one complaint, and the kinds they are for those that follow.

    Attributes:
        chance: that a kind brings the complaint on, shape (kinds,).
        onward: the kind that each is for the complaints that follow, shape (kinds,).

    """

    chance: FloatArray
    onward: Indices

    @cached_property
    def any(self) -> FloatArray:
        """Adds what is of one kind from here on, shape (kinds that follow, kinds)."""
        return np.equal.outer(np.arange(self.onward.max() + 1), self.onward).astype(float)

    @cached_property
    def brought(self) -> FloatArray:
        """The same with the complaint brought on."""
        return np.asarray(self.any * self.chance)

    @cached_property
    def quiet(self) -> FloatArray:
        """The same with the complaint not brought on."""
        return np.asarray(self.any * (1.0 - self.chance))


@dataclass(frozen=True)
class Alike:
    """The states of a chain by what they do to complaints: kinds, and a step for each complaint.

    Attributes:
        kind: kind of every state for all complaints, shape (states,).
        steps: one for each complaint; after the last all states of a label are of one kind.

    """

    kind: Indices
    steps: tuple[Step, ...]

    @classmethod
    def of(cls, brings: FloatArray, labels: Indices | None = None) -> Alike:
        """Sort states by the chance that each brings complaints on, (complaints, states).

        States of different labels stay apart, whatever they do.
        """
        states = brings.shape[1]
        later = np.zeros(states, dtype=np.intp) if labels is None else labels
        steps = []
        for chance in brings[::-1]:
            _, first, kind = np.unique(
                _joint(later, _numbered(chance)), return_index=True, return_inverse=True
            )
            steps.append(Step(chance[first], later[first]))
            later = kind
        return cls(later, tuple(steps[::-1]))


def dwindling(chains: Sequence[FloatArray]) -> list[int]:
    """The order of complaints in which states come to be alike soonest.

    Args: chains: chance of every complaint in every state, shape (complaints, states), by chain.
    """
    values = [[_numbered(chance) for chance in brings] for brings in chains]
    left = list(range(len(chains[0])))
    later = [np.zeros(brings.shape[1], dtype=np.intp) for brings in chains]
    order: list[int] = []
    while left:
        tried = {
            number: [
                _numbered(_joint(kind, each[number]))
                for kind, each in zip(later, values, strict=True)
            ]
            for number in left
        }
        last = min(left, key=lambda n: sum(float(kind.max() + 1) ** 2 for kind in tried[n]))
        later = tried[last]
        left.remove(last)
        order.insert(0, last)
    return order


def either(one: FloatArray, other: FloatArray) -> FloatArray:
    """Chance that one of two independent causes brings something on, small ones kept exact."""
    return np.asarray(one + other * (1.0 - one))


def together(one: FloatArray, other: FloatArray) -> FloatArray:
    """Weight with which two causes bring on exactly a set, from that of each.

    For each complaint: neither brings it on; the second alone; the first, whatever the second does.
    Each complaint triples the work.

    Args: one, other: shape (sets, columns). Returns: The same shape.
    """
    sets, columns = one.shape
    one, other = one[None], other[None]
    while one.shape[1] > 1:
        not_one, is_one = np.split(one, 2, axis=1)
        not_other, is_other = np.split(other, 2, axis=1)
        one = np.stack((not_one, not_one, is_one), 1).reshape(-1, *not_one.shape[1:])
        other = np.stack((not_other, is_other, not_other + is_other), 1).reshape(one.shape)
    found = (one * other).reshape(-1, columns)
    inner = 1
    while inner < sets:
        neither, second, first = np.moveaxis(found.reshape(-1, 3, inner, columns), 1, 0)
        found = np.stack((neither, second + first), axis=1)
        inner *= 2
    return found.reshape(sets, columns)


def at_least(exactly: FloatArray) -> FloatArray:
    """Weight with which at least a set is brought on, from those of exactly a set."""
    found = exactly.copy()
    inner = 1
    while inner < len(found):
        pairs = found.reshape(-1, 2, inner, *found.shape[1:])
        pairs[:, 0] += pairs[:, 1]
        inner *= 2
    return found


def _numbered(values: NDArray[np.generic]) -> Indices:
    return np.ravel(np.unique(values, return_inverse=True)[1])


def _joint(one: Indices, other: Indices) -> Indices:
    """One number for each pair."""
    return np.asarray(one * (int(other.max()) + 1) + other)
