"""Damaged databases, logs and job files: an error in words or a right answer."""

import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from damage import KINDS, damaged, made_in, question
from small_texts import small_job

from attack.tally import Limits, Tally
from conewright.job.text.conversion import json_from_toml
from conewright.job.text.job_file import open_job, write_text
from conewright.job.text.parsing import load
from conewright.job.text.readings import with_reading
from conewright.job.text.starter import starter_text
from conewright.store import Store

__all__ = ["run"]

LOGS = ("cut", "flipped", "zeroed")


def run(tally: Tally, limits: Limits) -> None:
    """Damage job files, databases and their logs by turns."""
    chance = random.Random(tally.seed)
    with TemporaryDirectory() as place:
        folder = Path(place)
        sound, logged = made_in(folder / "sound.sqlite"), _with_log(folder)
        files = _damaged_files(folder, chance)
        while tally.tried < limits.target and limits.left:
            way = chance.random()
            if way < 0.4:
                _database(tally, folder, sound, chance)
            elif way < 0.6:
                _log(tally, folder, logged, chance)
            else:
                read, content = next(files)
                tally.call(read, content)


def _database(tally: Tally, folder: Path, sound: bytes, chance: random.Random) -> None:
    file = folder / "damaged.sqlite"
    _clear(file)
    content = damaged(sound, chance.choice(sorted(KINDS)), chance)
    file.write_bytes(content)
    tally.call(lambda: question(file), content)


def _with_log(folder: Path) -> tuple[bytes, bytes]:
    """Return a database and the log of what is not in it yet."""
    file, copy = folder / "logged.sqlite", folder / "copy.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        saved = store.create(small_job(), who="Ann")
        for number in range(5):
            text = f"{small_job()}# {number}\n"
            saved = store.save(saved.job_id, text, base=saved.revision, who="Ann")
        shutil.copy(file, copy)
        return copy.read_bytes(), _log_of(file).read_bytes()


def _log_of(file: Path) -> Path:
    return file.with_name(f"{file.name}-wal")


def _log(tally: Tally, folder: Path, logged: tuple[bytes, bytes], chance: random.Random) -> None:
    file = folder / "damaged.sqlite"
    _clear(file)
    content = damaged(logged[1], chance.choice(LOGS), chance)
    file.write_bytes(logged[0])
    _log_of(file).write_bytes(content)
    tally.call(lambda: question(file), content)


def _clear(file: Path) -> None:
    for each in file.parent.glob(f"{file.name}*"):
        each.unlink()


def _damaged_files(
    folder: Path, chance: random.Random
) -> Iterator[tuple[Callable[[], object], bytes]]:
    """Yield ways to read a job file that was cut at every so many bytes, or else damaged."""
    texts = {"toml": starter_text(), "json": json_from_toml(starter_text())}
    while True:
        for ending, text in texts.items():
            sound, file = text.encode(), folder / f"van.{ending}"
            step, start = chance.randrange(20, 60), chance.randrange(20)
            for end in range(start, len(sound), step):
                content = sound[:end]
                if chance.random() < 0.5:
                    content = damaged(sound, chance.choice(LOGS), chance)
                yield lambda file=file, content=content: _read(file, content), content  # type: ignore[misc]


def _read(file: Path, content: bytes) -> None:
    """Read a job file; where it can be read, a reading is written into it and read again."""
    file.write_bytes(content)
    load(file)
    opened = open_job(file)
    text = with_reading(opened.text, opened.format, test="look", at="door-fl", value="weaker")
    write_text(opened, text)
    load(file)
