"""Cable and fuse of radio and amplifier.

No cable is planned without a fuse at its source end: the fuse protects the cable, so it sits where
the current comes from, whatever fuse there is in the radio or the amplifier.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from conewright.job.build.fills import plain_text
from conewright.papers.press.refusals import Refusal
from conewright.papers.wiring.drain import Drain, Finding, drain_of
from conewright.papers.wiring.run import ROUTES, SHORT_RATIO, Range, Run, larger_sizes
from conewright.physics.fuse import BREAKING_CURRENT, TRIPPING_RATIO, fuses, next_fuse
from conewright.stages.common.changes import planned_job
from conewright.stages.feed.stage import feed
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.job.build.state import Build
    from conewright.job.document.document import Feed
    from conewright.stages.report.data import Report

__all__ = ["FeedPlan", "SupplyPlan", "supply", "unfused"]

FARTHEST_FUSE = 0.450
"""Longest unfused way from the source [m]; common practice, no source."""

INSULATION = 273.15 + 105.0
"""Rating of thin-wall road-vehicle cable [K] (ISO 6722 class B as trade data sheets rate it)."""

REST_VOLTAGE = 12.6
"""Of a full 12 V battery [V]."""

MUSIC_SHARE = 0.3
"""Mean current of loud music over the sum of an amplifier's fuses; common practice, no source."""

MOST_LOST = 0.3
"""Volts that a supply cable may lose to loud music; common practice, no source."""

CELSIUS = 273.15
CHARRED = CELSIUS + 200.0


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """A cable with a fuse that protects it: what the label and the sheet say; names carry units."""

    id: str
    to: Literal["radio", "amplifier"]
    run: Run
    size: str
    fuse_colour: str
    fuse_distance_m: float
    asked_a: float | None
    music_a: float | None
    drop_v: Range
    music_drop_v: float | None
    free_c: Range
    bundled_c: Range
    overload_c: Range
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class SupplyPlan:
    """Cables that are planned, those that are refused, and the battery.

    `unwritten` says what is missing where the job writes down no cable to the radio at all.
    """

    feeds: tuple[FeedPlan, ...]
    refusals: tuple[Refusal, ...]
    unwritten: str
    drain: Drain | None
    notes: tuple[str, ...]


