"""The load of a channel as a tree of series and parallel parts.

Folded upward the tree gives impedances, folded downward the voltage across every part. Parts of
zero impedance and open parts (infinite) are legal anywhere. No current is ever computed from a
voltage difference over a small resistance. Polarity is no part of the tree: a reversed driver
has the same impedance and only its cone moves the other way.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import add
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray, Real
from conewright.physics.basics.laplace import angular_frequency
from conewright.physics.basics.validity import require_positive

__all__ = [
    "Leaf",
    "Parallel",
    "Series",
    "Solved",
    "Tree",
    "capacitor",
    "fold_resistance",
    "inductor",
    "leaves",
    "solve_tree",
]


@dataclass(frozen=True, slots=True)
class Leaf:
    """One part with two terminals, by name."""

    name: str


@dataclass(frozen=True, slots=True)
class Series:
    """Parts one after the other: one current."""

    parts: tuple["Tree", ...]


@dataclass(frozen=True, slots=True)
class Parallel:
    """Parts side by side: one voltage."""

    parts: tuple["Tree", ...]


Tree: TypeAlias = Leaf | Series | Parallel
Values: TypeAlias = NDArray[Any]  # real or complex: the same fold serves both


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """A solved tree.

    Args:
        impedance: of the whole tree, shape (samples, F) or (F,) [ohm].
        voltages: across every leaf by name [V].
    """

    impedance: ComplexArray
    voltages: dict[str, ComplexArray]


@dataclass(frozen=True, slots=True, eq=False)
class _Folded:
    tree: Tree
    value: Values
    parts: tuple["_Folded", ...] = ()


def leaves(tree: Tree) -> tuple[str, ...]:
    """Names of the leaves in reading order.

    Args:
        tree: the tree.

    Returns:
        The names; a name that stands twice is listed twice.
    """
    return tuple(_names(tree))


def fold_resistance(*, tree: Tree, resistances: Mapping[str, Real]) -> FloatArray:
    """Direct-current resistance of the whole tree.

    Args:
        tree: the tree.
        resistances: of every leaf, any shapes that broadcast [ohm]; a capacitor is inf, a
            coil its wire, and 0 is legal.

    Returns:
        Shape the leaves broadcast to [ohm]; inf where no direct current can flow.

    Raises:
        BadInputError: a leaf without a resistance.
    """
    return _fold(tree, resistances, np.dtype(np.float64)).value


def solve_tree(*, tree: Tree, impedances: Mapping[str, Complex], voltage: Complex) -> Solved:
    """Impedance of the tree and the voltage across every leaf, from one pass up and one down.

    Args:
        tree: the tree.
        impedances: of every leaf, scalars or last axis F [ohm]; 0 and inf are legal.
        voltage: across the whole tree, RMS phasor, any shape that broadcasts [V]. The source's
            own resistance and cable belong in the tree as series parts.

    Returns:
        The solved tree.

    Raises:
        BadInputError: a leaf without an impedance, or a name that stands twice.
        OutOfRangeError: series parts that cancel to zero across a voltage.

    Rules: an open part of a series chain takes the whole voltage (several share it equally),
    and parts of a chain without voltage have none.
    """
    names = leaves(tree)
    if len(set(names)) < len(names):
        raise BadInputError(f"a name stands twice in the tree: {', '.join(sorted(names))}")
    folded = _fold(tree, impedances, np.dtype(np.complex128))
    voltages = dict(_descend(folded, np.asarray(voltage, dtype=np.complex128)))
    return Solved(impedance=folded.value, voltages=voltages)


def capacitor(*, capacitance: Real, esr: Real = 0.0, frequency: Real) -> ComplexArray:
    """Impedance of a capacitor, Z = ESR + 1/(s C).

    Args:
        capacitance: C, shape (samples, 1) or scalar [F], above 0.
        esr: equivalent series resistance [ohm]; aged bipolar electrolytics 0.1-1 (from memory).
        frequency: shape (F,) [Hz].

    Returns:
        Shape (samples, F) or (F,) [ohm].

    Raises:
        OutOfRangeError: f <= 0, or C not above 0.
    """
    require_positive(capacitance=capacitance)
    reactance = -(1.0 / angular_frequency(frequency)) * (1.0 / np.asarray(capacitance))
    return np.asarray(esr + 1j * reactance)


def inductor(*, inductance: Real, resistance: Real = 0.0, frequency: Real) -> ComplexArray:
    """Impedance of an inductor, Z = R + s L.

    Args:
        inductance: L, shape (samples, 1) or scalar [H].
        resistance: of its wire [ohm].
        frequency: shape (F,) [Hz].

    Returns:
        Shape (samples, F) or (F,) [ohm].

    Raises:
        OutOfRangeError: f <= 0.
    """
    return np.asarray(resistance + 1j * (angular_frequency(frequency) * inductance))


def _names(tree: Tree) -> Iterator[str]:
    if isinstance(tree, Leaf):
        yield tree.name
        return
    for part in tree.parts:
        yield from _names(part)


def _fold(tree: Tree, values: Mapping[str, Any], dtype: np.dtype[Any]) -> _Folded:
    if isinstance(tree, Leaf):
        if tree.name not in values:
            raise BadInputError(f"no value given for the part {tree.name!r} of the load")
        return _Folded(tree, np.asarray(values[tree.name], dtype=dtype))
    if not tree.parts:
        raise BadInputError("a series or parallel group needs at least one part")
    parts = tuple(_fold(part, values, dtype) for part in tree.parts)
    combine = _in_series if isinstance(tree, Series) else _in_parallel
    return _Folded(tree, combine([part.value for part in parts]), parts)


def _in_series(parts: Sequence[Values]) -> Values:
    total = np.asarray(reduce(add, parts))
    return total if _all_finite(total) else np.where(np.isinf(total), np.inf, total)


def _in_parallel(parts: Sequence[Values]) -> Values:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        total = np.asarray(reduce(lambda a, b: a * b / (a + b), parts))
    return total if _all_finite(total) else _in_parallel_with_limits(parts)


def _in_parallel_with_limits(parts: Sequence[Values]) -> Values:
    """As `_in_parallel`, with shorts and open parts told apart before anything is divided."""
    shorted = reduce(np.logical_or, (part == 0.0 for part in parts))
    admittance = reduce(add, (_admittance(part) for part in parts))
    open_ = admittance == 0.0
    finite = 1.0 / np.where(open_, 1.0, admittance)
    return np.where(shorted, 0.0, np.where(open_, np.inf, finite))


def _admittance(part: Values) -> Values:
    # The admittance of a short is not used: `shorted` decides there.
    passing = np.isfinite(part) & (part != 0.0)
    return np.where(passing, 1.0 / np.where(passing, part, 1.0), 0.0)


def _all_finite(values: Values) -> bool:
    """Whether no value is infinite or not a number: either would survive into the sum."""
    with np.errstate(over="ignore", invalid="ignore"):
        return bool(np.isfinite(values.sum()))


def _descend(folded: _Folded, voltage: ComplexArray) -> Iterator[tuple[str, ComplexArray]]:
    if isinstance(folded.tree, Leaf):
        shape = np.broadcast_shapes(voltage.shape, folded.value.shape)
        yield folded.tree.name, np.broadcast_to(voltage, shape)
        return
    shares = _divider(folded, voltage) if isinstance(folded.tree, Series) else None
    for index, part in enumerate(folded.parts):
        yield from _descend(part, voltage if shares is None else shares[index])


def _divider(chain: _Folded, voltage: ComplexArray) -> list[ComplexArray]:
    total, parts = chain.value, [part.value for part in chain.parts]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        current = np.asarray(voltage / total)
    # An open chain has an infinite total, a shorted one an infinite current.
    if _all_finite(total) and _all_finite(current):
        return [np.asarray(current * part) for part in parts]
    return _divider_with_limits(parts, total, voltage)


def _divider_with_limits(
    parts: Sequence[Values], total: Values, voltage: ComplexArray
) -> list[ComplexArray]:
    """As `_divider`, where the chain is open or shorted somewhere."""
    if np.any((total == 0.0) & (voltage != 0.0)):
        raise OutOfRangeError(
            "the parts of a series chain cancel to 0 ohm across a voltage: no finite current"
        )
    broken = np.isinf(total)
    open_parts = [np.isinf(part) for part in parts]
    count = np.maximum(reduce(add, (is_open.astype(int) for is_open in open_parts)), 1)
    whole = voltage / np.where(broken | (total == 0.0), 1.0, total)
    return [
        np.where(broken, voltage * (is_open / count), whole * np.where(is_open, 0.0, part))
        for part, is_open in zip(parts, open_parts, strict=True)
    ]
