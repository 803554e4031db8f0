"""Whoever waits for an answer takes a place and no thread, and gives it back when they go."""

import asyncio
import threading
from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

import httpx2
import pytest
from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI

from conewright.job.text.starter import demo_text, starter_text
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings
from conewright.web.desk import workers
from conewright.web.desk.reports import STAGES, Question, Reports
from conewright.web.desk.waiting import NotYet, together
from conewright.web.desk.workers import Done, PaperQuestion, Workers
from conewright.web.frame.context import STAGES as BUILT

HERE = "http://127.0.0.1:8420"
ORIGIN = {"origin": HERE}
THREADS, WAITING, CLIENTS = 4, 30, 33

Get = Callable[[str], "asyncio.Task[httpx2.Response]"]


class _Gated:
    """Workers who begin when they are told to."""

    def __init__(self, workers: Workers) -> None:
        self.workers = workers
        self.asked: list[Question | PaperQuestion] = []
        self.go = threading.Event()

    def work_out(self, text: str, question: Question) -> Done:
        self.asked.append(question)
        self.go.wait()
        return self.workers.work_out(text, question)

    def make(self, text: str, question: PaperQuestion) -> Any:
        self.asked.append(question)
        self.go.wait()
        return self.workers.make(text, question)


class Place:
    """A server of four threads whose workers a test holds up."""

    def __init__(self, store: Store, shared: Reports) -> None:
        self.store = store
        self.reports = Reports(replace(Settings(), waiting=WAITING))
        self.gate = _Gated(vars(shared)["_workers"])
        vars(self.reports)["_workers"] = self.gate
        self.app: FastAPI = create_app(store, reports=self.reports)

    @property
    def taken(self) -> int:
        """How many wait."""
        free: int = vars(self.reports.room)["_free"]._value
        return WAITING - free

    def run(self, scene: Callable[[httpx2.AsyncClient], Awaitable[None]]) -> None:
        async def within() -> None:
            current_default_thread_limiter().total_tokens = THREADS
            transport = httpx2.ASGITransport(self.app)
            async with httpx2.AsyncClient(
                transport=transport, base_url=HERE, timeout=None
            ) as client:
                try:
                    await scene(client)
                finally:
                    self.gate.go.set()

        asyncio.run(within())


@pytest.fixture
def place(store: Store, reports: Reports) -> Place:
    return Place(store, reports)


@pytest.fixture
def job_id(store: Store, request: pytest.FixtureRequest) -> str:
    """A job of which nothing is known yet: what was found out is kept by its text."""
    return store.create(f"{demo_text()}# {request.node.name}\n", who="Ann").job_id


async def until(condition: Callable[[], bool]) -> None:
    while not condition():
        await asyncio.sleep(0.002)


@pytest.mark.parametrize(
    ("path", "asked"),
    [
        ("/api/v1/jobs/{}/feed", [Question("feed")]),
        ("/jobs/{}/feed", [Question("feed")]),
        ("/jobs/{}", [Question(stage) for stage in BUILT]),
        ("/jobs/{}/find", [Question("find")]),
        ("/api/v1/jobs/{}/make", [PaperQuestion(None, revision="revision 1")]),
    ],
)
def test_who_waits_for_one_answer_holds_no_thread(
    place: Place, job_id: str, path: str, asked: list[Question]
) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        before = threading.active_count()
        slow = [asyncio.create_task(client.get(path.format(job_id))) for _ in range(CLIENTS)]
        await until(lambda: sum(each.done() for each in slow) == CLIENTS - WAITING)
        await until(lambda: place.taken == WAITING)
        # Four threads, and thirty who wait: a page that needs no worker comes all the same.
        assert (await client.get("/jobs")).status_code == 200
        assert threading.active_count() - before <= THREADS + Settings().workers
        place.gate.go.set()
        answers = await asyncio.gather(*slow)
        sent_away = [each for each in answers if "Too many answers" in each.text]
        assert len(sent_away) == CLIENTS - WAITING
        ready = [each for each in answers if each not in sent_away]
        assert {each.status_code for each in ready} == {200}
        assert len({each.content for each in ready}) == 1
        if path.startswith("/api"):
            assert {each.status_code for each in sent_away} == {503}
            assert {each.headers["retry-after"] for each in sent_away} == {"5"}
        assert sorted(map(str, place.gate.asked)) == sorted(map(str, asked))
        assert place.taken == 0

    place.run(scene)


