"""What hear says in words, and the working behind its headline figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from conewright.job.builds.states.location import OpenState
from conewright.phrases import listed
from conewright.physics.acoustics.cabin import TREND_LIMIT
from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.levels import amplitude_decibel, decibel
from conewright.stages.common.nets import source_of
from conewright.stages.common.together import cabin_size, opposed_twins
from conewright.stages.hear.ceiling import ceiling_at, channel_of
from conewright.stages.hear.heard import BuildSound
from conewright.stages.hear.listening import REFERENCE_EMF
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Figure, Kind, Severity
from conewright.stages.report.having import may_filter
from conewright.stages.report.shares import OF_WHICH
from conewright.stages.report.words import number, range_or_band, signed, with_band

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState

__all__ = ["AUDIBLE", "FULL_DAY", "OPENINGS", "hear_verdicts", "hear_working"]

UNSURE = 6.0
"""A band wider than this is said by its ends: what lies between is nobody's to tell [dB]."""

MEASURE = "measure it with the sound sides, or by ear with mono-bass"

SENSITIVE = 6.0
"""Coherent and power sum further apart than this make a place sensitive to polarity [dB]."""

AUDIBLE = 1.0
"""A change smaller than this is hardly heard [dB]; common practice, no source."""

CLEARLY_OVER = 1.2
"""Travel over Xmax from which a cone is clearly, not just nominally, overdriven."""

JET_SPEED = 5.0
"""Peak speed from which the air through an opening makes a jet that resists [m/s]; from memory."""

OPENINGS = {
    "drains": "the drains",
    "panel": "the holes of the inner panel",
    "grille": "the grille",
    "edge": "the gap round the trim",
}

TRUST = (
    "The cabin bends any curve: read levels at a seat by their bands between 40 and 200 Hz, "
    f"and as a trend above {TREND_LIMIT:.0f} Hz. What one loudspeaker more or another does is "
    "better known than levels, since the cabin is the same in both; what several do together "
    "hangs on where its air resounds."
)
OPEN_TRUST = (
    "The top is down: there is no closed air that bass could press on, so levels are those of "
    "direct sound, with what floor and doors throw back, from none of it to both. Read them by "
    "their bands; screen, seats and the far door bend them by more than is drawn. What one "
    "loudspeaker or another does is better known than levels. Wind is not reckoned with."
)

FULL_DAY = 480.0
"""Minutes of listening a day that need no word of care."""

DEEPEST = 40.0
"""No two loudspeakers are alike enough to cancel by more [dB]."""

LOWEST_JUDGED, HIGHEST_JUDGED = 25.0, 130.0
"""Off the middle, paths of different length cancel above these by themselves [Hz]."""


def hear_verdicts(answer: Answer, sound: BuildSound) -> None:
    """Add the verdicts and the answer in one sentence."""
    _polarity(answer, sound)
    for seat in sound.seats:
        _change(answer, seat)
        _sensitivity(answer, sound, seat)
        _hearing(answer, seat)
    _travel(answer, sound.travel_ratio)
    _jets(answer)
    open_topped = sound.build.vehicle.top == "down"
    if not open_topped:
        _modes(answer)
    answer.verdict("vehicle", "trust", Severity.NOTE, OPEN_TRUST if open_topped else TRUST)
    _open_cabin(answer, sound)
    _open_backs(answer, sound)
    answer.sentence = _sentence(answer, sound)


def hear_working(answer: Answer) -> None:
    """Add the working of the headline figures."""
    for figure in [entry for entry in answer.figures if entry.name == "level"]:
        seat = figure.subject
        if answer.build.vehicle.top == "down":
            _open_air_working(answer, seat)
        else:
            _cabin_working(answer, seat)
        answer.work(
            f"{seat}.hearing_time",
            "t = 480 min / 2^((L − 85) / 3)",
            f"L = {number(answer.value(f'{seat}.max_clean_level'), 'dB(A)')}",
            "NIOSH recommended exposure limit: 85 dB(A) for 8 h, 3 dB exchange rate",
        )


def _open_air_working(answer: Answer, seat: str) -> None:
    images = answer.build.vehicle.images
    assert images is not None
    answer.work(
        f"{seat}.bass_level",
        "p = sum of ρ s U n exp(−s r / c) / (4 π r) over the loudspeakers, U = Sd v H",
        f"{REFERENCE_EMF} V at the volume knob; n = {number(images.si)} below 225 Hz: each "
        "loudspeaker with its mirror images in floor and door",
        "direct sound of a small source; no cabin gain with the top down",
        images.path,
        f"{seat}.ear",
    )


