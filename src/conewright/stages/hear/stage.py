"""Stage hear: what will be heard at the seats, and what changed it."""

from __future__ import annotations

import numpy as np

from conewright.errors import BadInputError
from conewright.job.builds.draws import DEFAULT_SAMPLES, Draws
from conewright.job.builds.states.build import Build
from conewright.job.document.parts import UNKNOWN, UNUSED
from conewright.physics.acoustics.cabin import TREND_LIMIT, room_mode_frequency
from conewright.physics.basics import bands
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.frequencies import require_in_range
from conewright.stages.common.together import cabin_size
from conewright.stages.find.faults.told import finding_verdicts, signal_verdicts
from conewright.stages.hear.ceiling import ceiling_at, channel_of
from conewright.stages.hear.change import change_figures, change_series, share_figures
from conewright.stages.hear.crossover import crossover_figures, crossover_verdicts, handovers
from conewright.stages.hear.doubted_sound import suspected_sounds
from conewright.stages.hear.heard import HIGH_PASS_MENU, BuildSound, open_areas, sound_of
from conewright.stages.hear.listening import REFERENCE_EMF, third_octaves
from conewright.stages.hear.unwired_sound import likely_wirings, unwired_verdicts
from conewright.stages.hear.verdicts import OPENINGS, hear_verdicts, hear_working
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Axis, Kind, Report, Series, series
from conewright.stages.report.having import may_filter

__all__ = ["hear", "hear_answer"]

LOWEST_CORNER = 20.0
"""A bass corner below this was not found within the range that is judged [Hz]."""


def hear(
    build: Build,
    against: Build | None = None,
    *,
    at: FloatArray | None = None,
    samples: int = DEFAULT_SAMPLES,
) -> Report:
    """Answer what is heard at every seat of a build, and what changed against another.

    Args:
        build: the build to listen to.
        against: the build to compare it with, of the same job.
        at: frequencies of the series, shape (F,) [Hz]; the standard grid when None.
        samples: number of draws for the bands, a power of two.

    Raises:
        BadInputError: the job has no seat, or no channel that drives a place; a frequency is not
            from 10 Hz to 25 kHz.

    >>> import conewright as cw
    >>> job = cw.demo_job()
    >>> bass = cw.hear(job.build("put-right"), job.build()).figure("driver.change_bass")
    >>> bass.unit, bass.low < bass.value < bass.high
    ('dB', True)
    """
    require_in_range(at)
    solver = Solver(conditioned_draws(build, samples=samples), bands.fine_grid())
    return hear_answer(build, against, solver=solver, at=at)


def hear_answer(
    build: Build,
    against: Build | None,
    *,
    solver: Solver,
    at: FloatArray | None = None,
    whole: bool = True,
) -> Report:
    """As `hear`, with a solver on the standard grid that other answers share.

    Not whole, it has neither curves nor measurements that would narrow it, which take long, and
    says nothing of what is only suspected.
    """
    require_listening(build)
    sound = sound_of(build, solver)
    other = None if against is None else sound_of(against, solver)
    answer = Answer("hear", build, against, solver.draws)
    finding_verdicts(answer)
    signal_verdicts(answer)
    unwired_verdicts(answer, solver)
    if sound.silent:
        return _silence(answer)
    _seat_figures(answer, sound)
    _location_figures(answer, sound)
    handed = handovers(sound)
    crossover_figures(answer, handed)
    _air_figures(answer, sound)
    _cabin_figures(answer, build, solver.draws)
    headlines = _headlines(sound)
    if other is not None and not other.silent:
        headlines = change_figures(answer, sound, other)
        share_figures(answer, sound.build, other.build)
    if whole:
        # What is said must not depend on where the curves are asked for.
        _curves(answer, solver if at is None else Solver(solver.draws, at))
    hear_working(answer)
    hear_verdicts(answer, sound)
    crossover_verdicts(answer, handed)
    if whole:
        suspected_sounds(answer, sound, _asked_again)
    return answer.report(headlines=headlines if whole else {})


def _asked_again(build: Build, against: Build, solver: Solver) -> Report:
    return hear_answer(build, against, solver=solver, whole=False)


def _silence(answer: Answer) -> Report:
    """Return the answer for a vehicle in which nothing plays."""
    for seat in answer.build.seats:
        for name, unit, label in SEAT_FIGURES:
            answer.figure(seat.id, name, None, unit=unit, label=label, text="nothing plays")
    answer.sentence = "Nothing plays: mend what was found first; there is no level to tell of."
    return answer.report(headlines={})


def _curves(answer: Answer, solver: Solver) -> None:
    drawn = sound_of(answer.build, solver)
    _level_series(answer, drawn)
    if answer.against is not None and not sound_of(answer.against, solver).silent:
        change_series(answer, drawn, sound_of(answer.against, solver))


def require_listening(build: Build) -> None:
    """Refuse a build in which nobody listens or nothing plays.

    Raises:
        BadInputError: no seat, or no channel that drives a place; names what to add.

    """
    if not build.seats:
        raise BadInputError("seat: found none; give at least one [[seat]] with an id and its ear")
    known = any(channel.polarity for channel in build.channels)
    if not known and not any(each.likely for each in likely_wirings(build)):
        written = [
            *(channel.load for channel in build.channels),
            *(UNKNOWN for _ in build.unknown),
            *(UNUSED for _ in build.unused),
        ]
        loads = ", ".join(f'"{load}"' for load in written)
        raise BadInputError(
            f"channel.load: found {loads}; at least one names a place with a loudspeaker"
        )


