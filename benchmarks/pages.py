"""The pages: how long ten people wait, cold and warm, how large pages are, what they take."""

import os
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from statistics import quantiles

import httpx2

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
    with tempfile.TemporaryDirectory() as folder, _server(Path(folder)) as (process, origin):
        client = _client(origin)
        _keep(client, "Warm-up", pages=["/find", "/feed", "/hear", "/fit"])
        for name, path in PAGES.items():
            if "{job}" in path:
                yield _row(f"page {name}, cold", _cold(origin, client, name, path))
        job = _keep(client, "Warm")
        for name, path in PAGES.items():
            address = path.format(job=job)
            whole, sent = _sizes(client, address)
            busy = _cpu_seconds(process.pid)
            seconds = _all_at_once(origin, address, ROUNDS)
            busy = (_cpu_seconds(process.pid) - busy) / len(seconds)
            remark = f"{1e3 * busy:.0f} ms of cpu, {whole / 1e3:.0f} kB ({sent / 1e3:.0f} kB sent)"
            yield _row(f"page {name}, warm", seconds, remark)
        before = _memory(process.pid)
        feed = PAGES["feed"].format(job=job)
        _all_at_once(origin, feed, MANY // CLIENTS)
        after, workers = _memory(process.pid), _memory_of_workers(process.pid)
        remark = f"{before:.0f} MB before, {after:.0f} MB after; workers {workers:.0f} MB"
        yield Row(f"memory of the server, {MANY} requests", None, remark)


def _row(what: str, seconds: list[float], remark: str = "") -> Row:
    cuts = quantiles(seconds, n=20, method="inclusive")
    return Row(f"{what}, p95", cuts[18], f"p50 {1e3 * cuts[9]:.0f} ms  {remark}".rstrip())


def _cold(origin: str, client: httpx2.Client, name: str, path: str) -> list[float]:
    """Return the seconds that each of ten waits for a page of a job nobody has asked about."""
    seconds = []
    for n in range(COLD_JOBS):
        job = _keep(client, f"{name} {n}")
        seconds += _all_at_once(origin, path.format(job=job), 1)
    return seconds


def _all_at_once(origin: str, address: str, rounds: int) -> list[float]:
    def ask(_: int) -> list[float]:
        with _client(origin) as client:
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


def _keep(client: httpx2.Client, title: str, pages: list[str] | None = None) -> str:
    """Keep the demo under another title, so that no answer about it is known; return its page."""
    import conewright

    text = re.sub(r'title = ".*"', f'title = "{title}"', conewright.demo_text(), count=1)
    toml = {"content-type": "application/toml"}
    answer = client.post("/api/v1/jobs", content=text.encode(), headers=toml)
    answer.raise_for_status()
    job = f"/jobs/{answer.json()['id']}"
    for page in pages or []:
        client.get(f"{job}{page}").raise_for_status()
    return job


def _client(origin: str) -> httpx2.Client:
    return httpx2.Client(
        base_url=origin, trust_env=False, timeout=120, headers={"accept": "text/html"}
    )


@contextmanager
def _server(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    place = {**os.environ, "CONEWRIGHT_STORE": f"sqlite:///{folder / 'jobs.sqlite'}"}
    command = [sys.executable, "-m", "conewright", "serve", "--no-open", "--port", str(port)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=place) as process:
        assert process.stdout is not None
        process.stdout.readline()
        try:
            yield process, f"http://127.0.0.1:{port}"
        finally:
            process.terminate()


def _cpu_seconds(pid: int) -> float:
    """Return the time that a process has calculated [s], its children aside; NaN as in `_memory`.

    What else runs on the machine makes everybody wait, but changes little in this.
    """
    status = Path(f"/proc/{pid}/stat")
    if not status.exists():
        return float("nan")
    user, system = status.read_text().rpartition(")")[2].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def _memory(pid: int) -> float:
    """Return the memory that a process holds [MB]; NaN where the system does not tell."""
    status = Path(f"/proc/{pid}/status")
    found = re.search(r"VmRSS:\s+(\d+) kB", status.read_text()) if status.exists() else None
    return float(found[1]) / 1024 if found else float("nan")


def _memory_of_workers(pid: int) -> float:
    children = Path(f"/proc/{pid}/task/{pid}/children")
    found = children.read_text().split() if children.exists() else []
    return sum(_memory(int(each)) for each in found)
