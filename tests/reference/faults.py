"""Faults of a channel: how each reference value is computed, from a written job to the figure."""

from functools import partial
from math import pi

import numpy as np

from conewright.physics.acoustics.openings import slit_admittance
from conewright.physics.basics.arrays import Real

from .broken import Answer, solve_broken
from .checks import Computation, Inputs, air_of

# Circuit and column of a deck; a row of each states its size at one frequency.
SIZES = (
    ("open_woofer", "source"),
    ("open_tweeter", "woofer.velocity"),
    ("open_in_series", "left.drive"),
    ("shorted_turns", "source"),
    ("shorted_turns", "woofer.velocity"),
    ("shorted_turns_in_series", "right.drive"),
    ("corroded_joint", "woofer.drive"),
    ("dried_capacitor", "tweeter.drive"),
    ("shorted_pair", "source"),
    ("torn_surround", "woofer.velocity"),
    ("torn_surround", "woofer.grille"),
    ("torn_surround_without_ring", "woofer.edge"),
    ("loose_mount", "woofer.grille"),
    ("loose_mount_without_ring", "source"),
)


def _size(circuit: str, column: str, i: Inputs) -> Real:
    return float(abs(_at(circuit, i).columns[column][0]))


def _at(circuit: str, i: Inputs) -> Answer:
    return solve_broken(circuit, np.array([i["f_Hz"]]))


def _plug(circuit: str) -> Real:
    return float(solve_broken(circuit, np.array([1000.0])).channel.plug_resistance[0, 0])


def _capacitor(i: Inputs) -> Real:
    """Voltage over the dried capacitor, by the current through it."""
    answer = _at("dried_capacitor", i)
    (drive,) = answer.channel.part_drives.values()
    return float(abs(drive[0, 0] / answer.places["tweeter"].current[0, 0]))


def _turned(i: Inputs) -> Real:
    sound, found = (
        _at(name, i).columns["woofer.velocity"][0]
        for name in ("door_and_tweeter", "found_reversed")
    )
    return float(abs(np.angle(found / sound, deg=True)))


def _pull(i: Inputs) -> Real:
    """Force on the cone over the current, both of the loaded driver: Bl, from the moving side."""
    answer = _at("shorted_turns", i)
    place = answer.places["woofer"]
    velocity = answer.columns["woofer.velocity"][0]
    coil = i["Re"] * i["turns"] + _coil(i)
    return float(abs((place.drive[0, 0] - coil * place.current[0, 0]) / velocity))


def _coil(i: Inputs) -> complex:
    """Power law of the size of Le at 1 kHz; of the turns that are left, their square."""
    return complex(2000 * pi * i["Le_mH"] * 1e-3 * (1j * i["f_Hz"] / 1000) ** i["n"]) * (
        i["turns"] ** 2
    )


def _slit(i: Inputs) -> complex:
    admittance = slit_admittance(
        area=i["h_mm"] * 1e-3 * i["l_m"],
        length=i["l_m"],
        depth=i["t_mm"] * 1e-3,
        air=air_of(),
        frequency=np.array([i["f_Hz"]]),
    )
    return complex(1.0 / admittance[0])


FAULTS: dict[str, Computation] = {
    **{f"T12.{circuit}.{column}": partial(_size, circuit, column) for circuit, column in SIZES},
    "T12.dc.turns": lambda _: _plug("shorted_turns"),
    "T12.dc.joint": lambda _: _plug("corroded_joint"),
    "T12.dc.touch": lambda _: _plug("shorted_pair"),
    "T12.capacitor": _capacitor,
    "T12.reversed": _turned,
    "T12.pull": _pull,
    "T12.slit.R": lambda i: _slit(i).real,
    "T12.slit.M": lambda i: _slit(i).imag / (2.0 * pi * i["f_Hz"]),
    "T12.slit.wide": lambda i: _slit(i).imag / (2.0 * pi * i["f_Hz"]),
}
