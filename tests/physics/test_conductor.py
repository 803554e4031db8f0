"""Wires."""

from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.electrics.conductor import (
    COPPER_RESISTIVITY,
    ConductorKind,
    awg_area,
    awg_diameter,
    clad_aluminium_factor,
    level_loss,
    loop_resistance,
    resistance_per_metre,
    temperature_factor,
)


@pytest.mark.parametrize("kind", get_args(ConductorKind))
@settings(deadline=None, derandomize=True, max_examples=30)
@given(area=st.floats(0.2e-6, 118e-6))
def test_between_the_sizes_and_under_the_thinnest(kind: ConductorKind, area: float) -> None:
    thin = float(resistance_per_metre(area=area, kind=kind))
    thick = float(resistance_per_metre(area=1.01 * area, kind=kind))
    assert thin > thick
    # published (IEC 60228 limits lie 5 to 21 % over solid copper of the named area)
    assert 1.03 < thin * area / COPPER_RESISTIVITY < 1.25


def test_thinner_than_the_table_resistance_goes_with_one_over_area() -> None:
    # closed form outside the table; 39.0 ohm/km at 0.5 mm2 is published (IEC 60228)
    assert resistance_per_metre(area=0.25e-6) == pytest.approx(78.0e-3, rel=1e-12)
    with pytest.raises(OutOfRangeError, match=r"at most 0\.00012, got 0\.00015"):
        resistance_per_metre(area=150.0e-6)


def test_thick_cables_are_those_of_the_standards() -> None:
    # published (IEC 60228 class 5, plain and tinned); from memory (ISO 6722-1:2011)
    limits: dict[ConductorKind, dict[float, float]] = {
        "class-5-plain": {50.0: 0.386, 70.0: 0.272, 95.0: 0.206, 120.0: 0.161},
        "class-5-tinned": {50.0: 0.393, 70.0: 0.277, 95.0: 0.210, 120.0: 0.164},
        "road-vehicle": {25.0: 0.743, 35.0: 0.527, 50.0: 0.368},
    }
    for kind, sizes in limits.items():
        for area, limit in sizes.items():
            found = resistance_per_metre(area=area * 1e-6, kind=kind)
            assert found == pytest.approx(limit * 1e-3, rel=1e-9)


def test_tinned_is_worse_than_plain() -> None:
    areas = np.array([0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0]) * 1e-6
    ratio = resistance_per_metre(area=areas, kind="class-5-tinned") / resistance_per_metre(
        area=areas
    )
    # published (IEC 60228): tinned limits lie 2 to 3 % higher
    assert np.all((ratio > 1.015) & (ratio < 1.035))


def test_heat_raises_resistance() -> None:
    # closed form: 3.93e-3 per kelvin, 40 K
    assert temperature_factor(temperature=333.15) == pytest.approx(1.1572, abs=1e-4)
    cold = resistance_per_metre(area=1.0e-6)
    warm = resistance_per_metre(area=1.0e-6, temperature=333.15)
    assert warm / cold == pytest.approx(1.1572, abs=1e-4)


def test_gauge_and_area_agree() -> None:
    # closed form
    assert awg_area(18) == pytest.approx(np.pi / 4.0 * awg_diameter(18) ** 2, rel=1e-14)
    # published (ASTM B258): 36 is 0.127 mm, 0000 (-3) is 11.684 mm
    assert awg_diameter(36) == pytest.approx(0.127e-3)
    assert awg_diameter(-3) == pytest.approx(11.684e-3, rel=1e-4)


def test_out_and_back() -> None:
    # closed form
    assert loop_resistance(ohm_per_metre=0.02, length=3.0) == pytest.approx(0.12)


def test_level_loss_limits() -> None:
    assert level_loss(series=0.0, load=4.0) == 0.0
    assert level_loss(series=1.0, load=np.inf) == 0.0
    # closed form
    assert level_loss(series=4.0, load=4.0) == pytest.approx(6.0206, abs=1e-4)


def test_clad_aluminium_is_worse_than_copper() -> None:
    assert clad_aluminium_factor(conductivity=1.0) == 1.0
    assert 1.4 < clad_aluminium_factor() < 1.7


def test_array_equals_scalar_loop() -> None:
    areas = np.array([[0.35e-6], [0.9e-6], [50e-6]])
    singles = [[float(resistance_per_metre(area=float(a)))] for a in areas[:, 0]]
    np.testing.assert_allclose(resistance_per_metre(area=areas), singles, rtol=1e-14)


def test_no_wire_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="area must be above zero"):
        resistance_per_metre(area=0.0)
    with pytest.raises(OutOfRangeError, match="length must not be below zero"):
        loop_resistance(ohm_per_metre=0.02, length=-1.0)
