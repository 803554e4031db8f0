"""What a recording answers weighs as its odds say, and no more."""

import numpy as np
import pytest

import conewright as cw
from conewright.errors import JobError
from conewright.job.text.readings import with_reading, with_recording
from conewright.stages.find.checked import entry_problems

MADE = {"file": "crawl.wav", "sha256": "a" * 64, "test": "rattle-crawl", "at": "door-fl"}
ANSWERS = {"slow-bass": ("door-fl", "rasp", "clean"), "mono-bass": ("front", "weaker", "stronger")}


def _text(test: str, odds: dict[str, float] | None) -> str:
    at, word, _ = ANSWERS[test]
    text = with_recording(cw.demo_text(), "toml", entry={"id": "crawl-1", **MADE})
    return with_reading(
        text, "toml", test=test, at=at, value=word, recordings=["crawl-1"], odds=odds
    )


def _causes(text: str) -> dict[str, float]:
    report = cw.find(cw.loads(text).build())
    return {each.id: each.value or 0.0 for each in report.figures if each.id.startswith("cause.")}


@pytest.mark.parametrize("test", ANSWERS)
def test_a_recording_that_goes_with_every_answer_says_nothing(test: str) -> None:
    words = dict.fromkeys(_words(test), 1.0)
    before, after = _causes(cw.demo_text()), _causes(_text(test, words))
    # A pair of chains is summed over its likely states only.
    shared = before.keys() & after.keys()
    assert len(shared) > 40
    assert {name: after[name] for name in shared} == pytest.approx(
        {name: before[name] for name in shared}, abs=1e-4
    )


@pytest.mark.parametrize("test", ANSWERS)
def test_a_recording_that_goes_with_one_answer_is_that_answer(test: str) -> None:
    _, word, other = ANSWERS[test]
    heard, sure = _causes(_text(test, None)), _causes(_text(test, {word: 0.3, other: 0.0}))
    assert sure == pytest.approx(heard, rel=1e-9, abs=1e-12)


def test_less_than_sure_moves_the_odds_less() -> None:
    cause = "cause.surround-torn@door-fl"
    moved = [
        _causes(_text("slow-bass", {"rasp": 1.0, "clean": clean}))[cause]
        for clean in (1.0, 0.5, 0.1, 0.0)
    ]
    assert np.all(np.diff(moved) > 0.0), moved


def test_an_answer_by_ear_takes_the_place_of_a_recorded_one_and_of_its_odds() -> None:
    text = _text("slow-bass", {"rasp": 9.0, "clean": 1.0})
    again = with_reading(text, "toml", test="slow-bass", at="door-fl", value="clean")
    read = cw.loads(again).readings[-1]
    assert (read.value, read.recordings, read.odds) == ("clean", (), None)
    assert cw.loads(again).recordings[0].file == "crawl.wav"


@pytest.mark.parametrize(
    ("was", "wrong", "said"),
    [
        ("clean = 1", "scratch = 1", "slow-bass is not answered so"),
        ("rasp = 9", "rasp = 0.5", "the value is the answer that weighs most"),
    ],
)
def test_odds_are_of_answers_of_the_test(was: str, wrong: str, said: str) -> None:
    text = _text("slow-bass", {"rasp": 9, "clean": 1})
    assert not entry_problems(cw.loads(text))
    (problem,) = entry_problems(cw.loads(text.replace(was, wrong)))
    assert said in problem.allowed


@pytest.mark.parametrize(
    ("was", "wrong", "said"),
    [
        ('from = ["crawl-1"]', 'from = ["crawl-2"]', 'did you mean "crawl-1"?'),
        ("rasp = 9", "rasp = -9", "none below zero and one above"),
        ("aaaa", "xxxx", "64 digits from 0 to 9 and a to f"),
        ('crawl"\nat = "door-fl"', 'crawl"\nat = "nowhere"', "a place in the job"),
        ('id = "crawl-1"', 'id = "crawl-1"\nwhen = "yesterday"', "before, after or the day"),
    ],
)
def test_a_recording_that_cannot_be_is_told_with_its_place(was: str, wrong: str, said: str) -> None:
    text = _text("slow-bass", {"rasp": 9, "clean": 1})
    assert was in text
    with pytest.raises(JobError) as raised:
        cw.loads(text.replace(was, wrong, 1))
    assert said in str(raised.value)


def _words(test: str) -> tuple[str, ...]:
    from conewright.stages.find.faults import trade

    return tuple(trade.word_table(test).words)
