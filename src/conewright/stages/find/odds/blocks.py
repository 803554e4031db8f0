"""Chains that something ties together: what they bring on, and what the rest leaves to them.

A block sums over the pairs of kinds of its two sides. What it brings on goes up from the pairs to
the sets of complaints; the weight that all else gives to each set comes down to the pairs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.odds.covering import Alike, Indices, Step, at_least, either, together

__all__ = ["Block", "Side", "rests"]

EARLY = 3
"""One complaint in so many is summed over one side of a block first, and so for each side.

As long as the kinds of states are many, a sum over one side costs less than all pairs.
"""


@dataclass(frozen=True)
class Side:
    """A chain with the classes of its states, what they bring on, and their weights.

    Shapes of classes and weights (states,) and (shared, states).
    """

    chain: int
    alike: Alike
    classes: Indices
    weights: FloatArray

    def given(
        self, beyond: FloatArray, leaving: FloatArray, common: Alike, *, singly: bool
    ) -> FloatArray:
        """Weight that all else gives to each state, (1 + complaints, shared states, states).

        Args:
            beyond: weight that all but the block gives to pairs of kinds, shape
                (1 + later complaints, sets, shared, kinds, kinds of the other side).
            leaving: weights of the other side, shape (3^early, shared, its kinds, classes).

        """
        early = round(np.log2(beyond.shape[1]))
        sets = np.zeros(1, dtype=np.intp)
        for number in range(early):
            sets = np.concatenate((sets, sets | 1 << number, sets | 1 << number))
        # States are told apart by class, too; not all kinds have states of every class.
        row, chances = self.alike.kind, []
        for step in self.alike.steps[:early]:
            chances.append(step.chance[row])
            row = step.onward[row]
        number = leaving.shape[-1]
        pairs, label = np.unique(row * number + self.classes, return_inverse=True)
        alike = Alike.of(np.reshape(chances, (early, len(row))), label)
        by_set = np.ascontiguousarray(beyond.swapaxes(0, 1))
        found = np.stack(
            [
                (by_set[at] @ part)[..., pairs // number, pairs % number]
                for at, part in zip(sets, leaving, strict=True)
            ],
            axis=1,
        )
        for shared, own in reversed(list(zip(common.steps[:early], alike.steps, strict=True))):
            chance = either(shared.chance[:, None], own.chance)
            quiet, any_, brought = (
                third[:, :, shared.onward[:, None], own.onward]
                for third in np.split(found, 3, axis=1)
            )
            every = chance * any_ + (1.0 - chance) * (quiet + brought)
            found = np.concatenate((every[:1], any_[:1], every[1:])) if singly else every
        return np.asarray(found[:, 0][:, common.kind[:, None], alike.kind])

    def leaving(self, table: FloatArray, early: int) -> FloatArray:
        """Weights by what the chain does to each of the first complaints.

        It does not bring it on; or whatever it does; or it brings it on.

        Args: table: over its classes and those of the other side.
        Returns: Shape (3^early, shared, kinds for the rest, classes of the other side).
        """
        found = (self.gathered() @ table)[None]
        for step in self.alike.steps[:early]:
            found = np.concatenate([part @ found for part in (step.quiet, step.any, step.brought)])
        return found

    def gathered(self) -> FloatArray:
        """Weight of every kind and class, shape (shared, kinds, classes)."""
        kinds, classes = int(self.alike.kind.max()) + 1, int(self.classes.max()) + 1
        found = np.zeros((kinds, classes, len(self.weights)))
        np.add.at(found, (self.alike.kind, self.classes), self.weights.T)
        return np.ascontiguousarray(found.transpose(2, 0, 1))


@dataclass(frozen=True)
class Block:
    """Two chains, and a table over the classes of their states, (left, right)."""

    sides: tuple[Side, Side]
    table: FloatArray

    def brought(self) -> FloatArray:
        """Weight with which the block brings on exactly a set, shape (sets, shared)."""
        left, right = self.sides
        pairs = left.gathered() @ self.table @ right.gathered().swapaxes(1, 2)
        shared = len(pairs)
        found = np.ascontiguousarray(pairs.transpose(1, 2, 0))  # kinds, kinds, (sets, shared)
        for one, other in zip(left.alike.steps, right.alike.steps, strict=True):
            quiet, loud = np.tensordot(one.quiet, found, 1), np.tensordot(one.brought, found, 1)
            both = (other.quiet @ quiet, other.any @ loud + other.brought @ quiet)
            found = np.concatenate(both, axis=2)
        return found.reshape(-1, shared)

    def beside(
        self, rest: FloatArray, common: Alike, *, singly: bool
    ) -> tuple[FloatArray, FloatArray]:
        """Weight that all else gives to each state of each side.

        Args:
            rest: weight with which all other blocks bring on exactly a set, (sets, shared).
            common: the states of what all chains share, kept apart by the columns of `rest`.
            singly: whether to give the weights without each complaint, too.

        Returns:
            By side shape (1 + complaints, shared states, states); the first with all complaints,
            each other one without one of them.

        """
        one, other = self.sides
        # By what the block and the shared state bring on: the rest has to bring on what is left.
        found = at_least(rest)[::-1][None, :, :, None, None]
        steps = list(zip(common.steps, one.alike.steps, other.alike.steps, strict=True))
        early = len(steps) // EARLY
        columns = np.arange(rest.shape[1])
        for step in reversed(steps[early:]):
            every, brought = _parted(found, step)
            found = np.concatenate((every[:1], brought[:1], every[1:])) if singly else every
            columns = columns[step[0].onward]
        left = one.given(
            found, other.leaving(self.table.T, early)[:, columns], common, singly=singly
        )
        turned = found.swapaxes(3, 4)
        right = other.given(
            turned, one.leaving(self.table, early)[:, columns], common, singly=singly
        )
        return left, right


def rests(
    brought: Sequence[FloatArray], beyond: tuple[FloatArray, ...] = ()
) -> Iterator[FloatArray]:
    """For each block the weight with which all others bring on exactly a set."""
    if len(brought) > 1:
        half = len(brought) // 2
        one, other = brought[:half], brought[half:]
        yield from rests(one, (*beyond, reduce(together, other)))
        yield from rests(other, (*beyond, reduce(together, one)))
    elif beyond:
        yield reduce(together, beyond)
    else:
        nothing = np.zeros_like(brought[0])
        nothing[0] = 1.0
        yield nothing


def _parted(found: FloatArray, step: tuple[Step, Step, Step]) -> tuple[FloatArray, FloatArray]:
    """Weights before a complaint from those after it: with it, and without it.

    Args: found: shape (1 + complaints that follow, sets, shared, left, right).
    """
    common, one, other = step
    chance = either(common.chance[:, None, None], either(one.chance[:, None], other.chance))
    quiet, brought = (
        half[:, :, common.onward[:, None, None], one.onward[:, None], other.onward]
        for half in np.split(found, 2, axis=1)
    )
    return chance * brought + (1.0 - chance) * quiet, brought
