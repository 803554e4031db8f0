"""The project against ngspice: circuits solved there as electrical analogues, results stored.

Always: the project against the stored results. Where ngspice is installed: the decks run again
and the stored results are held against that run. With CONEWRIGHT_REQUIRE_NGSPICE=1 a machine
without ngspice fails. How the decks were made and run: reference/ngspice/README.md.
"""

import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from conewright.physics.acoustics.backs import box_load, open_baffle_load
from conewright.physics.acoustics.door import FREE, MountedLoad, mounted_load
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.drivers.coil import (
    Coil,
    Inductor,
    ShuntedInductor,
    power_law_from_inductance,
)
from conewright.physics.drivers.driver import Driver, loaded, moving_mass_in_door
from conewright.physics.electrics.wiring import (
    Leaf,
    Parallel,
    Series,
    Solved,
    Tree,
    capacitor,
    inductor,
    solve_tree,
)
from conewright.stages.common.circuit import LUMPED_BELOW
from reference.broken import (
    AMPLIFIED,
    BOOK,
    FOLDER,
    FOUND,
    SOUND,
    circuit_of,
    coaxial_columns,
    door_of,
    intermittent,
    read_result,
    solve_amplified,
    solve_broken,
)

NAMES = sorted(BOOK["circuits"])
JIGS = sorted(BOOK["jigs"])
NGSPICE = shutil.which("ngspice")
REQUIRED = os.environ.get("CONEWRIGHT_REQUIRE_NGSPICE") == "1"
# Wanted: 1e-3 in complex value and 0.01 dB. Reached: 6e-10, and 2e-9 beside what the project calls
# an open circuit or a short; held with room for other platforms.
COMPLEX_TOLERANCE = 1e-8
DECIBEL_TOLERANCE = 1e-7
# What is left of a column that a fault silences, over what the sound channel has of it.
SILENT = 1e-8
AIR = Air()


# --- Stored results ---------------------------------------------------------------------------


def assert_same(got: ComplexArray, expected: ComplexArray, what: str) -> None:
    apart = np.max(np.abs(got / expected - 1.0))
    assert apart < COMPLEX_TOLERANCE, f"{what}: {apart:.1e}"
    decibels = np.max(np.abs(20.0 * np.log10(np.abs(got / expected))))
    assert decibels < DECIBEL_TOLERANCE, f"{what}: {decibels:.1e} dB"


# --- The same circuits by the project ---------------------------------------------------------


def load_of(use: dict[str, Any], sd: float, frequency: FloatArray) -> MountedLoad:
    if "door" not in use:
        return FREE
    door = door_of(use["door"])
    air_of: dict[str, Any] = {"air": AIR, "sd": sd, "frequency": frequency}
    if "box_volume" in door:
        quality = door.get("quality", np.inf)
        gain = door["fill_gain"]
        return box_load(volume=door["box_volume"], fill_gain=gain, quality=quality, **air_of)
    if "baffle_area" in door:
        return open_baffle_load(baffle_area=door["baffle_area"], **air_of)
    given = {"rear_volume": np.inf, "rear_q": np.inf, **door}
    return mounted_load(air=AIR, sd=sd, frequency=frequency, **given)


def coil_of(sheet: dict[str, float]) -> Coil:
    if "n" in sheet:
        return power_law_from_inductance(le=sheet["le"], n=sheet["n"])
    if "l2" in sheet:
        return ShuntedInductor(le=sheet["le"], l2=sheet["l2"], r2=sheet["r2"])
    return Inductor(le=sheet["le"])


def driver_of(use: dict[str, Any]) -> Driver:
    sheet = BOOK["drivers"][use["sheet"]]
    w, mms, sd = 2 * np.pi * sheet["fs"], sheet["mms"], sheet["sd"]
    return Driver(
        re=sheet["re"],
        bl=(w * mms * sheet["re"] / sheet["qes"]) ** 0.5,
        mms=moving_mass_in_door(mms=mms, sd=sd, air=AIR) if "door" in use else mms,
        cms=1 / (w**2 * mms),
        rms=w * mms / sheet["qms"],
        sd=sd,
        coil=coil_of(sheet),
    )


def tree_of(load: Any) -> Tree:
    if isinstance(load, str):
        return Leaf(load)
    kind, *parts = load
    group = Series if kind == "series" else Parallel
    return group(tuple(tree_of(part) for part in parts))


