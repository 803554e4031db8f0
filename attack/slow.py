"""Clients that are slow on purpose, all from one address: whoever comes from another is served."""

import random
import resource
import socket
import ssl
import time
import traceback
from collections.abc import Callable
from contextlib import ExitStack, suppress

import httpx2

from attack.served import Server, fault_of, served
from attack.tally import Limits, Tally, kind_of
from conewright.web.base.settings import Settings

__all__ = ["run"]

STRANGER, OTHER = "127.0.0.1", "127.0.0.2"
NETWORK = "127.0.0.3"
"""Stands in for this computer's address on a local network."""
LONGEST = 20.0
"""Seconds that somebody else waits, at most, for a plain page."""
GRACE = 10.0
"""Seconds beyond its own limit in which a server ends a slow connection."""
CROWD = 150
"""Connections of one address to the server of this computer alone: fewer than it holds at all."""
USUAL = 1_024
"""Files and connections that a program may hold open on most machines."""
HANDSHAKES = 1_500
"""Connections that never say a word on the local network: more than a program may hold open."""

Way = Callable[[random.Random, "Crowd"], None]


class Crowd:
    """Connections of the stranger to one place, open until the end."""

    def __init__(self, held: ExitStack, address: str, server: Server, *, secure: bool) -> None:
        self.held, self.address, self.port, self.secure = held, address, server.port, secure
        self.open: list[socket.socket] = []

    def join(self, *, times: int = 1) -> socket.socket | None:
        """Connect and say nothing; None where the server hung up at once."""
        for _ in range(times):
            with suppress(OSError):
                plain = socket.create_connection(
                    (self.address, self.port), timeout=5.0, source_address=(STRANGER, 0)
                )
                self.open.append(self.held.enter_context(plain))
                if self.secure:
                    self.open[-1] = self.held.enter_context(_untrusting().wrap_socket(plain))
        return self.open[-1] if self.open else None

    def say(self, words: bytes) -> None:
        """Say the same on every connection that is still open."""
        for each in self.open:
            with suppress(OSError):
                each.sendall(words)

    @property
    def size(self) -> int:
        """How many come at once: on the local network more than one address may hold open."""
        return 2 * Settings().connections_each if self.secure else CROWD

    @property
    def host(self) -> bytes:
        """The head of a request up to the name of the server."""
        return f"Host: {self.address}:{self.port}\r\n".encode()


def run(tally: Tally, limits: Limits) -> None:
    """Crowd the server of this computer, then that of the local network."""
    _hold_many_files()
    for at, ways in (("", LOCAL), (NETWORK, LAN)):
        with served(tally, at=at) as server:
            resource.prlimit(server.process.pid, resource.RLIMIT_NOFILE, (USUAL, USUAL))
            half = Limits(limits.target, limits.seconds / 2)
            for way in ways:
                if half.left and tally.tried < limits.target:
                    _crowded(tally, server, at, way)
            if not at and half.left > Settings().body_seconds:
                _hold_ends(tally, server)


def _crowded(tally: Tally, server: Server, at: str, way: Way) -> None:
    """Let the stranger do something slowly, and ask from another address meanwhile."""
    name = f"{way.__name__.strip('_')}{' on the local network' if at else ''}"
    with ExitStack() as held:
        crowd = Crowd(held, at or STRANGER, server, secure=bool(at))
        try:
            way(random.Random(tally.seed), crowd)
            time.sleep(0.5)
            began = time.monotonic()
            wrong = _asked(crowd)
            taken = time.monotonic() - began
        except Exception as error:
            tally.find(f"{name}: {kind_of(error)}", name, traceback.format_exc())
            return
    if wrong or taken > LONGEST:
        tally.find(f"{name}: {wrong or 'others wait'}", name, f"{taken:.1f} s")
    else:
        tally.answered += 1


