"""What one save costs: one text opened, one parsed, one job checked.

The numbers follow from the job alone: the old text is opened to be changed in place, the new one
is parsed and checked once, with the parts that its proposals change.
"""

from collections import Counter

import pytest
from starlette.testclient import TestClient

from conewright.job.text.parsing import loads
from conewright.job.text.starter import demo_text
from conewright.store import Saved, Store
from counting import counted, parts_changed

CHANGED = parts_changed(loads(demo_text()))
ONCE = {"parsed": 1, "whole": 1, "parts": CHANGED}


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    return counted(monkeypatch)


@pytest.fixture
def saved(request: pytest.FixtureRequest, store: Store) -> Saved:
    # A text of its own: no other test has had it read already.
    return store.create(f"{demo_text()}# {request.node.name}\n", who="Ada")


def _spent(work: Counter[str]) -> dict[str, int]:
    """Return what was counted since the last time; dictionaries are cheap, and not held here."""
    spent = {word: count for word, count in work.items() if word != "dictionaries"}
    work.clear()
    return spent


def test_a_job_that_is_kept_is_read_once(
    client: TestClient, saved: Saved, work: Counter[str]
) -> None:
    assert client.get(f"/jobs/{saved.job_id}/part/door-fl").status_code == 200
    assert _spent(work) == {}


def test_one_field_saved(client: TestClient, saved: Saved, work: Counter[str]) -> None:
    page = f"/jobs/{saved.job_id}/part/door-fl"
    form = {"base": "1", "door-fl.mount.cutout": "126 mm"}
    assert client.post(page, data=form).headers["location"].startswith(f"{page}?saved=1#f-")
    assert _spent(work) == {**ONCE, "edited": 1}
    assert "126 mm" in client.get(page).text
    assert _spent(work) == {}


def test_one_field_refused(client: TestClient, saved: Saved, work: Counter[str]) -> None:
    page = f"/jobs/{saved.job_id}/part/door-fl"
    answer = client.post(page, data={"base": "1", "door-fl.mount.cutout": "wide"})
    assert "a length is written like" in answer.text
    # Once, though the page that shows it again waits for answers in between.
    assert _spent(work) == {**ONCE, "edited": 1}


def test_a_reading_saved_and_taken_back(
    client: TestClient, store: Store, saved: Saved, work: Counter[str]
) -> None:
    find = f"/jobs/{saved.job_id}/find"
    form = {"base": "1", "test": "cell-pulse", "at": "door-fl", "word": "outward"}
    answer = client.post(f"/jobs/{saved.job_id}/readings", data=form)
    assert answer.headers["location"] == f"{find}#reading"
    assert _spent(work) == ONCE
    client.post(f"/jobs/{saved.job_id}/readings/undo", data={"base": "2"})
    # The text is again what it was.
    assert _spent(work) == {}
    assert store.get(saved.job_id).text == saved.text
