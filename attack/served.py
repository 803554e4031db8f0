"""A server that is attacked: the real program in a process of its own, and what its answers owe."""

import os
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from subprocess import Popen
from tempfile import TemporaryDirectory

import httpx2

from attack.tally import Tally
from conewright.web.base.headers import SECURE
from serving import TOML, free_port, serving

__all__ = ["MARK", "PATIENCE", "Server", "judged", "memory_of", "served"]

PATIENCE = 90.0
"""Seconds that an answer may take: standing in line, and working it out, have limits below."""
KNOWN = {"busy", "too-long"}
"""Codes of 503 that are right on a busy server."""
MARK = '"\'><zq7 onzq7="1"></zq7><script>zq7()</script>'
"""Comes out of a page as text, or somebody else's script would."""


@dataclass
class Server:
    """A running server: its process, where it is, and what it said to nobody."""

    process: Popen[str]
    origin: str
    port: int
    faults: list[str] = field(default_factory=list)

    def client(self, *, page: bool = True) -> httpx2.Client:
        """Return a client of it, which sends what a browser would of the page it comes from."""
        headers = {"accept": "text/html" if page else "*/*", "origin": self.origin}
        return httpx2.Client(
            base_url=self.origin, trust_env=False, timeout=PATIENCE, headers=headers
        )

    def keep(self, text: str) -> str:
        """Keep a job; return its id."""
        with self.client(page=False) as client:
            sent = client.post("/api/v1/jobs", content=text.encode(), headers=TOML)
            sent.raise_for_status()
            job_id: str = sent.json()["id"]
            return job_id

    @property
    def memory(self) -> float:
        """The most memory that the server and each of its workers have held [MB]."""
        return max(map(memory_of, (self.process.pid, *self._workers())), default=float("nan"))

    @property
    def worked(self) -> float:
        """How long the server has calculated itself, its workers not counted [s]."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def _workers(self) -> Iterator[int]:
        pid = self.process.pid
        for children in Path(f"/proc/{pid}/task").glob("*/children"):
            with suppress(OSError):
                yield from map(int, children.read_text().split())


def memory_of(pid: int) -> float:
    """Return the most memory that a process has held [MB]; NaN where the system does not tell."""
    status = Path(f"/proc/{pid}/status")
    try:
        found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text())
    except OSError:
        return float("nan")
    return float(found[1]) / 1024 if found else float("nan")


@contextmanager
def served(tally: Tally, *, at: str = "") -> Iterator[Server]:
    """Run a server with a store of its own; a traceback that it tells is a find.

    Args:
        tally: of whoever attacks it.
        at: an address that stands in for this computer's on a local network; none without one.

    """
    port = free_port()
    words = ("--port", str(port), *(("--lan",) if at else ()))
    with TemporaryDirectory() as folder, serving(Path(folder), *words, at=at) as process:
        server = Server(process, f"http://127.0.0.1:{port}", port)
        streams = (process.stdout, process.stderr)
        readers = [threading.Thread(target=_listen, args=(server, each)) for each in streams]
        for reader in readers:
            reader.start()
        try:
            _hold_up(server)
            yield server
            if process.poll() is not None:
                tally.find("the server has ended", "".join(server.faults))
        finally:
            process.kill()
            for reader in readers:
                reader.join()
        told = "".join(server.faults)
        if "Traceback" in told:
            tally.find("a traceback of the server", told[-20_000:], told[-20_000:])


def _listen(server: Server, stream: Iterator[str] | None) -> None:
    server.faults.extend(stream or ())


def _hold_up(server: Server) -> None:
    until = time.monotonic() + PATIENCE
    while True:
        try:
            with server.client() as client:
                client.get("/jobs").raise_for_status()
            return
        except httpx2.TransportError:
            if time.monotonic() > until or server.process.poll() is not None:
                raise
            time.sleep(0.05)


class _Marks(HTMLParser):
    """Whether something that was sent in stands in a page as markup."""

    found = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found |= tag == "zq7" or any(name == "onzq7" for name, _ in attrs)


def judged(tally: Tally, status: int, headers: httpx2.Headers, text: str, *, given: object) -> None:
    """Count an answer: refused, answered, or a find."""
    wrong = fault_of(status, headers, text)
    if wrong:
        tally.find(wrong, given, f"{status} {dict(headers)}\n\n{text[:5000]}")
    elif status >= 400:
        tally.refused += 1
    else:
        tally.answered += 1


def fault_of(status: int, headers: httpx2.Headers, text: str) -> str:
    """Return what is wrong with an answer; nothing where nothing is."""
    if status >= 500 and not (status == 503 and _is_known(text)):
        return f"status {status}"
    missing = [name for name in SECURE if name not in headers]
    if missing:
        return f"no {missing[0]} on {status}"
    if headers.get("content-type", "").startswith(("text/html", "image/svg")):
        marks = _Marks()
        marks.feed(text)
        if marks.found or "<script>zq7" in text:
            return "markup that was sent comes back"
    return ""


def _is_known(text: str) -> bool:
    said = ("are being worked out", "was not worked out within")
    return any(f'"{code}"' in text for code in KNOWN) or any(words in text for words in said)
