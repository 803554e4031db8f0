"""Responses, third octaves and harmonics, against filters and distortion that are known."""

from itertools import pairwise

import numpy as np
import pyfar
import pytest
from scipy.signal import butter, sosfreqz

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.bands import band_edges
from conewright.sound.played.stimuli import STIMULI, Core
from conewright.sound.recorded.clock import Clock
from conewright.sound.recorded.clock_fit import fit_clock
from conewright.sound.recorded.deconvolution import Impulse, clear_of_sweep, deconvolve
from conewright.sound.recorded.marks import find_marks
from conewright.sound.recorded.third_octaves import (
    BandLevels,
    band_levels,
    band_power,
    harmonic_levels,
)
from direct import CABIN, Paths, recorded

STEP = 0.05
"""From bin to bin of the exact responses [Hz]."""


def impulses(samples: FloatArray, *, rate: float) -> list[Impulse]:
    marks = find_marks(samples, rate=rate)
    assert marks.stimulus is not None
    clock = fit_clock(samples, rate=rate, marks=marks).clock
    return [deconvolve(samples, rate=rate, clock=clock, part=p) for p in marks.stimulus.cores]


def by_paths(paths: Paths) -> FloatArray:
    """Closed form: third-octave levels of a sum of delayed paths [dB], sampled every 0.05 Hz."""
    edges = band_edges()
    level = []
    for low, high in pairwise(edges):
        f = np.arange(low, high, STEP)
        power = np.abs(sum(g * np.exp(-2j * np.pi * f * d) for d, g in paths)) ** 2
        level.append(10 * np.log10(np.sum(power / f) / np.sum(1 / f)))
    return np.array(level)


@pytest.mark.parametrize("name", ["sweep", "sweep-short"])
@pytest.mark.parametrize("rate", [44_100.0, 48_000.0])
@pytest.mark.parametrize("skew", [-170e-6, 120e-6])
def test_levels_are_those_of_the_paths(name: str, rate: float, skew: float) -> None:
    (impulse,) = impulses(recorded(name, rate=rate, skew=skew), rate=rate)
    found = band_levels(impulse)
    np.testing.assert_allclose(found.level[1:-1], by_paths(CABIN)[1:-1], rtol=0, atol=0.02)
    assert np.all(found.snr[2:-1] > 50.0)
    # The bands at 20 Hz and 20 kHz are edges.
    assert found.range is not None
    assert found.range == pytest.approx((25.12, 15_849.0), rel=1e-3)


def test_each_side_has_its_own_levels_at_both_rates() -> None:
    other: Paths = ((0.0008, 0.4), (0.0052, -0.3), (0.013, 0.15))
    levels = []
    for rate in (44_100.0, 48_000.0):
        samples = recorded("sides-short", rate=rate, right=other, skew=60e-6)
        levels.append([band_levels(each).level for each in impulses(samples, rate=rate)])
    np.testing.assert_allclose(levels[1][0][1:-1], by_paths(CABIN)[1:-1], rtol=0, atol=0.02)
    np.testing.assert_allclose(levels[1][1][1:-1], by_paths(other)[1:-1], rtol=0, atol=0.02)
    # The rate of the recorder makes no difference.
    np.testing.assert_allclose(
        np.array(levels[0])[:, 1:-1], np.array(levels[1])[:, 1:-1], rtol=0, atol=0.02
    )


def test_noise_costs_a_good_take_a_tenth_of_a_decibel() -> None:
    (impulse,) = impulses(recorded("sweep-short", noise=5e-3, seed=4), rate=48_000.0)
    found = band_levels(impulse)
    good = found.trusted & (found.snr > 25.0)
    assert np.count_nonzero(good) > 20
    error = (found.level - by_paths(CABIN))[good]
    assert np.sqrt(np.mean(error**2)) < 0.1
    assert np.abs(error).max() < 0.4


