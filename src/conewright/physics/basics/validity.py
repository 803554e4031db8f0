"""Refusing arguments outside a model's range."""

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import Real

__all__ = ["in_words", "require_at_most", "require_not_negative", "require_positive"]


def in_words(value: Real) -> str:
    """Write an argument in an error: a number, or from the least to the greatest of an array.

    Args:
        value: any shape, not empty, any unit.
    """
    values = np.asarray(value, dtype=np.float64)
    least, most = float(values.min()), float(values.max())
    return f"{least:g}" if values.size == 1 else f"{least:g} to {most:g}"


def require_positive(**values: Real) -> None:
    """Refuse anything that is not above zero; NaN is refused, infinity is let through.

    Args:
        values: the arguments to judge, by name, any units.

    Raises:
        OutOfRangeError: naming the first argument at fault.
    """
    for name, value in values.items():
        if not np.all(np.asarray(value) > 0.0):
            raise OutOfRangeError(f"{name} must be above zero, got {in_words(value)}")


def require_not_negative(**values: Real) -> None:
    """Refuse anything below zero; NaN is refused, zero and infinity are let through.

    Args:
        values: the arguments to judge, by name, any units.

    Raises:
        OutOfRangeError: naming the first argument at fault.
    """
    for name, value in values.items():
        if not np.all(np.asarray(value) >= 0.0):
            raise OutOfRangeError(f"{name} must not be below zero, got {in_words(value)}")


def require_at_most(most: float, **values: Real) -> None:
    """Refuse anything above `most`; NaN is refused.

    Args:
        most: the greatest that is let through, in the units of the arguments.
        values: the arguments to judge, by name.

    Raises:
        OutOfRangeError: naming the first argument at fault.
    """
    for name, value in values.items():
        if not np.all(np.asarray(value) <= most):
            raise OutOfRangeError(f"{name} must be at most {most:g}, got {in_words(value)}")
