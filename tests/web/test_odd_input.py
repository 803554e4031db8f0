"""What people type by mistake: it is said beside the field, and nothing locks a job away."""

from dataclasses import replace
from typing import cast
from unittest import mock

import pytest
from starlette.testclient import TestClient

from conewright.job.text.starter import demo_text, starter_text
from conewright.store import Store
from conewright.web.desk.workers import Done, Question, Stage, Workers

ORIGIN = {"origin": "http://127.0.0.1:8420"}
SURVEY = {"class": "van", "place:roof": "on"}
HUGE = "99999999999999999999"


@pytest.fixture(autouse=True)
def _from_here(client: TestClient) -> None:
    client.headers.update(ORIGIN)


@pytest.fixture
def job_id(store: Store) -> str:
    return store.create(demo_text(), who="Ann").job_id


def unbuildable(store: Store) -> str:
    """A job that is written as it should be, of a size that no table knows."""
    text = demo_text().replace('size = "100 mm"', 'size = "700 mm"')
    return store.create(text, who="Ann").job_id


def test_a_size_that_nobody_knows_is_refused_beside_its_field(
    client: TestClient, store: Store
) -> None:
    sent = client.post("/jobs/new", data=SURVEY | {"size:roof": "99999999 m"})
    assert sent.status_code in (200, 422)
    assert 'id="e-size:roof"' in sent.text
    assert 'value="99999999 m"' in sent.text
    assert store.jobs() == ()


def test_errors_name_their_fields_in_the_order_of_the_page(client: TestClient) -> None:
    answers = SURVEY | {"size:roof": "6 1/2", "supply": "plenty", "built": "old"}
    text = client.post("/jobs/new", data=answers).text
    listed = text[text.index('role="alert"') : text.index("</ul>")]
    places = [listed.index(name) for name in ("Size, In the roof", "Supply at the", "Year")]
    assert places == sorted(places)


def test_a_size_counts_as_a_tick(client: TestClient, store: Store) -> None:
    client.post("/jobs/new", data=SURVEY | {"size:shelf": "6x9 in"})
    (kept,) = store.jobs()
    job = store.get(kept.job_id).job
    assert {place.kind for place in job.locations} == {"roof", "shelf"}


def test_a_job_that_cannot_be_worked_out_can_be_mended_on_its_pages(
    client: TestClient, store: Store
) -> None:
    job_id = unbuildable(store)
    page = client.get(f"/jobs/{job_id}")
    assert page.status_code == 200
    assert "Nothing can be worked out yet" in page.text
    assert "700 mm" in page.text
    assert f'action="/jobs/{job_id}/delete"' in page.text
    part = client.get(f"/jobs/{job_id}/part/old-100")
    assert part.status_code == 200
    mended = client.post(
        f"/jobs/{job_id}/part/old-100", data={"base": "1", "old-100.size": "100 mm"}
    )
    assert mended.status_code == 303, mended.text
    assert "Nothing can be worked out yet" not in client.get(f"/jobs/{job_id}").text


@pytest.mark.parametrize(
    "path",
    ["?revision={n}", "/history?a={n}&b=1", "/part/door-fr?revision={n}", "/find?revision={n}"],
)
@pytest.mark.parametrize("number", [HUGE, "0", "-1", "abc"])
def test_a_revision_that_cannot_be_is_refused(
    client: TestClient, job_id: str, path: str, number: str
) -> None:
    answer = client.get(f"/jobs/{job_id}{path.format(n=number)}", headers={"accept": "text/html"})
    assert answer.status_code == 422
    assert "wanted" in answer.text
    assert "Input should" not in answer.text


def test_nul_in_a_search_or_a_name_finds_nothing(client: TestClient) -> None:
    assert client.get("/jobs?q=%00").status_code == 200
    assert client.get("/jobs/%00").status_code == 404
    assert "\x1b" not in client.get("/jobs?q=%1b%5b31m").text


