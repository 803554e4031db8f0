"""`conewright find` with --take, --mended, --drop and --plan: what was found, in the job file."""

import json
from codecs import BOM_UTF8
from pathlib import Path

import pytest
from commands import run

import conewright as cw
from conewright.job.text.parsing import load
from conewright.job.text.readings import without_finding


@pytest.fixture
def van(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    file = Path("van.toml")
    file.write_text(without_finding(cw.demo_text()), encoding="utf-8")
    return file


def test_a_fault_is_taken_mended_and_dropped(van: Path) -> None:
    before = van.read_text(encoding="utf-8")
    assert "written down as found" in run("find", van, "--take", "reversed@door-fr").out
    (finding,) = load(van).findings
    assert (finding.id, finding.state) == ("reversed@door-fr", "found")
    # Nothing else in the file has changed.
    assert van.read_text(encoding="utf-8").startswith(before.rstrip("\n"))
    run("find", van, "--mended", "reversed@door-fr")
    assert [each.state for each in load(van).findings] == ["mended"]
    run("find", van, "--drop", "reversed@door-fr")
    assert van.read_text(encoding="utf-8") == before


def test_a_mark_of_the_encoding_stays(van: Path) -> None:
    van.write_bytes(BOM_UTF8 + van.read_bytes())
    before = van.read_bytes()
    run("find", van, "--take", "reversed@door-fr")
    assert van.read_bytes().startswith(BOM_UTF8)
    run("find", van, "--drop", "reversed@door-fr")
    assert van.read_bytes() == before


def test_a_finding_names_the_reading_that_speaks_for_it(van: Path) -> None:
    loose = load(van).with_finding("coil-open", "door-fr")
    assert loose.findings[0].since is None
    file = Path("coil.json")
    read = cw.demo_job().with_reading("coil-resistance", "door-fr", "open")
    file.write_text(json.dumps(read.to_dict()), encoding="utf-8")
    run("find", file, "--take", "coil-open@door-fr")
    assert load(file).findings[-1].since == "coil-resistance@door-fr"


def test_any_reading_is_taken_out(van: Path) -> None:
    first, *others = load(van).readings
    run("find", van, "--drop", f"{first.test}@{first.at}")
    assert list(load(van).readings) == others


def test_the_plan_that_mends_is_written_and_is_as_any_other(van: Path) -> None:
    run("find", van, "--take", "coil-open@door-fr", "--take", "wire-broken@front-left", "--plan")
    plan = load(van).proposals[-1]
    assert plan.mends == ("coil-open@door-fr", "wire-broken@front-left")
    assert load(van).build(plan.id).faults == ()
    # Made again it is written anew, not twice.
    count = len(load(van).proposals)
    run("find", van, "--drop", "wire-broken@front-left", "--plan")
    assert len(load(van).proposals) == count
    assert load(van).proposals[-1].mends == ("coil-open@door-fr",)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--take", "coil-opn@door-fr"), "coil-open"),
        (("--take", "coil-open"), "coil-open@door-fl"),
        (("--take", "coil-open@front-left"), "a place"),
        (("--drop", "coil-open@door-fr"), "written down are"),
    ],
)
def test_what_cannot_be_taken_or_dropped_is_named(
    van: Path, arguments: tuple[str, ...], told: str
) -> None:
    before = van.read_text(encoding="utf-8")
    done = run("find", van, *arguments)
    assert done.code == 2
    assert told in done.err
    assert van.read_text(encoding="utf-8") == before


def test_a_plan_is_made_only_of_what_is_established(tmp_path: Path) -> None:
    file = tmp_path / "new.toml"
    file.write_text(cw.starter_text(), encoding="utf-8")
    done = run("find", file, "--plan")
    assert done.code == 2
    assert "likeliest is" in done.err
