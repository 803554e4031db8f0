"""Lists of parts that came in, until somebody keeps them or throws them away."""

from __future__ import annotations

import time
import zlib
from collections import OrderedDict
from dataclasses import dataclass, replace
from secrets import token_urlsafe
from threading import Lock
from typing import TYPE_CHECKING, Any

from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings

if TYPE_CHECKING:
    from conewright.catalogue.lists.column_map import ColumnMap

__all__ = ["HeldList", "HeldLists"]


@dataclass(frozen=True, slots=True)
class HeldList:
    """A list that waits to be kept.

    name: of its file. catalogue: the kept one that it follows, empty for a new one. used: the map
    that it is read by. known: whether that is the map of the list before, and no guess. settled:
    whether somebody said that it is read so. looked: what it holds then, as whoever reads it found.
    """

    token: str
    name: str
    catalogue: str
    since: float
    packed: bytes
    used: ColumnMap | None = None
    known: bool = False
    settled: bool = False
    looked: Any = None

    @property
    def content(self) -> bytes:
        """The file as it came."""
        return zlib.decompress(self.packed)


class HeldLists:
    """Lists that wait, in memory: only so long and so many of them, the oldest make room."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._held: OrderedDict[str, HeldList] = OrderedDict()
        self._lock = Lock()

    def hold(self, content: bytes, *, name: str, catalogue: str) -> HeldList:
        """Hold a list until it is kept or thrown away."""
        packed = zlib.compress(content, 1)
        held = HeldList(token_urlsafe(16), name, catalogue, time.monotonic(), packed)
        with self._lock:
            self._held[held.token] = held
            self._make_room()
        return held

    def held(self, token: str) -> HeldList:
        """Return a list that is held; raises Refusal."""
        with self._lock:
            self._make_room()
            found = self._held.get(token)
        if found is None:
            raise Refusal(
                404,
                "This list is not waiting here any more: it was kept or thrown away, or nobody "
                "came back to it in time. Send it again.",
            )
        return found

    def change(self, held: HeldList, **changes: Any) -> HeldList:
        """Note of a list what was found out or said; return it as it is now."""
        changed = replace(held, **changes)
        with self._lock:
            if held.token in self._held:
                self._held[held.token] = changed
        return changed

    def let_go(self, held: HeldList) -> None:
        """Throw a list away."""
        with self._lock:
            self._held.pop(held.token, None)

    def _make_room(self) -> None:
        """Take out, the oldest first, what is held for too long or is too much."""
        allowed = self._settings
        while self._held:
            oldest = next(iter(self._held.values()))
            late = time.monotonic() - oldest.since > allowed.held_seconds
            size = sum(len(each.packed) for each in self._held.values())
            many = len(self._held) > allowed.held_lists or size > allowed.held_list_bytes
            if not late and not (many and len(self._held) > 1):
                return
            del self._held[oldest.token]
