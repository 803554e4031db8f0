"""Marks, the file they tell, and the clock, in recordings whose truth is known."""

import numpy as np
import pytest

from conewright.errors import BadInputError
from conewright.sound.played.stimuli import STIMULI
from conewright.sound.recorded.clock import Clock, tone_amplitudes
from conewright.sound.recorded.clock_fit import fit_clock
from conewright.sound.recorded.marks import Marks, find_marks
from direct import CABIN, recorded

SHORT = ["sweep-short", "sides-short", "bass-short", "crawl-short", "pulses", "ladder", "ladder-1k"]


@pytest.mark.parametrize("name", SHORT)
@pytest.mark.parametrize("rate", [16_000.0, 44_100.0])
def test_every_file_is_known_by_its_marks(name: str, rate: float) -> None:
    samples = recorded(name, rate=rate, skew=-90e-6, noise=3e-3)
    marks = find_marks(samples, rate=rate)
    assert marks.stimulus is STIMULI[name]
    # Truth of the recording: 1.3 s, and marks apart by what the definition says, times 1 + e.
    first = 1.3 + 1.0 * (1 - 90e-6)
    assert marks.arrivals[0] == pytest.approx(first, abs=60e-6)
    apart = (STIMULI[name].marks_apart or 0.0) * (1 - 90e-6)
    assert marks.distance == pytest.approx(apart, abs=0.1 / rate)
    assert marks.same == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("skew", [-200e-6, -37e-6, 0.0, 61e-6, 200e-6])
@pytest.mark.parametrize(("name", "rate"), [("sweep", 44_100.0), ("sides-short", 48_000.0)])
def test_a_clock_is_recovered_to_a_twentieth_of_a_millionth(
    name: str, rate: float, skew: float
) -> None:
    samples = recorded(name, rate=rate, skew=skew, noise=3e-3, seed=int(1e6 * (skew + 1)))
    fit = fit_clock(samples, rate=rate, marks=find_marks(samples, rate=rate))
    assert fit.clock.skew == pytest.approx(skew, abs=0.05e-6)
    assert fit.by_marks == pytest.approx(skew, abs=1e-6)
    assert fit.local == pytest.approx(skew, abs=3e-6)
    assert fit.missing == 0.0
    # The strongest path is the first here; a chirp of a sixth of an octave a cycle hides 2 us.
    assert fit.clock.start == pytest.approx(1.3, abs=3e-6)


def test_the_phases_refine_what_the_marks_say() -> None:
    # Marks are read 0.4 ppm off on purpose; the stairs' tones put it right.
    samples = recorded("sweep-short", skew=55e-6)
    marks = find_marks(samples, rate=48_000.0)
    wrong = Marks(
        marks.stimulus,
        marks.arrivals,
        marks.scores,
        (marks.distance or 0.0) * (1 + 0.4e-6),
        marks.same,
    )
    fit = fit_clock(samples, rate=48_000.0, marks=wrong)
    assert fit.by_marks == pytest.approx(55.4e-6, abs=0.02e-6)
    assert fit.clock.skew == pytest.approx(55e-6, abs=0.02e-6)


@pytest.mark.parametrize("lost", [-0.03, -0.004, 0.004, 0.02, 0.1, 0.3])
def test_lost_and_added_samples_are_told_in_milliseconds(lost: float) -> None:
    samples = recorded("sweep", skew=80e-6, noise=1e-3)
    place, count = 8 * 48_000, round(abs(lost) * 48_000)
    if lost > 0:
        samples = np.delete(samples, slice(place, place + count))
    else:
        samples = np.insert(samples, place, np.zeros(count))
    fit = fit_clock(samples, rate=48_000.0, marks=find_marks(samples, rate=48_000.0))
    assert fit.missing == pytest.approx(lost, abs=0.2e-3)
    assert fit.clock.skew == pytest.approx(80e-6, abs=3e-6)


def test_a_clock_that_no_recorder_has_is_a_loss() -> None:
    samples = recorded("pulses", skew=700e-6)
    fit = fit_clock(samples, rate=48_000.0, marks=find_marks(samples, rate=48_000.0))
    assert fit.missing == pytest.approx(-700e-6 * 5.0, rel=0.01)
    assert fit.clock.skew == 0.0


