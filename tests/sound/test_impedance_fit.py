"""The fit of a driver: against a circuit simulator, its refusals, its widths, its twin."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from simulated_jig import COILS, FS, QES, QMS, RE, driver, parallel

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.acoustics.door import mounted_load
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray
from conewright.physics.drivers.driver import acoustic_mass_free
from conewright.sound.measured.curves import read_curve
from conewright.sound.measured.free_air import (
    TwinFlags,
    mass_from_added,
    twin_difference,
    volume_from_box,
    volume_from_mass,
)
from conewright.sound.measured.impedance_fit import (
    Fit,
    Mount,
    Width,
    fit_driver,
)
from conewright.sound.measured.impedance_points import ImpedancePoints, Outline, outline
from conewright.sound.measured.jig import (
    JigRatio,
    curve_points,
    impedance_points,
    require_known_resistor,
    sweep_frequencies,
)
from reference.broken import BOOK, FOLDER, door_of, read_result

AIR = Air()
GRID = sweep_frequencies()
FIGURES = ("re", "fs", "qms", "qes")


def points(impedance: ComplexArray, error: float = 0.0, frequency: FloatArray = GRID) -> Any:
    return ImpedancePoints(frequency, impedance, np.full(frequency.size, error))


def noisy(impedance: ComplexArray, error: float, seed: int) -> Any:
    draw = np.random.default_rng(seed).standard_normal((2, GRID.size))
    return points(impedance * np.exp(error * (draw[0] + 1j * draw[1])), error)


# --- A circuit simulator ----------------------------------------------------------------------


def jig_points(name: str) -> ImpedancePoints:
    """Impedance from what the two inputs heard in the deck; leads and input are known."""
    jig = BOOK["jigs"][name]
    frequency, heard = read_result(FOLDER / f"{name}.txt")
    joined = 1 / (1 / jig["leads"] + 1 / jig["input"])
    still = np.zeros(frequency.size)
    leads = np.full(frequency.size, joined / (joined + jig["resistor"]) + 0j)
    return impedance_points(
        JigRatio(frequency, heard["across"] / heard["before"], still),
        resistor=jig["resistor"],
        leads=JigRatio(frequency, leads, still),
        input_resistance=jig["input"],
    )


@pytest.mark.parametrize("name", ["jig_free", "jig_lossy"])
def test_a_driver_in_free_air_is_found_behind_its_resistor(name: str) -> None:
    # independent tool: ngspice 39 (Debian), decks and results in reference/ngspice
    sheet = BOOK["drivers"][BOOK["jigs"][name]["sheet"]]
    found = fit_driver(jig_points(name))
    assert found.coil_name == ("power-law" if "n" in sheet else "shunted")
    for figure in FIGURES:
        assert getattr(found, figure).value == pytest.approx(sheet[figure], rel=1e-6)
    assert found.residual < 1e-7


def mount(name: str, *, known: float, off: float = 0.0, mass_off: float = 0.0) -> Mount:
    """The deck's door, of which volume, its Q, drains and grille are known only to a spread."""
    jig = BOOK["jigs"][name]
    sheet, door = BOOK["drivers"][jig["sheet"]], door_of(jig["door"])
    frequency = np.array(BOOK["frequencies"]["jig"])
    free = ("rear_volume", "rear_q", "drain_area", "grille_resistance")

    def load(logs: FloatArray) -> Complex:
        own = dict(zip(free, np.exp(logs).tolist(), strict=True))
        whole = {**door, **own}
        return mounted_load(air=AIR, sd=sheet["sd"], frequency=frequency, **whole).impedance

    return Mount(
        load=load,
        typical=np.log([door[each] for each in free]) + off,
        spread=np.full(len(free), known),
        mms=sheet["mms"] * np.exp(mass_off),
        mass_spread=0.05,
        sd=sheet["sd"],
        air=AIR,
    )


def test_a_driver_in_its_door_is_found_with_what_is_known_of_the_door() -> None:
    # independent tool: ngspice 39 (Debian), deck jig_door.cir
    sheet = BOOK["drivers"]["woofer_4"]
    measured = jig_points("jig_door")
    found = fit_driver(measured, mount=mount("jig_door", known=0.4, off=0.1, mass_off=0.02))
    assert found.coil_name == "power-law"
    assert found.residual < 1e-3
    assert found.mass == pytest.approx(sheet["mms"], rel=0.05)
    for figure in FIGURES:
        told = getattr(found, figure)
        assert told.value == pytest.approx(sheet[figure], abs=told.width), figure
    assert found.re.value == pytest.approx(sheet["re"], rel=2e-3)
    # the door moves the resonance by far more than the fit is off
    bare = outline(frequency=measured.frequency, modulus=np.abs(measured.impedance))
    assert abs(bare.resonance / sheet["fs"] - 1) > 3 * abs(found.fs.value / sheet["fs"] - 1)


