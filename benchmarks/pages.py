"""The pages: how long ten people wait, cold and warm, how large pages are, what they take."""

import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import quantiles

import httpx2

from benchmarks.served import children, client_of, cpu_seconds, keep, memory, server
from benchmarks.timing import Row

__all__ = ["run"]

CLIENTS = 10
ROUNDS = 6
"""Requests of each client for each warm page."""
COLD_JOBS = 3
MANY = 1000
PAGES = {
    "jobs": "/jobs",
    "new job": "/jobs/new",
    "job": "{job}",
    "find": "{job}/find",
    "fit": "{job}/fit",
    "feed": "{job}/feed",
    "hear": "{job}/hear",
    "hear, a plan against as found": "{job}/hear?proposal=slim-fronts&against=as-found",
    "proposals": "{job}/proposals",
    "one proposal": "{job}/proposals/put-right",
    "a place": "{job}/part/door-fr",
    "history": "{job}/history",
    "picture": "{job}/feed.svg?revision=1",
}


def run() -> Iterator[Row]:
    """Serve as users do, and ask as ten of them at once."""
    with tempfile.TemporaryDirectory() as folder, server(Path(folder)) as (process, origin):
        client = client_of(origin)
        _asked_once(client, "Warm-up")
        for name, path in PAGES.items():
            if "{job}" in path:
                yield _row(f"page {name}, cold", _cold(origin, client, name, path))
        job = keep(client, "Warm")
        for name, path in PAGES.items():
            address = path.format(job=job)
            whole, sent = _sizes(client, address)
            busy = cpu_seconds(process.pid)
            seconds = _all_at_once(origin, address, ROUNDS)
            busy = (cpu_seconds(process.pid) - busy) / len(seconds)
            remark = f"{1e3 * busy:.0f} ms of cpu, {whole / 1e3:.0f} kB ({sent / 1e3:.0f} kB sent)"
            yield _row(f"page {name}, warm", seconds, remark)
        before = memory(process.pid)
        feed = PAGES["feed"].format(job=job)
        _all_at_once(origin, feed, MANY // CLIENTS)
        after, workers = memory(process.pid), sum(map(memory, children(process.pid)))
        remark = f"{before:.0f} MB before, {after:.0f} MB after; workers {workers:.0f} MB"
        yield Row(f"memory of the server, {MANY} requests", None, remark)


def _row(what: str, seconds: list[float], remark: str = "") -> Row:
    cuts = quantiles(seconds, n=20, method="inclusive")
    return Row(f"{what}, p95", cuts[18], f"p50 {1e3 * cuts[9]:.0f} ms  {remark}".rstrip())


def _cold(origin: str, client: httpx2.Client, name: str, path: str) -> list[float]:
    """Return the seconds that each of ten waits for a page of a job nobody has asked about."""
    seconds = []
    for n in range(COLD_JOBS):
        job = keep(client, f"{name} {n}")
        seconds += _all_at_once(origin, path.format(job=job), 1)
    return seconds


def _all_at_once(origin: str, address: str, rounds: int) -> list[float]:
    def ask(_: int) -> list[float]:
        with client_of(origin) as client:
            return [_seconds(client, address) for _ in range(rounds)]

    with ThreadPoolExecutor(CLIENTS) as pool:
        return [each for many in pool.map(ask, range(CLIENTS)) for each in many]


def _seconds(client: httpx2.Client, address: str) -> float:
    start = time.perf_counter()
    answer = client.get(address)
    taken = time.perf_counter() - start
    answer.raise_for_status()
    return taken


def _sizes(client: httpx2.Client, address: str) -> tuple[int, int]:
    """Return the bytes of a page, plain and as they cross the wire."""
    answer = client.get(address)
    return len(answer.content), answer.num_bytes_downloaded


def _asked_once(client: httpx2.Client, title: str) -> str:
    """Keep a job and ask about it once, so that its answers are known; return its page."""
    job = keep(client, title)
    for page in ("/find", "/feed", "/hear", "/fit"):
        client.get(f"{job}{page}").raise_for_status()
    return job
