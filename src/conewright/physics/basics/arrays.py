"""Array types shared by the physics: sample axes lead, frequency is the last axis."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]
Real: TypeAlias = float | FloatArray
Complex: TypeAlias = complex | ComplexArray

__all__ = ["Complex", "ComplexArray", "FloatArray", "Real", "squared_magnitude"]


def squared_magnitude(value: ComplexArray) -> FloatArray:
    """Return |z|^2 of an array of any shape, without the root that `abs` takes."""
    return np.asarray(value.real**2 + value.imag**2)
