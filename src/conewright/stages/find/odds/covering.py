"""Sets of complaints: which of them are brought on, and which are left for others to bring on.

A set of n complaints is a number below 2^n, one bit a complaint; tables run over all sets down
their rows. A complaint counts as brought on however many causes it has, so what two causes bring
on is the union of both sets. Chances are multiplied and added here, never subtracted but from 1:
the chance of many complaints together is far smaller than that of any, and a difference of large
numbers would lose it.
"""

from __future__ import annotations

import numpy as np

from conewright.physics.basics.arrays import FloatArray

__all__ = ["brought_exactly", "covered", "covered_by_any"]

AT_ONCE = 2**18
"""Numbers that are worked on at once; more take memory and are no quicker."""


def brought_exactly(chances: FloatArray) -> FloatArray:
    """Chance that each set, and nothing besides, is brought on.

    Args:
        chances: chance of every complaint in every state, shape (complaints, states).

    Returns:
        Shape (sets, states), each column adding to 1.

    """
    found = np.ones((1, chances.shape[1]))
    for chance in chances:
        found = np.concatenate((found * (1.0 - chance), found * chance))
    return found


def covered(chances: FloatArray, needed: FloatArray) -> FloatArray:
    """Weight with which each set is brought on, by one cause or whatever else there is.

    Args:
        chances: chance that the one cause brings each complaint on, shape (complaints, columns).
        needed: weight with which all else brings on at least a set, shape (sets, columns).

    Returns:
        For every set the sum, over what the one cause brings on, of its chance times the weight of
        what is left; shape (sets, columns). Each complaint doubles the numbers worked on.

    """
    found = needed.copy()
    for number, chance in enumerate(chances):
        pairs = found.reshape(-1, 2, 2**number, found.shape[1])
        pairs[:, 1] *= 1.0 - chance
        pairs[:, 1] += chance * pairs[:, 0]
    return found


def covered_by_any(chances: FloatArray, weights: FloatArray, needed: FloatArray) -> FloatArray:
    """The same for a chain in any of its states, each with its weight.

    Args:
        chances: chance of each complaint in every state, shape (complaints, states).
        weights: of the states, shape (states, columns).
        needed: as above, shape (sets, columns).

    """
    found = np.zeros_like(needed)
    columns = needed.shape[1]
    step = max(AT_ONCE // needed.size, 1)
    for start in range(0, len(weights), step):
        some = weights[start : start + step]
        each = np.repeat(chances[:, start : start + step], columns, axis=1)
        left = covered(each, np.tile(needed, len(some)))
        found += np.einsum("nsc,sc->nc", left.reshape(len(needed), *some.shape), some)
    return found
