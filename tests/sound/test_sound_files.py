"""The test sounds as files from Python and the command line."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

import conewright as cw
from conewright.sound.played import signals
from conewright.sound.played.sounds import LIMIT, SOUNDS, UNPLUGGED

LADDERS = ["level-ladder-100-hz", "level-ladder-1-khz", "ladder", "ladder-1k", "knob"]


def test_all_but_the_ladders_are_written_with_a_card(tmp_path: Path) -> None:
    files = cw.sounds(tmp_path / "stick")
    assert [file.stem for file in files] == [*(n for n in SOUNDS if n not in LADDERS), "sounds"]
    card = files[-1].read_text(encoding="utf-8")
    assert LIMIT in card
    for name, sound in SOUNDS.items():
        assert (f"({name}.wav" in card) is (name not in LADDERS)
        if name not in LADDERS:
            assert f"Loudest: {sound.safe}" in card


@pytest.mark.parametrize("name", SOUNDS)
def test_a_file_is_its_sound_to_a_step_of_its_bits(tmp_path: Path, name: str) -> None:
    (file, _) = cw.sounds(tmp_path, only=name, loudspeakers_unplugged=True)
    steps, rate = soundfile.read(file, always_2d=True, dtype="int16")
    assert rate == signals.RATE
    meant = SOUNDS[name].make()
    # 16 bit, 32767 at full scale: the nearest step.
    assert np.abs(steps.T - 32_767 * meant[: steps.shape[1]]).max() <= 0.5 + 1e-9
    assert SOUNDS[name].seconds == pytest.approx(meant.shape[1] / rate, abs=1e-3)
    peak = 20 * np.log10(np.abs(meant).max())
    assert SOUNDS[name].peak == pytest.approx(peak, abs=0.01)


def test_the_ladders_need_the_word_that_loudspeakers_are_off(tmp_path: Path) -> None:
    with pytest.raises(cw.BadInputError, match="unplug every loudspeaker"):
        cw.sounds(tmp_path, only="level-ladder-100-hz")
    assert not list(tmp_path.iterdir())
    files = cw.sounds(tmp_path, loudspeakers_unplugged=True)
    assert {*LADDERS} <= {file.stem for file in files}
    assert UNPLUGGED in files[-1].read_text(encoding="utf-8")
    # Nothing else reaches full scale.
    loud = [name for name, sound in SOUNDS.items() if sound.peak > -12.0]
    assert loud == LADDERS == [name for name, sound in SOUNDS.items() if sound.unplugged]


@pytest.mark.parametrize(("side", "silent"), [("left", 1), ("right", 0)])
def test_one_side_alone(tmp_path: Path, side: str, silent: int) -> None:
    (file, _) = cw.sounds(tmp_path, only="treble-burst", side=side)
    assert file.name == f"treble-burst-{side}.wav"
    samples, _ = soundfile.read(file, always_2d=True)
    assert np.abs(samples[:, silent]).max() == 0.0
    assert np.abs(samples[:, 1 - silent]).max() > 0.09


def test_bad_requests_are_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(cw.BadInputError, match='only: found "siren"; allowed: corner-caller'):
        cw.sounds(tmp_path, only="siren")
    with pytest.raises(
        cw.BadInputError, match='side: found "up"; allowed: both, left, right, opposed'
    ):
        cw.sounds(tmp_path, side="up")
    cw.sounds(tmp_path, only="treble-burst")
    with pytest.raises(cw.BadInputError, match="found a file of that name"):
        cw.sounds(tmp_path, only="treble-burst")
    assert cw.sounds(tmp_path, only="treble-burst", force=True)
    with pytest.raises(cw.BadInputError):
        cw.sounds(tmp_path / "treble-burst.wav" / "below")


def test_a_side_turned_round_is_written_of_what_there_is_of_it(tmp_path: Path) -> None:
    (file, _) = cw.sounds(tmp_path, only="pulses", side="opposed")
    samples, _ = soundfile.read(file, dtype="int16")
    # 16 bit: a tie is rounded upward on either side.
    assert np.abs(samples[:, 0].astype(int) + samples[:, 1]).max() <= 1
    assert samples.max() > 8000
    # The sides carry their own sides: half of them would have no second sweep.
    with pytest.raises(cw.BadInputError, match=r'side: found "left"; allowed: both$'):
        cw.sounds(tmp_path, only="sides", side="left")
    files = cw.sounds(tmp_path / "left", side="left")
    assert {"sweep-left", "crawl-left"} <= {file.stem for file in files}
    assert "sides-left" not in {file.stem for file in files}
