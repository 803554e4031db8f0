"""Bands, weightings, listening times and cabins: how each reference value is computed."""

import numpy as np

from conewright.physics.acoustics.cabin import chamber_impedance, room_mode_frequency
from conewright.physics.basics.bands import band_centres, band_edges
from conewright.physics.basics.levels import a_weighting, level, niosh_time

from .checks import Computation, Inputs, air_of


def _exact_centre(nominal: float) -> float:
    centres = band_centres()
    return float(centres[np.argmin(np.abs(np.log(centres / nominal)))])


def _edge(side: int) -> float:
    """Edge of the band at 1 kHz: 0 lower, 1 upper."""
    return float(band_edges()[np.argmin(np.abs(band_centres() - 1000.0)) + side])


def _axial(i: Inputs) -> float:
    length = i["L_m"] if "L_m" in i else i["L"]
    found = room_mode_frequency(air=air_of(speed=i["c"]), length=length, order=int(i.get("n", 1)))
    return float(found)


def _cavity_pressure(i: Inputs) -> float:
    f = np.array([5.0])
    impedance = chamber_impedance(
        air=air_of(i["rho"], i["c"]),
        cabin_volume=i["V_m3"],
        leak_resistance=np.inf,
        leak_mass=0.0,
        frequency=f,
    )
    velocity = 2j * np.pi * f * i["x_mm"] * 1e-3 * i["Sd_cm2"] * 1e-4
    return float(np.abs(impedance * velocity)[0])


SOUND: dict[str, Computation] = {
    "T9.A*": lambda i: a_weighting(_exact_centre(i["f_nominal"])),
    "T9.ex*": lambda i: _exact_centre(i["nominal"]),
    "T9.lo": lambda _: _edge(0),
    "T9.hi": lambda _: _edge(1),
    "T10.N*": lambda i: niosh_time(i["L_dBA"]) / 60.0,
    "T11.M[1235]": _axial,
    "T11.P1": _cavity_pressure,
    "T11.P2": lambda i: level(_cavity_pressure(i)),
}
