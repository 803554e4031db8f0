"""Impedance with a recorder, or measured elsewhere: what a driver is by now."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.drivers.coil import PowerLaw
from conewright.sound.measured.curves import Curve
from conewright.sound.measured.impedance_fit import Fit, Width, fit_driver
from conewright.sound.measured.impedance_points import (
    ImpedancePoints,
    LevelPoints,
    ModulusPoints,
    Outline,
    Points,
    outline,
    points_up_to,
)
from conewright.sound.measured.jig import (
    JigRatio,
    curve_points,
    impedance_points,
    level_points,
    one_channel_level,
    ratio_from_steps,
    ratio_from_sweep,
    series_resistance,
    sweep_frequencies,
)
from conewright.sound.measured.lock_in import locked_tones, silences
from conewright.sound.measured.mains import without_mains
from conewright.sound.played.stimuli import Part, Tone
from conewright.sound.recorded.analysis import Take
from conewright.sound.recorded.deconvolution import HIGHEST_SHARE, deconvolve
from conewright.stages.prove.draft import Draft
from conewright.stages.prove.mounted import mount_of
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

__all__ = ["HIGHEST", "impedance", "impedance_of_curve", "jig_points"]

HIGHEST = 10_000.0
"""Up to here a driver is fitted [Hz]."""
METER_WITHIN = 0.01
"""How well an ohm-meter with its leads taken off reads, 95 %, relative; from memory."""


def impedance(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell what recordings of a jig say of a driver: of two channels, or three of one channel."""
    channels = {len(take.recording.samples) for take in takes}
    if channels == {2}:
        points: Points = _two_channels(draft, takes)
    elif channels == {1} and len(takes) == 3:
        points = _one_channel(draft, takes)
    else:
        raise BadInputError(
            "impedance-sweep: found recordings of "
            f"{' and '.join(map(str, sorted(channels)))} channels; two channels (before the "
            "resistor, across the driver), or three recordings of one: open, known resistor, driver"
        )
    shas = [take.recording.sha256 for take in takes]
    _fitted(draft, points, shas)


def impedance_of_curve(draft: Draft, curve: Curve) -> None:
    """Tell what a curve that was measured elsewhere says of a driver."""
    _fitted(draft, curve_points(curve), [curve.sha256])


def jig_points(draft: Draft, takes: Sequence[Take]) -> ImpedancePoints:
    """Return what a jig of two channels measured: driver, both inputs on one point, leads joined.

    Raises:
        BadInputError: a recording of other than two channels.

    """
    driver, *others = [_ratio(take) for take in takes]
    return impedance_points(
        driver,
        resistor=draft.details.resistor,
        through=others[0] if others else None,
        leads=others[1] if len(others) > 1 else None,
        input_resistance=draft.details.input,
    )


def _two_channels(draft: Draft, takes: Sequence[Take]) -> ImpedancePoints:
    if len(takes) == 1:
        draft.verdict(
            "through",
            Severity.NOTE,
            "Both inputs were not compared on one point: a mismatch of 3 % would be 4 % of 3.4 "
            "ohm. A second recording with both on one point takes it out.",
        )
    return jig_points(draft, takes)


def _ratio(take: Take) -> JigRatio:
    assert take.stimulus is not None
    assert take.clock is not None
    recording = take.recording
    ratio = ratio_from_sweep if take.stimulus.cores else ratio_from_steps
    return ratio(
        recording.samples,
        rate=recording.rate,
        clock=take.clock.clock,
        stimulus=take.stimulus,
    )


def _one_channel(draft: Draft, takes: Sequence[Take]) -> LevelPoints:
    (frequency, opened), (_, known), (_, driver) = [_spectrum(take) for take in takes]
    level = one_channel_level(driver, opened=opened)
    series = series_resistance(
        one_channel_level(known, opened=opened), known=draft.details.resistor
    )
    draft.figure("series_resistance", series, unit="ohm", label="series resistance of the jig")
    return level_points(frequency, level, series=series)


def _spectrum(take: Take) -> tuple[FloatArray, ComplexArray]:
    """Return what the one channel heard, the hum of the mains taken out."""
    assert take.stimulus is not None
    assert take.clock is not None
    recording, clock = take.recording, take.clock.clock
    rate, stimulus = recording.rate, take.stimulus
    quiet = silences(stimulus, rate=rate, clock=clock, count=recording.samples.shape[-1])
    samples, _ = without_mains(recording.samples, rate=rate, silences=quiet)
    if stimulus.cores:
        impulse = deconvolve(samples[0], rate=rate, clock=clock, part=stimulus.cores[0])
        at = sweep_frequencies(high=min(20e3, 0.4 * rate))
        return at, np.interp(at, impulse.frequency, np.abs(impulse.linear())).astype(complex)
    parts = [part for part in stimulus.tones if _below_half(part, rate)]
    found = locked_tones(samples, rate=rate, clock=clock, parts=parts)
    return found.frequency, found.amplitude[0]


