"""A store of its own for each test, and workers that all tests share: they are slow to start."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports

HERE = "http://127.0.0.1:8420"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(f"sqlite:///{tmp_path / 'jobs.sqlite'}") as opened:
        yield opened


@pytest.fixture(scope="session")
def reports() -> Iterator[Reports]:
    shared = Reports(Settings())
    yield shared
    shared.close()


@pytest.fixture
def app(store: Store, reports: Reports) -> FastAPI:
    return create_app(store, reports=reports)


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    return TestClient(app, base_url=HERE, follow_redirects=False)