def test_the_noise_of_a_band_is_what_silence_deconvolves_to() -> None:
    # The same noise with no sweep at all: its level by the same window, within its own scatter.
    stimulus = STIMULI["sweep-short"]
    part, clock, rate = stimulus.cores[0], Clock(0.0), 48_000.0
    scatter = []
    for seed in range(8):
        noise = 1e-2 * np.random.default_rng(seed).standard_normal(stimulus.length)
        heard = stimulus.samples()[0] + noise
        alone = band_levels(deconvolve(noise, rate=rate, clock=clock, part=part)).level
        scatter.append(
            band_levels(deconvolve(heard, rate=rate, clock=clock, part=part)).noise - alone
        )
    # The larger of two windows lies some 1.5 dB over the mean where a band has few bins.
    mean = np.mean(scatter, axis=0)[3:-1]
    assert np.all(mean > -1.0)
    assert np.all(mean < 4.0)
    assert np.median(mean) == pytest.approx(0.5, abs=0.7)


def test_a_longer_sweep_stands_further_over_the_noise() -> None:
    # Closed form: |X|^2 = L/(4 f), so 10 log(1.45/0.5) = 4.6 dB in steady noise.
    snr = {
        name: np.mean(
            [
                band_levels(impulses(recorded(name, noise=5e-3, seed=s), rate=48_000.0)[0]).snr
                for s in range(3)
            ],
            axis=0,
        )
        for name in ("sweep", "sweep-short")
    }
    gain = (snr["sweep"] - snr["sweep-short"])[10:-1]
    assert np.mean(gain) == pytest.approx(4.62, abs=0.5)


def test_a_filter_is_recovered_in_size_and_phase() -> None:
    # Independent tool: scipy's response of the same digital filter.
    rate = 48_000.0
    sections = butter(2, [60.0, 6000.0], "bandpass", fs=rate, output="sos")
    samples = recorded("sweep", paths=((0.0, 1.0),), sections=sections)
    stimulus = STIMULI["sweep"]
    impulse = deconvolve(samples, rate=rate, clock=Clock(1.3), part=stimulus.cores[0])
    inside = (impulse.frequency > 30.0) & (impulse.frequency < 15_000.0)
    _, wanted = sosfreqz(sections, worN=impulse.frequency[inside], fs=rate)
    found = impulse.linear()[inside]
    assert np.abs(20 * np.log10(np.abs(found / wanted))).max() < 0.05
    assert np.abs(np.angle(found / wanted)).max() < 0.01


def test_another_tool_deconvolves_the_same() -> None:
    # Independent tool: pyfar's regularised deconvolution of the same two signals, its third
    # octaves summed by hand.
    rate, stimulus = 48_000, STIMULI["sweep-short"]
    samples = recorded("sweep-short", start=0.0)
    part = stimulus.cores[0]
    impulse = deconvolve(samples, rate=rate, clock=Clock(0.0), part=part)
    count = 1 << 19
    heard = np.zeros(count)
    cut = samples[part.start : part.start + part.wave.count + 40_000]
    heard[: cut.size] = cut
    played = np.zeros(count)
    played[: part.wave.count] = part.wave.at(np.arange(part.wave.count, dtype=float))
    inverse = pyfar.dsp.RegularizedSpectrumInversion.from_frequency_range(
        pyfar.Signal(played, rate), (16, 21_000)
    ).invert
    other = pyfar.Signal(heard, rate).freq_raw * inverse.freq_raw
    power = np.abs(np.squeeze(other)) ** 2
    _, lower, upper = pyfar.constants.fractional_octave_frequencies_exact(3, (20, 20_000))
    np.testing.assert_allclose(lower, band_edges()[:-1], rtol=1e-9)
    np.testing.assert_allclose(upper, band_edges()[1:], rtol=1e-9)
    f = np.arange(power.size) * rate / count
    for k in range(3, 29):
        inside = (f >= lower[k]) & (f < upper[k])
        wanted = 10 * np.log10(np.sum(power[inside] / f[inside]) / np.sum(1 / f[inside]))
        assert band_levels(impulse).level[k] == pytest.approx(wanted, abs=0.1)


