"""Connections without end: a stranger gets a few, and a paired device always finds one."""

import asyncio
import socket
import ssl
from collections import Counter
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
import uvicorn

from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports
from conewright.web.doors.certificate import certificate_in
from conewright.web.doors.connections import Fair, fair_over_tls
from conewright.web.pairing import COOKIE, Pairing, token_hash

HERE = "127.0.0.1"
JOBS = "/api/v1/jobs"
PATIENCE = 1800
"""Silence of a connection [s]: as long as the suite may hang, so that no clock decides."""

Connection = tuple[asyncio.StreamReader, asyncio.StreamWriter]


class Counted(Fair):
    """As on the local network, and counted."""

    seconds: float = PATIENCE
    arrived = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        Counted.arrived += 1


class Crowd:
    """Whoever connects to a server, each from an address of their choice."""

    def __init__(self, server: uvicorn.Server, port: int) -> None:
        self.server, self.port = server, port
        self.opened: list[Connection] = []
        Counted.arrived = 0

    async def join(self, address: str, *, times: int = 1) -> Connection:
        """Connect and say nothing; return when the server has seen it and closed what it wants."""
        for _ in range(times):
            local = (address, 0)
            self.opened.append(await asyncio.open_connection(HERE, self.port, local_addr=local))
        await self.settled()
        return self.opened[-1]

    async def settled(self) -> None:
        """Return when the server has seen everybody and closed what it wants."""
        while Counted.arrived < len(self.opened) or any(
            each.transport.is_closing() for each in self.server.server_state.connections
        ):
            await asyncio.sleep(0.001)

    async def greet(self, connection: Connection) -> Connection:
        """Shake hands where the server wants it."""
        if Counted.tls is not None:
            await connection[1].start_tls(_trusting(), server_hostname=HERE)
        return connection

    async def status(self, connection: Connection, *, cookie: str = "", path: str = JOBS) -> int:
        """Ask for a page; return the status, 0 where the server hung up."""
        reader, writer = connection
        writer.write(self.request(cookie, path))
        try:
            head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        except (asyncio.IncompleteReadError, ConnectionError):
            return 0
        length = head.partition("content-length: ")[2].partition("\r\n")[0]
        await reader.readexactly(int(length))
        return int(head.split()[1])

    def request(self, cookie: str = "", path: str = JOBS) -> bytes:
        """Return the head of a request."""
        lines = [f"GET {path} HTTP/1.1", f"Host: {HERE}:{self.port}", cookie]
        return "\r\n".join([*filter(None, lines), "\r\n"]).encode()

    def left(self) -> Counter[str]:
        """Return how many connections of each address are open."""
        connections = self.server.server_state.connections
        return Counter(each.address for each in connections if isinstance(each, Fair))


def _trusting() -> ssl.SSLContext:
    """Return how a phone looks at a certificate that its owner has compared."""
    context = ssl.create_default_context()
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


async def hung_up(connection: Connection) -> None:
    """Return when the server has ended a connection; what it says before is of no account."""
    try:
        while await connection[0].read(4096):
            pass
    except ConnectionError:
        return


def in_a_crowd(store: Store, reports: Reports, scene: Callable[[Crowd], Awaitable[None]]) -> None:
    asyncio.run(_in_a_crowd(store, reports, scene))


async def _in_a_crowd(
    store: Store, reports: Reports, scene: Callable[[Crowd], Awaitable[None]]
) -> None:
    with socket.create_server((HERE, 0)) as listening:
        port = listening.getsockname()[1]
        pairing = Pairing(store, invite=lambda _: None, say=lambda _: None)
        settings = Settings(names=(HERE,), port=port)
        app = create_app(store, lan=pairing, settings=settings, reports=reports)
        config = uvicorn.Config(
            app,
            http=Counted,
            ws="none",
            lifespan="off",
            log_level="error",
            limit_concurrency=2 * settings.connections,
            timeout_keep_alive=PATIENCE,
        )
        server = uvicorn.Server(config)
        running = asyncio.create_task(server.serve([listening]))
        crowd = Crowd(server, port)
        try:
            await scene(crowd)
        finally:
            for _, writer in crowd.opened:
                writer.transport.abort()
            server.should_exit = True
            await running


