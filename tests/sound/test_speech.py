"""Calls with known speech and noise, recorded speech where it is installed; echoes of both."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.measured.speech import CallLevel, call_gain, call_level, echo, expected_gain
from simulator import noises, spoiling

# Debian packages pocketsphinx-testdata (a reader, 16 kHz) and alsa-utils (single words, 48 kHz).
RECORDED = {
    "reader": "/usr/share/pocketsphinx/test/data/librivox/*.wav",
    "words": "/usr/share/sounds/alsa/[FRS]*.wav",
}
VOICES = ("made", *RECORDED)


def voice(kind: str) -> tuple[FloatArray, float]:
    """Speech of rms 1 between 300 and 3400 Hz."""
    if kind == "made":
        rate = 16_000.0
        samples = noises.like_speech(np.random.default_rng(3), 20 * 16_000, rate=rate)
    else:
        pattern = Path(RECORDED[kind])
        paths = sorted(pattern.parent.glob(pattern.name)) if pattern.parent.exists() else []
        if not paths:
            pytest.skip(f"the recorded speech {pattern.parent} is not installed")
        parts = [soundfile.read(path) for path in paths]
        rate = float(parts[0][1])
        samples = np.concatenate([part for part, _ in parts])[: round(25 * rate)]
    return np.asarray(samples / banded_rms(samples, rate)), rate


def banded_rms(samples: FloatArray, rate: float) -> float:
    """Rms of what lies between 300 and 3400 Hz, by Parseval's theorem."""
    frequency = np.fft.rfftfreq(samples.size, 1 / rate)
    inside = (frequency >= 300.0) & (frequency <= 3400.0)
    power = np.abs(np.fft.rfft(samples)[inside]) ** 2
    return float(np.sqrt(2 * np.sum(power)) / samples.size)


def call(kind: str, snr: float, *, seed: int = 0, level: float = 0.05) -> FloatArray:
    """A call with noise shaped as in a car, speech over noise by power in the band [dB]."""
    speech, rate = voice(kind)
    rng = np.random.default_rng(seed)
    noise = noises.shaped(rng, speech.size, rate=rate, slope=-2.0)
    noise /= banded_rms(noise, rate)
    return level * (speech + 10 ** (-snr / 20) * noise)


def judged(kind: str, snr: float, seed: int = 0) -> CallLevel:
    return call_level(call(kind, snr, seed=seed), rate=voice(kind)[1])


@pytest.mark.parametrize("kind", VOICES)
@pytest.mark.parametrize(("before", "after"), [(6.0, 14.5), (5.0, 10.0), (10.0, 20.0), (6.0, 6.0)])
def test_the_gain_of_a_call_is_found_within_a_decibel_and_a_half(
    kind: str, before: float, after: float
) -> None:
    # Closed form: powers of speech and noise as they were added.
    found = call_gain(before=judged(kind, before, 1), after=judged(kind, after, 2))
    assert found.trusted
    assert found.band == 1.5
    assert found.gain == pytest.approx(after - before, abs=found.band)