def _headlines(sound: BuildSound) -> dict[str, FloatArray]:
    return {
        f"{name}.{figure}": values
        for name, seat in sound.seats.items()
        for figure, values in (("bass_level", seat.bass), ("max_clean_level", seat.clean_overall))
    }


SEAT_FIGURES = (
    ("level", "dB(A)", f"level of {REFERENCE_EMF} V of programme"),
    ("bass_level", "dB", f"mean level from 40 to 100 Hz for {REFERENCE_EMF} V"),
    ("max_clean_level", "dB(A)", "loudest clean programme"),
    ("bass_corner", "Hz", "lowest frequency within 10 dB of the mean from 80 to 315 Hz"),
)


def _seat_figures(answer: Answer, sound: BuildSound) -> None:
    for name, seat in sound.seats.items():
        lower = "or lower" if seat.bass_corner[0, 0] < LOWEST_CORNER else None
        values = (
            (seat.overall, None),
            (seat.bass, None),
            (seat.clean_overall, f"{seat.programme_limit} set the limit"),
            (seat.bass_corner, lower),
        )
        for (figure, unit, label), (draws, text) in zip(SEAT_FIGURES, values, strict=True):
            answer.figure(name, figure, draws, unit=unit, label=label, text=text)
        answer.figure(
            name,
            "hearing_time",
            seat.hearing_time,
            unit="min",
            kind=Kind.TIME,
            label="time a day to a full noise dose at the loudest clean programme",
        )
        _thirds(answer, name, "level", seat.thirds, f"{REFERENCE_EMF} V sine")
        _thirds(answer, name, "max_clean_level", seat.clean_thirds, "loudest clean sine")


def _thirds(answer: Answer, seat: str, name: str, levels: FloatArray, words: str) -> None:
    for (suffix, place, centre), column in zip(third_octaves(), levels.T, strict=True):
        answer.figure(
            seat,
            f"{name}_{suffix}",
            column,
            unit="dB",
            label=f"{words}, third octave at {place}",
            frequency_hz=centre,
            text="a trend only" if centre > 1.01 * TREND_LIMIT else None,
        )


def _location_figures(answer: Answer, sound: BuildSound) -> None:
    for name, ratio in sound.travel_ratio.items():
        answer.figure(
            name,
            "excursion_ratio",
            ratio.max(axis=-1),
            unit="",
            label=f"peak cone travel at {ceiling_at(sound.build, name)} over Xmax",
            frequency_hz=float(sound.frequency[np.argmax(ratio[0])]),
        )
        setting = sound.high_pass(name)
        answer.figure(
            name,
            "high_pass",
            setting,
            unit="Hz",
            label="lowest setting of the usual menu that keeps the cone within Xmax"
            if may_filter(sound.build, channel_of(sound.build, name))
            else "high-pass that would keep the cone within Xmax, of which this radio has none",
            text=_setting_in_words(setting),
        )


def _air_figures(answer: Answer, sound: BuildSound) -> None:
    for name, openings in sound.air_speed.items():
        areas = open_areas(sound.build.location(name))
        for opening, speed in openings.items():
            answer.figure(
                name,
                f"air_speed_{opening}",
                float(speed.max()),
                unit="m/s",
                label=f"peak speed of the air in {OPENINGS[opening]} at the loudest clean sine",
                frequency_hz=float(sound.frequency[np.argmax(speed)]),
                origin=areas[opening].origin,
            )


def _cabin_figures(answer: Answer, build: Build, draws: Draws) -> None:
    vehicle = build.vehicle
    if vehicle.top == "down":
        return
    air, length = Air(temperature=vehicle.temperature.si), cabin_size(vehicle, draws).sounding[0]
    for order, words in ((1, "first"), (2, "second")):
        answer.figure(
            "vehicle",
            f"cabin_mode_{order}",
            np.asarray(room_mode_frequency(air=air, length=length, order=order)),
            unit="Hz",
            label=f"{words} resonance of the air along the cabin",
            text="within some 15 %: a cabin is no box",
            origin=vehicle.cabin_length.origin,
        )


def _setting_in_words(setting: float | None) -> str:
    if setting is None:
        return f"no setting up to {HIGH_PASS_MENU[-1]:.0f} Hz is enough"
    return f"{setting:.0f} Hz, 12 dB per octave" if setting else "none needed"


def _level_series(answer: Answer, sound: BuildSound) -> None:
    for name, seat in sound.seats.items():
        heard = seat.heard
        for curve, values in (
            ("level", heard.level()),
            ("level_power", heard.power_level()),
            ("max_clean_level", heard.level(sound.ceiling.emf)),
        ):
            answer.series.append(
                series(name, curve, sound.frequency, values, quantity="level", unit="dB")
            )
        answer.series.append(
            Series(
                id=f"{name}.limit",
                subject=name,
                x=Axis(name="frequency", unit="Hz", values=tuple(sound.frequency.tolist())),
                y=Axis(name="what binds", unit="", values=seat.binding()),
            )
        )
    for name, location in sound.circuit.locations.items():
        answer.series.append(
            series(
                name,
                "excursion",
                sound.frequency,
                1e3 * np.sqrt(2) * REFERENCE_EMF * np.abs(location.excursion),
                quantity=f"peak cone travel for {REFERENCE_EMF} V",
                unit="mm",
            )
        )
