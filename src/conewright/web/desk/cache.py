"""What was made once and is kept while it is asked for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from threading import Lock
from typing import Generic, TypeVar

from conewright.web.desk.waiting import WaitingRoom

__all__ = ["Kept"]

Value = TypeVar("Value")


class Kept(Generic[Value]):
    """Values by key, as many as fit; what was not asked for longest goes first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = Lock()
        self._values: OrderedDict[Hashable, Future[Value]] = OrderedDict()

    def get(
        self, key: Hashable, make: Callable[[], Value], *, room: WaitingRoom | None = None
    ) -> Value:
        """Return the value of a key, made by the first who asks; the others wait for it.

        An error is not kept: whoever waits gets it too, whoever asks again may have more luck.

        Args:
            key: of the value.
            make: makes it.
            room: where the others wait; None for what takes no time worth counting.

        Raises:
            Refusal: nobody else may wait just now.

        """
        with self._lock:
            future = self._values.get(key)
            mine = future is None
            if future is None:
                future = self._values[key] = Future()
            self._values.move_to_end(key)
        if mine:
            self._make(key, make, future)
        elif room is not None and not future.done():
            with room.place():
                return future.result()
        return future.result()

    def _make(self, key: Hashable, make: Callable[[], Value], future: Future[Value]) -> None:
        try:
            value = make()
        except BaseException as error:
            with self._lock:
                self._values.pop(key, None)
            future.set_exception(error)
            return
        future.set_result(value)
        with self._lock:
            while len(self._values) > self._most:
                self._values.popitem(last=False)
