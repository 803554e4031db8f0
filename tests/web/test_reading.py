"""Texts made to cost much, at every entrance: kept or refused in words, never a fault."""

import asyncio
import json
import random
import threading
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import httpx2
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from conewright.errors import JobError
from conewright.job.text.bounds import LONGEST_SMALL, is_small
from conewright.job.text.editing import Refused, with_values
from conewright.job.text.parsing import LARGEST_FILE, loads
from conewright.job.text.starter import demo_text, starter_text
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings
from conewright.web.desk.reading import Reading
from conewright.web.desk.reports import Reports
from conewright.web.desk.workers import Task, Workers

HERE = "http://127.0.0.1:8420"
FROM_HERE = {"origin": HERE}
TOML, JSON = "application/toml", "application/json"
FIRST = loads(starter_text()).locations[0].id
SETTINGS = Settings()


def whole(piece: str, *, behind: str = "") -> str:
    """Return a text about as long as may be sent, all of it one piece again and again."""
    return behind + piece * ((LARGEST_FILE - len(behind) - 1000) // len(piece))


def many(make: str, count: int) -> str:
    return "".join(make.format(i) for i in range(count))


START = starter_text()
BOMBS = {
    "stops": '"=".' * 16_000 + "a=1",
    "more stops": '"=".' * 24_000 + "a=1",
    "the last name again": "{" + "".join(f'"a{i}":1,' for i in range(40_000)) + '"a39999":1}',
    "nested arrays": whole("[[]],", behind=START + "\na=[") + "]",
    "dotted keys": many("k.k.k.k{}=1\n", 12_000),
    "one long string": whole("x", behind='notes = "') + '"',
    "many tables": many("[t{}.a.b]\n", 16_000),
    "unknown names": many("name{}=1\n", 45_000),
    "readings": START + many(f'[[reading]]\ntest="look"\nat="{FIRST}"\nvalue="{{}}"\n', 12_000),
    "notes only": whole("#" + "x" * 99 + "\n"),
    "anything": random.Random(7).randbytes(300_000).decode("latin-1"),
}  # fmt: skip


def large() -> str:
    """Return a job of 0.7 MB that is kept."""
    text = demo_text() + "".join(f"# {'x' * 90} {i}\n" for i in range(7_000))
    assert 690_000 < len(text) < 760_000
    return text


@pytest.mark.parametrize("name", BOMBS)
def test_no_text_is_a_fault_at_any_entrance(client: TestClient, store: Store, name: str) -> None:
    client.headers.update(FROM_HERE)
    text, job_id = BOMBS[name], store.create(START, who="Ann").job_id
    kinds = {"content-type": JSON if text.startswith("{") else TOML}
    matching = {**kinds, "if-match": f'"{job_id}-1"'}
    answers = [
        client.post("/api/v1/jobs", content=text.encode(), headers=kinds),
        client.put(f"/api/v1/jobs/{job_id}", content=text.encode(), headers=matching),
        client.post("/jobs/upload", data={"text": text}),
        client.post("/jobs/upload", files={"file": ("a.toml", text.encode())}),
        client.post(f"/jobs/{job_id}/text", data={"base": "1", "text": text}),
        client.post(f"/jobs/{job_id}/part/{FIRST}", data={"base": "1", f"{FIRST}.name": text}),
    ]
    for answer in answers:
        assert answer.status_code < 500 or answer.json()["error"]["code"] == "too-long"
        assert len(answer.text) > 0 or answer.status_code == 303
    assert [answer.status_code for answer in answers[:2]] == [422, 422]
    for answer in answers[:2]:
        assert answer.json()["error"]["problems"]
    assert store.get(job_id).text == START


def test_a_long_job_is_edited_shown_and_compared(client: TestClient, store: Store) -> None:
    client.headers.update(FROM_HERE)
    text = large()
    job_id = store.create(text, who="Ann").job_id
    page = f"/jobs/{job_id}/part/door-fl"
    sent = client.post(page, data={"base": "1", "door-fl.mount.cutout": "126 mm"})
    assert sent.headers["location"].startswith(f"{page}?saved=1#f-")
    changed = store.get(job_id)
    assert loads(changed.text).location("door-fl").mount != loads(text).location("door-fl").mount
    assert changed.text.endswith(text[-500_000:])
    assert "126 mm" in changed.note
    assert changed.note in client.get(f"/jobs/{job_id}/history?a=1&b=2").text
    # What is wrong is said beside its field, as with a short one.
    wrong = client.post(page, data={"base": "2", "door-fl.mount.cutout": "wide"})
    assert "a length is written like" in wrong.text
    # Another's change of the same field: both sides are told.
    late = client.post(page, data={"base": "1", "door-fl.mount.cutout": "127 mm"})
    assert "Two people changed this job" in late.text
    assert "126 mm" in late.text


def test_what_takes_too_long_is_told_and_nothing_is_saved(store: Store) -> None:
    job_id = store.create(large(), who="Ann").job_id
    app = create_app(store, settings=replace(SETTINGS, reading_seconds=0.001))
    with TestClient(app, base_url=HERE) as client:
        body = large().replace("4 ohm", "5 ohm").encode()
        answer = client.put(
            f"/api/v1/jobs/{job_id}",
            content=body,
            headers={"content-type": TOML, "if-match": f'"{job_id}-1"'},
        )
    assert (answer.status_code, answer.json()["error"]["code"]) == (503, "too-long")
    assert store.get(job_id).revision == 1


def hoard(text: str) -> int:
    """Take as much memory as a text says."""
    return len(bytearray(int(text)))


def end(text: str) -> None:
    """End the process that does this."""
    raise SystemExit(text)


def job_error(text: str) -> None:
    loads(text, file="van.toml")


@pytest.fixture(scope="module")
def workers() -> Iterator[Workers]:
    opened = Workers(most=1, seconds=1800.0, memory=200_000_000, load=int)
    yield opened
    opened.close()


def test_too_much_memory_is_an_answer_and_the_next_is_worked_out(workers: Workers) -> None:
    for _ in range(2):
        with pytest.raises(Refusal, match="more memory than one job may take") as told:
            workers.run(Task(hoard, ("400000000",), {}))
        assert (told.value.status, told.value.code) == (422, "too-large")
        assert workers.run(Task(hoard, ("1000000",), {})) == 1_000_000


def test_a_worker_that_ends_is_an_answer(workers: Workers) -> None:
    with pytest.raises(Refusal, match="ended before it had an answer") as told:
        workers.run(Task(end, ("0",), {}))
    assert (told.value.status, told.value.code) == (503, "ended")
    assert workers.run(Task(hoard, ("1",), {})) == 1


def test_what_is_raised_on_purpose_comes_back_whole(workers: Workers) -> None:
    with pytest.raises(JobError) as wrong:
        workers.run(Task(job_error, ("format = 1",), {}))
    assert str(wrong.value).startswith("van.toml: head_unit: ")
    assert len(wrong.value.problems) == 4
    with pytest.raises(Refused) as refused:
        workers.run(Task(with_values, (START, {f"{FIRST}.mount.cutout": "wide"}), {}))
    assert list(refused.value.beside) == [f"{FIRST}.mount.cutout"]


def test_small_texts_start_no_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> None:
        raise AssertionError

    monkeypatch.setattr(Workers, "run", refuse)
    own = Reading(SETTINGS)
    assert is_small(demo_text())
    assert "126 mm" in own.run(with_values, demo_text(), {"door-fl.mount.cutout": "126 mm"})
    for text, value in ((large(), "1 mm"), (demo_text(), "x" * LONGEST_SMALL)):
        with pytest.raises(AssertionError):
            own.run(with_values, text, {"door-fl.mount.cutout": value})
    own.close()


def test_while_a_text_is_read_others_are_answered(
    store: Store, reports: Reports, monkeypatch: pytest.MonkeyPatch
) -> None:
    go, at_work = threading.Event(), threading.Event()
    real = Workers.run

    def slow(self: Workers, task: Task) -> Any:
        at_work.set()
        go.wait()
        return real(self, task)

    monkeypatch.setattr(Workers, "run", slow)
    app: FastAPI = create_app(store, reports=reports)
    body = large().encode()

    async def scene() -> list[int]:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url=HERE, timeout=None) as client:
            saves = [
                asyncio.create_task(
                    client.post("/api/v1/jobs", content=body, headers={"content-type": TOML})
                )
                for _ in range(45)
            ]
            # More than may wait are sent away at once.
            while sum(each.done() for each in saves) < 45 - SETTINGS.waiting_readers:
                await asyncio.sleep(0.005)
            assert at_work.is_set()
            assert (await client.get("/api/v1/jobs")).json() == {"jobs": []}
            small = await client.post(
                "/api/v1/jobs", content=START.encode(), headers={"content-type": TOML}
            )
            assert small.status_code == 201
            go.set()
            return [answer.status_code for answer in await asyncio.gather(*saves)]

    codes = asyncio.run(scene())
    assert codes.count(201) == SETTINGS.waiting_readers
    assert codes.count(503) == 45 - SETTINGS.waiting_readers


def test_a_job_in_json_goes_the_same_way(client: TestClient, store: Store) -> None:
    job_id = store.create(large(), who="Ann").job_id
    plain = client.get(f"/api/v1/jobs/{job_id}").json()
    assert plain["format"] == 1
    again = {**plain, "job": {**plain["job"], "title": "again"}}
    sent = client.post(
        "/api/v1/jobs",
        content=json.dumps(again, indent=40).encode(),
        headers={"content-type": JSON},
    )
    assert sent.status_code == 201
    assert store.get(sent.json()["id"]).job.about.title == "again"
