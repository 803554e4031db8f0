"""A long day in minutes: ten clients without a pause, and whether the server stays as it was.

    python -m benchmarks.long_run [minutes]

Each client has a job of its own and goes on, in an order of its own that is the same each time,
through pages, pictures, papers, saves and edits; after some saves it takes a new job and deletes
the old one. The server keeps answers, pages and papers up to a number of each, so that its memory
grows until these are full; clients work until then, and only then the clock starts.

It is looked at each second. A line each 30 s says the least that was seen, of the server and of
its workers together: what stays with them, not what an answer takes for a moment. The run is flat
where the least of the last minute is less than 5 % over that of the first, in the memory of each,
and no more file descriptors stay open at the end than were once open in the first minute. Else it
ends with code 1. The slope is that of a line fitted through all after the first minute.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from statistics import linear_regression
from threading import Event, Lock

import httpx2

from benchmarks.pages import CLIENTS, PAGES
from benchmarks.served import children, client_of, keep, memory, open_files, server
from conewright.job.text.bounds import LONGEST_SMALL
from conewright.web.base.settings import Settings

__all__ = ["main"]

MINUTES = 10.0
LINE_SECONDS = 30.0
GROWTH = 0.05
"""By how much memory may have grown in a run that is called flat."""
SAVES_OF_A_JOB = 20
FULL = 1200
"""Requests that fill every cache: of about one in seven comes a new text, of which 64 are kept;
drawings and pages of them fill theirs later."""
READERS, LONG = Settings().readers, LONGEST_SMALL
"""Processes that read long texts, started when the first ones come, and what makes a text long."""
PATIENCE = 600.0
"""Seconds that a client waits: on a busy machine ten who ask for what nobody knows wait long."""
PLANS = ("put-right", "slim-fronts")
PICTURES = ("feed.svg", "hear.svg", "fit.svg", "find.svg", "compare.svg")
BUSY = 503


@dataclass(frozen=True, slots=True)
class Look:
    """What server and workers take at a moment: memory [MB], open file descriptors."""

    server: float
    workers: float
    files: int
    worker_files: int


@dataclass(frozen=True, slots=True)
class Line:
    """The least of the looks of some seconds, when they ended [s], and the most files."""

    at: float
    server: float
    workers: float
    files: int
    worker_files: int
    most_files: int
    most_worker_files: int


@dataclass
class Tally:
    """What was asked so far, by kind, and how often the server was too busy to answer."""

    asked: Counter[str] = field(default_factory=Counter)
    busy: int = 0
    _lock: Lock = field(default_factory=Lock)

    def add(self, kind: str, status: int) -> None:
        """Count a request."""
        with self._lock:
            self.asked[kind] += 1
            self.busy += status == BUSY


class Client:
    """One who works on a job without a pause."""

    def __init__(self, http: httpx2.Client, number: int, tally: Tally) -> None:
        self._http = http
        self._number = number
        self._random = Random(number)
        self._tally = tally
        self._jobs = 0
        self._take_job()

    def work_until(self, end: Callable[[], bool]) -> None:
        """Do one thing after the other."""
        acts = (*[self._page] * 24, *[self._picture] * 8, self._papers, self._save, *self._edits)
        while not end():
            self._random.choice(acts)()

    @property
    def _edits(self) -> tuple[Callable[[], None], ...]:
        return self._edit_text, self._edit_part, self._answer, self._preview

    def _take_job(self) -> None:
        self._jobs += 1
        self._saves = 0
        self._job = keep(self._http, f"Client {self._number}, job {self._jobs}")

    def _page(self) -> None:
        path = self._random.choice(list(PAGES.values()))
        self._ask("page", "GET", path.format(job=self._job))

    def _picture(self) -> None:
        name, newest = self._random.choice(PICTURES), self._newest()[0]
        revision = self._random.randint(max(1, newest - 1), newest)
        self._ask("picture", "GET", f"{self._job}/{name}?revision={revision}")

    def _papers(self) -> None:
        plan = self._random.choice(PLANS)
        made = self._ask("papers", "GET", f"/api/v1{self._job}/make?proposal={plan}")
        if made.status_code == 200:
            name = self._random.choice(made.json()["files"])["name"]
            self._ask("papers", "GET", f"/api/v1{self._job}/make/{name}?proposal={plan}")

    def _save(self) -> None:
        revision, tag, text = self._newest()
        head = {"if-match": tag, "content-type": "application/toml"}
        changed = f"{text.rstrip()}\n# save {revision}\n".encode()
        self._ask("save", "PUT", f"/api/v1{self._job}", content=changed, headers=head)
        self._saves += 1
        if self._saves == SAVES_OF_A_JOB:
            head = {"if-match": self._newest()[1]}
            self._ask("save", "DELETE", f"/api/v1{self._job}", headers=head)
            self._take_job()

    def _edit_text(self) -> None:
        revision, _, text = self._newest()
        fields = {"base": str(revision), "text": f"{text.rstrip()}\n# edit {revision}\n"}
        self._ask("edit", "POST", f"{self._job}/text", data=fields)

    def _edit_part(self) -> None:
        volume = f"{7 + self._random.random():.2f} m3 ± 1 m3"
        fields = {"base": str(self._newest()[0]), "v:vehicle.cabin_volume": volume}
        self._ask("edit", "POST", f"{self._job}/values", data=fields)

    def _answer(self) -> None:
        base = str(self._newest()[0])
        fields = {"base": base, "test": "pair-resistance", "at": "rear-left", "value": "2.1 ohm"}
        self._ask("edit", "POST", f"{self._job}/readings", data=fields)
        again = {"base": str(self._newest()[0])}
        self._ask("edit", "POST", f"{self._job}/readings/undo", data=again)

    def _preview(self) -> None:
        fields = {"what:0": "battery.health", "value:0": f"{0.5 + self._random.random() / 2:.2f}"}
        fields |= {"base": str(self._newest()[0]), "id": "put-right", "name": "as typed"}
        self._ask("edit", "POST", f"{self._job}/preview/put-right", data=fields)

    def _newest(self) -> tuple[int, str, str]:
        """Return the number, the tag and the text of the newest revision."""
        head = {"accept": "application/toml"}
        answer = self._ask("read", "GET", f"/api/v1{self._job}", headers=head)
        tag = answer.headers["etag"]
        return int(tag.strip('"').rpartition("-")[2]), tag, answer.text

    def _ask(self, kind: str, method: str, path: str, **sent: object) -> httpx2.Response:
        answer = self._http.request(method, path, **sent)  # type: ignore[arg-type]
        self._tally.add(kind, answer.status_code)
        if answer.status_code >= 400 and answer.status_code != BUSY:
            raise RuntimeError(f"{method} {path}: {answer.status_code}\n{answer.text[:500]}")
        return answer


def main(minutes: float) -> bool:
    """Run it and say how it goes; returns whether the server stayed as it was."""
    tally, stop = Tally(), Event()
    with (
        tempfile.TemporaryDirectory() as folder,
        server(Path(folder)) as (process, origin),
        ThreadPoolExecutor(CLIENTS) as pool,
    ):
        list(pool.map(_start_reader, [origin] * READERS))
        work = [pool.submit(_work, origin, number, tally, stop) for number in range(CLIENTS)]
        try:
            while tally.asked.total() < FULL and _all_work(work):
                time.sleep(0.2)
            print(f"caches full after {tally.asked.total()} requests; the clock starts", flush=True)
            lines = list(_lines(process.pid, 60.0 * minutes, tally, work))
        finally:
            stop.set()
        for each in work:
            each.result()
    return _judged(lines, tally)


def _start_reader(origin: str) -> None:
    """Keep a text and delete it that is long enough to be read in a process of its own."""
    with client_of(origin, seconds=PATIENCE) as http:
        job = keep(http, "Long", more=f"# {'-' * LONG}\n")
        tag = http.get(f"/api/v1{job}").headers["etag"]
        http.delete(f"/api/v1{job}", headers={"if-match": tag}).raise_for_status()


def _work(origin: str, number: int, tally: Tally, stop: Event) -> None:
    with client_of(origin, seconds=PATIENCE) as http:
        Client(http, number, tally).work_until(stop.is_set)


def _all_work(work: Sequence[Future[None]]) -> bool:
    """Whether no client has ended; one that has met what it should not have."""
    return not any(each.done() for each in work)


def _lines(pid: int, seconds: float, tally: Tally, work: Sequence[Future[None]]) -> Iterator[Line]:
    """Look each second, and say and give a line each LINE_SECONDS."""
    start = time.monotonic()
    while (began := time.monotonic() - start) < seconds and _all_work(work):
        looks = []
        while (now := time.monotonic() - start) < began + LINE_SECONDS and _all_work(work):
            looks.append(_look(pid))
            time.sleep(1.0)
        line = _line(now, looks)
        print(_said(line, tally), flush=True)
        yield line


def _look(pid: int) -> Look:
    started = children(pid)
    return Look(
        server=memory(pid),
        # One that ends while it is looked at holds nothing any more.
        workers=sum(held for each in started if (held := memory(each)) == held),
        files=open_files(pid),
        worker_files=sum(map(open_files, started)),
    )


def _line(at: float, looks: Sequence[Look]) -> Line:
    return Line(
        at=at,
        server=min(each.server for each in looks),
        workers=min(each.workers for each in looks),
        files=min(each.files for each in looks),
        worker_files=min(each.worker_files for each in looks),
        most_files=max(each.files for each in looks),
        most_worker_files=max(each.worker_files for each in looks),
    )


def _said(line: Line, tally: Tally) -> str:
    return (
        f"{line.at / 60.0:5.1f} min"
        f"   server {line.server:6.1f} MB, {line.files}-{line.most_files} files"
        f"   workers {line.workers:6.1f} MB, {line.worker_files}-{line.most_worker_files} files"
        f"   {tally.asked.total()} requests"
    )


def _judged(lines: Sequence[Line], tally: Tally) -> bool:
    """Say what the run came to; returns whether it was flat."""
    counted = ", ".join(f"{number} {kind}" for kind, number in sorted(tally.asked.items()))
    print(f"asked: {counted}; too busy to answer: {tally.busy}")
    first = [line for line in lines if line.at < 90.0]
    after = lines[len(first) :]
    last = after[-2:]
    if len(after) < 3:
        print("too short to say whether anything grows: let it run for three minutes or more")
        return False
    flat = True
    for name in ("server", "workers"):
        began, ended = (min(getattr(line, name) for line in some) for some in (first, last))
        at = [line.at / 60.0 for line in after]
        slope = linear_regression(at, [getattr(line, name) for line in after]).slope
        print(
            f"{name}: {began:.1f} MB in minute 1, {ended:.1f} MB at the end "
            f"({ended / began - 1.0:+.1%}), slope after minute 1 {slope:+.2f} MB/min"
        )
        flat &= ended < (1.0 + GROWTH) * began
    for name in ("files", "worker_files"):
        seen = max(getattr(line, f"most_{name}") for line in first)
        stay = min(getattr(line, name) for line in last)
        print(f"{name.replace('_', ' ')}: at most {seen} in minute 1, {stay} stay at the end")
        flat &= stay <= seen
    print("flat" if flat else "not flat")
    return flat


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("minutes", nargs="?", type=float, default=MINUTES)
    sys.exit(0 if main(asked.parse_args().minutes) else 1)
