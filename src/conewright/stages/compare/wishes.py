"""What the owner asked for: what a build gives of it, and what of it is not wanted."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from conewright.phrases import listed
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.changes import Changes, changes, new_driver_places, planned_job
from conewright.stages.common.together import in_group
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.document.document import Document, Goals

__all__ = [
    "ALIKE_POINTS",
    "APPEARANCE",
    "REVERSIBLE",
    "SPAN",
    "UNASKED",
    "Given",
    "beyond",
    "marked",
    "marks",
    "most_by_wish",
    "points",
    "points_by_wish",
    "seat_that_counts",
    "share_of",
    "span_of",
]

Given = float | FloatArray
"""One number, or many at once."""

SPAN: Mapping[str, tuple[float, float]] = {
    "bass": (-6.0, 12.0),
    "loudness": (-6.0, 6.0),
    "clarity": (-6.0, 12.0),
    "reversible": (0.0, 1.0),
    "appearance": (0.0, 1.0),
    "hands_free": (0.0, 1.0),
}
"""From nothing to everything that is wished [dB, 1], where the owner's goals do not say otherwise;
workshop choice, no source."""

ALIKE_POINTS = 1.0
"""Points of 100 within this of the most count as the same, and money decides; workshop choice, no
source."""

REVERSIBLE = {"patched": 0.15, "cuts": 0.5, "holed": 0.5}
APPEARANCE = {"new-radio": 0.3, "grilled": 0.2}
"""What a kind of change takes off a wish that is whole at 1; workshop choice, no source."""

KNOBS: Mapping[str, tuple[str, ...]] = {
    "ring": ("ring",),
    "cover": ("patched", "filmed"),
    "polarity": ("turned",),
    "wiring": ("rewired", "taken-off", "return-laid"),
    "capacitor": ("new-parts",),
    "high-pass": ("filtered",),
    "radio": ("new-radio", "new-converter", "converter-out"),
    "amplifier": ("new-amplifier",),
}
"""What may be changed, by the kinds of change that it stands for."""

UNASKED = {"bass": 2}
"""What is reckoned with where nobody complains and nobody asked for anything."""


def _weights(job: Document) -> Mapping[str, int]:
    """Return what each wish weighs; bass where nobody complains and nobody asked for anything."""
    return job.wishes.weights or ({} if job.about.complaints else UNASKED)


def seat_that_counts(job: Document) -> str:
    """Return the id of the seat that wishes are about."""
    return job.wishes.seat or job.seats[0].id


def points(build: Build, heard: Mapping[str, float]) -> float | None:
    """Return what a build gives of the wishes, points of 100; None where there is no wish.

    Args:
        build: the build.
        heard: change of bass, loudness and clarity against as found [dB].

    V = 100 sum(w u)/sum(w) with u from 0 to 1 over the span of each wish.
    """
    told = points_by_wish(build.job, {**heard, **marked(build)})
    return None if told is None else float(sum(told.values()))


def points_by_wish(job: Document, given: Mapping[str, Given]) -> dict[str, Given] | None:
    """Return what each wish adds to the points, None where nothing is wished.

    Args:
        job: with its wishes.
        given: by wish, numbers or arrays: changes of bass, loudness and clarity [dB], and what is
            left of the others [1]; a wish that is not among them does not count.

    """
    weighed = {name: weight for name, weight in _weights(job).items() if name in given}
    if not weighed:
        return None
    whole, goals = sum(weighed.values()), job.wishes.goals
    return {
        name: 100.0 * weight * share_of(name, given[name], goals) / whole
        for name, weight in weighed.items()
    }


def most_by_wish(job: Document, names: Collection[str]) -> dict[str, float]:
    """Return the most points that each wish among some can add; none where nothing is wished."""
    weighed = {name: weight for name, weight in _weights(job).items() if name in names}
    whole = sum(weighed.values())
    return {name: 100.0 * weight / whole for name, weight in weighed.items()}


def marked(build: Build) -> dict[str, float]:
    """Return what a build leaves of the wishes that no sound is about [1]."""
    changed = changes(build)
    return {**marks(changed), "hands_free": float(_hands_free(build, changed))}


def marks(changed: Changes) -> dict[str, float]:
    """Return what changes leave of the wishes that all may be as it was [1]."""
    return {
        "reversible": 1.0 - _marks(REVERSIBLE, changed),
        "appearance": 1.0 - _marks(APPEARANCE, changed),
    }


def beyond(build: Build, *, cost: float, hours: float, playing: Collection[str]) -> tuple[str, ...]:
    """Return what of a build the owner does not want: money, time, cuts, changes, what is lost.

    Args:
        build: the build.
        cost, hours: as a rule.
        playing: ids of the places that play.

    """
    return (*_beyond(build, cost, hours), *_lost(build, playing))


def _beyond(build: Build, cost: float, hours: float) -> Iterator[str]:
    wishes, changed = build.job.wishes, changes(build)
    most = build.job.most_money
    if most is not None and cost > most:
        yield f"it costs {number(cost, spread=1.0)}, and {number(most)} is the most that is wanted"
    if wishes.hours is not None and hours > wishes.hours:
        yield f"it takes {number(hours, 'h')}, and {number(wishes.hours, 'h')} is the most"
    cut = [*changed.at("cuts"), *changed.at("holed")]
    if wishes.cut is False and cut:
        yield f"it cuts at {listed(cut)}, which is not wanted"
    if wishes.may is not None:
        # To mend a fault changes nothing that was meant to be so.
        mending = frozenset(changed.mended.values())
        kinds = {
            knob: any(changed.at(kind) for kind in kinds if kind not in mending)
            for knob, kinds in KNOBS.items()
        }
        kinds["driver"] = bool(new_driver_places(build))
        unwanted = [knob for knob, made in kinds.items() if made and knob not in wishes.may]
        if unwanted:
            yield f"it changes {listed(unwanted)}, which may stay as it is"


def _lost(build: Build, playing: Collection[str]) -> Iterator[str]:
    """Say what must be there and is not, or nobody says that it is."""
    changed, found = changes(build), build.job.head_unit.carries
    for must in build.job.wishes.must:
        what, _, kind = must.rpartition(" ")
        thing = what.replace(" ", "-")
        if kind == "sound":
            places = (place for place in build.locations if place.id in playing)
            if not any(in_group(place, what) for place in places):
                yield f"nothing plays at the {what}, where something must"
        elif found is not None and thing not in found:
            continue  # it works without the radio, or was not there
        elif _is_unsaid(build, changed):
            looked = "" if found else " (nobody has looked at it yet)"
            yield f"another radio goes in, and the plan does not say that it keeps {what}{looked}"
        elif _carried(build, thing) is False:
            yield f"it does not keep {what}"


def _hands_free(build: Build, changed: Changes) -> bool:
    """Whether hands-free works, as far as anybody says so."""
    broken = any(fault.fault == "microphone" for fault in build.faults)
    known = not _is_unsaid(build, changed) and _carried(build, "hands-free")
    return bool(known) and not broken


def _is_unsaid(build: Build, changed: Changes) -> bool:
    """Whether a plan replaces the radio and does not say what works through the new one."""
    if build.proposal is None or not changed.at("new-radio"):
        return False
    return "head_unit.carries" not in build.job.proposal(build.proposal).set


def _carried(build: Build, thing: str) -> bool | None:
    """Whether a thing works through the radio; None where nobody has looked."""
    carries = planned_job(build).head_unit.carries
    return None if carries is None else thing in carries


def _marks(table: Mapping[str, float], changed: Changes) -> float:
    return sum(mark for kind, mark in table.items() if changed.at(kind))


def share_of(name: str, value: Given, goals: Goals) -> Given:
    """Return how much of a wish a change fulfils, from 0 to 1."""
    low, high = span_of(name, goals)
    return np.clip((value - low) / (high - low), 0.0, 1.0)


def span_of(name: str, goals: Goals) -> tuple[float, float]:
    """Return what a wish reckons from nothing to everything: as the owner's goals say, or usual."""
    goal = getattr(goals, name, None)
    return SPAN[name] if goal is None else (goal[0].value, goal[1].value)
