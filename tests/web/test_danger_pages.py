"""What burns a radio stands on the pages of a stage, of the plans, and where papers are refused."""

from html import unescape
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from conewright.store import Store

HTML = {"accept": "text/html"}
VETERAN = Path(__file__).parents[2] / "examples" / "veteran-6v.toml"
REASONS = (
    "The vehicle has 6 V and the radio is made for 12 V",
    "The body of this vehicle is battery plus",
    "its current comes back through the body",
)


@pytest.mark.slow
@pytest.mark.parametrize(
    "page", ["feed?proposal=standard-radio", "proposals", "make?proposal=standard-radio"]
)
def test_every_reason_stands_on_the_page(client: TestClient, store: Store, page: str) -> None:
    job_id = store.create(VETERAN.read_text(encoding="utf-8"), who="Ann").job_id
    shown = unescape(client.get(f"/jobs/{job_id}/{page}", headers=HTML).text)
    assert [reason for reason in REASONS if reason not in shown] == []


def test_a_converter_has_a_form_of_its_own(client: TestClient, store: Store) -> None:
    job_id = store.create(VETERAN.read_text(encoding="utf-8"), who="Ann").job_id
    page = client.get(f"/jobs/{job_id}/part/converter", headers=HTML)
    assert page.status_code == 200
    fields = {"base": "1", "converter.kind": "isolated", "converter.rated_current": "5 A"}
    fields |= {"converter.output": "13,6 V"}
    assert client.post(f"/jobs/{job_id}/part/converter", data=fields).status_code == 303
    saved = store.get(job_id).job.build().converter
    assert saved is not None
    assert (saved.kind, saved.rated_current.si, saved.output.si) == ("isolated", 5.0, 13.6)
    wrong = {"base": "2", "converter.kind": "step-down", "converter.output": "13.6 V"}
    # As with a cabin lower than its seats, it is the answers that say what cannot be.
    assert client.post(f"/jobs/{job_id}/part/converter", data=wrong).status_code == 303
    told = unescape(client.get(f"/jobs/{job_id}/feed", headers=HTML).text)
    assert "gives less than it takes" in told
