"""`conewright serve`, or `demo`, as a process of its own with a store of its own."""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

TOML = {"content-type": "application/toml"}
# A test must not listen on the network: another address stands in for this computer's own there.
RUN = """
import sys
from conewright.cli import main
from conewright.web import serve
at = sys.argv.pop(1)
serve._probed = lambda: [at] if at else []
main()
"""


def free_port() -> int:
    """Return a port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def serving(
    folder: Path, *words: str, at: str = "", command: str = "serve"
) -> Iterator[subprocess.Popen[str]]:
    """Run it in a folder; `at` stands in for this computer's address on a local network."""
    place = {
        **os.environ,
        "CONEWRIGHT_STORE": f"sqlite:///{folder / 'jobs.sqlite'}",
        "XDG_DATA_HOME": str(folder),
        "PYTHONIOENCODING": "utf-8",
    }
    program = [sys.executable, "-W", "error", "-c", RUN, at, command, "--no-open", *words]
    with subprocess.Popen(
        program, stdout=-1, stderr=-1, text=True, encoding="utf-8", env=place, cwd=folder
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def said(process: subprocess.Popen[str]) -> str:
    """Return the next line it says."""
    assert process.stdout is not None
    return process.stdout.readline()


def ended(process: subprocess.Popen[str]) -> tuple[int, str, str]:
    """Press Ctrl-C; return the exit code and what was said since."""
    process.send_signal(signal.SIGINT)
    out, err = process.communicate()
    return process.returncode, out, err
