"""Whatever is written is whole or not there, and what somebody was told is written stays."""

import errno
import os
import resource
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from commands import run, starter_in
from writers import NAMES, add_lines, add_readings, make_files, told_by_three

import conewright as cw
from conewright.cli.entry import BAD_INPUT
from conewright.job.text.parsing import load
from conewright.store import Store
from conewright.web.doors.certificate import certificate_in
from conewright.whole_file import write_instead, write_new, write_whole

MINE = b"# what was there\n"


def _held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


# --- Full disks -------------------------------------------------------------------------------


@contextmanager
def _full_after(monkeypatch: pytest.MonkeyPatch, files: int) -> Iterator[None]:
    """Let the disk be full after so many files: what is beyond them does not get there."""
    left = [files]
    to_disk = os.fsync

    def sync(handle: int) -> None:
        if stat.S_ISREG(os.fstat(handle).st_mode):
            left[0] -= 1
            if left[0] < 0:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        to_disk(handle)

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", sync)
        yield


@pytest.mark.parametrize("full_after", [0, 1])
def test_a_full_disk_leaves_every_file_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, full_after: int
) -> None:
    files = {tmp_path / name: name.encode() for name in ("a", "b")}
    write_whole(dict.fromkeys(files, MINE))
    with (
        _full_after(monkeypatch, full_after),
        pytest.raises(cw.BadInputError, match=r"cannot be written \(No space left on device\)"),
    ):
        write_whole(files)
    assert _held(tmp_path) == {"a": MINE, "b": MINE}
    write_whole(files)
    assert _held(tmp_path) == {"a": b"a", "b": b"b"}


def _forced(folder: Path) -> tuple[object, ...]:
    return ("new", folder / "van.toml", "--force")


def _tables(folder: Path) -> tuple[object, ...]:
    return ("new", folder, "--tables", "--force")


def _picture(folder: Path) -> tuple[object, ...]:
    return ("fit", folder / "van.toml", "--picture", folder / "fit.png")


def _papers(folder: Path) -> tuple[object, ...]:
    return (
        "make",
        folder / "van.toml",
        "--proposal",
        "put-right",
        "--only",
        "parts",
        "--out",
        folder,
    )


@pytest.mark.parametrize("command", [_forced, _tables, _picture, _papers])
def test_no_command_leaves_half_a_file_on_a_full_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: Callable[[Path], tuple[object, ...]]
) -> None:
    (tmp_path / "van.toml").write_text(cw.demo_text(), encoding="utf-8")
    words = command(tmp_path)
    assert run(*words).code == 0
    changed = {
        path.name: path.read_bytes() if path.name == "van.toml" else MINE
        for path in tmp_path.iterdir()
        if path.name != "manifest.json"
    }
    for name, content in changed.items():
        (tmp_path / name).write_bytes(content)
    before = _held(tmp_path)
    with _full_after(monkeypatch, 0):
        done = run(*words)
    assert done.code == BAD_INPUT
    assert "cannot be written (No space left on device)" in " ".join(done.err.split())
    assert _held(tmp_path) == before


def test_an_export_on_a_full_disk_is_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{tmp_path / 'jobs.sqlite'}")
    with Store.open() as store:
        name = store.create(cw.starter_text(), who="Ann").job_id
    out = tmp_path / "out"
    out.mkdir()
    with _full_after(monkeypatch, 0):
        assert run("jobs", "--export", name, out / "van.json").code == BAD_INPUT
    assert _held(out) == {}
    assert run("jobs", "--export", name, out / "van.json").code == 0
    assert load(out / "van.json") == cw.loads(cw.starter_text())


def test_a_certificate_on_a_full_disk_leaves_the_pair_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = certificate_in(tmp_path, ["one.local"])
    before = _held(tmp_path)
    for full_after in (0, 1):
        with (
            _full_after(monkeypatch, full_after),
            pytest.raises(cw.BadInputError, match="No space"),
        ):
            certificate_in(tmp_path, ["another.local"])
        assert _held(tmp_path) == before
    assert certificate_in(tmp_path, ["one.local"]) == held


def test_a_limit_that_the_system_sets_is_met_in_the_same_way(tmp_path: Path) -> None:
    van = starter_in(tmp_path)
    van.write_bytes(MINE)
    done = subprocess.run(
        [sys.executable, "-m", "conewright", "new", str(van), "--force"],
        capture_output=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000)),
    )
    assert done.returncode == BAD_INPUT
    assert b"cannot be written (File too large)" in b" ".join(done.stderr.split())
    assert _held(tmp_path) == {"van.toml": MINE}


# --- Several at once --------------------------------------------------------------------------


def test_three_who_write_readings_into_one_job_lose_none(tmp_path: Path) -> None:
    van = starter_in(tmp_path)
    before = load(van).readings
    # A job holds 200 readings at most.
    told = told_by_three(add_readings, van, 60)
    found = [reading.value for reading in load(van).readings[len(before) :]]
    assert len(told) == 180
    assert sorted(map(str, found)) == sorted(told)
    assert os.listdir(tmp_path) == ["van.toml"]


def test_three_who_add_to_one_file_lose_nothing(tmp_path: Path) -> None:
    file = tmp_path / "lines"
    file.touch()
    told = told_by_three(add_lines, file, 200)
    assert len(told) == 600
    assert sorted(file.read_text().split()) == sorted(told)
    assert os.listdir(tmp_path) == ["lines"]


def test_of_three_who_make_one_file_one_does(tmp_path: Path) -> None:
    told = told_by_three(make_files, tmp_path, 200)
    assert sorted(told) == sorted(f"{path.name}-{path.read_text()}" for path in tmp_path.iterdir())
    assert len(told) == 200
    assert {each.partition("-")[2] for each in told} <= set(NAMES)


# --- What stays -------------------------------------------------------------------------------


def test_one_file_of_several_that_is_there_keeps_all_from_being_written(tmp_path: Path) -> None:
    (tmp_path / "b").write_bytes(MINE)
    with pytest.raises(cw.BadInputError, match="b: found a file of that name"):
        write_new({tmp_path / name: b"" for name in "abc"})
    assert _held(tmp_path) == {"b": MINE}


def test_a_link_that_leads_nowhere_is_not_followed_by_what_is_new(tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "link")
    with pytest.raises(cw.BadInputError):
        write_new({link: b""})
    assert link.is_symlink()


def test_who_may_use_a_new_file_is_as_for_any_other(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        write_new({tmp_path / "new": b""})
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o640
    (tmp_path / "new").chmod(0o604)
    write_whole({tmp_path / "new": MINE})
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o604
    write_whole({tmp_path / "new": MINE}, private=True)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o600


def test_a_protected_file_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "van.toml"
    file.write_bytes(MINE)
    # Permissions do not bind whoever is root, as tests may be.
    monkeypatch.setattr(os, "access", lambda _path, mode: mode != os.W_OK)
    with pytest.raises(cw.BadInputError, match=r"cannot be written \(Permission denied\)"):
        write_whole({file: b""})
    with pytest.raises(cw.BadInputError, match=r"cannot be written \(Permission denied\)"):
        write_instead(file, b"", of=MINE)
    assert _held(tmp_path) == {"van.toml": MINE}