def test_who_waits_for_different_answers_holds_no_thread(place: Place, job_id: str) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        before = threading.active_count()
        address = f"/api/v1/jobs/{job_id}/feed?at="
        slow = [
            asyncio.create_task(client.get(f"{address}{hertz}"))
            for hertz in range(20, 20 + CLIENTS)
        ]
        await until(lambda: place.taken == WAITING)
        assert (await client.get("/jobs")).status_code == 200
        assert threading.active_count() - before <= THREADS + Settings().workers
        # All others stand in line.
        assert len(place.gate.asked) == Settings().workers
        place.gate.go.set()
        statuses = Counter(each.status_code for each in await asyncio.gather(*slow))
        assert statuses == {200: WAITING, 503: CLIENTS - WAITING}
        assert len(place.gate.asked) == WAITING

    place.run(scene)


def test_a_page_of_several_answers_takes_one_place(place: Place, job_id: str) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        page = asyncio.create_task(client.get(f"/jobs/{job_id}"))
        await until(lambda: len(place.gate.asked) == Settings().workers)
        assert place.taken == 1
        place.gate.go.set()
        assert (await page).status_code == 200
        assert Counter(map(str, place.gate.asked)) == Counter(map(str, map(Question, BUILT)))

    place.run(scene)


def test_every_plan_of_a_comparison_is_worked_out_once(place: Place, job_id: str) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        place.gate.go.set()
        page = await client.get(f"/jobs/{job_id}/proposals")
        assert page.status_code == 200
        plans = [each.id for each in place.store.get(job_id).job.proposals]
        wanted = [Question("compare"), *(Question("fit", id) for id in plans)]
        assert sorted(map(str, place.gate.asked)) == sorted(map(str, wanted))

    place.run(scene)


def test_a_form_that_waits_is_carried_out_once(place: Place, job_id: str) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        reading = {"base": "1", "test": "pair-resistance", "at": "rear-left", "value": "1.9"}
        address = f"/jobs/{job_id}/readings"
        sent = asyncio.create_task(client.post(address, data=reading, headers=ORIGIN))
        await until(lambda: place.gate.asked == [Question("find")])
        assert len(place.store.revisions(job_id)) == 1
        place.gate.go.set()
        answer = await sent
        assert answer.status_code in (200, 303)
        assert len(place.store.revisions(job_id)) == 2
        assert place.gate.asked == [Question("find")]

    place.run(scene)


# --- Going away ---------------------------------------------------------------------------------


async def call(app: FastAPI, path: str, gone: asyncio.Event) -> list[Any]:
    """Ask for a page and hang up at an event; return what was sent."""
    sent: list[Any] = []
    given = iter([{"type": "http.request", "body": b"", "more_body": False}])

    async def receive() -> Any:
        for message in given:
            return message
        await gone.wait()
        return {"type": "http.disconnect"}

    async def send(message: Any) -> None:
        sent.append(message)

    path, _, query = path.partition("?")
    scope = {
        "type": "http",
        "method": "GET",
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "scheme": "http",
        "headers": [(b"host", HERE.removeprefix("http://").encode())],
    }
    await app(scope, receive, send)
    return sent


def test_who_goes_away_gives_the_place_back(place: Place, job_id: str) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        gone, address = asyncio.Event(), f"/api/v1/jobs/{job_id}/feed?at="
        fed = [
            asyncio.create_task(call(place.app, f"{address}{hertz}", gone))
            for hertz in range(20, 20 + WAITING)
        ]
        await until(lambda: place.taken == WAITING)
        assert (await client.get(f"/api/v1/jobs/{job_id}/hear")).status_code == 503
        gone.set()
        assert await asyncio.gather(*fed) == [[]] * WAITING
        assert place.taken == 0
        heard = asyncio.create_task(client.get(f"/api/v1/jobs/{job_id}/hear"))
        await until(lambda: place.taken == 1)
        place.gate.go.set()
        assert (await heard).status_code == 200
        # What was begun goes on; what stood in line for nobody is not asked.
        assert len(place.gate.asked) == Settings().workers + 1
        assert place.gate.asked[-1] == Question("hear")

    place.run(scene)


