"""Wires, amplifiers, loads and simple filters: how each reference value is computed."""

from collections.abc import Mapping

import numpy as np
from scipy.optimize import brentq

from conewright.physics.basics.arrays import Complex, Real
from conewright.physics.basics.levels import amplitude_decibel, decibel, from_decibel
from conewright.physics.drivers.thiele_small import sensitivity
from conewright.physics.electrics.amplifier import clean_peak_voltage, lowest_impedance
from conewright.physics.electrics.conductor import (
    COPPER_RESISTIVITY,
    awg_area,
    awg_diameter,
    clad_aluminium_factor,
    level_loss,
    loop_resistance,
    resistance_per_metre,
    temperature_factor,
)
from conewright.physics.electrics.fuse import (
    TRIPPING_RATIO,
    next_fuse,
    slowest_opening,
)
from conewright.physics.electrics.wiring import (
    Leaf,
    Parallel,
    Series,
    Tree,
    capacitor,
    fold_resistance,
    inductor,
    solve_tree,
)

from .checks import Computation, Inputs, air_of

CORNER = np.array([3000.0])
LOAD = 4.0
HIGH_2: Tree = Series((Leaf("c"), Parallel((Leaf("l"), Leaf("r")))))
LOW_2: Tree = Series((Leaf("l"), Parallel((Leaf("c"), Leaf("r")))))
HIGH_4: Tree = Series(
    (Leaf("c1"), Parallel((Leaf("l1"), Series((Leaf("c2"), Parallel((Leaf("l2"), Leaf("r"))))))))
)


def _lead(i: Inputs) -> Real:
    metre = resistance_per_metre(area=i["A_mm2"] * 1e-6)
    return loop_resistance(ohm_per_metre=metre, length=i["L_oneway_m"])


def _lead_loss(i: Inputs) -> Real:
    return level_loss(series=_lead(i), load=i["R"])


def _sensitivity_step(i: Inputs) -> Real:
    air = air_of()
    high = sensitivity(eta0=0.003, re=i["R"], air=air)
    return high - sensitivity(eta0=0.003, re=i["R"], air=air, voltage=i["R"] ** 0.5)


def _lossless(supply: float, resistance: float) -> Real:
    return clean_peak_voltage(supply=supply, clip_loss=0.0, impedance=resistance) ** 2 / (
        2.0 * resistance
    )


def _together(i: Inputs) -> Real:
    tree = Parallel(tuple(Leaf(name) for name in i))
    return float(fold_resistance(tree=tree, resistances=i))


def _powers(tree: Tree, resistances: Mapping[str, float], voltage: float) -> dict[str, float]:
    impedances: dict[str, Complex] = {name: complex(r) for name, r in resistances.items()}
    found = solve_tree(tree=tree, impedances=impedances, voltage=voltage).voltages
    return {name: float(np.abs(u) ** 2) / resistances[name] for name, u in found.items()}


def _share(tree: Tree, resistances: Mapping[str, float], name: str) -> float:
    powers = _powers(tree, resistances, 1.0)
    return 100.0 * powers[name] / sum(powers.values())


def _pair(i: Inputs) -> tuple[tuple[Tree, ...], dict[str, float]]:
    return tuple(Leaf(name) for name in i), dict(i)


def _first_in_series(i: Inputs) -> float:
    parts, resistances = _pair(i)
    return _share(Series(parts), resistances, "0")


def _first_in_parallel(i: Inputs) -> float:
    parts, resistances = _pair(i)
    return _share(Parallel(parts), resistances, "0")


TWO_OF_FOUR = (Leaf("a"), Leaf("b"))
VOLTS_OF_20_WATTS = 80.0**0.5


def _response(tree: Tree, values: Mapping[str, float], frequency: float) -> complex:
    """Voltage across "r" for one volt; names tell capacitors c, inductors l, resistors r."""
    f = np.array([frequency])
    impedances: dict[str, Complex] = {}
    for name, value in values.items():
        if name[0] == "c":
            impedances[name] = capacitor(capacitance=value, frequency=f)
        elif name[0] == "l":
            impedances[name] = inductor(inductance=value, frequency=f)
        else:
            impedances[name] = complex(value)
    return complex(
        solve_tree(tree=tree, impedances=impedances, voltage=1.0).voltages["r"].ravel()[0]
    )


def _values(**coefficients: float) -> dict[str, float]:
    """Parts at CORNER from coefficients k: C = k/(R f), L = k R/f."""
    f = float(CORNER[0])
    scaled = {n: k / (LOAD * f) if n[0] == "c" else k * LOAD / f for n, k in coefficients.items()}
    return scaled | {"r": LOAD}


def _first_order(ratio: float) -> tuple[complex, complex]:
    """High and low pass at a frequency over their corner."""
    one = 1.0 / (2.0 * np.pi)
    f = ratio * float(CORNER[0])
    high = _response(Series((Leaf("c"), Leaf("r"))), _values(c=one), f)
    return high, _response(Series((Leaf("l"), Leaf("r"))), _values(l=one), f)


