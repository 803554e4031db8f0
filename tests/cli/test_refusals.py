"""Bad input: exit code 2, words on standard error, nothing on standard output."""

import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from commands import run, starter_in

import conewright as cw
from conewright.cli.base.console import busy, say
from conewright.cli.entry import BAD_INPUT, FAILED, main
from conewright.stages.common.frequencies import MOST, parse_frequencies


@pytest.fixture
def van(tmp_path: Path) -> Path:
    return starter_in(tmp_path)


def _refused(*words: object) -> str:
    """Run a command that must be refused; return what it says, its lines joined."""
    done = run(*words)
    assert done.code == BAD_INPUT == 2
    assert done.out == ""
    assert "Traceback" not in done.err
    return " ".join(done.err.split())


@pytest.mark.parametrize("command", ["check", "feed", "hear", "fit", "compare"])
def test_a_missing_file_is_named(tmp_path: Path, command: str) -> None:
    file = tmp_path / "none.toml"
    said = _refused(command, file)
    assert str(file) in said
    assert "No such file" in said


def test_a_folder_is_no_job_file(tmp_path: Path) -> None:
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    assert str(folder) in _refused("feed", folder)


def test_text_that_is_no_toml_says_where(van: Path) -> None:
    van.write_text("format = = 1\n", encoding="utf-8")
    assert f"{van}: line 1, column 10: found" in _refused("check", van)


def test_all_errors_come_at_once_with_path_found_and_allowed(van: Path) -> None:
    text = van.read_text(encoding="utf-8")
    text = text.replace("[vehicle]", '[vehicle]\ncolor = "red"')
    text = text.replace('load = "door-fr"', 'load = "dor-fr"')
    text = text.replace('re = "3.3 ohm"', 're = "3.3"')
    van.write_text(text, encoding="utf-8")
    said = _refused("check", van)
    assert f"{van}: 3 problems" in said
    assert f"{van}: vehicle.color: found" in said
    assert f'{van}: channel[front-right].load: found "dor-fr"; ' in said
    assert 'did you mean "door-fr"?' in said
    assert f'{van}: driver[shallow-165].re: found "3.3"; the unit is missing' in said


def test_the_place_in_a_load_is_pointed_at(van: Path) -> None:
    text = van.read_text(encoding="utf-8").replace('load = "door-fr"', 'load = "door-fr | ("')
    van.write_text(text, encoding="utf-8")
    lines = run("check", van).err.splitlines()
    shown = next(index for index, line in enumerate(lines) if line.strip() == "door-fr | (")
    assert lines[shown + 1].index("^") == lines[shown].index("(") + 1


def test_a_driver_that_a_proposal_fits_is_checked_too(van: Path) -> None:
    text = van.read_text(encoding="utf-8").replace("qes = 0.75", "qes = 0.75\nqts = 4.0")
    van.write_text(text, encoding="utf-8")
    done = run("check", van)
    assert "shallow-165" in done.out + done.err
    assert "Qts" in done.out + done.err or "qts" in done.out + done.err


@pytest.mark.parametrize("option", ["--proposal", "--against"])
@pytest.mark.parametrize("name", ["ring", "", "as found"])
def test_an_unknown_id_is_answered_with_the_known_ones(van: Path, option: str, name: str) -> None:
    said = _refused("feed", van, option, name)
    assert said == f'{van}: {option}: found "{name}"; known are as-found, rings, shallow-fronts'


def test_as_found_is_an_id(van: Path) -> None:
    assert run("fit", van, "--proposal", "as-found").out == run("fit", van).out


def test_a_stage_that_lacks_something_names_file_and_what_to_add(van: Path) -> None:
    text = van.read_text(encoding="utf-8")
    start, end = text.index("[[seat]]"), text.index("[head_unit]")
    van.write_text(text[:start] + text[end:], encoding="utf-8")
    for command in ("hear", "compare"):
        said = _refused(command, van)
        assert said.startswith(f"{van}: seat: found none; give at least one [[seat]]")


# --- Options ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["", "x", "20,", ",20", "20;50", "-20", "1e3", "nan", "inf", "2 0",
     "20Hz", "1K", "٢٠", "1_000", "20," * MOST + "20"],
)  # fmt: skip
def test_frequencies_are_read_strictly(text: str) -> None:
    with pytest.raises(cw.BadInputError, match=r"^--at: found .*; allowed are up to 2000"):
        parse_frequencies(text)


