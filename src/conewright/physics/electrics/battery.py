"""How long a starter battery feeds what stays on with the key out."""

from typing import Final

from conewright.physics.basics.arrays import Real
from conewright.physics.basics.validity import require_not_negative, require_positive

__all__ = ["SELF_DISCHARGE", "SPENDABLE", "days_to_no_start"]

SPENDABLE: Final = 0.4
"""Share of the charge it still holds that may go before it no longer starts the engine [1]; a
maker's service bulletin puts that at 20 to 30 Ah of a usual battery."""

SELF_DISCHARGE: Final = 0.001
"""Share of its charge a battery loses by itself in a day at workshop warmth [1/day]; common
practice, no source."""

SECONDS_PER_DAY = 86_400.0


def days_to_no_start(*, charge: Real, current: Real) -> Real:
    """Days until a battery no longer starts the engine.

    Args:
        charge: it holds when full, as it is now: capacity times health [C].
        current: drawn with the key out and the vehicle asleep [A].

    Raises:
        OutOfRangeError: charge not above zero, or current below zero.

    Returns:
        0.4 Q / (I + what it loses by itself) [day].
    """
    require_positive(charge=charge)
    require_not_negative(current=current)
    own = SELF_DISCHARGE * charge / SECONDS_PER_DAY
    return SPENDABLE * charge / (current + own) / SECONDS_PER_DAY
