"""Simulated repairs: the proposed reading against a checklist and against chance.

`python -m benchmarks.simulated_repairs 2000` prints the table of docs/find.md; the run that all
benchmarks share is a small one.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import islice
from multiprocessing import get_context

import numpy as np

from benchmarks.simulated_vehicles import Vehicle, World, vehicles
from benchmarks.timing import Row
from conewright.stages.find import tables
from conewright.stages.find.evidence import Question
from conewright.stages.find.inference import Odds
from conewright.stages.find.inquiry import Inquiry, Said
from conewright.stages.find.planning import CERTAIN, Opened, access_key, top
from conewright.stages.find.prior import model_of, said_by_owner

__all__ = ["CHOOSERS", "Outcome", "calibration", "repair", "run", "summary"]

MOST = 60
"""Readings after which a repair gives up."""

SMALL = 10
"""Vehicles of the run that all benchmarks share."""

BINS = ((0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.0))
"""Odds between which causes are counted for the calibration."""

Chooser = Callable[[Vehicle, Odds, Sequence[Question], Opened], Question | None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the search for one vehicle's fault went.

    Attributes:
        minutes: spent up to the end.
        readings: taken.
        reached: whether a cause was as good as certain at the end.
        right: whether the likeliest cause, or one that the same repair cures, is there.
        final: odds of every fault at the end, and whether it is there.

    """

    minutes: float
    readings: int
    reached: bool
    right: bool
    final: tuple[tuple[float, bool], ...]


def repair(vehicle: Vehicle, choose: Chooser) -> Outcome:
    """Take readings until a cause is as good as certain, or nothing is worth taking."""
    case = vehicle.template.case
    told = said_by_owner(vehicle.complaints)
    model = model_of(vehicle.template.build(vehicle.age), case.chains, told, {})
    inquiry = Inquiry(case, model, (), {})
    said: list[Said] = []
    opened, minutes, odds = Opened(), 0.0, inquiry.odds
    while len(said) < MOST and top(odds)[1] < CERTAIN:
        question = choose(vehicle, odds, [asked for asked, _ in said], opened)
        if question is None:
            break
        key = access_key(question)
        minutes += tables.test(question.test).minutes + opened.minutes(key, case)
        opened = opened.with_(key)
        said.append((question, vehicle.answer(question)))
        odds = inquiry.after((), said)
    cause, chance = top(odds)
    final = tuple((found, atom in vehicle.faults) for atom, found in odds.of_atoms().items())
    return Outcome(minutes, len(said), chance >= CERTAIN, _cures(cause, vehicle), final)


def proposed(
    vehicle: Vehicle, odds: Odds, asked: Sequence[Question], opened: Opened
) -> Question | None:
    """The reading that the search itself proposes."""
    found = vehicle.template.foresight.next_readings(odds, asked, opened)
    return found[0].question if found and found[0].bits > 0.0 else None


def checklist(
    vehicle: Vehicle, odds: Odds, asked: Sequence[Question], opened: Opened
) -> Question | None:
    """The cheapest reading first, whatever was said so far."""
    case = vehicle.template.case
    left = _left(vehicle, odds, asked)
    cost = {q: tables.test(q.test).minutes + opened.minutes(access_key(q), case) for q in left}
    return min(left, key=lambda q: cost[q], default=None)


def at_random(
    vehicle: Vehicle, odds: Odds, asked: Sequence[Question], opened: Opened
) -> Question | None:
    """Any reading, the same order for the same vehicle."""
    del opened
    left = _left(vehicle, odds, asked)
    rng = np.random.default_rng((vehicle.number, len(asked)))
    return left[int(rng.integers(len(left)))] if left else None


CHOOSERS: dict[str, Chooser] = {
    "proposed": proposed,
    "checklist": checklist,
    "at random": at_random,
}


def summary(outcomes: Sequence[Outcome]) -> tuple[float, float, float, float]:
    """Share that got there, share right among those, minutes of those, minutes of all."""
    there = [outcome for outcome in outcomes if outcome.reached]
    right = float(np.mean([outcome.right for outcome in there])) if there else 0.0
    minutes = float(np.mean([outcome.minutes for outcome in there])) if there else 0.0
    every = float(np.mean([outcome.minutes for outcome in outcomes]))
    return len(there) / len(outcomes), right, minutes, every


def calibration(outcomes: Sequence[Outcome]) -> Iterator[tuple[float, float, int, float, float]]:
    """For each bin of odds: its edges, how many causes, mean odds, share that is true."""
    every = [entry for outcome in outcomes for entry in outcome.final]
    for low, high in BINS:
        held = [(chance, true) for chance, true in every if low <= chance < high + 1e-12]
        if held:
            chances, truths = zip(*held, strict=True)
            yield low, high, len(held), float(np.mean(chances)), float(np.mean(truths))


def run() -> Iterator[Row]:
    """A small run of the three orders."""
    for name in CHOOSERS:
        reached, right, minutes, _ = summary(_outcomes(name, World(seed=1), SMALL, 0, 1))
        remark = f"{100 * reached:.0f} % get there, {100 * right:.0f} % of them right"
        yield Row(f"{name}: {minutes:.0f} min a vehicle", None, remark)


def main(count: int) -> None:
    """Print the whole table: as drawn from the tables, and with the world's chances moved."""
    for wobble in (0.0, float(np.log(1.5))):
        print(f"chances of the world moved by a usual factor of {np.exp(wobble):.1f}")
        for name in CHOOSERS:
            found = _in_parallel(name, World(seed=1, wobble=wobble), count)
            reached, right, minutes, every = summary(found)
            print(
                f"  {name:10} {100 * reached:5.1f} % reach 85 %, {100 * right:5.1f} % of them "
                f"right, {minutes:5.1f} min, {every:5.1f} min over all",
                flush=True,
            )
            if name == "proposed":
                for low, high, number, mean, true in calibration(found):
                    print(
                        f"    odds {low:.1f} to {high:.1f}: {number:5} causes, mean "
                        f"{100 * mean:.1f} %, true {100 * true:.1f} %",
                        flush=True,
                    )


def _in_parallel(name: str, world: World, count: int) -> list[Outcome]:
    workers = 2
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        part = partial(_outcomes, name, world, count, workers=workers)
        return [outcome for group in pool.map(part, range(workers)) for outcome in group]


def _outcomes(name: str, world: World, count: int, start: int, workers: int) -> list[Outcome]:
    chosen = islice(vehicles(world, count), start, None, workers)
    return [repair(vehicle, CHOOSERS[name]) for vehicle in chosen]


def _left(vehicle: Vehicle, odds: Odds, asked: Sequence[Question]) -> list[Question]:
    del odds
    done = set(asked)
    return [q for q in vehicle.template.foresight.questions if q not in done]


def _cures(cause: str, vehicle: Vehicle) -> bool:
    """Whether the repair of a cause cures something that is there."""
    fault, _, subject = cause.partition("@")
    group = tables.fault(fault).repair_group
    return any(
        atom.subject == subject and tables.fault(atom.fault).repair_group == group
        for atom in vehicle.faults
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
