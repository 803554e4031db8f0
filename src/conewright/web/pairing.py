"""Letting devices of the local network in: one code for one device, then a cookie.

A code is shown where the server runs, holds for ten minutes and lets one device in. Wrong guesses
are counted whoever makes them: a few of them burn the code and close the door for a while, longer
each time. A device that was let in gets a token in a cookie; the store keeps only its hash, and
is asked at every request, so that a device that is sent away is out at once, and so is one that
did not come for 90 days or was paired a year ago. A device that was not let in sees the page that
asks for the code, and nothing else.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from hmac import compare_digest
from http.cookies import CookieError, SimpleCookie
from threading import Lock
from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from conewright.phrases import counted
from conewright.store import LONGEST_PAIRED, LONGEST_UNUSED, Device, Store, StoreUnavailable
from conewright.web.base.errors import Refusal, wants_page
from conewright.web.doors.security import CLOSE, refuse
from conewright.web.doors.who import device_of
from conewright.web.frame.page import render

__all__ = ["ALPHABET", "COOKIE", "Invitation", "PairedDoor", "Pairing", "router"]

COOKIE = "__Host-conewright"
ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
"""Without the letters and digits that are taken for each other."""
LENGTH = 8
CODE_SECONDS = 600.0
GUESSES = 5
LOCK_SECONDS, LONGEST_LOCK = 60.0, 3600.0
OPEN = {("GET", "/pair"), ("POST", "/pair"), ("GET", "/static/style.css")}
"""What a device sees before it is let in."""


@dataclass(frozen=True, slots=True)
class Invitation:
    """A code and the moment until which it holds, on the clock of its maker."""

    code: str
    until: float

    @property
    def shown(self) -> str:
        """The code as it is read aloud: ABCD-EFGH."""
        return f"{self.code[: LENGTH // 2]}-{self.code[LENGTH // 2 :]}"


class Pairing:
    """The code that lets a device in, and the patience with wrong ones."""

    def __init__(
        self,
        store: Store,
        *,
        invite: Callable[[Invitation], None],
        say: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._store = store
        self._invite = invite
        self._say = say
        self._clock = clock
        self._lock = Lock()
        self._invitation: Invitation | None = None
        self._wrong = 0
        self._lock_seconds = LOCK_SECONDS
        self._locked_until = float("-inf")

    def open(self) -> None:
        """See that there is a code that holds; a new one is shown where the server runs.

        Raises:
            Refusal: the door is closed after wrong guesses.

        """
        with self._lock:
            self._check_lock()
            self._fresh()

    def pair(self, typed: str, name: str) -> str:
        """Let a device in that knows the code; returns the token for its cookie.

        Raises:
            Refusal: the code is wrong, or the door is closed after wrong guesses.

        """
        with self._lock:
            self._check_lock()
            invitation = self._fresh()
            guess = "".join(letter for letter in typed.upper() if letter.isalnum())
            if not compare_digest(guess.encode(), invitation.code.encode()):
                raise self._wrong_guess()
            self._invitation = None
            self._wrong, self._lock_seconds = 0, LOCK_SECONDS
        token = secrets.token_urlsafe(32)
        device = self._store.add_device(name, token_hash(token))
        self._say(f"{device.name} is paired.")
        return token

    def _fresh(self) -> Invitation:
        invitation = self._invitation
        if invitation is None or self._clock() >= invitation.until:
            code = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
            invitation = self._invitation = Invitation(code, self._clock() + CODE_SECONDS)
            self._invite(invitation)
        return invitation

    def _check_lock(self) -> None:
        left = self._locked_until - self._clock()
        if left > 0:
            raise Refusal(
                429,
                f"Too many wrong codes. Pairing is open again in {_minutes(left)}; "
                "devices that are paired work on.",
                headers={"Retry-After": str(int(left) + 1)},
            )

    def _wrong_guess(self) -> Refusal:
        self._wrong += 1
        if self._wrong < GUESSES:
            return Refusal(403, "This is not the code that the server shows.", code="wrong-code")
        self._invitation = None
        self._wrong = 0
        self._locked_until = self._clock() + self._lock_seconds
        self._say(f"{GUESSES} wrong codes: pairing is closed for {_minutes(self._lock_seconds)}.")
        self._lock_seconds = min(2 * self._lock_seconds, LONGEST_LOCK)
        return Refusal(403, "This was one wrong code too many.", code="wrong-code")


class PairedDoor:
    """Lets in only devices that are paired, and shows others the page that asks for the code."""

    def __init__(self, app: ASGIApp, store: Store) -> None:
        self.app = app
        self.store = store

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a paired device's request on under its name; refuse any other's."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        device = await run_in_threadpool(_device, self.store, headers)
        if device is not None:
            scope.setdefault("state", {})["device"] = device.name
        elif (scope["method"], scope["path"]) not in OPEN:
            await _send_away(scope, headers, receive, send)
            return
        await self.app(scope, receive, send)


def token_hash(token: str) -> str:
    """Return what the store keeps of a token."""
    return sha256(token.encode()).hexdigest()


def _device(store: Store, headers: Headers) -> Device | None:
    """Return the paired device that a request comes from; None for any other."""
    try:
        cookies = SimpleCookie("; ".join(headers.getlist("cookie")))
    except CookieError:
        return None
    token = cookies[COOKIE].value if COOKIE in cookies else ""
    device = store.device_by_token_hash(token_hash(token)) if token else None
    if device is not None:
        # Whoever cannot be noted just now is noted at the next request.
        with suppress(StoreUnavailable):
            store.note_use(device)
    return device


async def _send_away(scope: Scope, headers: Headers, receive: Receive, send: Send) -> None:
    page = wants_page(path=scope["path"], accept=headers.get("accept", ""))
    if page and scope["method"] == "GET":
        await RedirectResponse("/pair", 303, CLOSE)(scope, receive, send)
        return
    refusal = Refusal(401, "This device is not paired; open /pair in its browser.", headers=CLOSE)
    refusal.headers["WWW-Authenticate"] = 'Cookie realm="conewright"'
    await refuse(refusal, scope, receive, send)


def _minutes(seconds: float) -> str:
    return counted(max(1, round(seconds / 60.0)), "minute")


# --- Pages --------------------------------------------------------------------------------------

router = APIRouter()


def _pairing(request: Request) -> Pairing | None:
    pairing: Pairing | None = request.app.state.pairing
    return pairing


@router.get("/pair", response_class=Response)
def ask_for_code(request: Request, code: Annotated[str, Query(max_length=40)] = "") -> Response:
    """Show the form that asks for the code; a code from a QR stands in it already."""
    pairing = _pairing(request)
    if pairing is None or device_of(request):
        return RedirectResponse("/devices", 303)
    try:
        pairing.open()
    except Refusal as refusal:
        return _asking(request, code="", refusal=refusal)
    return _asking(request, code=code, refusal=None)


@router.post("/pair", response_class=Response)
def take_code(
    request: Request,
    code: Annotated[str, Form(max_length=40)] = "",
    name: Annotated[str, Form(max_length=60)] = "",
) -> Response:
    """Let a device in that knows the code."""
    pairing = _pairing(request)
    # Paired twice, a device that is sent away would still be in.
    if pairing is None or device_of(request):
        return RedirectResponse("/devices", 303)
    try:
        token = pairing.pair(code, name)
    except Refusal as refusal:
        return _asking(request, code="", refusal=refusal, name=name)
    response = RedirectResponse("/jobs", 303)
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(LONGEST_PAIRED.total_seconds()),
        secure=True,
        httponly=True,
        samesite="strict",
    )
    return response


@router.get("/devices", response_class=Response)
def list_devices(request: Request) -> Response:
    """Show every device that was ever let in."""
    store: Store = request.app.state.store
    return render(
        request,
        "devices.html",
        devices=store.devices(),
        now=datetime.now(UTC),
        unused=LONGEST_UNUSED.days,
        paired=LONGEST_PAIRED.days,
    )


@router.post("/devices/{device_id}/revoke", response_class=Response)
def revoke_device(
    request: Request, device_id: Annotated[int, Path(ge=1, le=2**31 - 1)]
) -> Response:
    """Let a device in no longer."""
    store: Store = request.app.state.store
    store.revoke_device(device_id)
    return RedirectResponse("/devices", 303)


def _asking(request: Request, *, code: str, refusal: Refusal | None, name: str = "") -> Response:
    response = render(
        request,
        "pair.html",
        status=refusal.status if refusal else 200,
        code=code,
        name=name,
        message=refusal.message if refusal else "",
    )
    response.headers.update(refusal.headers if refusal else {})
    return response
