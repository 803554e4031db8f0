"""Which fault brought a complaint on: what a reading is taken to find out.

A second fault that nobody complains of may sit anywhere. A reading that tells about it alone brings
the repair hardly nearer, so bits are counted mostly over the causes of what the owner said.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom, Chain
from conewright.stages.find.odds.inference import Model, Odds

__all__ = ["UNSAID", "Blame", "group_of"]

UNSAID = 0.1
"""How much a fault counts that nobody complained of; assumed.

One that is there would bring the vehicle back, and is sought once the complaint is explained.
"""

Group = tuple[str, str]
"""Faults that one repair cures at one subject: the group of the repair, and the subject."""


def group_of(atom: Atom) -> Group:
    """The group of a fault: what is cured together counts as one cause to the repairer."""
    return (trade.fault(atom.fault).repair_group, atom.subject)


class Blame:
    """Shares of the states of each chain in a complaint, by groups of faults."""

    def __init__(self, model: Model) -> None:
        self.model = model
        told = [complaint.causes for complaint in model.complaints]
        told.append({atom: 1.0 for chain in model.chains for atom in chain.atoms})
        groups_of = [tuple(dict.fromkeys(map(group_of, c.atoms))) for c in model.chains]
        self._shares = [
            [_shares(chain, groups, causes) for causes in told]
            for chain, groups in zip(model.chains, groups_of, strict=True)
        ]
        count = len(model.complaints)
        self._weights = (*([(1.0 - UNSAID) / count] * count), UNSAID) if count else (1.0,)

    def own(self, odds: Odds, number: int) -> FloatArray:
        """Chance that a group of a chain's own brought a complaint on, (shared, states, groups)."""
        return self._over_complaints(odds, number, own=True)

    def masses(self, odds: Odds, number: int) -> FloatArray:
        """Chance of every state and what brought a complaint on, shape (states, causes).

        States are those of what all share with those of the chain, in one row; causes are the
        groups of the chain, those of what all share, and last anything else.
        """
        joint = odds.joint[number]
        parts = [self.own(odds, number)]
        if number > 0:
            parts.append(self._over_complaints(odds, number, own=False))
        found = np.concatenate(parts, axis=2).reshape(joint.size, -1)
        # Two faults together bring a complaint on less often than the sum of both.
        total, whole = found.sum(axis=1), joint.ravel()
        found *= np.divide(whole, total, out=np.ones_like(total), where=total > whole)[:, None]
        rest = np.maximum(whole - found.sum(axis=1), 0.0)
        return np.column_stack((found, rest))

    def _over_complaints(self, odds: Odds, number: int, *, own: bool) -> FloatArray:
        """Chances for a complaint picked at random, or for a fault that nobody spoke of."""
        shares = self._shares[number if own else 0]
        joints = [*(unsaid[number] for unsaid in odds.unsaid), self._any(odds, number)]
        found: FloatArray = np.zeros(1)
        for weight, joint, share in zip(self._weights, joints, shares, strict=True):
            along = share[None, :, :] if own and number > 0 else share[:, None, :]
            found = found + weight * joint[:, :, None] * along
        return np.asarray(found)

    def _any(self, odds: Odds, number: int) -> FloatArray:
        """Chance of every state for each of its faults, shape (shared, states)."""
        shared, own = (self.model.chains[n].members.sum(axis=1) for n in (0, number))
        count = shared[:, None] + (own if number > 0 else 0.0)
        return np.asarray(odds.joint[number] / np.maximum(count, 1.0))


def _shares(chain: Chain, groups: tuple[Group, ...], causes: Mapping[Atom, float]) -> FloatArray:
    """Chance that each group brings a complaint on in each state, shape (states, groups)."""
    member = np.zeros((len(chain.atoms), len(groups)))
    for row, atom in enumerate(chain.atoms):
        member[row, groups.index(group_of(atom))] = causes.get(atom, 0.0)
    return chain.members @ member
