"""Simulated repairs: the proposed reading against a checklist and against chance.

`python -m benchmarks.simulated_repairs` prints the tables of docs/find.md, `--world other` one
world alone, `--orders` the orders of readings that meet it; the run that all benchmarks share is a
small one.
"""

from argparse import ArgumentParser
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from itertools import islice
from multiprocessing import get_context
from time import perf_counter

import numpy as np

from benchmarks.other_world import OtherWorld, Stranger, strangers
from benchmarks.simulated_vehicles import Vehicle, World, vehicles
from benchmarks.timing import Row
from conewright.stages.find.faults import trade
from conewright.stages.find.odds.evidence import Question
from conewright.stages.find.odds.inference import Odds
from conewright.stages.find.odds.prior import model_of, said_by_owner
from conewright.stages.find.talk.inquiry import Inquiry, Taken
from conewright.stages.find.talk.planning import CERTAIN, Opened, access_key, top
from conewright.stages.find.talk.rollouts import FEW, Promise, promised

__all__ = [
    "CHOOSERS",
    "Kept",
    "Outcome",
    "Summary",
    "calibration",
    "kept",
    "repair",
    "run",
    "summary",
]

MOST = 60
"""Readings after which a repair gives up."""

SMALL = 10
"""Vehicles of the run that all benchmarks share."""

BINS = tuple((0.1 * k, 0.1 * (k + 1)) for k in range(1, 10))
"""Odds between which causes are counted for the calibration."""

WORLDS: dict[str, World | OtherWorld] = {
    "tables": World(seed=1),
    "moved": World(seed=1, wobble=float(np.log(1.5))),
    "even": World(seed=1, common=False),
    "other": OtherWorld(seed=1),
}
"""Worlds that the vehicles are drawn from; the search knows the tables alone.

As the tables say; every chance moved by a usual factor of 1.5; every complaint as common as any
other; and one of another making altogether.
"""