def test_undo_goes_back_step_by_step(client: TestClient, store: Store) -> None:
    texts = [demo_text(), *(demo_text().replace("budget = 180", f"budget = {n}") for n in (1, 2))]
    saved = store.create(texts[0], who="Ann")
    for text in texts[1:]:
        saved = store.save(saved.job_id, text, base=saved.revision, who="Ann")
    for left in (texts[1], texts[0]):
        sent = client.post(f"/jobs/{saved.job_id}/undo", data={"base": str(saved.revision)})
        assert sent.status_code == 303
        saved = store.get(saved.job_id)
        assert saved.text == left
    last = client.post(f"/jobs/{saved.job_id}/undo", data={"base": str(saved.revision)})
    assert last.status_code == 404
    assert "nothing left to undo" in last.text
    # What is changed after an undo is undone by itself.
    store.save(saved.job_id, texts[2], base=saved.revision, who="Ann")
    client.post(f"/jobs/{saved.job_id}/undo", data={"base": str(saved.revision + 1)})
    assert store.get(saved.job_id).text == texts[0]


def test_a_name_cannot_turn_the_words_around_it(client: TestClient, job_id: str) -> None:
    client.cookies.set("conewright-who", "%1b%5b31mAnn%e2%80%ae")
    page = client.get(f"/jobs/{job_id}").text
    assert "\x1b" not in page
    assert "\u202e" not in page


def test_as_found_may_be_left_empty_in_the_api(client: TestClient, job_id: str) -> None:
    plain = client.get(f"/api/v1/jobs/{job_id}/fit")
    assert client.get(f"/api/v1/jobs/{job_id}/fit?proposal=&against=").json() == plain.json()


def test_a_job_that_drives_no_place_keeps_its_page(client: TestClient, store: Store) -> None:
    text = starter_text().replace('load = "door-fl"', 'load = "4 ohm"')
    job_id = store.create(text.replace('load = "door-fr"', 'load = "4 ohm"'), who="Ann").job_id
    page = client.get(f"/jobs/{job_id}")
    assert page.status_code == 200
    assert "hear</a> has no answer yet: channel.load: found" in page.text
    assert "feed</a> has no answer" not in page.text
    for path in ("hear", "feed", "proposals"):
        assert client.get(f"/jobs/{job_id}/{path}").status_code == 200
    assert client.get(f"/api/v1/jobs/{job_id}/hear").status_code == 422


def test_a_stage_that_fails_does_not_take_the_page_with_it(
    client: TestClient, store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    job_id = store.create(f"{starter_text()}# where a stage fails\n", who="Ann").job_id
    work_out = Workers.work_out

    def failing(self: Workers, text: str, question: Question) -> Done:
        # What a worker is asked that no program of ours answers.
        broken = replace(question, stage=cast(Stage, "none"))
        return work_out(self, text, broken if question.stage == "hear" else question)

    with mock.patch.object(Workers, "work_out", failing):
        page = client.get(f"/jobs/{job_id}")
        assert page.status_code == 200
        assert "hear</a> has no answer yet: This is a fault of the program" in page.text
        assert "The next reading worth taking" in page.text
        assert "feed</a> has no answer" not in page.text
        stage = client.get(f"/jobs/{job_id}/hear")
        assert stage.status_code == 500
        assert "This is a fault of the program" in stage.text
        assert "Small hatchback" in stage.text
        told = client.get(f"/api/v1/jobs/{job_id}/hear")
        assert (told.status_code, told.json()["error"]["code"]) == (500, "internal")
    assert "KeyError" in caplog.text


@pytest.mark.parametrize("number", ["x", "0", "-1", "99999999999", "1.5", "١"])
def test_a_place_in_a_list_that_cannot_be_is_refused(
    client: TestClient, job_id: str, number: str
) -> None:
    path = f"v:door-fl.mount.glass_depth.{number}"
    sent = client.post(f"/jobs/{job_id}/values", data={"base": "1", path: "60 mm"})
    assert sent.status_code == 422
    assert "there is no field" in sent.text


@pytest.mark.parametrize(
    ("digits", "told"),
    [
        (900, ("job.budget", "numbers have a few digits")),
        (5000, ("line 23, column 10", "numbers have a few digits")),
    ],
)
def test_a_number_without_end_is_refused_where_it_stands(
    client: TestClient, store: Store, digits: int, told: tuple[str, ...]
) -> None:
    # 5,000 hexadecimal digits are more decimal ones than Python writes.
    bomb = starter_text().replace("budget = 150", f"budget = 0x{'f' * digits}")
    for path, data in (("/jobs/upload", {"text": bomb}), ("/api/v1/jobs", None)):
        sent = (
            client.post(path, data=data)
            if data
            else client.post(path, content=bomb, headers={"content-type": "application/toml"})
        )
        assert sent.status_code in (200, 422)
        assert all(word in sent.text for word in told), sent.text
    assert store.jobs() == ()
