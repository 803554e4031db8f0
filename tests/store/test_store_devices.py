"""The list of devices that may come in."""

from datetime import UTC

import pytest

from conewright.store import NotFound, Store, StoreError


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
