"""Steps of a channel, its clip mark and output resistance, on ladders with a known ceiling."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import fft

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.measured.clip import (
    Ladder,
    ceiling_distortion,
    ceiling_harmonics,
    clip_mark,
    in_volts,
    knob_steps,
    ladder_steps,
    output_resistance,
    overdrive,
)
from conewright.sound.recorded.clock import Clock
from simulator.chain import RecorderClock
from simulator.files import RATE, played

# Where the third harmonic of a clipped sine is 40 dB down (closed form, reference value P6.O40).
OVER_AT_MARK = 0.381179
CLOCK = RecorderClock(0.4, 60e-6, 44_100.0)
HARD: Callable[[FloatArray, float], FloatArray] = lambda v, top: np.clip(v, -top, top)  # noqa: E731


def line(volts: FloatArray, clock: RecorderClock, *, noise: float, seed: int = 0) -> FloatArray:
    """What a recorder takes of volts on the player's clock; noise: rms of full scale."""
    size = fft.next_fast_len(volts.size + 2 * RATE, real=True)
    size += size % 2
    heard = clock.heard(np.asarray(fft.rfft(volts, size)), size)
    rng = np.random.default_rng(seed)
    return np.asarray(np.round((heard + noise * rng.normal(size=heard.size)) * 32768) / 32768)


def ladder_of(
    ceiling: float,
    *,
    clock: RecorderClock = CLOCK,
    name: str = "ladder",
    gain: float = 1.0,
    noise: float = 3e-5,
    bend: Callable[[FloatArray, float], FloatArray] = HARD,
    seed: int = 0,
) -> Ladder:
    """A ladder through a stage with a ceiling [dB of full scale]; full scale reads 0.9."""
    sound = played(name)
    bent = bend(sound.samples[0], 10 ** (ceiling / 20))
    samples = line(0.9 * gain * bent, clock, noise=noise, seed=seed)
    return ladder_steps(
        samples,
        rate=clock.rate,
        clock=Clock(clock.start, clock.skew),
        begin=sound.parts["step"][0],
        frequency=1000.0 if name.endswith("1k") else 100.0,
    )


@pytest.mark.parametrize("ceiling", [-2.0, -4.37, -7.5, -11.91, -15.2])
@pytest.mark.parametrize("name", ["ladder", "ladder-1k"])
def test_the_clip_mark_is_found_between_steps_to_two_hundredths(ceiling: float, name: str) -> None:
    # Closed form: the ceiling, and 0.381 dB more to a third harmonic of -40 dB.
    mark = clip_mark(ladder_of(ceiling, name=name))
    assert mark is not None
    assert mark.hard
    assert mark.level == pytest.approx(ceiling + OVER_AT_MARK, abs=0.02)
    assert mark.spread < 0.02


def test_steps_below_the_ceiling_are_a_decibel_apart() -> None:
    ladder = ladder_of(-5.0)
    rise = np.diff(20 * np.log10(ladder.volts))[:24]
    # the file's 16 bit and the noise: a ten-thousandth
    assert rise == pytest.approx([1.0] * 24, abs=0.01)
    assert ladder.volts[24] == pytest.approx(0.9 * 10 ** (-6 / 20) / 2**0.5, rel=1e-3)


def test_one_meter_reading_sets_all_volts() -> None:
    ladder = in_volts(ladder_of(-5.0), step=20, metered=2.5)
    assert ladder.volts[20] == pytest.approx(2.5, rel=1e-12)
    assert ladder.volts[24] == pytest.approx(2.5 * 10 ** (4 / 20), rel=1e-3)
    with pytest.raises(OutOfRangeError):
        in_volts(ladder, step=31, metered=2.5)
    with pytest.raises(OutOfRangeError):
        in_volts(ladder, step=3, metered=0.0)


def test_a_channel_that_does_not_clip_has_no_mark() -> None:
    assert clip_mark(ladder_of(3.0)) is None


def test_a_soft_stage_is_told_and_interpolated() -> None:
    def soft(volts: FloatArray, top: float) -> FloatArray:
        return np.asarray(top * np.tanh(volts / top))

    mark = clip_mark(ladder_of(-3.0, bend=soft))
    assert mark is not None
    assert not mark.hard
    # Independent: the third harmonic of tanh(u sin x) by summing, -40 dB at u = 0.353
    x = np.linspace(0.0, 2 * np.pi, 4096, endpoint=False)
    drives = np.geomspace(0.1, 1.0, 400)
    bent = np.tanh(drives[:, None] * np.sin(x))
    size = np.abs(fft.rfft(bent))
    third = 20 * np.log10(size[:, 3] / size[:, 1])
    truth = -3.0 + 20 * np.log10(np.interp(-40.0, third, drives))
    assert mark.level == pytest.approx(truth, abs=2 * mark.spread)


