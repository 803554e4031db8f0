"""What a catalogue's order, copies and prices change in an answer, and what they must not."""

from __future__ import annotations

import json
import random

import pytest
from random_vehicles import random_job
from spaces import Row, Watched, few_parts, searched

from conewright.job.builds.job import Job
from conewright.stages.choose.engine.found import Found, Limits
from conewright.stages.choose.finals.planned import PlannedPlan

LIMITS = Limits(money=520.0)
MAY = ("driver", "ring", "radio")


@pytest.fixture(scope="module")
def job() -> Job:
    return random_job(0, small=True)


@pytest.fixture(scope="module")
def rows() -> list[Row]:
    return [{**row, "per": "piece"} for row in few_parts(2, driver=8, radio=1)]


def told(search: Watched, plans: list[Found]) -> list[tuple[dict[str, object], float, float]]:
    """Plans by what they set and take, not by their positions."""
    space = search.ready.space
    return [
        (dict(PlannedPlan("plan", space, each.picks).change.set), each.value, each.money)
        for each in plans
    ]


def near(job: Job, rows: list[Row]) -> list[tuple[dict[str, object], float, float]]:
    search = searched(job, rows, may=MAY)
    return told(search, search.near(LIMITS, below=4.0))


@pytest.fixture(scope="module")
def answer(job: Job, rows: list[Row]) -> list[tuple[dict[str, object], float, float]]:
    return near(job, rows)


def test_a_shuffled_catalogue_changes_nothing(
    job: Job, rows: list[Row], answer: list[tuple[dict[str, object], float, float]]
) -> None:
    shuffled = list(rows)
    random.Random(1).shuffle(shuffled)
    assert shuffled != rows
    assert len(answer) > 2
    assert near(job, shuffled) == answer


def test_a_dearer_copy_changes_nothing(
    job: Job, rows: list[Row], answer: list[tuple[dict[str, object], float, float]]
) -> None:
    best = str(answer[0][0].get("front-l.driver", answer[0][0].get("rear-l.driver")))
    copied = next(row for row in rows if best.endswith(row["part"].lower()))
    copy = {**copied, "supplier": "Another", "price": f"{float(copied['price']) + 3.0:.2f}"}
    copy["price_high"] = f"{float(copied['price']) + 9.0:.2f}"
    assert near(job, [*rows, copy]) == answer


def test_a_cheaper_copy_is_taken_instead(job: Job, rows: list[Row]) -> None:
    search = searched(job, rows, may=MAY)
    best = search.best(LIMITS)
    assert best is not None
    bought = PlannedPlan("plan", search.ready.space, best.picks).rows
    part = search.ready.space.offer.compiled.text("part", bought[0])
    copied = next(row for row in rows if row["part"] == part)
    price = float(copied["price"]) - 2.0
    copy = {**copied, "supplier": "Another", "price": f"{price:.2f}", "price_low": f"{price:.2f}"}
    again = searched(job, [*rows, copy], may=MAY)
    cheaper = again.best(LIMITS)
    assert cheaper is not None
    assert cheaper.value >= best.value - 1e-9
    if cheaper.value == pytest.approx(best.value, abs=1e-9):
        assert cheaper.money < best.money


def test_parts_made_dearer_never_enter(job: Job, rows: list[Row]) -> None:
    search = searched(job, rows, may=MAY)
    best = search.best(LIMITS)
    assert best is not None
    taken = _parts_of(search, best)
    others = [row for row in rows if row["part"] not in taken]
    assert len(others) > 4
    for dearer in (others, others[:1]):
        changed = [_dearer(row) if row in dearer else row for row in rows]
        again = searched(job, changed, may=MAY)
        found = again.best(LIMITS)
        assert found is not None
        assert _parts_of(again, found) == taken
        assert (found.value, found.money) == pytest.approx((best.value, best.money), abs=1e-9)


def _dearer(row: Row) -> Row:
    price = f"{2.0 * float(row['price']):.2f}"
    return {**row, "price": price, "price_high": price}


def _parts_of(search: Watched, found: Found) -> set[str]:
    compiled = search.ready.space.offer.compiled
    rows = PlannedPlan("plan", search.ready.space, found.picks).change.buy
    return {compiled.text("part", row) for row in rows}


def test_a_part_beside_changes_no_other_plan(job: Job, rows: list[Row]) -> None:
    """A candidate more moves nothing of a plan without it."""
    fewer, more = (
        {
            json.dumps(change, sort_keys=True): (value, money)
            for change, value, money in told(search, search.near(Limits(), below=1000.0))
        }
        for search in (searched(job, some, may=MAY) for some in (rows[1:], rows))
    )
    assert len(more) > len(fewer) > 20
    for plan, each in fewer.items():
        assert more[plan] == pytest.approx(each, abs=1e-9), plan


def test_one_group_alone_is_sorted() -> None:
    job = random_job(12, small=True)
    search = searched(job, few_parts(2, driver=12), may=("driver",))
    assert len(search.ready.space.channels) == 1
    every = search.near(Limits(), below=1000.0)
    assert every == sorted(every, key=lambda each: each.order)
    for money in (every[0].money, 0.8 * every[0].money, 60.0):
        within = [each for each in every if each.money <= money + 1e-9]
        assert search.best(Limits(money=money)) == (within[0] if within else None)


def test_ties_go_to_less_money_then_fewer_hours_then_fewer_changes_then_the_first() -> None:
    plans = [
        Found((0, 1), 50.0004, 100.0, 2.0),
        Found((0, 2), 50.0, 90.0, 3.0),
        Found((1, 1), 50.0, 90.0, 2.0),
        Found((0, 4), 50.0, 90.0, 2.0),
        Found((0, 3), 50.0, 90.0 + 1e-12, 2.0),
        Found((0, 9), 50.1, 900.0, 9.0),
    ]
    picks = [each.picks for each in sorted(plans, key=lambda each: each.order)]
    assert picks == [(0, 9), (0, 3), (0, 4), (1, 1), (0, 2), (0, 1)]
