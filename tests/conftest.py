"""What every test runs under: no window, random cases that repeat, nobody's own jobs."""

import os

import pytest
from hypothesis import settings

os.environ["MPLBACKEND"] = "Agg"
# The tests run in two processes: as in the commands, linear algebra has one thread in each.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Examples must not depend on the machine's speed or on an earlier run's database.
settings.register_profile("conewright", deadline=None, derandomize=True)
settings.load_profile("conewright")


@pytest.fixture(autouse=True, scope="session")
def _no_store_of_ones_own(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Let no test find, or make, the store of whoever runs it."""
    place = tmp_path_factory.mktemp("store") / "jobs.sqlite"
    os.environ["CONEWRIGHT_STORE"] = f"sqlite:///{place}"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put files with slow tests first, so that no process is left with one at the end."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)
