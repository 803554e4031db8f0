"""Which fault brought a complaint on: what a reading is taken to find out.

A second fault that nobody complains of may sit anywhere. A reading that tells about it alone brings
the repair hardly nearer, so bits are counted mostly over the causes of what the owner said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

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
        count = len(model.complaints)
        weights = [*([(1.0 - UNSAID) / count] * count), UNSAID] if count else [1.0]
        told = [complaint.causes for complaint in model.complaints]
        told.append({atom: 1.0 for chain in model.chains for atom in chain.atoms})
        self._shares = [_shares(chain, told, weights) for chain in model.chains]

    def own(self, odds: Odds, number: int) -> FloatArray:
        """Chance that a group of a chain's own brought a complaint on, (shared, states, groups)."""
        return self._parts(odds, number)[0]

    def masses(self, odds: Odds, number: int) -> FloatArray:
        """Chance of every state and what brought a complaint on, shape (states, causes).

        States are those of what all share with those of the chain, in one row; causes are the
        groups of the chain, those of what all share, and last anything else.
        """
        joint = odds.joint[number]
        parts = (*self._parts(odds, number), joint[:, :, None])
        found = np.concatenate(parts, axis=2).reshape(joint.size, -1)
        groups, rest = found[:, :-1], found[:, -1]
        # Two faults together bring a complaint on less often than the sum of both.
        total = groups.sum(axis=1)
        over = total > rest
        groups[over] *= (rest[over] / total[over])[:, None]
        np.maximum(rest - np.minimum(total, rest), 0.0, out=rest)
        return found

    def _parts(self, odds: Odds, number: int) -> list[FloatArray]:
        """The same of a chain's own groups, and of those of what all share."""
        # For each complaint, and for a fault that nobody spoke of: (complaints, shared, states).
        joints = np.stack([*(unsaid[number] for unsaid in odds.unsaid), self._any(odds, number)])
        shared: FloatArray = joints.transpose(1, 2, 0) @ self._shares[0]
        if number == 0:
            return [shared]
        own: FloatArray = joints.transpose(2, 1, 0) @ self._shares[number]
        return [own.swapaxes(0, 1), shared]

    def _any(self, odds: Odds, number: int) -> FloatArray:
        """Chance of every state for each of its faults, shape (shared, states)."""
        shared, own = (self.model.chains[n].members.sum(axis=1) for n in (0, number))
        count = shared[:, None] + (own if number > 0 else 0.0)
        return np.asarray(odds.joint[number] / np.maximum(count, 1.0))


def _shares(
    chain: Chain, told: Sequence[Mapping[Atom, float]], weights: Sequence[float]
) -> FloatArray:
    """Chance that each group brings each complaint on, weighed, (states, complaints, groups)."""
    groups = list(dict.fromkeys(map(group_of, chain.atoms)))
    member = np.zeros((len(chain.atoms), len(told), len(groups)))
    for row, atom in enumerate(chain.atoms):
        member[row, :, groups.index(group_of(atom))] = [
            weight * causes.get(atom, 0.0) for causes, weight in zip(told, weights, strict=True)
        ]
    return np.tensordot(chain.members, member, 1)
