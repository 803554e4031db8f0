"""The test sounds as files from Python and the command line."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

import conewright as cw
from conewright.sound.played import signals
from conewright.sound.played.sounds import LIMIT, SOUNDS, UNPLUGGED

LADDERS = ["level-ladder-100-hz", "level-ladder-1-khz"]


def test_all_but_the_ladders_are_written_with_a_card(tmp_path: Path) -> None:
    files = cw.sounds(tmp_path / "stick")
    assert [file.stem for file in files] == [*(n for n in SOUNDS if n not in LADDERS), "sounds"]
    card = files[-1].read_text(encoding="utf-8")
    assert LIMIT in card
    for name, sound in SOUNDS.items():
        assert (sound.title in card) is (name not in LADDERS)
        if name not in LADDERS:
            assert f"Loudest: {sound.safe}" in card


@pytest.mark.parametrize("name", SOUNDS)
def test_a_file_is_its_sound_to_a_step_of_its_bits(tmp_path: Path, name: str) -> None:
    (file, _) = cw.sounds(tmp_path, only=name, loudspeakers_unplugged=True)
    samples, rate = soundfile.read(file, always_2d=True)
    assert rate == signals.RATE
    meant = SOUNDS[name].make()
    # 16 bit; full scale itself is one step less on the plus side.
    assert np.abs(samples.T - meant[: samples.shape[1]]).max() <= 2.0**-15
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
    with pytest.raises(cw.BadInputError, match='side: found "up"; allowed: both, left, right'):
        cw.sounds(tmp_path, side="up")
    cw.sounds(tmp_path, only="treble-burst")
    with pytest.raises(cw.BadInputError, match="found a file of that name"):
        cw.sounds(tmp_path, only="treble-burst")
    assert cw.sounds(tmp_path, only="treble-burst", force=True)
    with pytest.raises(cw.BadInputError):
        cw.sounds(tmp_path / "treble-burst.wav" / "below")