def _asked(crowd: Crowd) -> str:
    """Ask for a page from another address; return what is wrong with the answer."""
    scheme = "https" if crowd.secure else "http"
    transport = httpx2.HTTPTransport(
        local_address=OTHER, verify=_untrusting() if crowd.secure else True
    )
    with httpx2.Client(transport=transport, timeout=3 * LONGEST, trust_env=False) as client:
        answer = client.get(f"{scheme}://{crowd.address}:{crowd.port}/jobs")
    wanted = 401 if crowd.secure else 200
    wrong = fault_of(answer.status_code, answer.headers, answer.text)
    return wrong or ("" if answer.status_code == wanted else f"status {answer.status_code}")


def _untrusting() -> ssl.SSLContext:
    """Return what speaks to a certificate that nobody signed."""
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context


def _hold_many_files() -> None:
    """Let this process open more connections than the server may hold."""
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))


# --- Ways to be slow ------------------------------------------------------------------------------


def _idle(__: random.Random, crowd: Crowd) -> None:
    crowd.join(times=crowd.size)


def _heads_byte_by_byte(chance: random.Random, crowd: Crowd) -> None:
    crowd.join(times=crowd.size)
    head = b"GET /jobs HTTP/1.1\r\n" + crowd.host
    for byte in head[: chance.randrange(10, 30)]:
        crowd.say(bytes([byte]))


def _bodies_byte_by_byte(chance: random.Random, crowd: Crowd) -> None:
    crowd.join(times=crowd.size)
    crowd.say(b"POST /api/v1/jobs HTTP/1.1\r\n" + crowd.host)
    crowd.say(b"Content-Type: application/toml\r\nContent-Length: 900000\r\n\r\n")
    for _ in range(chance.randrange(10, 30)):
        crowd.say(b"#")


def _answers_unread(__: random.Random, crowd: Crowd) -> None:
    """Ask for large answers again and again and read none of them."""
    crowd.join(times=20)
    for _ in range(10):
        crowd.say(b"GET /api/v1/openapi.json HTTP/1.1\r\n" + crowd.host + b"\r\n")


def _chunks_without_end(__: random.Random, crowd: Crowd) -> None:
    crowd.join(times=20)
    crowd.say(b"POST /api/v1/jobs HTTP/1.1\r\n" + crowd.host)
    crowd.say(b"Content-Type: application/toml\r\nTransfer-Encoding: chunked\r\n\r\n")
    for _ in range(300):
        crowd.say(b"1\r\n#\r\n")


def _handshakes_unfinished(__: random.Random, crowd: Crowd) -> None:
    """Connect and never begin to speak TLS; who does is counted only when he has done so."""
    crowd.secure = False
    crowd.join(times=HANDSHAKES)
    crowd.secure = True


LOCAL: tuple[Way, ...] = (
    _idle,
    _heads_byte_by_byte,
    _bodies_byte_by_byte,
    _answers_unread,
    _chunks_without_end,
)
LAN: tuple[Way, ...] = (
    _handshakes_unfinished,
    _idle,
    _bodies_byte_by_byte,
    _heads_byte_by_byte,
    _chunks_without_end,
)


# --- And each of them ends ------------------------------------------------------------------------


def _hold_ends(tally: Tally, server: Server) -> None:
    """Hold that a head and a body that do not come are waited for no longer than is said."""
    given = Settings()
    for name, words, seconds in (
        ("a head without end", b"GET /jobs HTTP/1.1\r\n", given.head_seconds),
        (
            "a body without end",
            b"POST /api/v1/jobs HTTP/1.1\r\n%sContent-Length: 9\r\n\r\n#",
            given.body_seconds,
        ),
    ):
        host = f"Host: {STRANGER}:{server.port}\r\n".encode()
        with socket.create_connection((STRANGER, server.port)) as slow:
            slow.sendall(words % host if b"%s" in words else words)
            slow.settimeout(seconds + GRACE)
            try:
                while slow.recv(4096):
                    pass
            except TimeoutError:
                tally.find(f"{name} is waited for", name)
            else:
                tally.answered += 1
