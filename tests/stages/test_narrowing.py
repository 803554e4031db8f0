from collections.abc import Iterable

import numpy as np
import pytest

from conewright.job.builds.draws import Draws, draw
from conewright.job.builds.states.value import Origin, Value
from conewright.job.measurables import measurement
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.report.narrowing import narrowing

CAVITY, DRAINS, SUPPLY = "door-fl.cavity.volume", "door-fl.cavity.drains", "head_unit.supply"
REACTANCE = "door-fl.something.nobody.measures"
AXES = (CAVITY, DRAINS, SUPPLY, REACTANCE, *(f"driver-{n}.re" for n in range(40)))


def _value(path: str, origin: Origin = Origin.MEASURED, **more: object) -> Value:
    quantity = Quantity.of(10.0, "number", margin=1.96)
    return Value(path, quantity, origin, "test", signed=True, **more)  # type: ignore[arg-type]


def _values(paths: Iterable[str] = AXES) -> tuple[Value, ...]:
    return tuple(_value(path) for path in paths)


def _with_central(outcome: FloatArray) -> FloatArray:
    return np.concatenate(([0.0], outcome))[:, np.newaxis]


@pytest.fixture
def draws() -> Draws:
    return draw(AXES, samples=256)


def test_shares_of_a_known_sum(draws: Draws) -> None:
    # Closed form: the variances 16, 4 and 1 add up to 21, so to know the first leaves
    # sqrt(5/21) of the width, the second sqrt(17/21), the third sqrt(20/21) = 2.4 % less.
    outcome = 4 * draws.score(CAVITY) - 2 * draws.score(DRAINS) + draws.score(SUPPLY)
    found = narrowing({"seat.level": _with_central(outcome)}, draws, _values())
    assert [entry.path for entry in found[:2]] == [CAVITY, DRAINS]
    assert found[0].share == pytest.approx(1 - np.sqrt(5 / 21), abs=0.02)
    assert found[1].share == pytest.approx(1 - np.sqrt(17 / 21), abs=0.02)
    assert {entry.figure for entry in found} == {"seat.level"}


def test_a_purely_curved_effect_is_found(draws: Draws) -> None:
    # Closed form: z² has no linear part, and knowing z removes all of it.
    found = narrowing({"x": _with_central(draws.score(DRAINS) ** 2)}, draws, _values())
    assert [entry.path for entry in found] == [DRAINS]
    assert found[0].share == pytest.approx(1.0, abs=0.02)


def test_what_has_no_effect_is_not_named(draws: Draws) -> None:
    # Closed form: 43 of the 44 inputs do nothing, whatever their chance correlation.
    found = narrowing({"x": _with_central(draws.score(SUPPLY))}, draws, _values(), most=44)
    assert [entry.path for entry in found] == [SUPPLY]


def test_noise_alone_names_nothing(draws: Draws) -> None:
    rng = np.random.default_rng(7)
    named = [
        entry
        for _ in range(200)
        for entry in narrowing(
            {"x": _with_central(rng.standard_normal(256))}, draws, _values(), most=44
        )
    ]
    # Closed form: one fluke in twenty figures is what the threshold admits; 200 figures give 10,
    # and 20 or fewer of them in 999 cases of 1000.
    assert len(named) <= 20


def test_each_measurement_counts_by_the_figure_it_narrows_most(draws: Draws) -> None:
    found = narrowing(
        {
            "a.level": _with_central(draws.score(CAVITY) + 0.8 * draws.score(SUPPLY)),
            "b.level": _with_central(draws.score(SUPPLY)),
            "c.level": np.full((257, 1), 3.0),
            "d.level": np.array([[3.0]]),
        },
        draws,
        _values(),
    )
    assert [(entry.path, entry.figure) for entry in found] == [
        (SUPPLY, "b.level"),
        (CAVITY, "a.level"),
    ]


def test_only_what_can_be_measured_is_named(draws: Draws) -> None:
    outcome = _with_central(3 * draws.score(REACTANCE) + draws.score(DRAINS))
    assert [e.path for e in narrowing({"x": outcome}, draws, _values())] == [DRAINS]


def test_most_limits_the_list(draws: Draws) -> None:
    outcome = _with_central(draws.scores[:, :3].sum(axis=1))
    assert len(narrowing({"x": outcome}, draws, _values(), most=2)) == 2


def test_values_on_one_axis_are_one_measurement(draws: Draws) -> None:
    twin = _value("door-fr.cavity.volume", follows=CAVITY, correlation=1.0)
    outcome = _with_central(draws.score(CAVITY))
    assert [e.path for e in narrowing({"x": outcome}, draws, (_value(CAVITY), twin))] == [CAVITY]


def test_a_value_that_follows_another_is_judged_by_its_whole_score(draws: Draws) -> None:
    # Closed form: the outcome is the follower itself, so knowing it leaves nothing.
    follower = _value(DRAINS, follows=CAVITY, correlation=0.6)
    outcome = draws(follower)
    found = narrowing({"x": outcome}, draws, (_value(CAVITY), follower))
    assert [entry.path for entry in found] == [DRAINS]
    assert found[0].share == pytest.approx(1.0, abs=0.01)
    # Closed form: 0.6² = 0.36 of the variance is the leader's.
    found = narrowing({"x": outcome}, draws, (_value(CAVITY),))
    assert found[0].share == pytest.approx(1 - np.sqrt(1 - 0.36), abs=0.03)


def test_a_value_without_spread_is_not_measured_again(draws: Draws) -> None:
    fixed = Value(SUPPLY, parse_quantity("3", dimension="number"), Origin.MEASURED, "test")
    assert narrowing({"x": _with_central(draws.score(SUPPLY))}, draws, (fixed,)) == ()


def test_labels_are_words_with_the_place(draws: Draws) -> None:
    outcome = _with_central(draws.score(CAVITY) + draws.score(SUPPLY))
    found = narrowing({"x": outcome}, draws, _values(), names={"door-fl": "front left door"})
    assert {entry.label for entry in found} == {
        "volume of the cavity, front left door",
        "supply voltage",
    }


def test_labels_tell_numbered_points_apart() -> None:
    paths = ("door-fl.mount.glass_depth.1", "door-fl.mount.glass_depth.2")
    draws = draw(paths, samples=64)
    outcome = _with_central(draws.scores.sum(axis=1))
    found = narrowing({"x": outcome}, draws, _values(paths))
    assert {entry.label for entry in found} == {
        "depth behind the steel (1), door-fl",
        "depth behind the steel (2), door-fl",
    }


def test_few_draws_name_nothing() -> None:
    few = draw(AXES, samples=8)
    assert narrowing({"x": _with_central(few.score(SUPPLY))}, few, _values()) == ()


@pytest.mark.parametrize(
    ("path", "label"),
    [
        ("budget-130.re", "d.c. resistance of the coil"),
        ("door-fl.cavity.volume", "volume of the cavity"),
        ("front-left.cable.length", "length of the cable"),
        ("vehicle.cabin_volume", "volume of the cabin"),
    ],
)
def test_measurements_have_names_and_ways(path: str, label: str) -> None:
    found = measurement(path)
    assert found is not None
    assert found[0] == label
    assert found[1]


def test_what_nobody_measures_has_no_name() -> None:
    assert measurement("door-fl.something.nobody.measures") is None
