"""Pages kept as they were rendered: the same again while nothing changes, and never a stale one."""

import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from unittest import mock

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from conewright.errors import BadInputError
from conewright.job.text.starter import starter_text
from conewright.stages.report.data import Report
from conewright.store import Store
from conewright.web.base.errors import Refusal
from conewright.web.desk.reports import Reports
from conewright.web.desk.waiting import WaitingRoom
from conewright.web.frame import page as common

ORIGIN = {"origin": "http://127.0.0.1:8420"}


@pytest.fixture
def job_id(store: Store) -> str:
    return store.create(starter_text(), who="Kim").job_id


@contextmanager
def counted() -> Iterator[mock.Mock]:
    """Count how often a page is rendered."""
    with mock.patch.object(common, "_templates", wraps=common._templates) as rendered:
        yield rendered


@pytest.mark.parametrize(
    "path", ["", "/find", "/feed", "/proposals", "/proposals/new", "/part/door-fl"]
)
def test_a_page_is_rendered_once(client: TestClient, job_id: str, path: str) -> None:
    client.get(f"/jobs/{job_id}")  # From now on the navigation has nothing new to learn.
    with counted() as rendered:
        first, again = (client.get(f"/jobs/{job_id}{path}") for _ in range(2))
    assert rendered.call_count <= 1
    assert first.status_code == again.status_code == 200
    assert first.content == again.content
    assert first.headers == again.headers


def test_another_person_sees_a_page_of_their_own(client: TestClient, job_id: str) -> None:
    path = f"/jobs/{job_id}/part/door-fl"
    assert "What you save is signed: Robin" not in client.get(path).text
    client.cookies.set(common.WHO, "Robin")
    assert "What you save is signed: Robin" in client.get(path).text


def test_a_saved_change_is_seen_at_once(client: TestClient, job_id: str) -> None:
    path = f"/jobs/{job_id}/part/vehicle"
    assert "Baker" not in client.get(path).text
    client.post(path, data={"base": "1", "vehicle.name": "Baker's van"}, headers=ORIGIN)
    assert "Baker&#39;s van" in client.get(path).text


def test_what_happened_to_a_job_is_seen_on_pages_of_old_revisions(
    client: TestClient, store: Store, job_id: str
) -> None:
    path = f"/jobs/{job_id}/feed?revision=1"
    assert "You are looking at" not in client.get(path).text
    text = starter_text().replace("Small hatchback", "Little hatchback")
    store.save(job_id, text, base=1, who="Kim")
    assert "You are looking at" in client.get(path).text
    store.delete(job_id, base=2, who="Kim")
    assert client.get(path).status_code == 404


def test_trouble_that_passes_is_not_kept(client: TestClient, store: Store) -> None:
    text = starter_text().replace("Small hatchback", "Hatchback of a busy day")
    job_id = store.create(text, who="Kim").job_id
    for path in ("", "/feed", "/proposals"):
        busy = Refusal(503, "Too many answers are being worked out.", code="busy")
        with mock.patch.object(Reports, "answer", side_effect=busy):
            assert "Too many answers" in client.get(f"/jobs/{job_id}{path}").text
        assert "Too many answers" not in client.get(f"/jobs/{job_id}{path}").text


def test_old_revisions_tell_what_was_found_out_since(client: TestClient, store: Store) -> None:
    text = starter_text().replace("Small hatchback", "Hatchback of two revisions")
    job_id = store.create(text, who="Kim").job_id
    store.save(job_id, text.replace("two", "three"), base=1, who="Kim")
    old = f"/jobs/{job_id}/feed?revision=1"
    before = client.get(old).text
    client.get(f"/jobs/{job_id}?revision=1")
    assert client.get(old).text.count('class="told') > before.count('class="told')


def test_whoever_waits_for_a_page_that_is_being_made_takes_a_place(
    app: FastAPI, client: TestClient, store: Store, job_id: str
) -> None:
    go = threading.Event()
    ready = client.get(f"/jobs/{job_id}/feed").content
    other = store.create(starter_text() + "# another one\n", who="Kim").job_id

    def late(*_: object) -> Report:
        go.wait()
        raise BadInputError("asked too late")

    with (
        mock.patch.object(Reports, "answer", late),
        mock.patch.object(app.state.reports, "room", WaitingRoom(2)),
        ThreadPoolExecutor(10) as pool,
    ):
        asked = [pool.submit(client.get, f"/jobs/{other}/feed") for _ in range(10)]
        while sum(each.done() for each in asked) < 7:
            time.sleep(0.005)
        # Whoever asks for what is there already gets it.
        assert client.get(f"/jobs/{job_id}/feed").content == ready
        go.set()
        answers = sorted(each.result().status_code for each in asked)
    assert answers == [200] * 3 + [503] * 7
