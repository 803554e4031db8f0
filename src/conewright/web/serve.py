"""Starting the server: on this computer alone, or on the local network too when asked to.

On this computer it is plain HTTP at a loopback address; nothing outside reaches it. On the local
network it is HTTPS at each address of this computer there, behind pairing.
"""

from __future__ import annotations

import asyncio
import gc
import os
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from io import StringIO
from typing import TYPE_CHECKING, Self
from urllib.parse import urlencode

import uvicorn
from fastapi import FastAPI

from conewright.errors import BadInputError
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.settings import LOOPBACK, PORT, Settings
from conewright.web.desk.reports import Reports
from conewright.web.doors.connections import Impatient, fair_over_tls
from conewright.web.pairing import Invitation, Pairing

if TYPE_CHECKING:
    from conewright.web.doors.certificate import Certificate

__all__ = ["serve"]

LOCAL = "127.0.0.1"
TRIES = 50
"""Ports above the wanted one that are tried."""
HIGHEST_PORT = 65_535

# Named in full: asyncio turns off the wait for more to send only where it knows that it is TCP.
TCP = (socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
# Addresses that nobody has; looking up the way to them sends nothing.
FAR = ("10.255.255.254", "172.31.255.254", "192.168.255.254", "192.0.2.1")

Say = Callable[[str], None]


def serve(
    *,
    port: int | None = None,
    open_page: bool = True,
    lan: bool = False,
    page: str = "/",
    store: Store | None = None,
    say: Say = print,
) -> None:
    """Show the pages and answer the API until Ctrl-C.

    Args:
        port: where to listen, 8420 when None; the next free one where it is taken.
        open_page: whether to open the page in a browser, where there is a screen.
        lan: whether to let paired devices of the local network in.
        page: which page to open, and to tell the address of.
        store: where the jobs are kept; opened and closed here when None.
        say: takes each line that is told.

    Raises:
        BadInputError: no port is free, or there is no local network.
        StoreError: the kept jobs cannot be reached.

    """
    kept = store or Store.open()
    try:
        reports = Reports(Settings())
        try:
            wanted = PORT if port is None else port
            shown = _Page(page, open_page)
            _serve(kept, reports, port=wanted, lan=lan, page=shown, say=say)
        finally:
            reports.close()
    finally:
        if store is None:
            kept.close()


@dataclass(frozen=True, slots=True)
class _Page:
    """The page that is meant, and whether a browser opens it."""

    path: str
    opened: bool


def _serve(store: Store, reports: Reports, *, port: int, lan: bool, page: _Page, say: Say) -> None:
    addresses = _lan_addresses() if lan else ()
    servers: list[_Server] = []
    with ExitStack() as opened:
        here = opened.enter_context(_listen([LOCAL], port))
        servers.append(_local_server(here, store, reports))
        # Before anything is said: whoever reads it may press Ctrl-C at once.
        opened.enter_context(_ending(servers))
        if port not in {0, here.port}:
            say(f"Port {port} is taken; this is {here.port}.")
        address = f"http://{LOCAL}:{here.port}{page.path}"
        say(f"Conewright is at {address} (Ctrl-C ends it). Jobs are kept in {store.place}.")
        if addresses:
            there = opened.enter_context(_listen(addresses, here.port))
            servers.append(_lan_server(addresses, there, store, reports, say))
        threading.Thread(target=_warm, args=(reports,), daemon=True).start()
        asyncio.run(_run(servers, reports, address if page.opened else None))
    say("Conewright has ended; every saved job is kept.")


def _warm(reports: Reports) -> None:
    # Whatever goes wrong here goes wrong again, and is told, when somebody asks.
    with suppress(Exception):
        reports.warm()
    # What is loaded by now stays: whenever it was looked through, everybody would wait.
    gc.collect()
    gc.freeze()


# --- Listening ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Listening:
    """Open sockets, all at one port; as a context it closes them."""

    sockets: tuple[socket.socket, ...]
    port: int

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for each in self.sockets:
            each.close()


def _listen(addresses: Sequence[str], wanted: int) -> Listening:
    """Return sockets at the wanted port, or at the first one above it that is free everywhere.

    Raises:
        BadInputError: there is none.

    """
    if not 0 <= wanted <= HIGHEST_PORT:
        raise BadInputError(f"--port: found {wanted}; allowed are 1 to {HIGHEST_PORT}")
    for port in range(wanted, min(wanted + TRIES, HIGHEST_PORT + 1)):
        with suppress(OSError):
            return _listen_at(addresses, port)
    raise BadInputError(
        f"--port: found {wanted} and those above it taken, or not ours to use; try another"
    )


def _listen_at(addresses: Sequence[str], port: int) -> Listening:
    sockets: list[socket.socket] = []
    try:
        for address in addresses:
            sockets.append(socket.socket(*TCP))
            if os.name == "posix":
                # A port that was just left may be used again; elsewhere this would share it.
                sockets[-1].setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            sockets[-1].bind((address, port))
            sockets[-1].listen(128)
            port = sockets[-1].getsockname()[1]
    except OSError:
        for each in sockets:
            each.close()
        raise
    return Listening(tuple(sockets), port)


def _lan_addresses() -> tuple[str, ...]:
    """Return this computer's addresses on local networks.

    Raises:
        BadInputError: it has none.

    """
    usable = tuple(dict.fromkeys(_probed()))
    if not usable:
        raise BadInputError("--lan: found no local network; is this computer connected to one?")
    return usable


def _probed() -> Iterator[str]:
    """Yield the addresses that far ones would be reached from; sends nothing to find out."""
    for far in FAR:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((far, 9))
            own = str(probe.getsockname()[0])
            if not own.startswith("127."):
                yield own


# --- Servers ------------------------------------------------------------------------------------


class _Server(uvicorn.Server):
    """A server beside others: what ends them is in one place, not in each."""

    def __init__(self, config: uvicorn.Config, listening: Listening) -> None:
        super().__init__(config)
        self.listening = listening

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave the signals alone."""
        yield


def _local_server(here: Listening, store: Store, reports: Reports) -> _Server:
    settings = Settings(names=LOOPBACK, port=here.port)
    return _Server(_config(create_app(store, settings=settings, reports=reports), settings), here)


def _lan_server(
    addresses: Sequence[str], there: Listening, store: Store, reports: Reports, say: Say
) -> _Server:
    """Return the server for paired devices, and tell how to pair one."""
    from platformdirs import user_data_path

    from conewright.web.doors.certificate import certificate_in

    names = (*addresses, *_host_names())
    held = certificate_in(user_data_path("conewright", appauthor=False), names)
    address = f"https://{addresses[0]}:{there.port}"
    pairing = Pairing(store, invite=lambda given: _show(given, address, say), say=say)
    settings = Settings(names=names, port=there.port)
    app = create_app(store, lan=pairing, settings=settings, reports=reports)
    say(f"On the local network it is at {address}/ for devices that are paired.")
    say("A browser will say that it does not know the certificate. Its SHA-256 must be")
    say(f"{held.fingerprint}")
    pairing.open()
    return _Server(_config(app, settings, held), there)


def _config(app: FastAPI, settings: Settings, held: Certificate | None = None) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        http=fair_over_tls(held) if held else Impatient,
        ws="none",
        lifespan="on",
        log_level="error",
        access_log=False,
        server_header=False,
        # Nobody stands before this server; who asks is never what a header says.
        proxy_headers=False,
        # Above what is held open on the local network, since some of those just end.
        limit_concurrency=2 * settings.connections,
        # So many are accepted before any of them is counted, each with a file of its own.
        backlog=settings.connections,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=3,
        h11_max_incomplete_event_size=2 * settings.largest_headers,
    )


def _host_names() -> tuple[str, ...]:
    """Return what this computer is called on a local network, as far as a name can be."""
    name = socket.gethostname().lower().removesuffix(".local")
    usable = name.isascii() and name.replace("-", "").replace(".", "").isalnum()
    return (name, f"{name}.local") if usable and name != "localhost" else ()


async def _run(servers: Sequence[_Server], reports: Reports, page: str | None) -> None:
    """Serve until all have ended."""
    beside = [asyncio.create_task(_end_with(servers, reports))]
    if page is not None:
        beside.append(asyncio.create_task(_open(servers[0], page)))
    await asyncio.gather(*(each.serve(sockets=list(each.listening.sockets)) for each in servers))
    for task in beside:
        task.cancel()


async def _end_with(servers: Sequence[_Server], reports: Reports) -> None:
    """End the workers as soon as the servers are to end: who waits for one would hold them up."""
    while not any(server.should_exit for server in servers):
        await asyncio.sleep(0.1)
    reports.close()


async def _open(server: _Server, page: str) -> None:
    """Open a page in the browser as soon as it is there."""
    while not server.started:
        await asyncio.sleep(0.05)
    seen = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    # A browser that runs in the terminal would take the place of our own words.
    if seen or sys.platform in {"win32", "darwin"}:
        await asyncio.to_thread(webbrowser.open, page)


@contextmanager
def _ending(servers: Sequence[_Server]) -> Iterator[None]:
    """Let Ctrl-C and a polite kill end all servers; a second Ctrl-C does not wait for anybody."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(number: int, frame: object) -> None:
        del frame
        for server in servers:
            server.force_exit = server.should_exit and number == signal.SIGINT
            server.should_exit = True

    before = {each: signal.signal(each, end) for each in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)


# --- The invitation -----------------------------------------------------------------------------


def _show(invitation: Invitation, address: str, say: Say) -> None:
    """Tell a pairing code, in letters and as a picture that a phone can read."""
    link = f"{address}/pair?{urlencode({'code': invitation.code})}"
    say(f"Pairing code: {invitation.shown} (for one device, within 10 minutes), or scan:")
    say(_qr(link))
    say(link)


def _qr(text: str) -> str:
    """Return a QR code in half blocks, light on dark as in a terminal."""
    import segno

    drawn = StringIO()
    segno.make(text, error="m").terminal(drawn, border=2, compact=True)
    return drawn.getvalue().rstrip("\n")