@pytest.mark.parametrize(
    ("text", "hertz"),
    # Closed form.
    [("20", [20.0]), ("100, 50 ,20", [100.0, 50.0, 20.0]), ("1k,1.25k", [1000.0, 1250.0]),
     ("10,25k", [10.0, 25e3]), ("20,20", [20.0, 20.0])],
)  # fmt: skip
def test_frequencies_keep_their_order(text: str, hertz: list[float]) -> None:
    assert parse_frequencies(text).tolist() == hertz


@pytest.mark.parametrize("text", ["0", "0.05", "9.9", "20,50000", "25.1k", "1001k"])
def test_a_frequency_beyond_the_range_is_refused_with_the_range(text: str) -> None:
    """Nobody hears 50 kHz, and what is reckoned here ends well below: no answer is better."""
    with pytest.raises(cw.BadInputError, match=r"^--at: found .*reach from 10 Hz to 25 kHz"):
        parse_frequencies(text)


@pytest.mark.parametrize("stage", [cw.hear, cw.feed])
def test_python_refuses_it_too(stage: Callable[..., object]) -> None:
    build = cw.demo_job().build()
    with pytest.raises(cw.BadInputError, match=r"^at: found 50000 Hz, beyond the range: answers"):
        stage(build, at=np.array([20.0, 50e3]))


def test_a_bad_frequency_is_refused_before_the_file_is_read() -> None:
    assert _refused("feed", "none.toml", "--at", "20,x").startswith('--at: found "x"')


@pytest.mark.parametrize("name", ["feed.bmp", "feed", "none/feed.png"])
def test_a_picture_that_cannot_be_written_is_refused(van: Path, name: str) -> None:
    picture = van.parent / name
    assert str(picture) in _refused("feed", van, "--picture", picture)
    assert not picture.exists()


@pytest.mark.parametrize(
    "words",
    [("feed",), ("feed", "a.toml", "--nope"), ("nope",), ("compare", "a.toml", "--at", "20"),
     ("check",), ("new",)],
)  # fmt: skip
def test_a_command_that_is_not_understood_is_refused(words: tuple[str, ...]) -> None:
    assert _refused(*words)


@pytest.mark.parametrize("name", ["van.json", "van", "none/van.toml"])
def test_new_refuses_what_it_cannot_write(tmp_path: Path, name: str) -> None:
    assert str(tmp_path / name) in _refused("new", tmp_path / name)


def test_the_demo_refuses_a_file_for_a_folder(van: Path) -> None:
    assert str(van) in _refused("demo", "--out", van)


# --- The edge --------------------------------------------------------------------------------


def test_a_failure_of_the_program_is_code_1_without_a_traceback(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("the tape is torn")

    monkeypatch.setattr("conewright.stages.feed.stage.feed", broken)
    done = run("feed", van)
    assert done.code == FAILED == 1
    assert done.out == ""
    assert "conewright failed: RuntimeError: the tape is torn" in done.err
    assert "Traceback" not in done.err


def test_a_failure_shows_where_it_is_when_asked(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("the tape is torn")

    monkeypatch.setattr("conewright.stages.feed.stage.feed", broken)
    monkeypatch.setenv("CONEWRIGHT_DEBUG", "1")
    with pytest.raises(RuntimeError, match="the tape is torn"):
        main(["feed", str(van)])


def test_work_of_more_than_a_moment_is_spoken_of(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("conewright.cli.base.console.PATIENCE", 0.01)
    with busy("van.toml: listening"):
        _wait_for(lambda: "listening" in _so_far(capsys))
    with busy("quick"):
        pass
    assert capsys.readouterr().err == ""


def _so_far(capsys: pytest.CaptureFixture[str]) -> str:
    streams = capsys.readouterr()
    assert streams.out == ""
    return streams.err


def _wait_for(happened: Callable[[], bool]) -> None:
    while not happened():
        time.sleep(0.01)


def _conewright(*words: str, encoding: str = "utf-8") -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "conewright", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
    )  # fmt: skip


def test_a_terminal_without_unicode_shows_words_and_signs_all_the_same(van: Path) -> None:
    out, err = _conewright(
        "hear", str(van), "--proposal", "rings", "--against", "as-found", encoding="ascii"
    ).communicate()
    text = out.decode("ascii")
    assert b"Traceback" not in err
    assert "! warn " in text
    assert re.search(r"-\d\.\d to \+\d", text)
    # The question in the first line is the only one: nothing was lost on the way.
    assert text.count("?") == 1


def test_a_reader_who_leaves_early_is_no_failure(van: Path) -> None:
    process = _conewright("check", str(van))
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    err = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 0, err
    assert err == b""


def test_say_writes_nothing_but_its_text(capsys: pytest.CaptureFixture[str]) -> None:
    say("−5 ± 1 dB\n")
    assert capsys.readouterr() == ("−5 ± 1 dB\n", "")
