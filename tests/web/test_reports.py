"""Reports from workers: once for everybody, within a time, and none the worse for a lost worker."""

import asyncio
import os
import re
import signal
import threading
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from multiprocessing import active_children
from typing import Any, cast

import httpx2
import pytest
from starlette.testclient import TestClient

import conewright as cw
from conewright.errors import BadInputError, JobError
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import STAGES, Answer, Question, Reports, Stage
from conewright.web.desk.workers import Done, Workers, _Worker

HERE = "http://127.0.0.1:8420"
STARTER = cw.starter_text()
FEED = Question("feed")


@pytest.fixture
def own() -> Iterator[Reports]:
    """Reports whose workers a test may harm."""
    opened = Reports(replace(Settings(), workers=1, kept_reports=3))
    yield opened
    opened.close()


class _Slow:
    """Workers that answer when they are told to, and count what they are asked."""

    def __init__(self) -> None:
        self.asked: list[Question] = []
        self.go = threading.Event()
        self.error: Exception | None = None

    def work_out(self, text: str, question: Question) -> Done:
        assert text.startswith(STARTER)
        self.asked.append(question)
        self.go.wait()
        if self.error is not None:
            raise self.error
        report = cw.Report(stage=question.stage, job="", build="", answer=str(question.at))
        return Done(report, report.model_dump_json().encode())


def slow_reports(**limits: Any) -> tuple[Reports, _Slow]:
    reports, slow = Reports(replace(Settings(), **limits)), _Slow()
    vars(reports)["_workers"] = slow
    return reports, slow


def until(condition: Any) -> None:
    while not condition():
        time.sleep(0.005)


# --- Answers ------------------------------------------------------------------------------------


def test_a_report_is_that_of_the_stage(reports: Reports, store: Store) -> None:
    saved = store.create(STARTER, who="Ann")
    job = cw.loads(STARTER)
    told = reports.report(saved, "hear", "rings", "as-found", "20,1k")
    expected = cw.hear(job.build("rings"), job.build())
    assert isinstance(told, cw.Report)
    assert (told.build, told.against) == ("rings", "as-found")
    assert told.answer == expected.answer
    assert told.series[0].x.values == (20.0, 1000.0)
    # The worker calculates with one thread, which may move the last digits.
    assert [each.value for each in told.figures] == pytest.approx(
        [each.value for each in expected.figures], rel=1e-9
    )


def test_its_json_is_what_to_dict_gives(reports: Reports) -> None:
    for stage in STAGES:
        answer = reports.answer(STARTER, Question(stage))
        assert cw.Report.model_validate_json(answer.json).to_dict() == answer.report.to_dict()
        assert b"NaN" not in answer.json
        assert b"Infinity" not in answer.json


def test_a_text_with_a_mark_of_its_encoding_is_read(reports: Reports) -> None:
    marked = "\N{ZERO WIDTH NO-BREAK SPACE}" + STARTER
    assert reports.answer(marked, FEED).json == reports.answer(STARTER, FEED).json


@pytest.mark.parametrize(
    ("text", "question", "words"),
    [
        ("a = ", FEED, "end of document"),
        (STARTER, Question("feed", "none"), "known are as-found, rings"),
        (STARTER, Question("hear", None, "none"), "known are as-found, rings"),
        (STARTER, Question("find", "rings"), "as found"),
        (STARTER, Question("compare", "rings"), "looks at all"),
        (STARTER, Question("feed", at="x"), 'at: found "x"'),
    ],
)
def test_what_cannot_be_answered_says_why(
    reports: Reports, text: str, question: Question, words: str
) -> None:
    with pytest.raises(BadInputError) as told:
        reports.answer(text, question)
    assert words in str(told.value)
    if isinstance(told.value, JobError):
        assert told.value.problems


# --- Kept ---------------------------------------------------------------------------------------


def test_an_answer_is_worked_out_once_for_all_who_ask() -> None:
    reports, slow = slow_reports()
    with ThreadPoolExecutor(10) as pool:
        asked = [pool.submit(reports.answer, STARTER, FEED) for _ in range(10)]
        until(lambda: slow.asked)
        time.sleep(0.05)
        slow.go.set()
        answers = [each.result() for each in asked]
    assert slow.asked == [FEED]
    assert all(answer is answers[0] for answer in answers)
    assert reports.answer(STARTER, FEED) is answers[0]


