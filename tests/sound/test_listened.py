"""What recordings must always say, through `listen`: nothing of the recorder's is the vehicle's.

Recordings with known truth by the simulator, which shares nothing with the analysis; that level,
rate, delay and sign of a recorder fall out of a difference is linearity alone.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from conewright.physics.basics.arrays import FloatArray
from conewright.sound.recorded.recording import Recording
from conewright.stages.prove.stage import listen
from conewright.stages.report.data import Report
from simulator import noises
from simulator.chain import Loudspeaker, Phone, RecorderClock, box_impulses
from simulator.draw import Simulated, Truth, recorded

CABIN = (2.4, 1.42, 1.1)
DOORS = ((1.8, 0.05, 0.3), (1.8, 1.37, 0.3))
EAR = (1.2, 0.4, 0.85)
CLOCK = RecorderClock(0.5, 40e-6, 48_000.0)
PHONE = Phone(25.0, 0.2)
SPEAKERS = (Loudspeaker(62.0, 0.8), Loudspeaker(70.0, 0.9))


@cache
def paths() -> tuple[FloatArray, FloatArray]:
    left, right = box_impulses(CABIN, DOORS, EAR, absorption=(0.28, 0.5))
    return left, right


@cache
def heard(
    clock: RecorderClock = CLOCK,
    phone: Phone = PHONE,
    speakers: tuple[Loudspeaker, Loudspeaker] = SPEAKERS,
    peak: float = -9.0,
    spoilt: tuple[str, ...] = (),
    file: str = "sides-short",
) -> Simulated:
    truth = Truth(file, speakers=speakers, paths=paths(), phone=phone, clock=clock, peak=peak)
    noise = {"pink": -62.0, "white": -75.0}
    return recorded(replace(truth, noises=noise, spoilt=spoilt, seed=5))


def recording(found: Simulated | FloatArray, name: str = "a.wav", rate: float = 48e3) -> Recording:
    samples = found.samples if isinstance(found, Simulated) else found
    at = found.rate if isinstance(found, Simulated) else rate
    return Recording(name, np.atleast_2d(samples), at, name.encode().hex().zfill(64))


def said(*recordings: Recording, test: str | None = "side-response") -> Report:
    return listen(*recordings, test=test, at="driver" if test == "side-response" else "front")


def differences(report: Report) -> FloatArray:
    """Right against left from 80 Hz to 12.5 kHz [dB], shape (23,)."""
    found = [each.value for each in report.figures if each.name.startswith("side_difference")]
    assert len(found) == 31
    return np.array([np.nan if each is None else each for each in found[6:29]])


def verdict(report: Report, word: str) -> str:
    found = [v.text for v in report.verdicts if word in v.text]
    assert found, [v.text for v in report.verdicts]
    return found[0]


@pytest.mark.parametrize(
    "other",
    [
        {"phone": replace(PHONE, gain=0.4)},
        {"phone": replace(PHONE, gain=-1.0)},
        {"phone": replace(PHONE, tilt=-1.5, corner=18.0)},
        {"clock": replace(CLOCK, start=1.3)},
        {"clock": replace(CLOCK, skew=-150e-6)},
        {"peak": -24.0},
    ],
    ids=["quieter", "turned round", "another tilt", "later", "another clock", "another level"],
)
def test_nothing_of_the_recorder_s_changes_a_difference(other: dict[str, object]) -> None:
    plain = differences(said(recording(heard())))
    found = differences(said(recording(heard(**other))))
    known = np.isfinite(plain) & np.isfinite(found)
    assert known.sum() > 15
    # What noise makes of it; without noise it is nothing.
    assert np.abs(found - plain)[known].max() < 0.2


def test_both_rates_agree() -> None:
    plain = differences(said(recording(heard())))
    other = heard(clock=replace(CLOCK, rate=44_100.0))
    # The noise of either is another one: 0.02 dB without it.
    assert np.abs(differences(said(recording(other))) - plain).max() < 0.1


def test_turning_a_side_round_turns_the_odds_and_no_level() -> None:
    turned = (SPEAKERS[0], replace(SPEAKERS[1], gain=-1.0))
    plain, other = heard(), heard(speakers=turned)
    levels = [differences(said(recording(each))) for each in (plain, other)]
    assert np.abs(levels[0] - levels[1]).max() < 0.1
    odds = [
        next(
            each.value
            for each in said(recording(found), test="polarity").figures
            if each.name == "reversed_odds"
        )
        for found in (plain, other)
    ]
    assert odds[0] is not None
    assert odds[1] is not None
    assert odds[0] < 0.1
    assert odds[1] == pytest.approx(1.0 - odds[0], abs=0.02)


def test_a_take_beside_itself_says_what_it_says_alone() -> None:
    one = recording(heard())
    twice = said(one, replace(one, name="b.wav", sha256="1" * 64))
    assert np.allclose(differences(twice), differences(said(one)), equal_nan=True)
    assert not any("elsewhere" in v.text for v in twice.verdicts)


def test_music_is_no_test_sound() -> None:
    rate = 44_100.0
    music = 0.2 * noises.music(np.random.default_rng(2), round(20 * rate), rate=rate)
    report = said(recording(music, rate=rate), test=None)
    assert "no test sound" in verdict(report, "test sound")
    assert "Nothing can be read from it" in report.answer


def test_silence_is_no_test_sound() -> None:
    hiss = 1e-4 * np.random.default_rng(2).standard_normal(20 * 48_000)
    report = said(recording(hiss), test=None)
    assert "no test sound" in verdict(report, "test sound")


def test_another_file_than_the_test_s_is_told_by_its_name() -> None:
    report = said(recording(heard()), test="bass-phases")
    assert "this is sides-short, not bass" in verdict(report, "sides-short").lower()
    assert not [each for each in report.figures if each.name == "reversed_odds"]


@pytest.mark.parametrize(("playing", "missing"), [(0, "right"), (1, "left")])
def test_a_side_that_does_not_play_is_told(playing: int, missing: str) -> None:
    silent = replace(SPEAKERS[0], gain=0.0)
    speakers = (SPEAKERS[0], silent) if playing == 0 else (silent, SPEAKERS[1])
    report = said(recording(heard(speakers=speakers)), test="polarity")
    assert f"{missing} side's turn" in verdict(report, "turn")
    assert not [each for each in report.figures if each.name == "reversed_odds"]


def test_takes_of_two_recorders_are_told() -> None:
    one = recording(heard())
    other = recording(heard(clock=replace(CLOCK, rate=44_100.0)), "b.wav")
    assert "two phones never meet in one difference" in verdict(said(one, other), "two phones")
    again = said(one, recording(heard(peak=-12.0), "b.wav"))
    assert not any("two phones" in v.text for v in again.verdicts)


def test_hum_is_no_engine() -> None:
    truth = heard().truth
    found = recorded(replace(truth, noises={**truth.noises, "hum": -32.0}))
    report = said(recording(found))
    assert "batteries" in verdict(report, "mains at 50 Hz")
    assert not any("engine" in v.text and "minute" in v.text for v in report.verdicts)
    beside = recorded(replace(truth, noises={"engine": -30.0, "hum": -34.0}, fire=27.0))
    told = said(recording(beside))
    assert "an engine at about 8" in verdict(told, "engine at").lower()


def test_noise_that_was_cleaned_away_is_told() -> None:
    truth = heard().truth
    cleaned = recorded(replace(truth, spoilt=("noise-suppression",)))
    assert not any("holes" in v.text for v in said(recording(heard())).verdicts)
    assert "another recorder app" in verdict(said(recording(cleaned)), "holes")


@pytest.mark.parametrize("turns", [0.5, 1.0, 2.3])
def test_a_gain_that_drifts_by_two_decibels_is_told(turns: float) -> None:
    # To and fro, so that both stairs may stand at one level.
    wave = np.sin(2 * np.pi * turns * np.linspace(-0.5, 0.5, heard().samples.size))
    report = said(recording(heard().samples * 10 ** (-(1.0 - wave) / 20)))
    assert "another recorder app" in verdict(report, "gain moved")