@pytest.mark.parametrize(
    ("name", "second", "third"), [("sweep", 0.2, 1.5), ("sweep-short", 0.5, 2)]
)
def test_harmonics_are_those_of_the_curve(name: str, second: float, third: float) -> None:
    # Closed form: y = u + a2 u^2 + a3 u^3 makes, of a sine of amplitude u, H2 = a2 u/2 and
    # H3 = a3 u^2/4 over 1 + 3 a3 u^2/4.
    peak, a2, a3 = 0.96 * 10 ** (-12 / 20), 0.12, 0.5
    samples = STIMULI[name].samples()[0]
    bent = samples + a2 * samples**2 + a3 * samples**3
    part = STIMULI[name].cores[0]
    impulse = deconvolve(bent, rate=48_000.0, clock=Clock(0.0), part=part)
    first = 1 + 0.75 * a3 * peak**2
    wanted = {2: a2 * peak / 2 / first, 3: a3 * peak**2 / 4 / first}
    for order, within in ((2, second), (3, third)):
        found = harmonic_levels(impulse, order=order)[7:22]
        assert found == pytest.approx(20 * np.log10(wanted[order]), abs=within)
    # Orders that the curve does not make: less than -50 dB.
    for order in (4, 5):
        assert np.nanmax(harmonic_levels(impulse, order=order)[7:20]) < -50.0
    assert np.isnan(harmonic_levels(impulse, order=5)[-6:]).all()


def test_a_wrong_clock_blurs_the_impulse_but_not_the_levels() -> None:
    samples, part = recorded("sweep", skew=100e-6), STIMULI["sweep"].cores[0]
    right, wrong = (
        deconvolve(samples, rate=48_000.0, clock=Clock(1.3, skew), part=part)
        for skew in (100e-6, 0.0)
    )
    assert np.abs(wrong.samples).max() < 0.7 * np.abs(right.samples).max()
    shift = band_levels(wrong).level - band_levels(right).level
    assert np.abs(shift[3:-1]).max() < 0.5


def test_a_slow_recorder_has_no_bands_over_half_its_rate() -> None:
    # A recorder of 16 kHz holds nothing over 8 kHz: low-passed at 96 kHz, every sixth sample.
    fast = recorded("sweep", rate=96_000.0, sections=butter(12, 6500.0, fs=96_000.0, output="sos"))
    (impulse,) = impulses(np.ascontiguousarray(fast[::6]), rate=16_000.0)
    levels = band_levels(impulse)
    assert np.isnan(levels.level[-5:]).all()
    np.testing.assert_allclose(levels.level[2:23], by_paths(CABIN)[2:23], rtol=0, atol=0.05)
    assert not levels.trusted[-5:].any()


def test_trust_follows_the_signal_to_noise_ratio() -> None:
    snr = np.full(31, 20.0)
    snr[10:13] = 9.99, 10.0, np.nan
    levels = BandLevels(snr, np.zeros(31))
    assert levels.trusted[[0, 9, 10, 11, 12, 30]].tolist() == [
        False,
        True,
        False,
        True,
        False,
        False,
    ]
    # Closed form: 10 log(1 + 1/10) = 0.41 dB at 10 dB; none asked over 15 dB.
    assert levels.widened[[9, 11]] == pytest.approx([0.0, 0.4139], abs=1e-4)
    assert BandLevels(np.zeros(31), np.zeros(31)).range is None


def test_white_power_has_one_level_in_every_band() -> None:
    assert band_power(np.full(70_000, 2.0), step=0.36) == pytest.approx(np.full(31, 2.0))
    assert np.isnan(band_power(np.ones(100), step=0.36)[-1])


def test_pilots_are_looked_at_only_away_from_the_sweep_and_its_harmonics() -> None:
    core = Core(0.5)
    t = np.array([core.time_of(630.0 / k) for k in (1, 2, 3, 4, 5)])
    assert not clear_of_sweep(core, t, frequency=630.0).any()
    assert clear_of_sweep(core, t + 0.5 * 0.36 * np.log(2), frequency=630.0)[0]


def test_a_part_that_is_not_there_is_refused() -> None:
    sweep = STIMULI["sweep"]
    with pytest.raises(BadInputError, match=r"samples: found 5\.00 s; allowed: the whole sweep"):
        deconvolve(np.zeros(240_000), rate=48_000.0, clock=Clock(0.0), part=sweep.cores[0])
    with pytest.raises(BadInputError, match="part: found no sweep"):
        deconvolve(np.zeros(240_000), rate=48_000.0, clock=Clock(0.0), part=sweep.marks[0])