Car = Vehicle | Stranger
Chooser = Callable[[Car, Odds, Sequence[Question], Opened], Question | None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the search for one vehicle's fault went.

    Attributes:
        minutes: spent up to the end.
        readings: taken.
        reached: whether a cause was as good as certain at the end.
        right: whether the likeliest cause, or one that the same repair cures, is there.
        final: odds of every fault at the end, and whether it is there.
        promise: minutes, and chance to get there with few readings, that were promised at first.
        grounded: whether a fault was behind the owner's words.

    """

    minutes: float
    readings: int
    reached: bool
    right: bool
    final: tuple[tuple[float, bool], ...]
    promise: Promise
    grounded: bool


def repair(vehicle: Car, choose: Chooser, most: int = MOST) -> Outcome:
    """Take readings until a cause is as good as certain, none is left, or `most` are taken."""
    case = vehicle.template.case
    told = said_by_owner(vehicle.complaints)
    model = model_of(vehicle.template.build(vehicle.age), case.chains, told, {})
    inquiry = Inquiry(case, model, (), {})
    promise = promised(inquiry, vehicle.template.foresight.questions)
    taken: list[Taken] = []
    opened, minutes, odds = Opened(), 0.0, inquiry.odds
    while len(taken) < most and top(odds)[1] < CERTAIN:
        question = choose(vehicle, odds, [reading.question for reading in taken], opened)
        if question is None:
            break
        key = access_key(question)
        minutes += trade.test(question.test).minutes + opened.minutes(key, case)
        opened = opened.with_(key)
        said = vehicle.answer(question)
        evidence = inquiry.evidence(question, said)
        taken.append(Taken(len(taken) + 1, question, str(said), evidence))
        odds = inquiry.after(taken)
    cause, chance = top(odds)
    return Outcome(
        minutes=minutes,
        readings=len(taken),
        reached=chance >= CERTAIN,
        right=_cures(cause, vehicle),
        final=tuple((found, atom in vehicle.faults) for atom, found in odds.of_atoms().items()),
        promise=promise,
        grounded=vehicle.grounded,
    )


def proposed(
    vehicle: Car, odds: Odds, asked: Sequence[Question], opened: Opened
) -> Question | None:
    """The reading that the search itself proposes."""
    found = vehicle.template.foresight.next_readings(odds, asked, opened)
    return found[0].question if found and found[0].bits > 0.0 else None


def checklist(
    vehicle: Car, odds: Odds, asked: Sequence[Question], opened: Opened
) -> Question | None:
    """The cheapest reading first, whatever was said so far."""
    case = vehicle.template.case
    left = _left(vehicle, odds, asked)
    cost = {q: trade.test(q.test).minutes + opened.minutes(access_key(q), case) for q in left}
    return min(left, key=lambda q: cost[q], default=None)


def at_random(
    vehicle: Car, odds: Odds, asked: Sequence[Question], opened: Opened
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


@dataclass(frozen=True, slots=True)
class Summary:
    """What many repairs come to.

    Attributes:
        few: share that got there with few readings.
        reached: share that got there.
        right: share of those whose cause is there.
        minutes: of those, on average.
        every: minutes of all, on average; one that did not get there counts up to its end.

    """

    few: float
    reached: float
    right: float
    minutes: float
    every: float


def summary(outcomes: Sequence[Outcome]) -> Summary:
    """Return shares and minutes."""
    there = [outcome for outcome in outcomes if outcome.reached]
    few = sum(outcome.readings <= FEW for outcome in there)
    return Summary(
        few / len(outcomes),
        len(there) / len(outcomes),
        float(np.mean([outcome.right for outcome in there])) if there else 0.0,
        float(np.mean([outcome.minutes for outcome in there])) if there else 0.0,
        float(np.mean([outcome.minutes for outcome in outcomes])),
    )


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
        start = perf_counter()
        found = summary(_outcomes(name, World(seed=1), SMALL, 0, 1))
        remark = (
            f"{100 * found.reached:.0f} % get there, {100 * found.right:.0f} % of them right, "
            f"in {found.minutes:.0f} min"
        )
        yield Row(f"a repair, {name}", (perf_counter() - start) / SMALL, remark)


def main(count: int, titles: Sequence[str], orders: Sequence[str]) -> None:
    """Print the tables, world by world."""
    for title in titles:
        found = {name: _in_parallel(name, WORLDS[title], count) for name in orders}
        print(f"\n{count} vehicles, world: {title}\n", *_lines(found), sep="\n", flush=True)


def _lines(found: Mapping[str, Sequence[Outcome]]) -> Iterator[str]:
    """The tables of one world, as Markdown."""
    yield "Of the vehicles with a fault behind the words:\n"
    yield f"| order | there in {FEW} | there in {MOST} | right | minutes | minutes, all |"
    yield "|---|---|---|---|---|---|"
    for name, outcomes in found.items():
        of = summary([each for each in outcomes if each.grounded])
        yield (
            f"| {name} | {100 * of.few:.1f} % | {100 * of.reached:.1f} % | {100 * of.right:.1f} % "
            f"| {of.minutes:.0f} | {of.every:.0f} |"
        )
    for name in list(found)[1:]:
        pairs = zip(found["proposed"], found[name], strict=True)
        both = [
            (one.minutes, other.minutes)
            for one, other in pairs
            if one.grounded and one.reached and other.reached
        ]
        ours, theirs = np.mean(both, axis=0)
        yield f"\n{len(both)} vehicles that {name} solves, too: {ours:.0f} min against {theirs:.0f}"
    yield _for_nothing(found["proposed"])
    yield _kept(found["proposed"])
    yield "\n| odds | causes | mean | true |\n|---|---|---|---|"
    for low, high, number, mean, true in calibration(found["proposed"]):
        yield (
            f"| {100 * low:.0f} to {100 * high:.0f} % | {number} | {100 * mean:.1f} % "
            f"| {100 * true:.1f} % |"
        )


def _for_nothing(outcomes: Sequence[Outcome]) -> str:
    """What came of the complaints with no fault behind them."""
    nothing = [each for each in outcomes if not each.grounded]
    there = [each for each in nothing if each.reached]
    return (
        f"\n{len(nothing)} owners complained of what is no fault: {len(there)} were told of a cause"
        f", {sum(each.right for each in there)} of one that is there, too"
    )


@dataclass(frozen=True, slots=True)
class Kept:
    """What was promised at first beside what came of it, with few readings, on average.

    Attributes:
        chance, share: to get there: promised, and who did.
        promised, minutes: of those who get there: as promised, and as it was.

    """

    chance: float
    share: float
    promised: float
    minutes: float


def kept(outcomes: Sequence[Outcome]) -> Kept:
    """Return promises and what came of them, over all vehicles, whatever is behind the words."""
    there = [each.minutes for each in outcomes if each.reached and each.readings <= FEW]
    chances = np.array([each.promise.chance for each in outcomes])
    minutes = np.array([each.promise.minutes for each in outcomes])
    return Kept(
        float(chances.mean()),
        len(there) / len(outcomes),
        float(chances @ minutes / chances.sum()),
        float(np.mean(there)) if there else 0.0,
    )


def _kept(outcomes: Sequence[Outcome]) -> str:
    of = kept(outcomes)
    return (
        f"\npromised {of.promised:.0f} min, {100 * of.chance:.1f} % within {FEW} readings"
        f"; kept {of.minutes:.0f} min, {100 * of.share:.1f} %"
    )


def _in_parallel(name: str, world: World | OtherWorld, count: int) -> list[Outcome]:
    workers = 2
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        part = partial(_outcomes, name, world, count, workers=workers)
        return [outcome for group in pool.map(part, range(workers)) for outcome in group]


def _outcomes(
    name: str, world: World | OtherWorld, count: int, start: int, workers: int
) -> list[Outcome]:
    cars: Iterator[Car] = (
        vehicles(world, count) if isinstance(world, World) else strangers(world, count)
    )
    chosen = islice(cars, start, None, workers)
    return [repair(vehicle, CHOOSERS[name]) for vehicle in chosen]


def _left(vehicle: Car, odds: Odds, asked: Sequence[Question]) -> list[Question]:
    del odds
    done = set(asked)
    return [q for q in vehicle.template.foresight.questions if q not in done]


def _cures(cause: str, vehicle: Car) -> bool:
    """Whether the repair of a cause cures something that is there."""
    fault, _, subject = cause.partition("@")
    group = trade.fault(fault).repair_group
    return any(
        atom.subject == subject and trade.fault(atom.fault).repair_group == group
        for atom in vehicle.faults
    )


if __name__ == "__main__":
    asked = ArgumentParser(description=__doc__)
    asked.add_argument("count", nargs="?", type=int, default=400, help="vehicles in each world")
    asked.add_argument("--world", nargs="+", choices=WORLDS, default=list(WORLDS))
    asked.add_argument("--orders", nargs="+", choices=CHOOSERS, default=["proposed"])
    given = asked.parse_args()
    main(given.count, given.world, given.orders)
