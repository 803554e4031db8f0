"""Recordings are kept by what is in them, and go out and come in with their job."""

import io
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from conewright import demo_text
from conewright.errors import BadInputError
from conewright.job.text.readings import with_recording
from conewright.store import NotFound, StoreUnavailable
from conewright.store import recordings as module
from conewright.store.recordings import Recordings, packed, unpacked

SOUND = b"RIFF and the rest of a sound" * 40


def _hash(content: bytes) -> str:
    return sha256(content).hexdigest()


def _job(*hashes: str) -> str:
    text = demo_text()
    for number, sha in enumerate(hashes, start=1):
        entry = {"id": f"take-{number}", "file": "a.wav", "sha256": sha, "test": "near-field"}
        text = with_recording(text, "toml", entry={**entry, "at": "door-fl"})
    return text


def test_a_file_is_kept_once_and_given_back_byte_for_byte(tmp_path: Path) -> None:
    kept = Recordings(tmp_path / "recordings")
    assert kept.keep(SOUND) == kept.keep(SOUND) == _hash(SOUND)
    assert kept.read(_hash(SOUND)) == SOUND
    assert [each.name for each in kept.folder.iterdir()] == [_hash(SOUND)]
    assert (kept.folder / _hash(SOUND)).stat().st_mode & 0o077 == 0


def test_what_is_not_there_or_no_longer_the_same_is_told(tmp_path: Path) -> None:
    kept = Recordings(tmp_path)
    for sha in (_hash(b"other"), "../../etc/passwd", ""):
        with pytest.raises(NotFound):
            kept.read(sha)
    (tmp_path / kept.keep(SOUND)).write_bytes(b"something else")
    with pytest.raises(StoreUnavailable, match="damaged"):
        kept.read(_hash(SOUND))


def test_a_file_on_disk_is_kept_beside_the_one_that_came(tmp_path: Path) -> None:
    kept = Recordings(tmp_path / "recordings")
    came = kept.arriving() / "file-1"
    came.write_bytes(SOUND)
    for _ in range(2):
        kept.keep_file(came, sha=_hash(SOUND))
    assert kept.read(_hash(SOUND)) == came.read_bytes() == SOUND
    names = sorted(each.name for each in kept.folder.iterdir())
    assert names == sorted([_hash(SOUND), "arriving"])
    assert kept.path(_hash(SOUND)).stat().st_mode & 0o077 == 0
    assert kept.arriving().stat().st_mode & 0o077 == 0


def test_a_file_that_cannot_be_kept_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = Recordings(tmp_path / "recordings")
    came = kept.arriving() / "file-1"
    came.write_bytes(SOUND)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module, "copyfile", full)
    with pytest.raises(StoreUnavailable, match="No space left"):
        kept.keep_file(came, sha=_hash(SOUND))
    assert [each.name for each in kept.folder.iterdir()] == ["arriving"]
    came.write_bytes(b"")
    with pytest.raises(BadInputError, match="has 0 bytes"):
        kept.keep_file(came, sha=_hash(b""))


@pytest.mark.parametrize("content", [b"", b"x" * 11])
def test_an_empty_or_too_large_file_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes
) -> None:
    monkeypatch.setattr(module, "LARGEST_RECORDING", 10)
    with pytest.raises(BadInputError, match="allowed: 1 to 10"):
        Recordings(tmp_path).keep(content)
    assert not list(tmp_path.iterdir())


def test_the_folder_is_beside_the_store_or_where_a_variable_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CONEWRIGHT_RECORDINGS", raising=False)
    file = tmp_path / "jobs.sqlite"
    assert Recordings.beside(f"sqlite:///{file}").folder == tmp_path / "recordings"
    assert Recordings.beside("postgresql://somebody@nowhere/jobs").folder.name == "recordings"
    monkeypatch.setenv("CONEWRIGHT_RECORDINGS", str(tmp_path / "sounds"))
    assert Recordings.beside(f"sqlite:///{file}").folder == tmp_path / "sounds"


def test_a_job_goes_out_with_its_recordings_and_comes_in_elsewhere(tmp_path: Path) -> None:
    here, there = Recordings(tmp_path / "here"), Recordings(tmp_path / "there")
    sha, lost = here.keep(SOUND), _hash(b"lost")
    text = _job(sha, lost)
    archive, missing = packed(text, [sha, lost, sha], here)
    assert missing == [lost]
    assert packed(text, [sha, lost], here)[0] == archive
    assert unpacked(archive, there) == text
    assert there.read(sha) == SOUND


def _archive(**files: bytes) -> bytes:
    made = io.BytesIO()
    with ZipFile(made, "w", ZIP_DEFLATED) as zipped:
        for name, content in files.items():
            zipped.writestr(name.replace("__", "/").replace("_toml", ".toml"), content)
    return made.getvalue()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"no archive", "found no archive that can be read"),
        (_archive(other_toml=b""), "an archive without job.toml"),
        (_archive(job_toml=b"\xff"), "a damaged archive"),
        (_archive(job_toml=b"x" * 2_000_000), "found 2000000 bytes; allowed: 1000000"),
        (_archive(job_toml=b"", recordings__abc=b"x"), "its SHA-256 is another than its name"),
        (_archive(job_toml=b"", **{f"f{n}": b"" for n in range(500)}), "found 501 files"),
    ],
    ids=["none", "without", "no-text", "bomb", "misnamed", "many"],
)
def test_an_archive_that_is_none_of_ours_is_told(tmp_path: Path, content: bytes, said: str) -> None:
    with pytest.raises(BadInputError, match=said):
        unpacked(content, Recordings(tmp_path))
    assert not list(tmp_path.iterdir())


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.integers(0, 10_000), to=st.integers(0, 255), cut=st.integers(0, 10_000))
def test_a_damaged_archive_never_ends_otherwise(tmp_path: Path, at: int, to: int, cut: int) -> None:
    here = Recordings(tmp_path / "here")
    archive = bytearray(packed(_job(here.keep(SOUND)), [_hash(SOUND)], here)[0])
    archive[at % len(archive)] = to
    del archive[len(archive) - cut % 300 :]
    with suppress(BadInputError):
        assert unpacked(bytes(archive), Recordings(tmp_path / "there"))