def test_a_path_that_moved_makes_the_marks_unlike() -> None:
    samples = recorded("sweep-short", noise=1e-3)
    other = recorded("sweep-short", paths=((0.0004, 0.5), (0.0021, 0.35), (0.0063, 0.3)))
    samples[6 * 48_000 :] = other[6 * 48_000 :]
    assert (find_marks(samples, rate=48_000.0).same or 1.0) < 0.8


@pytest.mark.parametrize("noise", [0.01, 0.03, 0.06])
def test_noise_alone_leaves_the_marks_alike(noise: float) -> None:
    same = find_marks(recorded("sweep-short", noise=noise), rate=48_000.0).same
    assert same is not None
    assert same > 0.99


def test_one_mark_is_no_file_but_where_one_is_all() -> None:
    cut = recorded("sweep")[: 8 * 48_000]
    marks = find_marks(cut, rate=48_000.0)
    assert marks.stimulus is None
    assert marks.arrivals == pytest.approx((2.3,), abs=1e-4)
    knob = recorded("knob")
    assert find_marks(knob, rate=48_000.0).stimulus is None
    marks = find_marks(knob, rate=48_000.0, expected="knob")
    assert marks.stimulus is STIMULI["knob"]
    fit = fit_clock(knob, rate=48_000.0, marks=marks)
    assert fit.clock.start == pytest.approx(1.3, abs=5e-6)
    assert fit.clock.skew == 0.0


@pytest.mark.parametrize("seed", range(4))
def test_noise_and_silence_and_a_tone_have_no_marks(seed: int) -> None:
    rate = 48_000.0
    random = np.random.default_rng(seed)
    t = np.arange(round(12 * rate)) / rate
    sounds = [
        random.standard_normal(t.size),
        np.cumsum(random.standard_normal(t.size)),
        np.sin(2 * np.pi * 300 * (seed + 1) * t),
        np.zeros(t.size),
        np.zeros(3),
    ]
    for sound in sounds:
        marks = find_marks(sound, rate=rate)
        assert marks.stimulus is None
        assert marks.arrivals == ()
        with pytest.raises(BadInputError, match="marks: found none"):
            fit_clock(sound, rate=rate, marks=marks)


def test_a_search_in_chunks_finds_marks_at_any_place() -> None:
    # Chunks end every 60 s: a mark across the seam belongs to one of them.
    for start in (58.8, 58.95, 59.0, 59.1):
        samples = recorded("pulses", rate=16_000.0, start=start, noise=1e-3)
        marks = find_marks(samples, rate=16_000.0)
        assert marks.stimulus is STIMULI["pulses"]
        assert marks.arrivals[0] == pytest.approx(start + 1.0, abs=1e-4)


def test_amplitudes_of_tones_are_those_of_their_definition() -> None:
    # Closed form: A sin(2 pi f (t - b) + phi) at player time t has amplitude A e^(j phi).
    clock, rate = Clock(0.7, 150e-6), 44_100.0
    t = clock.played(3 * 44_100, rate=rate)
    tones = np.array([50.0, 630.0, 1600.0])
    sizes = np.array([0.2, 0.03, 0.01]) * np.exp(1j * np.array([0.4, -2.0, 3.0]))
    phases = np.exp(2j * np.pi * tones[:, None] * (t - 0.5)) * sizes[:, None]
    found = tone_amplitudes(
        phases.imag.sum(axis=0), rate=rate, clock=clock, begin=0.5, seconds=1.0, frequency=tones
    )
    np.testing.assert_allclose(found, sizes, rtol=1e-4)
    outside = tone_amplitudes(t, rate=rate, clock=clock, begin=80.0, seconds=1.0, frequency=tones)
    assert not outside.any()


def test_the_strongest_path_is_the_arrival() -> None:
    late = ((0.0, 0.2), (0.004, 0.7), *((d + 0.004, g / 4) for d, g in CABIN[1:]))
    samples = recorded("sweep-short", paths=late)
    marks = find_marks(samples, rate=48_000.0)
    assert marks.arrivals[0] == pytest.approx(2.304, abs=30e-6)
