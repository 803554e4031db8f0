"""`conewright jobs`, and kept jobs' names in the place of files."""

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from commands import Done, run

from conewright import demo_text, starter_text
from conewright.cli.base.kept import open_job, put_back, read_job, write_reading
from conewright.job.text.readings import with_recording
from conewright.store import Conflict, Store
from conewright.store.recordings import Recordings

DEMO = demo_text()


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep jobs in a file of this test's own, and work in a folder of its own."""
    file = tmp_path / "kept.sqlite"
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{file}")
    monkeypatch.setenv("LOGNAME", "ann")
    folder = tmp_path / "folder"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return file


def _written(name: str, text: str) -> Path:
    file = Path(name)
    file.write_bytes(text.encode())
    return file


def _ok(*words: object) -> str:
    done = run(*words)
    assert (done.code, done.err) == (0, "")
    return done.out


def _refused(*words: object) -> str:
    done = run(*words)
    assert (done.code, done.out) == (2, "")
    assert "Traceback" not in done.err
    return " ".join(done.err.split())


def _unbroken(text: str) -> str:
    """Return a text without blanks and ends of lines, which break a long path anywhere."""
    return "".join(text.split())


def _import_demo() -> None:
    _ok("jobs", "--import", _written("van.toml", DEMO))


# --- In and out ---------------------------------------------------------------------------------


def test_a_job_goes_to_another_workshop_with_its_recordings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sha = Recordings.beside().keep(b"what was heard")
    made = {"id": "take-1", "file": "a.wav", "sha256": sha, "test": "near-field", "at": "door-fl"}
    lost = {**made, "id": "take-2", "sha256": "0" * 64}
    text = with_recording(with_recording(DEMO, "toml", entry=made), "toml", entry=lost)
    _ok("jobs", "--import", _written("van.toml", text))
    assert "Its recordings stay here" in _ok("jobs", "--export", "mobile-library-van", "out.toml")
    assert f"not kept here: take-2 ({'0' * 64})" in " ".join(
        _ok("jobs", "--export", "mobile-library-van", "out.zip").split()
    )
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{tmp_path / 'other' / 'kept.sqlite'}")
    (tmp_path / "other").mkdir()
    _ok("jobs", "--import", "out.zip")
    assert Recordings.beside().read(sha) == b"what was heard"
    assert _ok("jobs", "--export", "mobile-library-van") == text
    _written("broken.zip", "no archive")
    assert "broken.zip: found no archive that can be read" in _refused(
        "jobs", "--import", "broken.zip"
    )


@pytest.mark.parametrize("text", [DEMO, "\ufeff" + starter_text().replace("\n", "\r\n")])
def test_a_job_file_goes_in_and_comes_out_byte_for_byte(place: Path, text: str) -> None:
    said = _ok("jobs", "--import", _written("van.toml", text))
    name = said.split("kept as ")[1].split()[0]
    assert str(place) in _unbroken(said)
    assert f"Next: conewright feed {name}" in said
    words = [sys.executable, "-m", "conewright", "jobs", "--export", name]
    ascii_only = {**os.environ, "PYTHONIOENCODING": "ascii"}
    assert subprocess.run(words, capture_output=True, check=True, env=ascii_only).stdout == (
        text.encode()
    )
    assert "holds" in _ok("jobs", "--export", name, "out.toml")
    assert Path("out.toml").read_bytes() == text.encode()


def test_a_json_job_keeps_every_value() -> None:
    _import_demo()
    _ok("jobs", "--export", "mobile-library-van", "van.json")
    _ok("jobs", "--delete", "mobile-library-van")
    _ok("jobs", "--import", "van.json")
    _ok("jobs", "--export", "mobile-library-van", "again.json")
    van, again = (json.loads(Path(f"{name}.json").read_text("utf-8")) for name in ("van", "again"))
    assert again == van
    assert van["job"]["budget"] == 180


