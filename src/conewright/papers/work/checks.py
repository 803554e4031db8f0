"""What is read on the vehicle: first power-up, hand-over, settings, with what to expect there.

The rows are data files. What stands in braces in them is worked out for this vehicle; where
nothing is known of it, a dash is printed and the limit stands alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, sqrt
from string import Formatter

from conewright.data_files import data_rows
from conewright.job.builds.fills import plain_text
from conewright.job.builds.state import Build, ChannelState
from conewright.job.document.parts import ERAS_WITHOUT_MENU
from conewright.papers.press.answers import Answers
from conewright.phrases import counted
from conewright.physics.electrics.amplifier import clean_peak_voltage
from conewright.stages.common.changes import changes, planned_job
from conewright.stages.feed.supply_verdicts import fuse_in_words
from conewright.stages.report.words import number
from conewright.views.numbers import say

__all__ = [
    "NOT_KNOWN",
    "Check",
    "Line",
    "Settings",
    "expected",
    "hand_over",
    "power_up",
    "settings",
]

NOT_KNOWN = "–"
WHOLE = "vehicle"
"""Where a reading is taken that belongs to no channel, place or seat."""
REGULATED = 2.0
"""A bridge output rests at the supply over this."""


@dataclass(frozen=True, slots=True)
class Line:
    """One reading of a check: where it is taken (nothing for the whole job), what to expect.

    `before` is what was read there before the work, as the job has it, if it has.
    """

    subject: str
    expect: str
    before: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """One check with its readings; `stop` says when to go no further, if anything does."""

    id: str
    title: str
    how: str
    limit: str
    stop: str
    before: bool
    lines: tuple[Line, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings card: high-pass of each channel, what to set, the clean mark, what stays off."""

    high_pass: tuple[Line, ...]
    set: tuple[str, ...]
    mark: tuple[str, ...]
    off: tuple[str, ...]


def power_up(answers: Answers) -> tuple[Check, ...]:
    """Return the checks of the first power-up, in order."""
    return _checks(answers, "power_up.csv", "check")


def hand_over(answers: Answers) -> tuple[Check, ...]:
    """Return the rows of the hand-over table, in order."""
    return _checks(answers, "handover.csv", "item")


def settings(answers: Answers) -> Settings:
    """Return what stands on the settings card."""
    texts: dict[str, list[str]] = {"set": [], "mark": [], "off": []}
    era = planned_job(answers.build).head_unit.era
    for row in data_rows("papers", "settings.csv"):
        if era and row["eras"] and era not in row["eras"].split():
            continue
        texts[row["group"]].append(expected(answers, row["text"], ""))
    channels = tuple(
        Line(channel.id, high_pass(answers, channel)) for channel in answers.build.channels
    )
    return Settings(channels, *(tuple(texts[group]) for group in ("set", "mark", "off")))


def high_pass(answers: Answers, channel: ChannelState) -> str:
    """Return the high-pass that a channel needs: the highest any of its drivers asks for."""
    if planned_job(answers.build).head_unit.era in ERAS_WITHOUT_MENU:
        return "this radio has none: bass down at the tone knob"
    found = [answers.figure(f"{place}.high_pass") for place, _ in channel.polarity]
    asked = [figure for figure in found if figure is not None]
    unanswered = [figure.text for figure in asked if figure.value is None]
    if unanswered or not asked:
        return unanswered[0] or NOT_KNOWN if unanswered else NOT_KNOWN
    highest = max(asked, key=lambda figure: figure.value or 0.0)
    return highest.text or say(highest).full


def expected(answers: Answers, template: str, subject: str) -> str:
    """Return a text with what stands in braces worked out; a dash where that is not known."""
    names = [name for _, name, _, _ in Formatter().parse(template) if name]
    values = {name: EXPECTATIONS[name](answers, subject) for name in names}
    if any(value is None for value in values.values()):
        return NOT_KNOWN
    return template.format(**values)


def _checks(answers: Answers, file: str, key: str) -> tuple[Check, ...]:
    made = (_check(answers, row, key) for row in data_rows("papers", file))
    return tuple(check for check in made if check.lines)


def _check(answers: Answers, row: dict[str, str], key: str) -> Check:
    return Check(
        id=row[key],
        title=row["title"],
        how=expected(answers, row.get("how", ""), ""),
        limit=row["limit"],
        stop=row.get("stop", ""),
        before=row.get("before") == "yes",
        lines=tuple(
            Line(
                subject,
                expected(answers, row["expect"], subject) or NOT_KNOWN,
                _read_before(answers.build, row.get("reading", ""), subject),
            )
            for subject in _subjects(answers, row)
        ),
        source=row["source"],
    )