def _cabin_working(answer: Answer, seat: str) -> None:
    answer.work(
        f"{seat}.bass_level",
        "p = sum of U (Zchamber + ρ s Σ ψ(source) ψ(ear) / (V (k² + s²/c² + 2 ζ k s/c))) over "
        "the loudspeakers, U = Sd v H; ψ = product of cos(n π x / L)",
        f"{REFERENCE_EMF} V at the volume knob; a box of {_edges(answer)}; ζ = "
        f"{number(answer.build.vehicle.damping.si)} at 60 Hz",
        "modes of a rectangular room (Morse and Ingard, Theoretical Acoustics; Kuttruff, Room "
        "Acoustics), held against image sources in 100 boxes",
        "vehicle.cabin_volume",
        "vehicle.cabin_length",
        "vehicle.cabin_width",
        "vehicle.cabin_height",
        f"{seat}.ear",
    )


def _edges(answer: Answer) -> str:
    size = cabin_size(answer.build.vehicle, answer.draws)
    edges = (size.length, size.width, size.height)
    return " x ".join(number(float(edge[0, 0]), spread=0.1) for edge in edges) + " m"


def _polarity(answer: Answer, sound: BuildSound) -> None:
    seat = next(iter(sound.seats))
    for upright, turned in opposed_twins(sound.build):
        if not {upright, turned} <= sound.circuit.playing:
            continue
        answer.figure(
            turned,
            "bass_if_turned",
            sound.bass_if_turned(seat, turned),
            unit="dB",
            kind=Kind.CHANGE,
            label=f"change of the level from 40 to 100 Hz at {seat} if its two wires are swapped",
        )
        gain = answer[f"{turned}.bass_if_turned"]
        by, unsure = range_or_band(gain, widest=UNSURE)
        told = f"turned round, it changes the bass at {seat} by {by}"
        counts = unsure or answer.value(gain.id) > AUDIBLE
        if unsure:
            told += f", which hangs on the cabin: {MEASURE}"
        elif not counts:
            told += "; only what is heard between the two gets firmer"
        answer.verdict(
            turned,
            "polarity",
            Severity.WARN if counts else Severity.NOTE,
            f"{turned} pulls while {upright} pushes (reversed polarity): {told}.",
            gain.id,
        )


def _change(answer: Answer, seat: str) -> None:
    if answer.against is None:
        return
    if not any(figure.id == f"{seat}.bass_change" for figure in answer.figures):
        level = with_band(answer[f"{seat}.max_clean_level"])
        text = f"{answer.against.id} is silent, so there is no change in dB: at {seat} it now plays"
        answer.verdict(seat, "change", Severity.GOOD, f"{text} cleanly to {level}.")
        return
    bass = answer[f"{seat}.bass_change"]
    change = answer.value(bass.id)
    overall = answer[f"{seat}.level_change"]
    by, unsure = range_or_band(bass, widest=UNSURE)
    text = (
        f"At {seat} the bass (40 to 100 Hz) changes by {by} and the whole programme by "
        f"{range_or_band(overall, widest=UNSURE)[0]} at the same volume setting."
    )
    if unsure:
        text += f" That hangs on the cabin: {MEASURE}."
    main = _main_causes(answer, seat)
    if main:
        text += f" From 50 to 100 Hz the change comes mostly from {main}."
    if abs(change) < AUDIBLE and not unsure:
        text += " That is hardly heard."
    severity = Severity.GOOD if change > AUDIBLE else Severity.NOTE
    if change < -AUDIBLE:
        severity = Severity.WARN
    if unsure and (bass.low or 0.0) < 0.0 < (bass.high or 0.0):
        severity = Severity.NOTE
    answer.verdict(seat, "change", severity, text, bass.id, overall.id)


def _main_causes(answer: Answer, seat: str) -> str:
    prefix = f"{seat}.change_bass_from_"
    shares = [figure for figure in answer.figures if figure.id.startswith(prefix)]
    largest = sorted(shares, key=lambda share: -abs(share.value or 0.0))[:2]
    told = [
        f"{share.label.removeprefix(OF_WHICH)} ({_share(share)})"
        for share in largest
        if abs(share.value or 0.0) >= AUDIBLE
    ]
    return " and ".join(told)


