"""What is too large for memory: uploads of recordings, written to disk while they come.

They have a size, a time and a number of their own. Behind the door a request has no body any more,
but a file, which is gone when it is answered.
"""

from __future__ import annotations

import asyncio
import re
from dataclasses import dataclass
from pathlib import Path
from tempfile import NamedTemporaryFile
from threading import BoundedSemaphore
from typing import IO, TYPE_CHECKING

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from conewright.store.errors import StoreUnavailable
from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings
from conewright.web.doors.security import CLOSE, refuse, replay

if TYPE_CHECKING:
    from conewright.store import Store

__all__ = ["Upload", "UploadDoor"]

PLACES = re.compile(r"/jobs/[^/]+/record|/api/v1/jobs/[^/]+/listen")
"""Addresses that take recordings."""

BATCH = 1 << 20
"""Bytes that are gathered before they are written."""


@dataclass(frozen=True, slots=True)
class Upload:
    """The body of a request as a file, and what kind of body it says it is."""

    path: Path
    content_type: str


class UploadDoor:
    """Writes the body of an upload to disk; every other request passes as it is."""

    def __init__(self, app: ASGIApp, settings: Settings, store: Store) -> None:
        self.app = app
        self.settings = settings
        self.store = store
        self._places = BoundedSemaphore(settings.uploads)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if not _is_upload(scope):
            await self.app(scope, receive, send)
            return
        if not self._places.acquire(blocking=False):
            told = "Other recordings are coming in; send this one again in a moment."
            busy = Refusal(503, told, code="busy", headers={"Retry-After": "10", **CLOSE})
            await refuse(busy, scope, receive, send)
            return
        try:
            await self._let_in(scope, receive, send)
        finally:
            self._places.release()

    async def _let_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        try:
            seconds = self._seconds(headers)
            folder = self.store.recordings.arriving()
        except (Refusal, StoreUnavailable) as error:
            reason = error if isinstance(error, Refusal) else Refusal(503, str(error))
            reason.headers |= CLOSE
            await refuse(reason, scope, receive, send)
            return
        with NamedTemporaryFile(dir=folder, prefix="body-") as file:
            try:
                async with asyncio.timeout(seconds):
                    whole = await self._write(receive, file)
            except Refusal as refusal:
                refusal.headers |= CLOSE
                await refuse(refusal, scope, receive, send)
            except TimeoutError:
                told = f"These recordings must arrive within {seconds:.0f} s."
                await refuse(Refusal(408, told, headers=CLOSE), scope, receive, send)
            except OSError as error:
                told = f"The recordings cannot be written here: {error.strerror or error}."
                await refuse(Refusal(503, told, headers=CLOSE), scope, receive, send)
            else:
                if whole:
                    upload = Upload(Path(file.name), headers.get("content-type", ""))
                    await self.app(_without_body(scope, upload), replay(b"", receive), send)

    def _seconds(self, headers: Headers) -> float:
        """Return what a body may take to arrive; raises Refusal for one that is too large."""
        allowed = self.settings
        length = allowed.largest_upload
        for told in headers.getlist("content-length"):
            if not told.isascii() or not told.isdigit():
                raise Refusal(400, "The length of a body is a whole number.")
            if len(told) > 12 or int(told) > allowed.largest_upload:
                raise self._too_large()
            length = int(told)
        return allowed.body_seconds + length / allowed.slowest_upload

    async def _write(self, receive: Receive, file: IO[bytes]) -> bool:
        """Write the body; return whether all of it came."""
        size, batch = 0, bytearray()
        while True:
            message: Message = await receive()
            if message["type"] == "http.disconnect":
                return False
            chunk = message.get("body", b"")
            size += len(chunk)
            if size > self.settings.largest_upload:
                raise self._too_large()
            batch += chunk
            last = not message.get("more_body", False)
            if last or len(batch) >= BATCH:
                # A disk may be slow, for which nobody else should wait.
                await asyncio.to_thread(file.write, bytes(batch))
                batch.clear()
            if last:
                await asyncio.to_thread(file.flush)
                return True

    def _too_large(self) -> Refusal:
        most = self.settings.largest_upload // 1_000_000
        return Refusal(413, f"Recordings that are sent at once have at most {most} MB together.")


def _is_upload(scope: Scope) -> bool:
    if scope["type"] != "http" or scope["method"] != "POST":
        return False
    return PLACES.fullmatch(scope["path"]) is not None


def _without_body(scope: Scope, upload: Upload) -> Scope:
    """Return a request whose body has been taken out of it."""
    about_body = (b"content-length", b"transfer-encoding")
    headers = [(name, value) for name, value in scope["headers"] if name.lower() not in about_body]
    state = {**scope.get("state", {}), "upload": upload}
    return {**scope, "headers": headers, "state": state}