def _read_before(build: Build, test: str, subject: str) -> str:
    """Return what the last reading of a test said there, without its spread; nothing for none."""
    reading = build.job.last_reading(test, subject or WHOLE)
    return "" if reading is None else str(reading.value).partition("±")[0].strip()


def _subjects(answers: Answers, row: dict[str, str]) -> Sequence[str]:
    """Return where a check is made; nowhere when it does not apply to this build."""
    build = answers.build
    if not CONDITIONS[row["when"]](build):
        return ()
    if row["each"] == "channel":
        known = [channel.id for channel in build.channels]
        return [*known, *(channel.id for channel in build.unknown)]
    if row["each"] == "seat":
        return [seat.id for seat in build.seats]
    if row["each"] == "place":
        return _glazed(build)
    return ("",)


def _glazed(build: Build) -> list[str]:
    """Return the opened places with a depth behind them that somebody measured."""
    opened = changes(build).opened
    return [p.id for p in build.locations if p.id in opened and p.mount.glass_depths]


CONDITIONS: dict[str, Callable[[Build], bool]] = {
    "always": lambda _: True,
    "bridge": lambda build: build.head_unit.output == "bridge",
    "common-ground": lambda build: build.head_unit.output == "common-ground",
    "opens": lambda build: bool(changes(build).opened),
    "glazed": lambda build: bool(_glazed(build)),
}
"""The words of the column `when` of the checks."""


def _figure(name: str) -> Callable[[Answers, str], str | None]:
    """Return what reads a figure of a subject with its band."""

    def read(answers: Answers, subject: str) -> str | None:
        figure = answers.figure(f"{subject}.{name}")
        return None if figure is None or figure.value is None else say(figure).full

    return read


def _open_volts(answers: Answers, _: str) -> str:
    unit = answers.build.head_unit
    peak = clean_peak_voltage(supply=unit.supply.si, clip_loss=unit.clip_loss.si, impedance=inf)
    return number(float(peak) / sqrt(2.0), "V", most=1)


def _supply(answers: Answers, _: str) -> str:
    return number(answers.build.head_unit.supply.si, "V")


def _half_supply(answers: Answers, _: str) -> str:
    return number(answers.build.head_unit.supply.si / REGULATED, "V", most=1)


def _supply_current(answers: Answers, _: str) -> str | None:
    figure = answers.figure("head_unit.supply_current")
    return None if figure is None or figure.value is None else say(figure).full


def _feed_drop(answers: Answers, _: str) -> str | None:
    figure = answers.figure("head_unit.supply_current")
    if figure is None or figure.value is None:
        return None
    drop = figure.value * answers.build.head_unit.feed_resistance.si
    return f"{number(drop, 'V', most=2)}, both legs together"


def _sleeping(answers: Answers, _: str) -> str | None:
    drain = answers.supply.drain
    return None if drain is None else drain.text.partition(". ")[0].rstrip(".")


def _drivers(answers: Answers, _: str) -> str:
    return counted(len(answers.build.locations), "driver")


def _bass_change(answers: Answers, seat: str) -> str | None:
    figure = answers.figure(f"{seat}.bass_change")
    return None if figure is None else f"bass {say(figure).full}"


def _name(answers: Answers, subject: str) -> str:
    names = {place.id: place.name for place in answers.build.locations}
    return names.get(subject, subject)


def _load(answers: Answers, subject: str) -> str | None:
    loads = {channel.id: channel.load for channel in answers.build.channels}
    return loads.get(subject)


def _cable(answers: Answers, subject: str) -> str | None:
    """Return a supply cable as it is to lie: size, metal, length, its fuse and where that sits."""
    state = next((cable for cable in answers.build.feeds if cable.id == subject), None)
    if state is None or state.fuse is None or state.fuse_distance is None:
        return None
    told = [plain_text(value.quantity) for value in (state.size, state.length) if value is not None]
    fuse, along = fuse_in_words(state.fuse.si), plain_text(state.fuse_distance.quantity)
    return f"{', '.join([*told, state.metal.replace('-', ' ')])}; {fuse}, {along} along it"


EXPECTATIONS: dict[str, Callable[[Answers, str], str | None]] = {
    "plug_resistance": _figure("plug_resistance"),
    "rear_clearance": _figure("rear_clearance"),
    "front_clearance": _figure("front_clearance"),
    "cutout": _figure("cutout"),
    "driver_cutout": _figure("driver_cutout"),
    "spacer": _figure("spacer"),
    "name": _name,
    "load": _load,
    "cable": _cable,
    "bass_change": _bass_change,
    "open_volts": _open_volts,
    "supply": _supply,
    "half_supply": _half_supply,
    "supply_current": _supply_current,
    "feed_drop": _feed_drop,
    "sleeping": _sleeping,
    "drivers": _drivers,
}
"""What may stand in braces in the data files, and how it is worked out for a subject."""
