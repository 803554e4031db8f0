"""`conewright sound` and `conewright listen`, as somebody with a phone and a job uses them."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from commands import run

import conewright as cw
from conewright.sound.played.stimuli import STIMULI
from conewright.store.recordings import Recordings

RATE = 48_000
SALOON = Path(__file__).resolve().parents[2] / "examples" / "shelf-saloon.toml"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in a folder of one's own, recordings kept in another."""
    monkeypatch.setenv("CONEWRIGHT_RECORDINGS", str(tmp_path / "kept"))
    work = tmp_path / "work"
    work.mkdir()
    monkeypatch.chdir(work)
    return work


def _record(file: str, sound: str, *, right: float = 1.0) -> Path:
    left, other = STIMULI[sound].samples()
    heard = np.pad(0.4 * (left + right * other), (20_000, 30_000))
    heard += np.random.default_rng(1).normal(0.0, 1e-4, heard.size)
    soundfile.write(file, heard, RATE, subtype="PCM_24")
    return Path(file)


def _said(*words: object, code: int = 0) -> str:
    done = run(*words)
    assert done.code == code, done.err
    assert "Traceback" not in done.err
    return " ".join((done.out or done.err).split())


def test_one_sound_is_written_with_how_loud_it_may_be() -> None:
    said = _said("sound", "sweep-short", "--side", "left")
    assert "85 dB(A)" in said
    samples, rate = soundfile.read("sweep-short-left.wav", dtype="int16")
    assert (samples.shape, rate) == ((468_186, 2), RATE)
    assert samples[:, 1].any() == np.False_
    assert "found a file of that name" in _said("sound", "sweep-short", "--side", "left", code=2)
    _said("sound", "sweep-short", "--side", "left", "--force")
    _said("sound", "pulses", "-o", "p.wav")
    assert Path("p.wav").exists()


def test_full_scale_is_written_only_after_the_word() -> None:
    assert "found nobody to say that loudspeakers are off" in _said("sound", "ladder", code=2)
    assert not list(Path().iterdir())
    _said("sound", "ladder", "--loudspeakers-unplugged")
    assert Path("ladder.wav").exists()


def test_a_recording_answers_in_text_in_json_and_as_a_picture() -> None:
    file = _record("sides.flac", "sides-short")
    assert "Levels from" in _said("listen", file, "--at", "driver")
    report = json.loads(run("listen", file, "--at", "driver", "--json").out)
    assert report["stage"] == "listen"
    assert report["title"] == "side-response"
    _said("listen", file, "--at", "driver", "--picture", "p.png")
    assert Path("p.png").read_bytes().startswith(b"\x89PNG")


def test_what_is_kept_is_in_the_job_with_its_odds_and_find_follows() -> None:
    Path("van.toml").write_text(SALOON.read_text(encoding="utf-8"), encoding="utf-8")
    file = _record("bass.wav", "bass-short", right=-0.9)
    before = cw.find(cw.load("van.toml").build())
    said = _said("listen", file, "--at", "rear", "--job", "van.toml", "--keep", "--when", "before")
    assert "kept with mono-bass@rear" in said
    job = cw.load("van.toml")
    (kept,) = job.recordings
    assert (kept.file, kept.test, kept.at, kept.when) == (
        "bass.wav",
        "bass-phases",
        "rear",
        "before",
    )
    assert Recordings.beside().read(kept.sha256) == file.read_bytes()
    reading = job.last_reading("mono-bass", "rear")
    assert reading is not None
    assert reading.recordings == (kept.id,)
    cause = "cause.reversed@shelf-r"
    was, now = (report.figure(cause).value for report in (before, cw.find(job.build())))
    assert was is not None
    assert now is not None
    assert now > was
    # The same again changes nothing but what is there.
    _said("listen", file, "--at", "rear", "--job", "van.toml", "--keep", "--when", "before")
    again = cw.load("van.toml")
    assert (len(again.recordings), len(again.readings)) == (1, len(job.readings))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["crawl.wav", "--as", "bass-phases"], "This is crawl-short, not bass"),
        (["noise.wav"], "There is no test sound in this recording"),
        (["none.wav"], "none.wav: cannot be read"),
        (["text.wav"], "text.wav:"),
        (["voice.m4a"], "voice.m4a:"),
        (["crawl.wav", "--keep"], "it wants --job JOB and --at ID"),
        (["crawl.wav", "--when", "before"], "it goes with --keep only"),
        (["crawl.wav", "--with", "load"], "name=value is wanted"),
    ],
)
def test_what_cannot_be_used_ends_with_2_and_the_reason(words: list[str], said: str) -> None:
    _record("crawl.wav", "crawl-short")
    noise = np.random.default_rng(2).normal(0.0, 0.1, RATE)
    soundfile.write("noise.wav", noise, RATE)
    Path("text.wav").write_bytes(b"no sound at all")
    Path("voice.m4a").write_bytes(b"\0\0\0\x20ftypM4A \0\0\0\0" + bytes(100))
    assert said in _said("listen", *words, code=2)


def test_a_recording_that_cannot_be_used_is_not_kept() -> None:
    Path("van.toml").write_text(cw.demo_text(), encoding="utf-8")
    file = _record("crawl.wav", "crawl-short")
    words = ("--as", "bass-phases", "--at", "front", "--job", "van.toml", "--keep")
    _said("listen", file, *words, code=2)
    assert Path("van.toml").read_text(encoding="utf-8") == cw.demo_text()
    assert not Recordings.beside().folder.exists()


def test_a_curve_measured_elsewhere_comes_in() -> None:
    frequency = np.geomspace(20.0, 2000.0, 200)
    moving = 3.3 * 5.0 / (1 + 4.0j * (frequency / 70.0 - 70.0 / frequency))
    size = np.abs(3.3 + 2j * np.pi * frequency * 3e-4 + moving)
    rows = (f"{f:.3f};{z:.4f}".replace(".", ",") for f, z in zip(frequency, size, strict=True))
    Path("coil.txt").write_text("Hz;ohm\n" + "\n".join(rows), encoding="utf-8")
    said = _said("listen", "coil.txt", "--at", "door-fl")
    assert "taken as impedance" in said
    assert "impedance-sweep at door-fl: resonance 69.9 Hz" in said
