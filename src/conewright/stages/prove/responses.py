"""Responses to a sweep: levels in third octaves at a seat, and a cone's own distortion."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from conewright.phrases import listed
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.bands import band_centres
from conewright.sound.recorded.analysis import Take
from conewright.sound.recorded.takes import mean_of_takes
from conewright.sound.recorded.third_octaves import (
    LEAST_HARMONIC,
    LEAST_SNR,
    BandLevels,
    clear_of_noise,
    harmonic_levels,
)
from conewright.stages.hear.listening import third_octaves
from conewright.stages.prove.draft import Draft
from conewright.stages.report.data import Kind, Severity
from conewright.stages.report.words import number

__all__ = ["distortion", "responses", "treble"]

SIDES = ("left", "right")
JUDGED = (80.0, 8000.0)
"""Where left and right are compared [Hz]."""
ALIKE = 3.0
"""Left and right may differ by so much in a band [dB]."""

TREBLE, MIDDLE = (7000.0, 13_000.0), (900.0, 4100.0)
"""Bands of the treble tone, and those that tell whether anything plays [Hz]."""
CLEAR, HEARD = 15.0, 25.0
"""SNR from which treble is there, and of the middle from which its absence counts [dB]."""
SURE = 20.0
"""Weight of what a recording of the treble tells over the other answer; assumed."""

Sides = Mapping[str, Sequence[tuple[str, BandLevels]]]
"""Levels of each side by the names of the takes they are of."""


def responses(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell the level of each third octave at a seat, of one side or both, over all takes."""
    sides = _sides(takes)
    means = {}
    for side, found in sides.items():
        mean = mean_of_takes({name: levels.level for name, levels in found})
        snr = np.min([levels.snr for _, levels in found], axis=0)
        widened = np.max([levels.widened for _, levels in found], axis=0)
        means[side] = (mean.level, np.nan_to_num(snr, nan=-np.inf))
        _told(draft, side, mean.level, mean.half_width + widened, snr)
        if mean.left_out:
            draft.verdict(
                "takes",
                Severity.NOTE,
                f"Left out, as it differs from the others by more than 3 dB: "
                f"{listed(mean.left_out)}.",
            )
    if all(side in means for side in SIDES):
        _difference(draft, means)
    trusted = _trusted([levels for found in sides.values() for _, levels in found])
    if trusted is None:
        draft.sentences.append("No band stands clear of the noise.")
        return
    low, high = trusted
    draft.figure("lowest_trusted", low, unit="Hz", label="lowest band that may be judged")
    draft.figure("highest_trusted", high, unit="Hz", label="highest band that may be judged")
    count = len(takes)
    of = "one take" if count == 1 else f"{count} takes"
    draft.sentences.append(
        f"Levels from {number(low, 'Hz')} to {number(high, 'Hz')} at {draft.at}, of {of}."
    )


def _sides(takes: Sequence[Take]) -> Sides:
    """Return the levels of each side; what one sound plays on one side or both is `level`."""
    found: dict[str, list[tuple[str, BandLevels]]] = {}
    for number_, take in enumerate(takes, start=1):
        both = len(take.levels) == 2
        for side, levels in zip(SIDES if both else ("level",), take.levels, strict=True):
            found.setdefault(side, []).append((f"{take.recording.name} ({number_})", levels))
    return found


def _told(
    draft: Draft, side: str, level: FloatArray, half_width: FloatArray, snr: FloatArray
) -> None:
    known = clear_of_noise(snr)
    shown = np.where(known, level, np.nan)
    draft.curve(
        side if side == "level" else f"{side}_level",
        band_centres(),
        shown,
        quantity="level, any scale",
        unit="dB",
        half_width=half_width if np.isfinite(half_width[known]).any() else None,
    )
    for (name, words, centre), value in zip(third_octaves(), snr, strict=True):
        draft.figure(
            f"snr_{name}" if side == "level" else f"{side}_snr_{name}",
            float(value),
            unit="dB",
            label=f"level over noise at {words}" + ("" if side == "level" else f", {side}"),
            frequency=centre,
        )


def _difference(draft: Draft, means: Mapping[str, tuple[FloatArray, FloatArray]]) -> None:
    """Tell how the right side differs from the left, where both stand clear of the noise."""
    (left, left_snr), (right, right_snr) = (means[side] for side in SIDES)
    clear = np.minimum(left_snr, right_snr) >= LEAST_SNR
    centres, off = band_centres(), []
    for (name, words, centre), apart, known in zip(
        third_octaves(), right - left, clear, strict=True
    ):
        draft.figure(
            f"side_difference_{name}",
            float(apart) if known else None,
            unit="dB",
            kind=Kind.CHANGE,
            label=f"right against left at {words}",
            frequency=centre,
            text=None if known else "noise hides it",
        )
        if known and JUDGED[0] * 0.9 < centre < JUDGED[1] * 1.1 and abs(apart) > ALIKE:
            off.append(words)
    draft.curve(
        "side_difference",
        centres,
        np.where(clear, right - left, np.nan),
        quantity="right against left",
        unit="dB",
    )
    if not off:
        draft.verdict("sides", Severity.GOOD, "Left and right are within 3 dB, 80 Hz to 8 kHz.")
        return
    draft.verdict(
        "sides",
        Severity.NOTE,
        f"Left and right differ by more than 3 dB at {listed(off)}. Beside the middle of the "
        "vehicle that is the place; judge it from the middle.",
    )


def _trusted(levels: Sequence[BandLevels]) -> tuple[float, float] | None:
    ranges = [each.range for each in levels]
    known = [each for each in ranges if each is not None]
    return (
        (max(a for a, _ in known), min(b for _, b in known)) if len(known) == len(ranges) else None
    )


def distortion(draft: Draft, take: Take, *, subject: str) -> None:
    """Tell the harmonics of a cone close to the phone, by the tone that made them."""
    for order in (2, 3, 4, 5):
        level = harmonic_levels(take.impulses[0], order=order)
        usable = take.levels[0].trusted & np.isfinite(level)
        for (name, words, centre), value, known in zip(third_octaves(), level, usable, strict=True):
            if not known:
                continue
            low = value < LEAST_HARMONIC
            draft.figure(
                f"distortion_{order}_{name}",
                None if low else float(value),
                unit="dB",
                label=f"harmonic {order} of {words} over the tone",
                subject=subject,
                frequency=centre,
                text="less than −50 dB" if low else None,
            )
        draft.curve(
            f"distortion_{order}",
            band_centres(),
            np.where(usable, np.maximum(level, LEAST_HARMONIC), np.nan),
            quantity=f"harmonic {order} over the tone",
            unit="dB",
            subject=subject,
        )


def treble(draft: Draft, take: Take, *, at: str) -> None:
    """Say whether a tweeter plays, from a sweep that was recorded beside it."""
    levels, centres = take.levels[0], band_centres()
    edge_flag = any(flag.name == "lossy" for flag in take.flags)
    high = np.median(levels.snr[(centres > TREBLE[0]) & (centres < TREBLE[1])])
    middle = np.median(levels.snr[(centres > MIDDLE[0]) & (centres < MIDDLE[1])])
    if high >= CLEAR:
        word, other = "present", "missing"
    elif high < LEAST_SNR and middle >= HEARD and not edge_flag:
        word, other = "missing", "present"
    else:
        return
    draft.reading(
        "treble-burst", word, [take.recording.sha256], odds={word: SURE, other: 1.0}, at=at
    )
