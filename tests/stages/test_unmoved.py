"""What else stands in a job moves no figure of a plan that it is not in, not by a bit."""

from collections.abc import Callable
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import conewright as cw
from conewright.job.text.parsing import from_dict
from conewright.stages.compare.stage import compare
from conewright.stages.report.data import Report

PLAN = "slim-fronts"

STAGES: dict[str, Callable[[cw.Job], Report]] = {
    "feed": lambda job: cw.feed(job.build(PLAN)),
    "feed, change": lambda job: cw.feed(job.build(PLAN), job.build()),
    "hear": lambda job: cw.hear(job.build()),
    "hear, change": lambda job: cw.hear(job.build(PLAN), job.build()),
    "fit": lambda job: cw.fit(job.build(PLAN)),
    "find": lambda job: cw.find(job.build()),
}


def candidates(count: int, places: tuple[str, ...]) -> cw.Job:
    """The demo with drivers of which little is known, each in a plan of its own."""
    raw = cw.demo_job().to_dict()
    for number in range(count):
        raw["driver"].append({"id": f"another-{number}", "size": "130 mm", "re": "3.3 ohm"})
        raw["proposal"].append(
            {
                "id": f"try-{number}",
                "set": {f"{place}.driver": f"another-{number}" for place in places},
            }
        )
    return from_dict(raw)


@cache
def alone(stage: str) -> dict[str, object]:
    return told(STAGES[stage](cw.demo_job()))


def told(report: Report) -> dict[str, object]:
    """Figures with band and origin, and every curve; verdicts, and what to measure next."""
    whole = report.model_dump()
    return {name: whole[name] for name in ("figures", "series", "verdicts", "narrowing", "answer")}


@pytest.mark.parametrize("stage", STAGES)
def test_a_candidate_more_moves_nothing_of_another_plan(stage: str) -> None:
    job = candidates(3, ("door-fl", "door-fr"))
    assert len(job.build().axes) > len(cw.demo_job().build().axes)
    assert told(STAGES[stage](job)) == alone(stage)


@settings(deadline=None, derandomize=True, max_examples=4)
@given(
    count=st.integers(1, 5),
    places=st.sampled_from([("door-fl",), ("side-rl", "side-rr"), ("roof-rl", "door-fr")]),
)
def test_columns_of_compare_do_not_move(count: int, places: tuple[str, ...]) -> None:
    before = {figure.id: figure for figure in compared().figures}
    after = {f.id: f for f in compare(candidates(count, places), samples=64).figures}
    assert {id: figure for id, figure in after.items() if id in before} == before


@cache
def compared() -> Report:
    return compare(cw.demo_job(), samples=64)
