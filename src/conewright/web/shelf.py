"""Answers that are worked out once, however many ask, and kept while they are asked for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from threading import Lock
from typing import Generic, TypeVar

__all__ = ["Shelf"]

T = TypeVar("T")


class Shelf(Generic[T]):
    """A few answers by their questions; the one asked for longest ago goes first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, Future[T]] = OrderedDict()
        self._lock = Lock()

    def kept(self, key: Hashable) -> T | None:
        """Return an answer that is there already, None where it must be worked out."""
        with self._lock:
            future = self._kept.get(key)
            if future is None or not future.done():
                return None
            self._kept.move_to_end(key)
        return future.result()

    def get(self, key: Hashable, work_out: Callable[[], T]) -> T:
        """Return an answer: from the shelf, from whoever works it out just now, or from here."""
        future, mine = self._claim(key)
        if mine:
            self._fill(key, future, work_out)
        return future.result()

    def _claim(self, key: Hashable) -> tuple[Future[T], bool]:
        """Return what will hold an answer, and whether it is on the caller to work it out."""
        with self._lock:
            future = self._kept.get(key)
            if future is not None:
                return future, False
            future = self._kept[key] = Future()
            return future, True

    def _fill(self, key: Hashable, future: Future[T], work_out: Callable[[], T]) -> None:
        try:
            done = work_out()
        except BaseException as error:
            # Whoever asks again may have more luck; whoever waits for this one gets its error.
            with self._lock:
                self._kept.pop(key, None)
            future.set_exception(error)
            return
        future.set_result(done)
        with self._lock:
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
