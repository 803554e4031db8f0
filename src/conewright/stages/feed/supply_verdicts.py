"""What feed says of supply cables and their fuses in words."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import TYPE_CHECKING

from conewright.job.builds.fills import plain_text
from conewright.phrases import listed
from conewright.physics.electrics.fuse import BREAKING_CURRENT, TRIPPING_RATIO
from conewright.stages.common.changes import as_found
from conewright.stages.feed.run import (
    SHORT_RATIO,
    Run,
    central,
    larger_sizes,
    largest_fuse,
    protection,
)
from conewright.stages.feed.supply import CELSIUS, fuse_colour, supply_cables
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.states.electrics import FeedState
    from conewright.job.builds.states.value import Value
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.common.load import RadioLoad
    from conewright.stages.feed.supply import SupplyCable
    from conewright.stages.report.assembly import Answer

__all__ = ["MOST_LOST", "fuse_in_words", "supply_verdicts"]

FARTHEST_FUSE = 0.450
"""Longest unfused way from the source [m]; common practice, no source."""

MOST_LOST = 0.3
"""Volts that a supply cable may lose to loud music; common practice, no source."""

CHARRED = CELSIUS + 200.0

BEHIND_CONVERTER = (
    "it lies behind the converter, which gives a short no more than its own limit: a fuse here may "
    "hold, and the one before the converter is what ends a fault in it."
)

WANTED = {
    "length": "the way along its route",
    "size": "the metal's cross-section",
    "current": "the sum of the amplifier's own fuses",
}


def supply_verdicts(answer: Answer, load: RadioLoad) -> None:
    """Say of every cable whether its fuse protects it, and what else there is to mind."""
    filled = frozenset(fill.path for fill in load.build.fills)
    behind = load.build.converter is not None
    there = as_found(load.build).feeds
    for cable in supply_cables(load):
        laid = cable.state not in there
        for name, severity, text, *figures in _said(cable, filled, behind=behind, laid=laid):
            ids = (f"{cable.state.id}.{figure}" for figure in figures)
            answer.verdict(cable.state.id, name, severity, f"{cable.state.id}: {text}", *ids)


Said = tuple[str, Severity, str, *tuple[str, ...]]
"""Name of a verdict, how much it matters, its words, names of the figures behind it."""


def _said(
    cable: SupplyCable, filled: frozenset[str], *, behind: bool, laid: bool
) -> Iterator[Said]:
    unfused = _unfused(cable.state)
    if unfused:
        yield "fuse", Severity.STOP, unfused, "fuse", "fuse_distance"
    if missing := _missing(cable):
        yield "unwritten", Severity.NOTE, missing
    if cable.run is not None:
        yield from _protection(cable.run, fused=not unfused, laid=laid)
        yield from _asked(cable, cable.run)
        yield from _lie(cable.run)
    if behind and cable.state.to == "radio":
        yield "behind", Severity.NOTE, BEHIND_CONVERTER
    if taken := "; ".join(_taken(cable.state, filled)):
        yield "taken", Severity.NOTE, f"{taken}."


def _unfused(cable: FeedState) -> str:
    """Return why there is no fuse at the source end; empty where there is one."""
    near = f"within {1e3 * FARTHEST_FUSE:.0f} mm of the battery post or fuse box"
    if cable.fuse is None:
        return (
            "no fuse at its source end is written down: no plan is made without one. Give fuse and "
            f"fuse_distance; it sits {near}."
        )
    if cable.fuse_distance is None:
        return (
            "where its fuse sits is not written down: it may be at the wrong end. Measure along "
            f"the cable to it: {near}."
        )
    if cable.fuse_distance.si > FARTHEST_FUSE:
        return (
            f"its fuse sits {plain_text(cable.fuse_distance.quantity)} along the cable: all of "
            f"that burns unfused. Move the fuse to {near}."
        )
    return ""


def _missing(cable: SupplyCable) -> str:
    """Return what to measure for figures of the cable, its fuse apart; empty for nothing."""
    names = [name for name in cable.unknown if name != "fuse"]
    names += ["current"] if cable.asked is None else []
    if not names:
        return ""
    wanted = listed([WANTED[name] for name in names])
    return f"not written down: {', '.join(names)}. Give {wanted}."


def _protection(run: Run, *, fused: bool, laid: bool) -> Iterator[Said]:
    """Yield whether the fuse protects the cable that lies behind it.

    A plan lays none that its own fuse lets burn.
    """
    stops = [] if protection(run).safe else list(_stops(run))
    behind = ("conductor_temperature", "conductor_temperature_bundled", "short_circuit_current")
    if stops:
        text = " ".join((*stops, _nearest(run)))
        burns = laid and protection(run).too_hot
        severity = Severity.STOP if burns else Severity.WARN
        yield "protection", severity, f"its fuse does not protect it. {text}", *behind
    elif fused:
        ratio = central(run.short_current) / central(run.fuse)
        text = (
            f"the fuse protects the cable: a dead short draws {ratio:.1f} times its rating and "
            f"ends within {number(central(run.opening), 's')}; the insulation stands "
            f"{number(central(run.withstand), 's')}."
        )
        yield "protection", Severity.GOOD, text, *behind


def _stops(run: Run) -> Iterator[str]:
    """Yield every way in which the fuse does not protect the cable."""
    failing = protection(run)
    fuse, limit = central(run.fuse), number(central(run.limit) - CELSIUS, "degC")
    if run.metal == "clad-aluminium":
        yield f"It is clad aluminium, {run.ohms_over_copper:.3g} times the ohms of copper."
    if failing.too_hot:
        hot = _degrees(run.at_most.temperature(run.fuse))
        yield f"It gets {hot} under {fuse:g} A for good, its insulation is for {limit}."
    if failing.too_hot_overloaded:
        current = TRIPPING_RATIO * fuse
        hot = _degrees(run.at_most.temperature(TRIPPING_RATIO * run.fuse))
        yield f"Its fuse may hold {current:.0f} A for ten minutes, which makes it {hot}."
    if failing.short_too_small:
        short = central(run.at_most.short_current)
        yield (
            f"A dead short at its far end may draw {short:.0f} A only, less than "
            f"{SHORT_RATIO:g} times its fuse: the fuse may be slow."
        )
    if failing.short_too_long:
        opening = central(run.opening)
        ends = f"take {number(opening, 's')}" if isfinite(opening) else "hold for good"
        yield (
            f"In a short its insulation is spent after {number(central(run.withstand), 's')}, the "
            f"fuse may {ends}."
        )


def _nearest(run: Run) -> str:
    """Say which fuse would protect this cable, and which cable would suit this fuse."""
    fuse, thicker = largest_fuse(run), next(larger_sizes(run), None)
    ways = []
    if fuse is not None:
        ways.append(f"this cable with {fuse_in_words(fuse)}")
    if thicker is not None:
        rated = fuse_in_words(central(run.fuse))
        ways.append(f"{1e6 * thicker:.3g} mm² of the same metal with {rated}")
    if not ways:
        return "No size of the table suits this run: shorten it, or feed it from nearer by."
    return f"What would do: {', or '.join(ways)}."


def _asked(cable: SupplyCable, run: Run) -> Iterator[Said]:
    """Yield what the fuse does not hold, and what loud music loses."""
    if cable.asked is not None and central(cable.asked) > TRIPPING_RATIO * central(run.fuse):
        text = (
            f"it is asked for up to {number(central(cable.asked), 'A')}: the fuse may open at full "
            "level. Never a larger fuse for that; a thicker cable first."
        )
        yield "asked", Severity.WARN, text, "asked_current", "fuse"
    lost = 0.0 if cable.music is None else central(run.drop(cable.music))
    if lost > MOST_LOST:
        text = f"loud music loses {number(lost, 'V')} in it: a thicker or shorter cable is wanted."
        yield "drop", Severity.WARN, text, "drop_music"


def _lie(run: Run) -> Iterator[Said]:
    """Yield what to mind where the cable lies, and right behind its fuse."""
    bundled = run.at_most.temperature(run.fuse, route="bundled")
    if (
        run.route == "free"
        and not protection(run).too_hot
        and central(bundled) > central(run.limit)
    ):
        text = (
            "it has to lie free all along: bundled or under carpet it would reach "
            f"{_degrees(bundled)} at its fuse's rating, and the insulation is for "
            f"{_degrees(run.limit)}."
        )
        yield "route", Severity.WARN, text, "conductor_temperature_bundled_most"
    near = central(run.near_short_current)
    if near > BREAKING_CURRENT:
        text = (
            f"a short right behind the fuse draws {near:.0f} A, more than a blade fuse breaks "
            f"({BREAKING_CURRENT:.0f} A): use a bolted one."
        )
        yield "breaking", Severity.WARN, text


def _taken(cable: FeedState, filled: frozenset[str]) -> Iterator[str]:
    """Yield what was taken for granted because nobody wrote it down, not even a plan."""
    if f"{cable.id}.metal" in filled:
        metal = cable.metal.replace("-", " ")
        yield f"taken for {metal} (scrape a strand: silver under the red is clad aluminium)"
    if f"{cable.id}.route" in filled:
        air = _degrees_of(cable.ambient)
        yield f"taken as bundled in a loom, conduit or under carpet, in air of {air}"
    if f"{cable.id}.insulation" in filled:
        limit = _degrees_of(cable.insulation)
        yield f"insulation taken for {limit}, as of road-vehicle cable (building cable: 70 °C)"


# --- Words ----------------------------------------------------------------------------------------


def _degrees(kelvin: FloatArray) -> str:
    warm = central(kelvin)
    return f"{warm - CELSIUS:.0f} °C" if warm < CHARRED else "over 200 °C"


def _degrees_of(value: Value) -> str:
    return f"{value.si - CELSIUS:.0f} °C"


def fuse_in_words(rating: float) -> str:
    """Return a fuse with its colour, as in `a 30 A fuse (green)`."""
    colour = fuse_colour(rating)
    return f"a {rating:g} A fuse ({colour})" if colour else f"a {rating:g} A fuse"
