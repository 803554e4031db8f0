"""The server as users run it, as a process of its own, and what it takes of the machine."""

import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2

__all__ = ["children", "client_of", "cpu_seconds", "keep", "memory", "open_files", "server"]


@contextmanager
def server(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Serve a store of its own from a folder; gives the process and its address."""
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


def client_of(origin: str, *, seconds: float = 120.0) -> httpx2.Client:
    """Return a browser of sorts that waits so long for an answer [s]."""
    return httpx2.Client(
        base_url=origin, trust_env=False, timeout=seconds, headers={"accept": "text/html"}
    )


def keep(client: httpx2.Client, title: str, *, more: str = "") -> str:
    """Keep the demo under another title, so that no answer about it is known; return its page.

    more: TOML below it.
    """
    import conewright

    text = re.sub(r'title = ".*"', f'title = "{title}"', conewright.demo_text(), count=1)
    toml = {"content-type": "application/toml"}
    sent = f"{text}\n{more}".encode() if more else text.encode()
    answer = client.post("/api/v1/jobs", content=sent, headers=toml)
    answer.raise_for_status()
    return f"/jobs/{answer.json()['id']}"


def cpu_seconds(pid: int) -> float:
    """Return the time that a process has calculated [s], its children aside; NaN as in `memory`.

    What else runs on the machine makes everybody wait, but changes little in this.
    """
    status = Path(f"/proc/{pid}/stat")
    if not status.exists():
        return float("nan")
    user, system = status.read_text().rpartition(")")[2].split()[11:13]
    return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")


def memory(pid: int) -> float:
    """Return the memory that a process holds [MB]; NaN where the system does not tell."""
    try:
        found = re.search(r"VmRSS:\s+(\d+) kB", Path(f"/proc/{pid}/status").read_text())
    except OSError:
        return float("nan")
    return float(found[1]) / 1024 if found else float("nan")


def open_files(pid: int) -> int:
    """Return how many file descriptors a process has open; 0 where the system does not tell."""
    try:
        return len(os.listdir(f"/proc/{pid}/fd"))
    except OSError:
        return 0


def children(pid: int) -> list[int]:
    """Return the processes that a process started, by whichever of its threads."""
    found: list[int] = []
    for each in Path(f"/proc/{pid}/task").glob("*/children"):
        # A thread may have ended since.
        try:
            found += map(int, each.read_text().split())
        except OSError:
            continue
    return found
