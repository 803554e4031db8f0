"""Drivers measured twice: with a mass on the cone, on a box, beside a twin; and the jig itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from conewright.errors import BadInputError
from conewright.phrases import listed
from conewright.physics.basics.air import Air
from conewright.sound.measured.free_air import (
    TwinFlags,
    mass_from_added,
    twin_difference,
    volume_from_box,
    volume_from_mass,
)
from conewright.sound.measured.impedance_fit import Fit, Width, fit_driver
from conewright.sound.measured.impedance_points import outline, points_up_to
from conewright.sound.measured.jig import require_known_resistor
from conewright.sound.recorded.analysis import Take
from conewright.stages.find.faults.effects import READING, size
from conewright.stages.find.odds.evidence import SWEEP
from conewright.stages.prove.draft import Draft
from conewright.stages.prove.impedances import HIGHEST, jig_points
from conewright.stages.report.data import Kind, Severity
from conewright.stages.report.words import number

__all__ = ["added_mass", "known_resistor", "known_volume", "twins"]

WEIGHED = 0.02
"""How well a mass or a volume is known, 95 %, relative; the least that is asked for."""
ROOM = Air(temperature=293.15)


def added_mass(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell the moving mass from the resonance without and with a mass on the cone."""
    mass = _given(draft.details.mass, "mass", "10 g")
    alone, loaded = (_fit(draft, take) for take in takes)
    found = mass_from_added(fs=alone.fs, loaded=loaded.fs, added=Width(mass, WEIGHED * mass))
    draft.within("mms", found, scale=1e3, unit="g", label="moving mass")
    draft.sheet_value("mms", found, dimension="mass", unit="g")
    draft.sentences.append(f"The cone moves {number(1e3 * found.value, 'g')}.")
    area = draft.details.area
    if area is not None:
        volume = volume_from_mass(fs=alone.fs, mass=found, sd=Width(area, WEIGHED * area), air=ROOM)
        draft.within("vas", volume, scale=1e3, unit="L", label="air as stiff as its suspension")


def known_volume(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell the air as stiff as the suspension, from the driver on a tight box."""
    volume = _given(draft.details.volume, "volume", "12 L")
    alone, boxed = (_fit(draft, take) for take in takes)
    found = volume_from_box(
        fs=alone.fs,
        qes=alone.qes,
        boxed=boxed.fs,
        boxed_qes=boxed.qes,
        box=Width(volume, WEIGHED * volume),
    )
    draft.within("vas", found, scale=1e3, unit="L", label="air as stiff as its suspension")
    draft.sentences.append(
        f"Its suspension is as stiff as {number(1e3 * found.value, 'L')} of air."
    )


def twins(draft: Draft, takes: Sequence[Take]) -> None:
    """Compare the drivers of two sides by resonance, peak and coil."""
    curves = [jig_points(draft, [take]) for take in takes]
    left, right = (
        outline(frequency=each.frequency, modulus=np.abs(each.impedance)) for each in curves
    )
    flags = {
        name: size(SWEEP, READING, f"flag-{name}").value
        for name in ("resonance", "peak", "resistance")
    }
    found = twin_difference(left, right, flags=TwinFlags(**flags))
    for name, words in (
        ("resonance", "resonance"),
        ("peak", "impedance there"),
        ("resistance", "coil"),
    ):
        draft.figure(
            f"{name}_over_twin",
            100.0 * float(np.expm1(getattr(found, name))),
            unit="%",
            kind=Kind.CHANGE,
            label=f"{words}, left against right",
        )
    if not found.flagged:
        draft.sentences.append("Left and right are alike.")
        draft.verdict("twins", Severity.GOOD, "Left and right differ no more than twins do.")
        return
    draft.sentences.append(f"Left and right differ in {listed(found.flagged)}.")
    draft.verdict(
        "twins",
        Severity.WARN,
        f"Left and right differ more than twins do in {listed(found.flagged)}.",
        *(f"{name}_over_twin" for name in found.flagged),
    )


def known_resistor(draft: Draft, takes: Sequence[Take]) -> None:
    """Say how well the jig reads a known resistor; raises OutOfRangeError beyond 1 %."""
    points = jig_points(draft, takes)
    off = require_known_resistor(points.frequency, points.impedance, nominal=draft.details.resistor)
    draft.figure("resistor_off", 100.0 * off, unit="%", label="most it reads beside the resistor")
    draft.sentences.append(
        f"The jig reads {number(draft.details.resistor, 'ohm')} within {number(100.0 * off)} %."
    )


def _given(value: float | None, name: str, example: str) -> float:
    if value is None:
        raise BadInputError(f"{name}: found none; this test wants it: {name}={example}")
    return value


def _fit(draft: Draft, take: Take) -> Fit:
    return fit_driver(points_up_to(jig_points(draft, [take]), top=HIGHEST))