def _share(share: Figure) -> str:
    said, unsure = range_or_band(share, widest=UNSURE)
    return said if unsure else signed(number(share.value or 0.0, "dB", spread=1.0))


def _sensitivity(answer: Answer, sound: BuildSound, seat: str) -> None:
    """Mark where the sum with phases lies far from the sum of powers, in half of the draws."""
    heard = sound.seats[seat].heard
    tested = (heard.frequency >= LOWEST_JUDGED) & (heard.frequency <= HIGHEST_JUDGED)
    coherent, power = np.abs(heard.coherent[:, tested]), heard.power[:, tested]
    gain = np.median(amplitude_decibel(coherent) - decibel(power), axis=0)
    frequency = heard.frequency[tested]
    for name, part, verb, severity in (
        ("cancels", gain < -SENSITIVE, "cancel", Severity.WARN),
        ("adds", gain > SENSITIVE, "add up", Severity.NOTE),
    ):
        if not part.any():
            continue
        answer.verdict(
            seat,
            name,
            severity,
            f"At {seat} the loudspeakers {verb} by up to "
            f"{number(min(float(np.abs(gain[part]).max()), DEEPEST), 'dB', spread=1.0)} "
            f"{_reach(frequency[part])}: the level there is sensitive to "
            "polarity and position.",
        )


def _reach(frequency: FloatArray) -> str:
    """Return from where to where some frequencies [Hz] lie, in words."""
    low, high = (number(float(each), "Hz") for each in (frequency[0], frequency[-1]))
    return f"near {low}" if low == high else f"between {low} and {high}"


def _hearing(answer: Answer, seat: str) -> None:
    level, time = answer[f"{seat}.max_clean_level"], answer[f"{seat}.hearing_time"]
    minutes = answer.value(time.id)
    after = f"after {number(minutes, 'min', spread=max(minutes / 5, 1.0))}"
    if minutes < 1.0:
        after = "in less than a minute"
    text = (
        f"As loud as it goes cleanly, {seat} hears {with_band(level)}: a full day's noise dose "
        f"{after} (85 dB(A) for 8 h, halved every 3 dB)."
    )
    severity = Severity.WARN if minutes < FULL_DAY else Severity.NOTE
    answer.verdict(seat, "hearing", severity, text, level.id, time.id)


def _travel(answer: Answer, names: Iterable[str]) -> None:
    """Warn of cones that leave their linear travel, places with one cure in one sentence."""
    groups: dict[tuple[str | None, str | None], list[str]] = {}
    for name in names:
        if answer.value(f"{name}.excursion_ratio") > 1.0:
            channel = channel_of(answer.build, name)
            driven_by = None if channel is None else channel.driven_by
            groups.setdefault((answer[f"{name}.high_pass"].text, driven_by), []).append(name)
    for places in groups.values():
        ratios = [answer.value(f"{name}.excursion_ratio") for name in places]
        worst = answer[f"{places[ratios.index(max(ratios))]}.excursion_ratio"]
        setting = answer[f"{places[0]}.high_pass"]
        advice = _filtered(answer.build, channel_of(answer.build, places[0]), setting)
        near = number(worst.frequency_hz or 0.0, "Hz")
        answer.verdict(
            places[0],
            "travel",
            Severity.WARN if max(ratios) > CLEARLY_OVER else Severity.NOTE,
            f"{listed(places)}: at {ceiling_at(answer.build, places[0])} bass drives the cone to "
            f"{with_band(worst)} times its linear travel near {near}; {advice}.",
            *(f"{name}.excursion_ratio" for name in places),
        )


def _filtered(build: Build, channel: ChannelState | None, setting: Figure) -> str:
    """Say what keeps bass off a cone: a setting, where the radio or the amplifier has one."""
    if not may_filter(build, channel):
        return "a radio of that era has no filter: bass down at its tone knob, or less volume"
    if not setting.value:
        return f"{setting.text}: keep the volume down or take bass off"
    where = f" at {source_of(build, channel).name}" if channel and channel.driven_by else ""
    return f"set a high-pass of {setting.text}{where}"


