"""A channel's output on a recorder: where it clips, its volts, its resistance, its offset."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.measured.clip import (
    CLIP_H3,
    ClipMark,
    Ladder,
    ceiling_distortion,
    clip_mark,
    in_volts,
    knob_steps,
    ladder_steps,
    output_resistance,
    overdrive,
)
from conewright.sound.measured.impedance_fit import WITHIN_95
from conewright.sound.measured.legs import (
    between_legs,
    earthed_current,
    refuse_own_clipping,
    touch_offset,
)
from conewright.sound.played.stimuli import Tone
from conewright.sound.recorded.analysis import Take
from conewright.sound.recorded.recording import Recording
from conewright.stages.prove.draft import WITHIN_80, Draft
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

__all__ = ["ladders", "offset", "volume_steps"]

METER = 0.01
"""How well a meter gives the volts of one step, standard deviation over value; from memory."""
LEG = 14.4
"""Volts of a leg at most, the supply of a running engine [V]; common practice, no source."""
CERTAINLY_OFF = 0.5
"""Volts across a pair above which nothing is connected to it [V]."""


def ladders(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell where a channel clips, and of two ladders, open and loaded, its output resistance."""
    found = [_ladder(draft, take) for take in takes]
    first, mark = found[0], clip_mark(found[0])
    details = draft.details
    if details.metered is not None:
        step = 1 if details.step is None else details.step
        first = in_volts(first, step=step - 1, metered=details.metered)
        mark = clip_mark(first)
        for place, volts in enumerate(first.volts, start=1):
            draft.figure(
                f"volts_step_{place}",
                float(volts),
                unit="V",
                label=f"volts of step {place}",
                spread=METER * float(volts),
            )
    for place, h3 in enumerate(first.h3, start=1):
        draft.figure(
            f"h3_step_{place}", float(h3), unit="dB", label=f"third harmonic of step {place}"
        )
    draft.curve(
        "third_harmonic",
        first.level,
        first.h3,
        quantity="third harmonic",
        unit="dB",
        over=("level", "dBFS"),
    )
    _mark(draft, mark)
    if len(found) == 2:
        _resistance(draft, found)
    if details.top is not None and details.bottom is not None:
        current = float(earthed_current(leg=LEG, top=details.top, bottom=details.bottom))
        draft.verdict(
            "divider",
            Severity.NOTE,
            f"Were the recorder earthed by mistake, {number(1e3 * current, 'mA')} would flow: keep "
            "it on its battery, touching nothing else.",
        )


def _mark(draft: Draft, mark: ClipMark | None) -> None:
    """Tell where it clips, in volts where one step was metered."""
    if mark is None:
        draft.sentences.append("It does not clip up to full scale at this volume.")
        draft.verdict("clip", Severity.GOOD, "No clipping at this volume, up to full scale.")
    else:
        draft.figure(
            "clip_level",
            mark.level,
            unit="dBFS",
            label="level at which it clips",
            spread=mark.spread,
        )
        draft.sentences.append(f"It clips at {number(mark.level, 'dB')} of full scale.")
        if draft.details.metered is not None:
            spread = float(np.hypot(METER, mark.spread / 8.686)) * mark.volts
            draft.figure("clean_volts", mark.volts, unit="V", label="clean volts", spread=spread)
            draft.sentences.append(f"That is {number(mark.volts, 'V')}.")
        draft.figure(
            "clip_distortion",
            100.0 * float(ceiling_distortion(over=overdrive(h3=CLIP_H3))),
            unit="%",
            label="total distortion there, of a hard ceiling",
        )
        soft = "" if mark.hard else " It bends over some decibels before: no hard ceiling."
        draft.verdict(
            "clip", Severity.NOTE, f"Clean up to {number(mark.level, 'dB')}.{soft}", "clip_level"
        )


def _ladder(draft: Draft, take: Take) -> Ladder:
    assert take.stimulus is not None
    assert take.clock is not None
    tone = take.stimulus.tones[0]
    assert isinstance(tone.wave, Tone)
    return ladder_steps(
        _across(draft, take),
        rate=take.recording.rate,
        clock=take.clock.clock,
        begin=tone.seconds[0],
        frequency=tone.wave.frequency,
    )


