"""Damaged databases, and every question that can be put to one."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from small_texts import small_job

from conewright.errors import ConewrightError
from conewright.store import Saved, Store

__all__ = ["KINDS", "damaged", "made_in", "question"]

TITLES = ("Ice cream van", "Mobile library")


def made_in(file: Path) -> bytes:
    """Make a small database: two jobs with a few revisions, one deleted, and a device."""
    with Store.open(f"sqlite:///{file}") as store:
        for title in TITLES:
            saved = store.create(small_job(title), who="Ann")
            for number in (1, 2):
                text = small_job(title, cutout=f"{140 + number} mm")
                saved = store.save(saved.job_id, text, base=number, who="Bob")
        store.delete(saved.job_id, base=saved.revision, who="Ann")
        store.add_device("bench phone", "a1b2")
    return file.read_bytes()


def damaged(content: bytes, kind: str, chance: random.Random) -> bytes:
    """Return the content of a database, damaged."""
    return KINDS[kind](bytearray(content), chance)


def _flipped(content: bytearray, chance: random.Random) -> bytes:
    for _ in range(chance.choice((1, 8, 64, 512))):
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    return bytes(content)


def _cut(content: bytearray, chance: random.Random) -> bytes:
    return bytes(content[: chance.randrange(len(content))])


def _zeroed(content: bytearray, chance: random.Random) -> bytes:
    size = chance.choice((16, 512, 4096, 16_384))
    start = chance.randrange(len(content))
    end = min(start + size, len(content))
    content[start:end] = bytes(end - start)
    return bytes(content)


def _swapped(content: bytearray, chance: random.Random) -> bytes:
    """Put one page in the place of another, as a disk may that loses its way."""
    pages = range(0, len(content), 4096)
    one, other = chance.sample(pages, 2)
    content[one : one + 4096] = content[other : other + 4096]
    return bytes(content)


KINDS: dict[str, Callable[[bytearray, random.Random], bytes]] = {
    "flipped": _flipped,
    "cut": _cut,
    "zeroed": _zeroed,
    "swapped": _swapped,
}


def question(file: Path) -> int:
    """Put every question to a database; return how many were answered.

    What is raised but for our own errors is not caught, and what is answered must be whole.
    """
    with suppress(ConewrightError), Store.open(f"sqlite:///{file}") as store:
        return sum(_answered(ask) for ask in _questions(store))
    return 0


def _answered(ask: Callable[[], None]) -> bool:
    try:
        ask()
    except ConewrightError:
        return False
    return True


def _questions(store: Store) -> Iterator[Callable[[], None]]:
    ids = {"none-abcd"}

    def lists() -> None:
        for deleted in (False, True):
            for each in store.jobs(deleted=deleted):
                ids.add(each.job_id)
                _hold_texts(each.job_id, each.name, each.title, each.who, each.note, each.state)
                _hold_moment(each.saved_at)

    yield lists
    yield lambda: _hold_texts(*(each.job_id for each in store.jobs(search="van")))
    yield lambda: _hold_texts(*(each.name for each in store.devices()))
    yield lambda: _hold_texts(*(each.name for each in [store.device_by_token_hash("a1b2")] if each))
    for job_id in sorted(ids):
        yield from _questions_of(store, job_id)
    yield lambda: store.revoke_device(1)
    yield lambda: _hold_texts(store.add_device("another", "c3d4").name)
    yield lambda: _hold_saved(store.create(small_job("A third"), who="Cay"))


def _questions_of(store: Store, job_id: str) -> Iterator[Callable[[], None]]:
    def newest() -> Saved:
        return store.get(job_id, include_deleted=True)

    def history() -> None:
        for note in store.revisions(job_id):
            _hold_texts(note.who, note.note)
            _hold_moment(note.saved_at)

    yield history
    yield lambda: _hold_saved(newest())
    yield lambda: _hold_texts(newest().job.about.title)
    yield lambda: _hold_saved(store.get(job_id, 1))
    yield lambda: _hold_texts(store.find_by_name(job_id) or "")
    yield lambda: _hold_saved(
        store.save(job_id, small_job("New"), base=newest().revision, who="Cay")
    )
    yield lambda: _hold_saved(store.undo(job_id, base=newest().revision, who="Cay"))
    yield lambda: _hold_saved(store.restore(job_id, 1, base=newest().revision, who="Cay"))
    yield lambda: store.delete(job_id, base=newest().revision, who="Cay")


def _hold_saved(saved: Saved) -> None:
    _hold_texts(saved.job_id, saved.name, saved.who, saved.note, saved.text)
    _hold_moment(saved.saved_at)
    assert type(saved.revision) is int
    assert type(saved.deleted) is bool


def _hold_texts(*texts: str | None) -> None:
    assert [text for text in texts if type(text) is not str] == []


def _hold_moment(moment: datetime) -> None:
    assert moment.utcoffset() is not None