def test_a_file_that_is_no_job_is_refused_with_its_name_and_not_kept() -> None:
    bad = _written("bad.toml", DEMO.replace('"3.4 ohm ± 0.2 ohm"', '"3.4"'))
    assert "bad.toml: driver[budget-130].re: found" in _refused("jobs", "--import", bad)
    assert "bad.json: line 1" in _refused("jobs", "--import", _written("bad.json", "{,}"))
    assert "none.toml: cannot be read" in _refused("jobs", "--import", "none.toml")
    Path("bytes.toml").write_bytes(b"\xff\xfe")
    assert "bytes that are no text (at byte 1)" in _refused("jobs", "--import", "bytes.toml")
    assert _ok("jobs").startswith("No job is in")


def test_an_export_writes_over_nothing() -> None:
    _import_demo()
    assert "a file of that name" in _refused("jobs", "--export", "mobile-library-van", "van.toml")
    said = _refused("jobs", "--export", "mobile-library-van", "van.txt")
    assert "it ends in .toml or .json" in said


# --- Looking ------------------------------------------------------------------------------------


def test_the_list_tells_name_title_who_and_what_is_in_it(place: Path) -> None:
    said = f"No job is in {place}. conewright jobs --import FILE keeps one."
    assert _unbroken(_ok("jobs")) == _unbroken(said)
    _import_demo()
    lines = _ok("jobs").splitlines()
    assert lines[0].startswith("mobile-library-van: Mobile library van: thin bass up front, rear")
    assert "ann: imported from van.toml" in " ".join(lines)
    assert lines[-1] == "  4 channels, 8 locations, 4 readings, 4 proposals"
    assert max(map(len, lines)) <= 80
    assert _ok("jobs", "--search", "LIBRARY roof") == _ok("jobs")
    assert 'holds "camper"' in " ".join(_ok("jobs", "--search", "camper").split())


def test_history_comparison_restoring_and_deleting() -> None:
    _import_demo()
    name = "mobile-library-van"
    with Store.open() as store:
        job_id = store.find_by_name(name)
        assert job_id is not None
        wider = DEMO.replace('"122 mm ± 1 mm"', '"146 mm"')
        store.save(job_id, wider, base=1, who="Ben")
    told = "front left door, front right door: cut-out 122 mm ± 1 mm → 146 mm"
    assert f"Ben: {told}" in " ".join(_ok("jobs", "--history", name).split())
    assert _ok("jobs", "--compare", name, 1, 2) == f"{name}, from revision 1 to 2\n{told}\n"
    assert _ok("jobs", "--compare", name, 2, 2).endswith("nothing changed\n")
    assert "that is revision 3" in _ok("jobs", "--restore", name, 1)
    said = _ok("jobs", "--delete", name)
    assert f"conewright jobs --restore {job_id} 3" in " ".join(said.split())
    assert "No job is in" in _ok("jobs")
    assert job_id in _ok("jobs", "--deleted")
    assert "found no kept job" in _refused("jobs", "--history", name)
    assert "deleted" in _ok("jobs", "--history", job_id)
    _ok("jobs", "--restore", job_id, 3)
    assert _ok("jobs").startswith(f"{name}: ")
    with Store.open() as store:
        assert store.get(job_id).text == DEMO
        assert store.get(job_id).revision == 5


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--history", "a", "--delete", "b"], "found --history and --delete; give one at a time"),
        (["--delete", "b", "--deleted"], "found --delete and --search or --deleted; give one"),
        (["out.toml"], "found out.toml; a FILE goes with --export NAME only"),
        (["--history", "no-such-van"], "no-such-van: found no kept job of that name"),
        (["--compare", "no-such-van", "1", "2"], "no-such-van: found no kept job of that name"),
    ],
)
def test_what_cannot_be_done_is_said(words: list[str], said: str) -> None:
    assert said in _refused("jobs", *words)


def test_a_revision_that_is_not_there_is_named() -> None:
    _import_demo()
    assert "found no revision 9" in _refused("jobs", "--restore", "mobile-library-van", 9)
    assert "found no revision 9" in _refused("jobs", "--compare", "mobile-library-van", 1, 9)


# --- Names in the place of files ----------------------------------------------------------------


