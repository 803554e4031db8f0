"""A switching converter between a vehicle's supply and a radio: what it takes, what it allows.

It holds its output volts up to its rated current; beyond that it folds back or shuts off, so that
this current is the limit of the radio's power.
"""

import numpy as np

from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.validity import require_not_negative, require_positive

__all__ = ["input_current", "peak_current_within"]


def input_current(
    *, output_voltage: Real, output_current: Real, efficiency: Real, input_voltage: Real
) -> FloatArray:
    """Current that a converter takes from its supply, what it takes by itself apart.

    Args:
        output_voltage: at its output [V].
        output_current: that it gives [A].
        efficiency: power given over power taken [1], above 0, at most 1.
        input_voltage: at its input [V].

    Returns:
        Uo Io / (eta Ui) [A], from the balance of power Po = eta Pi.

    Raises:
        OutOfRangeError: a voltage or the efficiency not above zero, or the current below zero.
    """
    require_positive(
        output_voltage=output_voltage, efficiency=efficiency, input_voltage=input_voltage
    )
    require_not_negative(output_current=output_current)
    return np.asarray(output_voltage * output_current / (efficiency * input_voltage))


def peak_current_within(*, limit: Real, quiescent_current: Real) -> FloatArray:
    """Peak of a sine that a class-AB bridge may drive within a limit of its supply's mean current.

    Args:
        limit: most mean current of the supply [A].
        quiescent_current: of the whole chip [A].

    Returns:
        (pi/2) (I - Iq) [A peak], inf without a limit, not below zero: a bridge takes the rectified
        load current, whose mean is 2/pi of its peak.

    Raises:
        OutOfRangeError: a current below zero.
    """
    require_not_negative(limit=limit, quiescent_current=quiescent_current)
    return np.asarray(np.pi / 2.0 * np.maximum(limit - quiescent_current, 0.0))