def test_the_equations_of_the_ceiling_are_those_of_a_clipped_sine() -> None:
    # Independent: harmonics by summing over 65536 points of the cut wave.
    x = np.linspace(0.0, 2 * np.pi, 65_536, endpoint=False)
    for over in (0.1, 0.7, 3.0, 12.0):
        size = fft.rfft(np.clip(10 ** (over / 20) * np.sin(x), -1, 1)) / 32_768
        first, third = ceiling_harmonics(over=over)
        assert first == pytest.approx(-size[1].imag, rel=1e-6)
        assert third == pytest.approx(-size[3].imag, rel=1e-6)
        rest = np.sqrt(np.sum(np.abs(size[2:]) ** 2)) / abs(size[1])
        assert ceiling_distortion(over=over) == pytest.approx(rest, rel=1e-4)
        level = 20 * np.log10(abs(size[3] / size[1]))
        assert overdrive(h3=level) == pytest.approx(over, rel=1e-6)
    assert ceiling_harmonics(over=0.0)[1] == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(OutOfRangeError):
        ceiling_harmonics(over=-0.1)
    with pytest.raises(OutOfRangeError):
        overdrive(h3=-5.0)


@pytest.mark.parametrize("resistance", [0.05, 0.35, 0.9])
def test_output_resistance_comes_back_to_a_hundredth_of_an_ohm(resistance: float) -> None:
    # Closed form: a load of 4 ohm leaves 4/(4 + R) of the volts; the supply sags by 0.6 dB.
    loaded = ladder_of(-6.0, gain=4.0 / (4.0 + resistance), seed=1)
    found = output_resistance(unloaded=ladder_of(-5.4), loaded=loaded, load=4.0, tolerance=0.0)
    assert found.value == pytest.approx(resistance, abs=0.01)
    assert found.steps.size == 5
    assert found.spread < 0.01


def test_the_tolerance_of_the_load_is_in_the_spread() -> None:
    loaded = ladder_of(-5.0, gain=4.0 / 4.5, seed=1)
    found = output_resistance(unloaded=ladder_of(-5.0), loaded=loaded, load=4.0, tolerance=0.05)
    assert found.value == pytest.approx(0.5, abs=0.01)
    assert found.spread == pytest.approx(0.025, rel=0.1)


def test_a_channel_that_clips_from_the_start_gives_no_resistance() -> None:
    low = ladder_of(-29.0)
    with pytest.raises(BadInputError, match="five are wanted"):
        output_resistance(unloaded=low, loaded=low, load=4.0)


def test_half_a_ladder_is_refused() -> None:
    with pytest.raises(BadInputError, match="all 31"):
        ladder_steps(
            np.zeros(200_000), rate=48_000.0, clock=Clock(0.4), begin=1.75, frequency=100.0
        )


# --- The knob ---------------------------------------------------------------------------------


def turned(gains: list[float], *, ceiling: float = 0.5) -> tuple[FloatArray, RecorderClock]:
    """The knob file through a hand that turns at each second to the next gain [dB]."""
    sound = played("knob")
    time = np.arange(sound.samples.shape[1]) / RATE - sound.parts["tone"][0]
    step = np.clip(np.floor(time), 0, len(gains) - 1).astype(int)
    volts = np.clip(sound.samples[0] * 10 ** (np.array(gains)[step] / 20), -ceiling, ceiling)
    clock = RecorderClock(0.6, -40e-6, 48_000.0)
    return line(volts, clock, noise=3e-5), clock


def test_the_steps_of_a_knob_are_told_apart_down_to_a_quarter_of_a_decibel() -> None:
    gains = [-40.0, -34.0, -28.0, -25.0, -22.0, -20.0, -18.0, -16.5, -15.0, -14.0, -13.75, -13.4]
    samples, clock = turned(gains)
    found = knob_steps(
        samples, rate=clock.rate, clock=Clock(clock.start, clock.skew), begin=1.75, seconds=12.0
    )
    assert 20 * np.log10(found.volts * 2**0.5) == pytest.approx(gains, abs=0.02)
    assert found.rise == pytest.approx(np.diff(gains), abs=0.03)
    assert found.seconds == pytest.approx(1.75 + np.arange(12.0), abs=0.11)
    assert found.clips is None
    assert found.clean is None


def test_the_clean_step_lies_ten_decibels_under_the_one_that_clips() -> None:
    # A ceiling of 0.5 is -6.02 dB: the step at -5 is 1.02 dB over it (closed form: H3 -29 dB).
    gains = [-30.0, -24.0, -19.0, -16.0, -13.0, -11.0, -9.0, -7.5, -6.5, -5.0, -4.0, -4.0]
    samples, clock = turned(gains)
    found = knob_steps(
        samples, rate=clock.rate, clock=Clock(clock.start, clock.skew), begin=1.75, seconds=12.0
    )
    assert found.clips == gains.index(-5.0)
    assert found.clean == gains.index(-16.0)


def test_a_recorder_that_clips_itself_is_refused() -> None:
    samples, clock = turned([0.0], ceiling=0.99)
    with pytest.raises(BadInputError, match="use a larger divider"):
        knob_steps(samples, rate=clock.rate, clock=Clock(clock.start), begin=1.75, seconds=12.0)


def test_a_knob_s_tone_that_is_not_there_is_refused() -> None:
    with pytest.raises(BadInputError, match="less than 1 s"):
        knob_steps(np.zeros(96_000), rate=48_000.0, clock=Clock(0.0), begin=1.75, seconds=12.0)
