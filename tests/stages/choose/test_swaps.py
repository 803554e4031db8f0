"""Drivers that change places: each unit once, paid once, worked out as the stages do."""

from __future__ import annotations

import random

import pytest
from enumeration import Enumeration
from spaces import Row, Watched, few_parts, searched, written_build

from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads
from conewright.physics.basics import bands
from conewright.stages.choose.engine.found import Limits
from conewright.stages.choose.space.groups import Space
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.hear.heard import sound_of
from conewright.stages.outlay.reckoning import outlay

KNOBS = ("driver", "swap", "ring", "high-pass")

# Good drivers sit behind, tired ones in front: a common find in a used car.
TEXT = """
format = 1
[job]
title = "hatchback whose good pair sits behind"
opened = 2026-03-02
currency = "EUR"
hour_rate = 40
[wishes]
bass = "matters most"
loudness = "matters"
clarity = "would be nice"
[vehicle]
built = 2004
class = "compact"
restraints = { curtain = "none", door_sensor = "none" }
[[seat]]
id = "driver"
ear = ["0.4 m", "0.37 m", "1.1 m"]
[head_unit]
name = "radio as fitted"
output = "bridge"
minimum_load = "4 ohm"
[[channel]]
id = "front-left"
load = "door-l"
[[channel]]
id = "front-right"
load = "door-r"
[[channel]]
id = "rear-left"
load = "rear-l"
[[channel]]
id = "rear-right"
load = "rear-r"
[[location]]
id = "door-l"
kind = "door"
at = ["0.9 m", "0.7 m", "0.35 m"]
driver = "tired-130"
cavity = { volume = "30 L", panel_holes = "40 cm2" }
trim = { grille_area = "80 cm2" }
[[location]]
id = "door-r"
like = "door-l"
at = ["0.9 m", "-0.7 m", "0.35 m"]
[[location]]
id = "rear-l"
kind = "panel"
at = ["-0.8 m", "0.6 m", "0.6 m"]
driver = "good-130"
cavity = { volume = "25 L", panel_holes = "30 cm2" }
trim = { grille_area = "80 cm2" }
[[location]]
id = "rear-r"
like = "rear-l"
at = ["-0.8 m", "-0.6 m", "0.6 m"]
[[driver]]
id = "tired-130"
size = "130 mm"
age = "old"
rated_impedance = "4 ohm"
[[driver]]
id = "good-130"
size = "130 mm"
age = "new"
re = "3.4 ohm"
fs = "72 Hz"
qms = 4.0
qes = 0.62
mms = "9.4 g"
sd = "87 cm2"
le = "0.3 mH"
xmax = "5 mm"
power = "60 W"
"""
SWAPPED = """
[[proposal]]
id = "forward"
[proposal.set]
"door-?.driver" = "good-130"
"""


def job(more: str = "") -> Job:
    return loads(TEXT + more, "toml")


def parts(seed: int) -> list[Row]:
    rows = [row for row in few_parts(seed, driver=40) if row["size"] == "130 mm"]
    return [{**row, "per": "piece"} for row in rows[:4]]


@pytest.fixture(scope="module")
def search() -> Watched:
    return searched(job(), parts(1), may=KNOBS)


def swaps(space: Space) -> dict[str, list[str]]:
    return {group.id: [each.id for each in group.variants if each.takes] for group in space.places}


def test_places_of_one_size_may_change_drivers(search: Watched) -> None:
    assert swaps(search.ready.space) == {
        "door-l+door-r": ["from-rear-l+rear-r", "from-rear-l+rear-r+ring"],
        "rear-l+rear-r": ["from-door-l+door-r", "from-door-l+door-r+ring"],
    }


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('id = "good-130"\nsize = "130 mm"', 'id = "good-130"\nsize = "100 mm"'),
        ('driver = "good-130"', 'driver = "tired-130"'),
        ('door_sensor = "none"', 'door_sensor = "pressure"'),
    ],
    ids=["other size", "same driver", "closed doors"],
)
def test_what_cannot_change_places_does_not(old: str, new: str) -> None:
    text = TEXT.replace(old, new)
    space = searched(loads(text, "toml"), parts(1), may=KNOBS).ready.space
    assert not any(each for each in swaps(space).values() if each)


def test_a_burnt_driver_goes_nowhere() -> None:
    hurt = '[[finding]]\nfault = "coil-open"\nat = "rear-l"\n'
    space = searched(job(hurt), parts(1), may=KNOBS).ready.space
    assert swaps(space)["door-l+door-r"] == []
    assert swaps(space)["rear-l+rear-r"]


def test_a_driver_that_moves_is_not_bought_and_one_that_stays_is() -> None:
    # By a pencil: the rear pair moves forward; behind, the front pair is fitted, or nothing moves.
    both = SWAPPED + '"rear-?.driver" = "tired-130"\n'
    taken = outlay(job(both).build("forward"))
    assert taken.sum_of("driver").typical == 0.0
    assert not taken.unpriced
    # Where the rear pair stays as well, another pair of its kind is needed.
    alone = outlay(job(SWAPPED).build("forward"))
    assert alone.sum_of("driver").typical > 0.0
    assert alone.hours.typical < taken.hours.typical


def test_plans_use_each_driver_once_and_cost_what_their_outlay_says(search: Watched) -> None:
    space, moved = search.ready.space, 0
    start = 1 + 3 * len(space.channels)
    for plan in search.some_plans(3, 60):
        chosen = [
            group.variant_of(plan.picks[start + g])[0] for g, group in enumerate(space.places)
        ]
        used = [name for each in chosen for name in (each.keeps, each.takes) if name]
        assert len(set(used)) == len(used)
        if not any(each.takes for each in chosen):
            continue
        moved += 1
        build = written_build(space, plan.picks)
        taken = outlay(build)
        assert plan.money == pytest.approx(taken.total.typical, abs=0.005), plan.picks
        assert plan.hours == pytest.approx(taken.hours.typical, abs=1e-6), plan.picks
        value, found = search.worked_out(plan)
        solver = Solver(conditioned_draws(build, samples=1), bands.fine_grid())
        seat = sound_of(build, solver).seats["driver"]
        wanted = (seat.bass[0, 0], seat.treble[0, 0], seat.clean_overall[0, 0])
        got = (found.bass[0], found.clarity[0], found.loudness[0])
        assert got == pytest.approx(wanted, rel=1e-9), plan.picks
        assert plan.bound >= value - 1e-9
    assert moved > 5


def test_the_best_plan_is_that_of_enumeration(search: Watched) -> None:
    every = Enumeration(search.ready)
    chance = random.Random(5)
    swapped = 0
    for _ in range(25):
        plan = chance.choice(every.plans)
        limits = Limits(chance.choice((plan.money, plan.money * 1.1, None)), None)
        wanted, best = next(iter(every.within(limits)), None), search.best(limits)
        assert (wanted is None) == (best is None)
        if wanted is not None and best is not None:
            assert best.picks == wanted.picks
            start = 1 + 3 * len(search.ready.space.channels)
            swapped += any(
                group.variant_of(best.picks[start + g])[0].takes
                for g, group in enumerate(search.ready.space.places)
            )
    # A practitioner moves the good pair forward before anything is bought.
    assert swapped > 0
