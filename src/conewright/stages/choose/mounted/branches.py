"""The load of a channel as branches side by side: what each unit of places hangs on it by itself.

A unit is what takes one option together. Units that stand in one branch, as two in series that
may differ, cannot be bounded one by one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from conewright.physics.electrics.wiring import Leaf, Parallel, Series, Tree, leaves

__all__ = ["Split", "split"]


@dataclass(frozen=True)
class Split:
    """A load taken apart: what lies before all branches, and the branch of each unit."""

    before: tuple[Tree, ...]
    branches: Mapping[int, Tree]


def split(tree: Tree, units: Sequence[frozenset[str]]) -> Split | None:
    """Return the branches of a load, None where two units stand in one.

    Args:
        tree: of a channel.
        units: places that take one option together, by their names; those that are not on this
            channel have no branch.

    """
    here = [index for index, names in enumerate(units) if names & set(leaves(tree))]
    if len(here) <= 1:
        return Split((), dict.fromkeys(here, tree))
    if isinstance(tree, Leaf):
        return None
    parts: dict[int, list[Tree]] = {}
    rest: list[Tree] = []
    for part in tree.parts:
        inside = [index for index in here if units[index] & set(leaves(part))]
        if len(inside) > 1:
            return _inner(tree, part, units)
        if inside:
            parts.setdefault(inside[0], []).append(part)
        else:
            rest.append(part)
    if isinstance(tree, Series):
        return None
    # Parts that stand beside all units go with the first: only sums of admittances count.
    parts[here[0]] += rest
    return Split((), {index: _side_by_side(found) for index, found in parts.items()})


def _inner(tree: Parallel | Series, part: Tree, units: Sequence[frozenset[str]]) -> Split | None:
    """Return the branches of a load whose units all stand in one part of it."""
    others = tuple(each for each in tree.parts if each is not part)
    names = frozenset[str]().union(*units)
    if isinstance(tree, Parallel) or any(names & set(leaves(each)) for each in others):
        return None
    found = split(part, units)
    return None if found is None else Split((*others, *found.before), found.branches)


def _side_by_side(parts: Sequence[Tree]) -> Tree:
    return parts[0] if len(parts) == 1 else Parallel(tuple(parts))
