"""The door: closed forms, limits, a matrix solve of the same nodes, and the check table."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.errors import OutOfRangeError
from conewright.physics.acoustics.door import MountedLoad, mounted_load
from conewright.physics.acoustics.openings import (
    grille_admittance,
    holes_admittance,
    radiation_mass,
    slit_admittance,
)
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.drivers.coil import Inductor, power_law_from_inductance
from conewright.physics.drivers.driver import Driver, loaded, moving_mass_in_door

AIR = Air()
RHO, STIFF = float(AIR.density), float(AIR.bulk_modulus)
FREQUENCY = np.geomspace(15.0, 2000.0, 60)
S = 2j * np.pi * FREQUENCY
# The typical door of the tool, workshop experience from memory, with a 165 mm driver.
TYPICAL: dict[str, Any] = {
    "air": AIR,
    "sd": 130e-4,
    "ring": True,
    "rear_volume": 45e-3,
    "rear_q": 10.0,
    "drain_area": 6e-4,
    "drain_count": 3,
    "drain_q": 6.0,
    "panel_area": 0.0,
    "panel_count": 1,
    "panel_q": 6.0,
    "cover_mass": 0.0,
    "steel": 0.8e-3,
    "grille_area": 90e-4,
    "grille_extent": 90e-4 / 0.45,
    "trim_gap": 22e-3,
    "grille_resistance": 50.0,
    "front_volume": 0.6e-3,
    "trim_volume": 6e-3,
    "edge_area": 12e-4,
    "frequency": FREQUENCY,
}
SEALED = {"drain_area": 0.0, "rear_q": np.inf}


def door(**changes: Any) -> MountedLoad:
    return mounted_load(**{**TYPICAL, **changes})


def front(**changes: Any) -> Any:
    """Pressure before the cone per unit volume velocity, with a ring, by hand."""
    given_ = {**TYPICAL, **changes}
    grille = grille_admittance(
        area=given_["grille_area"],
        extent=given_["grille_extent"],
        gap=given_["trim_gap"],
        resistance=given_["grille_resistance"],
        sd=given_["sd"],
        air=given_["air"],
        frequency=FREQUENCY,
    )
    return 1.0 / (S * given_["front_volume"] / given_["air"].bulk_modulus + grille)


def behind(sd: float = 130e-4) -> Any:
    return S * radiation_mass(radius=np.sqrt(sd / np.pi), air=AIR)


class StillAir(Air):
    """Air without friction, for the lossless closed forms."""

    @property
    def viscosity(self) -> float:
        return 1e-30


# --- Limits -----------------------------------------------------------------------------------


def test_infinite_baffle_has_no_spring() -> None:
    # closed form: front, plus the rear air mass; no volume, exactly
    got = door(rear_volume=np.inf)
    np.testing.assert_allclose(got.impedance, front() + behind(), rtol=1e-12)
    # limit: a very large volume, 4e-9 of the load at 15 Hz
    np.testing.assert_allclose(
        door(rear_volume=1e9, drain_area=0.0).impedance, got.impedance, rtol=1e-8
    )


def test_open_back_is_an_infinite_baffle() -> None:
    # limit: drains of any size, to outside
    got = door(drain_area=1e14)
    np.testing.assert_allclose(got.impedance, front() + behind(), rtol=1e-4)


def test_sealed_door_is_a_spring() -> None:
    # closed form: 1/(sC) more than the infinite baffle
    got = door(**SEALED)
    spring = STIFF / (S * 45e-3)
    np.testing.assert_allclose(got.impedance, front() + behind() + spring, rtol=1e-12)


def test_spring_of_ten_litres() -> None:
    # from memory (Beranek): V/(rho c^2) = 7.0515e-8 m3/Pa, 0.3 %
    spring = door(**SEALED, rear_volume=10e-3).impedance - door(rear_volume=np.inf).impedance
    np.testing.assert_allclose(1.0 / (S * spring), 7.0515e-8, rtol=0.003)


def test_fill_is_a_resistance_that_gives_its_q_at_eighty_hertz() -> None:
    # closed form
    more = np.asarray(door(drain_area=0.0).impedance - door(**SEALED).impedance)
    reactance = STIFF / (2 * np.pi * 80.0 * 45e-3)
    np.testing.assert_allclose(more, reactance / 10.0, rtol=1e-9)


def test_a_hole_of_two_micrometres_is_sealed() -> None:
    # limit, 8e-13
    tiny = np.pi * 1e-6**2
    np.testing.assert_allclose(
        door(drain_area=tiny, drain_count=1).impedance,
        door(drain_area=0.0).impedance,
        rtol=1e-11,
    )


def test_everything_reaches_the_cabin_at_low_frequency_when_nothing_leaks_inward() -> None:
    # limit: H = 1, with a ring and without, drains open or not
    for changes in ({}, {"ring": False}, {"drain_area": 20e-4}):
        share = door(**changes, frequency=np.array([1.0])).share
        assert complex(np.asarray(share)[0]) == pytest.approx(1.0, abs=2e-3)


def test_closed_front_lets_nothing_out() -> None:
    # invariant: H = 0
    assert not np.any(door(grille_area=0.0, edge_area=0.0, ring=False, panel_area=50e-4).share)
    assert not np.any(door(grille_area=0.0, edge_area=0.0, panel_area=50e-4).share)


# --- Flows through the openings ---------------------------------------------------------------


def test_a_lossless_leak_is_the_helmholtz_resonator() -> None:
    # closed form: U = -1/(1 - (f/fH)^2), fH by the mass of the hole and the spring of the air
    air = StillAir()
    holes: dict[str, Any] = {"area": 20e-4, "count": 2, "thickness": 0.8e-3}
    holes |= {"air": air, "frequency": FREQUENCY}
    mass = float(np.imag(1.0 / holes_admittance(**holes) / (2 * np.pi * FREQUENCY))[0])
    resonance = np.sqrt(float(air.bulk_modulus) / (mass * 45e-3)) / (2 * np.pi)
    lossless = {"rear_q": np.inf, "drain_q": np.inf, "drain_area": 20e-4, "drain_count": 2}
    found = door(air=air, **lossless).flows["drains"]
    np.testing.assert_allclose(found, -1.0 / (1.0 - (FREQUENCY / resonance) ** 2), rtol=1e-6)


@pytest.mark.parametrize("ring", [True, False])
def test_what_is_heard_is_what_flows_into_the_cabin(ring: bool) -> None:
    # invariant, and closed form of the rear node: what leaves it compresses or expands its air
    got = door(ring=ring, panel_area=80e-4, rear_q=np.inf)
    np.testing.assert_allclose(got.share, got.flows["grille"] + got.flows["edge"], rtol=1e-12)
    rear_pressure = -(1.0 + got.flows["drains"] + got.flows["panel"]) * STIFF / (S * 45e-3)
    drains = holes_admittance(
        area=6e-4,
        count=3,
        thickness=0.8e-3,
        air=AIR,
        frequency=FREQUENCY,
        compliance=45e-3 / STIFF,
        quality=6.0,
    )
    np.testing.assert_allclose(got.flows["drains"], rear_pressure * drains, rtol=1e-9)


# --- Closed box -------------------------------------------------------------------------------

SMALL = 1e-6  # cone area so small that radiation is nothing beside the suspension [m2]


def boxed(volume: float) -> tuple[Driver, Any]:
    """A driver in a sealed volume with a wide open front, and its cone velocity per volt."""
    mass, compliance, loss = 10e-3, 0.6e-3, 0.9
    unit = Driver(
        re=3.4, bl=4.0, mms=mass, cms=compliance, rms=loss, sd=SMALL, coil=Inductor(le=0.0)
    )
    load = door(
        **SEALED,
        sd=SMALL,
        rear_volume=volume,
        grille_area=1e6,
        grille_extent=1e7,
        front_volume=1e-12,
        edge_area=0.0,
    )
    return unit, loaded(driver=unit, acoustic_load=load.impedance, frequency=FREQUENCY)


@pytest.mark.parametrize("ratio", [0.0, 0.5, 1.0, 3.0])
def test_closed_box_has_the_resonance_quality_and_response_of_small(ratio: float) -> None:
    # closed form (Small 1972): fc = fs sqrt(1 + Vas/V), Qtc = Qts sqrt(1 + Vas/V), 1e-6
    unit, done = boxed(STIFF * SMALL**2 * 0.6e-3 / ratio if ratio else np.inf)
    fs = 1 / (2 * np.pi * np.sqrt(10e-3 * 0.6e-3))
    qts = 2 * np.pi * fs * 10e-3 / (0.9 + 4.0**2 / 3.4)
    fc, qtc = fs * np.sqrt(1.0 + ratio), qts * np.sqrt(1.0 + ratio)
    response = S * done.velocity_per_volt * (unit.re * unit.mms / unit.bl)
    s = 1j * FREQUENCY / fc
    expected = s**2 / (s**2 + s / qtc + 1.0)
    np.testing.assert_allclose(response, expected, rtol=1e-6)


def test_impedance_of_a_closed_box_peaks_at_fc_with_its_q() -> None:
    # closed form: Z = Re + Bl^2/Rms at fc, and sqrt(Z0 Re) at f1 f2 = fc^2, f2 - f1 = fc/Qmc
    _, done = boxed(STIFF * SMALL**2 * 0.6e-3)
    fc = np.sqrt(2.0) / (2 * np.pi * np.sqrt(10e-3 * 0.6e-3))
    qmc = 2 * np.pi * fc * 10e-3 / 0.9
    x = qmc * (FREQUENCY / fc - fc / FREQUENCY)
    np.testing.assert_allclose(done.impedance, 3.4 + 4.0**2 / 0.9 / (1 + 1j * x), rtol=1e-6)


# --- Leaks ------------------------------------------------------------------------------------


def test_lossless_leak_into_the_cabin() -> None:
    # closed form: U_leak = -U_cone/(1 - (f/fH)^2), so that the sum falls as (f/fH)^2 below fH
    still = StillAir()
    share = door(
        air=still,
        **SEALED,
        panel_area=20e-4,
        panel_q=np.inf,
        grille_area=1e6,
        grille_extent=1e7,
        front_volume=1e-15,
        edge_area=1e9,
        edge_length=1.0,
        edge_depth=1e-9,
        trim_volume=1e-12,
    ).share
    hole = holes_admittance(area=20e-4, count=1, thickness=0.8e-3, air=still, frequency=FREQUENCY)
    mass = float((1 / hole).imag[0] / S.imag[0])
    helmholtz = np.sqrt(STIFF / (mass * 45e-3)) / (2 * np.pi)
    expected = 1.0 - 1.0 / (1.0 - (FREQUENCY / helmholtz) ** 2)
    np.testing.assert_allclose(share, expected, rtol=1e-5)


def test_a_leak_outside_does_not_reach_the_cabin() -> None:
    # invariant: with a ring and a closed panel, drains change the load and not the share
    np.testing.assert_array_equal(door(drain_area=20e-4).share, door(drain_area=0.0).share)
    assert np.any(door(drain_area=20e-4).impedance != door(drain_area=0.0).impedance)


def test_panel_holes_without_ring_short_the_bass() -> None:
    # common practice, no source for the figure: 50 cm2 without a ring costs > 10 dB at 40 Hz,
    # a ring most of it back
    f = np.array([40.0])
    open_ = {"panel_area": 50e-4, "frequency": f}
    bare = abs(np.asarray(door(ring=False, **open_).share)[0])
    ring = abs(np.asarray(door(ring=True, **open_).share)[0])
    assert 20 * np.log10(bare) < -10.0
    assert 20 * np.log10(ring / bare) > 8.0


def test_ring_makes_no_difference_in_the_bass_when_the_panel_is_closed() -> None:
    # limit: both are the same spring below, and the difference goes with f^2
    f = np.array([1.0, 2.0, 4.0, 8.0])
    outputs = []
    for ring in (True, False):
        load = door(ring=ring, frequency=f)
        done = loaded(driver=REPLACEMENT, acoustic_load=load.impedance, frequency=f)
        outputs.append(done.velocity_per_volt * load.share)
    apart = abs(20 * np.log10(abs(outputs[0] / outputs[1])))
    np.testing.assert_allclose(apart[1:] / apart[:-1], 4.0, rtol=0.05)
    assert 0.0 < apart[-1] < 0.02


def test_a_heavy_cover_closes_the_holes() -> None:
    # limit: as no holes
    heavy = door(ring=False, panel_area=50e-4, cover_mass=1e9)
    np.testing.assert_allclose(heavy.share, door(ring=False).share, rtol=1e-6)
    np.testing.assert_allclose(heavy.impedance, door(ring=False).impedance, rtol=1e-6)


# --- The same nodes by a matrix ---------------------------------------------------------------


def by_matrix(given_: dict[str, Any]) -> tuple[Any, Any]:
    """Load and share from the node equations as they stand, frequency by frequency."""
    air, f = given_["air"], given_["frequency"]
    s = 2j * np.pi * f
    c = given_["rear_volume"] / air.bulk_modulus
    sheet = {"thickness": given_["steel"], "air": air, "frequency": f, "compliance": c}
    drains = holes_admittance(
        area=given_["drain_area"],
        count=given_["drain_count"],
        quality=given_["drain_q"],
        **sheet,
    )
    panel = holes_admittance(
        area=given_["panel_area"],
        count=given_["panel_count"],
        quality=given_["panel_q"],
        film=given_["cover_mass"],
        **sheet,
    )
    grille = grille_admittance(
        area=given_["grille_area"],
        extent=given_["grille_extent"],
        gap=given_["trim_gap"],
        resistance=given_["grille_resistance"],
        sd=given_["sd"],
        air=air,
        frequency=f,
    )
    edge = slit_admittance(area=given_["edge_area"], length=2.5, depth=0.03, air=air, frequency=f)
    cavity = 1.0 / (1.0 / (s * c) + 1.0 / (2 * np.pi * 80.0 * c * given_["rear_q"]))
    trim = s * given_["trim_volume"] / air.bulk_modulus
    small = s * given_["front_volume"] / air.bulk_modulus
    zero = np.zeros_like(s)
    if given_["ring"]:  # front, rear, trim
        rows = [
            [small + grille, zero, zero],
            [zero, cavity + drains + panel, -panel],
            [zero, -panel, panel + trim + edge],
        ]
        push = np.array([1.0, -1.0, 0.0])
    else:  # front with trim, rear
        rows = [[trim + grille + edge + panel, -panel], [-panel, cavity + drains + panel]]
        push = np.array([1.0, -1.0])
    pressure = np.linalg.solve(np.array(rows).transpose(2, 0, 1), push[:, None])[..., 0]
    radius = np.sqrt(given_["sd"] / np.pi)
    load = pressure[:, 0] - pressure[:, 1] + s * 8 * air.density / (3 * np.pi**2 * radius)
    at_edge = pressure[:, 2] if given_["ring"] else pressure[:, 0]
    return load, pressure[:, 0] * grille + at_edge * edge


DOORS = st.fixed_dictionaries(
    {
        "ring": st.booleans(),
        "sd": st.floats(30e-4, 300e-4),
        "rear_volume": st.floats(3e-3, 0.1),
        "rear_q": st.floats(3.0, 50.0),
        "drain_area": st.one_of(st.just(0.0), st.floats(1e-5, 100e-4)),
        "drain_count": st.integers(1, 10),
        "panel_area": st.one_of(st.just(0.0), st.floats(1e-5, 500e-4)),
        "panel_count": st.integers(1, 10),
        "cover_mass": st.floats(0.0, 8.0),
        "grille_area": st.floats(20e-4, 200e-4),
        "trim_volume": st.floats(2e-3, 15e-3),
        "front_volume": st.floats(0.1e-3, 2e-3),
        "edge_area": st.one_of(st.just(0.0), st.floats(1e-5, 50e-4)),
    }
)


@given(changes=DOORS)
def test_closed_form_solves_the_node_equations(changes: dict[str, Any]) -> None:
    # two routes agree
    load, share = by_matrix({**TYPICAL, **changes})
    got = door(**changes)
    np.testing.assert_allclose(got.impedance, load, rtol=1e-9)
    np.testing.assert_allclose(got.share, share, rtol=1e-8, atol=1e-10 * abs(share).max())


@given(changes=DOORS)
def test_door_never_gives_power(changes: dict[str, Any]) -> None:
    # invariant: passivity, Re ZA >= 0, and hence Re Z >= Re(coil) of any driver in it
    load = np.asarray(door(**changes).impedance)
    assert np.all(load.real >= -1e-12 * abs(load))
    unit = replace(REPLACEMENT, sd=changes["sd"])
    done = loaded(driver=unit, acoustic_load=load, frequency=FREQUENCY)
    assert np.all(done.impedance.real > 0.0)


@given(changes=DOORS)
def test_power_into_the_door_is_lost_in_its_openings(changes: dict[str, Any]) -> None:
    # invariant: power balance without fill, drains, panel holes: all of Re ZA is at the outlets
    changes = {**changes, **SEALED, "panel_area": 0.0}
    got = door(**changes)
    given_ = {**TYPICAL, **changes}
    grille = grille_admittance(
        area=given_["grille_area"],
        extent=given_["grille_extent"],
        gap=given_["trim_gap"],
        resistance=given_["grille_resistance"],
        sd=given_["sd"],
        air=AIR,
        frequency=FREQUENCY,
    )
    edge = slit_admittance(
        area=given_["edge_area"], length=2.5, depth=0.03, air=AIR, frequency=FREQUENCY
    )
    outlets = grille if given_["ring"] else grille + edge
    pressure = np.asarray(got.share) / outlets
    lost = abs(pressure) ** 2 * outlets.real
    np.testing.assert_allclose(np.asarray(got.impedance).real, lost, rtol=1e-6)


def test_samples_lead_and_frequency_is_last() -> None:
    # invariant: array equals scalar loop, closed and infinite samples among them
    columns: dict[str, FloatArray] = {
        "sd": np.array([[83e-4], [124e-4], [210e-4]]),
        "rear_volume": np.array([[20e-3], [45e-3], [np.inf]]),
        "drain_area": np.array([[0.0], [6e-4], [20e-4]]),
        "panel_area": np.array([[30e-4], [0.0], [2e-4]]),
        "edge_area": np.array([[5e-4], [12e-4], [0.0]]),
        "steel": np.array([[0.6e-3], [0.8e-3], [1.2e-3]]),
    }
    for ring in (True, False):
        got = door(ring=ring, **columns)
        for row in range(3):
            alone = door(ring=ring, **{name: float(v[row, 0]) for name, v in columns.items()})
            np.testing.assert_allclose(np.asarray(got.impedance)[row], alone.impedance, rtol=1e-12)
            np.testing.assert_allclose(
                np.asarray(got.share)[row], alone.share, rtol=1e-11, atol=1e-15
            )


def test_zero_frequency_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="above 0 Hz"):
        door(frequency=np.array([0.0, 50.0]))


# --- The check table --------------------------------------------------------------------------


def driver_from_sheet(
    *, re: float, fs: float, qes: float, mms: float, sd: float, le: float
) -> Driver:
    """Driver of a typical sheet, Qms 5, coil exponent 0.7, its air taken out."""
    w = 2 * np.pi * fs
    return Driver(
        re=re,
        bl=np.sqrt(w * mms * re / qes),
        mms=moving_mass_in_door(mms=mms, sd=sd, air=AIR),
        cms=1.0 / (w**2 * mms),
        rms=w * mms / 5.0,
        sd=sd,
        coil=power_law_from_inductance(le=le, n=0.7),
    )


REPLACEMENT = driver_from_sheet(re=3.4, fs=62.0, qes=0.72, mms=15e-3, sd=130e-4, le=0.5e-3)
REPLACEMENT_3 = driver_from_sheet(re=2.7, fs=62.0, qes=0.72, mms=15e-3, sd=130e-4, le=0.4e-3)
FACTORY = driver_from_sheet(re=3.4, fs=70.0, qes=1.25, mms=9.5e-3, sd=124e-4, le=0.35e-3)
FACTORY_2 = driver_from_sheet(re=1.7, fs=70.0, qes=1.25, mms=9.5e-3, sd=124e-4, le=0.18e-3)
TABLE = np.array([40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 200.0, 500.0])


def output(unit: Driver) -> Any:
    """Volume velocity into the cabin per volt of a source with 0.43 ohm ahead of the driver."""
    load = door(sd=unit.sd, frequency=TABLE)
    done = loaded(driver=unit, acoustic_load=load.impedance, frequency=TABLE)
    drive = done.impedance / (done.impedance + 0.43)
    return unit.sd * drive * done.velocity_per_volt * load.share


@pytest.mark.parametrize(
    ("unit", "decibels"),
    [
        (REPLACEMENT, [-2.8, -1.9, -2.1, -4.0, -4.0, -3.2, -2.3, -2.3]),
        (REPLACEMENT_3, [-1.9, -1.1, -1.2, -3.0, -3.1, -2.4, -1.5, -1.5]),
        (FACTORY, [-2.5, -2.4, -2.4, -2.6, -2.5, -2.3, -2.2, -2.2]),
    ],
    ids=["4 ohm replacement", "3 ohm replacement", "4 ohm factory"],
)
def test_change_of_driver_against_a_two_ohm_factory_one(
    unit: Driver, decibels: list[float]
) -> None:
    # independent implementation of the same equations, printed to 0.1 dB; allowed 0.3 dB, and we
    # hold the 0.1 dB that its digits promise
    got = 20 * np.log10(abs(output(unit) / output(FACTORY_2)))
    np.testing.assert_allclose(got, decibels, atol=0.1)
