"""Writers of files in processes of their own."""

from __future__ import annotations

from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

from conewright.errors import BadInputError
from conewright.job.text.job_file import JobFile, open_job, write_text
from conewright.job.text.readings import with_reading
from conewright.whole_file import write_instead, write_new

if TYPE_CHECKING:
    from collections.abc import Callable
    from multiprocessing.queues import Queue
    from multiprocessing.synchronize import Barrier

    Writer = Callable[[Path, str, int, Barrier, "Queue[str]"], None]

__all__ = ["NAMES", "add_lines", "add_readings", "make_files", "told_by_three"]

NAMES = ("ann", "bob", "cay")


def told_by_three(writer: Writer, place: Path, rounds: int) -> list[str]:
    """Let three write at once; return everything that they were told is written."""
    context = get_context("spawn")
    start, told = context.Barrier(len(NAMES)), context.Queue()
    clients = [
        context.Process(target=writer, args=(place, name, rounds, start, told)) for name in NAMES
    ]
    for client in clients:
        client.start()
    # A queue is emptied first: who filled it does not end before.
    lists = [told.get().split() for _ in clients]
    for client in clients:
        client.join()
        assert client.exitcode == 0
    return [each for of_one in lists for each in of_one]


def add_lines(place: Path, name: str, rounds: int, start: Barrier, told: Queue[str]) -> None:
    """Add lines to a file that others add lines to."""
    start.wait()
    lines = [f"{name}-{number}" for number in range(rounds)]
    for line in lines:
        _until_written(lambda line=line: _add(place, line))  # type: ignore[misc]
    told.put(" ".join(lines))


def _add(place: Path, line: str) -> None:
    before = place.read_bytes()
    write_instead(place, before + f"{line}\n".encode(), of=before)


def add_readings(place: Path, name: str, rounds: int, start: Barrier, told: Queue[str]) -> None:
    """Write readings into a job file that others write readings into."""
    start.wait()
    values = [f"{name}-{number}" for number in range(rounds)]
    for value in values:
        _until_written(lambda value=value: _add_reading(open_job(place), value))  # type: ignore[misc]
    told.put(" ".join(values))


def _add_reading(file: JobFile, value: str) -> None:
    text = with_reading(file.text, file.format, test="look", at="door-fl", value=value, beside=True)
    write_text(file, text)


def _until_written(write: Callable[[], object]) -> None:
    while True:
        try:
            write()
        except BadInputError as error:
            if "changed by somebody else" not in str(error):
                raise
        else:
            return


def make_files(place: Path, name: str, rounds: int, start: Barrier, told: Queue[str]) -> None:
    """Make files that others want to make as well."""
    start.wait()
    made = []
    for number in range(rounds):
        try:
            write_new({place / str(number): name.encode()})
        except BadInputError as error:
            if "found a file of that name" not in str(error):
                raise
        else:
            made.append(f"{number}-{name}")
    told.put(" ".join(made))
