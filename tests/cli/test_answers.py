"""What the commands answer: the result on standard output, exit code 0, nothing else."""

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2
import pytest
from commands import run, starter_in

import conewright as cw
from conewright.job.builds.states.build import Build
from conewright.stages.report.data import Axis
from serving import ended, free_port, said, serving

STAGES = ("feed", "hear", "fit")


@pytest.fixture
def van(tmp_path: Path) -> Path:
    return starter_in(tmp_path)


def _report(text: str) -> tuple[dict[str, Any], cw.Report]:
    """Return JSON as plain data and as the report it validates as; NaN and Infinity are none."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    raw = json.loads(text, parse_constant=refuse)
    return raw, cw.Report.model_validate(raw)


def _readable(text: str) -> bool:
    return max(map(len, text.splitlines())) <= 80


# --- Stages ----------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_answers_within_80_columns(van: Path, stage: str) -> None:
    done = run(stage, van, "--proposal", "shallow-fronts", "--against", "as-found")
    assert done.code == 0
    assert done.out.startswith(f"{stage.upper()}: ")
    assert "Build: shallow-fronts" in done.out
    assert "against as-found" in done.out
    assert _readable(done.out)


@pytest.mark.parametrize("stage", STAGES)
def test_a_command_prints_what_python_prints(van: Path, stage: str) -> None:
    build = cw.load(van).build("rings")
    asked: dict[str, Any] = {"feed": cw.feed, "hear": cw.hear, "fit": cw.fit}
    assert run(stage, van, "--proposal", "rings").out == str(asked[stage](build))


@pytest.mark.parametrize("stage", STAGES)
def test_json_is_the_report_itself(van: Path, stage: str) -> None:
    build: Build = cw.load(van).build("shallow-fronts")
    asked: dict[str, Any] = {"feed": cw.feed, "hear": cw.hear, "fit": cw.fit}
    done = run(stage, van, "--proposal", "shallow-fronts", "--json")
    raw, report = _report(done.out)
    assert done.code == 0
    assert done.out.count("\n") == 1
    assert raw == json.loads(asked[stage](build).model_dump_json())
    assert report.stage == stage
    assert report.figures
    assert (report.build, report.against) == ("shallow-fronts", None)


def test_curves_come_at_exactly_the_frequencies_asked_for(van: Path) -> None:
    _, report = _report(run("feed", van, "--json", "--at", "100,20.5,1.2k").out)
    for curve in report.series:
        assert curve.x == Axis(name="frequency", unit="Hz", values=(100.0, 20.5, 1200.0))
        assert len(curve.y.values) == 3
    impedance = report.curve("front-left.impedance")
    # Closed form: the meter reads resistance alone; a coil adds to it in quadrature.
    assert abs(complex(*impedance.y.values[2])) > float(impedance.y.values[2][0]) > 3.0


def test_few_frequencies_are_shown_as_a_table(van: Path) -> None:
    done = run("hear", van, "--at", "20,50,100")
    assert re.search(r"^curve +20 Hz +50 Hz +100 Hz$", done.out, re.MULTILINE)
    assert re.search(r"^driver-seat\.limit +\w+ +\w+ +\w+$", done.out, re.MULTILINE)


def test_fit_takes_at_and_says_the_same(van: Path) -> None:
    assert run("fit", van, "--at", "50").out == run("fit", van).out


@pytest.mark.parametrize("suffix", ["svg", "png", "pdf"])
def test_a_picture_is_drawn_beside_the_answer(van: Path, suffix: str) -> None:
    picture = van.parent / f"fit.{suffix}"
    done = run("fit", van, "--picture", picture)
    assert done.code == 0
    assert done.out.startswith("FIT")
    start = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[suffix]
    assert picture.read_bytes().startswith(start)


def test_a_reversed_order_of_frequencies_can_be_drawn(van: Path) -> None:
    picture = van.parent / "feed.svg"
    assert run("feed", van, "--at", "500,20", "--picture", picture).code == 0
    assert picture.stat().st_size > 1000


# --- Compare ---------------------------------------------------------------------------------


def test_compare_sets_every_build_side_by_side(van: Path) -> None:
    done = run("compare", van)
    assert done.code == 0
    assert _readable(done.out)
    head = next(line for line in done.out.splitlines() if "as-found" in line)
    assert "rings" in head
    for row in ("bass, driver-", "programme,", "lowest load", "chip, loud", "odds that it",
                "cost [EUR]", "hours of work", "worst verdict"):  # fmt: skip
        assert f"\n{row}" in done.out


def test_compare_as_json_holds_every_build(van: Path) -> None:
    _, report = _report(run("compare", van, "--json").out)
    subjects = {figure.subject for figure in report.figures}
    assert {"as-found", "rings", "shallow-fronts"} <= subjects
    assert {verdict.subject for verdict in report.verdicts} >= {"rings", "shallow-fronts"}


# --- New and check ---------------------------------------------------------------------------


def test_new_writes_a_file_that_passes_check(tmp_path: Path) -> None:
    file = tmp_path / "my van.toml"
    done = run("new", file)
    assert done.code == 0
    assert f"conewright check '{file}'" in done.out
    assert file.read_text(encoding="utf-8") == cw.starter_text()
    assert run("check", file).code == 0


def test_new_writes_over_a_file_only_when_forced(van: Path) -> None:
    van.write_text("mine", encoding="utf-8")
    refused = run("new", van)
    assert (refused.code, refused.out, van.read_text(encoding="utf-8")) == (2, "", "mine")
    assert "--force" in refused.err
    assert run("new", van, "--force").code == 0
    assert van.read_text(encoding="utf-8") == cw.starter_text()


def test_check_lists_contents_sheets_and_what_was_filled_in(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(van.parent)
    done = run("check", van.name)
    text = " ".join(done.out.split())
    assert done.code == 0
    assert done.err == ""
    assert _readable(done.out)
    assert "2 channels, 2 locations, 2 drivers, 1 seat, 1 reading, 2 proposals." in text
    assert "shallow-165: the sheet's sensitivity of 90.9 dB is" in text
    # Places alike share a paragraph; a proposal only adds what was not there before.
    assert "door-fl, door-fr: " in text
    assert "For shallow-fronts filled in as well" in text
    assert "For rings" not in text
    build = cw.load(van).build()
    for fill in build.fills:
        owner, _, field = fill.path.partition(".")
        assert owner in text
        assert f"{field} {fill.text} {fill.origin.value[0].upper()}" in text


def test_check_says_by_how_much_a_sheet_disagrees(van: Path) -> None:
    text = van.read_text(encoding="utf-8").replace("90.9 dB", "97 dB")
    van.write_text(text, encoding="utf-8")
    done = run("check", van)
    # Closed form: 97 dB against the 91.3 dB that the parameters give.
    assert "▲ shallow-165: the sheet's sensitivity of 97 dB is 5.7 dB above" in done.out
    assert done.code == 0


def test_check_prints_the_schema_as_json() -> None:
    done = run("check", "--schema")
    assert done.code == 0
    assert json.loads(done.out) == cw.job_schema()


# --- Demo ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Demo:
    """The demo as a user ran it: what it printed before its pages, one of these, and its end."""

    folder: Path
    printed: str
    address: str
    page: str
    end: tuple[int, str, str]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    home = tmp_path_factory.mktemp("home")
    with serving(home, "--port", str(free_port()), command="demo") as process:
        lines: list[str] = []
        while not (line := said(process)).startswith("Conewright is at "):
            assert line, process.communicate()
            lines.append(line)
        address = line.split()[3]
        with httpx2.Client(trust_env=False, timeout=None) as client:
            page = client.get(address, headers={"accept": "text/html"}).text
        return Demo(home / "conewright-demo", "".join(lines), address, page, ended(process))


def test_the_demo_runs_a_job_from_beginning_to_end(demo: Demo) -> None:
    heads = re.findall(r"^(FIND|COMPARE|FEED|HEAR|FIT): ", demo.printed, re.MULTILINE)
    assert heads == ["FIND", "COMPARE", "FEED", "HEAR", "FIT"]
    assert _readable(demo.printed)
    assert f"Folder:   {demo.folder.name}" in demo.printed
    written = {path.name for path in demo.folder.iterdir()}
    assert written == {
        "library-van.toml",
        "find.png",
        "compare.png",
        "feed.png",
        "hear.png",
        "fit.png",
    }


def test_the_demo_ends_with_its_job_in_the_pages_until_ctrl_c(demo: Demo) -> None:
    assert re.fullmatch(
        r"http://127\.0\.0\.1:\d+/jobs/mobile-library-van-[a-z2-7]{4}", demo.address
    )
    assert "<h1>Mobile library van: thin bass up front" in demo.page
    code, out, err = demo.end
    assert (code, out) == (0, "Conewright has ended; every saved job is kept.\n")
    # All that may be said beside the answers is what takes so long.
    assert re.fullmatch(r"(demo: .+ \.\.\.\n)?", err)


def test_what_the_demo_says_to_try_works(demo: Demo, monkeypatch: pytest.MonkeyPatch) -> None:
    commands = re.findall(r"^  conewright (.+)$", demo.printed, re.MULTILINE)
    assert len(commands) >= 3
    monkeypatch.chdir(demo.folder)
    for command in commands:
        assert run(*command.split()).code == 0, command


def test_the_demo_leaves_a_changed_job_file_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("conewright.cli.commands.demo._reports", tuple)
    file = tmp_path / "library-van.toml"
    assert run("demo", "--once", "--out", tmp_path).code == 0
    assert file.read_text(encoding="utf-8") == cw.demo_text()
    file.write_text("mine", encoding="utf-8")
    assert run("demo", "--once", "--out", tmp_path).code == 0
    assert file.read_text(encoding="utf-8") == "mine"


def test_the_demo_job_is_kept_once_as_it_was_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("conewright.cli.commands.demo.demonstrate", lambda _: None)
    opened: list[str] = []
    monkeypatch.setattr("conewright.web.serve.serve", lambda *, page, **_: opened.append(page))
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{tmp_path / 'jobs.sqlite'}")
    assert [run("demo").code, run("demo").code] == [0, 0]
    assert len(opened) == 2
    assert len(set(opened)) == 1
