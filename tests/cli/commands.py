"""A command line inside this process: quick, with both streams and the exit code at hand."""

import io
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import pytest

from conewright import starter_text
from conewright.cli import main


@dataclass(frozen=True)
class Done:
    """What a command left behind."""

    code: int
    out: str
    err: str


def run(*words: object) -> Done:
    """Run a command; its words are turned into text."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2))
    with redirect_stdout(out), redirect_stderr(err), pytest.raises(SystemExit) as leave:
        main([str(word) for word in words])
    assert isinstance(leave.value.code, int)
    return Done(leave.value.code, _written(out), _written(err))


def starter_in(folder: Path) -> Path:
    """Write the starter file, the job that is quickest to work out."""
    file = folder / "van.toml"
    file.write_text(starter_text(), encoding="utf-8")
    return file


def _written(stream: io.TextIOWrapper) -> str:
    stream.seek(0)
    return stream.read()