def test_what_is_known_of_a_door_narrows_the_quality_that_its_losses_hide() -> None:
    # invariant: less known beforehand, wider widths
    measured = jig_points("jig_door")
    sure, loose = (
        fit_driver(measured, mount=mount("jig_door", known=known)) for known in (0.02, 0.6)
    )
    sheet = BOOK["drivers"]["woofer_4"]
    assert sure.fs.value == pytest.approx(sheet["fs"], rel=1e-3)
    assert loose.fs.value == pytest.approx(sheet["fs"], rel=1e-3)
    assert loose.qms.width > 5 * sure.qms.width


@pytest.mark.parametrize(("off", "mass_off"), [(0.4, 0.0), (-0.4, 0.05)])
def test_a_door_that_is_not_typical_is_met_within_its_spread(off: float, mass_off: float) -> None:
    # independent tool: ngspice, deck jig_door.cir; every part of the door guessed 40 % off
    sheet = BOOK["drivers"]["woofer_4"]
    guessed = mount("jig_door", known=0.6, off=off, mass_off=mass_off)
    found = fit_driver(jig_points("jig_door"), mount=guessed)
    for figure in FIGURES:
        told = getattr(found, figure)
        assert told.value == pytest.approx(sheet[figure], abs=told.width), figure
    assert found.fs.value == pytest.approx(sheet["fs"], rel=2e-3)
    assert found.mass == pytest.approx(sheet["mms"], rel=0.06)


def test_a_mount_must_fit_together() -> None:
    good = mount("jig_door", known=0.3)
    with pytest.raises(OutOfRangeError, match="one spread for each"):
        replace(good, spread=good.spread[1:])
    with pytest.raises(OutOfRangeError, match="spread must be above zero"):
        replace(good, spread=0 * good.spread)
    light = replace(good, mms=0.9 * float(acoustic_mass_free(air=AIR, sd=good.sd)))
    with pytest.raises(OutOfRangeError, match="less than that of the air"):
        fit_driver(jig_points("jig_door"), mount=light)


# --- Any driver -------------------------------------------------------------------------------


@settings(max_examples=15, deadline=None)
@given(
    fs=st.floats(30.0, 200.0),
    qms=st.floats(1.5, 12.0),
    qes=st.floats(0.3, 2.0),
    coil=st.sampled_from(["inductor", "shunted", "power-law"]),
)
def test_any_driver_is_found(fs: float, qms: float, qes: float, coil: str) -> None:
    # closed form: the curve is that of the figures
    found = fit_driver(points(driver(GRID, coil, fs=fs, qms=qms, qes=qes)))
    true = {"re": RE, "fs": fs, "qms": qms, "qes": qes}
    for figure, value in true.items():
        assert getattr(found, figure).value == pytest.approx(value, rel=1e-4), figure
    assert found.coil_name == coil
    assert found.bic[found.coil_name] == min(found.bic.values())


def test_the_widths_hold_what_the_noise_does() -> None:
    # own simulation: 30 noisy curves; the least widths of a garage are wider than this noise
    true = np.array([RE, FS, QMS, QES])
    curve = driver(GRID, "power-law")
    fits = [fit_driver(noisy(curve, 0.03, seed)) for seed in range(30)]
    off = np.array([[getattr(f, n).value for n in FIGURES] for f in fits]) - true
    width = np.array([[getattr(f, n).width for n in FIGURES] for f in fits])
    inside = np.mean(np.abs(off) < width, axis=0)
    assert np.all(inside >= 0.86)
    # and are not wide beyond reason: the scatter of Qms, which no other limit hides
    assert np.median(width[:, 2]) < 3.5 * np.std(off[:, 2])
    quiet = fit_driver(noisy(curve, 0.001, 1))
    assert [getattr(quiet, n).width / getattr(quiet, n).value for n in FIGURES] == pytest.approx(
        [0.0164, 0.01, 0.03, 0.03], rel=0.15
    )


def test_a_curve_of_no_driver_is_refused_with_its_distance() -> None:
    # closed form: a coil that shows a second resonance of its own at 900 Hz
    rub = 4.0 / (1 + 3j * (GRID / 900 - 900 / GRID))
    with pytest.raises(OutOfRangeError, match=r"nearest is \d+\.\d % off where 0\.5 % is allowed"):
        fit_driver(points(driver(GRID, "power-law") + rub))
    # the same curve so noisy that the bump is lost in it is not refused
    assert isinstance(fit_driver(noisy(driver(GRID, "power-law") + rub, 0.2, 2)), Fit)


