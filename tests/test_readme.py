"""What README.md shows is what happens."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from conewright import demo_text
from conewright.cli.app import app

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
EXAMPLE = re.compile(r"```python\n(?P<code>.*?)```.*?```(?:text)?\n(?P<printed>.*?)```", re.DOTALL)
COMMAND = re.compile(r"```text\n\$ conewright (?P<words>.+)\n(?P<shown>(?:.*\n)*?)```")


def _run(*words: str, folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-W", "error", *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        cwd=folder,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_first_example_prints_what_follows_it(tmp_path: Path) -> None:
    found = EXAMPLE.search(README)
    assert found is not None, "README.md shows no python example followed by what it prints"
    assert _run("-c", found["code"], folder=tmp_path).rstrip() == found["printed"].rstrip()
    assert len(found["code"].splitlines()) <= 15


def test_the_command_shown_prints_what_is_shown(tmp_path: Path) -> None:
    (tmp_path / "library-van.toml").write_text(demo_text(), encoding="utf-8")
    found = list(COMMAND.finditer(README))
    assert found, "README.md shows no command with its output"
    for command in found:
        words = command["words"].split()
        assert command["shown"] in _run("-m", "conewright", *words, folder=tmp_path)


@pytest.mark.parametrize(
    "command", [each.callback.__name__ for each in app.registered_commands if each.callback]
)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"`conewright {command}" in README


def test_the_two_commands_that_do_everything_are_tasks() -> None:
    tasks = re.findall(r"^(?:`{3}sh\n)?make (\w+)", README, re.MULTILINE)
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    assert tasks == ["demo", "test"]
    assert all(re.search(rf"^{task}:", makefile, re.MULTILINE) for task in tasks)


def test_the_pythons_said_to_be_tested_are_those_of_the_project() -> None:
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    claimed = re.findall(r"Programming Language :: Python :: (3\.\d+)", project)
    said = re.search(r"^Tested on .*? with Python ((?:3\.\d+(?:, | and )?)+)", README, re.MULTILINE)
    assert said is not None
    assert re.findall(r"3\.\d+", said[1]) == claimed