def supply(build: Build, *, report: Report | None = None) -> SupplyPlan:
    """Return the supply plan of a build.

    Args:
        build: the state of the vehicle that the papers are for.
        report: what stage feed says of it; asked here when None.

    """
    job = planned_job(build)
    asked = _Asked.of(build, report)
    planned: list[FeedPlan] = []
    refusals: list[Refusal] = []
    for cable in job.feeds:
        outcome = _plan(cable, build, asked)
        if isinstance(outcome, Refusal):
            refusals.append(outcome)
        else:
            planned.append(outcome)
    to_radio = any(cable.to == "radio" for cable in job.feeds)
    return SupplyPlan(
        feeds=tuple(planned),
        refusals=tuple(refusals),
        unwritten="" if to_radio else _unwritten(asked),
        drain=drain_of(build),
        notes=_notes(job.feeds),
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """Mean supply current of the radio [A]: a sine on all channels, and loud music."""

    sine: float
    music: float

    @classmethod
    def of(cls, build: Build, report: Report | None) -> _Asked:
        found = {figure.id: figure.value for figure in (report or feed(build)).figures}
        return cls(
            found["head_unit.supply_current_sine"] or 0.0,
            found["head_unit.supply_current"] or 0.0,
        )


def _unwritten(asked: _Asked) -> str:
    return (
        "The radio's own feed is not planned: nobody wrote down its fuse at the source end. It is "
        f"asked for {number(asked.music, 'A')} with loud music and {number(asked.sine, 'A')} with "
        "a full tone on all channels at once; "
        f"{_words_of_fuse(next_fuse(least=asked.sine).rating)} holds that. Leave "
        "the vehicle's fuse as it is, and write it down under [[feed]]."
    )


# --- One cable ------------------------------------------------------------------------------------


def _plan(cable: Feed, build: Build, asked: _Asked) -> FeedPlan | Refusal:
    missing = unfused(cable) or _unmeasured(cable)
    if missing is not None:
        return missing
    run = _run(cable, build)
    stops = [finding.text for finding in _stops(run)]
    if stops:
        return Refusal(cable.id, "feed", " ".join(stops), _nearest(run))
    assert cable.size is not None
    assert cable.fuse_distance is not None
    wanted, music = _currents(cable, asked)
    return FeedPlan(
        id=cable.id,
        to=cable.to,
        run=run,
        size=plain_text(cable.size),
        fuse_colour=_colour(run.fuse),
        fuse_distance_m=cable.fuse_distance.value,
        asked_a=wanted,
        music_a=music,
        drop_v=run.drop(run.fuse),
        music_drop_v=None if music is None else run.drop(music).value,
        free_c=_celsius(run.temperature(run.fuse, route="free")),
        bundled_c=_celsius(run.temperature(run.fuse, route="bundled")),
        overload_c=_celsius(run.temperature(TRIPPING_RATIO * run.fuse)),
        findings=tuple(_findings(cable, run, wanted, music)),
    )


def unfused(cable: Feed) -> Refusal | None:
    """Return why there is no fuse at the source end, None where there is one."""
    near = f"within {1e3 * FARTHEST_FUSE:.0f} mm of the battery post or fuse box"
    if cable.fuse is None:
        text = "No fuse at its source end is written down: no plan is made without one."
        return Refusal(cable.id, "feed", text, f"Give fuse and fuse_distance; it sits {near}.")
    if cable.fuse_distance is None:
        text = "Where its fuse sits is not written down: it may be at the wrong end."
        return Refusal(cable.id, "feed", text, f"Measure along the cable to it: {near}.")
    if cable.fuse_distance.value > FARTHEST_FUSE:
        text = (
            f"Its fuse sits {plain_text(cable.fuse_distance)} along the cable: all of that burns "
            "unfused."
        )
        return Refusal(cable.id, "feed", text, f"Move the fuse to {near}.")
    return None


def _unmeasured(cable: Feed) -> Refusal | None:
    wanted = {"length": cable.length, "size": cable.size}
    if cable.to == "amplifier":
        wanted["current"] = cable.current
    missing = [name for name, value in wanted.items() if value is None]
    if not missing:
        return None
    text = f"Not written down: {', '.join(missing)}."
    return Refusal(
        cable.id,
        "feed",
        text,
        "Give the way along its route, the metal's cross-section and, "
        "of an amplifier, the sum of its own fuses.",
    )


def _run(cable: Feed, build: Build) -> Run:
    assert cable.size is not None
    assert cable.length is not None
    assert cable.fuse is not None
    route = cable.route or "bundled"
    rest = build.vehicle.battery.rest_voltage
    return Run(
        area=cable.size.value,
        length=cable.length.value,
        fuse=cable.fuse.value,
        metal=cable.metal or _usual_metal(cable),
        route=route,
        ambient=ROUTES[route][1] if cable.ambient is None else cable.ambient.value,
        limit=INSULATION if cable.insulation is None else cable.insulation.value,
        by_cable=cable.return_by == "cable",
        supply=REST_VOLTAGE if rest is None else rest.si,
    )


def _usual_metal(cable: Feed) -> Literal["copper", "clad-aluminium"]:
    """A vehicle's own feed is copper; of a bought kit the worse is taken until it is looked at."""
    return "copper" if cable.to == "radio" else "clad-aluminium"


def _currents(cable: Feed, asked: _Asked) -> tuple[float | None, float | None]:
    """Most and mean current that a cable is asked for [A]."""
    if cable.current is not None:
        music = asked.music if cable.to == "radio" else MUSIC_SHARE * cable.current.value
        return cable.current.value, music
    return asked.sine, asked.music


def _stops(run: Run) -> Iterator[Finding]:
    """Yield every way in which the fuse does not protect the cable."""
    limit = number(run.limit - CELSIUS, "degC")
    if run.too_hot:
        hot = _degrees(run.temperature(run.fuse).most)
        text = f"It gets {hot} under {run.fuse:g} A for good, its insulation is for {limit}."
        yield Finding(Severity.STOP, text)
    if run.too_hot_overloaded:
        current = TRIPPING_RATIO * run.fuse
        hot = _degrees(run.temperature(current).most)
        text = f"Its fuse may hold {current:.0f} A for ten minutes, which makes it {hot}."
        yield Finding(Severity.STOP, text)
    if run.short_too_small:
        text = (
            f"A dead short at its far end draws {run.short_current:.0f} A, less than "
            f"{SHORT_RATIO:g} times its fuse: the fuse may be slow."
        )
        yield Finding(Severity.STOP, text)
    if run.short_too_long:
        text = (
            f"In a short its insulation is spent after {number(run.withstand, 's')}, the fuse may "
            f"take {number(run.opening, 's')}."
        )
        yield Finding(Severity.STOP, text)


def _nearest(run: Run) -> str:
    """Say which fuse would protect this cable, and which cable would suit this fuse."""
    fuse = run.largest_fuse()
    thicker = next(larger_sizes(run), None)
    ways = []
    if fuse is not None:
        ways.append(f"this cable with {_words_of_fuse(fuse)}")
    if thicker is not None:
        ways.append(
            f"{1e6 * thicker.area:.3g} mm² of the same metal with {_words_of_fuse(run.fuse)}"
        )
    if not ways:
        return "No size of the table suits this run: shorten it, or feed it from nearer by."
    return f"What would do: {', or '.join(ways)}."


def _findings(
    cable: Feed, run: Run, wanted: float | None, music: float | None
) -> Iterator[Finding]:
    yield Finding(
        Severity.GOOD,
        f"The fuse protects the cable: a dead short draws {run.short_current / run.fuse:.1f} times "
        f"its rating and ends within {number(run.opening, 's')}; the insulation stands "
        f"{number(run.withstand, 's')}.",
    )
    if wanted is not None and wanted > TRIPPING_RATIO * run.fuse:
        yield Finding(
            Severity.WARN,
            f"It is asked for up to {number(wanted, 'A')}: the fuse may open at full level. Never "
            "a larger fuse for that; a thicker cable first.",
        )
    lost = None if music is None else run.drop(music).value
    if lost is not None and lost > MOST_LOST:
        text = f"Loud music loses {number(lost, 'V')} in it: a thicker or shorter cable is wanted."
        yield Finding(Severity.WARN, text)
    bundled = run.temperature(run.fuse, route="bundled").most
    if run.route == "free" and bundled > run.limit:
        yield Finding(
            Severity.WARN,
            f"It has to lie free all along: bundled or under carpet it would reach "
            f"{_degrees(bundled)} at its fuse's rating, and the insulation is for "
            f"{_degrees(run.limit)}.",
        )
    if run.near_short_current > BREAKING_CURRENT:
        yield Finding(
            Severity.WARN,
            f"A short right behind the fuse draws {run.near_short_current:.0f} A, more than a "
            f"blade fuse breaks ({BREAKING_CURRENT:.0f} A): use a bolted one.",
        )
    yield from _assumed(cable)


def _assumed(cable: Feed) -> Iterator[Finding]:
    """Yield what was taken for granted because nobody wrote it down."""
    if cable.metal is None:
        metal = _usual_metal(cable).replace("-", " ")
        text = f"Taken for {metal}: scrape a strand; silver under the red is clad aluminium."
        yield Finding(Severity.NOTE, text)
    if cable.route is None:
        text = "Taken as bundled, in air of 60 °C: in a loom, conduit or under carpet."
        yield Finding(Severity.NOTE, text)
    if cable.insulation is None:
        text = "Insulation taken for 105 °C, as of road-vehicle cable; building cable is for 70 °C."
        yield Finding(Severity.NOTE, text)


def _notes(cables: tuple[Feed, ...]) -> tuple[str, ...]:
    if not cables:
        return ()
    return (
        "The fuse is sized for the cable and sits at its source end, whatever fuse the device has.",
        "Grommet at every hole in steel; ground to bare metal, painted afterwards, not shared.",
        "After ten minutes at a high level feel fuse holder and joints: warm is a fault.",
    )


# --- Words ----------------------------------------------------------------------------------------


def _celsius(kelvin: Range) -> Range:
    return Range(kelvin.value - CELSIUS, kelvin.most - CELSIUS)


def _degrees(kelvin: float) -> str:
    return f"{kelvin - CELSIUS:.0f} °C" if kelvin < CHARRED else "over 200 °C"


def _colour(rating: float) -> str:
    return next((fuse.colour for fuse in fuses() if fuse.rating == rating), "")


def _words_of_fuse(rating: float) -> str:
    colour = _colour(rating)
    return f"a {rating:g} A fuse ({colour})" if colour else f"a {rating:g} A fuse"