def test_curves_that_show_no_resonance_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="no resonance within"):
        fit_driver(points(np.linspace(3.0, 30.0, GRID.size).astype(complex)))
    with pytest.raises(OutOfRangeError, match="at least 20"):
        fit_driver(points(driver(GRID, "inductor")[:8], frequency=GRID[:8]))
    with pytest.raises(OutOfRangeError, match="frequency must rise"):
        fit_driver(points(driver(GRID, "inductor"), frequency=GRID[::-1]))
    with pytest.raises(OutOfRangeError, match="finite"):
        fit_driver(points(driver(GRID, "inductor") * np.nan))


# --- Curves from elsewhere --------------------------------------------------------------------


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("coil", ["shunted", "power-law"])
def test_a_curve_from_elsewhere_is_fitted_with_and_without_its_phase(
    coil: str, phase: bool
) -> None:
    # closed form: the curve is that of the figures, written to four digits
    z = driver(GRID, coil)
    columns = [GRID, np.abs(z), np.angle(z, deg=True)][: 3 if phase else 2]
    rows = ["Hz ohm deg", *(" ".join(f"{x:.4g}" for x in row) for row in np.transpose(columns))]
    curve = read_curve("\n".join(rows).encode(), name="left.txt")
    found = fit_driver(curve_points(curve))
    assert found.coil_name == coil
    for figure, true in zip(FIGURES, (RE, FS, QMS, QES), strict=True):
        assert getattr(found, figure).value == pytest.approx(true, rel=2e-3), figure
    with pytest.raises(BadInputError, match=r"left.txt: found a level \(.*\); an impedance"):
        curve_points(replace(curve, kind="level"))


STRANGE: dict[str, Any] = {
    "four loops": lambda s: sum(
        parallel(s * l2, r2)
        for l2, r2 in ((0.05e-3, 30.0), (0.15e-3, 9.0), (0.3e-3, 3.0), (0.5e-3, 0.9))
    ),
    "power law and inductor": lambda s: 0.006 * s**0.6 + s * 0.1e-3,
    "shunted power law": lambda s: parallel(0.008 * s**0.7, 25.0),
    "two power laws": lambda s: 0.004 * s**0.7 + 0.01 * s**0.5,
}


@pytest.mark.parametrize("metered", [False, True])
@pytest.mark.parametrize("coil", STRANGE)
def test_a_coil_that_is_none_of_the_four_is_met_within_the_widths(coil: str, metered: bool) -> None:
    # closed form: passive coils of other shapes; a model that is off widens what it tells
    s = 2j * np.pi * GRID
    z = driver(GRID, "inductor") - s * 0.4e-3 + STRANGE[coil](s)
    found = fit_driver(points(z, 0.001), meter=Width(RE, 0.01 * RE) if metered else None)
    for figure, true in zip(FIGURES, (RE, FS, QMS, QES), strict=True):
        told = getattr(found, figure)
        assert told.value == pytest.approx(true, abs=told.width), figure
    assert found.re.width < 0.06 * RE
    assert found.residual > 0.003
    assert found.impedance.shape == found.frequency.shape


# --- Ohm-meter, leads, warmth -----------------------------------------------------------------


def test_the_meter_takes_the_place_of_the_resistors_limits() -> None:
    # closed form: a resistor of 2 % too much scales Z; Q and fs stay, Re comes from the meter
    off = 1.02 * driver(GRID, "power-law")
    alone = fit_driver(points(off))
    metered = fit_driver(points(off), meter=Width(RE, 0.004 * RE))
    assert alone.re.value == pytest.approx(1.02 * RE, rel=1e-3)
    assert metered.re.value == pytest.approx(RE, rel=0.005)
    assert metered.re.width < 0.006 * RE
    with pytest.raises(OutOfRangeError, match="meter_width must be above zero"):
        fit_driver(points(off), meter=Width(RE, 0.0))
    for figure, true in (("fs", FS), ("qms", QMS), ("qes", QES)):
        assert getattr(metered, figure).value == pytest.approx(true, rel=0.01)


def test_unknown_warmth_widens_what_goes_with_the_copper() -> None:
    # closed form: 0.393 % per kelvin, 10 K: 3.9 %
    cold, warm = (fit_driver(points(driver(GRID, "inductor")), warmth=w) for w in (0.0, 10.0))
    assert warm.re.width / warm.re.value == pytest.approx(np.hypot(0.0393, 0.0117), rel=0.05)
    assert warm.qes.width > cold.qes.width
    assert warm.fs == cold.fs
    assert warm.qms == cold.qms


# --- Without a model --------------------------------------------------------------------------


def test_an_outline_reads_peak_resonance_and_width() -> None:
    # closed form: Small's circuit without inductance, on a fine grid
    f = np.geomspace(10.0, 1000.0, 4000)
    z = np.abs(RE + RE * QMS / QES / (1 + 1j * QMS * (f / FS - FS / f)))
    seen = outline(frequency=f, modulus=z)
    assert seen.resonance == pytest.approx(FS, rel=1e-5)
    assert seen.peak == pytest.approx(RE * (1 + QMS / QES), rel=1e-5)
    assert seen.resistance == pytest.approx(z.min())
    assert seen.resistance == pytest.approx(RE, rel=6e-3)
    assert seen.qms == pytest.approx(QMS, rel=1e-2)


