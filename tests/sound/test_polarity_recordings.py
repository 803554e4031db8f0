"""Polarity from whole recordings: a cabin of image sources, near fields, a phone with a clock."""

from functools import cache

import numpy as np
import pytest
from scipy.signal import fftconvolve

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.measured.lock_in import mean_pulse
from conewright.sound.measured.polarity import (
    NEAR_FIELD,
    SEAT_BY_BANDS,
    SEAT_BY_TONES,
    PairPhases,
    bass_pair_heard,
    evidence_of,
    near_field_phases,
    near_field_sign,
    seat_phases,
)
from conewright.sound.played.stimuli import STIMULI, Stimulus
from conewright.sound.recorded.clock import Clock
from conewright.sound.recorded.clock_fit import fit_clock
from conewright.sound.recorded.deconvolution import deconvolve
from conewright.sound.recorded.marks import find_marks

RATE = 44_100.0


@cache
def cabin(seed: int) -> tuple[FloatArray, FloatArray]:
    """Impulse responses from both doors to a seat by pyroomacoustics' images, shape (N,)."""
    import pyroomacoustics

    draw = np.random.default_rng(seed).uniform
    size = [draw(2.0, 2.9), draw(1.3, 1.55), draw(1.0, 1.25)]
    room = pyroomacoustics.ShoeBox(
        size, fs=8000, materials=pyroomacoustics.Material(draw(0.2, 0.35)), max_order=24
    )
    for across in (0.03, size[1] - 0.03):
        room.add_source([0.6, across, 0.3])
    head = [draw(1.0, 1.4), draw(0.3, 0.5), draw(0.7, 0.9)]
    room.add_microphone(head)
    room.image_source_model()
    found = []
    for source in room.sources:
        way = np.linalg.norm(source.images.T - np.array(head), axis=1)
        share = np.asarray(source.damping[0]) / way
        index = np.rint(way / 343.21 * RATE).astype(int)
        way_in = np.bincount(index, weights=share, minlength=12_000)[:12_000]
        found.append(np.asarray(way_in, dtype=np.float64))
    return found[0], found[1]


def heard(
    stimulus: Stimulus, ways: tuple[FloatArray, FloatArray], *, turned: float, seed: int = 0
) -> FloatArray:
    """A recording at 44.1 kHz by a phone whose clock is 90 ppm slow, with hiss."""
    clock = Clock(start=0.37, skew=90e-6)
    count = clock.index(stimulus.length / 48e3 + 0.3, rate=RATE)
    t = clock.played(count, rate=RATE)
    sides = np.zeros((2, count))
    for part in stimulus.parts:
        first, last = (clock.index(each, rate=RATE) for each in part.seconds)
        near = slice(first - 2, last + 2)
        sides[:, near] += np.array([[part.left], [part.right]]) * part.at(t[near])
    left, right = (fftconvolve(side, way)[:count] for side, way in zip(sides, ways, strict=True))
    found = left + turned * right
    found *= 0.3 / np.abs(found).max()
    return np.asarray(found + 3e-4 * np.random.default_rng(seed).standard_normal(count))


def clock_of(samples: FloatArray, stimulus: Stimulus) -> Clock:
    marks = find_marks(samples, rate=RATE, expected=stimulus.name)
    assert marks.stimulus is stimulus
    return fit_clock(samples, rate=RATE, marks=marks).clock