def _second_order(q: float, ratio: float) -> tuple[complex, complex]:
    values = _values(c=q / (2.0 * np.pi), l=1.0 / (2.0 * np.pi * q))
    f = ratio * float(CORNER[0])
    return _response(HIGH_2, values, f), _response(LOW_2, values, f)


def _decibel_of(value: complex) -> Real:
    return amplitude_decibel(abs(value))


def _fourth_order(_: Inputs) -> Real:
    values = _values(c1=0.0844, l1=0.1000, c2=0.1688, l2=0.4501)
    return _decibel_of(_response(HIGH_4, values, float(CORNER[0])))


def _capacitor_corner(i: Inputs) -> float:
    tree = Series((Leaf("c"), Leaf("r")))
    values = {"c": i["C_uF"] * 1e-6, "r": i["R"]}
    return float(brentq(lambda f: abs(_response(tree, values, f)) ** 2 - 0.5, 10.0, 1e5, xtol=1e-6))


ELECTRICS: dict[str, Computation] = {
    "T4.AWG[0-9]*": lambda i: awg_diameter(i["AWG"]) / 25.4e-3,
    "T4.AWGA*": lambda i: awg_area(i["AWG"]) * 1e6,
    "T4.C5_*": lambda i: resistance_per_metre(area=i["A_mm2"] * 1e-6) * 1e3,
    "T4.C5t_*": lambda i: resistance_per_metre(area=i["A_mm2"] * 1e-6, kind="class-5-tinned") * 1e3,
    "T4.C5chk": lambda i: (
        resistance_per_metre(area=i["A_mm2"] * 1e-6) * (i["A_mm2"] * 1e-6) / COPPER_RESISTIVITY
    ),
    "T4.Ktx": lambda i: 1.0 / temperature_factor(temperature=273.15 + i["T_C"]),
    "T4.cu1": lambda _: COPPER_RESISTIVITY * 1e6,
    "T4.cu2": lambda _: 1e-6 / COPPER_RESISTIVITY,
    "T4.cu6": lambda i: clad_aluminium_factor(conductivity=i["IACS"]),
    "T4.ISO6722_*": lambda i: (
        resistance_per_metre(area=i["A_mm2"] * 1e-6, kind="road-vehicle") * 1e3
    ),
    "T4.W2.a": lambda i: _lead(i) * 1e3,
    "T4.W2.b": _lead_loss,
    "T4.W2.c": lambda i: 100.0 * from_decibel(-_lead_loss(i)),
    "T4.W3": _lead_loss,
    # the guide counts the whole way of the current, not the distance
    "T4.W4": lambda i: loop_resistance(ohm_per_metre=i["r"], length=i["L_m"] / 2) * i["I"],
    "T4.tcI2": lambda _: TRIPPING_RATIO,
    "T4.tc*.max": lambda i: slowest_opening(ratio=i["r"]),
    "T4.fzR*": lambda i: (next_fuse(least=i["I_A"]).resistance or 0.0) * 1e3,
    "T5.Z4": lambda i: lowest_impedance(rated=i["Zn"]),
    "T5.S3_*": _sensitivity_step,
    "T5.G*": lambda i: decibel(i["P_W"]),
    "T6.B_*": lambda i: _lossless(i["V"], i["R"]),
    "T6.B8": lambda i: _lossless(i["V"] / 2.0, i["R"]),
    "T6.B9": lambda i: _lossless(i["Vpp"] / 2.0, i["R"]),
    "T6.I3": lambda i: i["P"] / _lossless(14.4, 4.0),
    "T6.D0": lambda _: decibel(_lossless(12.0, 4.0) / _lossless(14.4, 4.0)),
    "T6.S[234]": _together,
    "T6.S5": _first_in_series,
    "T6.S6": _first_in_parallel,
    "T6.S7": lambda _: _first_in_series({"0": 3.0, "1": 3.0}),
    "T6.S10": lambda _: _powers(Series(TWO_OF_FOUR), {"a": 4.0, "b": 4.0}, VOLTS_OF_20_WATTS)["a"],
    "T6.S11": lambda _: sum(
        _powers(Parallel(TWO_OF_FOUR), {"a": 4.0, "b": 4.0}, VOLTS_OF_20_WATTS).values()
    ),
    "T7.R1": lambda i: _decibel_of(_first_order(i["x"])[0]),
    "T7.R2": lambda _: _decibel_of(sum(_first_order(0.7))),
    "T7.R4": lambda i: _decibel_of(np.subtract(*_second_order(0.5**0.5, i["x"]))),
    "T7.R5": lambda i: _decibel_of(_second_order(i["Q"], i["x"])[0]),
    "T7.R6": lambda _: _decibel_of(np.subtract(*_second_order(0.5, 1.3))),
    "T7.K12": _fourth_order,
    "T7.C_[0-9]*": _capacitor_corner,
    "T7.C_oct": lambda i: _decibel_of(_first_order(i["x"])[0]),
}
