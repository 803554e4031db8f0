"""Reference values of choosing: the search on additive instances, hours, money, bounds and room."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from csv import DictReader
from pathlib import Path

import numpy as np
import pytest

import conewright as cw
from conewright.catalogue.driver_columns import driver_columns
from conewright.catalogue.lists.forms import table_of
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.job.text.parsing import from_dict
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.levels import REFERENCE_PRESSURE, decibel
from conewright.physics.electrics.wiring import Leaf
from conewright.stages.choose.measuring import worth_of_knowing
from conewright.stages.choose.mounted.driven import Hanging, Middle, _drives, middle_of
from conewright.stages.choose.mounted.plan_rows import MountedOptions
from conewright.stages.choose.space.gates import Allowed, gated
from conewright.stages.common.changes import Changes, changes
from conewright.stages.common.circuit import Unit
from conewright.stages.compare.wishes import points_by_wish, share_of
from conewright.stages.outlay.amounts import Amount, together
from conewright.stages.outlay.reckoning import labour
from descended import Group, bounded_plans, promising

from .checks import Check, read_checks

TABLE = Path(__file__).with_name("choose.csv")
CHECKS = read_checks(TABLE)
with TABLE.open(encoding="utf-8", newline="") as file:
    TOLD = {row["id"]: row["inputs"] for row in DictReader(file)}
NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"


def lists(check: str) -> dict[str, list[float]]:
    """The inputs of a row that are written as `name=1,2,3`."""
    found = re.findall(rf"(\w+)=({NUMBER}(?:,{NUMBER})*)", TOLD[check])
    return {name: [float(each) for each in text.split(",")] for name, text in found}


# --- The search on sums ---------------------------------------------------------------------------


def additive(*options: tuple[Sequence[float], Sequence[Sequence[float]]]) -> list[Group]:
    """Groups whose options only add points and costs: points, and costs by limit."""
    groups = []
    for points, costs in options:
        gains = np.array(points, dtype=float)[:, np.newaxis]
        groups.append(Group(np.array(costs, float).T, gains, np.full(len(points), 9.0)))
    return groups


def most(groups: Sequence[Group], *limits: float) -> float:
    """The most points within limits: of sums the bound is the value."""

    def upper(gains: FloatArray, _: FloatArray) -> FloatArray:
        return np.asarray(gains[:, 0])

    at_most = np.array(limits)
    start = promising(groups, limits=at_most, upper=upper, most=200)
    reached = sum(each.gains[start[:, k], 0] for k, each in enumerate(groups))
    floor = float(np.max(reached)) - 1e-9
    picks, bound = bounded_plans(groups, limits=at_most, upper=upper, floor=floor)
    spent = sum(each.costs[picks[0, k]] for k, each in enumerate(groups))
    assert np.all(spent <= at_most + 1e-9)
    return float(bound[0])


def items(values: Sequence[float], *costs: Sequence[float]) -> list[Group]:
    """Things to take or leave."""
    return additive(
        *(
            ([0.0, value], [[0.0, each[index]] for each in costs])
            for index, value in enumerate(values)
        )
    )


def _one_limit(check: str) -> float:
    told = lists(check)
    return most(items(told["values"], told["money"]), told["limit"][0])


def _two_limits(check: str) -> float:
    told = lists(check)
    # Both limits are called by the same name: in the order of their lists.
    limits = [float(each) for each in re.findall(r"limit=(\d+)", TOLD[check])]
    return most(items(told["values"], told["first"], told["second"]), *limits)


def _relaxed(check: str) -> float:
    """What the continuous problem comes to; the search finds no more, and all of its floor."""
    told = lists(check)
    values, money = (np.array(told[name]) for name in ("values", "money"))
    left, bound = told["limit"][0], 0.0
    for index in np.argsort(-values / money, kind="stable"):
        share = min(left / money[index], 1.0)
        bound, left = bound + share * values[index], left - share * money[index]
    found = most(items(told["values"], told["money"]), told["limit"][0])
    assert found == np.floor(bound)
    return float(bound)


def _each_once(_: str) -> float:
    cost = np.array([[4.0, 1.0, 3.0], [2.0, 0.0, 5.0], [3.0, 2.0, 2.0]])
    units = ((10.0 - row, np.eye(3).tolist()) for row in cost)
    return 30.0 - most(additive(*((each.tolist(), use) for each, use in units)), 1.0, 1.0, 1.0)


def _places(money: float) -> float:
    told = re.findall(r"(\d+)/(\d+)|(\|)", TOLD["CH.M1"])
    places: list[list[tuple[float, float]]] = [[]]
    for points, price, end in told:
        if end:
            places.append([])
        else:
            places[-1].append((float(points), float(price)))
    columns = ((list(zip(*each, strict=True))) for each in places)
    return most(additive(*((points, [price]) for points, price in columns)), money)


def _large(_: str) -> float:
    draw = np.random.default_rng(3)
    q = draw.uniform(size=(4, 2500))
    points = np.round(20 * (1 - np.exp(-2 * q)) + draw.normal(0, 1.2, q.shape), 3)
    money = np.maximum(np.round(20 + 120 * q**1.5 + draw.normal(0, 8, q.shape), 1), 5.0)
    hours = draw.choice([0.25, 0.5, 0.75, 1.0, 1.5], q.shape)
    for each in (points, money, hours):
        each[:, 0] = 0.0
    return most(
        additive(*((p, [m, h]) for p, m, h in zip(points, money, hours, strict=True))), 300.0, 3.2
    )


# --- Values, hours, bounds ------------------------------------------------------------------------


def _points(check: str) -> float:
    told = lists(check)
    names = ("bass", "loudness", "clarity", "reversible", "appearance")
    words = {4.0: "matters most", 2.0: "matters", 1.0: "would be nice"}
    wishes = {name: words[weight] for name, weight in zip(names, told["weights"], strict=True)}
    raw = cw.demo_job().to_dict() | {"wishes": wishes}
    given = points_by_wish(from_dict(raw), {name: told[name][0] for name in names})
    assert given is not None
    return float(sum(given.values()))


def _hours(**more: tuple[str, ...]) -> float:
    build = cw.demo_job().build()
    doors = ("door-fl", "door-fr")
    done = dict.fromkeys(("trimmed", "battery-off", "new-driver", "ring"), doors) | more
    by_kind = {kind: done.get(kind, ()) for kind in changes(build).by_kind}
    return labour(build, Changes(doors, by_kind, {}))[0]


def _high_end(check: str) -> float:
    ends = re.findall(r"([\d.]+?)\.\.([\d.]+?)\.\.([\d.]+)", TOLD[check])
    return together(Amount(*map(float, each)) for each in ends).high


def _level_of_two(one: float, other: float) -> float:
    """The level of two sources at most, as sums of the search bound it."""
    groups = additive(([one], [[0.0]]), ([other], [[0.0]]))
    _, bound = bounded_plans(
        groups,
        limits=np.array([0.0]),
        upper=lambda gains, _: decibel((gains[:, 0] / REFERENCE_PRESSURE) ** 2),
        floor=-np.inf,
    )
    return float(bound[0])


def _over_sixty_degrees(_: str) -> float:
    truth = abs(1.0 + np.exp(1j * np.pi / 3.0))
    return _level_of_two(1.0, 1.0) - float(decibel((truth / REFERENCE_PRESSURE) ** 2))


def _joined_by_another(check: str) -> float:
    """The level that a driver loses when another joins it, as the numbers of an option have it."""
    ohms = {name: each[0] for name, each in lists(check).items()}
    here = np.full((1, 1), ohms["Z"], dtype=complex)
    plain, one = np.ones((1, 1), dtype=complex), np.ones((1, 1))
    unit = Unit(here, here, plain, plain, {}, one, one)
    hanging = Hanging(
        channel=None,  # type: ignore[arg-type]
        circuit=None,  # type: ignore[arg-type]
        places=("driver",),
        branch=Leaf("driver"),
        parts={},
        capacitors={},
        farad=plain,
        source=np.full((1, 1), ohms["Zs"], dtype=complex),
        high_pass=plain,
    )
    mounted = {"driver": MountedOptions(unit, unit, one, one, one, one)}
    y: ComplexArray = np.asarray(1.0 / here)
    alone, beside = Middle.nothing(1), middle_of(y, y)
    volts = [
        _drives(hanging, mounted, each.cold, each.cold_radius, plain, hot=False).of("driver")
        for each in (alone, beside)
    ]
    return float(decibel(np.abs(volts[1] / volts[0]) ** 2)[0, 0])


# --- Room -----------------------------------------------------------------------------------------


def _deepest(glass: float) -> float:
    """The deepest driver that goes in, of depths a twentieth of a millimetre apart [mm]."""
    place = {
        "id": "door",
        "kind": "door",
        "at": ["0.8 m", "0.7 m", "0.3 m"],
        "driver": "there",
        "mount": {"cutout": "118 mm ± 1 mm", "glass_depth": [f"{glass} mm ± 1 mm"] * 2},
    }
    job = from_dict(
        {
            "format": 1,
            "seat": [{"id": "driver", "ear": ["0.15 m", "0.36 m", "1.05 m"]}],
            "head_unit": {"name": "radio"},
            "channel": [{"id": "left", "load": "door", "cable": {"resistance": "0.3 ohm"}}],
            "driver": [{"id": "there", "size": "130 mm", "age": "new"}],
            "location": [place],
        }
    )
    depths = np.arange(glass - 12.0, glass - 4.0, 0.05)
    rows = ["part,supplier,kind,size,depth,front_height,cutout,outer"]
    rows += [f"p{n},s,driver,130 mm,{d:.3f} mm,5 mm,116 mm,140 mm" for n, d in enumerate(depths)]
    compiled = read_catalogue(
        table_of("\n".join(rows).encode(), file="parts.csv"),
    ).compiled
    places = [job.build().location("door")]
    allowed = Allowed(unmeasured=True)
    parts = driver_columns(compiled)
    found = gated(places, parts, compiled, allowed, closed=False, treble=False)
    assert set(found.counts) == {"fit-behind"}
    return 1e3 * float(parts.of("depth", found.rows).max())


# --- To measure first -----------------------------------------------------------------------------


def _worth_of_telling_apart(check: str) -> float:
    """What it is worth to know which of two values a plan will have, ten draws for its chances."""
    sure, high, chance, low, other = map(float, re.findall(NUMBER, TOLD[check]))
    assert chance + other == pytest.approx(1.0)
    good = round(10 * chance)
    known = np.array([1.0] * good + [0.0] * (10 - good))
    points, leads_to = worth_of_knowing(np.array([[sure] * 10, np.where(known, high, low)]), known)
    assert leads_to == 0, "without it the second is taken"
    return points


COMPUTED: Mapping[str, Callable[[str], float]] = {
    "CH.K1": _one_limit,
    "CH.K2": _two_limits,
    "CH.K4": _relaxed,
    "CH.K5": _one_limit,
    "CH.A1": _each_once,
    "CH.M1": lambda _: _places(9.0),
    "CH.M3": lambda _: _places(15.0),
    "CH.M4": lambda _: _places(12.0) - _places(9.0),
    "CH.L1": _large,
    "CH.V2": lambda _: float(share_of("loudness", 7.5, cw.demo_job().wishes.goals)),
    "CH.V3": _points,
    "CH.H1": lambda _: _hours(),
    "CH.H2": lambda _: _hours(rewired=("rear-left", "rear-right")),
    "CH.P1": _high_end,
    "CH.B1": lambda _: _level_of_two(0.10, 0.05),
    "CH.B3": _over_sixty_degrees,
    "CH.B4": _joined_by_another,
    "CH.R1": lambda _: _deepest(60.0),
    "CH.R2": lambda _: _deepest(72.0),
    "CH.E2": _worth_of_telling_apart,
}


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.id)
def test_reference_value(check: Check) -> None:
    """Closed forms, published instances and enumeration, as the row's source says."""
    found = COMPUTED[check.id](check.id)
    assert found == pytest.approx(check.expected, rel=0.0, abs=check.tolerance), check.quantity
    assert abs(check.expected) > check.tolerance


def test_every_row_is_computed_and_names_its_source() -> None:
    assert [check.id for check in CHECKS] == list(COMPUTED)
    assert all(check.source.strip() for check in CHECKS)