def test_who_goes_away_leaves_the_answer_to_those_who_stay(place: Place, job_id: str) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        gone, address = asyncio.Event(), f"/api/v1/jobs/{job_id}/"
        busy = [
            asyncio.create_task(client.get(f"{address}{stage}"))
            for stage in STAGES[: Settings().workers]
        ]
        await until(lambda: len(place.gate.asked) == Settings().workers)
        leaves = asyncio.create_task(call(place.app, f"{address}hear?at=20", gone))
        await until(lambda: place.taken == 3)
        stays = asyncio.create_task(client.get(f"{address}hear?at=20"))
        await until(lambda: place.taken == 4)
        gone.set()
        assert await leaves == []
        place.gate.go.set()
        assert (await stays).status_code == 200
        assert {(await each).status_code for each in busy} == {200}
        assert place.gate.asked[2:] == [Question("hear", at="20")]

    place.run(scene)


def test_who_made_a_page_for_others_may_go(place: Place, job_id: str) -> None:
    async def scene(client: httpx2.AsyncClient) -> None:
        gone = asyncio.Event()
        leaves = asyncio.create_task(call(place.app, f"/jobs/{job_id}", gone))
        await until(lambda: place.taken == 1)
        stay = [asyncio.create_task(client.get(f"/jobs/{job_id}")) for _ in range(10)]
        await until(lambda: place.taken == 11)
        gone.set()
        assert await leaves == []
        place.gate.go.set()
        pages = await asyncio.gather(*stay)
        assert {each.status_code for each in pages} == {200}
        assert len({each.content for each in pages}) == 1
        assert Counter(map(str, place.gate.asked)) == Counter(map(str, map(Question, BUILT)))

    place.run(scene)


# --- The line -----------------------------------------------------------------------------------


def test_whose_turn_comes_too_late_is_told(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "TURN_SECONDS", -1.0)
    with pytest.raises(Refusal, match="Other answers") as told:
        place.reports.answer(starter_text(), Question("feed"))
    assert (told.value.status, told.value.code) == (503, "busy")
    assert told.value.headers["Retry-After"] == "5"
    assert place.gate.asked == []


def test_when_the_server_ends_all_who_wait_are_told(store: Store, job_id: str) -> None:
    own = Reports(replace(Settings(), workers=1))
    app = create_app(store, reports=own)

    async def scene() -> list[httpx2.Response]:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url=HERE, timeout=None) as client:
            address = f"/api/v1/jobs/{job_id}/compare?at="
            asked = [asyncio.create_task(client.get(f"{address}{n}")) for n in range(20, 30)]
            free = vars(own.room)["_free"]
            await until(lambda: free._value == Settings().waiting - 10)
            own.close()
            late = await client.get(f"{address}30")
            return [late, *await asyncio.gather(*asked)]

    answers = asyncio.run(scene())
    assert {each.status_code for each in answers} == {503}
    assert {each.json()["error"]["code"] for each in answers} == {"ending"}


def test_no_more_are_asked_together_than_allowed() -> None:
    asked: list[int] = []

    def ask(number: int) -> int:
        asked.append(number)
        if number % 2:
            raise NotYet([desk_future])
        return number

    desk_future: Any = object()
    with pytest.raises(NotYet) as lack:
        together([lambda n=n: ask(n) for n in range(10)], most=2)  # type: ignore[misc]
    assert asked == [0, 1, 2, 3]
    assert lack.value.futures == (desk_future,) * 2
    assert together([lambda n=n: ask(n) for n in (2, 4)], most=1) == [2, 4]  # type: ignore[misc]
