"""Polarity and impedance against the table of reference values."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.levels import amplitude_decibel
from conewright.physics.drivers.coil import PowerLaw, coil_impedance
from conewright.sound.measured.free_air import mass_from_added, volume_from_mass
from conewright.sound.measured.impedance_fit import Width, fit_driver
from conewright.sound.measured.impedance_points import ImpedancePoints, outline
from conewright.sound.measured.jig import (
    impedance_from_ratio,
    one_channel_level,
    series_resistance,
)
from conewright.sound.measured.polarity import bass_pair, reversed_odds
from reference.measured import Row, read_rows

ROWS = read_rows()


def pair(frequency: float, right: complex, turned: bool = False) -> tuple[float, float]:
    """Levels of both and of opposed over the left."""
    left, other = np.array([1.0 + 0j]), np.array([-right if turned else right])
    found = bass_pair(
        left=left,
        right=other,
        both=left + other,
        opposed=left - other,
        frequency=np.array([frequency]),
    )
    return float(found.both[0]), float(found.opposed[0])


def mismatched(row: Row, *, turned: bool) -> list[float]:
    softer = 10 ** (-row.number("mismatch_db") / 20)
    return [pair(63.0, softer, turned)[0]]


def apart(row: Row) -> list[float]:
    angle = 2 * np.pi * row.number("f") * row.number("dx") / row.number("c")
    return list(pair(row.number("f"), np.exp(-1j * angle)))


def odds(row: Row) -> list[float]:
    phases = np.deg2rad(row.inputs["phases_deg"])
    sigma, slip = np.deg2rad(row.number("sigma_deg")), row.number("slip")
    return [reversed_odds(phases, sigma=sigma, weight=row.number("weight"), slip=slip)]


def read_as(ratio: float, resistor: float, **more: float) -> float:
    return float(impedance_from_ratio(np.array([ratio + 0j]), resistor=resistor, **more)[0].real)


def ratio_of(row: Row) -> float:
    return row.number("z") / (row.number("z") + row.number("resistor"))


def error(row: Row) -> list[float]:
    off = read_as(1.01 * ratio_of(row), row.number("resistor"))
    return [100 * (off / row.number("z") - 1)]


def through_input(row: Row) -> list[float]:
    """The divider with the input across Z; what the jig reads without and with knowing of it."""
    z, resistor, across = row.number("z"), row.number("resistor"), row.number("input")
    seen = 1 / (1 / z + 1 / across)
    ratio = seen / (seen + resistor)
    # the one value of the table is that without; with the input told the true one comes out
    assert read_as(ratio, resistor, input_resistance=across) == pytest.approx(z, rel=1e-12)
    return [read_as(ratio, resistor)]


def one_channel(row: Row) -> list[float]:
    z, series = complex(row.number("re"), row.number("im")), row.number("series")
    known = 10.0
    level = one_channel_level(np.array([known / (known + series) + 0j]), opened=np.array([1 + 0j]))
    found = series_resistance(level, known=known)
    level = one_channel_level(np.array([z / (z + found)]), opened=np.array([1 + 0j]))
    return [float(amplitude_decibel(level)[0])]


def circuit(row: Row, frequency: FloatArray) -> ComplexArray:
    """Re and the resonance as a parallel circuit (Small 1972)."""
    re, fs, qms, qes = (row.number(name) for name in ("re", "fs", "qms", "qes"))
    return np.asarray(re + re * qms / qes / (1 + 1j * qms * (frequency / fs - fs / frequency)))


def peak(row: Row) -> list[float]:
    f = np.geomspace(20.0, 400.0, 2001)
    return [outline(frequency=f, modulus=np.abs(circuit(row, f))).peak]


def width(row: Row) -> list[float]:
    """Where the curve of the fitted figures passes sqrt(Zmax Re)."""
    f = np.geomspace(40.0, 140.0, 20001)
    points = ImpedancePoints(f[::200], circuit(row, f[::200]), np.zeros(f[::200].size))
    fit = fit_driver(points)
    figures = {name: [getattr(fit, name).value] for name in ("re", "fs", "qms", "qes")}
    modulus = np.abs(circuit(replace(row, inputs=figures), f))
    half = fit.re.value * np.sqrt(1 + fit.qms.value / fit.qes.value)
    above = f[modulus > half]
    return [float(above[0]), float(above[-1])]


def mass(row: Row) -> list[float]:
    found = mass_from_added(
        fs=Width(row.number("fs"), 0.0),
        loaded=Width(row.number("fm"), 0.0),
        added=Width(1e-3 * row.number("added_g"), 0.0),
    )
    return [1e3 * found.value]


def volume(row: Row) -> list[float]:
    found = volume_from_mass(
        fs=Width(row.number("fs"), 0.0),
        mass=Width(1e-3 * row.number("mms_g"), 0.0),
        sd=Width(1e-4 * row.number("sd_cm2"), 0.0),
        air=Air(),
    )
    return [1e3 * found.value]


def lossy(row: Row) -> list[float]:
    coil = PowerLaw(k=row.number("k"), n=row.number("n"))
    z = complex(coil_impedance(coil=coil, frequency=np.array([row.number("f")]))[0])
    return [abs(z), float(np.rad2deg(np.angle(z)))]


COMPUTED: dict[str, Callable[[Row], list[float]]] = {
    "P4.A1": lambda row: mismatched(row, turned=True),
    "P4.A2": lambda row: mismatched(row, turned=False),
    "P4.P63": apart,
    "P4.P80": apart,
    "P4.O1": odds,
    "P4.O2": odds,
    "P5.R1": lambda row: [read_as(row.number("ratio"), row.number("resistor"))],
    "P5.G1": error,
    "P5.G3": lambda row: [
        read_as((1 + row.number("more")) * ratio_of(row), row.number("resistor"))
    ],
    "P5.I1": through_input,
    "P5.V1": one_channel,
    "P5.Q1": peak,
    "P5.Q2": width,
    "P5.M1": mass,
    "P5.W1": volume,
    "P5.K1": lossy,
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)
def test_reference_value(row: Row) -> None:
    """Closed forms and published relations, as the row's source says; tolerance of the row."""
    found = COMPUTED[row.id](row)
    assert len(found) == len(row.expected)
    for value, expected in zip(found, row.expected, strict=True):
        assert value == pytest.approx(expected, rel=0.0, abs=row.allowed(expected)), row.quantity


def test_every_row_is_computed_and_names_its_source() -> None:
    assert COMPUTED.keys() == {row.id for row in ROWS}
    assert len(ROWS) == len(COMPUTED)
    assert [row.id for row in ROWS if not row.source.strip()] == []
    # none of them passes on nothing
    assert [row.id for row in ROWS for x in row.expected if abs(x) <= row.allowed(x)] == []
