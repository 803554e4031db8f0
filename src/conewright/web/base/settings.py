"""How large, how long and how many: every limit of the server in one place."""

from __future__ import annotations

from dataclasses import dataclass

from conewright.job.text.parsing import LARGEST_FILE

__all__ = ["LARGEST_NUMBER", "LOOPBACK", "PORT", "Settings"]

PORT = 8420
"""Where the pages are when nobody says otherwise."""

LARGEST_NUMBER = 2**31 - 1
"""Of a revision, as both databases count."""

LOOPBACK = ("localhost", "127.0.0.1", "[::1]")
"""What this machine is called by itself, as a browser writes it."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What the server allows.

    `names` and `port` are what a request may call the server by; a body is limited in bytes and in
    the seconds it may take to arrive, a computation in seconds. `waiting` requests may stand
    in line for a computation; `kept_reports` answers, `kept_choices` choices, the papers of
    `kept_papers` plans, `kept_pages` rendered pages and `kept_catalogues` unpacked catalogues are
    kept. On the local network `connections` stay open, `connections_each` of one address.

    Texts of jobs that are not small are read and edited by `readers` processes, each text within
    `reading_seconds`; `waiting_readers` requests may wait for that, besides those who wait for a
    computation. A worker may take `reading_memory` bytes for a text and `computing_memory` for a
    computation, besides what it takes when it starts; only Linux holds it to that.

    Whole plans are chosen by `choosers` processes, each answer within `choosing_seconds`, so that a
    long choice stands in nobody's way.

    Recordings come in with `largest_upload` bytes at once, at `slowest_upload` bytes a second or
    faster, `uploads` at the same time. `listeners` processes listen to them, each answer within
    `listening_seconds` and `listening_memory`. What nobody has kept or thrown away yet is held for
    `held_seconds`: `held_takes` uploads, of `held_bytes` together; the oldest go first.

    A list of parts comes in with `largest_list` bytes at most, at the speed of a recording. As many
    as `held_lists` wait to be kept, packed to `held_list_bytes` together, as long as recordings do.
    """

    names: tuple[str, ...] = LOOPBACK
    port: int = PORT
    largest_body: int = LARGEST_FILE
    body_seconds: float = 15.0
    most_headers: int = 100
    largest_headers: int = 16_384
    longest_target: int = 4_096
    head_seconds: float = 10.0
    connections: int = 100
    connections_each: int = 20
    computing_seconds: float = 45.0
    workers: int = 2
    computing_memory: int = 3_000_000_000
    choosing_seconds: float = 60.0
    choosers: int = 1
    waiting: int = 32
    readers: int = 2
    reading_seconds: float = 20.0
    reading_memory: int = 1_000_000_000
    waiting_readers: int = 6
    largest_upload: int = 201_000_000
    slowest_upload: int = 250_000
    uploads: int = 4
    listeners: int = 1
    listening_seconds: float = 60.0
    listening_memory: int = 4_000_000_000
    held_takes: int = 32
    held_bytes: int = 1_000_000_000
    held_seconds: float = 3_600.0
    largest_list: int = 8_000_000
    held_lists: int = 16
    held_list_bytes: int = 64_000_000
    kept_reports: int = 64
    kept_choices: int = 16
    kept_papers: int = 4
    kept_pages: int = 64
    kept_catalogues: int = 4

    def authorities(self, scheme: str) -> frozenset[str]:
        """Return every right value of a request's Host, lower case.

        Args:
            scheme: http or https; at its standard port a browser leaves the port out.

        """
        named = {f"{name}:{self.port}".lower() for name in self.names}
        if self.port == {"http": 80, "https": 443}[scheme]:
            named |= {name.lower() for name in self.names}
        return frozenset(named)
