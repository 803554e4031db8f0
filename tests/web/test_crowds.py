"""Connections without end: a stranger gets a few, and a paired device always finds one."""

import asyncio
import socket
from collections import Counter
from collections.abc import Awaitable, Callable

import pytest
import uvicorn

from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports
from conewright.web.pairing import COOKIE, Pairing, token_hash
from conewright.web.serve import Fair

HERE = "127.0.0.1"
PATIENCE = 1800
"""Silence of a connection [s]: as long as the suite may hang, so that no clock decides."""

Connection = tuple[asyncio.StreamReader, asyncio.StreamWriter]


class Counted(Fair):
    """As on the local network, and counted."""

    seconds = PATIENCE
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
        while Counted.arrived < len(self.opened) or any(
            each.transport.is_closing() for each in self.server.server_state.connections
        ):
            await asyncio.sleep(0.005)
        return self.opened[-1]

    async def status(self, connection: Connection, *, cookie: str = "") -> int:
        """Ask for the jobs; return the status, 0 where the server hung up."""
        reader, writer = connection
        lines = ["GET /api/v1/jobs HTTP/1.1", f"Host: {HERE}:{self.port}", cookie]
        writer.write("\r\n".join([*filter(None, lines), "\r\n"]).encode())
        try:
            head = (await reader.readuntil(b"\r\n\r\n")).decode().lower()
        except (asyncio.IncompleteReadError, ConnectionError):
            return 0
        length = head.partition("content-length: ")[2].partition("\r\n")[0]
        await reader.readexactly(int(length))
        return int(head.split()[1])

    def left(self) -> Counter[str]:
        """Return how many connections of each address are open."""
        connections = self.server.server_state.connections
        return Counter(each.address for each in connections if isinstance(each, Fair))


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
        await scene(crowd)
        for _, writer in crowd.opened:
            writer.close()
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