def _jets(answer: Answer) -> None:
    """Warn of openings through which the air goes so fast that it makes a jet."""
    fast: dict[str, list[Figure]] = {}
    for figure in answer.figures:
        kind, _, opening = figure.name.partition("air_speed_")
        if not kind and (figure.value or 0.0) > JET_SPEED:
            fast.setdefault(opening, []).append(figure)
    if not fast:
        return
    told = [_fastest(opening, figures) for opening, figures in fast.items()]
    behind = [figure for figures in fast.values() for figure in figures]
    answer.verdict(
        behind[0].subject,
        "air-speed",
        Severity.NOTE,
        f"At the loudest clean sine the air goes at {listed(told)}. Above {JET_SPEED:g} m/s an "
        "opening makes a jet, which resists more the louder it gets: the curves are those of "
        "quiet sound and promise too much of the hump that an opening makes.",
        *(figure.id for figure in behind),
    )


def _fastest(opening: str, figures: Sequence[Figure]) -> str:
    top = max(figures, key=lambda figure: figure.value or 0.0)
    speed = number(top.value or 0.0, "m/s", spread=1.0)
    at = number(top.frequency_hz or 0.0, "Hz", spread=5.0)
    places = listed([figure.subject for figure in figures])
    return f"{speed} through {OPENINGS[opening]} of {places} near {at}"


def _modes(answer: Answer) -> None:
    """Say where the cabin itself resounds, which no loudspeaker puts right."""
    first, second = (answer[f"vehicle.cabin_mode_{order}"] for order in (1, 2))
    answer.verdict(
        "vehicle",
        "cabin-modes",
        Severity.NOTE,
        f"The air of the cabin resounds along its length near {_near(first)} and {_near(second)}, "
        "within some 15 %: the first is loud at both ends and thin half way between. A hump or "
        "hole there that moves with the head is the cabin's, and no loudspeaker mends it.",
        first.id,
        second.id,
    )


def _open_cabin(answer: Answer, sound: BuildSound) -> None:
    """Say what open windows or a cloth top do to the bass."""
    vehicle = sound.build.vehicle
    covers = [opening for opening in vehicle.openings if opening.mass is not None]
    if len(covers) < len(vehicle.openings):
        answer.verdict(
            "vehicle",
            "windows",
            Severity.NOTE,
            "Windows are open: below some 30 Hz, more of them open some 50 Hz, the cabin no longer "
            "holds the pressure of the bass, and near there its air swings in and out by itself.",
        )
    if covers:
        answer.verdict(
            "vehicle",
            "top",
            Severity.NOTE,
            "A cloth top gives way to deep bass: below some 40 Hz much of it goes out through the "
            "top. How heavy the cloth is nobody measured, and the bands hold it.",
        )


def _open_backs(answer: Answer, sound: BuildSound) -> None:
    """Say of the loudspeakers that are open behind what that does to their bass."""
    places = [sound.build.location(name) for name in sound.circuit.locations]
    names = [place.id for place in places if isinstance(place.back, OpenState)]
    if not names:
        return
    told = "is" if len(names) == 1 else "are"
    text = (
        f"{listed(names)} {told} open behind: below the frequency at which the way round the board "
        "is half a wave, back and front take each other's bass, and a closed cabin, which the two "
        "together do not press on, adds none. A closed box, a door or a shelf over the boot brings "
        "it back."
    )
    answer.verdict(names[0], "open-back", Severity.NOTE, text)


def _near(figure: Figure) -> str:
    return number(figure.value or 0.0, figure.unit, spread=5.0)


def _sentence(answer: Answer, sound: BuildSound) -> str:
    seat = next(iter(sound.seats))
    level, _ = range_or_band(answer[f"{seat}.max_clean_level"], widest=UNSURE)
    if any(figure.id == f"{seat}.bass_change" for figure in answer.figures):
        assert answer.against is not None
        bass, unsure = range_or_band(answer[f"{seat}.bass_change"], widest=UNSURE)
        whole, _ = range_or_band(answer[f"{seat}.level_change"], widest=UNSURE)
        advice = f": {MEASURE}. The" if unsure else " and the"
        return (
            f"Against {answer.against.id}, bass at {seat} changes by {bass}{advice} whole "
            f"programme {'changes ' if unsure else ''}by {whole}; it now plays cleanly to {level}."
        )
    corner = answer[f"{seat}.bass_corner"]
    lower = f" {corner.text}" if corner.text else ""
    return (
        f"At {seat} the system plays cleanly to {level}, and its bass reaches down to "
        f"{with_band(corner)}{lower}."
    )
