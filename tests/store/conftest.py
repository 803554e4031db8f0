"""A fresh, empty database for each test, of every kind the store is for."""

import os
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from conewright.store import Store

POSTGRES = "CONEWRIGHT_TEST_POSTGRES"
REQUIRED = "CONEWRIGHT_REQUIRE_POSTGRES"


@pytest.fixture
def sqlite_url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'jobs.sqlite'}"


@pytest.fixture
def postgres_url() -> Iterator[str]:
    """Give a schema of its own in the database that the variable names."""
    named = os.environ.get(POSTGRES)
    if not named:
        if os.environ.get(REQUIRED):
            pytest.fail(f"{REQUIRED} is set, but {POSTGRES} names no database")
        pytest.skip(f"{POSTGRES} names no PostgreSQL database")
    address = make_url(named).set(drivername="postgresql+psycopg")
    schema = f"test_{uuid4().hex}"
    engine = create_engine(address)
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    options = {"options": f"-csearch_path={schema}"}
    yield address.update_query_dict(options).render_as_string(hide_password=False)
    with engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
    engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    """Give the address of an empty database of each kind in turn."""
    name = "sqlite_url" if request.param == "sqlite" else "postgres_url"
    return str(request.getfixturevalue(name))


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    with Store.open(url) as opened:
        yield opened
