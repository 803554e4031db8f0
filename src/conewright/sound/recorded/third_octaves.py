"""Third-octave levels, their noise, and the harmonics, of an impulse response.

A measured spectrum has a comb finer than any grid: the power over f is integrated over every bin
between the edges, the bins at the edges by their share.

Source: IEC 61260-1:2014 (bands); windows of the noise are this project's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.bands import band_centres, band_edges
from conewright.physics.basics.levels import decibel, from_decibel
from conewright.sound.recorded.deconvolution import HIGHEST_SHARE, Impulse

__all__ = [
    "LEAST_HARMONIC",
    "LEAST_SNR",
    "BandLevels",
    "band_levels",
    "band_power",
    "clear_of_noise",
    "harmonic_levels",
]

LEAST_HARMONIC: Final = -50.0
"""A harmonic under this is "less than" [dB re fundamental]."""
HIDDEN: Final = 3.0
"""A harmonic that is not so far over the noise is noise [dB]."""
LEAST_SNR: Final = 10.0
"""A band with less is neither drawn nor judged [dB]."""
FULL_SNR: Final = 15.0
"""A band with less carries more spread [dB]."""


@dataclass(frozen=True, slots=True)
class BandLevels:
    """Levels of the 31 third octaves from 20 Hz to 20 kHz.

    level, noise: [dB re an arbitrary but fixed scale], shape (31,); NaN over half the rate.
    """

    level: FloatArray
    noise: FloatArray

    @property
    def snr(self) -> FloatArray:
        """Level over noise [dB], shape (31,); minus infinity where there is nothing at all."""
        heard = np.where(np.isneginf(self.level), 0.0, self.level)
        return np.asarray(np.where(np.isneginf(self.level), -np.inf, heard - self.noise))

    @property
    def trusted(self) -> NDArray[np.bool_]:
        """Bands that may be judged, shape (31,): 10 dB over the noise; the two at the edges not."""
        return clear_of_noise(self.snr)

    @property
    def widened(self) -> FloatArray:
        """What noise may add to a level: 10 log(1 + 10^(-SNR/10)) under 15 dB [dB], shape (31,)."""
        return np.asarray(np.where(self.snr < FULL_SNR, decibel(1 + from_decibel(-self.snr)), 0.0))

    @property
    def range(self) -> tuple[float, float] | None:
        """Lowest and highest trusted mid-band frequency [Hz]; None where no band is."""
        centres = band_centres()[self.trusted]
        return (float(centres[0]), float(centres[-1])) if centres.size else None


def clear_of_noise(snr: FloatArray) -> NDArray[np.bool_]:
    """Tell which of the 31 third octaves may be judged by level over noise [dB]: not the ends."""
    clear = np.nan_to_num(snr, nan=-np.inf) >= LEAST_SNR
    clear[[0, -1]] = False
    return np.asarray(clear)


def band_power(power: FloatArray, *, step: float, order: int = 1) -> FloatArray:
    """Mean power over ln f in each third octave.

    Args:
        power: per bin of a transform, shape (..., F), bin i at i times `step`.
        step: from bin to bin [Hz].
        order: the band is looked at that many times higher.

    Returns:
        Shape (..., 31): sum of p ln(upper/lower) over the bins' shares of the band, over ln of the
        band's ratio; NaN where the bins do not reach.

    """
    edges = band_edges() * order
    upper = (np.arange(power.shape[-1]) + 0.5) * step
    # The integral of p/f up to any frequency, p constant over its bin; bin 0 is no part of a band.
    logs = np.log(upper)
    total = np.cumsum(power[..., 1:] * np.diff(logs), axis=-1)
    total = np.concatenate([np.zeros((*power.shape[:-1], 1)), total], axis=-1)
    flat = total.reshape(-1, total.shape[-1])
    at_edges = np.array([np.interp(np.log(edges), logs, row, right=np.nan) for row in flat])
    mean = np.diff(at_edges, axis=-1) / np.diff(np.log(edges))
    return np.asarray(mean.reshape(*power.shape[:-1], mean.shape[-1]))


def band_levels(impulse: Impulse) -> BandLevels:
    """Third-octave levels of an impulse response, with the noise of each band.

    Returns:
        Levels of the linear part, and the larger of those of the same window 0.45 s and 0.58 s
        later.

    """
    step = impulse.rate / impulse.points
    level = _levels(impulse, band_power(np.abs(impulse.linear()) ** 2, step=step))
    noises = [band_power(np.abs(each) ** 2, step=step) for each in impulse.noise()]
    return BandLevels(level, _levels(impulse, np.max(noises, axis=0)))


def harmonic_levels(impulse: Impulse, *, order: int) -> FloatArray:
    """Level of a harmonic over the fundamental that made it.

    Args:
        impulse: with the sweep's harmonics in it.
        order: 2 to 5.

    Returns:
        [dB], shape (31,), by the third octave of the fundamental: power of the harmonic's window
        in the band times k over that of the linear one in the band; NaN where the harmonic is
        beyond the rate or the sweep, or neither 3 dB over the noise nor below -50 dB. Below that
        it is "less than".

    Source: Novak, Simon, Lotton, JAES 63(10) 2015: the same inverse filter, no further factor.
    """
    step = impulse.rate / impulse.points
    harmonic = band_power(np.abs(impulse.harmonic(order)) ** 2, step=step, order=order)
    linear = band_power(np.abs(impulse.linear()) ** 2, step=step)
    # Noise in the linear part's window, which is no shorter than a harmonic's.
    # The lower of two: what folds over half the rate crosses one of them.
    noise = np.min(
        [band_power(np.abs(each) ** 2, step=step, order=order) for each in impulse.noise()], axis=0
    )
    level = decibel(harmonic / linear)
    hidden = (level > LEAST_HARMONIC) & (harmonic < from_decibel(HIDDEN) * noise)
    beyond = band_edges()[1:] * order > min(HIGHEST_SHARE * impulse.rate, 20_000.0)
    return np.asarray(np.where(beyond | hidden, np.nan, level))


def _levels(impulse: Impulse, power: FloatArray) -> FloatArray:
    beyond = band_centres() > HIGHEST_SHARE * impulse.rate
    return np.asarray(np.where(beyond, np.nan, decibel(power)))
