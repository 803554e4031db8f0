"""conewright make: what to print and what to send out, or why there is nothing."""

import json
from pathlib import Path

import pytest
from commands import run, starter_in

from conewright import demo_text

PLAN = ("--proposal", "slim-fronts")


@pytest.fixture
def van(tmp_path: Path) -> Path:
    file = tmp_path / "van.toml"
    file.write_text(demo_text(), encoding="utf-8")
    return file


def test_papers_are_written_and_told(van: Path, tmp_path: Path) -> None:
    out = tmp_path / "bench"
    done = run("make", van, *PLAN, "--out", out, "--only", "sheet", "--paper", "letter")
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith("To print, at 100 % and not fitted to the page\n")
    assert "  job-sheet.pdf, 215.9 x 279.4 mm\n" in done.out
    assert done.out.endswith(f"Folder: {out}\n")
    assert {file.name for file in out.iterdir()} == {"job-sheet.pdf", "manifest.json"}


def test_the_manifest_is_printed_as_json(tmp_path: Path) -> None:
    van, out = starter_in(tmp_path), tmp_path / "bench"
    done = run("make", van, "--out", out, "--only", "sheet", "--json")
    assert json.loads(done.out) == json.loads((out / "manifest.json").read_text("utf-8"))
    assert json.loads(done.out)["files"][0]["size_mm"] == [210.0, 297.0]


def test_a_plan_that_may_not_go_to_the_bench_is_bad_input(van: Path, tmp_path: Path) -> None:
    done = run("make", van, "--proposal", "larger-fronts", "--out", tmp_path / "bench")
    assert (done.code, done.out) == (2, "")
    assert f"{van}: larger-fronts: no papers: door-fl, door-fr: It meets the glass" in " ".join(
        done.err.split()
    )
    assert not (tmp_path / "bench").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--paper", "A5"), 'paper: found "A5"; allowed: A4, Letter'),
        (("--only", "poster"), 'only: found "poster"; allowed: '),
        (("--bar-measured", "97,98"), "bar_measured: found 97 mm across and 98 mm down"),
        (("--proposal", "nobody"), '--proposal: found "nobody"'),
    ],
)
def test_what_cannot_be_used_is_named(
    van: Path, tmp_path: Path, words: tuple[str, str], told: str
) -> None:
    done = run("make", van, *PLAN, "--out", tmp_path / "bench", *words)
    assert (done.code, done.out) == (2, "")
    assert told in " ".join(done.err.split())
