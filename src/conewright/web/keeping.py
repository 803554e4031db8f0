"""What was made once and is kept while it is asked for."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

__all__ = ["Kept"]

Value = TypeVar("Value")


class Kept(Generic[Value]):
    """Values by key, as many as fit; what was not asked for longest goes first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._lock = Lock()
        self._values: OrderedDict[Hashable, Value] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """Return the value of a key, made where there is none; two who ask at once both make it."""
        with self._lock:
            if key in self._values:
                self._values.move_to_end(key)
                return self._values[key]
        value = make()
        with self._lock:
            self._values[key] = value
            while len(self._values) > self._most:
                self._values.popitem(last=False)
        return value
