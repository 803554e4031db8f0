"""Simulated repairs, few of them: the whole bench is `python -m benchmarks.simulated_repairs`.

The vehicles, their owners' words and what every reading says of them are drawn once; each order of
readings meets the same.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import islice

import numpy as np
import pytest
from benchmarks import simulated_repairs
from benchmarks.simulated_repairs import CHOOSERS, Outcome, repair, summary
from benchmarks.simulated_vehicles import Vehicle, World, commonness, vehicles

from conewright.stages.find.faults import trade
from conewright.stages.find.odds.evidence import Question
from conewright.stages.find.odds.prior import model_of, said_by_owner
from conewright.stages.find.talk import rollouts
from conewright.stages.find.talk.inquiry import Inquiry
from conewright.stages.find.talk.rollouts import Promise

pytestmark = pytest.mark.slow

FEW = 14
"""Readings that each repair may take."""


@cache
def drawn() -> tuple[Vehicle, ...]:
    return tuple(vehicles(World(seed=11), 60))


@cache
def repaired(order: str) -> tuple[Outcome, ...]:
    return tuple(unpromised(vehicle, order, FEW) for vehicle in drawn())


def unpromised(vehicle: Vehicle, order: str, most: int) -> Outcome:
    """A repair of which nothing is foretold: that would take most of the time."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(simulated_repairs, "promised", lambda *_: Promise(0.0, 0.0))
        return repair(vehicle, CHOOSERS[order], most)


def finals() -> Iterator[tuple[float, bool]]:
    return (entry for outcome in repaired("proposed") for entry in outcome.final)


def test_proposed_readings_find_the_cause_where_others_do_not() -> None:
    # Own snapshot, loosely: 68 % and 13 % get there, 93 % of the former right.
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


@dataclass(frozen=True)
class Foreseen(Vehicle):
    """A vehicle as a play takes it to be, with the luck of the play at every reading."""

    play: int = 0

    def answer(self, question: Question) -> str:
        words, chances = self._chances(question)
        cut = np.cumsum(chances)
        luck = rollouts._luck(self.play, question) * cut[-1]
        return words[min(int(np.searchsorted(cut, luck)), len(words) - 1)]


def foreseen(vehicle: Vehicle) -> Iterator[tuple[tuple[float, bool], Foreseen]]:
    """Minutes of some plays and whether they get there, and the vehicles they take for true."""
    case, told = vehicle.template.case, said_by_owner(vehicle.complaints)
    model = model_of(vehicle.template.build(vehicle.age), case.chains, told, {})
    crowd = rollouts._Crowd(
        Inquiry(case, model, (), {}), list(vehicle.template.foresight.questions)
    )
    for play in range(0, rollouts.PLAYS, 8):
        states = [int(drawn[crowd._truths[play]]) for drawn in crowd._members]
        faults = frozenset(
            atom
            for chain, state in zip(case.chains, states, strict=True)
            for atom in chain.faults(chain.states[state])
        )
        yield (
            crowd.play(play),
            Foreseen(
                vehicle.world,
                vehicle.number,
                vehicle.template,
                vehicle.age,
                faults,
                vehicle.complaints,
                play=play,
            ),
        )


def test_repairs_go_as_they_were_played_out() -> None:
    # A play reckons with a crowd of states, the repair with all of them; the same truth, the same
    # luck. What is promised may be off by 5 points and a fifth of the minutes; of 60 pairs two
    # standard deviations of the share are 6 points more.
    plays, lived = [], []
    for vehicle in drawn()[:15]:
        for played, truth in foreseen(vehicle):
            plays.append(played)
            outcome = unpromised(truth, "proposed", rollouts.FEW)
            lived.append((outcome.minutes, outcome.reached))
    shares = [np.mean([there for _, there in each]) for each in (plays, lived)]
    minutes = [np.mean([spent for spent, there in each if there]) for each in (plays, lived)]
    assert abs(shares[0] - shares[1]) < 0.05 + 0.06
    assert minutes[0] == pytest.approx(minutes[1], rel=0.2)
    assert 0.4 < shares[1] < 0.95


def test_two_faults_are_drawn_as_often_as_said() -> None:
    found = list(islice(vehicles(World(seed=3), 600), 600))
    counts = [len(vehicle.faults) for vehicle in found if vehicle.grounded]
    assert set(counts) == {1, 2}
    assert 0.2 < np.mean(np.array(counts) == 2) < 0.33


def test_owners_complain_of_nothing_as_often_as_the_table_says() -> None:
    # Closed form: of each kind of words the table's share has no fault behind it; rare events
    # have the variance of their mean, three standard deviations are allowed.
    found = list(vehicles(World(seed=5), 3000))
    groundless = [
        trade.complaint(vehicle.complaints[0].partition("@")[0]).groundless for vehicle in found
    ]
    expected = sum(groundless)
    assert abs(sum(not each.grounded for each in found) - expected) < 3.0 * np.sqrt(expected)
    sound = [not vehicle.faults for vehicle in found if not vehicle.grounded]
    assert 0.5 < np.mean(sound) < 0.75


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
