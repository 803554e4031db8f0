"""Polarity of a pair: the odds that one of the two is connected the other way round."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.measured.lock_in import mean_pulse
from conewright.sound.measured.polarity import (
    NEAR_FIELD,
    SEAT_BY_BANDS,
    SEAT_BY_TONES,
    Evidence,
    PairPhases,
    PhaseRule,
    bass_pair_heard,
    combined_polarity,
    evidence_of,
    near_field_phases,
    near_field_sign,
    seat_phases,
)
from conewright.sound.recorded.analysis import Take
from conewright.stages.find.faults.chains import chains_of
from conewright.stages.find.odds.evidence import Case
from conewright.stages.prove.draft import Draft
from conewright.stages.report.data import Kind, Severity
from conewright.stages.report.words import odds as odds_in_words

__all__ = ["near_fields", "pair"]

SURE = 0.95
LEAD, TAIL = 0.05, 0.25
"""What of a response to a pulse is looked at, before and after it [s]."""
SEAT_RANGE = (30.0, 95.0)
"""What of a response is looked at for the third octaves from 40 to 80 Hz [Hz]."""
ENDS = ("front", "rear")
"""Pairs that find knows."""


def near_fields(draft: Draft, takes: Sequence[Take], places: Sequence[str]) -> None:
    """Tell which way each cone swings first; a sign alone says nothing of the wiring."""
    for take, place in zip(takes, places, strict=True):
        sign = near_field_sign(_response(take), rate=take.recording.rate)
        draft.figure(
            "near_sign",
            float(sign),
            unit="",
            label="sign of the first swing as recorded",
            subject=place,
        )
    if len(takes) == 1:
        draft.verdict(
            "near_sign",
            Severity.NOTE,
            "Radio and phone may each turn the sign: it says something only beside that of the "
            "other side, with the same phone.",
            "near_sign",
            subject=places[0],
        )


def pair(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell the odds that one of a pair is turned round, by all methods there are recordings for."""
    found: list[Evidence] = []
    close = []
    for take in takes:
        assert take.stimulus is not None
        name = take.stimulus.name
        if name.startswith("bass"):
            found.append(_by_tones(draft, take))
        elif name.startswith("sides"):
            found.append(_by_bands(draft, take))
        else:
            close.append(take)
    if len(close) == 2:
        found.append(_close(draft, close))
    elif close:
        raise BadInputError(
            f"polarity: found {len(close)} recordings close to a cone; one of the left and one of "
            "the right are wanted"
        )
    told = combined_polarity(found)
    draft.figure(
        "reversed_odds",
        told.odds,
        unit="",
        kind=Kind.ODDS,
        label="chance that one of the pair is the other way round",
    )
    said = odds_in_words(told.odds)
    if not told.agreed:
        draft.sentences.append("The methods disagree: something was swapped between them.")
        draft.verdict(
            "polarity",
            Severity.WARN,
            "The methods disagree. Take them again, with the side that plays named aloud.",
            "reversed_odds",
        )
        return
    if told.odds > SURE:
        severity, words = Severity.WARN, "One of the pair is the other way round"
    elif told.odds < 1.0 - SURE:
        severity, words = Severity.GOOD, "Both of the pair are the same way round"
    else:
        severity, words = Severity.NOTE, "Whether one is the other way round stays open"
    draft.sentences.append(f"{words} ({said}).")
    draft.verdict("polarity", severity, f"{words}: {said}.", "reversed_odds")
    if draft.at not in ENDS:
        return
    odds = {"weaker": told.odds, "stronger": 1.0 - told.odds}
    shas = [take.recording.sha256 for take in takes]
    draft.reading("mono-bass", max(odds, key=lambda word: odds[word]), shas, odds=odds)


def _close(draft: Draft, takes: Sequence[Take]) -> Evidence:
    left, right = takes
    played = [take.stimulus.name for take in takes if take.stimulus is not None]
    if len(set(played)) > 1:
        raise BadInputError(
            f"{right.recording.name}: found {played[1]}, {left.recording.name} is of {played[0]}; "
            "the same sound is wanted on both sides"
        )
    if left.recording.rate != right.recording.rate:
        raise BadInputError(
            f"{right.recording.name}: found {right.recording.rate:g} samples a second, "
            f"{left.recording.name} has {left.recording.rate:g}; one phone at one setting is wanted"
        )
    phases = near_field_phases(
        _response(left), _response(right), rate=left.recording.rate, resonances=_types(draft)
    )
    return _said(draft, phases, NEAR_FIELD, takes, name="near_phase")


def _types(draft: Draft) -> tuple[float, float] | None:
    """Return the resonances of two drivers of different types; None of one type."""
    if draft.build is None:
        return None
    case = Case(draft.build, chains_of(draft.build))
    if draft.at not in case.pairs:
        return None
    woofers = [case.chains[number].woofer for number in case.pairs[draft.at]]
    drivers = [each.driver for each in woofers if each is not None]
    if len({driver.id for driver in drivers}) < 2:
        return None
    first, second = (float(np.ravel(driver.figures()["fs"])[0]) for driver in drivers)
    return first, second


def _by_bands(draft: Draft, take: Take) -> Evidence:
    left, right = take.impulses
    frequency = left.frequency
    low = (frequency > SEAT_RANGE[0]) & (frequency < SEAT_RANGE[1])
    phases = seat_phases(left.linear()[low], right.linear()[low], frequency=frequency[low])
    return _said(draft, phases, SEAT_BY_BANDS, [take], name="phase")


def _by_tones(draft: Draft, take: Take) -> Evidence:
    assert take.stimulus is not None
    assert take.clock is not None
    found = bass_pair_heard(
        take.recording.samples[take.channel],
        rate=take.recording.rate,
        clock=take.clock.clock,
        stimulus=take.stimulus,
    )
    phases = found.phases
    for frequency, both, opposed in zip(phases.frequency, found.both, found.opposed, strict=True):
        name = f"{frequency:.0f}hz"
        for words, level in (("both", both), ("opposed", opposed)):
            draft.figure(
                f"{words}_over_left_{name}",
                float(level),
                unit="dB",
                kind=Kind.CHANGE,
                label=f"{words} against the left alone at {frequency:.0f} Hz",
                frequency=float(frequency),
            )
    return _said(draft, phases, SEAT_BY_TONES, [take], name="phase")


def _said(
    draft: Draft, phases: PairPhases, rule: PhaseRule, takes: Iterable[Take], *, name: str
) -> Evidence:
    for frequency, phase in zip(phases.frequency, phases.phase, strict=True):
        draft.figure(
            f"{name}_{frequency:.0f}hz",
            float(np.rad2deg(phase)),
            unit="deg",
            label=f"right against left at {frequency:.0f} Hz",
            frequency=float(frequency),
        )
    shas = [take.recording.sha256 for take in takes]
    return evidence_of(phases, rule=rule, recordings=shas)


def _response(take: Take) -> FloatArray:
    """Return what came of a sweep or of the mean of the pulses, from shortly before it."""
    if take.impulses:
        return take.impulses[0].early(before=LEAD, after=TAIL)
    assert take.stimulus is not None
    assert take.clock is not None
    return mean_pulse(
        take.recording.samples[take.channel],
        rate=take.recording.rate,
        clock=take.clock.clock,
        stimulus=take.stimulus,
    )
