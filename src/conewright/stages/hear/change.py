"""What a change does at the seats, and how much of it each cause carries."""

from __future__ import annotations

import numpy as np

from conewright.job.builds.states.build import Build
from conewright.phrases import listed
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.circuit import Solver
from conewright.stages.hear.heard import BuildSound
from conewright.stages.hear.listening import (
    heard_at,
    mean_level,
    named_bands,
    third_octaves,
)
from conewright.stages.hear.unwired_sound import heard_circuit
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Kind, series
from conewright.stages.report.shares import (
    CAUSES,
    OF_WHICH,
    blend,
    causes_of_change,
    places_that_come,
    shapley_shares,
)

__all__ = ["change_figures", "change_series", "share_figures"]


def change_figures(answer: Answer, sound: BuildSound, other: BuildSound) -> dict[str, FloatArray]:
    """Add the differences per seat; return the draws of those that matter most."""
    headlines: dict[str, FloatArray] = {}
    for name, seat in sound.seats.items():
        before = other.seats[name]
        overall, bass = seat.overall - before.overall, seat.bass - before.bass
        treble = seat.treble - before.treble
        answer.figure(
            name,
            "level_change",
            overall,
            unit="dB",
            kind=Kind.CHANGE,
            label="change of the programme's level",
        )
        answer.figure(
            name,
            "bass_change",
            bass,
            unit="dB",
            kind=Kind.CHANGE,
            label="change of the level from 40 to 100 Hz",
        )
        answer.figure(
            name,
            "treble_change",
            treble,
            unit="dB",
            kind=Kind.CHANGE,
            label="change of the level from 3.15 to 16 kHz",
        )
        answer.figure(
            name,
            "max_clean_level_change",
            seat.clean_overall - before.clean_overall,
            unit="dB",
            kind=Kind.CHANGE,
            label="change of the loudest clean programme",
        )
        change = seat.thirds - before.thirds
        for (suffix, words, centre), column in zip(third_octaves(), change.T, strict=True):
            answer.figure(
                name,
                f"level_change_{suffix}",
                column,
                unit="dB",
                kind=Kind.CHANGE,
                label=f"change in the third octave at {words}",
                frequency_hz=centre,
            )
        headlines |= {f"{name}.bass_change": bass, f"{name}.level_change": overall}
    return headlines


def change_series(answer: Answer, sound: BuildSound, other: BuildSound) -> None:
    """Add the curves of before and of the difference."""
    for name, seat in sound.seats.items():
        now, before = seat.heard.level(), other.seats[name].heard.level()
        for curve, values, quantity, kind in (
            ("level_against", before, "level", Kind.NUMBER),
            ("level_change", now - before, "change of level", Kind.CHANGE),
        ):
            answer.series.append(
                series(
                    name, curve, sound.frequency, values, quantity=quantity, unit="dB", kind=kind
                )
            )


def share_figures(answer: Answer, new: Build, old: Build) -> None:
    """Add, per seat and named band, the change and the share of each cause; shares add up.

    Where a load is known in one of the two builds only there is no share.
    """
    names = [name for name, _, _ in named_bands()]
    levels = _BandLevels(old, new, answer)
    whole = levels.of(new) - levels.of(old)
    shares: dict[str, FloatArray] = {}
    if {each.id for each in new.unknown} == {each.id for each in old.unknown}:
        shares = shapley_shares(causes_of_change(old, new), levels)
    for column, (seat, band) in enumerate((seat.id, band) for seat in old.seats for band in names):
        answer.figure(
            seat,
            f"change_{band}",
            whole[:, column],
            unit="dB",
            kind=Kind.CHANGE,
            label=f"change in {WORDS[band]}",
        )
        for cause, share in shares.items():
            answer.figure(
                seat,
                f"change_{band}_from_{cause}",
                share[:, column],
                unit="dB",
                kind=Kind.CHANGE,
                label=f"{OF_WHICH}{_cause_in_words(cause, old, new)}",
            )


def _cause_in_words(cause: str, old: Build, new: Build) -> str:
    """Return what a cause is called; places that come or go are named."""
    added, removed = places_that_come(old, new)
    told = [f"{listed(list(added))} added"] if added else []
    told += [f"{listed(list(removed))} taken out"] if removed else []
    return f"{CAUSES[cause]}: {', '.join(told)}" if cause == "places" and told else CAUSES[cause]


WORDS = {name: words for name, words, _ in named_bands()}


class _BandLevels:
    """Band levels of the builds between two builds, shape (draws, seats x bands)."""

    def __init__(self, old: Build, new: Build, answer: Answer) -> None:
        self._old, self._new = old, new
        # Edges and centres of the third octaves are enough: every subset of the causes is solved.
        fine = bands.fine_grid()
        self._solver = Solver(answer.draws, np.concatenate((fine[:1], fine[1:-1:2], fine[-1:])))

    def __call__(self, taken: frozenset[str]) -> FloatArray:
        return self.of(blend(self._old, self._new, taken))

    def of(self, build: Build) -> FloatArray:
        """Return the levels of one build."""
        circuit = heard_circuit(build, self._solver)
        columns = []
        for seat in build.seats:
            heard = heard_at(seat, build=build, circuit=circuit, cabin=self._solver.cabin)
            levels = heard.thirds()
            columns += [mean_level(levels, mask) for _, _, mask in named_bands()]
        return np.concatenate(columns, axis=-1)
