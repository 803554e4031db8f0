"""What every test runs under: no window, random cases that repeat, nobody's own jobs."""

import os

import pytest
from hypothesis import settings

os.environ["MPLBACKEND"] = "Agg"

# Examples must not depend on the machine's speed or on an earlier run's database.
settings.register_profile("conewright", deadline=None, derandomize=True)
settings.load_profile("conewright")


@pytest.fixture(autouse=True, scope="session")
def _no_store_of_ones_own(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Let no test find, or make, the store of whoever runs it."""
    place = tmp_path_factory.mktemp("store") / "jobs.sqlite"
    os.environ["CONEWRIGHT_STORE"] = f"sqlite:///{place}"