def part_impedance(part: dict[str, float], frequency: FloatArray) -> ComplexArray:
    total = inductor(
        inductance=part.get("henry", 0.0), resistance=part.get("ohm", 0.0), frequency=frequency
    )
    if "farad" in part:
        total = total + capacitor(capacitance=part["farad"], frequency=frequency)
    return total


def solve(name: str, frequency: FloatArray) -> tuple[Solved, dict[str, tuple[Any, ...]]]:
    """The wiring solved for 1 V, and (use, mounted load, loaded driver) of every driver."""
    circuit = BOOK["circuits"][name]
    impedances = {
        part: part_impedance(value, frequency) for part, value in circuit["parts"].items()
    }
    units: dict[str, tuple[Any, ...]] = {}
    for unit, use in circuit["drivers"].items():
        driver = driver_of(use)
        mount = load_of(use, float(driver.sd), frequency)
        done = loaded(driver=driver, acoustic_load=mount.impedance, frequency=frequency)
        units[unit] = (use, driver, mount, done)
        impedances[unit] = done.impedance
    return solve_tree(tree=tree_of(circuit["load"]), impedances=impedances, voltage=1.0), units


@pytest.mark.parametrize("name", sorted(set(NAMES) - set(FOUND)))
def test_project_agrees_with_the_stored_result(name: str) -> None:
    # independent tool: ngspice 39 (Debian), decks and results beside this test
    frequency, stored = read_result(FOLDER / f"{name}.txt")
    np.testing.assert_allclose(
        frequency, BOOK["frequencies"][BOOK["circuits"][name]["frequencies"]]
    )
    solved, units = solve(name, frequency)
    assert_same(solved.impedance, -1.0 / stored.pop("source"), "impedance")
    for unit, (use, driver, mount, done) in units.items():
        sign = -1.0 if use.get("reversed") else 1.0
        drive = sign * solved.voltages[unit]
        velocity = drive * done.velocity_per_volt
        assert_same(drive, stored.pop(f"{unit}.drive"), f"{unit} drive")
        assert_same(velocity, stored.pop(f"{unit}.velocity"), f"{unit} velocity")
        ways = (f"{unit}.{way}" for way in ("grille", "edge", "panel", "out"))
        outlets = [stored.pop(key) for key in ways if key in stored]
        if outlets:
            output = driver.sd * velocity * mount.share
            assert_same(output, np.sum(outlets, axis=0), f"{unit} output")
    assert not stored, "columns that nothing was held against"


@pytest.mark.parametrize("name", AMPLIFIED)
def test_a_job_with_an_amplifier_agrees_with_the_stored_result(name: str) -> None:
    # independent tool: ngspice 39 (Debian), filters there as ladders of coils and capacitors
    frequency, stored = read_result(FOLDER / f"{name}.txt")
    answer = solve_amplified(name, frequency)
    assert answer.keys() == stored.keys()
    for column, values in stored.items():
        assert_same(answer[column], values, column)


def test_a_coaxial_driver_agrees_with_the_stored_result() -> None:
    """The whole way from a job that writes the tweeter on the frame of its driver."""
    # independent tool: ngspice 39, the deck coaxial.cir
    frequency, stored = read_result(FOLDER / "coaxial.txt")
    solved, columns = coaxial_columns("coaxial", frequency)
    low = frequency <= LUMPED_BELOW
    heard = stored.pop("woofer.grille") + stored.pop("woofer.edge")
    assert low.sum() >= 3
    assert_same(solved.locations["woofer"].output[0][low], heard[low], "output")
    assert columns.keys() == stored.keys()
    for column, values in stored.items():
        assert_same(columns[column], values, column)


# --- What is broken ---------------------------------------------------------------------------


def assert_silent(got: ComplexArray, sound: ComplexArray, what: str) -> None:
    left = np.max(np.abs(got) / np.abs(sound))
    assert left < SILENT, f"{what}: {left:.1e} of the sound channel"


