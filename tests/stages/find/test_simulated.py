"""Simulated repairs, few of them: the whole bench is `python -m benchmarks.simulated_repairs`.

The vehicles, their owners' words and what every reading says of them are drawn once; each order of
readings meets the same.
"""

from collections.abc import Iterator
from functools import cache
from itertools import islice

import numpy as np
import pytest
from benchmarks import simulated_repairs
from benchmarks.simulated_repairs import CHOOSERS, Outcome, repair, summary
from benchmarks.simulated_vehicles import Vehicle, World, commonness, vehicles

from conewright.stages.find.faults import trade
from conewright.stages.find.talk.rollouts import Promise

pytestmark = pytest.mark.slow

FEW = 14
"""Readings that each repair may take."""


@cache
def drawn() -> tuple[Vehicle, ...]:
    return tuple(vehicles(World(seed=11), 60))


@cache
def repaired(order: str) -> tuple[Outcome, ...]:
    # What is promised is the bench's business; here it would take most of the time.
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(simulated_repairs, "promised", lambda *_: Promise(0.0, 0.0))
        return tuple(repair(vehicle, CHOOSERS[order], FEW) for vehicle in drawn())


def finals() -> Iterator[tuple[float, bool]]:
    return (entry for outcome in repaired("proposed") for entry in outcome.final)


def test_proposed_readings_find_the_cause_where_others_do_not() -> None:
    # Own snapshot, loosely: 53 % and 10 % get there, 88 % of the former right.
    ours, theirs = summary(repaired("proposed")), summary(repaired("at random"))
    assert ours.reached > 0.4
    assert ours.reached > 2.0 * theirs.reached
    assert ours.right > 0.75
    assert ours.every < 0.75 * theirs.every


def test_odds_are_what_they_say() -> None:
    # Closed form: of causes given p, a share p is there; three standard deviations are allowed.
    for low, high in ((0.0, 0.02), (0.02, 0.2), (0.2, 0.85), (0.85, 1.01)):
        held = [(chance, true) for chance, true in finals() if low <= chance < high]
        chances, truths = (np.array(column, dtype=float) for column in zip(*held, strict=True))
        spread = np.sqrt(np.sum(chances * (1.0 - chances))) / chances.size
        assert abs(chances.mean() - truths.mean()) < 3.0 * spread + 0.02


def test_two_faults_are_drawn_as_often_as_said() -> None:
    counts = [len(vehicle.faults) for vehicle in islice(vehicles(World(seed=3), 600), 600)]
    assert set(counts) == {1, 2}
    assert 0.2 < np.mean(np.array(counts) == 2) < 0.33


def test_complaints_are_as_common_as_shares_of_faults_ask() -> None:
    # Closed form: words times factors add up to nearly one for every fault of some share.
    common = commonness()
    for fault in trade.faults():
        total = sum(often * trade.complaint(c).factor(fault.id) for c, often in common.items())
        assert 0.5 < total < 1.5, fault.id


def test_the_same_reading_says_the_same_twice() -> None:
    for vehicle in drawn()[:3]:
        for question in vehicle.template.foresight.questions[:20]:
            assert vehicle.answer(question) == vehicle.answer(question)
