"""Impedance with a recorder, or measured elsewhere: what a driver is by now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.drivers.coil import PowerLaw
from conewright.sound.measured.impedance_fit import (
    Fit,
    ImpedancePoints,
    LevelPoints,
    Outline,
    Width,
    fit_driver,
    outline,
)
from conewright.sound.measured.jig import (
    JigRatio,
    impedance_points,
    level_points,
    one_channel_level,
    ratio_from_responses,
    ratio_from_steps,
    series_resistance,
    sweep_frequencies,
)
from conewright.sound.measured.lock_in import TimedTone, locked_tones
from conewright.sound.measured.mains import without_mains
from conewright.sound.played.stimuli import Tone
from conewright.sound.recorded.analysis import Take
from conewright.sound.recorded.clock import Clock
from conewright.sound.recorded.curves import Curve
from conewright.sound.recorded.deconvolution import deconvolve
from conewright.stages.prove.draft import Draft
from conewright.stages.prove.mounted import mount_of
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

__all__ = ["impedance", "impedance_of_curve"]

BEFORE, AFTER = 0.2, 1.1
"""What of a response is looked at, ahead of its arrival and behind it [s]."""
HIGHEST = 10_000.0
"""Up to here a driver is fitted [Hz]."""
READ_WITHIN = 0.01
"""How well a curve from elsewhere is believed, relative standard error; assumed."""
METER_WITHIN = 0.01
"""How well an ohm-meter with its leads taken off reads, 95 %, relative; from memory."""
TO_80 = 1.2816 / 1.96
"""Half width that holds 80 % over the one that holds 95 %."""


def impedance(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell what recordings of a jig say of a driver: of two channels, or three of one channel."""
    channels = {len(take.recording.samples) for take in takes}
    if channels == {2}:
        points: ImpedancePoints | LevelPoints = _two_channels(draft, takes)
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
    error = np.full(curve.frequency.shape, READ_WITHIN)
    if curve.phase is None:
        _outlined(draft, curve.frequency, curve.magnitude, [curve.sha256], why="it has no phase")
        return
    z = curve.magnitude * np.exp(1j * curve.phase)
    _fitted(draft, ImpedancePoints(curve.frequency, z, error), [curve.sha256])


def _two_channels(draft: Draft, takes: Sequence[Take]) -> ImpedancePoints:
    ratios = [_ratio(take) for take in takes]
    driver, *others = ratios
    through = others[0] if others else None
    if through is None:
        draft.verdict(
            "through",
            Severity.NOTE,
            "Both inputs were not compared on one point: a mismatch of 3 % would be 4 % of 3.4 "
            "ohm. A second recording with both on one point takes it out.",
        )
    return impedance_points(
        driver,
        resistor=draft.details.resistor,
        through=through,
        leads=others[1] if len(others) > 1 else None,
        input_resistance=draft.details.input,
    )


def _ratio(take: Take) -> JigRatio:
    clock, recording = _clock(take), take.recording
    samples = _quiet(take)
    assert take.stimulus is not None
    if take.stimulus.cores:
        (part,) = take.stimulus.cores
        before, across = (
            deconvolve(each, rate=recording.rate, clock=clock, part=part).early(
                before=BEFORE, after=AFTER
            )
            for each in samples
        )
        frequency = sweep_frequencies(high=min(20e3, 0.46 * recording.rate))
        return ratio_from_responses(
            before, across, rate=recording.rate, arrival=BEFORE, frequency=frequency
        )
    tones = _tones(take)
    found = locked_tones(samples, rate=recording.rate, clock=clock, tones=tones)
    return ratio_from_steps(found, frequency=np.array([tone.frequency for tone in tones]))


def _tones(take: Take) -> list[TimedTone]:
    assert take.stimulus is not None
    return [
        TimedTone(part.wave.frequency, part.seconds[0], part.seconds[1] - part.seconds[0])
        for part in take.stimulus.tones
        if isinstance(part.wave, Tone) and part.wave.frequency < 0.46 * take.recording.rate
    ]


def _one_channel(draft: Draft, takes: Sequence[Take]) -> LevelPoints:
    opened, known, driver = (_spectrum(take) for take in takes)
    frequency = opened[0]
    level = one_channel_level(driver[1], opened=opened[1])
    series = series_resistance(
        one_channel_level(known[1], opened=opened[1]), known=draft.details.resistor
    )
    draft.figure("series_resistance", series, unit="ohm", label="series resistance of the jig")
    return level_points(frequency, level, series=series)