@pytest.fixture
def cookie(store: Store) -> str:
    store.add_device("phone", token_hash("secret"))
    return f"Cookie: {COOKIE}=secret"


def test_a_stranger_does_not_keep_paired_devices_out(
    store: Store, reports: Reports, cookie: str
) -> None:
    async def scene(crowd: Crowd) -> None:
        phone = await crowd.join("127.0.0.7")
        assert await crowd.status(phone, cookie=cookie) == 200
        await crowd.join("127.0.0.9", times=110)
        assert crowd.left() == {"127.0.0.7": 1, "127.0.0.9": Settings().connections_each}
        assert await crowd.status(phone, cookie=cookie) == 200
        tablet = await crowd.join("127.0.0.8")
        assert await crowd.status(tablet, cookie=cookie) == 200
        # Whoever is not paired may still ask to be.
        other = await crowd.join("127.0.0.6")
        assert await crowd.status(other) == 401

    in_a_crowd(store, reports, scene)


def test_many_strangers_do_not_keep_paired_devices_out(
    store: Store, reports: Reports, cookie: str
) -> None:
    async def scene(crowd: Crowd) -> None:
        phone = await crowd.join("127.0.0.7")
        assert await crowd.status(phone, cookie=cookie) == 200
        for stranger in range(10, 17):
            await crowd.join(f"127.0.0.{stranger}", times=20)
        assert crowd.left().total() == Settings().connections
        assert await crowd.status(phone, cookie=cookie) == 200
        # One that comes now takes the place of the stranger that was there longest.
        tablet = await crowd.join("127.0.0.8")
        assert await crowd.status(tablet, cookie=cookie) == 200
        assert crowd.left().total() == Settings().connections
        assert crowd.left()["127.0.0.7"] == crowd.left()["127.0.0.8"] == 1

    in_a_crowd(store, reports, scene)


def test_at_the_address_of_a_paired_device_it_goes_last(
    store: Store, reports: Reports, cookie: str
) -> None:
    async def scene(crowd: Crowd) -> None:
        phone = await crowd.join("127.0.0.7")
        assert await crowd.status(phone, cookie=cookie) == 200
        await crowd.join("127.0.0.7", times=30)
        assert crowd.left() == {"127.0.0.7": Settings().connections_each}
        assert await crowd.status(phone, cookie=cookie) == 200

    in_a_crowd(store, reports, scene)


# --- From the first moment ----------------------------------------------------------------------


