"""Spectrum of the programme."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.door import mounted_load
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.programme import (
    HARD_PROGRAMME,
    NORMAL_PROGRAMME,
    current_equivalent_resistance,
    equivalent_resistance,
    log_frequency_widths,
    programme_weights,
)
from conewright.physics.drivers.coil import power_law_from_inductance
from conewright.physics.drivers.driver import Driver, loaded, moving_mass_in_door
from conewright.physics.drivers.thiele_small import complete

GRID = np.geomspace(10.0, 20_000.0, 2001)


def share(low: float, high: float) -> float:
    weights = programme_weights(frequency=GRID)
    return float(np.sum(weights[(low < GRID) & (high >= GRID)]))


def test_shape_in_octaves() -> None:
    # common practice, no source: pink between, 3 dB an octave above, 12 dB an octave below
    assert share(100.0, 200.0) == pytest.approx(share(400.0, 800.0), rel=0.02)
    assert 10 * np.log10(share(2e3, 4e3) / share(4e3, 8e3)) == pytest.approx(3.01, abs=0.1)
    assert 10 * np.log10(share(25.0, 50.0) / share(12.5, 25.0)) == pytest.approx(12.04, abs=0.2)


def test_whole_power_in_closed_form() -> None:
    # closed form: ln 20 of pink, 1 - 1/20 above, (1 - (10/50)^4)/4 below
    total = np.log(20.0) + 0.95 + 0.25 * (1.0 - 0.2**4)
    assert share(50.0, 1000.0) == pytest.approx(np.log(20.0) / total, rel=2e-3)
    assert np.sum(programme_weights(frequency=GRID)) == pytest.approx(1.0, rel=1e-12)


def test_spacing_does_not_matter() -> None:
    uneven = np.concatenate([np.geomspace(10.0, 300.0, 301), np.geomspace(301.0, 20e3, 2500)])

    def load(frequency: FloatArray) -> ComplexArray:
        return np.asarray(1.0 / (4.0 + 2j * np.pi * frequency * 3e-4))

    even_r = equivalent_resistance(admittance=load(GRID), frequency=GRID)
    uneven_r = equivalent_resistance(admittance=load(uneven), frequency=uneven)
    assert even_r == pytest.approx(uneven_r, rel=1e-3)
    assert even_r > 4.0


def test_resistor_is_its_own_equivalent() -> None:
    admittance = np.array([[0.25 + 0.0j], [0.5 + 0.1j]]).repeat(GRID.size, axis=-1)
    found = equivalent_resistance(admittance=admittance, frequency=GRID)
    np.testing.assert_allclose(found, [4.0, 2.0], rtol=1e-12)


def test_reactance_takes_no_power() -> None:
    assert (
        equivalent_resistance(admittance=np.array([0.5j]).repeat(3), frequency=GRID[:3]) == np.inf
    )


def factory_woofer() -> ComplexArray:
    """Impedance of an ageing 165 mm woofer in a typical closed door (figures from memory)."""
    air = Air(temperature=298.15)
    sheet = complete(
        {"re": 3.4, "fs": 70.0, "qms": 5.0, "qes": 1.25, "mms": 0.0095, "sd": 0.0124}, air=air
    )
    mms = moving_mass_in_door(mms=sheet["mms"], sd=sheet["sd"], air=air)
    driver = Driver(
        re=sheet["re"],
        bl=sheet["bl"],
        mms=mms,
        cms=sheet["cms"],
        rms=sheet["rms"],
        sd=sheet["sd"],
        coil=power_law_from_inductance(le=0.35e-3, n=0.7),
    )
    door = mounted_load(
        air=air,
        sd=sheet["sd"],
        ring=True,
        rear_volume=0.045,
        rear_q=10.0,
        drain_area=6e-4,
        drain_count=3,
        drain_q=6.0,
        panel_area=0.0,
        panel_count=1,
        panel_q=6.0,
        cover_mass=0.1,
        steel=0.8e-3,
        grille_area=90e-4,
        grille_extent=200e-4,
        trim_gap=0.022,
        grille_resistance=50.0,
        front_volume=0.6e-3,
        trim_volume=6e-3,
        edge_area=12e-4,
        frequency=GRID,
    )
    return loaded(driver=driver, acoustic_load=door.impedance, frequency=GRID).impedance


def test_a_four_ohm_woofer_takes_the_current_of_five_ohms() -> None:
    admittance = 1.0 / factory_woofer()
    current = current_equivalent_resistance(admittance=admittance, frequency=GRID)
    # independent tool: an earlier numpy prototype, 4.79 ohm
    assert current == pytest.approx(4.79, abs=0.03)
    assert equivalent_resistance(admittance=admittance, frequency=GRID) > current


def test_current_equivalent_limits() -> None:
    resistor = np.array([0.25 + 0.0j]).repeat(3)
    assert current_equivalent_resistance(admittance=resistor, frequency=GRID[:3]) == (
        pytest.approx(4.0)
    )
    nothing = np.array([0.0j]).repeat(3)
    assert current_equivalent_resistance(admittance=nothing, frequency=GRID[:3]) == np.inf
    # closed form: a reactance takes current all the same
    coil = np.array([-0.25j]).repeat(3)
    assert current_equivalent_resistance(admittance=coil, frequency=GRID[:3]) == pytest.approx(4.0)


def test_parallel_loads_add() -> None:
    one = equivalent_resistance(admittance=np.array([0.2 + 0.1j]).repeat(GRID.size), frequency=GRID)
    two = equivalent_resistance(admittance=np.array([0.4 - 0.1j]).repeat(GRID.size), frequency=GRID)
    # closed form: conductances add, whatever the reactance
    assert one == pytest.approx(2.0 * two, rel=1e-12)


def test_widths_sum_to_the_span() -> None:
    uneven = np.array([20.0, 21.0, 40.0, 500.0])
    assert np.sum(log_frequency_widths(frequency=uneven)) == pytest.approx(np.log(25.0))


def test_named_constants() -> None:
    # common practice, no source: compressed programme has more power below the same ceiling
    assert NORMAL_PROGRAMME < HARD_PROGRAMME < 1.0


@pytest.mark.parametrize("frequency", [[100.0], [100.0, 100.0], [200.0, 100.0]])
def test_unordered_grid_is_refused(frequency: list[float]) -> None:
    with pytest.raises(OutOfRangeError, match="frequency must rise"):
        programme_weights(frequency=np.array(frequency))
