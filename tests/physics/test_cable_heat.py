"""Cables under their fuse: warmth, shorts, fuses, and the battery they hang on."""

from math import inf

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.electrics.battery import days_to_no_start
from conewright.physics.electrics.cable_heat import (
    BUNDLED_TRANSFER,
    FREE_TRANSFER,
    HEAT_CONSTANT_ALUMINIUM,
    adiabatic_time,
    conductor_temperature,
    insulated_diameter,
    short_circuit_current,
)
from conewright.physics.electrics.conductor import (
    COPPER_RESISTIVITY,
    resistance_per_metre,
    temperature_factor,
)
from conewright.physics.electrics.fuse import fuses, next_fuse, slowest_opening

ZERO = 273.15
WALL = 1.2e-3
CLAD = 1.58


def warmth(area: float, current: float, *, bundled: bool, metal: float = 1.0) -> float:
    """Conductor temperature [C]: 40 C air alone, 60 C air in a bundle."""
    kelvin = conductor_temperature(
        current=current,
        ohm_per_metre=metal * COPPER_RESISTIVITY / area,
        diameter=insulated_diameter(area=area, wall=WALL),
        transfer=BUNDLED_TRANSFER if bundled else FREE_TRANSFER,
        ambient=ZERO + (60.0 if bundled else 40.0),
    )
    return float(kelvin) - ZERO


@pytest.mark.parametrize(
    ("area", "metal", "free", "bundled", "overload", "drop"),
    [
        (8.4e-6, 1.0, 61.0, 110.0, 166.0, 0.52),
        (8.4e-6, CLAD, 76.0, 147.0, 270.0, 0.87),
        (13.3e-6, 1.0, 51.0, 85.0, 109.0, 0.32),
        (5.26e-6, 1.0, 81.0, 166.0, None, 0.89),
    ],
)
def test_an_amplifiers_cable_behind_40_a(
    area: float, metal: float, free: float, bundled: float, overload: float | None, drop: float
) -> None:
    # worked case of the trade, 5.5 m one way: 5 K and 2 % as its digits allow
    assert warmth(area, 40.0, bundled=False, metal=metal) == pytest.approx(free, abs=1.5)
    assert warmth(area, 40.0, bundled=True, metal=metal) == pytest.approx(bundled, abs=1.5)
    if overload is not None:
        assert warmth(area, 54.0, bundled=True, metal=metal) == pytest.approx(overload, abs=1.5)
    hot = temperature_factor(temperature=ZERO + warmth(area, 40.0, bundled=False, metal=metal))
    assert 40.0 * 5.5 * metal * COPPER_RESISTIVITY / area * hot == pytest.approx(drop, rel=0.02)


def test_its_short_is_12_times_the_fuse() -> None:
    # worked case of the trade: 12.6 V, 8.4 mm2, 5.5 m, 14 mohm in battery and chassis: 498 A
    cable = 5.5 * COPPER_RESISTIVITY / 8.4e-6
    short = float(short_circuit_current(voltage=12.6, resistance=cable + 0.014))
    assert short == pytest.approx(498.0, rel=0.005)
    # closed form: (115 A s^0.5/mm2 * 8.4 mm2 / 498 A)^2
    assert adiabatic_time(area=8.4e-6, current=498.0) == pytest.approx(3.763, rel=1e-3)
    assert adiabatic_time(
        area=8.4e-6, current=498.0, constant=HEAT_CONSTANT_ALUMINIUM
    ) == pytest.approx(3.763 * (76 / 115) ** 2, rel=1e-3)
    assert slowest_opening(ratio=short / 40.0) < 3.7


@pytest.mark.parametrize(
    ("area", "rating"), [(4e-6, 39.0), (4.5e-6, 42.0), (6e-6, 50.0), (8.5e-6, 63.0), (10e-6, 70.0)]
)
def test_ratings_of_thin_wall_cable(area: float, rating: float) -> None:
    # published: trade data sheet, thin-wall cable to ISO 6722, 105 C, single in free air, +/-15 %;
    # it does not state its air: 30 C is assumed, and a wall of 0.6 mm
    low, high = (
        conductor_temperature(
            current=current,
            ohm_per_metre=resistance_per_metre(area=area, kind="road-vehicle"),
            diameter=insulated_diameter(area=area, wall=0.6e-3),
            transfer=FREE_TRANSFER,
            ambient=ZERO + 30.0,
        )
        for current in (rating / 1.15, rating * 1.15)
    )
    assert low < ZERO + 105.0 < high


def test_ends_of_the_heat_balance() -> None:
    cable = {"ohm_per_metre": 0.01, "diameter": 3e-3, "transfer": 5.0, "ambient": 300.0}
    assert conductor_temperature(current=0.0, **cable) == 300.0
    assert conductor_temperature(current=1e4, **cable) == inf
    rows = conductor_temperature(current=np.array([5.0, 10.0]), **cable)
    assert rows.tolist() == [
        float(conductor_temperature(current=current, **cable)) for current in (5.0, 10.0)
    ]
    with pytest.raises(OutOfRangeError, match="diameter"):
        conductor_temperature(current=1.0, **{**cable, "diameter": 0.0})


def test_a_fuse_opens_sooner_the_more_it_carries() -> None:
    # ISO 8820-3, from memory: may hold for ever below 135 %
    assert slowest_opening(ratio=1.34) == inf
    assert slowest_opening(ratio=1.35) == pytest.approx(600.0)
    ratios = np.linspace(1.35, 12.0, 60)
    assert np.all(np.diff(slowest_opening(ratio=ratios)) <= 0.0)


def test_ratings_that_are_sold() -> None:
    ratings = [fuse.rating for fuse in fuses()]
    assert ratings == sorted(set(ratings))
    assert [next_fuse(least=least).rating for least in (10.0, 10.1, 31.0, 41.0)] == [
        *(10.0, 15.0, 35.0, 50.0)
    ]
    assert next_fuse(least=15.0).colour == "blue"
    with pytest.raises(OutOfRangeError, match="201"):
        next_fuse(least=201.0)


@pytest.mark.parametrize(
    ("charge_ah", "milliamperes", "days"),
    [
        (45 * 0.6, 38, 11.5),
        (45 * 0.6, 85, 5.2),
        (45 * 0.6, 250, 1.8),
        (60, 38, 24.7),
        (60, 85, 11.4),
        (60, 250, 4.0),
    ],
)
def test_days_to_no_start(charge_ah: float, milliamperes: float, days: float) -> None:
    # worked cases of the trade, two digits
    found = days_to_no_start(charge=charge_ah * 3600.0, current=milliamperes * 1e-3)
    assert found == pytest.approx(days, abs=0.05)


def test_a_battery_that_feeds_nothing_runs_down_by_itself() -> None:
    # closed form: 40 % at 0.1 % a day is 400 days, whatever its size
    assert days_to_no_start(charge=1e5, current=0.0) == pytest.approx(400.0)
