"""What an upload holds: fields, and files, taken apart on the disk and never whole in memory."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import IO, TYPE_CHECKING, Any, Final

from fastapi import Request
from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header

from conewright.web.base.errors import Refusal
from conewright.web.desk.listener import File
from conewright.web.doors.uploads import Upload

if TYPE_CHECKING:
    from python_multipart.multipart import MultipartCallbacks

__all__ = ["KIND", "Parcel", "unpack", "upload_of"]

MOST_FILES, MOST_FIELDS, LARGEST_FIELD = 24, 60, 20_000
LONGEST_NAME = 120
CHUNK = 1 << 20

KIND: Final = "multipart/form-data"


@dataclass(frozen=True, slots=True)
class Parcel:
    """The fields and the files of an upload."""

    fields: Mapping[str, str]
    files: tuple[File, ...]


def upload_of(request: Request) -> Upload:
    """Return what the door of uploads wrote to disk."""
    upload: Upload = request.state.upload
    return upload


def unpack(upload: Upload, folder: Path) -> Parcel:
    """Take an upload apart; its files are written into a folder.

    Raises:
        Refusal: it is no form with files, it is cut off, or it holds too much.

    """
    kind, options = parse_options_header(upload.content_type)
    boundary = options.get(b"boundary", b"")
    if kind.decode("latin-1").lower() != KIND or not boundary:
        raise Refusal(415, f"Recordings come as the files of a form, {KIND}.")
    opened = _Opened(folder)
    try:
        parser = MultipartParser(boundary, opened.callbacks())
        with upload.path.open("rb") as body:
            while chunk := body.read(CHUNK):
                parser.write(chunk)
        parser.finalize()
    except FormParserError as error:
        opened.close()
        raise Refusal(400, f"The form cannot be read: {error}") from None
    except OSError as error:
        opened.close()
        raise Refusal(
            503, f"The files cannot be written here: {error.strerror or error}."
        ) from None
    except Refusal:
        opened.close()
        raise
    if not opened.ended:
        opened.close()
        raise Refusal(400, "The form cannot be read: it is cut off.")
    return Parcel(opened.fields, tuple(opened.files))


@dataclass
class _Opened:
    """A form while it is read."""

    folder: Path
    fields: dict[str, str] = field(default_factory=dict)
    files: list[File] = field(default_factory=list)
    ended: bool = False
    _head: bytearray = field(default_factory=bytearray)
    _value: bytearray = field(default_factory=bytearray)
    _headers: dict[bytes, bytes] = field(default_factory=dict)
    _name: str = ""
    _file_name: str | None = None
    _text: bytearray = field(default_factory=bytearray)
    _written: IO[bytes] | None = None
    _size: int = 0
    _hash: Any = None

    def callbacks(self) -> MultipartCallbacks:
        """Return what the parser calls."""
        return {
            "on_part_begin": self._begin,
            "on_header_field": lambda data, start, end: self._head.extend(data[start:end]),
            "on_header_value": lambda data, start, end: self._value.extend(data[start:end]),
            "on_header_end": self._head_ends,
            "on_headers_finished": self._heads_end,
            "on_part_data": self._take,
            "on_part_end": self._part_ends,
            "on_end": self._end,
        }

    def close(self) -> None:
        """Let go of all files, for what is not taken is not left lying about."""
        if self._written is not None:
            self._written.close()
            Path(self._written.name).unlink(missing_ok=True)
        for each in self.files:
            each.path.unlink(missing_ok=True)

    def _begin(self) -> None:
        self._headers = {}
        self._text = bytearray()

    def _head_ends(self) -> None:
        self._headers[bytes(self._head).lower()] = bytes(self._value)
        self._head, self._value = bytearray(), bytearray()

    def _heads_end(self) -> None:
        _, told = parse_options_header(self._headers.get(b"content-disposition", b""))
        self._name = told.get(b"name", b"").decode("utf-8", "replace")
        named = told.get(b"filename")
        self._file_name = None if named is None else named.decode("utf-8", "replace")
        if self._file_name is None:
            return
        if len(self.files) >= MOST_FILES:
            raise Refusal(413, f"At most {MOST_FILES} files come at once.")
        self._written = NamedTemporaryFile(dir=self.folder, prefix="file-", delete=False)  # noqa: SIM115
        self._size, self._hash = 0, sha256()

    def _take(self, data: bytes, start: int, end: int) -> None:
        chunk = data[start:end]
        if self._written is not None:
            self._written.write(chunk)
            self._hash.update(chunk)
            self._size += len(chunk)
            return
        self._text += chunk
        if len(self._text) > LARGEST_FIELD:
            raise Refusal(413, f"A field has at most {LARGEST_FIELD} bytes.")

    def _part_ends(self) -> None:
        if self._written is None:
            text = self._text.decode("utf-8", "replace").replace("\r\n", "\n")
            self.fields[self._name] = text
            if len(self.fields) > MOST_FIELDS:
                raise Refusal(413, f"A form has at most {MOST_FIELDS} fields.")
            return
        path = Path(self._written.name)
        self._written.close()
        self._written = None
        if self._size:
            name = _plain(self._file_name or "")
            self.files.append(File(name, path, self._hash.hexdigest(), self._size))
        else:
            # A form whose file was not chosen sends an empty one.
            path.unlink(missing_ok=True)

    def _end(self) -> None:
        self.ended = True


def _plain(name: str) -> str:
    """Return a file's name without folders and without what cannot be seen."""
    last = name.replace("\\", "/").rpartition("/")[2]
    seen = " ".join("".join(each if each.isprintable() else " " for each in last).split())
    if len(seen) > LONGEST_NAME:
        stem, dot, ending = seen.rpartition(".")
        seen = f"{stem[: LONGEST_NAME - 10]}{dot}{ending[:8]}"[:LONGEST_NAME]
    return seen or "recording"
