"""A driver on a battery, against closed forms and the usual drivers of a bench."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.drivers.coil import Inductor
from conewright.physics.drivers.driver import Driver
from conewright.physics.drivers.pulse import (
    battery_step,
    first_peak,
    heating_rate,
    settled_current,
    settled_excursion,
)


def driver(
    *, re: float = 3.4, fs: float = 70.0, qes: float = 1.25, mms: float = 9.5e-3, qms: float = 5.0
) -> Driver:
    w = 2 * np.pi * fs
    return Driver(
        re=re,
        bl=float(np.sqrt(w * mms * re / qes)),
        mms=mms,
        cms=1 / (w**2 * mms),
        rms=w * mms / qms,
        sd=124e-4,
        coil=Inductor(le=0.35e-3),
    )


F165 = driver()
R165 = driver(fs=62.0, qes=0.72, mms=15e-3)
P77 = driver(fs=240.0, qms=4.0, qes=1.6, mms=1.6e-3)


def peak(unit: Driver, emf: float, resistance: float) -> float:
    step = battery_step(driver=unit, emf=emf, resistance=resistance, duration=0.05)
    return first_peak(step)[0]


def test_step_is_the_closed_form_of_a_damped_oscillator() -> None:
    # Closed form: x = x0 (1 - e^(-at) (cos bt + a/b sin bt)), damping with Bl^2/(R + Re).
    step = battery_step(driver=F165, emf=9.3, resistance=1.7, duration=0.05)
    damping = (F165.rms + F165.bl**2 / (1.7 + F165.re)) / (2 * F165.mms)
    ringing = np.sqrt(1 / (F165.mms * F165.cms) - damping**2)
    t = step.time
    end = F165.bl * 9.3 / (1.7 + F165.re) * F165.cms
    shape = np.exp(-damping * t) * (np.cos(ringing * t) + damping / ringing * np.sin(ringing * t))
    np.testing.assert_allclose(step.excursion, end * (1 - shape), atol=1e-12)
    height, when = first_peak(step)
    assert height == pytest.approx(end * (1 + np.exp(-np.pi * damping / ringing)), rel=1e-6)
    assert when == pytest.approx(np.pi / ringing, rel=1e-4)


def test_current_starts_full_dips_with_the_motion_and_settles() -> None:
    step = battery_step(driver=F165, emf=9.3, resistance=1.7, duration=0.4)
    # Closed form: at rest and in the end there is no back-voltage.
    assert step.current[0] == pytest.approx(9.3 / 5.1, rel=1e-12)
    assert step.current[-1] == pytest.approx(9.3 / 5.1, rel=1e-9)
    assert step.current.min() < 0.8 * step.current[0]


def test_energy_of_the_battery_ends_in_heat_and_spring() -> None:
    # Closed form: E integral(i) = R integral(i^2) + Rms integral(v^2) + x^2/(2 Cms) at rest.
    step = battery_step(driver=F165, emf=9.3, resistance=1.7, duration=0.4, instants=20001)
    t, i, x = step.time, step.current, step.excursion
    v = np.gradient(x, t)
    given = 9.3 * np.trapezoid(i, t)
    lost = 5.1 * np.trapezoid(i**2, t) + F165.rms * np.trapezoid(v**2, t)
    assert given == pytest.approx(lost + x[-1] ** 2 / (2 * F165.cms), rel=1e-5)


# The drivers and figures below are common practice without a source, worked out independently of
# this code for a bench of usual drivers; tolerance 2 %, or half of the last digit.
@pytest.mark.parametrize(
    ("emf", "resistance", "current"), [(9.3, 1.7, 1.82), (9.3, 11.7, 0.62), (1.5, 0.15, 0.43)]
)
def test_current_of_the_usual_batteries(emf: float, resistance: float, current: float) -> None:
    found = settled_current(emf=emf, resistance=resistance, re=3.4)
    assert found == pytest.approx(current, rel=0.02)


def test_fresh_battery_drives_every_cone_past_its_limit() -> None:
    assert peak(F165, 9.3, 1.7) == pytest.approx(4.3e-3, abs=0.05e-3)
    assert peak(F165, 9.3, 1.7) / 2.5e-3 == pytest.approx(1.7, abs=0.05)
    assert peak(P77, 9.3, 1.7) == pytest.approx(1.5e-3, abs=0.05e-3)
    assert peak(P77, 9.3, 1.7) / 0.8e-3 == pytest.approx(1.9, abs=0.05)
    assert peak(R165, 9.3, 1.7) / 3.8e-3 == pytest.approx(1.2, abs=0.05)


def test_weaker_sources_stay_within_the_limit() -> None:
    shares = [(F165, 2.5e-3), (R165, 3.8e-3), (P77, 0.8e-3)]
    with_resistor = [peak(unit, 9.3, 11.7) / limit for unit, limit in shares]
    assert min(with_resistor) == pytest.approx(0.5, abs=0.05)
    assert max(with_resistor) == pytest.approx(0.7, abs=0.05)
    cell = [peak(unit, 1.5, 0.15) / limit for unit, limit in shares]
    assert min(cell) == pytest.approx(0.3, abs=0.05)
    assert max(cell) == pytest.approx(0.4, abs=0.05)


@pytest.mark.parametrize(("emf", "resistance", "rate"), [(9.3, 1.7, 247.0), (1.5, 0.15, 13.0)])
def test_a_bare_tweeter_coil_heats_in_no_time(emf: float, resistance: float, rate: float) -> None:
    power = settled_current(emf=emf, resistance=resistance, re=3.3) ** 2 * 3.3
    assert heating_rate(power=power, coil_mass=0.12e-3) == pytest.approx(rate, abs=5.0)


def test_a_tweeter_behind_its_capacitor_only_ticks() -> None:
    # Independently computed figures of a usual 25 mm dome: about 0.03 mm at 0.24 ms, then back.
    dome = driver(re=3.3, fs=1500.0, qms=3.0, qes=2.0, mms=0.35e-3)
    step = battery_step(
        driver=dome, emf=9.0, resistance=1.7, duration=4e-3, instants=4001, capacitance=4.7e-6
    )
    height, when = first_peak(step)
    assert 0.01e-3 < height < 0.05e-3
    assert 0.05e-3 < when < 0.3e-3
    assert step.excursion.min() < 0.0
    # Closed form: a capacitor lets nothing through in the end.
    assert abs(step.current[-1]) < 1e-4 * step.current[0]


def test_polarity_turns_the_sign_and_nothing_else() -> None:
    ahead = battery_step(driver=F165, emf=1.5, resistance=0.15, duration=0.03)
    back = battery_step(driver=F165, emf=-1.5, resistance=0.15, duration=0.03)
    np.testing.assert_array_equal(back.excursion, -ahead.excursion)
    assert first_peak(back)[0] == pytest.approx(-first_peak(ahead)[0], rel=1e-12)


def test_an_offset_of_half_the_supply_is_a_fault() -> None:
    # Common practice without a source: 6.6 V across a usual 165 mm driver with its cable and the
    # output, 1.7 A, 10 W, 4 mm.
    current = settled_current(emf=6.6, resistance=0.43, re=3.4)
    assert current == pytest.approx(1.7, abs=0.05)
    assert current**2 * 3.4 == pytest.approx(10.0, abs=0.5)
    moved = settled_excursion(current=current, bl=R165.bl, cms=R165.cms)
    assert moved == pytest.approx(4.0e-3, abs=0.1e-3)


def test_an_overdamped_cone_never_turns() -> None:
    strong = driver(qes=0.2)
    step = battery_step(driver=strong, emf=1.5, resistance=0.0, duration=0.2)
    assert first_peak(step) == (step.excursion[-1], step.time[-1])


def test_impossible_arguments_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="resistance"):
        settled_current(emf=1.5, resistance=-1.0, re=3.4)
    with pytest.raises(OutOfRangeError, match="cms"):
        settled_excursion(current=1.0, bl=3.0, cms=0.0)
    with pytest.raises(OutOfRangeError, match="coil_mass"):
        heating_rate(power=1.0, coil_mass=0.0)
    with pytest.raises(OutOfRangeError, match="duration"):
        battery_step(driver=F165, emf=1.5, resistance=0.15, duration=0.0)
