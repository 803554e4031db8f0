"""Completion in a real shell: what bash offers after a tab."""

import os
import subprocess
import sys
from pathlib import Path
from shutil import which

import pytest

# What a tab does: bash calls the function it was told of, with the words so far.
TAB = """
source "$SCRIPT"
COMP_WORDS=($LINE "$LAST")
COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
_conewright_completion conewright
printf '%s\\n' "${COMPREPLY[@]}"
"""


def _run(folder: Path, *words: str, **variables: str) -> str:
    known = {**os.environ, "HOME": str(folder), "PATH": f"{folder}:{os.environ['PATH']}"}
    done = subprocess.run(
        words, capture_output=True, text=True, check=True, env=known | variables, cwd=folder
    )
    assert done.stderr == ""
    return done.stdout


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a home with a command `conewright` whose completion bash was told of."""
    home = tmp_path_factory.mktemp("home")
    command = home / "conewright"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m conewright "$@"\n', "utf-8")
    command.chmod(0o755)
    # Which shell it is for is read off the program that asks.
    _run(home, "bash", "-c", "conewright --install-completion; true")
    return home


@pytest.mark.skipif(which("bash") is None, reason="no bash on this machine")
@pytest.mark.parametrize(
    ("line", "last", "offered"),
    [
        ("conewright", "fe", ["feed"]),
        ("conewright", "co", ["compare"]),
        ("conewright feed", "--pr", ["--proposal"]),
        ("conewright make", "--bar", ["--bar-measured"]),
        # Nothing of ours: bash offers files.
        ("conewright check", "va", [""]),
    ],
)
def test_bash_offers_what_there_is(folder: Path, line: str, last: str, offered: list[str]) -> None:
    script = str(folder / ".bash_completions" / "conewright.sh")
    assert "-o default" in Path(script).read_text("utf-8")
    told = _run(folder, "bash", "-c", TAB, SCRIPT=script, LINE=line, LAST=last)
    assert told.splitlines() == offered


def test_what_is_installed_is_found_by_the_next_shell(folder: Path) -> None:
    assert "conewright.sh" in (folder / ".bashrc").read_text("utf-8")
