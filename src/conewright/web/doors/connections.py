"""Who may connect: so many of each address, within a time, and strangers before paired devices.

A connection counts from the moment that it is accepted: one that says nothing, or never ends its
TLS handshake, holds as much of this computer as one that asks for pages.
"""

from __future__ import annotations

import asyncio
import ssl
from collections import Counter
from itertools import count
from typing import TYPE_CHECKING, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from conewright.web.base.settings import Settings

if TYPE_CHECKING:
    from conewright.web.doors.certificate import Certificate

__all__ = ["Fair", "Impatient", "fair_over_tls"]


class Impatient(H11Protocol):
    """HTTP that does not wait for ever for the head of a request."""

    seconds = Settings().head_seconds
    _head_timer: asyncio.TimerHandle | None = None

    # The library's own signature, which is narrower than that of asyncio.
    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no longer."""
        self._stop_watch()
        super().connection_lost(exc)

    def handle_events(self) -> None:
        """Take what arrived; a head that is not whole keeps the time it has left."""
        super().handle_events()
        self._watch()

    def _watch(self) -> None:
        if self.conn.their_state is not h11.IDLE:
            self._stop_watch()
        elif self._head_timer is None:
            self._head_timer = self.loop.call_later(self.seconds, self._give_up)

    def _stop_watch(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _give_up(self) -> None:
        self.transport.close()


class Fair(Impatient):
    """HTTP of which no stranger takes so many connections that a paired device finds none.

    The library lets one choose the protocol, but has no say before it: where it does TLS itself,
    the protocol hears of a connection only after the handshake. So the library listens without
    TLS, and the protocol begins it; handshake and head of the first request share one time.
    """

    tls: ClassVar[ssl.SSLContext | None] = None
    each, most = Settings().connections_each, Settings().connections
    _arrivals = count()

    arrival: int
    address: str
    """Where it comes from."""
    _aborted = False
    _lost = False
    _early = b""
    _handshake: asyncio.Task[None] | None = None

    # As above.
    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Let somebody in, and close the oldest that is one too many of those not paired."""
        self.arrival = next(self._arrivals)
        self.address = transport.get_extra_info("peername")[0]
        if self.tls is None:
            super().connection_made(transport)
        else:
            # HTTP has not begun, but it is open, and is to be counted, closed and waited for.
            self.transport = transport
            self.connections.add(self)
            self._watch()
            transport.pause_reading()
            self._handshake = self.loop.create_task(self._secure(transport, self.tls))
        self._make_room()

    def connection_lost(self, exc: Exception | None) -> None:
        """Count no longer."""
        self._lost = True
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what arrived; what comes with the end of a handshake is kept until HTTP begins."""
        if self._begun:
            super().data_received(data)
        else:
            self._early += data

    @property
    def paired(self) -> bool:
        """Whether the door of paired devices let its last request in."""
        return bool(self.scope) and "device" in self.scope["state"]

    @property
    def _begun(self) -> bool:
        """Whether there is more than a socket: what controls the flow of HTTP comes with it."""
        return self.flow is not None

    async def _secure(self, raw: asyncio.Transport, tls: ssl.SSLContext) -> None:
        """Shake hands, then begin with HTTP."""
        if raw.is_closing():
            return
        secured: asyncio.Transport | None = None
        try:
            secured = await self.loop.start_tls(
                raw, self, tls, server_side=True, ssl_shutdown_timeout=self.seconds
            )
        except OSError:
            # Whoever does not know how is told by the handshake itself.
            raw.abort()
        if self._lost:
            return
        if secured is None:
            self.connection_lost(None)
            return
        super().connection_made(secured)
        if self._early:
            self.data_received(self._early)

    def _give_up(self) -> None:
        if self._begun:
            super()._give_up()
        else:
            self.transport.abort()

    def _make_room(self) -> None:
        """Close one of no paired device where one is too many; its own is new, and one of them.

        It is the oldest of its own address where that holds too many; else of the address with
        the most strangers, so that who has just come is not swept away before it can be paired.
        """
        here = [each for each in self.connections if isinstance(each, Fair) and not each._aborted]
        strangers = [each for each in here if not each.paired]
        if sum(each.address == self.address for each in here) > self.each:
            strangers = [each for each in strangers if each.address == self.address]
        elif len(here) <= self.most:
            return
        held = Counter(each.address for each in strangers)
        oldest = min(strangers, key=lambda each: (-held[each.address], each.arrival))
        oldest._aborted = True
        oldest.transport.abort()


def fair_over_tls(held: Certificate) -> type[Fair]:
    """Return the protocol with a certificate."""
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(held.file, held.key_file)
    return type("FairOverTls", (Fair,), {"tls": context})
