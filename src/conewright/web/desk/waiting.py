"""Places for those who wait for an answer, and a door behind which nobody waits in a thread.

Pages and the API ask for answers in threads, and threads are few. Where an answer is not there yet,
`NotYet` leaves the thread and goes up to the door, which waits in the loop of the server and then
lets the request in once more, from its beginning: what it asks for is there by then. So whoever
asks for an answer does it before anything is changed.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Hashable, Iterable, Iterator
from concurrent.futures import Future
from contextlib import ExitStack, contextmanager, suppress
from contextvars import ContextVar
from threading import BoundedSemaphore
from typing import Any, NoReturn, TypeVar

from starlette.types import ASGIApp, Receive, Scope, Send

from conewright.web.base.errors import Refusal
from conewright.web.doors.security import replay

__all__ = ["NotYet", "PatientDoor", "Visit", "WaitingRoom", "busy", "once", "together", "visit_now"]

Found = TypeVar("Found")


def busy(told: str) -> Refusal:
    """Return what is said to somebody who may ask again in a moment."""
    return Refusal(503, told, code="busy", headers={"Retry-After": "5"})


class WaitingRoom:
    """As many places as may be taken at once; whoever finds none is sent away at once."""

    def __init__(self, places: int) -> None:
        self._free = BoundedSemaphore(places)

    @contextmanager
    def place(self) -> Iterator[None]:
        """Hold a place; raises Refusal when all are taken."""
        if not self._free.acquire(blocking=False):
            raise busy("Too many answers are being worked out; ask again in a moment.")
        try:
            yield
        finally:
            self._free.release()


class NotYet(Exception):
    """What is asked for is still being made; holds what to wait for."""

    def __init__(self, futures: Iterable[Future[Any]]) -> None:
        super().__init__()
        self.futures = tuple(futures)


class Visit:
    """A request on its way through the door: its place, and all that it ever waited for.

    What it waited for it finds again, though it may have been an error, which nobody keeps, or
    have made room for other answers since.
    """

    def __init__(self) -> None:
        self._awaited: dict[Hashable, Future[Any]] = {}
        self._made: dict[Hashable, Future[Any]] = {}
        self._leaving = ExitStack()
        self._seated = False
        self.sent_away = False
        """Whether it found no place, so that what it shows tells nothing of anybody else's."""

    def sit(self, room: WaitingRoom) -> None:
        """Hold one place until the end, however much is waited for; raises Refusal for none."""
        if self._seated:
            return
        try:
            self._leaving.enter_context(room.place())
        except Refusal:
            self.sent_away = True
            raise
        self._seated = True

    def given(self, key: Hashable) -> Future[Any] | None:
        """Return what it waited for and has got; None for all else."""
        future = self._awaited.get(key)
        return future if future is not None and _is_told(future) else None

    def wait(self, key: Hashable, future: Future[Any], leave: Callable[[], None]) -> NoReturn:
        """Come again when a future is done; `leave` is called at the end of the visit."""
        self._awaited[key] = future
        self._leaving.callback(leave)
        raise NotYet([future])

    def once(self, key: Hashable, make: Callable[[], Found]) -> Found:
        """Return what is made for this request alone, made when it is first let in."""
        if key not in self._made:
            made: Future[Found] = Future()
            try:
                made.set_result(make())
            except Exception as error:
                made.set_exception(error)
            self._made[key] = made
        found: Found = self._made[key].result()
        return found

    def end(self) -> None:
        """Give the place back, and tell whoever worked for this visit alone."""
        self._leaving.close()


_visit: ContextVar[Visit | None] = ContextVar("visit", default=None)


def visit_now() -> Visit | None:
    """Return the request that asks; None where nobody stands behind the door, as in a test."""
    return _visit.get()


def once(key: Hashable, make: Callable[[], Found]) -> Found:
    """Return what is made once for a request, though it be let in again; what it raises too.

    Args:
        key: tells it from all else that the request has made.
        make: waits for no answer.

    """
    visit = visit_now()
    return make() if visit is None else visit.once(key, make)


def together(asked: Iterable[Callable[[], Found]], *, most: int) -> list[Found]:
    """Return what several calls give; up to `most` answers are waited for at the same time.

    Raises:
        NotYet: some are not there yet.

    """
    found: list[Found] = []
    lacking: list[Future[Any]] = []
    for ask in asked:
        try:
            found.append(ask())
        except NotYet as lack:
            lacking += lack.futures
        if len(lacking) >= most:
            break
    if lacking:
        raise NotYet(lacking)
    return found


# --- The door -----------------------------------------------------------------------------------


class PatientDoor:
    """Waits for answers in the stead of a request, which holds no thread meanwhile."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, again and again until all that it asks for is there."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        # Whole, whatever its size: so the door before this one gives it.
        body = (await receive()).get("body", b"")
        visit = Visit()
        entered = _visit.set(visit)
        try:
            while True:
                fresh = {**scope, "state": dict(scope.get("state", {}))}
                try:
                    await self.app(fresh, replay(body, receive), send)
                except NotYet as lack:
                    if await _come(lack.futures, receive):
                        continue
                return
        finally:
            _visit.reset(entered)
            visit.end()


async def _come(futures: Iterable[Future[Any]], receive: Receive) -> bool:
    """Wait until futures are done; False where whoever asked has gone away before."""
    done = asyncio.ensure_future(_all_done(futures))
    gone = asyncio.ensure_future(_gone(receive))
    try:
        await asyncio.wait([done, gone], return_when=asyncio.FIRST_COMPLETED)
        return done.done()
    finally:
        done.cancel()
        gone.cancel()


async def _all_done(futures: Iterable[Future[Any]]) -> None:
    """Wait for futures without a hold on them: others wait for the same."""
    loop = asyncio.get_running_loop()
    for future in futures:
        there = asyncio.Event()

        def wake(_: Future[Any], there: asyncio.Event = there) -> None:
            # Whose loop has ended waits no more.
            with suppress(RuntimeError):
                loop.call_soon_threadsafe(there.set)

        future.add_done_callback(wake)
        await there.wait()
        if not _is_told(future) and not future.cancelled():
            # A page that somebody else is making waits for the same.
            lack = future.exception()
            assert isinstance(lack, NotYet)
            await _all_done(lack.futures)


async def _gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass


def _is_told(future: Future[Any]) -> bool:
    """Whether a future holds what was asked for, or why there is none."""
    if not future.done() or future.cancelled():
        return False
    return not isinstance(future.exception(), NotYet)