@pytest.mark.parametrize("name", SOUND + FOUND)
def test_a_job_with_a_finding_agrees_with_the_stored_result(name: str) -> None:
    """The whole way from a written job, and each opening into the cabin by itself."""
    circuit = circuit_of(name)
    frequency, stored = read_result(FOLDER / f"{name}.txt")
    answer = solve_broken(name, frequency)
    silent = set(circuit.get("silent", ()))
    assert answer.columns.keys() == stored.keys() >= silent
    moving = {column for column in stored if column.endswith(".velocity")}
    assert answer.channel.idle.all() == (moving <= silent)
    for column in stored.keys() - silent:
        assert_same(answer.columns[column], stored[column], column)
    for unit, output in answer.heard.items():
        outlets = stored[f"{unit}.grille"] + stored[f"{unit}.edge"]
        if not silent.intersection((f"{unit}.grille", f"{unit}.edge")):
            low = np.isfinite(output)
            assert low.sum() >= 3
            assert_same(output[low], outlets[low], f"{unit} output")
    if silent:
        _, sound = read_result(FOLDER / f"{circuit['like']}.txt")
        # The impedance at a dead radio's plug is that of its load, as a meter reads it.
        for column in silent:
            assert_silent(stored[column], sound[column], f"{column} of the deck")
            if column != "source":
                assert_silent(answer.columns[column], sound[column], column)


@pytest.mark.parametrize("name", FOUND)
def test_what_is_found_has_the_sizes_of_its_deck_and_changes_something(name: str) -> None:
    circuit = circuit_of(name)
    frequency, stored = read_result(FOLDER / f"{name}.txt")
    (fault,) = solve_broken(name, frequency).build.faults
    assert {key: value.si for key, value in fault.sizes} == pytest.approx(
        BOOK["faults"][circuit["fault"]], rel=1e-12
    )
    _, sound = read_result(FOLDER / f"{circuit['like']}.txt")
    assert max(np.max(np.abs(stored[key] / sound[key] - 1.0)) for key in stored) > 0.03


def test_a_lead_that_comes_and_goes_is_one_of_two_stored_results_in_every_draw() -> None:
    """Half of the draws are the deck with the coil open, half the one with nothing wrong."""
    stored = {
        name: read_result(FOLDER / f"{name}.txt") for name in ("door_and_tweeter", "open_woofer")
    }
    frequency, sound = stored["door_and_tweeter"]
    _, apart = stored["open_woofer"]
    found = intermittent("door_and_tweeter", "woofer", frequency, samples=128)
    assert found.keys() == {each for each in sound if not each.endswith((".grille", ".edge"))}
    is_open = np.abs(found["woofer.velocity"][:, 0]) < SILENT * np.abs(sound["woofer.velocity"][0])
    assert not is_open[0], "the central state is the one that plays"
    assert is_open[1:].mean() == pytest.approx(0.5, abs=0.02)
    for column, drawn in found.items():
        assert_same(drawn[~is_open], sound[column], column)
        if column == "woofer.velocity":
            assert_silent(drawn[is_open], sound[column], column)
        else:
            assert_same(drawn[is_open], apart[column], column)


# --- The decks again --------------------------------------------------------------------------


@pytest.mark.skipif(
    NGSPICE is None and not REQUIRED, reason="ngspice is not installed: decks not run again"
)
@pytest.mark.parametrize("name", [*NAMES, *AMPLIFIED, *JIGS])
def test_stored_result_is_what_ngspice_prints(name: str, tmp_path: Path) -> None:
    # independent tool, run here and now; 1e-9 leaves room for another version's rounding
    assert NGSPICE is not None, "CONEWRIGHT_REQUIRE_NGSPICE=1, and ngspice is not on the PATH"
    deck = FOLDER / f"{name}.cir"
    subprocess.run([NGSPICE, "-b", str(deck)], cwd=tmp_path, check=True, capture_output=True)
    frequency, again = read_result(tmp_path / f"{name}.txt")
    stored_frequency, stored = read_result(FOLDER / f"{name}.txt")
    np.testing.assert_array_equal(frequency, stored_frequency)
    assert again.keys() == stored.keys()
    for column, values in stored.items():
        np.testing.assert_allclose(again[column], values, rtol=1e-9, err_msg=column)


def test_every_circuit_has_its_deck_and_result_and_nothing_is_left_over() -> None:
    every = sorted([*NAMES, *AMPLIFIED, *JIGS])
    assert sorted(path.stem for path in FOLDER.glob("*.cir")) == every
    assert sorted(path.stem for path in FOLDER.glob("*.txt")) == every
    assert len(NAMES) >= 10
    assert len(FOUND) >= 22