FLAGS = TwinFlags(resonance=0.15, peak=0.35, resistance=0.12)


def test_twins_are_compared_by_their_logarithms() -> None:
    # closed form; limits of 15, 35 and 12 %: common practice, no source
    good = Outline(70.0, 18.0, 3.3, 4.0)
    for left, flagged in (
        (replace(good, resonance=70.0 * 1.14, peak=18.0 / 1.34, resistance=3.3 * 1.11), ()),
        (replace(good, resonance=70.0 * 1.16), ("resonance",)),
        (replace(good, peak=18.0 / 1.36), ("peak",)),
        (replace(good, peak=9.0, resistance=3.3 * 1.13), ("peak", "resistance")),
    ):
        found = twin_difference(left, good, flags=FLAGS)
        assert found.flagged == flagged
        assert found.resonance == pytest.approx(np.log(left.resonance / 70.0))
        assert found.peak == pytest.approx(np.log(left.peak / 18.0))
        turned = twin_difference(good, left, flags=FLAGS)
        assert turned.flagged == flagged
        assert turned.resistance == pytest.approx(-found.resistance)


# --- Mass and volume --------------------------------------------------------------------------


def test_added_mass_is_found_from_two_fits_to_a_tenth_of_a_per_cent() -> None:
    # closed form: fm = fs sqrt(M/(M + m)), Q up by the root of the mass; own simulation, 0.1 %
    mass, added = 11e-3, 10e-3
    heavier = np.sqrt(1 + added / mass)
    free = fit_driver(noisy(driver(GRID, "power-law"), 0.001, 3))
    loaded = driver(GRID, "power-law", fs=FS / heavier, qms=QMS * heavier, qes=QES * heavier)
    on = fit_driver(noisy(loaded, 0.001, 4))
    found = mass_from_added(
        fs=Width(free.fs.value, 2e-4 * FS),
        loaded=Width(on.fs.value, 2e-4 * FS),
        added=Width(added, 1e-5),
    )
    assert found.value == pytest.approx(mass, rel=1e-3)
    assert 0.01 * found.value <= found.width < 0.012 * found.value
    volume = volume_from_mass(fs=free.fs, mass=found, sd=Width(124e-4, 2e-4), air=AIR)
    # closed form: rho c^2 Sd^2/(w^2 M)
    true = AIR.bulk_modulus * 124e-4**2 / ((2 * np.pi * FS) ** 2 * mass)
    assert volume.value == pytest.approx(true, rel=2e-3)
    assert volume.width > 2 * free.fs.width / free.fs.value * volume.value


def test_too_little_mass_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match=r"1\.219 times.*at least 1\.22"):
        mass_from_added(fs=Width(70.0, 0.1), loaded=Width(57.42, 0.1), added=Width(5e-3, 0.0))
    assert mass_from_added(
        fs=Width(70.0, 0.1), loaded=Width(57.3, 0.1), added=Width(5e-3, 0.0)
    ).value == pytest.approx(5e-3 / ((70.0 / 57.3) ** 2 - 1))


def test_a_known_box_gives_the_volume() -> None:
    # closed form: Small 1972, fc = fs sqrt(1 + Vas/Vb), Qec = Qes fc/fs
    vas, box = 9.2e-3, 12e-3
    rise = np.sqrt(1 + vas / box)
    found = volume_from_box(
        fs=Width(FS, 0.1),
        qes=Width(QES, 0.01),
        boxed=Width(FS * rise, 0.1),
        boxed_qes=Width(QES * rise, 0.01),
        box=Width(box, 0.1e-3),
    )
    assert found.value == pytest.approx(vas)
    # closed form: the difference of two near numbers magnifies (1 + Vb/Vas) times
    apart = np.sqrt(2 * 0.1**2 / FS**2)
    assert found.width > (1 + box / vas) * apart * vas
    with pytest.raises(OutOfRangeError, match="the box leaks"):
        volume_from_box(
            fs=Width(FS, 0.1),
            qes=Width(QES, 0.01),
            boxed=Width(FS * 0.99, 0.1),
            boxed_qes=Width(QES, 0.01),
            box=Width(box, 0.1e-3),
        )


def test_every_coil_of_the_simulation_is_told_apart() -> None:
    # own simulation: the right one of four, in noise of 0.2 %
    for seed, coil in enumerate(COILS):
        assert fit_driver(noisy(driver(GRID, coil), 0.002, seed)).coil_name == coil
    assert require_known_resistor(GRID, np.full(GRID.size, 10.05 + 0j)) == pytest.approx(0.005)
