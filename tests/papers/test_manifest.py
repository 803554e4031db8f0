"""All papers of a plan: files as the manifest has them, the same each time, or refused in words."""

import json
from hashlib import sha256
from pathlib import Path

import pytest
from plain_demo import plain_text

import conewright as cw
from conewright.papers.drawing.bars import measured_bars
from conewright.papers.make import KINDS, papers, reasons_against
from conewright.papers.press.answers import Answers
from conewright.papers.press.manifest import MANIFEST

PLAN = "slim-fronts"


def demo(old: str = "", new: str = "") -> cw.Job:
    text = plain_text()
    assert old in text
    return cw.loads(text.replace(old, new) if old else text)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, cw.Manifest]:
    folder = tmp_path_factory.mktemp("papers") / "of" / "the plan"
    return folder, cw.make(demo().build(PLAN), folder)


def test_what_is_written_is_what_the_manifest_says(written: tuple[Path, cw.Manifest]) -> None:
    folder, manifest = written
    names = {entry.name for entry in manifest.files}
    assert {path.name for path in folder.iterdir()} == names | {MANIFEST}
    assert {"job-sheet.pdf", "templates.pdf", "wiring.pdf", "flags.pdf", "parts.pdf"} <= names
    assert {"parts.csv", "door-fl-sealing-ring.svg", "door-fl-sealing-ring.dxf"} <= names
    for entry in manifest.files:
        content = (folder / entry.name).read_bytes()
        assert entry.bytes == len(content) > 0
        assert entry.sha256 == sha256(content).hexdigest()
        assert entry.purpose


def test_the_manifest_is_read_back_as_it_is(written: tuple[Path, cw.Manifest]) -> None:
    folder, manifest = written
    text = (folder / MANIFEST).read_text(encoding="utf-8")
    assert cw.Manifest.model_validate_json(text) == manifest
    assert json.loads(text) == manifest.to_dict()
    assert manifest.plan.startswith("slim-fronts: ")
    assert manifest.paper == "A4"


def test_the_same_job_gives_the_same_files(written: tuple[Path, cw.Manifest]) -> None:
    again = papers(demo().build(PLAN)).manifest
    assert again == written[1]


def test_one_kind_alone_is_what_it_is_among_all(written: tuple[Path, cw.Manifest]) -> None:
    whole = {entry.name: entry for entry in written[1].files}
    found = {only: papers(demo().build(PLAN), only=only).manifest.files for only in KINDS[1:]}
    assert {"wiring.pdf", "flags.pdf"} == {entry.name for entry in found["wiring"]}
    assert {"parts.pdf", "parts.csv"} == {entry.name for entry in found["parts"]}
    alone = [entry for entries in found.values() for entry in entries]
    assert {entry.name for entry in alone} == set(whole) - {"job-sheet.pdf"}
    assert all(entry == whole[entry.name] for entry in alone)


def test_what_is_sent_out_and_what_is_printed(written: tuple[Path, cw.Manifest]) -> None:
    manifest = written[1]
    assert all(entry.name.endswith(".pdf") for entry in manifest.used("print"))
    assert {entry.size_mm for entry in manifest.used("print")} == {(210.0, 297.0)}
    sent = manifest.used("send out")
    assert sent
    assert {Path(entry.name).suffix for entry in sent} == {".dxf", ".svg"}
    assert len(manifest.files) == sum(
        len(manifest.used(use)) for use in ("print", "send out", "keep")
    )


# --- Gates ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state", "reason"),
    [("unknown", "nobody has said"), ("pressure", "a pressure sensor reads the air")],
)
@pytest.mark.parametrize("only", [None, *KINDS])
def test_no_paper_of_a_plan_that_opens_a_door_with_a_sensor(
    tmp_path: Path, state: str, reason: str, only: str | None
) -> None:
    job = demo('door_sensor = "none"', f'door_sensor = "{state}"')
    with pytest.raises(cw.PlanRefusedError) as refused:
        cw.make(job.build(PLAN), tmp_path / "papers", only=only)
    assert len(refused.value.reasons) == 1
    assert reason in refused.value.reasons[0]
    assert "licensed technician" in refused.value.reasons[0]
    assert not (tmp_path / "papers").exists()


FEED = """
[[feed]]
id = "main"
to = "radio"
size = "2.5 mm2"
length = "2 m"
"""


@pytest.mark.parametrize(
    ("fuse", "reason"),
    [
        ("", "main: no fuse at its source end is written down: no plan is made without one."),
        ('fuse = "15 A"\n', "main: where its fuse sits is not written down"),
        ('fuse = "15 A"\nfuse_distance = "1.5 m"\n', "main: its fuse sits 1.5 m along"),
        ('fuse = "15 A"\nfuse_distance = "0.2 m"\n', ""),
    ],
)
def test_no_paper_of_a_plan_without_a_fuse_at_the_source_end(fuse: str, reason: str) -> None:
    build = cw.loads(plain_text() + FEED + fuse).build(PLAN)
    reasons = reasons_against(Answers(build))
    assert len(reasons) == bool(reason)
    assert all(told.startswith(reason) for told in reasons)


