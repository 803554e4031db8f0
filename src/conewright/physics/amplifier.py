"""The radio's bridge output: ceilings of voltage and current, supply, distortion, heat.

Model: a source of voltage that clips. Just before clipping the plug reaches
V = Vs |Z|/|Z + Rc|, Rc the extra loss at the clip point. Peak values throughout, except where
a name says otherwise; sine unless stated. The bridge swings both ways by the whole supply.
"""

from typing import Final

import numpy as np

from conewright.errors import OutOfRangeError
from conewright.physics.arrays import Complex, FloatArray, Real
from conewright.physics.validity import in_words, require_not_negative, require_positive

__all__ = [
    "QUIESCENT_CURRENT",
    "clean_peak_emf",
    "clean_peak_voltage",
    "clean_sine_power",
    "clipped_sine_distortion",
    "clipped_sine_drive",
    "clipped_sine_power_ratio",
    "junction_temperature",
    "largest_rating",
    "loaded_supply",
    "lowest_impedance",
    "programme_heat",
    "resistive_power",
    "sine_heat",
    "supply_current",
    "worst_sine_heat",
]

QUIESCENT_CURRENT: Final = 0.2
"""Current of a whole four-channel bridge chip at rest [A] (data sheets give 0.15 to 0.25 A)."""

MAXIMUM_DRIVE: Final = 1.0e4
"""Overdrive of 80 dB [1]: a square wave to a part in ten thousand."""

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


def clean_peak_emf(
    *,
    supply: Real,
    clip_loss: Real,
    output_resistance: Real,
    impedance: Complex,
    peak_current: Real = np.inf,
) -> FloatArray:
    """Highest peak voltage of the linear source behind its output resistance.

    Args:
        supply: at the chip [V].
        clip_loss: extra loss at the clip point [ohm].
        output_resistance: small-signal output resistance [ohm].
        impedance: of the load at the plug [ohm], not zero, may be infinite.
        peak_current: current limit of the chip [A peak].

    Returns:
        EMF [V peak] at which the plug reaches the lower of both ceilings.
    """
    ceiling = clean_peak_voltage(supply=supply, clip_loss=clip_loss, impedance=impedance)
    ceiling = np.minimum(ceiling, peak_current * np.abs(impedance))
    return np.asarray(ceiling / _share(impedance, output_resistance))


def clean_sine_power(
    *, supply: Real, clip_loss: Real, impedance: Complex, peak_current: Real = np.inf
) -> FloatArray:
    """Power of the largest clean sine into a load.

    Args:
        supply: at the chip [V].
        clip_loss: extra loss at the clip point [ohm].
        impedance: of the load [ohm], finite and not zero.
        peak_current: current limit of the chip [A peak].

    Returns:
        V^2 Re(1/Z)/2 [W], V the lower of the voltage ceiling and peak_current |Z|.
    """
    ceiling = clean_peak_voltage(supply=supply, clip_loss=clip_loss, impedance=impedance)
    ceiling = np.minimum(ceiling, peak_current * np.abs(impedance))
    return np.asarray(0.5 * ceiling**2 * np.real(1.0 / np.asarray(impedance)))


def resistive_power(*, voltage: Real, resistance: Real) -> Real:
    """Power [W] of an rms voltage [V] in a resistance [ohm]; a square wave's peak is its rms."""
    require_positive(resistance=resistance)
    return voltage**2 / resistance


def loaded_supply(
    *,
    supply: Real,
    supply_resistance: Real,
    channels: Real,
    impedance: Complex,
    series: Real,
    quiescent_current: Real = 0.0,
) -> FloatArray:
    """Supply left at the chip while equal channels all deliver their largest sine.

    Args:
        supply: at the battery end of the feed [V].
        supply_resistance: feed and ground together [ohm].
        channels: number of equal channels [1].
        impedance: of each load at the plug [ohm], may be infinite.
        series: loss inside the chip ahead of the plug [ohm], as used for the ceiling.
        quiescent_current: of the whole chip [A].

    Returns:
        (Vs - Rsup Iq)/(1 + (2/pi) N Rsup/|Z + r|) [V]: each bridge takes the rectified load
        current, mean (2/pi) of its peak.
    """
    require_positive(supply=supply)
    require_not_negative(supply_resistance=supply_resistance, channels=channels)
    total = np.abs(np.asarray(impedance) + series)
    require_positive(load=total)
    sag = 2.0 / np.pi * channels * supply_resistance / total
    return np.asarray((supply - supply_resistance * quiescent_current) / (1.0 + sag))


def supply_current(
    *, peak_current: Real, channels: Real, quiescent_current: Real = QUIESCENT_CURRENT
) -> Real:
    """Mean current of the supply [A] for N sines of a peak load current [A]: (2/pi) N Ip + Iq."""
    require_not_negative(peak_current=peak_current, channels=channels)
    return 2.0 / np.pi * channels * peak_current + quiescent_current


def sine_heat(*, supply: Real, peak_voltage: Real, resistance: Real) -> Real:
    """Heat of one class-AB bridge channel with a sine [W], quiescent current apart.

    Vs 2 Vp/(pi R) - Vp^2/(2 R): supply times mean rectified current, less the load's power.
    """
    require_positive(supply=supply, resistance=resistance)
    return (supply * 2.0 / np.pi - peak_voltage / 2.0) * peak_voltage / resistance


