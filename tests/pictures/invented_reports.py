"""Invented reports for the pictures: curves of the right kind of shape, nothing calculated."""

import numpy as np

from conewright.job.builds.states.value import Origin
from conewright.job.document.parts import AS_FOUND
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.stages.report.data import (
    Axis,
    Figure,
    Kind,
    Outcome,
    Report,
    Series,
    Severity,
    Verdict,
    figures,
    series,
)

FREQUENCY = np.geomspace(20.0, 20000.0, 241)
SPREAD = np.array([0.0, -1.3, -0.6, 0.1, 0.7, 1.2])[:, np.newaxis]
"""Draws in multiples of the spread, the central one first."""
SEATS = ("driver", "story-corner")


def some(
    subject: str,
    name: str,
    value: float | None,
    *,
    spread: float = 0.0,
    unit: str = "",
    kind: Kind = Kind.NUMBER,
    frequency_hz: float | None = None,
) -> Figure:
    draws = None if value is None else (value + spread * SPREAD[:, 0])[: None if spread else 1]
    outcome = Outcome(subject, name, draws, unit, kind, name.replace("_", " "), frequency_hz)
    (made,) = figures([outcome], [Origin.TYPICAL])
    return made


def difference(subject: str, name: str, dB: float, *, spread: float = 0.0) -> Figure:
    return some(subject, name, dB, spread=spread, unit="dB", kind=Kind.CHANGE)


# --- Feed ------------------------------------------------------------------------------------

LOADS = {
    "front-left": (2.7, 70.0),
    "front-right": (2.8, 72.0),
    "rear-left": (1.9, 95.0),
    "rear-right": (1.95, 97.0),
}
"""Lowest impedance [ohm] and resonance [Hz] of each channel as found."""


def impedance(least: float, resonance: float, *, frequency: FloatArray = FREQUENCY) -> ComplexArray:
    tuned = resonance * (1.0 + 0.06 * SPREAD)
    coil = 5e-5 * least * (2j * np.pi * frequency) ** 0.7
    peak = 2.2 * least / (1.0 + 3.0j * (frequency / tuned - tuned / frequency))
    return np.asarray(least * (1.0 + 0.03 * SPREAD) + coil + peak, dtype=np.complex128)


def feed_report(
    *,
    against: bool = True,
    rated: float | None = 4.0,
    gain: float = 2.0,
    frequency: FloatArray = FREQUENCY,
) -> Report:
    """With `against`, the build's rear channels have `gain` times the impedance of as found."""
    figures, curves = [], []
    for channel, (least, resonance) in LOADS.items():
        before = impedance(least, resonance, frequency=frequency)
        own = before * gain if against and channel.startswith("rear") else before
        curves.append(_ohms(channel, "impedance", frequency, own))
        if against:
            curves.append(_ohms(channel, "impedance_against", frequency, before))
        modulus = np.abs(own[0])
        lowest = int(np.argmin(modulus))
        figures.append(
            some(
                channel,
                "minimum_impedance",
                float(modulus[lowest]),
                spread=0.15,
                unit="ohm",
                frequency_hz=float(frequency[lowest]),
            )
        )
    if rated is not None:
        figures.append(some("head_unit", "minimum_load", rated, unit="ohm"))
    return Report(
        stage="feed",
        job="van",
        build="put-right" if against else AS_FOUND,
        against=AS_FOUND if against else None,
        answer="The rear channels load the radio too much.",
        figures=tuple(figures),
        series=tuple(curves),
    )


def _ohms(channel: str, name: str, frequency: FloatArray, values: ComplexArray) -> Series:
    return series(channel, name, frequency, values, quantity="impedance", unit="ohm")


# --- Hear ------------------------------------------------------------------------------------

SHARES = {
    "deep_bass": {"polarity": 6.1, "ring": 2.4, "wiring": 0.6, "driver": -1.3},
    "bass": {"polarity": 4.3, "ring": 1.2, "wiring": 0.8, "driver": -2.0},
    "upper_bass": {"polarity": 1.2, "ring": -0.7, "wiring": 0.5, "driver": 0.0},
    "voice": {"polarity": 0.3, "wiring": -0.6, "driver": 1.1, "ring": -0.04, "holes": -0.03},
    "treble": {"wiring": -2.8},
}
"""Where the change [dB] of each band comes from."""


def level(shift: float, corner: float, *, frequency: FloatArray = FREQUENCY) -> FloatArray:
    bumps = 3.0 * np.sin(np.log(frequency) * 5.0) + 2.0 * np.sin(np.log(frequency) * 13.0)
    cut = -10.0 * np.log10(1.0 + (frequency / corner) ** -4.0)
    return np.asarray(shift + 84.0 + bumps + cut + 1.6 * SPREAD, dtype=np.float64)


def limit(seat: str, *, frequency: FloatArray = FREQUENCY) -> Series:
    rules = [frequency < 48.0, frequency < 90.0, frequency < 118.0, frequency > 6000.0]
    words = np.select(rules, ["travel", "heat", "amps", "amps"], "volts")
    return Series(
        id=f"{seat}.limit",
        subject=seat,
        x=Axis(name="frequency", unit="Hz", values=tuple(frequency.tolist())),
        y=Axis(name="limit", unit="", values=tuple(words.tolist())),
    )