def test_each_question_and_each_text_has_its_own_answer() -> None:
    reports, slow = slow_reports()
    slow.go.set()
    questions = [
        FEED,
        Question("hear"),
        Question("feed", "rings"),
        Question("feed", None, "rings"),
        Question("feed", at="20"),
        Question("feed", at="20.0"),
    ]
    for text in (STARTER, f"{STARTER}# changed\n"):
        for question in questions:
            reports.answer(text, question)
    assert slow.asked == questions * 2


def test_what_was_asked_for_lately_is_kept() -> None:
    reports, slow = slow_reports(kept_reports=3)
    slow.go.set()
    first, second, third, fourth = (Question("feed", at=str(n)) for n in range(20, 24))
    for question in (first, second, third, first, fourth):
        reports.answer(STARTER, question)
    assert slow.asked == [first, second, third, fourth]
    reports.answer(STARTER, first)
    assert len(slow.asked) == 4
    # It was asked for longest ago, and made room for the fourth.
    reports.answer(STARTER, second)
    assert slow.asked[-1] == second


def test_an_error_is_not_kept() -> None:
    reports, slow = slow_reports()
    slow.go.set()
    slow.error = BadInputError("not now")
    with pytest.raises(BadInputError, match="not now"):
        reports.answer(STARTER, FEED)
    slow.error = None
    assert isinstance(reports.answer(STARTER, FEED), Answer)


def test_who_waits_for_a_failure_gets_it_too() -> None:
    reports, slow = slow_reports()
    slow.error = BadInputError("not now")
    with ThreadPoolExecutor(5) as pool:
        asked = [pool.submit(reports.answer, STARTER, FEED) for _ in range(5)]
        until(lambda: slow.asked)
        time.sleep(0.05)
        slow.go.set()
        errors = [each.exception() for each in asked]
    assert [str(error) for error in errors] == ["not now"] * 5


def test_whoever_waits_for_the_same_takes_a_place_too() -> None:
    reports, slow = slow_reports(waiting=3)
    with ThreadPoolExecutor(45) as pool:
        asked = [pool.submit(reports.answer, STARTER, FEED) for _ in range(45)]
        # One lets it be worked out, two wait with it, and no thread waits for more.
        until(lambda: sum(each.done() for each in asked) == 42)
        assert slow.asked == [FEED]
        slow.go.set()
        errors = [each.exception() for each in asked]
    told = [each for each in errors if each is not None]
    assert len(told) == 42
    for error in told:
        assert isinstance(error, Refusal)
        assert (error.status, error.headers["Retry-After"]) == (503, "5")
    assert slow.asked == [FEED]


def test_many_calls_for_one_slow_answer_keep_nobody_else_waiting(store: Store) -> None:
    reports, slow = slow_reports()
    job_id = store.create(STARTER, who="Ann").job_id
    app = create_app(store, reports=reports)

    async def scene() -> list[int]:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url=HERE, timeout=None) as client:
            # All in one loop with one pool of threads, as the server has it.
            asked = [
                asyncio.create_task(client.get(f"/api/v1/jobs/{job_id}/feed")) for _ in range(45)
            ]
            while sum(each.done() for each in asked) < 45 - Settings().waiting:
                await asyncio.sleep(0.005)
            assert slow.asked == [FEED]
            assert (await client.get("/jobs")).status_code == 200
            slow.go.set()
            return [answer.status_code for answer in await asyncio.gather(*asked)]

    assert Counter(asyncio.run(scene())) == {200: Settings().waiting, 503: 45 - Settings().waiting}


def test_too_many_who_wait_are_sent_away_and_kept_answers_are_not() -> None:
    reports, slow = slow_reports(waiting=2)
    slow.go.set()
    kept = reports.answer(STARTER, FEED)
    slow.go.clear()
    with ThreadPoolExecutor(2) as pool:
        asked = [
            pool.submit(reports.answer, STARTER, Question("feed", at=str(n))) for n in (20, 30)
        ]
        until(lambda: len(slow.asked) == 3)
        with pytest.raises(Refusal) as told:
            reports.answer(STARTER, Question("hear"))
        assert (told.value.status, told.value.code) == (503, "busy")
        assert told.value.headers["Retry-After"] == "5"
        assert reports.answer(STARTER, FEED) is kept
        slow.go.set()
        assert [each.result().report.answer for each in asked] == ["20", "30"]
    # Whoever was sent away left nothing behind.
    assert reports.answer(STARTER, Question("hear")).report.stage == "hear"


