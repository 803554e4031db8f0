"""Clients that are killed, and clients that race: no acknowledged revision is ever lost."""

import random
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from itertools import islice
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from threading import Barrier

import pytest
from clients import add_marks, digest, keep_saving, nursery, open_and_leave
from small_texts import small_job
from sqlalchemy import create_engine, text

from conewright.store import Store

pytestmark = pytest.mark.slow

SAVES = 300
CLIENTS = 20
MARKS = 3


def test_300_saves_outlast_kills_at_random_moments(url: str) -> None:
    with Store.open(url) as store:
        job_id = store.create(small_job(), who="Ann").job_id
    moments = random.Random(1)
    acknowledged: dict[int, str] = {}
    kills = 0
    while len(acknowledged) < SAVES:
        with _saving(url, job_id) as (client, acks):
            # While it opens, where none is waited for; else while it reads, writes or tells.
            awaited = moments.randrange(21)
            acknowledged |= dict(islice(_told(acks), awaited))
            time.sleep(moments.uniform(0.0, 0.02 if awaited else 0.1))
            assert client.exitcode is None
            client.kill()
            acknowledged |= dict(_told(acks))
        kills += 1
        _hold_whole(url, job_id, acknowledged)
    # How many saves a client gets in before it is killed depends on the machine.
    assert kills >= 3
    with Store.open(url) as store:
        newest = store.get(job_id)
        again = store.save(job_id, small_job(), base=newest.revision, who="Ann")
        assert again.revision == newest.revision + 1


@contextmanager
def _saving(url: str, job_id: str) -> Iterator[tuple[ForkServerProcess, Connection]]:
    context = nursery()
    acks, end = context.Pipe(duplex=False)
    client = context.Process(target=keep_saving, args=(url, job_id, end))
    client.start()
    end.close()
    try:
        yield client, acks
    finally:
        client.kill()
        client.join()
        acks.close()


def _told(acks: Connection) -> Iterator[tuple[int, str]]:
    """Yield what a client has told, also what is still in the pipe after its death."""
    with suppress(EOFError):
        while acks.poll(None):
            yield acks.recv()


def _hold_whole(url: str, job_id: str, acknowledged: dict[int, str]) -> None:
    """Hold that a store just works after a kill, and all that was acknowledged is there."""
    with Store.open(url) as store:
        numbers = [each.revision for each in store.revisions(job_id)]
        assert numbers == list(range(len(numbers), 0, -1))
        assert set(acknowledged) <= set(numbers)
    engine = create_engine(url)
    with engine.connect() as connection:
        rows = connection.execute(text("SELECT number, text FROM revisions"))
        kept = {row.number: digest(row.text) for row in rows}
        if engine.dialect.name == "sqlite":
            assert connection.scalar(text("PRAGMA integrity_check")) == "ok"
            assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
    engine.dispose()
    assert acknowledged.items() <= kept.items()


def test_20_clients_saving_the_same_job_lose_no_update(url: str) -> None:
    with Store.open(url) as store:
        job_id = store.create(small_job(), who="Ann").job_id
        names = [f"client-{number:02d}" for number in range(CLIENTS)]
        context = nursery()
        start = context.Barrier(CLIENTS)
        clients = [
            context.Process(target=add_marks, args=(url, job_id, name, MARKS, start))
            for name in names
        ]
        _run(clients)
        newest = store.get(job_id)
        assert newest.revision == 1 + CLIENTS * MARKS
        wanted = {f"# {name}-{number}" for name in names for number in range(MARKS)}
        added = newest.text.removeprefix(small_job()).splitlines()
        assert sorted(added) == sorted(wanted)
        history = store.revisions(job_id)
        assert len(history) == newest.revision
        assert all(store.get(job_id, each.revision).text in newest.text for each in history)


def test_a_store_that_many_open_for_the_first_time_is_made_once(url: str) -> None:
    context = nursery()
    start = context.Barrier(8)
    _run([context.Process(target=open_and_leave, args=(url, start)) for _ in range(8)])
    with Store.open(url) as store:
        assert store.create(small_job(), who="Ann").revision == 1


def _run(clients: list[ForkServerProcess]) -> None:
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    codes = [client.exitcode for client in clients]
    for client in clients:
        client.kill()
    assert codes == [0] * len(clients)


@pytest.mark.parametrize("threads", [8])
def test_threads_may_share_a_store(store: Store, threads: int) -> None:
    with ThreadPoolExecutor(threads) as pool:
        made = list(pool.map(lambda n: store.create(small_job(f"Van {n}"), who="Ann"), range(24)))
        texts = list(pool.map(lambda saved: store.get(saved.job_id).text, made))
    assert texts == [small_job(f"Van {n}") for n in range(24)]
    assert len(store.jobs()) == 24


def test_threads_may_make_a_store_each_at_once(tmp_path: Path) -> None:
    # alembic works on whichever connection was given last in the whole process.
    start = Barrier(8)

    def made(number: int) -> int:
        start.wait()
        with Store.open(f"sqlite:///{tmp_path / f'{number}.sqlite'}") as store:
            return store.create(small_job(), who="Ann").revision

    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(made, range(8))) == [1] * 8
