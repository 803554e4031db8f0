"""The highest point of a sampled curve, read between its samples."""

import numpy as np

from conewright.physics.basics.arrays import FloatArray

__all__ = ["highest"]


def highest(*, x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place and height of the highest point of each row, by a parabola through three points.

    Args:
        x: evenly spaced, shape (N,), N at least 3, any unit; the logarithm of a frequency, say.
        y: any unit, shape (rows, N).

    Returns:
        Place, in units of x, and height, in those of y, each of shape (rows,). At an end of the
        curve the place is at most one step from the sample beside the end.
    """
    rows, middle = np.arange(len(y)), np.clip(y.argmax(axis=-1), 1, x.size - 2)
    left, top, right = (y[rows, middle + step] for step in (-1, 0, 1))
    bend = left - 2.0 * top + right
    off = np.where(bend < 0.0, 0.5 * (left - right) / np.where(bend < 0.0, bend, 1.0), 0.0)
    off = np.clip(off, -1.0, 1.0)
    return x[middle] + off * (x[1] - x[0]), top - 0.25 * (left - right) * off
