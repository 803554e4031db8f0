"""What was made once and is kept while it is asked for."""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Executor, Future
from functools import partial
from threading import RLock
from typing import Generic, TypeVar

from conewright.web.desk.waiting import NotYet, WaitingRoom, visit_now

__all__ = ["Kept"]

Value = TypeVar("Value")


class Kept(Generic[Value]):
    """Values by key, as many as fit; what was not asked for longest goes first.

    An error is not kept: whoever waits gets it too, whoever asks again may have more luck.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        # Entered again where a future that is given up tells so at once.
        self._lock = RLock()
        self._values: OrderedDict[Hashable, Future[Value]] = OrderedDict()
        self._waiting: Counter[Future[Value]] = Counter()

    def get(
        self, key: Hashable, make: Callable[[], Value], *, room: WaitingRoom | None = None
    ) -> Value:
        """Return the value of a key, made by the first who asks; the others wait for it.

        Args:
            key: of the value.
            make: makes it.
            room: where the others wait; None for what takes no time worth counting.

        Raises:
            Refusal: nobody else may wait just now.
            NotYet: this request is to come again.

        """
        future = self._there(key)
        if future is not None:
            return future.result()
        with self._lock:
            future = self._values.get(key)
            mine = future is None
            if future is None:
                future = self._enter(key, Future())
                future.set_running_or_notify_cancel()
        if mine:
            return _made(future, make)
        if room is not None and not future.done():
            return self._wait(key, room, lambda: future)
        return future.result()

    def work_out(
        self, key: Hashable, make: Callable[[], Value], *, line: Executor, room: WaitingRoom
    ) -> Value:
        """Return the value of a key, made in a line that is nobody's thread; all wait for it.

        What nobody waits for any more before its turn is not made.

        Args:
            key: of the value.
            make: makes it.
            line: where it is made.
            room: where everybody waits.

        Raises:
            Refusal: nobody else may wait just now.
            NotYet: this request is to come again.

        """
        future = self._there(key)
        if future is not None:
            return future.result()

        def begun() -> Future[Value]:
            return self._values.get(key) or self._enter(key, line.submit(make))

        return self._wait(key, room, begun)

    def _there(self, key: Hashable) -> Future[Value] | None:
        """Return what is there already: kept, or what this request has waited for."""
        visit = visit_now()
        given = visit.given((self, key)) if visit is not None else None
        if given is not None:
            return given
        with self._lock:
            future = self._values.get(key)
            if future is None or not future.done():
                return None
            self._values.move_to_end(key)
            return future

    def _wait(self, key: Hashable, room: WaitingRoom, begun: Callable[[], Future[Value]]) -> Value:
        """Take a place, then wait for what is begun: in a thread only where no door is."""
        visit = visit_now()
        if visit is None:
            with room.place():
                future = self._join(begun)
                try:
                    return future.result()
                finally:
                    self._leave(future)
        visit.sit(room)
        future = self._join(begun)
        return visit.wait((self, key), future, partial(self._leave, future))

    def _join(self, begun: Callable[[], Future[Value]]) -> Future[Value]:
        with self._lock:
            future = begun()
            self._waiting[future] += 1
            return future

    def _leave(self, future: Future[Value]) -> None:
        """Wait no more; the last who leaves gives up what is not begun."""
        with self._lock:
            self._waiting[future] -= 1
            if self._waiting[future] == 0:
                del self._waiting[future]
                future.cancel()

    def _enter(self, key: Hashable, future: Future[Value]) -> Future[Value]:
        self._values[key] = future
        self._values.move_to_end(key)
        future.add_done_callback(partial(self._settle, key))
        return future

    def _settle(self, key: Hashable, future: Future[Value]) -> None:
        """Keep what has come out well, as far as there is room."""
        with self._lock:
            if future.cancelled() or future.exception() is not None:
                if self._values.get(key) is future:
                    del self._values[key]
                return
            while len(self._values) > self._most:
                self._values.popitem(last=False)


def _made(future: Future[Value], make: Callable[[], Value]) -> Value:
    try:
        value = make()
    except BaseException as error:
        visit = visit_now()
        # Whoever waits has a place: that this request found none is no reason for them.
        alone = visit is not None and visit.sent_away
        future.set_exception(NotYet(()) if alone else error)
        raise
    future.set_result(value)
    return value