def worst_sine_heat(*, supply: Real, resistance: Real) -> Real:
    """Heat at the sine that heats most, Vp = 2 Vs/pi: 2 Vs^2/(pi^2 R) [W]."""
    require_positive(supply=supply, resistance=resistance)
    return 2.0 * supply**2 / (np.pi**2 * resistance)


def programme_heat(
    *, supply: Real, peak_voltage: Real, resistance: Real, fraction: Real
) -> FloatArray:
    """Heat of one class-AB bridge channel with programme, quiescent current apart.

    Args:
        supply: at the chip [V].
        peak_voltage: ceiling where the programme is clipped [V].
        resistance: programme-equivalent resistance of the load [ohm].
        fraction: mean power before clipping over that of a sine that just clips [1].

    Returns:
        (Vs E|v| - E v^2)/R [W] over a normal amplitude distribution of variance
        fraction Vc^2/2 held within +-Vc; with u = Vc/(sigma sqrt 2)
        E|v| = sigma sqrt(2/pi) (1 - exp(-u^2)) + Vc erfc(u),
        E v^2 = sigma^2 (erf(u) - 2 u exp(-u^2)/sqrt(pi)) + Vc^2 erfc(u).

    Raises:
        OutOfRangeError: supply, ceiling, resistance or fraction not above zero.

    The moments are those of a censored normal distribution (closed form). Valid for a class-AB
    output without switching of its supply.
    """
    from scipy.special import erf, erfc

    require_positive(
        supply=supply, peak_voltage=peak_voltage, resistance=resistance, fraction=fraction
    )
    u = 1.0 / np.sqrt(np.asarray(fraction, dtype=np.float64))
    sigma = peak_voltage / (u * np.sqrt(2.0))
    tail = erfc(u)
    bell = np.exp(-(u**2))
    mean = sigma * np.sqrt(2.0 / np.pi) * (1.0 - bell) + peak_voltage * tail
    square = sigma**2 * (erf(u) - 2.0 * u * bell / np.sqrt(np.pi)) + peak_voltage**2 * tail
    return np.asarray((supply * mean - square) / resistance)


def junction_temperature(*, ambient: Real, thermal_resistance: Real, heat: Real) -> Real:
    """Steady chip temperature [K] from ambient [K], junction-to-ambient [K/W] and heat [W]."""
    require_not_negative(thermal_resistance=thermal_resistance)
    return ambient + thermal_resistance * heat


def clipped_sine_power_ratio(*, drive: Real) -> FloatArray:
    """Power of a hard-clipped sine over that of a sine that just clips [1].

    Args:
        drive: amplitude d over the ceiling [1]; one or less is not clipped.

    Returns:
        With sin(t) = 1/d: (2/pi) (d^2 t - d cos(t) + pi - 2 t); d^2 below one. It tends to two,
        the square wave.

    Raises:
        OutOfRangeError: drive below zero or above MAXIMUM_DRIVE.
    """
    above = _clipped_drive(drive)
    t = np.arcsin(1.0 / above)
    clipped = 2.0 / np.pi * (above**2 * t - above * np.cos(t) + np.pi - 2.0 * t)
    return np.where(np.asarray(drive) < 1.0, np.minimum(drive, 1.0) ** 2, clipped)


def _clipped_drive(drive: Real) -> FloatArray:
    require_not_negative(drive=drive)
    if not np.all(np.asarray(drive) <= MAXIMUM_DRIVE):
        raise OutOfRangeError(f"drive must be at most {MAXIMUM_DRIVE:g}, got {in_words(drive)}")
    return np.maximum(drive, 1.0)


def clipped_sine_distortion(*, drive: Real) -> FloatArray:
    """Total harmonic distortion of a hard-clipped sine, harmonics over fundamental [1].

    Args:
        drive: amplitude over the ceiling [1].

    Returns:
        Zero up to one, towards 0.483, the square wave. Fundamental over the ceiling:
        (2/pi) (d t + cos(t)) with sin(t) = 1/d.

    Raises:
        OutOfRangeError: drive below zero or above MAXIMUM_DRIVE.
    """
    above = _clipped_drive(drive)
    t = np.arcsin(1.0 / above)
    fundamental = 2.0 / np.pi * (above * t + np.cos(t))
    total = clipped_sine_power_ratio(drive=above)
    return np.sqrt(np.maximum(total / fundamental**2 - 1.0, 0.0))


def clipped_sine_drive(*, distortion: float) -> float:
    """Drive [1] at which a hard-clipped sine has a total harmonic distortion [1].

    Raises:
        OutOfRangeError: distortion not within 1e-4 and 0.45.
    """
    from scipy.optimize import brentq

    if not 1e-4 <= distortion <= 0.45:
        raise OutOfRangeError(f"distortion must be within 1e-4 and 0.45, got {distortion}")
    return float(
        brentq(lambda drive: float(clipped_sine_distortion(drive=drive)) - distortion, 1.0, 20.0)
    )


def lowest_impedance(*, rated: Real) -> Real:
    """Lowest impedance modulus [ohm] a loudspeaker of a rated impedance [ohm] may show."""
    return RATING_SHARE * rated


def largest_rating(*, lowest: Real) -> Real:
    """Largest rated impedance [ohm] a lowest modulus [ohm] allows; inverse of the above."""
    return lowest / RATING_SHARE
