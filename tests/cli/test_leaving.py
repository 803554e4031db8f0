"""How the program ends when its output takes nothing, or somebody presses Ctrl-C."""

import os
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from commands import run, starter_in

from conewright.__main__ import INTERRUPTED
from conewright.cli.entry import BAD_INPUT

ROOT = Path(__file__).resolve().parent.parent.parent
FULL = Path("/dev/full")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="the system has no device that is full")


def _shell(ending: str, *words: object) -> subprocess.CompletedProcess[str]:
    """Run a command whose streams a shell opens or closes."""
    return subprocess.run(
        ["sh", "-c", f'exec "$@" {ending}', "sh", sys.executable, "-m", "conewright",
         *map(str, words)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.fixture
def van(tmp_path: Path) -> Path:
    return starter_in(tmp_path)


# --- Output that takes nothing ----------------------------------------------------------------


@needs_full
@pytest.mark.parametrize(
    "words", [("check", "van.toml"), ("check", "--schema"), ("--version",), ("--help",), ("jobs",)]
)
def test_output_that_is_full_is_no_fault_of_the_program(
    van: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(van.parent)
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{van.parent / 'jobs.sqlite'}")
    done = _shell(f">{FULL}", *words)
    assert done.returncode == BAD_INPUT
    assert done.stderr.count("\n") == 1
    assert "No space left on device" in done.stderr


@pytest.mark.parametrize("words", [("check", "van.toml"), ("--help",), ("new", "new.toml")])
def test_output_that_is_closed_is_said_before_anything_is_done(
    van: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(van.parent)
    done = _shell(">&-", *words)
    assert done.returncode == BAD_INPUT
    assert done.stderr == "standard output: found it closed; give a place for the answer\n"
    assert os.listdir() == ["van.toml"]


@pytest.mark.parametrize("words", [("--help",), ("check", "--schema"), ("find", "--help")])
def test_a_reader_of_anything_may_leave(words: tuple[str, ...]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "conewright", *words],
        stdout=writing, stderr=subprocess.PIPE, check=False,
    )  # fmt: skip
    os.close(writing)
    assert done.stderr == b""
    assert done.returncode == 0


@pytest.mark.parametrize("ending", ["2>&-", pytest.param(f"2>{FULL}", marks=needs_full)])
@pytest.mark.parametrize(
    ("words", "code"), [(("check", "van.toml"), 0), (("nope",), 2), (("check", "none.toml"), 2)]
)
def test_words_beside_the_answer_may_get_lost(
    van: Path, monkeypatch: pytest.MonkeyPatch, ending: str, words: tuple[str, ...], code: int
) -> None:
    monkeypatch.chdir(van.parent)
    done = _shell(ending, *words)
    assert done.returncode == code
    assert bool(done.stdout) is (code == 0)


def test_questions_that_nobody_can_answer_end(van: Path) -> None:
    done = _shell("<&-", "find", van, "--ask")
    assert done.returncode == 0
    assert "nothing was written" in " ".join(done.stdout.split())


# --- Ctrl-C -----------------------------------------------------------------------------------

# Presses Ctrl-C when a module is about to be imported; Python runs a file of this name first.
PRESSING = """
import os, signal, sys

class Pressing:
    def find_spec(self, name, path=None, target=None):
        if name == os.environ["PRESSED_AT"]:
            os.kill(os.getpid(), signal.SIGINT)

sys.meta_path.insert(0, Pressing())
"""


def _pressed(
    at: str, folder: Path, command: list[str], *, ignored: bool = False
) -> subprocess.CompletedProcess[bytes]:
    pressing = folder / "pressing"
    pressing.mkdir(exist_ok=True)
    (pressing / "sitecustomize.py").write_text(PRESSING, encoding="utf-8")
    paths = [str(pressing), *filter(None, [os.environ.get("PYTHONPATH")])]
    return subprocess.run(
        [sys.executable, *command],
        env={**os.environ, "PRESSED_AT": at, "PYTHONPATH": os.pathsep.join(paths)},
        capture_output=True,
        check=False,
        preexec_fn=(lambda: signal.signal(signal.SIGINT, signal.SIG_IGN)) if ignored else None,
    )


def _script() -> str:
    """What an installer writes into the command's file."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    module, name = project["scripts"]["conewright"].split(":")
    return f"import sys; from {module} import {name}; sys.exit({name}())"


@pytest.mark.parametrize("door", ["module", "script"])
@pytest.mark.parametrize(
    "at",
    ["conewright.cli", "typer", "conewright.errors", "conewright.stages.find.stage", "numpy",
     "scipy.special", "pydantic", "conewright.views.text"],
)  # fmt: skip
def test_ctrl_c_while_importing_ends_without_a_word(van: Path, door: str, at: str) -> None:
    program = ["-m", "conewright"] if door == "module" else ["-c", _script()]
    done = _pressed(at, van.parent, [*program, "find", str(van)])
    # A slow machine may have said by then what takes so long.
    assert [line for line in done.stderr.splitlines() if not line.endswith(b" ...")] == []
    assert done.stdout == b""
    assert done.returncode == INTERRUPTED == 130


# Presses Ctrl-C in a place that can only print what is raised in it, or that a library calls from
# its own code and answers with its own error.
LOST = """
class Torn:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        for _ in range(1000): pass

Torn()
"""
# As compiled code does it (PyErr_Print in Python's C API).
PRINTED = """
import sys
try:
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(1000): pass
except KeyboardInterrupt:
    sys.excepthook(*sys.exc_info())
"""
TURNED = """
try:
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(1000): pass
except KeyboardInterrupt:
    raise RuntimeError("called back in vain") from None
"""


@pytest.mark.parametrize("pressed", [LOST, PRINTED, TURNED], ids=["lost", "printed", "turned"])
def test_ctrl_c_that_a_library_takes_ends_without_a_word(van: Path, pressed: str) -> None:
    work = f"def feed(*_, **__):\n    exec({'import os, signal' + pressed!r}, {{}})\n"
    program = (
        f"import conewright.stages.feed.stage as stage\n{work}\nstage.feed = feed\n"
        f"import sys; sys.argv = ['conewright', 'feed', {str(van)!r}]\n{_script()}"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=False)
    assert [line for line in done.stderr.splitlines() if not line.endswith(b" ...")] == []
    assert (done.returncode, done.stdout) == (INTERRUPTED, b"")


def test_whoever_is_to_ignore_ctrl_c_does(van: Path) -> None:
    done = _pressed("typer", van.parent, ["-m", "conewright", "check", str(van)], ignored=True)
    assert done.returncode == 0
    assert done.stdout.startswith(b"No errors")


def test_ctrl_c_at_work_ends_without_a_word(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def pressed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("conewright.stages.feed.stage.feed", pressed)
    done = run("feed", van)
    assert (done.code, done.out, done.err) == (INTERRUPTED, "", "")
