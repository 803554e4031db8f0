"""The devices that were let in, as the store keeps them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Row, insert, select, update

from conewright.store import schema
from conewright.store.database import Database, row_of, rows_of
from conewright.store.errors import Clash, NotFound, StoreError
from conewright.store.queries import LARGEST_NUMBER
from conewright.store.records import Device
from conewright.store.texts import one_line

__all__ = ["DeviceList"]

NOTED_AFTER = timedelta(days=1)
_COLUMNS = (
    schema.devices.c.id,
    schema.devices.c.name,
    schema.devices.c.paired_at,
    schema.devices.c.used_at,
    schema.devices.c.revoked_at,
)


class DeviceList:
    """The part of a store that knows paired devices. It keeps hashes of tokens, never tokens."""

    _database: Database

    def add_device(self, name: str, token_hash: str) -> Device:
        """Let a device in; raises StoreError where that hash belongs to another one already."""
        now = datetime.now(UTC)
        row = {
            "name": one_line(name) or "device",
            "token_hash": token_hash,
            "paired_at": now,
            "used_at": now,
        }
        try:
            with self._database.writing() as connection:
                made = rows_of(connection, insert(schema.devices).values(row).returning(*_COLUMNS))
                return _device(made[0])
        except Clash:
            raise StoreError("this token was given to a device before") from None

    def devices(self) -> tuple[Device, ...]:
        """Return every device that was ever let in, the latest first."""
        wanted = select(*_COLUMNS).order_by(schema.devices.c.id.desc())
        with self._database.reading() as connection:
            return tuple(_device(row) for row in rows_of(connection, wanted))

    def device_by_token_hash(self, token_hash: str) -> Device | None:
        """Return the device of a token; None where there is none, it was revoked, or is too old."""
        there = schema.devices.c
        wanted = select(*_COLUMNS).where(there.token_hash == token_hash, there.revoked_at.is_(None))
        with self._database.reading() as connection:
            row = row_of(connection, wanted)
        device = None if row is None else _device(row)
        return device if device is not None and datetime.now(UTC) < device.until else None

    def note_use(self, device: Device) -> None:
        """Note that a device came; once a day is enough, for each note is a write."""
        now = datetime.now(UTC)
        if now - device.used_at < NOTED_AFTER:
            return
        there = schema.devices.c
        with self._database.writing() as connection:
            connection.execute(
                update(schema.devices).where(there.id == device.id).values(used_at=now)
            )

    def revoke_device(self, device_id: int) -> None:
        """Let a device in no longer; it stays in the list. Raises NotFound."""
        there = schema.devices.c
        change = update(schema.devices).where(there.id == device_id, there.revoked_at.is_(None))
        with self._database.writing() as connection:
            possible = 1 <= device_id <= LARGEST_NUMBER
            if (
                not possible
                or row_of(connection, select(there.id).where(there.id == device_id)) is None
            ):
                raise NotFound(f"device {device_id}: found none of that number")
            connection.execute(change.values(revoked_at=datetime.now(UTC)))


def _device(row: Row[*tuple[Any, ...]]) -> Device:
    return Device(row.id, row.name, row.paired_at, row.used_at, row.revoked_at)