@pytest.mark.parametrize("kind", VOICES)
def test_speech_over_noise_is_told_to_two_and_a_half_decibels(kind: str) -> None:
    # The talker is silent for a part of the time: speech alone is that much louder while it lasts.
    speech, rate = voice(kind)
    size = round(0.032 * rate)
    sections = signal.butter(4, (300, 3400), btype="bandpass", fs=rate, output="sos")
    clean = signal.sosfilt(sections, speech)
    frames = clean[: clean.size // size * size].reshape(-1, size)
    power = np.mean(frames**2, axis=1)
    # Active level: frames within 25 dB of the loudest hundredth (independent of the noise).
    active = power[power > 10**-2.5 * np.quantile(power, 0.99)].mean()
    truth = 15.0 + 10 * np.log10(active)
    found = judged(kind, 15.0)
    assert found.snr == pytest.approx(truth, abs=found.snr_band)
    assert found.speech - found.noise == pytest.approx(found.snr)


def test_a_call_deep_in_noise_is_told_with_twice_the_band() -> None:
    weak = call_gain(before=judged("made", 3.0), after=judged("made", 15.0))
    assert weak.band == 3.0


def test_the_gain_does_not_depend_on_the_recorder_s_level_or_on_silence_about_the_words() -> None:
    rate = voice("made")[1]
    samples = call("made", 12.0)
    loud, soft = call_level(samples, rate=rate), call_level(0.1 * samples, rate=rate)
    assert soft.passage == pytest.approx(loud.passage, abs=1e-9)
    assert soft.speech == pytest.approx(loud.speech - 20.0, abs=1e-9)
    longer = np.concatenate([samples, _noise_like(rate)])
    assert call_level(longer, rate=rate).passage == pytest.approx(loud.passage, abs=0.5)


def _noise_like(rate: float) -> FloatArray:
    """The noise of that call alone, another piece of it."""
    speech, _ = voice("made")
    noise = noises.shaped(np.random.default_rng(9), speech.size, rate=rate, slope=-2.0)
    return np.asarray(0.05 * 10 ** (-12.0 / 20) * noise / banded_rms(noise, rate))


def test_a_network_that_empties_the_pauses_is_told() -> None:
    rate = voice("made")[1]
    samples = call("made", 12.0)
    assert not call_level(samples, rate=rate).suppressed
    quiet = spoiling.noise_suppression(samples, rate=rate, learnt=0.3, over=3.0, floor=1e-5)
    # A gate, as networks have it: what is 30 dB under the speech becomes nothing.
    size = round(0.02 * rate)
    frames = quiet[: quiet.size // size * size].reshape(-1, size)
    power = np.mean(frames**2, axis=1)
    gated = np.where((power > 10**-2 * power.max())[:, None], frames, 0.0).ravel()
    found = call_level(gated, rate=rate)
    assert found.suppressed
    assert not call_gain(before=found, after=found).trusted


def test_the_gain_of_moving_a_microphone_turns_round_with_the_move() -> None:
    # closed form: 20 log 2
    assert expected_gain(before=0.8, after=0.4) == pytest.approx(6.0206, abs=1e-4)
    assert expected_gain(before=0.4, after=0.8) == pytest.approx(-6.0206, abs=1e-4)


@pytest.mark.parametrize(
    ("samples", "rate", "words"),
    [
        (np.ones(8000), 4000.0, "at least 8000"),
        (np.ones(8000), 8000.0, "at least 2 s"),
        (np.zeros(80_000), 8000.0, "no sound"),
        (np.random.default_rng(0).normal(size=80_000), 8000.0, "nothing 4 dB over"),
    ],
)
def test_what_is_no_call_is_refused(samples: FloatArray, rate: float, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        call_level(samples, rate=rate)


@pytest.mark.parametrize("kind", VOICES)
@pytest.mark.parametrize(
    ("delay", "level", "complaint"),
    [(0.12, -25.0, True), (0.045, -38.0, False), (0.41, -18.0, True), (0.012, -20.0, False)],
)
def test_an_echo_is_found_to_a_millisecond_and_a_tenth_of_a_decibel(
    kind: str, delay: float, level: float, complaint: bool
) -> None:
    # Closed form: delayed, through a short decay, scaled to its level by Parseval's theorem.
    sent, rate = voice(kind)
    rng = np.random.default_rng(round(1000 * delay))
    decay = np.zeros(round(0.1 * rate))
    time = np.arange(decay.size) / rate
    decay[:] = 0.05 * rng.normal(size=decay.size) * np.exp(-time / 0.01)
    decay[0] = 1.0
    back = signal.fftconvolve(sent, decay)[: sent.size]
    back *= 10 ** (level / 20) / banded_rms(back, rate)
    late = round(delay * rate)
    noise = 10 ** (-60 / 20) * noises.shaped(rng, sent.size, rate=rate, slope=-1.0)
    returned = np.concatenate([np.zeros(late), back])[: sent.size] + noise
    found = echo(0.1 * sent, returned=0.1 * returned, rate=rate)
    assert found.delay == pytest.approx(delay, abs=found.delay_band)
    assert found.level == pytest.approx(level, abs=0.15)
    assert found.complaint == complaint


def test_noise_alone_is_no_echo() -> None:
    sent, rate = voice("made")
    rng = np.random.default_rng(2)
    noise = 10 ** (-30 / 20) * noises.shaped(rng, sent.size, rate=rate, slope=0.0)
    found = echo(sent, returned=noise, rate=rate)
    assert found.level < -42.0
    assert not found.complaint


def test_an_echo_of_another_length_is_refused() -> None:
    sent, rate = voice("made")
    with pytest.raises(BadInputError, match="as many are wanted"):
        echo(sent, returned=sent[:-1], rate=rate)
