"""A driver in a closed box: the second-order high-pass every door is compared with.

Source: R. H. Small, "Closed-Box Loudspeaker Systems", J. Audio Eng. Soc. 20(10), 1972 and
21(1), 1973. Valid while the box is small against the wavelength and free of leaks.
"""

import numpy as np

from conewright.physics.air import Air
from conewright.physics.arrays import ComplexArray, FloatArray, Real
from conewright.physics.levels import amplitude_decibel
from conewright.physics.validity import require_positive

__all__ = [
    "air_spring_stiffness",
    "box_quality",
    "box_resonance",
    "box_response",
    "half_power_ratio",
    "response_peak",
    "response_peak_ratio",
]


def air_spring_stiffness(*, sd: Real, volume: Real, air: Air) -> Real:
    """Stiffness of a closed volume [m3] behind a piston sd [m2]: rho c^2 Sd^2/V [N/m]."""
    require_positive(volume=volume)
    return air.bulk_modulus * sd**2 / volume


def box_resonance(*, fs: Real, vas: Real, volume: Real) -> Real:
    """Resonance in the box [Hz]: fc = fs sqrt(1 + Vas/V); fs in an endless box."""
    require_positive(volume=volume)
    return fs * (1.0 + vas / volume) ** 0.5


def box_quality(*, q: Real, vas: Real, volume: Real) -> Real:
    """Quality in the box [1], electrical or total alike: Qc = Q sqrt(1 + Vas/V)."""
    require_positive(volume=volume)
    return q * (1.0 + vas / volume) ** 0.5


def box_response(*, fc: Real, qtc: Real, frequency: FloatArray) -> ComplexArray:
    """Pressure relative to mid-band.

    Args:
        fc: resonance in the box [Hz], shape (samples, 1) or scalar.
        qtc: total quality in the box [1], likewise.
        frequency: [Hz], shape (F,).

    Returns:
        s^2/(s^2 + s/Q + 1) at s = j f/fc [1], shape (samples, F).
    """
    require_positive(fc=fc, qtc=qtc, frequency=frequency)
    s = 1j * np.asarray(frequency) / fc
    return np.asarray(s**2 / (s**2 + s / qtc + 1.0), dtype=np.complex128)


def half_power_ratio(*, qtc: Real) -> Real:
    """Frequency 3.01 dB below mid-band over fc [1].

    (f3/fc)^2 = [a + sqrt(a^2 + 4)]/2 with a = 1/Q^2 - 2 (Small 1972, closed-box part I).
    """
    require_positive(qtc=qtc)
    a = 1.0 / qtc**2 - 2.0
    return ((a + (a**2 + 4.0) ** 0.5) / 2.0) ** 0.5


def response_peak(*, qtc: Real) -> FloatArray:
    """Height of the response peak over mid-band [dB]; zero when Q is 1/sqrt(2) or less.

    Q^2/sqrt(Q^2 - 1/4) (Small 1972, closed-box part I).
    """
    require_positive(qtc=qtc)
    high = np.maximum(qtc, 0.5**0.5)
    return amplitude_decibel(high**2 / np.sqrt(high**2 - 0.25))


def response_peak_ratio(*, qtc: Real) -> FloatArray:
    """Frequency of the response peak over fc [1]; infinite when Q is 1/sqrt(2) or less."""
    require_positive(qtc=qtc)
    inverse = 1.0 - 0.5 / np.asarray(qtc, dtype=np.float64) ** 2
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / np.sqrt(np.maximum(inverse, 0.0)))