def _spectrum(take: Take) -> tuple[FloatArray, ComplexArray]:
    clock, samples = _clock(take), _quiet(take)
    assert take.stimulus is not None
    rate = take.recording.rate
    if take.stimulus.cores:
        (part,) = take.stimulus.cores
        impulse = deconvolve(samples[0], rate=rate, clock=clock, part=part)
        at = sweep_frequencies(high=min(20e3, 0.46 * rate))
        spectrum = impulse.linear()
        return at, np.interp(at, impulse.frequency, np.abs(spectrum)).astype(complex)
    tones = _tones(take)
    found = locked_tones(samples, rate=rate, clock=clock, tones=tones)
    return np.array([tone.frequency for tone in tones]), found.amplitude[0]


def _quiet(take: Take) -> FloatArray:
    """Return the samples of all channels without the hum of the mains."""
    assert take.stimulus is not None
    recording, clock = take.recording, _clock(take)
    spans = sorted(part.seconds for part in take.stimulus.parts)
    ends = [(end + 0.05, begin - 0.02) for (_, end), (begin, _) in pairwise(spans)]
    silences = [
        (clock.index(begin, rate=recording.rate), clock.index(end, rate=recording.rate))
        for begin, end in [(max(0.0, -clock.start) + 0.02, spans[0][0] - 0.02), *ends]
        if end - begin > 0.1
    ]
    count = recording.samples.shape[-1]
    held = [(max(first, 0), min(last, count)) for first, last in silences]
    try:
        return without_mains(
            recording.samples,
            rate=recording.rate,
            silences=[(a, b) for a, b in held if b > a],
        )[0]
    except OutOfRangeError:
        # Too little silence to know a hum by: it stays in.
        return recording.samples


def _clock(take: Take) -> Clock:
    assert take.clock is not None
    return take.clock.clock


# --- Fitting ------------------------------------------------------------------------------------


def _fitted(draft: Draft, points: ImpedancePoints | LevelPoints, shas: Sequence[str]) -> None:
    """Tell the figures of the driver that meets a curve best, in free air; else its outline."""
    kept = _below(points, HIGHEST)
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


def _below(points: ImpedancePoints | LevelPoints, highest: float) -> ImpedancePoints | LevelPoints:
    low = points.frequency <= highest
    if isinstance(points, ImpedancePoints):
        return replace(
            points,
            frequency=points.frequency[low],
            impedance=points.impedance[low],
            error=points.error[low],
        )
    return replace(
        points,
        frequency=points.frequency[low],
        level=points.level[low],
        error=points.error[low],
    )


def _modulus(points: ImpedancePoints | LevelPoints) -> FloatArray:
    """Return |Z| [ohm]; of a level alone as if it were all resistance, which a peak nearly is."""
    if isinstance(points, ImpedancePoints):
        return np.abs(points.impedance)
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
    figures = [
        ("re", fit.re, "ohm", "coil's resistance"),
        ("fs", fit.fs, "Hz", "resonance in free air"),
        ("qms", fit.qms, "", "mechanical quality"),
        ("qes", fit.qes, "", "electrical quality"),
    ]
    for name, each, unit, words in figures:
        half = TO_80 * each.width
        draft.figure(
            name, each.value, unit=unit, label=words, ends=(each.value - half, each.value + half)
        )
    peak = fit.re.value * (1.0 + fit.qms.value / fit.qes.value)
    draft.figure("peak_impedance", peak, unit="ohm", label="impedance at resonance")
    coil = fit.coil
    if isinstance(coil, PowerLaw):
        draft.figure("coil_k", float(np.ravel(coil.k)[0]), unit="ohm s^n", label="coil K")
        draft.figure("coil_n", float(np.ravel(coil.n)[0]), unit="", label="coil n")
    else:
        draft.figure("le", float(np.ravel(coil.le)[0]) * 1e3, unit="mH", label="inductance")
    draft.verdict(
        "driver",
        Severity.NOTE,
        "For the driver's sheet: "
        + ", ".join(
            f"{name} {number(each.value, unit)} ± {number(each.width, unit)}".replace("  ", " ")
            for name, each, unit, _ in figures
        )
        + ".",
        "re",
        "fs",
        "qms",
        "qes",
    )


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