def _below_half(part: Part, rate: float) -> bool:
    return isinstance(part.wave, Tone) and part.wave.frequency < HIGHEST_SHARE * rate


# --- Fitting ------------------------------------------------------------------------------------


def _fitted(draft: Draft, points: Points, shas: Sequence[str]) -> None:
    """Tell the figures of the driver that meets a curve best, in free air; else its outline."""
    kept = points_up_to(points, top=HIGHEST)
    modulus = _modulus(points)
    draft.curve("impedance", points.frequency, modulus, quantity="impedance", unit="ohm")
    meter = draft.details.re
    metered = None if meter is None else Width(meter, METER_WITHIN * meter)
    mount = mount_of(draft.build, draft.at, kept.frequency)
    try:
        fit = fit_driver(kept, mount=mount, meter=metered)
    except OutOfRangeError as error:
        _outlined(draft, points.frequency, modulus, shas, why=str(error))
        return
    _told(draft, fit)
    found = outline(frequency=points.frequency, modulus=modulus)
    _reading(draft, found, shas, coil=fit.re.value)
    taken_off = "" if mount is None else ", the door taken off"
    draft.sentences.append(
        f"In free air{taken_off}: resonance {number(fit.fs.value, 'Hz')}, Qms "
        f"{fit.qms.value:.2f}, Qes {fit.qes.value:.2f}, coil {number(fit.re.value, 'ohm')}."
    )


def _modulus(points: Points) -> FloatArray:
    """Return |Z| [ohm]; of a level alone as if it were all resistance, which a peak nearly is."""
    if isinstance(points, ImpedancePoints):
        return np.abs(points.impedance)
    if isinstance(points, ModulusPoints):
        return points.modulus
    level = np.minimum(points.level, 0.999)
    return np.asarray(points.series * level / (1.0 - level))


def _outlined(
    draft: Draft, frequency: FloatArray, modulus: FloatArray, shas: Sequence[str], *, why: str
) -> None:
    found = outline(frequency=frequency, modulus=modulus)
    for name, value, unit, words in (
        ("resonance", found.resonance, "Hz", "resonance as mounted"),
        ("peak_impedance", found.peak, "ohm", "impedance there"),
        ("re", found.resistance, "ohm", "lowest impedance, near the coil's resistance"),
    ):
        draft.figure(name, value, unit=unit, label=words)
    _reading(draft, found, shas, coil=found.resistance)
    draft.sentences.append(
        f"Resonance {number(found.resonance, 'Hz')}, peak {number(found.peak, 'ohm')}, lowest "
        f"{number(found.resistance, 'ohm')}."
    )
    draft.verdict("outline", Severity.NOTE, f"No more than these three is told: {why}.")


def _told(draft: Draft, fit: Fit) -> None:
    for name, each, dimension, unit, words in (
        ("re", fit.re, "resistance", "ohm", "coil's resistance"),
        ("fs", fit.fs, "frequency", "Hz", "resonance in free air"),
        ("qms", fit.qms, "", "", "mechanical quality"),
        ("qes", fit.qes, "", "", "electrical quality"),
    ):
        draft.within(name, each, unit=unit, label=words)
        draft.sheet_value(name, each, dimension=dimension, unit=unit)
    peak = fit.re.value * (1.0 + fit.qms.value / fit.qes.value)
    draft.figure("peak_impedance", peak, unit="ohm", label="impedance at resonance")
    coil = fit.coil
    if isinstance(coil, PowerLaw):
        draft.figure("coil_k", float(np.ravel(coil.k)[0]), unit="ohm s^n", label="coil K")
        draft.figure("coil_n", float(np.ravel(coil.n)[0]), unit="", label="coil n")
    else:
        draft.figure("le", float(np.ravel(coil.le)[0]) * 1e3, unit="mH", label="inductance")


def _reading(draft: Draft, found: Outline, shas: Sequence[str], *, coil: float) -> None:
    """Write the reading that find takes; of a driver on the bench there is none."""
    if draft.build is not None and draft.at in {each.id for each in draft.build.job.drivers}:
        return
    draft.reading(
        "impedance-sweep",
        {
            "resonance": f"{found.resonance:.1f} Hz",
            "peak": f"{found.peak:.2f} ohm",
            "coil": f"{coil:.3f} ohm",
        },
        shas,
    )