@pytest.fixture(params=["plain", "tls"])
def line(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Serve with a certificate, and without."""
    if request.param == "tls":
        held = certificate_in(tmp_path / "held", (HERE,))
        monkeypatch.setattr(Counted, "tls", fair_over_tls(held).tls)


async def _silent(_: Crowd, connection: Connection) -> None:
    """Say nothing."""


async def _half_hello(_: Crowd, connection: Connection) -> None:
    """Begin a handshake, and no more."""
    connection[1].write(b"\x16\x03\x01\x02\x00\x01")


async def _dribble(crowd: Crowd, connection: Connection) -> None:
    """Send the head of a request, one byte after the other and never the last."""
    try:
        await crowd.greet(connection)
        for byte in crowd.request()[:-1]:
            connection[1].write(bytes([byte]))
            await connection[1].drain()
    except (ConnectionError, ssl.SSLError):
        return


async def _keep_alive(crowd: Crowd, connection: Connection) -> None:
    """Ask for the one page that is for strangers, then say nothing."""
    assert await crowd.status(await crowd.greet(connection), path="/pair") == 200


WAYS = [
    ("plain", _silent),
    ("plain", _dribble),
    ("tls", _silent),
    ("tls", _half_hello),
    ("tls", _dribble),
    ("plain", _keep_alive),
    ("tls", _keep_alive),
]


@pytest.mark.usefixtures("line")
@pytest.mark.parametrize(("line", "way"), WAYS, indirect=["line"])
def test_no_way_to_hold_a_connection_keeps_paired_devices_out(
    store: Store,
    reports: Reports,
    cookie: str,
    way: Callable[[Crowd, Connection], Awaitable[None]],
) -> None:
    async def scene(crowd: Crowd) -> None:
        phone = await crowd.greet(await crowd.join("127.0.0.7"))
        assert await crowd.status(phone, cookie=cookie) == 200
        for _ in range(110):
            await way(crowd, await crowd.join("127.0.0.9"))
        await crowd.settled()
        assert crowd.left() == {"127.0.0.7": 1, "127.0.0.9": Settings().connections_each}
        assert await crowd.status(phone, cookie=cookie) == 200
        tablet = await crowd.greet(await crowd.join("127.0.0.8"))
        assert await crowd.status(tablet, cookie=cookie) == 200

    in_a_crowd(store, reports, scene)


@pytest.mark.usefixtures("line")
def test_who_has_just_come_is_not_swept_away_by_others(
    store: Store, reports: Reports, cookie: str
) -> None:
    async def scene(crowd: Crowd) -> None:
        strangers = [f"127.0.0.{number}" for number in range(10, 17)]
        for stranger in strangers:
            await crowd.join(stranger, times=20)
        tablet = await crowd.join("127.0.0.8")
        for stranger in strangers:
            await crowd.join(stranger, times=20)
        assert crowd.left().total() == Settings().connections
        assert crowd.left()["127.0.0.8"] == 1
        assert await crowd.status(await crowd.greet(tablet), cookie=cookie) == 200

    in_a_crowd(store, reports, scene)


@pytest.mark.usefixtures("line")
@pytest.mark.parametrize(("line", "way"), WAYS[:5], indirect=["line"])
def test_who_asks_for_nothing_is_hung_up_on(
    store: Store,
    reports: Reports,
    monkeypatch: pytest.MonkeyPatch,
    way: Callable[[Crowd, Connection], Awaitable[None]],
) -> None:
    monkeypatch.setattr(Counted, "seconds", 0.3)

    async def scene(crowd: Crowd) -> None:
        stranger = await crowd.join("127.0.0.9")
        await way(crowd, stranger)
        await hung_up(stranger)
        while crowd.left():
            await asyncio.sleep(0.001)

    in_a_crowd(store, reports, scene)


@pytest.mark.usefixtures("line")
def test_what_is_no_request_is_hung_up_on(store: Store, reports: Reports) -> None:
    async def scene(crowd: Crowd) -> None:
        for sent in (b"\x00" * 600, b"nonsense\r\n\r\n"):
            stranger = await crowd.join("127.0.0.9")
            stranger[1].write(sent)
            await hung_up(stranger)
        gone = await crowd.join("127.0.0.9")
        gone[1].transport.abort()
        while crowd.left():
            await asyncio.sleep(0.001)

    in_a_crowd(store, reports, scene)


@pytest.mark.parametrize("line", ["tls"], indirect=True)
@pytest.mark.usefixtures("line")
def test_a_request_that_comes_with_the_end_of_the_handshake_is_answered(
    store: Store, reports: Reports, cookie: str
) -> None:
    async def scene(crowd: Crowd) -> None:
        reader, writer = await crowd.join("127.0.0.7")
        theirs, ours = ssl.MemoryBIO(), ssl.MemoryBIO()
        phone = _trusting().wrap_bio(theirs, ours)
        while True:
            try:
                phone.do_handshake()
                break
            except ssl.SSLWantReadError:
                writer.write(ours.read())
                theirs.write(await reader.read(65_536))
        phone.write(crowd.request(cookie))
        # In one piece: the end of the handshake, and the request.
        writer.write(ours.read())
        while True:
            try:
                assert phone.read(12) == b"HTTP/1.1 200"
                return
            except ssl.SSLWantReadError:
                theirs.write(await reader.read(65_536))

    in_a_crowd(store, reports, scene)