def hear_report(
    *,
    against: bool = True,
    seats: tuple[str, ...] = SEATS,
    frequency: FloatArray = FREQUENCY,
) -> Report:
    figures, curves = [], []
    for place, seat in enumerate(seats):
        now = level(2.0 - place, 55.0, frequency=frequency)
        before = level(-1.0 - place, 90.0, frequency=frequency)
        curves += [_decibels(seat, "level", frequency, now), limit(seat, frequency=frequency)]
        figures += [
            some(seat, "bass_corner", 62.0 - 4 * place, spread=5.0, unit="Hz"),
            some(seat, "max_clean_level", 101.0 - place, spread=1.5, unit="dB(A)"),
        ]
        if against:
            curves.append(_decibels(seat, "level_against", frequency, before))
            bass = 5.2 - 5.6 * place
            figures.append(difference(seat, "bass_change", bass, spread=0.8))
            figures += change_figures(seat)
    return Report(
        stage="hear",
        job="van",
        build="put-right-patched" if against else AS_FOUND,
        against=AS_FOUND if against else None,
        answer="More bass at the driver's seat.",
        figures=tuple(figures),
        series=tuple(curves),
    )


def change_figures(seat: str) -> list[Figure]:
    found = []
    for band, shares in SHARES.items():
        found.append(difference(seat, f"change_{band}", sum(shares.values()), spread=0.6))
        found += [
            difference(seat, f"change_{band}_from_{cause}", share)
            for cause, share in shares.items()
        ]
    return found


def _decibels(seat: str, name: str, frequency: FloatArray, values: FloatArray) -> Series:
    return series(seat, name, frequency, values, quantity="level", unit="dB")


# --- Fit -------------------------------------------------------------------------------------

NAMES = (
    *("driver_depth", "driver_cutout", "driver_outer", "front_height", "spacer", "enlarge"),
    *("rear_clearance", "front_clearance", "rear_odds", "front_odds"),
)
FRAMES = {
    "slim": (47.0, 118.0, 136.0, 9.0, 3.0, 0.0, 13.2, 8.0, 0.001, 0.002),
    "deep": (62.0, 146.0, 166.0, 12.0, 13.0, 24.0, 8.2, -5.0, 0.01, 1.0),
    "tight": (54.0, 118.0, 136.0, 10.0, 5.0, 0.0, 8.2, 5.0, 0.01, 0.12),
}
"""Figures in the order of NAMES, in mm and as chances."""
MOUNT = {"cutout": 122.0, "trim_gap": 24.0, "steel": 0.8, "ring": 1.0}
GLASS = (60.0, 58.0, 59.0)
PLAY = 0.8
"""What the rear clearance keeps for the glass [mm]."""


def fit_report(*frames: str, glass: tuple[float, ...] = GLASS) -> Report:
    """Each frame in two doors that mirror each other."""
    figures: list[Figure] = []
    for frame in frames:
        for side in ("fl", "fr"):
            figures += _fit_figures(f"{frame}-{side}", frame, glass)
    return Report(
        stage="fit", job="van", build="slim-fronts", answer="It fits.", figures=tuple(figures)
    )


def _fit_figures(place: str, frame: str, glass: tuple[float, ...]) -> list[Figure]:
    depths = {f"glass_depth_{i}": depth for i, depth in enumerate(glass, start=1)}
    values = dict(zip(NAMES, FRAMES[frame], strict=True)) | MOUNT | depths
    if glass:
        values["glass_depth"] = min(glass)
    return [
        some(
            place,
            name,
            value,
            unit="" if name.endswith("_odds") else "mm",
            spread=1.0 if name.endswith("_clearance") else 0.0,
        )
        for name, value in values.items()
    ]


# --- Compare ---------------------------------------------------------------------------------

BUILDS = {
    AS_FOUND: (1.9, Severity.STOP),
    "put-right": (3.0, Severity.GOOD),
    "put-right-patched": (3.0, Severity.GOOD),
    "slim-fronts": (3.1, Severity.NOTE),
    "larger-fronts": (1.9, Severity.WARN),
}
"""Lowest load [ohm] and worst verdict of each build."""


def compare_report(*, seats: tuple[str, ...] = SEATS) -> Report:
    figures, verdicts = [], []
    for place, (build, (load, severity)) in enumerate(BUILDS.items()):
        figures.append(some(build, "minimum_load", load, spread=0.15, unit="ohm"))
        figures.append(some(build, "rated_load", 4.0, unit="ohm"))
        verdicts.append(
            Verdict(id=f"{build}.worst", subject=build, severity=severity, text="As it is.")
        )
        for seat in seats:
            bass, overall = (2.1 * place - 1.5, 0.5 * place - 1.5) if place else (0.0, 0.0)
            figures += [
                difference(build, f"bass_change_{seat}", bass, spread=0.7),
                difference(build, f"overall_change_{seat}", overall, spread=0.3),
            ]
    return Report(
        stage="compare",
        job="van",
        build=AS_FOUND,
        answer="Five builds.",
        figures=tuple(figures),
        verdicts=tuple(verdicts),
    )
