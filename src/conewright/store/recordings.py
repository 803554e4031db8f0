"""The files of recordings, kept beside the jobs under the SHA-256 of what is in them.

A file never changes: the same bytes are the same recording, whichever jobs tell of it. A job goes
out with its recordings as one ZIP archive and comes in so.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from secrets import token_hex
from shutil import copyfile
from typing import IO, Final, Self
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, LargeZipFile, ZipFile, ZipInfo

from conewright.errors import BadInputError
from conewright.job.document.fields import is_hash
from conewright.job.text.parsing import LARGEST_FILE
from conewright.store.database import store_url
from conewright.store.errors import NotFound, StoreUnavailable
from conewright.whole_file import write_whole

__all__ = ["LARGEST_RECORDING", "Recordings", "pack", "packed", "unpacked"]

VARIABLE: Final = "CONEWRIGHT_RECORDINGS"
"""Names the folder, where it is another than beside the jobs."""

LARGEST_RECORDING: Final = 200_000_000
"""Bytes of one file."""

MOST_PACKED, LARGEST_PACKED = 400, 4_000_000_000
"""Recordings that come in with one job, and their bytes together."""

ARRIVING: Final = "arriving"
"""Folder below it of what comes in and nobody has kept yet."""

JOB, FOLDER = "job.toml", "recordings"
"""What an archive holds: the job's text, and a folder of files called by their SHA-256."""

_DAY_ONE = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class Recordings:
    """A folder of files that are called by their SHA-256."""

    folder: Path

    @classmethod
    def beside(cls, url: str | None = None) -> Self:
        """Return the folder beside the store: that CONEWRIGHT_RECORDINGS names, else one there.

        Args: url: of the store, as `Store.open` takes it.
        """
        if named := os.environ.get(VARIABLE):
            return cls(Path(named))
        address = store_url(url)
        if address.get_backend_name() == "sqlite" and not address.query:
            return cls(Path(address.database or "").absolute().parent / FOLDER)
        from platformdirs import user_data_path

        return cls(user_data_path("conewright", appauthor=False) / FOLDER)

    def keep(self, content: bytes) -> str:
        """Keep a file; return its SHA-256. One that is there already stays as it is.

        Raises:
            BadInputError: it is empty or too large.
            StoreUnavailable: it cannot be written.

        """
        if not 0 < len(content) <= LARGEST_RECORDING:
            raise BadInputError(
                f"a recording has {len(content)} bytes; allowed: 1 to {LARGEST_RECORDING}"
            )
        found = sha256(content).hexdigest()
        path = self.folder / found
        if not path.exists():
            try:
                # Voices may be in there: for the owner's eyes alone.
                self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
                write_whole({path: content}, private=True)
            except (OSError, BadInputError) as error:
                raise StoreUnavailable(f"{path}: the recording cannot be kept: {error}") from error
        return found

    def keep_file(self, path: Path, *, sha: str) -> None:
        """Keep a file that lies on disk, whose SHA-256 is known; raises as `keep`."""
        if not 0 < (size := path.stat().st_size) <= LARGEST_RECORDING:
            raise BadInputError(f"a recording has {size} bytes; allowed: 1 to {LARGEST_RECORDING}")
        kept = self.folder / sha
        if kept.exists():
            return
        aside = self.folder / f".{sha}.{token_hex(4)}"
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            copyfile(path, aside)
            aside.chmod(0o600)
            with aside.open("rb") as written:
                os.fsync(written.fileno())
            aside.replace(kept)
        except OSError as error:
            aside.unlink(missing_ok=True)
            raise StoreUnavailable(f"{kept}: the recording cannot be kept: {error}") from error

    def arriving(self) -> Path:
        """Return the folder of what comes in and is not kept yet; raises StoreUnavailable."""
        folder = self.folder / ARRIVING
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            raise StoreUnavailable(f"{folder}: {error.strerror or error}") from error
        return folder

    def path(self, sha: str) -> Path:
        """Return where a file lies; raises NotFound."""
        if not self.has(sha):
            raise NotFound(f"recording {sha}: it is not kept in {self.folder}")
        return self.folder / sha

    def has(self, sha: str) -> bool:
        """Whether a file of that SHA-256 is kept."""
        return is_hash(sha) and (self.folder / sha).exists()

    def read(self, sha: str) -> bytes:
        """Return the bytes of a file.

        Raises:
            NotFound: there is none of that SHA-256.
            StoreUnavailable: it cannot be read, or something else stands there by now.

        """
        path = self.path(sha)
        try:
            content = path.read_bytes()
        except OSError as error:
            raise StoreUnavailable(f"{path}: {error.strerror or error}") from error
        if sha256(content).hexdigest() != sha:
            raise StoreUnavailable(f"{path}: it is damaged, its SHA-256 is another")
        return content


