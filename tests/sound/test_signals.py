"""Test sounds: length, level, spectrum and ends."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played import signals

SOUNDS = {
    "corner_caller": signals.corner_caller,
    "treble_burst": signals.treble_burst,
    "mono_bass": signals.mono_bass,
    "rattle_crawl": signals.rattle_crawl,
    "measuring_sweep": signals.measuring_sweep,
    "pulse_train": signals.pulse_train,
    "call_script": signals.call_script,
    "hiss": signals.hiss,
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
    steep = {
        "treble_burst": 2 * np.pi * 12e3 * 0.1 / 48e3,
        "measuring_sweep": 2 * np.pi * 20e3 * 10 ** (-12 / 20) / 48e3,
    }
    steepest = steep.get(name, 0.15)
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


# --- By their definitions, sample for sample ------------------------------------------------------

STEP = 2.0**-15
"""One step of 16 bit."""


def test_the_measuring_sweep_lies_between_two_chirps_a_known_time_apart() -> None:
    # Closed form (Farina 2000): x = A sin(2 pi f1 L (e^(t/L) - 1)), L = T / ln(f2/f1), half a
    # cosine of 20 ms at both ends; chirps of 0.1 s, 1 to 5 kHz, 12 s from beginning to beginning.
    sound = signals.measuring_sweep()[0]
    begin = round((3 * 0.24 + 0.4) * signals.RATE)
    time = np.arange(10 * signals.RATE) / signals.RATE
    rate = 10.0 / np.log(1000.0)
    wanted = 10 ** (-12 / 20) * np.sin(2 * np.pi * 20.0 * rate * (np.exp(time / rate) - 1.0))
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(960) / 960)
    wanted[:960] *= ramp
    wanted[-960:] *= ramp[::-1]
    sweep = sound[begin + signals.RATE :][: wanted.size]
    assert np.abs(sweep - wanted).max() < STEP
    time = np.arange(4800) / signals.RATE
    mark = 10 ** (-18 / 20) * np.sin(2 * np.pi * (1000.0 * time + 20_000.0 * time**2))
    mark[:960] *= ramp
    mark[-960:] *= ramp[::-1]
    for at in (begin, begin + 12 * signals.RATE):
        assert np.abs(sound[at : at + 4800] - mark).max() < STEP
    # What is played a thousandth slower has its chirps a thousandth further apart.
    ends = np.correlate(sound, mark, mode="valid")
    first, second = begin, begin + 12 * signals.RATE
    assert {int(at) for at in np.argsort(np.abs(ends))[-2:]} == {first, second}


def test_pulses_go_to_one_side_only_and_each_is_half_a_cosine() -> None:
    # Closed form: A cos(pi (t - T/2) / T) over T = 5 ms.
    sound = signals.pulse_train()[0]
    begin = round((4 * 0.24 + 0.4) * signals.RATE)
    time = np.arange(240) / signals.RATE
    wanted = 10 ** (-12 / 20) * np.cos(np.pi * (time - 0.0025) / 0.005)
    for number in range(10):
        pulse = sound[begin + number * 24_000 :][:24_000]
        assert np.abs(pulse[:240] - wanted).max() < STEP
        assert np.abs(pulse[241:]).max() == 0.0
    assert sound[begin:].min() >= -1e-12


@pytest.mark.parametrize("frequency", [100.0, 1000.0])
def test_the_ladder_climbs_by_one_decibel_to_full_scale(frequency: float) -> None:
    # Closed form: 31 tones of 1.5 s, peak 10^(L/20) for L from -30 to 0.
    sound = signals.level_ladder(frequency=frequency)[0]
    begin = round((5 * 0.24 + 0.4) * signals.RATE)
    time = np.arange(round(1.5 * signals.RATE)) / signals.RATE
    tone = np.sin(2 * np.pi * frequency * time)
    for number, level in enumerate(range(-30, 1)):
        step = sound[begin + number * 76_800 :][: tone.size]
        middle = slice(960, tone.size - 960)
        assert np.abs(step[middle] - 10 ** (level / 20) * tone[middle]).max() < STEP
    assert np.abs(sound).max() == pytest.approx(1.0, abs=1e-9)


def test_the_call_leaves_twenty_seconds_to_speak_in() -> None:
    sound = signals.call_script()[0]
    quiet = np.flatnonzero(np.abs(sound) > 0.0)
    gaps = np.diff(quiet)
    # A beep of 0.12 s with a gap as long behind it: 20.12 s of silence to within its fade.
    assert gaps.max() / signals.RATE == pytest.approx(20.12, abs=0.01)


def test_no_ladder_of_a_pitch_that_cannot_be() -> None:
    for frequency in (0.0, -1.0, 24_000.0):
        with pytest.raises(OutOfRangeError):
            signals.level_ladder(frequency=frequency)


def test_the_hiss_has_its_rms_its_band_and_no_peak_over_the_limit() -> None:
    sound = signals.hiss()
    np.testing.assert_array_equal(sound[0], sound[1])
    frequency, power = spectrum(sound[0])
    assert 10 * np.log10(np.mean(sound[0] ** 2)) == pytest.approx(-20.0, abs=0.01)
    octaves = [power[(frequency >= f) & (frequency < 2 * f)].sum() for f in (100.0, 400.0, 1600.0)]
    assert octaves == pytest.approx([np.mean(octaves)] * 3, rel=0.03)
    assert power[(frequency < 90.0) | (frequency > 5100.0)].sum() < 1e-4 * power.sum()
