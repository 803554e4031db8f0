"""Refusing arguments outside a model's range."""

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.arrays import Real

__all__ = ["require_not_negative", "require_positive"]


def require_positive(**values: Real) -> None:
    """Refuse anything that is not above zero; NaN is refused, infinity is let through.

    Args:
        values: the arguments to judge, by name, any units.

    Raises:
        OutOfRangeError: naming the first argument at fault.
    """
    for name, value in values.items():
        if not np.all(np.asarray(value) > 0.0):
            raise OutOfRangeError(f"{name} must be above zero, got {value}")


def require_not_negative(**values: Real) -> None:
    """Refuse anything below zero; NaN is refused, zero and infinity are let through.

    Args:
        values: the arguments to judge, by name, any units.

    Raises:
        OutOfRangeError: naming the first argument at fault.
    """
    for name, value in values.items():
        if not np.all(np.asarray(value) >= 0.0):
            raise OutOfRangeError(f"{name} must not be below zero, got {value}")
