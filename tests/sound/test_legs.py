"""The dividers on two legs, and a touch of both, against ngspice."""

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.measured.legs import (
    between_legs,
    coupling_left,
    divider_ratio,
    earthed_current,
    touch_offset,
)

FOLDER = Path(__file__).parent.parent / "reference" / "divider"
NGSPICE = shutil.which("ngspice")
REQUIRED = os.environ.get("CONEWRIGHT_REQUIRE_NGSPICE") == "1"
NAMES = ("divider_ac.txt", "divider_touch.txt")
# As the deck has them: 10 kohm, 1 kohm, input 10 kohm behind 4.7 uF; legs of 7.2 and 6.5 V.
RATIO = float(divider_ratio(top=10e3, bottom=1e3, input_resistance=10e3))
RATE = 4000.0


def touched() -> FloatArray:
    return np.asarray(np.loadtxt(FOLDER / "divider_touch.txt")[:, 1:].T)


def test_the_ratio_is_that_of_the_circuit() -> None:
    # independent tool: ngspice 39, one leg at 100 Hz
    gain = np.loadtxt(FOLDER / "divider_ac.txt")[1]
    assert pytest.approx(1 / gain, rel=1e-6) == RATIO


def test_an_input_of_2200_ohm_and_none_at_all() -> None:
    # closed form: 1 kohm beside 2.2 kohm is 687.5 ohm
    assert divider_ratio(top=10e3, bottom=1e3) == pytest.approx(11.0)
    ratio = divider_ratio(top=10e3, bottom=1e3, input_resistance=2200.0)
    assert ratio == pytest.approx(1 + 10e3 / 687.5)
    with pytest.raises(OutOfRangeError):
        divider_ratio(top=10e3, bottom=0.0)
    with pytest.raises(OutOfRangeError):
        earthed_current(leg=14.4, top=-10e3, bottom=1e3)


def test_the_volts_of_both_legs_come_from_one_touch() -> None:
    # independent tool: ngspice 39, transient; the touch lies between two samples, in which the
    # coupling takes half a percent of each leg
    found = touch_offset(touched(), rate=RATE, full_scale=(1.0, 1.0), ratio=RATIO)
    assert found.left == pytest.approx(7.2, abs=0.04)
    assert found.right == pytest.approx(6.5, abs=0.04)
    assert found.offset == pytest.approx(0.7, abs=0.02)
    # two dividers that were not compared: 0.6 % of 7.2 V
    assert found.spread == pytest.approx(0.043, abs=0.01)


def test_hum_hiss_and_a_bouncing_contact_cost_a_tenth_of_a_volt_at_most() -> None:
    rng = np.random.default_rng(4)
    clean = touched()
    time = np.arange(clean.shape[1]) / RATE
    for _ in range(10):
        noise = 1e-3 * rng.normal(size=clean.shape)
        hum = 2e-3 * np.sin(2 * np.pi * 50 * time + rng.uniform(0, 6, size=(2, 1)))
        bounce = np.where((time > 0.051) & (time < 0.0515), 0.0, 1.0)
        found = touch_offset(
            clean * bounce + noise + hum, rate=RATE, full_scale=(1.0, 1.0), ratio=RATIO
        )
        assert found.offset == pytest.approx(0.7, abs=0.1)


def test_a_channel_s_own_full_scale_counts() -> None:
    legs = touched() * np.array([[1.0], [0.5]])
    found = touch_offset(legs, rate=RATE, full_scale=(1.0, 2.0), ratio=RATIO)
    assert found.offset == pytest.approx(0.7, abs=0.02)


def test_a_recording_without_a_touch_is_refused() -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(BadInputError, match="no touch"):
        touch_offset(
            1e-3 * rng.normal(size=(2, 8000)), rate=RATE, full_scale=(1.0, 1.0), ratio=RATIO
        )
    with pytest.raises(BadInputError, match="no touch"):
        touch_offset(np.zeros((2, 100)), rate=RATE, full_scale=(1.0, 1.0), ratio=RATIO)


def test_what_a_coupling_leaves_falls_to_a_thirty_seventh_part_in_its_time() -> None:
    # closed form: 1/e after 1/(2 pi fc)
    left = coupling_left(corner=3.0, seconds=1 / (2 * np.pi * 3.0))
    assert left == pytest.approx(np.exp(-1.0))


def test_legs_are_taken_from_one_another() -> None:
    tone = 0.3 * np.sin(np.arange(1000.0))
    volts = between_legs(np.stack([tone, -tone]), ratio=12.0)
    assert volts == pytest.approx(24.0 * tone)


@pytest.mark.parametrize(
    ("legs", "words"),
    [
        (np.zeros((1, 10)), "no two channels"),
        (np.zeros(10), "no two channels"),
        (np.array([[0.0, 0.99], [0.0, 0.1]]), "left channel: found a peak of 0.990"),
        (np.array([[0.0, 0.1], [0.5, 0.4]]), "right channel: found a constant 0.45"),
    ],
)
def test_what_cannot_be_two_legs_is_refused(legs: FloatArray, words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        between_legs(legs)


@pytest.mark.skipif(
    NGSPICE is None and not REQUIRED, reason="ngspice is not installed: deck not run again"
)
def test_stored_result_is_what_ngspice_prints(tmp_path: Path) -> None:
    # independent tool, run here and now
    assert NGSPICE is not None, "CONEWRIGHT_REQUIRE_NGSPICE=1, and ngspice is not on the PATH"
    deck = FOLDER / "divider.cir"
    subprocess.run([NGSPICE, "-b", str(deck)], cwd=tmp_path, check=True, capture_output=True)
    for name in NAMES:
        again, stored = np.loadtxt(tmp_path / name), np.loadtxt(FOLDER / name)
        np.testing.assert_allclose(again, stored, rtol=1e-5, atol=1e-7)
