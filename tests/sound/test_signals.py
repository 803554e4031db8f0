"""Test sounds: length, level, spectrum and ends."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound import signals

SOUNDS = {
    "corner_caller": signals.corner_caller,
    "treble_burst": signals.treble_burst,
    "mono_bass": signals.mono_bass,
    "rattle_crawl": signals.rattle_crawl,
}


def spectrum(samples: FloatArray) -> tuple[FloatArray, FloatArray]:
    power = np.asarray(np.abs(np.fft.rfft(samples)) ** 2, dtype=np.float64)
    frequency = np.asarray(np.fft.rfftfreq(samples.size, 1 / signals.RATE), dtype=np.float64)
    return frequency, power


@pytest.mark.parametrize("name", SOUNDS)
def test_every_sound_is_two_channels_within_its_level_and_ends_in_silence(name: str) -> None:
    sound = SOUNDS[name]()
    assert sound.shape[0] == 2
    assert np.abs(sound).max() <= 10 ** (-12 / 20) + 1e-12
    assert np.abs(sound[:, 0]).max() < 1e-6
    assert np.abs(sound[:, -1]).max() < 1e-3
    assert sound.shape[1] / signals.RATE < 100.0


@pytest.mark.parametrize("name", SOUNDS)
def test_no_sound_clicks(name: str) -> None:
    # Closed form: the steepest sample of a faded band-limited sound is 2 pi f peak / rate.
    steepest = {"treble_burst": 2 * np.pi * 12e3 * 0.1 / 48e3}.get(name, 0.15)
    assert np.abs(np.diff(SOUNDS[name]())).max() < steepest


def test_a_sine_is_what_it_says() -> None:
    tone = signals.sine(frequency=100.0, seconds=1.0, level=-20.0)
    frequency, power = spectrum(tone)
    assert frequency[power.argmax()] == pytest.approx(100.0)
    assert np.abs(tone).max() == pytest.approx(0.1, rel=1e-3)


def test_pink_noise_has_equal_power_per_octave_and_none_outside() -> None:
    burst = signals.pink_burst(low=200.0, high=1600.0, seconds=2.0, level=-12.0, seed=3)
    frequency, power = spectrum(burst)
    octaves = [
        power[(frequency >= low) & (frequency < 2 * low)].sum() for low in (200.0, 400.0, 800.0)
    ]
    # Closed form: integral of 1/f over an octave is ln 2; the fade costs a little at the edges.
    assert octaves == pytest.approx([np.mean(octaves)] * 3, rel=0.03)
    outside = power[(frequency < 150.0) | (frequency > 1700.0)].sum()
    assert outside < 1e-3 * power.sum()
    assert np.abs(burst).max() == pytest.approx(10 ** (-12 / 20), rel=1e-9)


def test_mono_bass_plays_sides_sums_and_differences() -> None:
    sound = signals.mono_bass()
    left, right = sound
    together, apart = left + right, left - right
    # Twelve parts of 3 s: each of the four is heard a quarter of the time in its own way.
    loud = {
        "left only": np.sum((np.abs(left) > 0.1) & (right == 0.0)),
        "right only": np.sum((np.abs(right) > 0.1) & (left == 0.0)),
        "both": np.sum((np.abs(together) > 0.2) & (np.abs(apart) < 1e-12)),
        "opposed": np.sum((np.abs(apart) > 0.2) & (np.abs(together) < 1e-12)),
    }
    assert min(loud.values()) > 0.5 * max(loud.values()) > 0


def test_the_crawl_sweeps_evenly_in_octaves() -> None:
    # Closed form: halfway in time it stands at the geometric mean, sqrt(30 * 300) = 94.9 Hz.
    sound = signals.rattle_crawl()[0]
    start = sound.size - 90 * signals.RATE
    middle = sound[start + 45 * signals.RATE - 4800 : start + 45 * signals.RATE + 4800]
    frequency, power = spectrum(middle * np.hanning(middle.size))
    assert frequency[power.argmax()] == pytest.approx(94.9, abs=5.0)


def test_sounds_are_the_same_every_time() -> None:
    assert np.array_equal(signals.corner_caller(), signals.corner_caller())


@pytest.mark.parametrize(
    ("frequency", "seconds", "level"),
    [(0.0, 1.0, -20.0), (24_000.0, 1.0, -20.0), (100.0, 0.0, -20.0), (100.0, 1.0, -3.0)],
)
def test_what_could_hurt_is_refused(frequency: float, seconds: float, level: float) -> None:
    with pytest.raises(OutOfRangeError):
        signals.sine(frequency=frequency, seconds=seconds, level=level)