@pytest.mark.parametrize("turned", [1.0, -1.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_seat_tells_a_reversed_side_by_sweeps_and_by_tones(seed: int, turned: float) -> None:
    # independent tool: pyroomacoustics 0.10 for the cabin, its images laid on samples here
    stimulus = STIMULI["sides-short"]
    samples = heard(stimulus, cabin(seed), turned=turned)
    clock = clock_of(samples, stimulus)
    left, right = (
        deconvolve(samples, rate=RATE, clock=clock, part=part) for part in stimulus.cores
    )
    by_bands = seat_phases(left.linear(), right.linear(), frequency=left.frequency)
    bass = STIMULI["bass-short"]
    samples = heard(bass, cabin(seed), turned=turned, seed=1)
    clock = clock_of(samples, bass)
    by_tones = bass_pair_heard(samples, rate=RATE, clock=clock, stimulus=bass)
    assert by_tones.inconsistency.max() < 0.03
    for phases, rule in ((by_bands, SEAT_BY_BANDS), (by_tones.phases, SEAT_BY_TONES)):
        assert isinstance(phases, PairPhases)
        odds = evidence_of(phases, rule=rule, recordings=[rule.name]).odds
        assert (odds > 0.9) if turned < 0 else (odds < 0.1), rule.name
    # the two methods hear the same phases where they meet: 50, 63 and 80 Hz
    apart = np.angle(np.exp(1j * (by_bands.phase[1:] - by_tones.phases.phase)))
    assert np.abs(apart).max() < 0.35


def test_a_gain_that_follows_the_sound_is_refused() -> None:
    # closed form: every tone at the same level, so both is no sum of the sides
    bass = STIMULI["bass-short"]
    samples = heard(bass, cabin(1), turned=1.0)
    clock = clock_of(samples, bass)
    for part in bass.tones:
        first, last = (clock.index(each, rate=RATE) for each in part.seconds)
        samples[first:last] *= 0.1 / np.abs(samples[first:last]).max()
    with pytest.raises(OutOfRangeError, match="a gain that follows the sound"):
        bass_pair_heard(samples, rate=RATE, clock=clock, stimulus=bass)
    with pytest.raises(BadInputError, match="parts: found none"):
        bass_pair_heard(samples, rate=RATE, clock=clock, stimulus=STIMULI["sweep"])


def cone(fs: float, q: float) -> FloatArray:
    """Near field for a click: acceleration above a second-order resonance, closed form."""
    f = np.fft.rfftfreq(1 << 14, 1 / RATE)
    s = 1j * f / fs
    response = s**2 / (s**2 + s / q + 1) / (1 + 1j * f / 2000)
    return np.asarray(np.fft.irfft(response * np.exp(-2j * np.pi * f * 0.001), 1 << 14))


@pytest.mark.parametrize("turned", [1.0, -1.0])
@pytest.mark.parametrize("name", ["pulses", "sweep-short"])
def test_near_fields_tell_a_reversed_driver_by_pulses_and_by_sweeps(
    name: str, turned: float
) -> None:
    # closed form: twins 10 % apart in resonance; each side is a recording of its own
    stimulus = STIMULI[name]
    sides = []
    for way, sign in ((cone(70.0, 0.8), 1.0), (turned * cone(77.0, 0.7), turned)):
        samples = heard(stimulus, (way, np.zeros(1)), turned=1.0, seed=int(2 + sign))
        clock = clock_of(samples, stimulus)
        if name == "pulses":
            near = mean_pulse(samples, rate=RATE, clock=clock, stimulus=stimulus)
            assert near.size == round(0.25 * RATE)
        else:
            impulse = deconvolve(samples, rate=RATE, clock=clock, part=stimulus.cores[0])
            near = impulse.early(before=0.02, after=0.1)
        assert near_field_sign(near, rate=RATE) == sign
        sides.append(near)
    phases = near_field_phases(sides[0], sides[1], rate=RATE)
    odds = evidence_of(phases, rule=NEAR_FIELD, recordings=["one", "other"]).odds
    assert (odds > 0.95) if turned < 0 else (odds < 0.05)


def test_pulses_that_are_not_there_are_refused() -> None:
    clock = Clock(start=0.0)
    with pytest.raises(BadInputError, match="found sweep; pulses are wanted"):
        mean_pulse(np.zeros(10), rate=RATE, clock=clock, stimulus=STIMULI["sweep"])
    with pytest.raises(BadInputError, match="not all pulses"):
        mean_pulse(np.zeros(10), rate=RATE, clock=clock, stimulus=STIMULI["pulses"])