def packed(text: str, hashes: Iterable[str], recordings: Recordings) -> tuple[bytes, list[str]]:
    """Return a job with its recordings as a ZIP archive, and the SHA-256 of those not kept here.

    Args and errors: as `pack`.
    """
    archive = BytesIO()
    missing = pack(archive, text, hashes, recordings)
    return archive.getvalue(), missing


def pack(archive: IO[bytes], text: str, hashes: Iterable[str], recordings: Recordings) -> list[str]:
    """Write a job with its recordings as a ZIP archive; return the SHA-256 of those not kept here.

    Args:
        archive: where it is written.
        text: of the job.
        hashes: SHA-256 of the recordings it tells of.
        recordings: where they are kept.

    Raises: StoreUnavailable: one cannot be read.
    """
    missing = []
    with ZipFile(archive, "w") as zipped:
        # One date for all, so that the same job gives the same bytes.
        zipped.writestr(ZipInfo(JOB, _DAY_ONE), text, compress_type=ZIP_DEFLATED)
        for sha in dict.fromkeys(hashes):
            if recordings.has(sha):
                entry = ZipInfo(f"{FOLDER}/{sha}", _DAY_ONE)
                zipped.writestr(entry, recordings.read(sha), compress_type=ZIP_STORED)
            else:
                missing.append(sha)
    return missing


def unpacked(content: bytes, recordings: Recordings) -> str:
    """Keep the recordings of an archive that `packed` made; return the text of its job.

    Raises:
        BadInputError: it is no such archive, it holds too much, or a file is not what its name
            says.
        StoreUnavailable: a recording cannot be kept.

    """
    try:
        with ZipFile(BytesIO(content)) as zipped:
            held = {each.filename: each for each in zipped.infolist() if not each.is_dir()}
            _hold_small(held)
            text = zipped.read(held.pop(JOB)).decode()
            sounds = {name: each for name, each in held.items() if name.startswith(f"{FOLDER}/")}
            for name, each in sounds.items():
                sound = zipped.read(each)
                if sha256(sound).hexdigest() != name.removeprefix(f"{FOLDER}/"):
                    raise BadInputError(f"{name}: its SHA-256 is another than its name")
                recordings.keep(sound)
    except KeyError:
        raise BadInputError(f"found an archive without {JOB}; one that was exported is") from None
    except (BadZipFile, LargeZipFile, NotImplementedError, RuntimeError, EOFError) as error:
        raise BadInputError(f"found no archive that can be read ({error})") from None
    except (zlib.error, UnicodeDecodeError, ValueError, OverflowError) as error:
        if isinstance(error, BadInputError):
            raise
        raise BadInputError(f"found a damaged archive ({error})") from None
    return text


def _hold_small(held: dict[str, ZipInfo]) -> None:
    """Raise BadInputError for an archive that would come to more than is allowed."""
    sizes = {name: each.file_size for name, each in held.items()}
    if len(sizes) > MOST_PACKED + 1:
        raise BadInputError(f"found {len(sizes)} files in the archive; allowed: {MOST_PACKED + 1}")
    if sizes.get(JOB, 0) > LARGEST_FILE:
        raise BadInputError(f"{JOB}: found {sizes[JOB]} bytes; allowed: {LARGEST_FILE}")
    for name, size in sizes.items():
        if size > LARGEST_RECORDING:
            raise BadInputError(f"{name}: found {size} bytes; allowed: {LARGEST_RECORDING}")
    if sum(sizes.values()) > LARGEST_PACKED:
        raise BadInputError(
            f"found {sum(sizes.values())} bytes in the archive; allowed: {LARGEST_PACKED}"
        )