def _across(draft: Draft, take: Take) -> FloatArray:
    """Return what is across the pair: two legs' difference, or the one channel there is."""
    samples = take.recording.samples
    if len(samples) == 2:
        return between_legs(samples, ratio=draft.details.ratio)
    refuse_own_clipping(samples[0], where=take.recording.name)
    return np.asarray(samples[0] * draft.details.ratio)


def _resistance(draft: Draft, found: Sequence[Ladder]) -> None:
    load = draft.details.load
    if load is None:
        raise BadInputError(
            "load: found none; two ladders, open and loaded, want the ohms of the load: load=4 ohm"
        )
    told = output_resistance(unloaded=found[0], loaded=found[1], load=load)
    draft.figure(
        "output_resistance",
        told.value,
        unit="ohm",
        label="output resistance",
        spread=told.spread,
    )
    draft.sentences.append(f"Its output resistance is {number(told.value, 'ohm')}.")


def volume_steps(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell the volts of every step of the volume knob, and the last that is clean."""
    (take,) = takes
    assert take.stimulus is not None
    assert take.clock is not None
    begin, end = take.stimulus.tones[0].seconds
    knob = knob_steps(
        _across(draft, take),
        rate=take.recording.rate,
        clock=take.clock.clock,
        begin=begin,
        seconds=end - begin,
    )
    rises = [*knob.rise, np.nan]
    steps = np.arange(1, knob.volts.size + 1)
    full = draft.details.full_scale
    for place, volts, rise, h3 in zip(steps, knob.volts, rises, knob.h3, strict=True):
        if full is not None:
            draft.figure(
                f"volts_step_{place}", float(volts * full), unit="V", label=f"volts of step {place}"
            )
        if np.isfinite(rise):
            draft.figure(
                f"rise_step_{place}", float(rise), unit="dB", label=f"from step {place} to the next"
            )
        draft.figure(
            f"h3_step_{place}", float(h3), unit="dB", label=f"third harmonic of step {place}"
        )
    draft.curve(
        "third_harmonic",
        np.asarray(steps, dtype=float),
        knob.h3,
        quantity="third harmonic",
        unit="dB",
        over=("step", ""),
    )
    if knob.clips is None:
        draft.sentences.append(f"{knob.volts.size} steps, none of which clips.")
        return
    draft.figure("clip_step", float(knob.clips + 1), unit="", label="first step that clips")
    if knob.clean is not None:
        draft.figure(
            "clean_step",
            float(knob.clean + 1),
            unit="",
            label="last step at least 10 dB below it",
        )
    last = "" if knob.clean is None else f"; mark step {knob.clean + 1} on the knob as clean"
    draft.sentences.append(f"It clips from step {knob.clips + 1}{last}.")
    draft.verdict("clip", Severity.NOTE, f"Clips from step {knob.clips + 1}{last}.", "clip_step")


def offset(draft: Draft, recordings: Sequence[Recording]) -> None:
    """Tell the direct volts across a pair from the moment both leads touch it."""
    (recording,) = recordings
    full = draft.details.full_scale
    if full is None:
        raise BadInputError(
            "full-scale: found none; a touch wants the volts at the recorder's input for its full "
            "scale: full-scale=1.2 V"
        )
    told = touch_offset(
        recording.samples, rate=recording.rate, full_scale=(full, full), ratio=draft.details.ratio
    )
    size = abs(told.offset)
    draft.figure(
        "touch_offset", size, unit="V", label="direct volts across the pair", spread=told.spread
    )
    draft.sentences.append(f"{number(size, 'V')} lie across the pair, within {told.spread:.2f} V.")
    off = size - WITHIN_80 * told.spread > CERTAINLY_OFF
    draft.verdict(
        "offset",
        Severity.STOP if off else Severity.NOTE,
        "More than 0.5 V across the pair: connect no loudspeaker to it."
        if off
        else "A touch tells half a volt, not 50 mV: measure with a meter before anything is "
        "connected.",
        "touch_offset",
    )
    # ± holds 95 %.
    text = f"{size:.3f} V ± {WITHIN_95 * told.spread:.3f} V"
    draft.reading("pair-offset", text, [recording.sha256])