@pytest.mark.parametrize("command", ["feed", "hear", "fit", "compare", "find"])
def test_a_kept_jobs_name_goes_where_a_file_goes(command: str) -> None:
    file = _written("van.toml", starter_text())
    _ok("jobs", "--import", file)
    name = _name()
    assert _answer(command, name) == _answer(command, file)


def _name() -> str:
    with Store.open() as store:
        return store.jobs()[0].name


def _answer(*words: object) -> str:
    done = run(*words)
    assert done.code == 0, done.err
    return done.out


def test_check_takes_a_name_too() -> None:
    _import_demo()
    said = _ok("check", "mobile-library-van")
    assert said.startswith("No errors in mobile-library-van (Mobile library van")
    assert "Next: conewright compare mobile-library-van" in said


def test_a_file_of_that_name_comes_first() -> None:
    _import_demo()
    _written("mobile-library-van", DEMO)
    assert "a name without an ending" in _refused("check", "mobile-library-van")


def test_a_name_that_nobody_has_is_said_and_makes_no_store(place: Path) -> None:
    said = _refused("feed", "camper")
    assert "camper: found neither a file nor a kept job of that name" in said
    assert not place.exists()
    _import_demo()
    assert "found neither a file nor a kept job" in _refused("feed", "camper")
    assert "No such file" in _refused("feed", "folder/mobile-library-van.toml")


def test_a_name_that_several_jobs_have_is_refused_with_their_ids() -> None:
    _import_demo()
    _ok("jobs", "--again", "--import", _written("van.toml", DEMO))
    said = _refused("feed", "mobile-library-van")
    with Store.open() as store:
        assert all(job.job_id in said for job in store.jobs())


def test_a_reading_is_written_into_a_kept_job_as_a_revision_and_taken_back() -> None:
    _import_demo()
    name = Path("mobile-library-van")
    before = open_job(name)
    written = write_reading(before, test="mono-bass", at="rear", value="same")
    assert read_job(name).readings[-1].at == "rear"
    stale = before
    with pytest.raises(Conflict, match="yours: reading mono-bass at rear: added: weaker") as caught:
        write_reading(stale, test="mono-bass", at="rear", value="weaker")
    assert caught.value.mine is not None
    back = put_back(written, before)
    assert back.content == before.content == DEMO.encode()
    with Store.open() as store:
        notes = [each.note for each in store.revisions(store.jobs()[0].job_id)]
    assert notes[:2] == [
        "reading mono-bass at rear: taken out: same",
        "reading mono-bass at rear: added: same",
    ]


def test_the_same_file_twice_is_told_and_nothing_is_lost() -> None:
    file = _written("van.toml", DEMO)
    first = _ok("jobs", "--import", file)
    assert "is kept as mobile-library-van in" in " ".join(first.split())
    kept = open_job(Path("mobile-library-van"))
    write_reading(kept, test="mono-bass", at="rear", value="same")
    again = " ".join(_ok("jobs", "--import", file).split())
    assert "kept already, as mobile-library-van, by now at revision 2. Nothing was added." in again
    assert "--import van.toml --again" in again
    with Store.open() as store:
        assert [each.revision for each in store.jobs()] == [2]
    _ok("jobs", "--import", file, "--again")
    with Store.open() as store:
        assert sorted(each.revision for each in store.jobs()) == [1, 2]
    assert "found --again; it goes with --import" in _refused("jobs", "--again")


def test_a_deleted_job_is_no_reason_to_keep_its_file_out() -> None:
    file = _written("van.toml", DEMO)
    _ok("jobs", "--import", file)
    _ok("jobs", "--delete", "mobile-library-van")
    assert "is kept as mobile-library-van in" in " ".join(_ok("jobs", "--import", file).split())


def test_a_dialogue_writes_into_a_kept_job(monkeypatch: pytest.MonkeyPatch) -> None:
    _ok("jobs", "--import", _written("van.toml", DEMO))
    monkeypatch.setattr(sys, "stdin", io.StringIO("more\nskip\nstop\n"))
    done: Done = run("find", "mobile-library-van", "--ask")
    assert done.code == 0
    assert "mobile-library-van: 1 reading written." in " ".join(done.out.split())
    with Store.open() as store:
        assert store.jobs()[0].revision == 2
