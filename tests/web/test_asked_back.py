"""What pages and the API say of unusual values, and of readings that nobody can use."""

import pytest
from starlette.testclient import TestClient

from conewright.job import proposals
from conewright.job.text import parsing
from conewright.job.text.editing import with_values
from conewright.job.text.starter import starter_text
from conewright.store import Store

HTML = {"accept": "text/html"}
ODD = with_values(starter_text(), {"head_unit.supply": "45 V"})
UNREAD = starter_text().replace('test = "pair-resistance"', 'test = "pair-resistanse"')


def test_an_unusual_value_is_asked_back_until_it_is_confirmed(
    client: TestClient, store: Store
) -> None:
    job_id = store.create(ODD, who="Ann").job_id
    page = client.get(f"/jobs/{job_id}", headers=HTML).text
    assert "is it really 45 V?" in page
    assert f'href="/jobs/{job_id}/part/head_unit#f-head_unit.supply"' in page
    fields = {"base": "1", "path": "head_unit.supply"}
    assert client.post(f"/jobs/{job_id}/sure", data=fields).status_code == 303
    saved = store.get(job_id)
    assert saved.job.about.sure == ("head_unit.supply",)
    assert saved.note == "sure of head_unit.supply"
    assert "is it really" not in client.get(f"/jobs/{job_id}", headers=HTML).text


def test_only_a_number_of_the_job_is_confirmed(client: TestClient, store: Store) -> None:
    job_id = store.create(ODD, who="Ann").job_id
    page = client.post(f"/jobs/{job_id}/sure", data={"base": "1", "path": "head_unit.name"})
    assert "Nothing was added" in page.text
    assert store.get(job_id).revision == 1


def test_a_file_with_an_unknown_test_is_kept_and_told(client: TestClient) -> None:
    made = client.post("/jobs/upload", data={"text": UNREAD})
    page = client.get(made.headers["location"], headers=HTML).text
    assert "Find cannot use this" in page
    assert "did you mean &#34;pair-resistance&#34;" in page


@pytest.mark.parametrize("way", ["form", "text", "api"])
def test_no_way_in_adds_what_nobody_can_use(client: TestClient, store: Store, way: str) -> None:
    job_id = store.create(starter_text(), who="Ann").job_id
    base = store.get(job_id)
    told = base.text.replace("buzz-one-corner", "buz-one-corner")
    if way == "form":
        fields = {"base": "1", "job.complaints": "buz-one-corner@door-fl"}
        answer = client.post(f"/jobs/{job_id}/part/job", data=fields)
    elif way == "text":
        answer = client.post(f"/jobs/{job_id}/text", data={"base": "1", "text": told})
    else:
        answer = client.put(
            f"/api/v1/jobs/{job_id}",
            content=told,
            headers={"content-type": "application/toml", "if-match": base.etag},
        )
        assert answer.status_code == 422
    assert "buzz-one-corner" in answer.text
    assert "did you mean" in answer.text
    assert store.get(job_id).revision == 1


def test_the_api_tells_what_it_asks_back(client: TestClient) -> None:
    made = client.post(
        "/api/v1/jobs",
        content=ODD.replace('test = "pair-resistance"', 'test = "pair-resistanse"'),
        headers={"content-type": "application/toml"},
    )
    assert made.status_code == 201
    assert made.json()["asked"] == ["head_unit.supply: is it really 45 V? Usual is 5.8 to 29 V."]
    (unusable,) = made.json()["unusable"]
    assert unusable.startswith("reading[1].test")


def test_a_kept_job_that_is_refused_today_can_be_mended(
    client: TestClient, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = starter_text().replace('supply = "13.8 V"', 'supply = "240 V"')
    with monkeypatch.context() as before:
        before.setattr(proposals, "range_problems", lambda *_, **__: [])
        job_id = store.create(text, who="Ann").job_id
    parsing._kept.cache_clear()
    led = client.get(f"/jobs/{job_id}", headers=HTML)
    assert led.status_code == 303
    page = client.get(led.headers["location"], headers=HTML)
    assert page.status_code == 200
    assert "3 to 60 V" in page.text
    assert "240 V" in page.text
    still = client.post(f"/jobs/{job_id}/text", data={"base": "1", "text": text + "\n# a"})
    assert "3 to 60 V" in still.text
    mended = client.post(f"/jobs/{job_id}/text", data={"base": "1", "text": starter_text()})
    assert mended.status_code == 303
    assert client.get(f"/jobs/{job_id}", headers=HTML).status_code == 200
