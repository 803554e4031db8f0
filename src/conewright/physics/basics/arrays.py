"""Array types shared by the physics: sample axes lead, frequency is the last axis."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]
Real: TypeAlias = float | FloatArray
Complex: TypeAlias = complex | ComplexArray

__all__ = ["Complex", "ComplexArray", "FloatArray", "Real"]
