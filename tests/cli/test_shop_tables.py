"""A shop's own tables: written out, edited, and reckoned with."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from commands import run, starter_in

from conewright.stages.find.faults import trade
from conewright.stages.find.faults.shop import VARIABLE


@pytest.fixture
def own(tmp_path: Path) -> Path:
    place = tmp_path / "our counts"
    done = run("new", "--tables", place)
    assert done.code == 0
    assert VARIABLE in done.out
    return place


def _edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def _find(van: Path, place: Path | str) -> subprocess.CompletedProcess[str]:
    """Run find in a process of its own: tables are read once in each."""
    return subprocess.run(
        [sys.executable, "-m", "conewright", "find", str(van), "--json"],
        env=os.environ | {VARIABLE: str(place)},
        capture_output=True,
        text=True,
        check=False,
    )


def _minutes(done: subprocess.CompletedProcess[str]) -> dict[str, float]:
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)["figures"]
    return {f["id"]: f["value"] for f in figures if f["id"].endswith(".minutes")}


def test_the_tables_are_written_as_they_came(own: Path) -> None:
    assert {f.name: f.read_text(encoding="utf-8") for f in own.iterdir()} == trade.table_texts()
    again = run("new", "--tables", own)
    assert again.code == 2
    assert "--force" in again.err
    assert run("new", "--tables", own, "--force").code == 0


def test_an_edited_table_takes_the_place_of_ours(own: Path, tmp_path: Path) -> None:
    van = starter_in(tmp_path)
    before = _minutes(_find(van, ""))
    for file in own.iterdir():
        if file.name != "tests.csv":
            file.unlink()
    _edit(
        own / "tests.csv", "bass tone,location,woofer,none,3,", "bass tone,location,woofer,none,9,"
    )
    after = _minutes(_find(van, own))
    told = [name for name in before if "slow-bass" in name and name in after]
    assert told
    assert all(after[name] == before[name] + 6 for name in told)


def test_a_wrong_table_is_named(own: Path, tmp_path: Path) -> None:
    van = starter_in(tmp_path)
    _edit(own / "faults.csv", "torn,11,", "torn,60,")
    done = _find(van, own)
    assert (done.returncode, done.stdout) == (2, "")
    said = " ".join(done.stderr.split())
    assert f"{VARIABLE}: faults.csv: the priors add up to 149, not to 100" in said


def test_a_folder_or_a_file_nobody_reads_is_refused(own: Path, tmp_path: Path) -> None:
    van = starter_in(tmp_path)
    missing = _find(van, tmp_path / "none")
    assert missing.returncode == 2
    assert "found no folder" in " ".join(missing.stderr.split())
    (own / "faults.csv").rename(own / "fault.csv")
    astray = _find(van, own)
    assert astray.returncode == 2
    assert 'did you mean "faults.csv"' in " ".join(astray.stderr.split())
