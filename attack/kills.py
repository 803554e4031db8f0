"""Programs that are killed while they save: what was acknowledged is there, and all is whole."""

import random
import sqlite3
import time
import traceback
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from itertools import islice
from multiprocessing.connection import Connection
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from clients import digest, keep_saving, nursery
from small_texts import small_job

from attack.tally import Limits, Tally, kind_of
from conewright.job.text.parsing import load
from conewright.job.text.starter import starter_text
from conewright.store import Store
from conewright.whole_file import write_instead

__all__ = ["keep_writing", "run"]

LANES = 4
"""Writers side by side: each waits for the disk most of its life."""
LONGEST_LIFE = 5
"""Kills that one store lives through, before a new one keeps them quick."""

Acks = list[tuple[int, str]]


def run(tally: Tally, limits: Limits) -> None:
    """Kill writers of stores and of job files at moments of chance, several side by side."""
    parts = [Tally(tally.part, LANES * tally.seed + n, tally.folder) for n in range(LANES)]
    # What starts the writers is there, and has imported what they need, once the first has lived.
    first = nursery().Process(target=nursery)
    first.start()
    first.join()
    limits = limits.begun()
    with ThreadPoolExecutor(LANES) as pool:
        list(pool.map(lambda part: _lane(part, limits.share(1 / LANES, 1.0)), parts))
    for part in parts:
        tally.add(part)


def _lane(tally: Tally, limits: Limits) -> None:
    chance = random.Random(tally.seed)
    while tally.tried < limits.target and limits.left:
        with TemporaryDirectory() as folder:
            for way in (_store_outlasts, _file_outlasts):
                try:
                    way(Path(folder), chance, tally, limits)
                except Exception as error:
                    given = " ".join(map(str, Path(folder).iterdir()))
                    tally.find(f"after a kill: {kind_of(error)}", given, traceback.format_exc())


def _store_outlasts(folder: Path, chance: random.Random, tally: Tally, limits: Limits) -> None:
    file = folder / "jobs.sqlite"
    url = f"sqlite:///{file}"
    with Store.open(url) as store:
        job_id = store.create(small_job(), who="Ann").job_id
    told: dict[int, str] = {}
    for _ in range(LONGEST_LIFE):
        if tally.tried >= limits.target or not limits.left:
            return
        told |= dict(_killed(keep_saving, (url, job_id), chance))
        lost = _lost_revisions(file, job_id, told)
        if lost:
            tally.find("an acknowledged revision is lost", file.read_bytes(), lost)
        else:
            tally.answered += 1


def _lost_revisions(file: Path, job_id: str, told: dict[int, str]) -> str:
    """Return what is wrong with a store after a kill; nothing where nothing is."""
    with Store.open(f"sqlite:///{file}") as store:
        numbers = [each.revision for each in store.revisions(job_id)]
        newest = store.get(job_id)
    with closing(sqlite3.connect(file)) as connection:
        rows = connection.execute("SELECT number, text FROM revisions").fetchall()
        sound = connection.execute("PRAGMA integrity_check").fetchone()[0]
    kept = {number: digest(text) for number, text in rows}
    if sound != "ok" or numbers != list(range(len(numbers), 0, -1)):
        return f"{sound}: {numbers}"
    if digest(newest.text) != kept[newest.revision]:
        return f"the newest is not revision {newest.revision}"
    lost = {number for number, text in told.items() if kept.get(number) != text}
    return f"revisions {sorted(lost)}" if lost else ""


def _file_outlasts(folder: Path, chance: random.Random, tally: Tally, limits: Limits) -> None:
    for number in range(LONGEST_LIFE):
        if tally.tried >= limits.target or not limits.left:
            return
        file = folder / f"van-{number}.toml"
        file.write_text(starter_text(), encoding="utf-8")
        told = _killed(keep_writing, (file,), chance)
        text = file.read_text(encoding="utf-8")
        load(file)
        if not text.startswith(starter_text()) or any(line not in text for _, line in told):
            tally.find("an acknowledged line is lost", text, repr(told))
        else:
            tally.answered += 1


def keep_writing(file: Path, acknowledged: Connection) -> None:
    """Write a job file again and again with a line more, telling each once it is kept."""
    number = 0
    while True:
        before = file.read_bytes()
        line = f"# line {number}\n"
        write_instead(file, before + line.encode(), of=before)
        acknowledged.send((number, line))
        number += 1


def _killed(writer: Callable[..., None], given: tuple[Any, ...], chance: random.Random) -> Acks:
    """Let a writer run, kill it at a moment of chance, and return what it acknowledged."""
    context = nursery()
    acks, end = context.Pipe(duplex=False)
    process = context.Process(target=writer, args=(*given, end), daemon=True)
    process.start()
    end.close()
    try:
        # While it opens, where none is waited for; else while it reads, writes or tells.
        awaited = chance.randrange(6)
        told = list(islice(_told(acks), awaited))
        time.sleep(chance.uniform(0.0, 0.01 if awaited else 0.05))
        if process.exitcode is not None:
            raise RuntimeError(f"the writer ended by itself, exit code {process.exitcode}")
        process.kill()
        return told + list(_told(acks))
    finally:
        process.kill()
        process.join()
        acks.close()


def _told(acks: Connection) -> Iterator[tuple[int, str]]:
    with suppress(EOFError):
        while acks.poll(None):
            yield acks.recv()
