"""The command line answers `--help` without waiting for the slow libraries."""

import subprocess
import sys

HELP = """
import sys
from conewright.cli import main
sys.argv = ["conewright", "--help"]
try:
    main()
except SystemExit as leave:
    assert not leave.code
print("loaded:", *sys.modules)
"""


def test_help_imports_no_slow_library() -> None:
    done = subprocess.run([sys.executable, "-c", HELP], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    page, loaded = done.stdout.rsplit("loaded:", 1)
    assert "Usage: conewright" in page
    slow = {"scipy", "matplotlib", "numpy", "pydantic", "sqlalchemy", "alembic", "fastapi"}
    assert slow.isdisjoint(loaded.split())
