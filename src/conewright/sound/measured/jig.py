"""Impedance with a recorder: a resistor, a driver, and the ratio of two voltages.

A source drives a resistor R with the driver behind it. Channel A hears the voltage before the
resistor, channel B that across the driver; their ratio r gives Z = R r/(1 - r), in which every gain
of the source cancels. A recorder of one channel hears B alone, three times: open, with a known
resistor, with the driver.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray
from conewright.physics.basics.validity import in_words, require_not_negative, require_positive
from conewright.sound.measured.curves import Curve
from conewright.sound.measured.impedance_points import ImpedancePoints, LevelPoints, ModulusPoints
from conewright.sound.measured.lock_in import locked_tones, silences
from conewright.sound.measured.mains import without_mains
from conewright.sound.played.stimuli import Stimulus, Tone
from conewright.sound.recorded.clock import Clock
from conewright.sound.recorded.deconvolution import HIGHEST_SHARE, deconvolve

__all__ = [
    "JigRatio",
    "curve_points",
    "impedance_from_ratio",
    "impedance_points",
    "level_points",
    "one_channel_level",
    "ratio_from_responses",
    "ratio_from_steps",
    "ratio_from_sweep",
    "require_known_resistor",
    "series_resistance",
    "sweep_frequencies",
]

PER_DECADE: Final = 40

LEAD_IN: Final = 0.18
"""Window before the arrival [s], half of it rising: the ringing of a band that begins at 20 Hz."""
TAIL: Final = 0.30
"""Window after the arrival [s], the last quarter falling."""
NOISE_AT: Final = (0.50, 0.62, 0.74)
"""Where the same window holds noise alone, after the arrival [s]."""

CHECKED: Final = (30.0, 5.0e3)
CHECK_LIMIT: Final = 0.01
"""A known resistor must read right within this between these frequencies [1, Hz]."""

CURVE_ERROR: Final = 0.005
"""Relative standard error of the points of a curve that tells none, by rule of thumb [1]."""

DRIFT: Final = 0.0058
"""A volume that stands still does so within 0.05 dB [1]."""


@dataclass(frozen=True, slots=True, eq=False)
class JigRatio:
    """The voltage across the driver over that before the resistor.

    frequency: [Hz], shape (F,). ratio: B/A [1], shape (F,). error: relative standard error of it
    from the noise of both channels [1], shape (F,).
    """

    frequency: FloatArray
    ratio: ComplexArray
    error: FloatArray


def sweep_frequencies(low: float = 16.0, high: float = 20.0e3) -> FloatArray:
    """Frequencies of an impedance curve [Hz]: 40 a decade from low to at most high [Hz]."""
    require_positive(low=low, high=high)
    count = int(np.floor(np.log10(high / low) * PER_DECADE + 1e-9)) + 1
    return np.asarray(low * 10.0 ** (np.arange(count) / PER_DECADE))


def ratio_from_sweep(
    samples: FloatArray,
    *,
    rate: float,
    clock: Clock,
    stimulus: Stimulus,
    frequency: FloatArray | None = None,
) -> JigRatio:
    """Ratio of both channels of a recording of `sweep` or `sweep-short`.

    Args:
        samples: channel A, before the resistor, then B, shape (2, N).
        rate: samples a second [1/s].
        clock: from the marks on channel A.
        stimulus: what was played.
        frequency: where the ratio is wanted [Hz], shape (F,); 40 a decade from 16 Hz to 20 kHz, or
            to 0.4 of the rate, unless given.

    Raises:
        BadInputError: not two channels, no sweep, or a recording that does not hold it.
        OutOfRangeError: as `ratio_from_responses`.

    The mains are taken out of the whole, then both channels are deconvolved by one clock.
    """
    if samples.ndim != 2 or len(samples) != 2:
        raise BadInputError(f"samples: found {len(np.atleast_2d(samples))} channel; A and B wanted")
    if not stimulus.cores:
        raise BadInputError(f"stimulus: found {stimulus.name}; one with a sweep is wanted")
    if frequency is None:
        frequency = sweep_frequencies(high=min(20.0e3, 0.4 * rate))
    quiet = silences(stimulus, rate=rate, clock=clock, count=samples.shape[-1])
    cleaned, _ = without_mains(samples, rate=rate, silences=quiet)
    part, ahead = stimulus.cores[0], round(1.1 * LEAD_IN * rate)
    before, across = (
        np.roll(deconvolve(each, rate=rate, clock=clock, part=part).samples, ahead)
        for each in cleaned
    )
    return ratio_from_responses(
        before, across, rate=rate, arrival=ahead / rate, frequency=frequency
    )


def ratio_from_responses(
    before: FloatArray,
    across: FloatArray,
    *,
    rate: float,
    arrival: float,
    frequency: FloatArray,
) -> JigRatio:
    """Ratio of two impulse responses of one sweep, deconvolved with one clock.

    Args:
        before: of channel A, shape (N,).
        across: of channel B, shape (N,).
        rate: samples a second [1/s].
        arrival: where tau = 0 lies [s].
        frequency: where the ratio is wanted [Hz], shape (F,).

    Raises:
        OutOfRangeError: responses of two lengths, or that do not reach from 0.18 s before the
            arrival to 1.04 s after it; channel A silent.

    The window reaches from -0.18 s, half of that rising, to +0.30 s; 40 ms of lead would make Re
    1 % too low. The error is the rms of the same window at +0.50, +0.62 and +0.74 s, where the
    driver has come to rest, over the signal.

    """
    require_positive(rate=rate, frequency=frequency)
    if before.shape != across.shape or before.ndim != 1:
        raise OutOfRangeError("the responses of both channels must be of one length")
    first, last = arrival - LEAD_IN, arrival + NOISE_AT[-1] + TAIL
    if first < -0.5 / rate or last > (before.size - 2) / rate:
        raise OutOfRangeError(
            f"the response lasts {before.size / rate:.2f} s; it must reach from {LEAD_IN:g} s "
            f"before the arrival to {NOISE_AT[-1] + TAIL:g} s after it"
        )
    both = np.stack([before, across])
    signal, *heard = _windowed_spectra(both, rate, arrival, frequency)
    if not np.all(np.abs(signal[0]) > 0.0):
        raise OutOfRangeError("channel A is silent: nothing arrives before the resistor")
    noise = np.sqrt(np.mean(np.abs(heard) ** 2, axis=0))
    # The modulus and the angle each take half of the power of the noise.
    share = noise / np.maximum(np.abs(signal), 1e-300)
    error = np.sqrt(np.sum(share**2, axis=0) / 2.0)
    return JigRatio(frequency, signal[1] / signal[0], error)


def ratio_from_steps(
    samples: FloatArray, *, rate: float, clock: Clock, stimulus: Stimulus
) -> JigRatio:
    """Ratio of both channels of a recording of `steps`; slower than a sweep, and more robust.

    Args:
        samples: channel A, before the resistor, then B, shape (2, N).
        rate: samples a second [1/s].
        clock: from the marks on channel A.
        stimulus: what was played.

    Raises:
        BadInputError: not two channels, no tones, or a recording that does not hold them.
        OutOfRangeError: channel A silent.

    Tones above 0.46 of the rate are left out.
    """
    if samples.ndim != 2 or len(samples) != 2:
        raise BadInputError(f"samples: found {len(np.atleast_2d(samples))} channel; A and B wanted")
    quiet = silences(stimulus, rate=rate, clock=clock, count=samples.shape[-1])
    cleaned, _ = without_mains(samples, rate=rate, silences=quiet)
    held = [
        part
        for part in stimulus.tones
        if isinstance(part.wave, Tone) and part.wave.frequency <= HIGHEST_SHARE * rate
    ]
    found = locked_tones(cleaned, rate=rate, clock=clock, parts=held)
    size = np.abs(found.amplitude)
    if not np.all(size[0] > 0.0):
        raise OutOfRangeError("channel A is silent: nothing arrives before the resistor")
    error = np.sqrt(np.sum((found.error / np.maximum(size, 1e-300)) ** 2, axis=0))
    return JigRatio(found.frequency, found.amplitude[1] / found.amplitude[0], error)


def impedance_from_ratio(
    ratio: ComplexArray,
    *,
    resistor: float,
    through: Complex = 1.0 + 0j,
    leads: Complex = 0j,
    input_resistance: float = inf,
) -> ComplexArray:
    """Impedance behind the resistor.

    Args:
        ratio: B/A [1], shape (F,).
        resistor: R [ohm].
        through: g, the same ratio with both inputs on one point [1], shape (F,) or scalar.
        leads: what the jig reads with the leads joined at the driver's end [ohm], likewise.
        input_resistance: of channel B, which lies across driver and leads [ohm].

    Returns:
        Z = 1/((1 - r)/(R r) - 1/Rin) - Z_leads with r = (B/A)/g [ohm], shape (F,).

    Raises:
        OutOfRangeError: a resistor or an input not above zero; an open end (r = 1) or a silent B.

    Closed form of the divider; dZ/Z = (1 + Z/R) dr/r.

    """
    require_positive(resistor=resistor, input_resistance=input_resistance)
    r = np.asarray(ratio) / np.asarray(through)
    if not np.all(np.isfinite(r)) or np.any(r == 0.0):
        raise OutOfRangeError("channel B is silent, or nothing was measured on one point")
    admittance = (1.0 - r) / (resistor * r) - 1.0 / input_resistance
    if np.any(admittance == 0.0):
        raise OutOfRangeError("both channels read the same: nothing hangs behind the resistor")
    return np.asarray(1.0 / admittance - leads)


def impedance_points(
    measured: JigRatio,
    *,
    resistor: float,
    through: JigRatio | None = None,
    leads: JigRatio | None = None,
    input_resistance: float = inf,
    tolerance: float = 0.01,
) -> ImpedancePoints:
    """What a jig of two channels measured, ready to be fitted.

    Args:
        measured: with the driver.
        resistor: R [ohm].
        through: with both inputs on one point; without it a mismatch of the inputs goes into Z.
        leads: with the leads joined at the driver's end.
        input_resistance: of channel B [ohm].
        tolerance: limits of R [1].

    Raises:
        OutOfRangeError: as `impedance_from_ratio`; other frequencies than those of `measured`.

    """
    for other in (through, leads):
        if other is not None and not np.array_equal(other.frequency, measured.frequency):
            raise OutOfRangeError("all ratios of one jig must be at the same frequencies")
    gain = 1.0 + 0j if through is None else through.ratio
    joined: Complex = 0j
    if leads is not None:
        joined = impedance_from_ratio(
            leads.ratio, resistor=resistor, through=gain, input_resistance=input_resistance
        )
    z = impedance_from_ratio(
        measured.ratio,
        resistor=resistor,
        through=gain,
        leads=joined,
        input_resistance=input_resistance,
    )
    share = measured.error if through is None else np.hypot(measured.error, through.error)
    # To first order dZ/Z = (1 + Z/R) dr/r.
    error = np.abs(1.0 + z / resistor) * share
    return ImpedancePoints(measured.frequency, z, error, resistor=tolerance)


def curve_points(
    curve: Curve, *, error: float = CURVE_ERROR, tolerance: float = 0.01
) -> ImpedancePoints | ModulusPoints:
    """An impedance that was measured elsewhere, ready to be fitted.

    Args:
        curve: of an impedance, with or without its phase.
        error: relative standard error of each point, which no such file tells [1].
        tolerance: limits of its scale [1].

    Raises:
        BadInputError: a curve of a level.
        OutOfRangeError: as `ImpedancePoints`.

    """
    if curve.kind != "impedance":
        raise BadInputError(f"{curve.name}: found a level ({curve.reason}); an impedance is wanted")
    errors = np.full(curve.frequency.size, error)
    if curve.phase is None:
        return ModulusPoints(curve.frequency, curve.magnitude, errors, resistor=tolerance)
    z = np.asarray(curve.magnitude * np.exp(1j * curve.phase))
    return ImpedancePoints(curve.frequency, z, errors, resistor=tolerance)


def require_known_resistor(
    frequency: FloatArray, impedance: ComplexArray, *, nominal: float = 10.0
) -> float:
    """Refuse a jig that does not read a known resistor right.

    Args:
        frequency: [Hz], shape (F,).
        impedance: as read [ohm], shape (F,).
        nominal: of the resistor that hangs in the place of the driver [ohm].

    Returns:
        The most it is off, over its value [1].

    Raises:
        OutOfRangeError: off by more than 1 % between 30 Hz and 5 kHz, or nothing measured there.

    """
    require_positive(nominal=nominal, frequency=frequency)
    inside = (frequency >= CHECKED[0]) & (frequency <= CHECKED[1])
    if not inside.any():
        raise OutOfRangeError("the known resistor was not measured between 30 Hz and 5 kHz")
    off = np.abs(impedance[inside] / nominal - 1.0)
    worst = int(off.argmax())
    if not off[worst] <= CHECK_LIMIT:
        raise OutOfRangeError(
            f"the known {nominal:g} ohm read {abs(impedance[inside][worst]):.2f} ohm at "
            f"{frequency[inside][worst]:.0f} Hz; within {100 * CHECK_LIMIT:g} % is allowed: check "
            "the measurement on one point, the leads and the plugs"
        )
    return float(off[worst])


def series_resistance(level: FloatArray, *, known: float) -> float:
    """Series resistance of a jig of one channel, from its known resistor.

    Args:
        level: |V with the resistor / V open|, shape (F,) [1].
        known: K, the resistor [ohm].

    Returns:
        Rs = K/rho - K [ohm], rho the median of the level.

    Raises:
        OutOfRangeError: a level not between 0 and 1: the volume changed, or nothing was plugged in;
            or one that bends by more than 1 %: a gain that follows the sound.

    """
    require_positive(known=known, level=level)
    rho = float(np.median(level))
    if not rho < 1.0:
        raise OutOfRangeError(
            f"with {known:g} ohm the voltage is {in_words(rho)} times that of the open leads; "
            "below 1 is wanted: the volume was changed, or the resistor hangs loose"
        )
    bent = float(np.max(np.abs(level / rho - 1.0)))
    if bent > 2.0 * CHECK_LIMIT:
        raise OutOfRangeError(
            f"with a resistor the level must be even over frequency, and is bent by "
            f"{100 * bent:.1f} %: a gain that follows the sound, or a loose plug"
        )
    return known / rho - known


def one_channel_level(loaded: ComplexArray, *, opened: ComplexArray) -> FloatArray:
    """Level of one recording over that with the leads open, both at one volume.

    Args:
        loaded: spectrum with resistor or driver, shape (F,).
        opened: spectrum with the leads open, shape (F,).

    Returns:
        |V/V open| [1], shape (F,). The phases of two recordings do not belong together: a
        microsecond is 4 degrees at 10 kHz and looks like inductance.

    Raises:
        OutOfRangeError: an open recording that is silent somewhere.

    """
    if not np.all(np.abs(opened) > 0.0):
        raise OutOfRangeError("the recording with open leads is silent")
    return np.asarray(np.abs(loaded) / np.abs(opened))


def level_points(
    frequency: FloatArray,
    level: FloatArray,
    *,
    series: float,
    known_tolerance: float = 0.01,
    drift: float = DRIFT,
    noise: FloatArray | float = 0.0,
) -> LevelPoints:
    """What a jig of one channel measured, ready to be fitted.

    Args:
        frequency: [Hz], shape (F,).
        level: |Z/(Z + Rs)| = |V/V open| [1], shape (F,).
        series: Rs (`series_resistance`) [ohm].
        known_tolerance: limits of the known resistor [1].
        drift: how well the volume stood still between the recordings [1]; 0.05 dB is 0.0058.
        noise: relative standard error of each point [1], shape (F,) or scalar.

    Raises:
        OutOfRangeError: as `LevelPoints`.

    A drift between the recordings scales all levels alike; of Rs = K (1/rho - 1) it is worth
    (Rs + K)/Rs.

    """
    require_not_negative(known_tolerance=known_tolerance, drift=drift)
    # Of K and Rs of one size, as a jig has them, a drift is twice that of Rs.
    limits = float(np.hypot(known_tolerance, 2.0 * drift))
    error = np.broadcast_to(np.asarray(noise, dtype=float), np.shape(frequency))
    return LevelPoints(frequency, level, series, error, resistor=limits, drift=drift)


def _windowed_spectra(
    responses: FloatArray, rate: float, arrival: float, frequency: FloatArray
) -> ComplexArray:
    """Fourier sums over the window about the arrival and later ones, shape (1 + 3, 2, F)."""
    first = max(round((arrival - LEAD_IN) * rate), 0)
    size = round((LEAD_IN + TAIL) * rate)
    tau = (first + np.arange(size)) / rate - arrival
    rising = np.clip((tau + LEAD_IN) / (0.5 * LEAD_IN), 0.0, 1.0)
    falling = np.clip((TAIL - tau) / (0.25 * TAIL), 0.0, 1.0)
    window = 0.25 * (1.0 - np.cos(np.pi * rising)) * (1.0 - np.cos(np.pi * falling))
    starts = [first, *(first + round(late * rate) for late in NOISE_AT)]
    held = np.stack([responses[:, at : at + size] * window for at in starts])
    return np.asarray(held @ np.exp(np.outer(tau, -2j * np.pi * frequency)))