def test_an_impact_sensor_stops_no_plan() -> None:
    job = demo('door_sensor = "none"', 'door_sensor = "impact"')
    assert reasons_against(Answers(job.build(PLAN))) == ()


def test_no_paper_of_a_plan_that_does_not_go_in() -> None:
    with pytest.raises(cw.PlanRefusedError) as refused:
        papers(demo().build("larger-fronts"))
    # Both doors are alike, so it is said once.
    (reason,) = refused.value.reasons
    assert reason.startswith("door-fl, door-fr: It meets the glass")
    # 13 mm or more are wanted under it behind, 2.4 mm allowed in front: 62 - 13 mm is deep enough.
    assert "13 mm shallower (49 mm deep at most)" in reason
    assert str(refused.value).count("larger-fronts: no papers: ") == 1


def test_the_vehicle_as_found_is_no_plan() -> None:
    job = demo('door_sensor = "none"', 'door_sensor = "unknown"')
    assert reasons_against(Answers(job.build())) == ()


# --- What is asked for ----------------------------------------------------------------------------


def test_what_there_is_not_is_named() -> None:
    build = demo().build(PLAN)
    with pytest.raises(cw.BadInputError, match='paper: found "A5"; allowed: A4, Letter'):
        papers(build, paper="A5")
    with pytest.raises(cw.BadInputError, match=r'only: found "sheets"; allowed: .*sheet'):
        papers(build, only="sheets")


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    taken = tmp_path / "papers"
    taken.write_text("in the way")
    with pytest.raises(cw.BadInputError, match=r"papers: cannot be written \("):
        cw.make(demo().build(PLAN), taken, only="sheet")


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        (None, None),
        ("", None),
        ("97.0", (97.0, 97.0)),
        (97.0, (97.0, 97.0)),
        ("97.0, 97.4", (97.0, 97.4)),
        ("99.5,100", (99.5, 100.0)),
        ("97 mm", (97.0, 97.0)),
    ],
)
def test_printed_bars_are_read(text: str | float | None, bars: tuple[float, float] | None) -> None:
    assert measured_bars(text) == bars


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("97.0,97.6", "may differ by 0.5 mm"),
        ("9.7", "allowed: a length from 85 to 115 mm"),
        ("long", 'found "long"'),
        ("nan", 'found "nan"'),
        ("97,97,97", "or two with a comma between them"),
        ("97,0", "one length in mm with a decimal point, such as 97.0"),
    ],
)
def test_bars_that_help_nobody_are_refused(text: str, words: str) -> None:
    with pytest.raises(cw.BadInputError, match=words):
        measured_bars(text)


# --- A folder that holds papers already --------------------------------------------------------


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_another_plan_takes_the_place_of_the_one_before(tmp_path: Path) -> None:
    cw.make(demo().build(PLAN), tmp_path, only="templates")
    (tmp_path / "own.txt").write_text("mine", encoding="utf-8")
    ring = tmp_path / "door-fl-sealing-ring.svg"
    ring.write_text("drawn on", encoding="utf-8")
    manifest = cw.make(demo().build("put-right"), tmp_path, only="wiring")
    assert {entry.name for entry in manifest.files} == {"wiring.pdf", "flags.pdf"}
    # What somebody wrote or changed stays; what was only made goes.
    kept = {"own.txt", ring.name}
    assert names_in(tmp_path) == {"wiring.pdf", "flags.pdf", MANIFEST} | kept


def test_one_kind_after_another_adds_up(tmp_path: Path) -> None:
    build = demo().build(PLAN)
    first = cw.make(build, tmp_path, only="wiring")
    both = cw.make(build, tmp_path, only="parts")
    assert set(both.files) > set(first.files)
    assert names_in(tmp_path) == {entry.name for entry in both.files} | {MANIFEST}
    again = cw.make(build, tmp_path, only="wiring")
    assert again.files == both.files
    letter = cw.make(build, tmp_path, only="parts", paper="Letter")
    assert {entry.name for entry in letter.files} == {"parts.pdf", "parts.csv"}
    assert names_in(tmp_path) == {"parts.pdf", "parts.csv", MANIFEST}


def test_a_manifest_of_something_else_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / MANIFEST).write_text('{"name": "a page"}', encoding="utf-8")
    with pytest.raises(cw.BadInputError, match="choose another folder"):
        cw.make(demo().build(PLAN), tmp_path, only="parts")
    assert names_in(tmp_path) == {MANIFEST}


def test_a_manifest_cannot_name_files_elsewhere(tmp_path: Path) -> None:
    outside = tmp_path / "parts.csv"
    outside.write_bytes(b"mine")
    folder = tmp_path / "papers"
    manifest = cw.make(demo().build(PLAN), folder, only="parts")
    entry = manifest.files[0].model_copy(
        update={"name": "../parts.csv", "sha256": sha256(b"mine").hexdigest()}
    )
    forged = manifest.model_copy(update={"files": (*manifest.files, entry)})
    (folder / MANIFEST).write_text(forged.to_json(), encoding="utf-8")
    cw.make(demo().build(PLAN), folder, only="wiring", paper="Letter")
    assert outside.read_bytes() == b"mine"
