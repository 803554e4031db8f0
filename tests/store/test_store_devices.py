"""The list of devices that may come in."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import event, update

from conewright.store import Device, NotFound, Store, StoreError, schema


def test_a_device_is_known_by_the_hash_of_its_token_until_it_is_revoked(store: Store) -> None:
    phone = store.add_device("phone\nin the garage", "hash-1")
    laptop = store.add_device("laptop", "hash-2")
    assert (phone.name, phone.revoked_at) == ("phone in the garage", None)
    assert phone.paired_at.tzinfo is UTC
    assert store.device_by_token_hash("hash-1") == phone
    assert store.device_by_token_hash("hash-3") is None
    store.revoke_device(phone.id)
    assert store.device_by_token_hash("hash-1") is None
    assert store.device_by_token_hash("hash-2") == laptop
    last, first = store.devices()
    assert last == laptop
    assert first.id == phone.id
    assert first.revoked_at is not None
    store.revoke_device(phone.id)
    assert store.devices()[1] == first


def test_a_token_is_given_once_and_an_unknown_device_is_named(store: Store) -> None:
    store.add_device("phone", "hash-1")
    with pytest.raises(StoreError, match="given to a device before"):
        store.add_device("other phone", "hash-1")
    with pytest.raises(NotFound, match="device 77: found none"):
        store.revoke_device(77)
    assert len(store.devices()) == 1


def aged(store: Store, device: Device, *, paired: timedelta, used: timedelta) -> None:
    """Let it be that long ago that a device was paired, and came last."""
    now = datetime.now(UTC)
    change = update(schema.devices).where(schema.devices.c.id == device.id)
    with store._database.writing() as connection:
        connection.execute(change.values(paired_at=now - paired, used_at=now - used))


HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.mark.parametrize(
    ("paired", "used", "enters"),
    [
        (364 * DAY, DAY, True),
        (365 * DAY + HOUR, DAY, False),
        (100 * DAY, 90 * DAY - HOUR, True),
        (100 * DAY, 90 * DAY + HOUR, False),
        (90 * DAY + HOUR, 90 * DAY + HOUR, False),
    ],
)
def test_a_device_is_let_in_for_90_days_unused_and_a_year_at_most(
    store: Store, paired: timedelta, used: timedelta, enters: bool
) -> None:
    phone = store.add_device("phone", "hash-1")
    aged(store, phone, paired=paired, used=used)
    assert (store.device_by_token_hash("hash-1") is not None) == enters
    (listed,) = store.devices()
    assert (datetime.now(UTC) < listed.until) == enters
    assert listed.revoked_at is None


def test_its_use_is_noted_once_a_day(store: Store) -> None:
    phone = store.add_device("phone", "hash-1")
    writes = []
    event.listen(
        store._database.engine,
        "begin",
        lambda connection: writes.append(
            connection.get_execution_options().get("conewright_writes")
        ),
    )
    for _ in range(3):
        store.note_use(phone)
    assert writes == []
    aged(store, phone, paired=80 * DAY, used=80 * DAY)
    writes.clear()
    for _ in range(3):
        found = store.device_by_token_hash("hash-1")
        assert found is not None
        store.note_use(found)
    assert sum(bool(each) for each in writes) == 1
    (listed,) = store.devices()
    # What is left is the year.
    assert listed.until - listed.paired_at > 160 * DAY