# --- Workers ------------------------------------------------------------------------------------


def test_nothing_is_started_before_it_is_needed() -> None:
    before = set(active_children())
    Reports(Settings()).close()
    assert set(active_children()) == before


def test_a_lost_worker_is_replaced(own: Reports) -> None:
    before = set(active_children())
    first = own.answer(STARTER, FEED)
    (worker,) = set(active_children()) - before
    assert worker.pid is not None
    os.kill(worker.pid, signal.SIGKILL)
    worker.join()
    assert own.answer(STARTER, FEED) is first
    assert own.answer(STARTER, Question("fit")).report.stage == "fit"
    (other,) = set(active_children()) - before
    assert other.pid != worker.pid
    # Ctrl-C in the terminal is for the server, which sees to its workers.
    assert other.pid is not None
    os.kill(other.pid, signal.SIGINT)
    time.sleep(0.1)
    assert other.is_alive()
    own.close()
    assert not other.is_alive()


def test_what_takes_too_long_is_ended_and_told() -> None:
    before = set(active_children())
    workers = Workers(most=1, seconds=0.001)
    with pytest.raises(Refusal, match=r"not worked out within 0\.001 s") as told:
        workers.work_out(STARTER, Question("compare"))
    assert (told.value.status, told.value.code) == (503, "too-long")
    # Nothing goes on in the background.
    assert set(active_children()) == before
    workers.seconds = 60.0
    assert workers.work_out(STARTER, FEED).report.stage == "feed"
    workers.close()
    assert set(active_children()) == before


def test_the_api_tells_what_took_too_long(store: Store) -> None:
    saved = store.create(STARTER, who="Ann")
    app = create_app(store, settings=replace(Settings(), computing_seconds=0.001))
    with TestClient(app, base_url="http://127.0.0.1:8420") as client:
        answer = client.get(f"/api/v1/jobs/{saved.job_id}/compare")
    assert answer.status_code == 503
    assert answer.json()["error"]["code"] == "too-long"
    assert "was stopped" in answer.json()["error"]["message"]


def test_when_the_server_ends_nobody_waits() -> None:
    before = set(active_children())
    workers = Workers(most=1, seconds=60.0)
    with ThreadPoolExecutor(1) as pool:
        asked = pool.submit(workers.work_out, STARTER, Question("compare"))
        until(lambda: set(active_children()) - before)
        workers.close()
        with pytest.raises(Refusal) as told:
            asked.result()
        assert told.value.code == "ending"
    with pytest.raises(Refusal, match="ending"):
        workers.work_out(STARTER, FEED)
    assert set(active_children()) == before


def test_a_fault_of_the_program_is_told_with_its_trace(caplog: pytest.LogCaptureFixture) -> None:
    workers = Workers(most=1, seconds=60.0)
    try:
        with pytest.raises(Refusal, match="a fault of the program") as told:
            workers.work_out(STARTER, Question(cast(Stage, "none")))
        assert (told.value.status, told.value.code) == (500, "internal")
        assert re.search(r"(?s)a worker failed.*Traceback.*KeyError", caplog.text)
        # The worker goes on.
        assert workers.work_out(STARTER, FEED).report.stage == "feed"
    finally:
        workers.close()


def test_a_question_whose_worker_dies_is_asked_again_once(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    before = set(active_children())
    asked = []
    ask = _Worker.ask

    def dying(self: _Worker, text: str, question: Question, *, seconds: float) -> Any:
        asked.append(self)
        if len(asked) in (1, 3, 4):
            self.kill()
        return ask(self, text, question, seconds=seconds)

    monkeypatch.setattr(_Worker, "ask", dying)
    workers = Workers(most=1, seconds=60.0)
    assert workers.work_out(STARTER, FEED).report.stage == "feed"
    assert len(asked) == 2
    with pytest.raises(Refusal, match="a fault of the program") as told:
        workers.work_out(STARTER, Question("fit"))
    assert told.value.status == 500
    assert "so did the next one" in caplog.text
    assert len(asked) == 4
    workers.close()
    assert set(active_children()) == before
