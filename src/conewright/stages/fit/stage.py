"""Stage fit: will it go in, behind and in front?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import reduce

import numpy as np

from conewright.job.builds.draws import draw
from conewright.job.builds.fills import plain_text
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.units import MM
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.changes import (
    as_found,
    facing_axes,
    new_driver_places,
    opened_places,
)
from conewright.stages.common.screws import is_measured, screws_agree
from conewright.stages.find.faults.told import finding_verdicts
from conewright.stages.fit.margins import FRONT, REAR
from conewright.stages.fit.proved import Proved, proved_draws, sits_there
from conewright.stages.fit.sandwich import (
    Sandwich,
    SpacerWindow,
    allowances,
    sandwich_of,
)
from conewright.stages.fit.verdicts import (
    behind_verdicts,
    fit_sentence,
    fit_verdicts,
    proof_verdicts,
    sitting_verdict,
    unjudged_verdicts,
)
from conewright.stages.fit.working import fit_working
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import FillNote, Kind, Report
from conewright.stages.report.having import WINDOW_KINDS

__all__ = ["ODDS_SAMPLES", "fit", "spacer_windows"]

ODDS_SAMPLES = 8192
"""Draws behind the odds: a chance of 2 % rests on 164 of them."""

FIELDS = frozenset({"mount", "frame", "xmax"})
"""Words in the path of whatever fit depends on."""


NO_DEPTH = "not judged: measure steel to glass, window fully down, at three points"
NO_ROOM = "not judged: measure from the mounting face to the next thing behind"
NO_GAP = "not judged: measure from the mounting face to the back of the trim"
NO_HOLE = "not judged: measure the opening in the steel"
NO_LAND = "not judged: measure the flat steel around the opening"
NO_SCREWS = "not judged: count the screws and measure their circle, on mount and frame"


def fit(
    build: Build,
    against: Build | None = None,
    *,
    samples: int = ODDS_SAMPLES,
    whole: bool = True,
) -> Report:
    """Answer whether the drivers of a build go in, behind and in front.

    Every place is judged of which somebody measured the depth, the gap or the opening; what is
    merely typical there counts as not measured.

    Args:
        build: the build with its drivers, spacers and mounts.
        against: a build of the same job to compare it with.
        samples: number of draws, a power of two.
        whole: whether the measurements that would help most are named; that takes long.

    >>> import conewright as cw
    >>> cw.fit(cw.demo_job().build("larger-fronts"), whole=False).answer
    'Does not go in: front left door, front right door.'
    """
    draws, proved = proved_draws(build, draw(_axes(build), samples=samples))
    answer = Answer("fit", build, against, draws)
    judged = [sandwich_of(place, draws) for place in build.locations if has_dimensions(place)]
    before = {place.id: place for place in against.locations} if against else {}
    for sandwich in judged:
        _behind(answer, sandwich)
        _in_front(answer, sandwich)
        _spacers(answer, sandwich)
        _hole(answer, sandwich.place)
        _dimensions(answer, sandwich)
        if sandwich.place.id in before:
            _changes(answer, sandwich, sandwich_of(before[sandwich.place.id], draws))
    for sandwich in judged:
        fit_working(answer, sandwich)
    asked = _asked_about(build, judged)
    _speak(answer, asked, proved)
    report = answer.report(headlines=dict(_headlines(asked)) if whole else {})
    return report.model_copy(update={"fills": tuple(_fills(report, judged))})


def spacer_windows(build: Build, *, samples: int = ODDS_SAMPLES) -> dict[str, SpacerWindow]:
    """Return the spacers with which each driver fits, for every place that was measured.

    Args:
        build: as for `fit`, whose figures are the same.
        samples: number of draws, a power of two.

    """
    draws, _ = proved_draws(build, draw(_axes(build), samples=samples))
    places = [place for place in build.locations if has_dimensions(place)]
    return {place.id: sandwich_of(place, draws).window for place in places}


def _asked_about(build: Build, judged: list[Sandwich]) -> list[Sandwich]:
    """The places a plan changes; of the vehicle as found, all."""
    if build.proposal is None:
        return judged
    found = {place.id: place for place in as_found(build).locations}
    return [s for s in judged if _shape(s.place) != _shape(found.get(s.place.id))]


def _shape(place: LocationState | None) -> LocationState | None:
    """Return a place without its faults, which take no room."""
    return None if place is None else replace(place, faults=(), repairs=())


def _speak(answer: Answer, asked: list[Sandwich], proved: tuple[Proved, ...]) -> None:
    """Add the verdicts, and the answer in one sentence."""
    finding_verdicts(answer)
    opened = {place.id for place in opened_places(answer.build)}
    found = {place.id: place for place in as_found(answer.build).locations}
    for sandwich in asked:
        place = sandwich.place
        sits = sits_there(place, found.get(place.id))
        if sits:
            sitting_verdict(answer, sandwich)
        else:
            fit_verdicts(answer, sandwich, found.get(place.id), opened=place.id in opened)
        here = [each for each in proved if each.place.id == place.id]
        proof_verdicts(answer, here, moved=not sits)
    behind_verdicts(answer, answer.build.locations)
    unjudged_verdicts(answer, _unmeasured(answer.build))
    fit_sentence(answer, [sandwich.place for sandwich in asked])


def has_dimensions(place: LocationState) -> bool:
    """Whether anybody measured what fit is about at this place."""
    mount = place.mount
    return any(is_measured(value) for value in (*mount.glass_depths, mount.trim_gap, mount.cutout))


def _unmeasured(build: Build) -> list[LocationState]:
    """Places that get another driver though nobody measured anything there."""
    new = new_driver_places(build)
    return [place for place in build.locations if place.id in new and not has_dimensions(place)]


def _axes(build: Build) -> tuple[str, ...]:
    """Axes of the job that a fit can depend on, and those of the allowances of every place.

    They are the same for every build of a job, so that two builds share the draws of what they
    share.
    """
    named = (axis for axis in build.axes if FIELDS.intersection(axis.split(".")))
    own = (value.path for place in build.locations for value in allowances(place))
    return (*named, *own)


def _headlines(judged: list[Sandwich]) -> Iterator[tuple[str, FloatArray]]:
    for sandwich in judged:
        if sandwich.worst is not None:
            yield f"{sandwich.place.id}.rear_clearance", sandwich.worst
        if sandwich.front is not None:
            yield f"{sandwich.place.id}.front_clearance", sandwich.front


def _behind(answer: Answer, sandwich: Sandwich) -> None:
    name, missing = sandwich.place.id, _no_depth(sandwich.place)
    for point, clearance in enumerate(sandwich.rear, start=1):
        label = f"clearance behind, point {point}"
        _length(answer, name, f"rear_clearance_{point}", clearance, label)
    label = "clearance behind, at the tightest point"
    _length(answer, name, "rear_clearance", sandwich.worst, label, missing)
    for odds, margin, of in (
        ("rear_odds", REAR.room, f"under {REAR.words}"),
        ("touch_odds", 0.0, "none"),
    ):
        chance, label = sandwich.rear_odds(margin=margin), f"chance of {of} behind"
        _odds(answer, name, odds, chance, label, clearance=sandwich.worst, missing=missing)


def _no_depth(place: LocationState) -> str:
    """Return what to measure where nobody measured the depth."""
    return NO_DEPTH if place.kind in WINDOW_KINDS else NO_ROOM


def _in_front(answer: Answer, sandwich: Sandwich) -> None:
    name, label = sandwich.place.id, "clearance in front, cone at full travel"
    if sandwich.front is not None:
        _length(answer, name, "front_clearance_1", sandwich.front, label)
    _length(answer, name, "front_clearance", sandwich.front, label, NO_GAP)
    chances = (
        ("front_odds", FRONT.room, f"under {FRONT.words}"),
        ("front_touch_odds", 0.0, "none"),
    )
    for odds, margin, of in chances:
        chance, label = sandwich.front_odds(margin=margin), f"chance of {of} in front"
        _odds(answer, name, odds, chance, label, clearance=sandwich.front, missing=NO_GAP)


def _odds(
    answer: Answer,
    subject: str,
    name: str,
    chance: float | None,
    label: str,
    *,
    clearance: FloatArray | None,
    missing: str,
) -> None:
    """Add the odds of a clearance, as trustworthy as that; without one, what to measure."""
    answer.figure(
        subject,
        name,
        chance,
        unit="",
        kind=Kind.ODDS,
        label=label,
        text=_unknown(clearance, missing),
        carrier=clearance,
    )


def _spacers(answer: Answer, sandwich: Sandwich) -> None:
    window, none = sandwich.window, "no spacer leaves room enough on both sides"
    ends = (
        (sandwich.worst, "spacer_low", window.low, "thinnest spacer", _no_depth(sandwich.place)),
        (sandwich.front, "spacer_high", window.high, "thickest spacer", NO_GAP),
    )
    for clearance, name, metres, label, missing in ends:
        known = metres is not None and not window.empty
        answer.figure(
            sandwich.place.id,
            name,
            metres * MM if metres is not None and known else None,
            unit="mm",
            label=label,
            text=None if known else none if window.empty else _unknown(clearance, missing),
            carrier=clearance,
        )


def _unknown(clearance: FloatArray | None, missing: str) -> str | None:
    """Return what to measure where there is no clearance."""
    return missing if clearance is None else None


def _hole(answer: Answer, place: LocationState) -> None:
    mount, frame, draws = place.mount, place.driver.frame, answer.draws
    enlarge = land = edge = None
    if mount.cutout is not None and frame is not None:
        facing = facing_axes(place)
        enlarge = np.maximum(0.0, reduce(np.maximum, (draws(a) - draws(b) for a, b in facing)))
        if frame.screw_circle is not None:
            opening = np.maximum(draws(frame.cutout), draws(mount.cutout))
            edge = (draws(frame.screw_circle) - opening) / 2
    if mount.land is not None and enlarge is not None:
        land = draws(mount.land) - enlarge / 2
    _length(answer, place.id, "enlarge", enlarge, _to_cut(place), NO_HOLE)
    _length(answer, place.id, "land_left", land, "flat steel left around the opening", NO_LAND)
    _length(answer, place.id, "screw_edge", edge, "screw centre to edge of opening", NO_SCREWS)
    agree = screws_agree(place)
    answer.figure(
        place.id,
        "screws_match",
        None if agree is None else float(agree),
        unit="",
        kind=Kind.YES,
        label="whether the screw holes match, 1 or 0",
        text=NO_SCREWS if agree is None else None,
    )


def _to_cut(place: LocationState) -> str:
    oval = place.driver.frame.cutout_long or place.mount.cutout_long
    return "to cut, where most is" if oval else "to cut, in diameter"


def _dimensions(answer: Answer, sandwich: Sandwich) -> None:
    """Add what the section drawing is made of."""
    place = sandwich.place
    mount, frame = place.mount, place.driver.frame
    depths = [value for value in mount.glass_depths if is_measured(value)]
    for point, depth in enumerate(depths, start=1):
        _dimension(answer, place, f"glass_depth_{point}", depth, f"depth behind, {point}")
    least = min(depths, key=lambda value: value.si, default=None)
    _dimension(answer, place, "glass_depth", least, "least depth behind", _no_depth(place))
    gap = mount.trim_gap if is_measured(mount.trim_gap) else None
    _dimension(answer, place, "trim_gap", gap, "gap to the trim", NO_GAP)
    _dimension(answer, place, "spacer", mount.spacer, "spacer")
    _dimension(answer, place, "cutout", mount.cutout, "opening in the steel", NO_HOLE)
    _dimension(answer, place, "steel", mount.steel, "thickness of the steel")
    if frame is not None:
        _dimension(answer, place, "driver_depth", frame.depth, "depth of the driver")
        _dimension(answer, place, "front_height", frame.front_height, "height of its front")
        _dimension(answer, place, "driver_cutout", frame.cutout, "opening the driver needs")
        _dimension(answer, place, "driver_outer", frame.outer, "outer diameter of the driver")
        _long_axes(answer, place)
    _length(answer, place.id, "travel", sandwich.travel, "how far the cone may come out")
    for name, holds, label in (
        ("window", place.kind in WINDOW_KINDS, "whether a window comes down behind, 1 or 0"),
        ("trim", place.trim is not None, "whether a trim or grille belongs in front, 1 or 0"),
    ):
        answer.figure(place.id, name, float(holds), unit="", kind=Kind.YES, label=label)
    answer.figure(
        place.id,
        "ring",
        float(mount.ring),
        unit="",
        kind=Kind.YES,
        label="whether a ring seals it, 1 or 0",
    )


def _long_axes(answer: Answer, place: LocationState) -> None:
    """Add the long axes of an oval opening and an oval driver."""
    mount, frame = place.mount, place.driver.frame
    for name, value, label in (
        ("cutout_long", mount.cutout_long, "opening in the steel, long axis"),
        ("driver_cutout_long", frame.cutout_long, "opening the driver needs, long axis"),
        ("driver_outer_long", frame.outer_long, "flange of the driver, long axis"),
    ):
        if value is not None:
            _dimension(answer, place, name, value, label)


def _changes(answer: Answer, sandwich: Sandwich, before: Sandwich) -> None:
    """Add what changed against the other build, drawn together."""
    pairs = {
        "rear_clearance_change": (sandwich.worst, before.worst, "change of the clearance behind"),
        "front_clearance_change": (sandwich.front, before.front, "change of that in front"),
    }
    for name, (now, then, label) in pairs.items():
        if now is not None and then is not None:
            _length(answer, sandwich.place.id, name, now - then, label, kind=Kind.CHANGE)


def _length(
    answer: Answer,
    subject: str,
    name: str,
    metres: FloatArray | float | None,
    label: str,
    missing: str | None = None,
    *,
    kind: Kind = Kind.NUMBER,
    origin: Origin | None = None,
) -> None:
    """Add a length in millimetres; without one, `missing` says what to measure."""
    values = None if metres is None else np.asarray(metres, dtype=float) * MM
    text = missing if metres is None else None
    answer.figure(
        subject, name, values, unit="mm", kind=kind, label=label, text=text, origin=origin
    )


def _dimension(
    answer: Answer,
    place: LocationState,
    name: str,
    value: Value | None,
    label: str,
    missing: str | None = None,
) -> None:
    """Add a dimension as it was given or filled, with its own origin."""
    if value is None:
        _length(answer, place.id, name, None, label, missing)
    else:
        _length(answer, place.id, name, answer.draws(value), label, origin=value.origin)


def _fills(report: Report, judged: list[Sandwich]) -> Iterator[FillNote]:
    """What was put in where nothing was given, as far as it carries a clearance."""
    used = {value.path for s in judged for value in (*s.rear_inputs, *s.front_inputs)}
    yield from (fill for fill in report.fills if fill.path in used)
    for sandwich in judged:
        for value in sandwich.allowances:
            yield FillNote(
                path=value.path,
                value=plain_text(value.quantity),
                origin=value.origin,
                source=value.source,
            )
