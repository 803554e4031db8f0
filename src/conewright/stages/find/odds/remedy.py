"""The chance that a plan leaves no cause of a complaint: a sum as the odds, with less to blame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import prod

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.find.faults.chains import Atom, Chain
from conewright.stages.find.odds.inference import Complained, Model

__all__ = ["blameless"]


def blameless(model: Model, ends: Callable[[Atom], bool]) -> tuple[Model, float]:
    """Return the model in which only what a plan ends brings complaints on, and a factor.

    The chance of the readings in it, times the factor, over that in the whole model is the chance
    that every complaint came from faults that the plan ends, and from none that it leaves: one
    that is left may be there, as long as it is not heard in any complaint.

    Args:
        model: chains, priors, complaints.
        ends: whether the plan ends a fault.

    """
    left = prod(_left_quiet(complaint, ends) for complaint in model.complaints)
    weights = tuple(
        weight * _quiet(chain, model.complaints, ends)
        for chain, weight in zip(model.chains, model.weights, strict=True)
    )
    complaints = tuple(
        replace(
            complaint,
            causes={atom: told for atom, told in complaint.causes.items() if ends(atom)},
            known={atom: told for atom, told in complaint.known.items() if ends(atom)},
            from_nothing=0.0,
        )
        for complaint in model.complaints
    )
    return replace(model, weights=weights, complaints=complaints), left


def _left_quiet(complaint: Complained, ends: Callable[[Atom], bool]) -> float:
    """Chance that a complaint comes neither from nothing nor from a known fault that is left."""
    left = (told for atom, told in complaint.known.items() if not ends(atom))
    return (1.0 - complaint.from_nothing) * prod(1.0 - told for told in left)


def _quiet(
    chain: Chain, complaints: tuple[Complained, ...], ends: Callable[[Atom], bool]
) -> FloatArray:
    """Chance that what a plan leaves of each state is heard in no complaint, shape (states,)."""
    each = [
        1.0 if ends(atom) else prod(1.0 - c.causes.get(atom, 0.0) for c in complaints)
        for atom in chain.atoms
    ]
    return np.asarray(np.prod(np.where(chain.members > 0.0, each, 1.0), axis=1))
