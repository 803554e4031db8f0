"""Recorded responses of a street (Debian, jconvolver-config-files) in the place of a cabin."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.bands import band_centres
from conewright.sound.played.stimuli import STIMULI
from conewright.sound.recorded.analysis import analyse
from conewright.sound.recorded.recording import Recording
from conewright.sound.recorded.third_octaves import band_power

FOLDER = Path("/usr/share/jconvolver/config-files/demo-reverbs")
RATE = 48_000
POINTS = 1 << 17

pytestmark = pytest.mark.skipif(
    not FOLDER.exists(), reason="Debian's jconvolver-config-files is not installed"
)


def _response(side: str) -> FloatArray:
    samples, rate = soundfile.read(FOLDER / f"street2-{side}.wav")
    assert rate == RATE
    mono = samples if samples.ndim == 1 else samples[:, 0]
    return np.asarray(mono / np.abs(mono).max())


def _truth(response: FloatArray) -> FloatArray:
    """Level of what comes within 0.28 s, the last quarter fading: a street rings for longer."""
    time = np.arange(response.size) / RATE
    response = response * (0.5 - 0.5 * np.cos(np.pi * np.clip((0.28 - time) / 0.07, 0.0, 1.0)))
    power = np.abs(np.fft.rfft(response, POINTS)) ** 2
    return np.asarray(10 * np.log10(band_power(power, step=RATE / POINTS)))


def test_third_octaves_of_a_recorded_space_come_back() -> None:
    ways = [_response(side) for side in ("L", "R")]
    samples = STIMULI["sides"].samples()
    heard = sum(signal.fftconvolve(each, way) for each, way in zip(samples, ways, strict=True))
    whole = np.pad(0.2 * np.asarray(heard), (RATE, RATE))
    whole += np.random.default_rng(5).normal(0.0, 2e-5, whole.size)
    take = analyse(Recording("street.wav", whole[None], float(RATE), "0" * 64))
    assert take.stimulus is not None
    assert take.stimulus.name == "sides"
    assert take.usable, take.flags
    centres = band_centres()
    judged = (centres > 45.0) & (centres < 13_000.0)
    found = [levels.level for levels in take.levels]
    # Of each side, and of one side against the other; a common scale is nobody's business.
    for levels, way in zip(found, ways, strict=True):
        off = (levels - _truth(way))[judged]
        off -= np.median(off)
        assert np.sqrt(np.mean(off**2)) < 0.1
        assert np.abs(off).max() < 0.4
    apart = (found[1] - found[0])[judged] - (_truth(ways[1]) - _truth(ways[0]))[judged]
    assert np.abs(apart).max() < 0.4
