"""The bridge output: ceilings, supply, distortion, heat."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.basics.programme import current_equivalent_resistance, equivalent_resistance
from conewright.physics.electrics.amplifier import (
    QUIESCENT_CURRENT,
    clean_peak_voltage,
    junction_temperature,
    loaded_supply,
    programme_current,
    programme_heat,
    supply_current,
)


def test_clean_power_into_two_and_four_ohms() -> None:
    # own calculation checked by hand: 14.4 V, 0.35 ohm lost at clip; (14.4 R/(R+.35))^2/2R
    def power(resistance: float) -> float:
        peak = clean_peak_voltage(supply=14.4, clip_loss=0.35, impedance=resistance)
        return float(peak**2 / (2.0 * resistance))

    assert power(1.7) == pytest.approx(41.9, abs=0.05)
    assert power(3.4) == pytest.approx(25.1, abs=0.05)
    # published (a 1 %-distortion test of a radio at 14.4 V): 22 W into 4 ohm, 37 W into 2 ohm
    assert power(4.0) == pytest.approx(22.0, abs=0.5)
    assert power(2.0) == pytest.approx(37.0, abs=1.0)


def test_open_load_takes_the_whole_supply() -> None:
    assert clean_peak_voltage(supply=14.4, clip_loss=0.35, impedance=np.inf) == 14.4
    found = clean_peak_voltage(
        supply=14.4, clip_loss=0.35, impedance=np.array([np.inf, 3.65 + 0.0j])
    )
    np.testing.assert_allclose(found, [14.4, 14.4 * 3.65 / 4.0], rtol=1e-12)


def test_dead_short() -> None:
    assert clean_peak_voltage(supply=14.4, clip_loss=0.35, impedance=0.0) == 0.0
    with pytest.raises(OutOfRangeError, match="load must be above zero"):
        clean_peak_voltage(supply=14.4, clip_loss=0.0, impedance=0.0)


def test_loaded_supply_balances() -> None:
    supply = loaded_supply(
        supply=12.6, supply_resistance=0.15, conductance=4 / 4.35, quiescent_current=0.2
    )
    current = supply_current(peak_current=supply / 4.35, channels=4, quiescent_current=0.2)
    # closed form: the drop is the feed's resistance times its mean current
    assert supply == pytest.approx(12.6 - 0.15 * current, rel=1e-12)
    stiff = loaded_supply(
        supply=12.6, supply_resistance=0.0, conductance=4 / 4.35, quiescent_current=0.2
    )
    assert stiff == 12.6
    idle = loaded_supply(
        supply=12.6, supply_resistance=0.15, conductance=0.0, quiescent_current=0.2
    )
    # closed form: the idle current alone
    assert idle == pytest.approx(12.57)


@pytest.mark.parametrize(
    ("front", "normal", "hard", "hot", "hotter"),
    [
        (4.8, 23.6, 28.3, 126.0, 140.0),
        (2.4, 33.3, 40.7, 156.0, 180.0),
        (3.65, 26.8, 32.3, 136.0, 153.0),
    ],
)
def test_heat_of_a_four_channel_chip(
    front: float, normal: float, hard: float, hot: float, hotter: float
) -> None:
    # independent tool: an earlier numpy prototype of the same model; 13.8 V, 0.35 ohm,
    # rear 4.8 ohm, 3.2 K/W over a dash of 50 C
    for fraction, heat, temperature in ((1 / 8, normal, hot), (1 / 3, hard, hotter)):
        total = 13.8 * QUIESCENT_CURRENT
        for resistance in (front, front, 4.8, 4.8):
            ceiling = clean_peak_voltage(supply=13.8, clip_loss=0.35, impedance=resistance)
            total += float(
                programme_heat(
                    supply=13.8,
                    peak_voltage=ceiling,
                    resistance=resistance,
                    power_resistance=resistance,
                    fraction=fraction,
                )
            )
        assert total == pytest.approx(heat, abs=0.1)
        junction = junction_temperature(ambient=323.15, thermal_resistance=3.2, heat=total)
        assert junction - 273.15 == pytest.approx(temperature, abs=1.0)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(fraction=st.floats(0.02, 3.0))
def test_programme_heat_against_quadrature(fraction: float) -> None:
    ceiling, resistance, supply = 12.0, 4.0, 14.0
    sigma = ceiling * np.sqrt(fraction / 2.0)
    x = np.linspace(-8.0, 8.0, 200_001)
    density = np.exp(-(x**2) / 2.0) / np.sqrt(2.0 * np.pi)
    v = np.clip(np.abs(sigma * x), 0.0, ceiling)
    # two routes agree: the closed form against a sum over the distribution
    expected = np.trapezoid((supply * v / resistance - v**2 / 5.0) * density, x)
    found = programme_heat(
        supply=supply,
        peak_voltage=ceiling,
        resistance=resistance,
        power_resistance=5.0,
        fraction=fraction,
    )
    assert found == pytest.approx(expected, rel=1e-6)
    current = programme_current(peak_voltage=ceiling, resistance=resistance, fraction=fraction)
    assert current == pytest.approx(np.trapezoid(v / resistance * density, x), rel=1e-6)


@pytest.mark.parametrize("fraction", [1 / 8, 1 / 3])
def test_heat_with_a_reactive_load_against_the_waveform(fraction: float) -> None:
    # independent tool: noise of the programme's spectrum, clipped, sent through 3.4 ohm and 1 mH
    # sample by sample; the supply gives Vs|i|, the load takes v i. One per cent, as drawn.
    supply, ceiling, count, rate = 13.8, 12.6, 2**19, 48_000.0
    grid = np.asarray(np.fft.rfftfreq(count, 1.0 / rate), dtype=np.float64)
    heard = (grid > 20.0) & (grid < 20_000.0)
    frequency = grid[heard]
    whole = np.asarray(1.0 / (3.4 + 2j * np.pi * grid * 1e-3), dtype=np.complex128)
    admittance = whole[heard]
    power = np.minimum(frequency / 50.0, 1.0) ** 4 * np.minimum(1000.0 / frequency, 1.0) / frequency
    noise = np.random.default_rng(3).standard_normal((2, frequency.size))
    spectrum = np.zeros(grid.size, dtype=np.complex128)
    spectrum[heard] = np.sqrt(power) * (noise[0] + 1j * noise[1])
    v = np.fft.irfft(spectrum)
    v = np.clip(v * ceiling * np.sqrt(fraction / 2.0) / v.std(), -ceiling, ceiling)
    i = np.fft.irfft(np.fft.rfft(v) * whole)
    found = programme_heat(
        supply=supply,
        peak_voltage=ceiling,
        resistance=current_equivalent_resistance(admittance=admittance, frequency=frequency),
        power_resistance=equivalent_resistance(admittance=admittance, frequency=frequency),
        fraction=fraction,
    )
    assert found == pytest.approx(np.mean(supply * np.abs(i) - v * i), rel=0.01)


def test_extreme_overdrive_is_a_square_wave() -> None:
    # closed form: heat (Vs - Vc) Vc / R
    found = programme_heat(
        supply=14.0, peak_voltage=12.0, resistance=4.0, power_resistance=4.0, fraction=1e8
    )
    assert found == pytest.approx((14.0 - 12.0) * 12.0 / 4.0, rel=1e-3)


def test_array_equals_scalar_loop() -> None:
    r = np.array([[1.6], [3.4], [7.0]])
    whole = programme_heat(
        supply=13.8, peak_voltage=11.0, resistance=r, power_resistance=1.2 * r, fraction=0.125
    )
    for row in range(3):
        single = programme_heat(
            supply=13.8,
            peak_voltage=11.0,
            resistance=float(r[row, 0]),
            power_resistance=1.2 * float(r[row, 0]),
            fraction=0.125,
        )
        assert whole[row, 0] == pytest.approx(single, rel=1e-14)


def test_impossible_arguments_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="supply must be above zero"):
        clean_peak_voltage(supply=0.0, clip_loss=0.35, impedance=4.0)
