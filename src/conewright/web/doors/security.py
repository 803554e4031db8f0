"""Who may ask, and how much: the doors that every request passes before anything answers it.

Each is a plain ASGI application around the next one. A request is refused for the name it calls
the server by (a foreign name that was pointed at this machine), for the page it comes from (a
form on somebody else's page), for its headers, and for a body that is too large or too slow. The
body is read whole before anything looks at it: no code behind the door meets half a request.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from conewright.web.base.errors import Refusal, answer, wants_page
from conewright.web.base.headers import SECURE
from conewright.web.base.settings import Settings

__all__ = [
    "CLOSE",
    "BodyDoor",
    "HeadAnswers",
    "HeaderDoor",
    "OriginDoor",
    "SecureAnswers",
    "refuse",
    "replay",
]

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
LISTS = "/parts/import"
"""Address that takes lists of parts."""
CLOSE = {"Connection": "close"}
"""Goes with a refusal that leaves part of the request unread."""


async def refuse(refusal: Refusal, scope: Scope, receive: Receive, send: Send) -> None:
    """Answer a request with a refusal, in the shape that whoever asks can read."""
    page = wants_page(path=scope["path"], accept=Headers(scope=scope).get("accept", ""))
    await answer(refusal, page=page)(scope, receive, send)


class SecureAnswers:
    """Adds the headers that go with every answer, where the answer does not say otherwise."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; sockets are refused, there are none here."""
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
            return
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_secured(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURE.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, send_secured)


class HeadAnswers:
    """Answers HEAD as GET, without the body (RFC 9110 section 9.3.2)."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def send_head(message: Message) -> None:
            bare = {"body": b""} if message["type"] == "http.response.body" else {}
            await send({**message, **bare})

        await self.app({**scope, "method": "GET"}, receive, send_head)


class _Door:
    """A door in front of an app: `check` raises a Refusal for what must not pass."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "http":
            try:
                self.check(scope, Headers(scope=scope))
            except Refusal as refusal:
                refusal.headers |= CLOSE
                await refuse(refusal, scope, receive, send)
                return
        await self.app(scope, receive, send)

    def check(self, scope: Scope, headers: Headers) -> None:
        """Raise Refusal for a request that must not pass."""
        raise NotImplementedError


class HeaderDoor(_Door):
    """Refuses a request whose head is too large to be meant well."""

    def check(self, scope: Scope, headers: Headers) -> None:
        """Raise Refusal for too many headers, or an address or headers that are too long."""
        allowed = self.settings
        target = len(scope.get("raw_path") or b"") + len(scope.get("query_string") or b"")
        if target > allowed.longest_target:
            raise Refusal(414, f"An address has at most {allowed.longest_target} characters.")
        size = sum(len(name) + len(value) for name, value in headers.raw)
        if len(headers.raw) > allowed.most_headers or size > allowed.largest_headers:
            raise Refusal(
                431,
                f"A request has at most {allowed.most_headers} headers of together "
                f"{allowed.largest_headers} bytes.",
            )


class OriginDoor(_Door):
    """Lets in only who means this server, and came from its own pages or from no page at all."""

    def check(self, scope: Scope, headers: Headers) -> None:
        """Raise Refusal for a foreign name of this server, or a request from a foreign page."""
        scheme = scope.get("scheme", "http")
        authorities = self.settings.authorities(scheme)
        named = headers.getlist("host")
        if len(named) != 1 or named[0].lower() not in authorities:
            raise Refusal(421, f"This server is called {' or '.join(sorted(authorities))}.")
        origins = {f"{scheme}://{named[0].lower()}"}
        if scope["method"] in SAFE:
            _check_reading(headers)
        else:
            _check_writing(headers, origins)


def _check_reading(headers: Headers) -> None:
    """Refuse what another page loads into itself; following a link from there is fine."""
    foreign = headers.get("sec-fetch-site") in {"cross-site", "same-site"}
    if foreign and headers.get("sec-fetch-mode") != "navigate":
        raise Refusal(403, "Another page asked for this; open it here instead.")


def _check_writing(headers: Headers, origins: Iterable[str]) -> None:
    """Refuse a change that another page asks for.

    A browser says where a form comes from, a program says nothing. A request with a cookie is a
    browser's, and must say it.
    """
    site, origin = headers.getlist("sec-fetch-site"), headers.getlist("origin")
    if set(site) - {"same-origin", "none"} or any(each.lower() not in origins for each in origin):
        raise Refusal(403, "Another page asked for this change; make it here instead.")
    if "cookie" in headers and not site and not origin:
        raise Refusal(403, "A browser that sends a cookie must say which page it comes from.")


class BodyDoor:
    """Reads the body of a request before anything else does, up to a size and for a time."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with its whole body, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        allowed = self.settings
        most, seconds = allowed.largest_body, allowed.body_seconds
        told = f"A body has at most {most} bytes."
        if scope["method"] == "POST" and scope["path"] == LISTS:
            most = allowed.largest_list
            seconds += most / allowed.slowest_upload
            told = (
                f"A list that is sent here has at most {most // 1_000_000} MB. Divide it, or bring "
                "it in on that computer: conewright parts --import FILE"
            )
        try:
            _check_length(Headers(scope=scope), most, told)
            async with asyncio.timeout(seconds):
                body = await _read(receive, most, told)
        except Refusal as refusal:
            refusal.headers |= CLOSE
            await refuse(refusal, scope, receive, send)
        except TimeoutError:
            slow = Refusal(408, f"A request must arrive within {seconds:g} s.", headers=CLOSE)
            await refuse(slow, scope, receive, send)
        else:
            if body is not None:
                await self.app(scope, replay(body, receive), send)


def _check_length(headers: Headers, most: int, told: str) -> None:
    """Raise Refusal for a body that says of itself that it is too large."""
    lengths = headers.getlist("content-length")
    if any(not length.isascii() or not length.isdigit() for length in lengths):
        raise Refusal(400, "The length of a body is a whole number.")
    if any(len(length) > 12 or int(length) > most for length in lengths):
        raise Refusal(413, told)


async def _read(receive: Receive, most: int, told: str) -> bytes | None:
    """Return the body, None where whoever sent it went away; a length may have been a lie."""
    chunks: list[bytes] = []
    size = 0
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return None
        chunk = message.get("body", b"")
        size += len(chunk)
        if size > most:
            raise Refusal(413, told)
        chunks.append(chunk)
        if not message.get("more_body", False):
            return b"".join(chunks)


def replay(body: bytes, receive: Receive) -> Receive:
    """Return a channel that gives the body once, then whatever else happens."""
    given = False

    async def replay() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replay
