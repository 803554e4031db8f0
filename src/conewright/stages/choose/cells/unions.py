"""Hours, money and marks of combinations of takes, all at once: what their union changes.

Work, surprises and what trims use up depend on where each kind of change is made, kind by kind:
the first of a kind takes longer, and none knows of another kind. So the outlay of a union is a sum
over kinds, each looked up by what every part of the union has of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce
from typing import TYPE_CHECKING

import numpy as np

from conewright.stages.choose.mounted.option_takes import Labour, Take, union_of
from conewright.stages.compare.wishes import APPEARANCE, REVERSIBLE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from conewright.physics.basics.arrays import FloatArray

__all__ = ["Unions"]

Kinds = Mapping[str, frozenset[str]]


class Unions:
    """The unions of what is there anyway with one of each of several lists of takes.

    Args:
        labour: of the vehicle.
        beside: what every union has.
        lists: of takes that count as one.

    Attributes:
        hours, money: of every combination besides parts, a dimension for each list.
        left: what is left of the wishes for all to stay as it was, likewise [1].

    """

    def __init__(
        self, labour: Labour, beside: Sequence[Take], lists: Sequence[Sequence[Sequence[Take]]]
    ) -> None:
        base = union_of(beside)
        every = [[union_of(takes) for takes in each] for each in lists]
        names = sorted({*base, *(k for each in every for kinds in each for k in kinds)})
        self._shape = tuple(map(len, every))
        self.hours, self.money = np.zeros(self._shape), np.zeros(self._shape)
        anything = np.zeros(self._shape, dtype=bool)
        marks = {
            "reversible": np.ones(self._shape),
            "appearance": np.ones(self._shape),
        }
        for name in names:
            sets = [self._sets(each, name) for each in every]
            table = _unions(base.get(name, frozenset()), [distinct for distinct, _ in sets])
            at = np.ix_(*(index for _, index in sets))
            found = np.frompyfunc(lambda there, kind=name: labour.alone(kind, there), 1, 2)
            hours, money = found(table)
            self.hours += np.asarray(hours, dtype=float)[at]
            self.money += np.asarray(money, dtype=float)[at]
            here = np.asarray(np.frompyfunc(bool, 1, 1)(table), dtype=bool)[at]
            anything |= here
            for wish, of_kinds in (("reversible", REVERSIBLE), ("appearance", APPEARANCE)):
                if name in of_kinds:
                    marks[wish] -= of_kinds[name] * here
        hours_always, money_always = labour.always
        self.hours += hours_always * anything
        self.money += money_always * anything
        self.left: Mapping[str, FloatArray] = marks

    @staticmethod
    def _sets(each: Sequence[Kinds], name: str) -> tuple[list[frozenset[str]], NDArray[np.intp]]:
        """Return where a kind of change may be made by the takes of a list, and which has which."""
        there = [kinds.get(name, frozenset()) for kinds in each]
        distinct = list(dict.fromkeys(there))
        place = {one: index for index, one in enumerate(distinct)}
        return distinct, np.array([place[one] for one in there], dtype=np.intp)


def _unions(base: frozenset[str], lists: Sequence[Sequence[frozenset[str]]]) -> NDArray[np.object_]:
    """Return the union of the base with one set of each list, all combinations."""
    table = np.empty(tuple(map(len, lists)), dtype=object)
    for at in np.ndindex(*table.shape):
        chosen = (each[k] for each, k in zip(lists, at, strict=True))
        table[at] = reduce(frozenset.union, chosen, base)
    return table
