"""What is read on the vehicle: first power-up, hand-over, settings, with what to expect there.

The rows are data files. What stands in braces in them is worked out for this vehicle; where
nothing is known of it, a dash is printed and the limit stands alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf, sqrt
from string import Formatter

from conewright.data_files import data_rows
from conewright.job.builds.fills import plain_text
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.papers.press.answers import Answers
from conewright.phrases import listed
from conewright.physics.electrics.amplifier import clean_peak_voltage
from conewright.stages.common.changes import changes, pairs_of
from conewright.stages.feed.supply_verdicts import fuse_in_words
from conewright.stages.report.having import WINDOW_KINDS, has_all, instead_of, may_filter
from conewright.stages.report.words import number
from conewright.views.numbers import say

__all__ = [
    "NOT_KNOWN",
    "Check",
    "Line",
    "Settings",
    "expected",
    "hand_over",
    "needed_rows",
    "power_up",
    "settings",
]

NOT_KNOWN = "–"
WHOLE = "vehicle"
"""Where a reading is taken that belongs to no channel, place or seat."""
SIDES = ("left to right", "other side")
"""What a part of a limit says that compares two sides."""

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
    for row in needed_rows(answers.build, "settings.csv"):
        texts[row["group"]].append(expected(answers, row["text"], ""))
    channels = tuple(
        Line(channel.id, ". As planned: ".join(filter(None, (asked, planned_filters(channel)))))
        for channel in answers.build.channels
        for asked in [high_pass(answers, channel)]
    )
    return Settings(channels, *(tuple(texts[group]) for group in ("set", "mark", "off")))


def high_pass(answers: Answers, channel: ChannelState) -> str:
    """Return the high-pass that a channel needs: the highest any of its drivers asks for."""
    if not may_filter(answers.build, channel):
        return "this radio has none: bass down at the tone knob"
    found = [answers.figure(f"{place}.high_pass") for place, _ in channel.polarity]
    asked = [figure for figure in found if figure is not None]
    unanswered = [figure.text for figure in asked if figure.value is None]
    if unanswered or not asked:
        return unanswered[0] or NOT_KNOWN if unanswered else NOT_KNOWN
    highest = max(asked, key=lambda figure: figure.value or 0.0)
    return highest.text or say(highest).full


def planned_filters(channel: ChannelState) -> str:
    """Return the filters that a channel has as planned, and in what drives it; empty for none."""
    settings = channel.settings
    told = [
        f"{side} {plain_text(each.corner.quantity)}, {each.slope} dB per octave, {each.kind}"
        for side, each in (("high-pass", settings.high_pass), ("low-pass", settings.low_pass))
        if each is not None
    ]
    return f"{'; '.join(told)} in {channel.driven_by or 'the radio'}" if told else ""


def expected(answers: Answers, template: str, subject: str) -> str:
    """Return a text with what stands in braces worked out; a dash where that is not known."""
    names = [name for _, name, _, _ in Formatter().parse(template) if name]
    values = {name: EXPECTATIONS[name](answers, subject) for name in names}
    if any(value is None for value in values.values()):
        return NOT_KNOWN
    return template.format(**values)


def needed_rows(build: Build, file: str) -> Iterator[dict[str, str]]:
    """Yield the rows of a table of the papers whose subject this vehicle can have."""
    table = file.removesuffix(".csv")
    needs = instead_of("papers")
    for row in data_rows("papers", file):
        needed, _ = needs.get((table, next(iter(row.values()))), ("", ""))
        if has_all(build, needed):
            yield row


def _checks(answers: Answers, file: str, key: str) -> tuple[Check, ...]:
    rows = needed_rows(answers.build, file)
    made = (_check(answers, row, key) for row in rows)
    return tuple(check for check in made if check.lines)


def _check(answers: Answers, row: dict[str, str], key: str) -> Check:
    return Check(
        id=row[key],
        title=row["title"],
        how=expected(answers, row.get("how", ""), ""),
        limit=_without_sides(row["limit"], answers.build),
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
    if row["each"] == "output":
        return [channel.id for channel in build.channels if channel.driven_by is None]
    if row["each"] == "amplifier":
        return [each.id for each in build.amplifiers]
    if row["each"] in ("channel", "paired", "returned"):
        by_chassis = {c.id for c in pairs_of(build) if c.return_by == "chassis"}
        wanted = {"paired": lambda id: id not in by_chassis, "returned": by_chassis.__contains__}
        fits = wanted.get(row["each"], lambda _: True)
        return [channel.id for channel in pairs_of(build) if fits(channel.id)]
    if row["each"] == "seat":
        return [seat.id for seat in build.seats]
    if row["each"] == "place":
        return _deep(build, glazed=row["when"] == "glazed")
    return ("",)


def _deep(build: Build, *, glazed: bool) -> list[str]:
    """Return the opened places with a depth behind them, to a window or to anything else."""
    opened = changes(build).opened
    return [
        place.id
        for place in build.locations
        if place.id in opened and place.mount.glass_depths
        if (place.kind in WINDOW_KINDS) is glazed
    ]


def _without_sides(text: str, build: Build) -> str:
    """Return a limit without what compares two sides, where there is only one."""
    if has_all(build, "sides"):
        return text
    kept = [each for each in text.split("; ") if not any(word in each for word in SIDES)]
    return "; ".join(kept) or "as expected here"


CONDITIONS: dict[str, Callable[[Build], bool]] = {
    "always": lambda _: True,
    "bridge": lambda build: build.head_unit.output == "bridge",
    "common-ground": lambda build: build.head_unit.output == "common-ground",
    "converter": lambda build: build.converter is not None,
    "positive": lambda build: build.vehicle.ground == "positive",
    "amplified": lambda build: bool(build.amplifiers),
    "doored": lambda build: has_all(build, "door", changes(build).opened),
    "glazed": lambda build: bool(_deep(build, glazed=True)),
    "unglazed": lambda build: bool(_deep(build, glazed=False)),
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


def _battery_volts(answers: Answers, _: str) -> str:
    return number(answers.build.vehicle.rest_voltage.si, "V")


def _supply_current(answers: Answers, _: str) -> str | None:
    figure = answers.figure("head_unit.supply_current")
    if figure is None or figure.value is None:
        return None
    units = [
        (answers.figure(f"{each.id}.supply_current"), each) for each in answers.build.amplifiers
    ]
    told = [f"{say(found).full} by {each.name}" for found, each in units if found is not None]
    return listed([f"{say(figure).full} by the radio", *told]) if told else say(figure).full


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
    count = len(answers.build.locations)
    return "one driver, outward on +" if count == 1 else f"{count} drivers, all outward on +"


def _bass_change(answers: Answers, seat: str) -> str | None:
    figure = answers.figure(f"{seat}.bass_change")
    return None if figure is None else f"bass {say(figure).full}"


def _name(answers: Answers, subject: str) -> str:
    build = answers.build
    names = {place.id: place.name for place in build.locations}
    names |= {unit.id: unit.name for unit in build.amplifiers}
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
    "battery_volts": _battery_volts,
    "supply_current": _supply_current,
    "feed_drop": _feed_drop,
    "sleeping": _sleeping,
    "drivers": _drivers,
}
"""What may stand in braces in the data files, and how it is worked out for a subject."""
