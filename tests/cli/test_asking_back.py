"""Commands ask unusual values back, and name the readings that nobody can use."""

import json
from pathlib import Path

import pytest
from commands import run, starter_in

from conewright.job.text.editing import with_values


@pytest.fixture
def odd(tmp_path: Path) -> Path:
    file = starter_in(tmp_path)
    file.write_text(with_values(file.read_text("utf-8"), {"head_unit.supply": "45 V"}), "utf-8")
    return file


def test_check_asks_an_unusual_value_back(odd: Path) -> None:
    done = run("check", odd)
    assert done.code == 0
    assert "? head_unit.supply: is it really 45 V?" in done.out
    assert 'sure = ["head_unit.supply"]' in done.out


def test_check_says_it_as_json(odd: Path) -> None:
    told = json.loads(run("check", "--json", odd).out)
    assert [each["path"] for each in told["asked"]] == ["head_unit.supply"]
    assert told["contents"].startswith("2 channels")


@pytest.mark.parametrize("json", [(), ("--json",)])
def test_check_refuses_a_test_that_nobody_knows(odd: Path, json: tuple[str, ...]) -> None:
    text = odd.read_text("utf-8")
    odd.write_text(text.replace('test = "pair-resistance"', 'test = "pair"'), "utf-8")
    done = run("check", *json, odd)
    assert done.code == 2
    assert "reading[1].test" in done.err


def test_import_keeps_the_file_and_tells(odd: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{odd.parent / 'jobs.sqlite'}")
    text = odd.read_text("utf-8")
    odd.write_text(text.replace("buzz-one-corner", "buz-one-corner"), "utf-8")
    done = run("jobs", "--import", odd)
    assert done.code == 0
    told = " ".join(done.out.split())
    assert "job.complaints[1]" in told
    assert "is it really 45 V?" in told
