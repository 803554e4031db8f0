"""The radio's bridge output: clean ceiling, supply, heat, and what a rating promises.

Model: a source of voltage that clips. Just before clipping the plug reaches
V = Vs |Z|/|Z + Rc|, Rc the extra loss at the clip point. Peak values throughout, except where
a name says otherwise; sine unless stated. The bridge swings both ways by the whole supply.
"""

from typing import Final

import numpy as np

from conewright.physics.basics.arrays import Complex, FloatArray, Real
from conewright.physics.basics.validity import require_not_negative, require_positive

__all__ = [
    "QUIESCENT_CURRENT",
    "clean_peak_voltage",
    "fed_share",
    "junction_temperature",
    "loaded_supply",
    "lowest_impedance",
    "open_swing",
    "programme_current",
    "programme_heat",
    "programme_share",
    "supply_current",
]

QUIESCENT_CURRENT: Final = 0.2
"""Current of a whole four-channel bridge chip at rest [A] (data sheets give 0.15 to 0.25 A)."""


RATING_SHARE: Final = 0.8
"""Lowest impedance over the rated one [1] (IEC 60268-5, from memory)."""


def _share(impedance: Complex, series: Real) -> FloatArray:
    """|Z/(Z + r)| [1], one for an open load."""
    z = np.asarray(impedance, dtype=np.complex128)
    is_open = np.isinf(z)
    z = np.where(is_open, 1.0, z)
    total = np.abs(z + series)
    require_positive(load=total)
    return np.where(is_open, 1.0, np.abs(z) / total)


def clean_peak_voltage(*, supply: Real, clip_loss: Real, impedance: Complex) -> FloatArray:
    """Highest clean peak voltage at the plug.

    Args:
        supply: at the chip [V].
        clip_loss: extra loss at the clip point, whole bridge [ohm].
        impedance: of the load at the plug [ohm]; infinite when nothing is connected.

    Returns:
        Vs |Z|/|Z + Rc| [V peak].

    Raises:
        OutOfRangeError: supply not above zero, or a dead short without loss.
    """
    require_positive(supply=supply)
    require_not_negative(clip_loss=clip_loss)
    return np.asarray(supply * _share(impedance, clip_loss))


def loaded_supply(
    *, supply: Real, supply_resistance: Real, conductance: Real, quiescent_current: Real
) -> FloatArray:
    """Supply left at the chip while all channels deliver their largest sine.

    Args:
        supply: at the battery end of the feed [V].
        supply_resistance: feed and ground together [ohm].
        conductance: sum over the channels of 1/|Z + r|, Z the load at the plug and r the loss
            inside the chip ahead of it, as used for the ceiling [S]; a single-ended channel, which
            swings by half the supply through half the time, counts a quarter.
        quiescent_current: of the whole chip [A].

    Returns:
        (Vs - Rsup Iq)/(1 + (2/pi) Rsup G) [V]: each bridge takes the rectified load current, mean
        (2/pi) of its peak.
    """
    require_positive(supply=supply)
    require_not_negative(supply_resistance=supply_resistance, conductance=conductance)
    sag = 2.0 / np.pi * supply_resistance * conductance
    return np.asarray((supply - supply_resistance * quiescent_current) / (1.0 + sag))


def supply_current(
    *, peak_current: Real, channels: Real, quiescent_current: Real = QUIESCENT_CURRENT
) -> Real:
    """Mean current of the supply with a sine on each channel.

    Args:
        peak_current: of a load [A peak].
        channels: N, how many play [1].
        quiescent_current: of the whole chip [A].

    Returns:
        (2/pi) N Ip + Iq [A].

    Raises:
        OutOfRangeError: peak_current or channels below zero.
    """
    require_not_negative(peak_current=peak_current, channels=channels)
    return 2.0 / np.pi * channels * peak_current + quiescent_current


def programme_heat(
    *,
    supply: Real,
    peak_voltage: Real,
    resistance: Real,
    power_resistance: Real,
    fraction: Real,
) -> FloatArray:
    """Heat of one class-AB bridge channel with programme, quiescent current apart.

    Args:
        supply: at the chip [V].
        peak_voltage: ceiling where the programme is clipped [V].
        resistance: that draws the same programme current as the load [ohm].
        power_resistance: that takes the same programme power, 1/R the mean of Re Y over the
            programme [ohm]; never below `resistance`, the same for a load of resistors.
        fraction: mean power before clipping over that of a sine that just clips [1].

    Returns:
        Vs E|v|/R - E v^2/Rp [W]: what the supply gives less what the load takes; what a reactive
        load gives back stays in the chip.

    Raises:
        OutOfRangeError: supply, ceiling, a resistance or fraction not above zero.

    Valid for a class-AB output without switching of its supply.
    """
    require_positive(supply=supply, power_resistance=power_resistance)
    current = programme_current(peak_voltage=peak_voltage, resistance=resistance, fraction=fraction)
    _, square = _programme_moments(peak_voltage, fraction)
    return np.asarray(supply * current - square / power_resistance)


