"""The search against plain enumeration: the same best plan, the same near ones, any limits.

Source: every plan of a small space worked out by the evaluator that is held to the stages, limits
applied after; no bound has any part in it.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from enumeration import Enumeration
from random_vehicles import random_job
from spaces import Watched, few_parts, searched

from conewright.job.document.document import Wishes
from conewright.stages.choose.engine import solve
from conewright.stages.choose.engine.solve import Found, Limits, Search
from conewright.stages.choose.mounted.prepared import Prepared
from conewright.stages.choose.space import wiring_forms

VEHICLES = (0, 2, 4, 8, 9, 10, 14)
WISHED, LIMITED = 3, 10
"""Instances of each vehicle: so many owners, and limits of each."""

WORDS = ("no matter", "would be nice", "matters", "matters most")
KNOBS = ("ring", "cover", "polarity", "wiring", "capacitor", "high-pass", "radio")


@dataclass(frozen=True)
class Small:
    """A small space with every plan of it worked out."""

    seed: int
    search: Watched
    every: Enumeration

    @property
    def ready(self) -> Prepared:
        return self.search.ready


@pytest.fixture(scope="module")
def spaces() -> Iterator[list[Small]]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(wiring_forms, "HIGH_PASS_MENU", (0.0, 80.0, 150.0))
        found = []
        for seed in VEHICLES:
            chance = random.Random(seed)
            may = ["driver", *chance.sample(KNOBS, 2)]
            parts = few_parts(seed, driver=7, capacitor=2, radio=1)
            alone = [{**row, "per": "piece"} for row in parts]
            search = searched(random_job(seed, small=True), alone, may=may)
            found.append(Small(seed, search, Enumeration(search.ready)))
        yield found


def wished(small: Small, chance: random.Random) -> None:
    """Let another owner wish."""
    words = {name: chance.choice(WORDS) for name in ("loudness", "clarity", "reversible")}
    raw: dict[str, object] = {
        "bass": chance.choice(WORDS[1:]),
        **words,
        "hands_free": chance.choice(WORDS),
    }
    if chance.random() < 0.5:
        # Goals that are soon reached make ties; wide ones make none.
        far = chance.choice((1.0, 4.0, 30.0))
        goals = {"bass": [f"-{far} dB", f"{far} dB"], "loudness": [f"-{far} dB", f"{far} dB"]}
        raw["goals"] = goals
    space = small.ready.space
    job = space.job.model_copy(update={"wishes": Wishes.model_validate(raw)})
    small.ready.space = replace(space, job=job)


def limits_of(small: Small, chance: random.Random) -> Limits:
    """Limits that cut somewhere through what plans take."""
    plan = chance.choice(small.every.plans)
    money = chance.choice((plan.money, plan.money, plan.money - 0.01, plan.money * 1.1, None))
    return Limits(money, chance.choice((plan.hours, None, None, plan.hours * 0.9)))


def search_again(small: Small, *, gap: float = 0.0) -> Search:
    """Search with nothing known but the bounds of cells."""
    fresh = Search(small.ready, gap=gap)
    fresh._cells = small.search._cells
    return fresh


def same(one: Found, other: Found) -> bool:
    return one.picks == other.picks and (one.value, one.money, one.hours) == pytest.approx(
        (other.value, other.money, other.hours), abs=1e-6
    )


def test_the_best_plan_is_that_of_enumeration(spaces: list[Small]) -> None:
    tried, found = 0, 0
    for small in spaces:
        chance = random.Random(small.seed)
        for _ in range(WISHED):
            wished(small, chance)
            search = search_again(small)
            for _ in range(LIMITED):
                limits = limits_of(small, chance)
                wanted = next(iter(small.every.within(limits)), None)
                best = search.best(limits)
                tried += 1
                if wanted is None or best is None:
                    assert wanted is best, (small.seed, limits)
                    continue
                found += 1
                assert same(best, wanted), (small.seed, limits, best, wanted)
    assert tried >= 200
    assert found > 120
    assert sum(len(small.every) for small in spaces) > 1000


def test_near_plans_are_those_of_enumeration(spaces: list[Small]) -> None:
    counts = []
    for small in spaces:
        chance = random.Random(small.seed)
        wished(small, chance)
        limits, below = limits_of(small, chance), chance.choice((0.5, 2.0, 5.0))
        every = small.every.within(limits)
        wanted = [each for each in every if each.value >= every[0].value - below - 1e-4]
        found = search_again(small).near(limits, below=below)
        close = {each.picks for each in found if each.value >= every[0].value - below + 1e-4}
        sure = {each.picks for each in wanted if each.value >= every[0].value - below + 1e-4}
        assert close == sure
        counts.append(len(sure))
    assert max(counts) > 3


def test_a_search_that_stops_says_how_much_is_left_open(
    spaces: list[Small], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(solve, "MOST_BOUNDED", 1)
    opened = 0
    for small in spaces:
        chance = random.Random(small.seed)
        for _ in range(6):
            wished(small, chance)
            search, limits = search_again(small), limits_of(small, chance)
            best, wanted = search.best(limits), next(iter(small.every.within(limits)), None)
            assert (best is None) == (wanted is None)
            if best is None or wanted is None:
                continue
            gap = search.proved_within(best, limits)
            assert best.value - 1e-6 <= wanted.value <= best.value + gap + 1e-3
            opened += gap > 0.0
    assert opened > 3


def test_a_gap_is_kept(spaces: list[Small]) -> None:
    for small in spaces:
        chance = random.Random(small.seed)
        wished(small, chance)
        for gap in (0.5, 3.0):
            limits = limits_of(small, chance)
            wanted = next(iter(small.every.within(limits)), None)
            search = search_again(small, gap=gap)
            best = search.best(limits)
            if wanted is None or best is None:
                assert wanted is best
                continue
            assert wanted.value - gap - 1e-3 <= best.value <= wanted.value + 1e-9


def test_more_money_never_buys_less(spaces: list[Small]) -> None:
    for small in spaces:
        search = search_again(small)
        spent = sorted(plan.money for plan in small.every.plans)
        values = []
        for money in spent[:: max(len(spent) // 8, 1)]:
            best = search.best(Limits(money=money))
            values.append(-1.0 if best is None else best.value)
        assert values == sorted(values)


def test_less_money_than_any_plan_takes_leaves_nothing(spaces: list[Small]) -> None:
    for small in spaces:
        least = min(plan.money for plan in small.every.plans)
        assert search_again(small).best(Limits(money=least - 0.01)) is None
        some = search_again(small).best(Limits(money=small.ready.labour.of([])[1] - 0.01))
        assert some is None


def test_few_plans_are_worked_out(spaces: list[Small]) -> None:
    """Enumeration would pass all tests above: most plans must be left to their bounds."""
    whole, checked = 0, 0
    for small in spaces:
        search = search_again(small)
        search.best(Limits())
        whole, checked = whole + len(small.every), checked + search.tally.checked
    assert checked < 0.3 * whole
