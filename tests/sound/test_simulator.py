"""The simulator of recordings against closed forms and against what it was told."""

import shutil
from dataclasses import replace
from hashlib import sha256

import numpy as np
import pytest
from scipy import fft, signal

from conewright.sound.played.stimuli import STIMULI
from simulator import chain, draw, files, spoiling
from simulator.files import RATE, Samples

# Sums of the samples as they were published with the definition of the files.
SUMS = {
    "sweep": "bb5a1d6d34cb045e0db860eb06d1ff0c9ca3698295186c854101f988aa552c42",
    "sweep-short": "a6eac343d84b5a7eb7bbdb21f23ff8dbbf5833af4637038b9db3d64750fdf1e1",
    "sides": "2ae8f811bcbbf79df102008e975eeab8aacfa902464863e41d0aabf3c04f0df4",
    "sides-short": "de6a559b931ea7f46b3f571d8adc9eed281ead3ccd31a489cb02f0d1bcc79c9f",
}
# As published: seconds from the first mark to the second.
APART = {
    "sweep": 14.56625,
    "sweep-short": 8.003875,
    "sides": 25.5825,
    "sides-short": 12.45775,
    "bass": 39.75,
    "bass-short": 15.75,
    "crawl": 91.25,
    "crawl-short": 13.25,
    "pulses": 5.0,
    "ladder": 10.55,
    "ladder-1k": 10.55,
}


@pytest.mark.parametrize("name", SUMS)
def test_the_files_are_those_of_the_definition(name: str) -> None:
    pcm = files.played(name).pcm
    kept = pcm[0] if name.startswith("sweep") else pcm.T
    assert sha256(kept.astype("<i2").tobytes()).hexdigest() == SUMS[name]


@pytest.mark.parametrize("name", APART)
def test_the_marks_are_as_far_apart_as_the_definition_says(name: str) -> None:
    first, second = files.played(name).parts["mark"]
    assert second - first == pytest.approx(APART[name], abs=1e-9)


@pytest.mark.parametrize("name", files.FILES)
def test_both_hands_wrote_the_same_files(name: str) -> None:
    # Two writers from one definition: equal but for what lies on the edge of rounding.
    ours = np.floor(32767 * STIMULI[name].samples() + 0.5)
    assert np.abs(ours - files.played(name).pcm).max() <= 1


def test_a_side_is_played_alone() -> None:
    left = files.played("sweep-short", "left").samples
    assert np.any(left[0])
    assert not np.any(left[1])
    opposed = files.played("crawl-short", "opposed").samples
    np.testing.assert_allclose(opposed[0], -opposed[1], atol=1.01 / 32767)


def test_a_recorder_of_any_clock_takes_the_signal_at_its_own_instants() -> None:
    # Closed form: sines evaluated at the instants themselves.
    size, start, step = 9600, 12.3, 48_000 / 44_100 / (1 + 123e-6)
    cycles = ((37, 1.0, 0.4), (3001, 0.3, 2.0))

    def wave(at: Samples) -> Samples:
        parts = [a * np.sin(2 * np.pi * k * at / size + p) for k, a, p in cycles]
        return np.asarray(np.sum(parts, axis=0))

    found = chain.at_instants(
        np.asarray(fft.rfft(wave(np.arange(float(size))))), size, start=start, step=step, count=8000
    )
    at = np.arange(8000.0)
    assert np.abs(found - wave(start + step * at)).max() < 1e-9


def test_a_loudspeaker_has_the_harmonics_it_was_given() -> None:
    full = 0.25
    tone = full * np.sin(2 * np.pi * 100 * np.arange(48_000) / RATE)
    driven = chain.Loudspeaker(second=0.05, third=0.02, full=full).driven(tone)
    size = np.abs(fft.rfft(driven))
    assert size[200] / (full * 24_000) == pytest.approx(0.05, rel=1e-6)
    assert size[300] / (full * 24_000) == pytest.approx(0.02, rel=1e-6)
    assert size[100] / (full * 24_000) == pytest.approx(1.0, rel=1e-6)


def test_the_true_response_is_that_of_the_samples() -> None:
    # Independent tool: scipy's transfer function estimate of noise through the same chain.
    truth = draw.random_truth(5, file="sweep-short", side="left", spoilt=())
    clock = chain.RecorderClock(0.0, 0.0, 48_000.0)
    speaker = chain.Loudspeaker(resonance=truth.speakers[0].resonance)
    noise = np.zeros((2, 480_000))
    noise[0] = 0.1 * np.random.default_rng(1).normal(size=480_000)
    quiet = replace(
        truth, sides=noise, speakers=(speaker, speaker), clock=clock, noises={}, peak=-1.0
    )
    heard = draw.recorded(quiet)
    samples = heard.samples[:480_000]
    f, cross = signal.csd(noise[0], samples, fs=48_000, nperseg=65_536)
    _, power = signal.welch(noise[0], fs=48_000, nperseg=65_536)
    estimated = chain.third_octave_levels(np.asarray(cross / power), np.maximum(f, 1e-3))
    wanted = heard.third_octaves("left")
    for band in range(-11, 11):
        assert estimated[band] == pytest.approx(wanted[band], abs=0.6), band


def test_the_same_seed_gives_the_same_recording() -> None:
    first, again = (draw.random_recording(7, file="pulses") for _ in "12")
    assert np.array_equal(first.samples, again.samples)
    other = draw.random_recording(8, file="pulses")
    assert not np.array_equal(first.samples[:1000], other.samples[:1000])


@pytest.mark.parametrize("what", draw.SPOILT)
def test_what_spoils_a_recording_changes_it(what: str) -> None:
    if what in ("aac", "link") and shutil.which("ffmpeg") is None:
        pytest.skip("ffmpeg is not installed")
    sound = draw.random_truth(3, file="pulses", spoilt=())
    spoilt = draw.random_truth(3, file="pulses", spoilt=(what,))
    truth = replace(sound, spoilt=(what,), moved=spoilt.moved, clock=chain.RecorderClock())
    clean = draw.recorded(replace(sound, clock=chain.RecorderClock())).samples
    found = draw.recorded(truth)
    size = min(clean.size, found.samples.size)
    apart = found.samples[:size] - clean[:size]
    if what == "gain-at-its-highest":
        # it stands still: the same shape, 1.2 times as loud
        np.testing.assert_allclose(found.samples, 1.2 * clean, atol=2e-4)
        return
    if what == "truncated":
        assert found.samples.size < 0.85 * clean.size
        return
    assert np.abs(apart).max() > 2e-3
    if what in ("dropout", "repeat"):
        assert (clean.size - found.samples.size) / 48e3 == pytest.approx(found.lost, abs=1e-4)


def test_gain_control_holds_a_steady_tone_at_its_target() -> None:
    tone = 0.02 * np.sin(2 * np.pi * 500 * np.arange(96_000) / RATE)
    held = spoiling.gain_control(tone, rate=RATE, target=0.1, highest=20.0)
    assert np.std(held[-24_000:]) == pytest.approx(0.1, rel=0.02)
