"""Places for those who wait for an answer: each keeps a thread, and threads are few."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import BoundedSemaphore

from conewright.web.base.errors import Refusal

__all__ = ["WaitingRoom"]


class WaitingRoom:
    """As many places as may be taken at once; whoever finds none is sent away at once."""

    def __init__(self, places: int) -> None:
        self._free = BoundedSemaphore(places)

    @contextmanager
    def place(self) -> Iterator[None]:
        """Hold a place; raises Refusal when all are taken."""
        if not self._free.acquire(blocking=False):
            raise Refusal(
                503,
                "Too many answers are being worked out; ask again in a moment.",
                code="busy",
                headers={"Retry-After": "5"},
            )
        try:
            yield
        finally:
            self._free.release()
