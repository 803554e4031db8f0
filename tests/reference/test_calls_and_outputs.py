"""Reference values of radio outputs, rattles and calls against the functions that compute them."""

from collections.abc import Mapping
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
import pytest

from conewright.physics.basics.levels import amplitude_decibel
from conewright.sound.measured import bursts, clip, legs, speech

from .checks import Check, Computation, Inputs, read_checks

CHECKS = read_checks(Path(__file__).with_name("calls_and_outputs.csv"))


def _third(i: Inputs) -> float:
    first, third = clip.ceiling_harmonics(over=i["over_db"])
    return float(amplitude_decibel(np.abs(third / first)))


def _lock(i: Inputs) -> float:
    phase = np.linspace(0.0, 100.0 * np.pi, 100_000, endpoint=False)
    burst = np.where(np.mod(phase, 2 * np.pi) < 2 * np.pi * i["duty"], 1.0, 0.0)
    return bursts.lock(burst, phase=phase)


TABLE: Mapping[str, Computation] = {
    "P6.H*": _third,
    "P6.O40": lambda _: clip.overdrive(h3=-40.0),
    "P6.T40": lambda _: 100.0 * clip.ceiling_distortion(over=clip.overdrive(h3=-40.0)),
    "P6.D1": lambda i: legs.divider_ratio(
        top=i["top"], bottom=i["bottom"], input_resistance=i["Rin"]
    ),
    "P6.D3": lambda i: 1e3 * legs.earthed_current(leg=i["leg"], top=i["top"], bottom=i["bottom"]),
    "P6.R1": lambda i: clip.resistance_from_volts(
        unloaded=i["open"], loaded=i["loaded"], load=i["load"]
    ),
    "P6.C1": lambda i: legs.coupling_left(corner=i["fc"], seconds=i["t_ms"] * 1e-3),
    "P7.G1": lambda i: speech.expected_gain(before=i["r0"], after=i["r1"]),
    "P7.S1": lambda i: speech.signal_to_noise(active=i["active"], pause=i["pause"]),
    "P7.L1": _lock,
}


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.id)
def test_reference_value(check: Check) -> None:
    """Closed forms, as the row's source says; tolerance of the row."""
    (compute,) = [compute for name, compute in TABLE.items() if fnmatchcase(check.id, name)]
    found = float(np.asarray(compute(check.inputs)))
    assert found == pytest.approx(check.expected, rel=0.0, abs=check.tolerance), check.quantity
    assert abs(check.expected) > check.tolerance


def test_every_function_computes_a_row() -> None:
    assert all(any(fnmatchcase(check.id, name) for check in CHECKS) for name in TABLE)