def programme_current(*, peak_voltage: Real, resistance: Real, fraction: Real) -> FloatArray:
    """Mean rectified current of programme [A], E|v|/R; arguments and errors as programme_heat."""
    require_positive(peak_voltage=peak_voltage, resistance=resistance, fraction=fraction)
    mean, _ = _programme_moments(peak_voltage, fraction)
    return np.asarray(mean / resistance)


def open_swing(*, volts: Real, load: Real, clip_loss: Real) -> FloatArray:
    """Peak voltage of an open output that is clean up to so many volts into a load.

    Args:
        volts: clean rms volts into the load [V].
        load: they are given for [ohm].
        clip_loss: extra loss at the clip point [ohm].

    Returns:
        sqrt2 V (R + Rc)/R [V peak]: `clean_peak_voltage` the other way round.

    Raises:
        OutOfRangeError: volts or load not above zero, or a negative loss.
    """
    require_positive(volts=volts, load=load)
    require_not_negative(clip_loss=clip_loss)
    return np.asarray(np.sqrt(2.0) * volts * (load + clip_loss) / load)


def fed_share(
    *, supply: Real, feed_resistance: Real, power: Real, rest_current: Real
) -> FloatArray:
    """Supply left at an amplifier over the supply ahead of its cable, at full sine.

    Args:
        supply: ahead of the cable [V].
        feed_resistance: of the cable and the way back [ohm].
        power: that it takes from a supply that does not sag [W].
        rest_current: quiescent [A].

    Returns:
        x [1] of Vs x = Vs - R (P x^2/(Vs x) + Iq), its volts following the supply:
        (1 - R Iq/Vs)/(1 + R P/Vs^2).

    Raises:
        OutOfRangeError: supply not above zero, or another argument below zero.
    """
    require_positive(supply=supply)
    require_not_negative(feed_resistance=feed_resistance, power=power, rest_current=rest_current)
    rest = np.maximum(1.0 - feed_resistance * rest_current / supply, 0.0)
    return np.asarray(rest / (1.0 + feed_resistance * power / supply**2))


def programme_share(*, fraction: Real, switching: bool) -> FloatArray:
    """Power that programme takes from the supply over that of a sine that just clips [1].

    Args:
        fraction: mean power before clipping over that of the sine [1].
        switching: class D takes in proportion to what it gives, E v^2; class AB in proportion to
            the rectified voltage, E|v|.

    Raises:
        OutOfRangeError: fraction not above zero.
    """
    require_positive(fraction=fraction)
    mean, square = _programme_moments(1.0, fraction)
    return np.asarray(2.0 * square if switching else 0.5 * np.pi * mean)


def _programme_moments(peak_voltage: Real, fraction: Real) -> tuple[FloatArray, FloatArray]:
    """E|v| [V] and E v^2 [V^2] of a normal amplitude of variance fraction Vc^2/2 held within +-Vc.

    With u = Vc/(sigma sqrt 2): E|v| = sigma sqrt(2/pi) (1 - exp(-u^2)) + Vc erfc(u),
    E v^2 = sigma^2 (erf(u) - 2 u exp(-u^2)/sqrt(pi)) + Vc^2 erfc(u): the moments of a censored
    normal distribution (closed form).
    """
    from scipy.special import erf, erfc

    u = 1.0 / np.sqrt(np.asarray(fraction, dtype=np.float64))
    sigma = peak_voltage / (u * np.sqrt(2.0))
    tail = erfc(u)
    bell = np.exp(-(u**2))
    mean = sigma * np.sqrt(2.0 / np.pi) * (1.0 - bell) + peak_voltage * tail
    square = sigma**2 * (erf(u) - 2.0 * u * bell / np.sqrt(np.pi)) + peak_voltage**2 * tail
    return np.asarray(mean), np.asarray(square)


def junction_temperature(*, ambient: Real, thermal_resistance: Real, heat: Real) -> Real:
    """Steady temperature of the chip.

    Args:
        ambient: around the radio [K].
        thermal_resistance: junction to ambient [K/W].
        heat: that the chip makes [W].

    Returns:
        Ta + Rth P [K].

    Raises:
        OutOfRangeError: thermal_resistance below zero.
    """
    require_not_negative(thermal_resistance=thermal_resistance)
    return ambient + thermal_resistance * heat


def lowest_impedance(*, rated: Real) -> Real:
    """Lowest impedance modulus [ohm] a loudspeaker of a rated impedance [ohm] may show."""
    return RATING_SHARE * rated
