"""What the owner asked for: what a build gives of it, and what of it is not wanted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from conewright.phrases import listed
from conewright.stages.common.changes import Changes, changes, new_driver_places
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.state import Build
    from conewright.job.document.document import Document

__all__ = ["beyond", "points", "seat_that_counts"]

SPAN: Mapping[str, tuple[float, float]] = {
    "bass": (-6.0, 12.0),
    "loudness": (-6.0, 6.0),
    "clarity": (-6.0, 12.0),
    "reversible": (0.0, 1.0),
    "appearance": (0.0, 1.0),
}
"""From nothing to everything that is wished [dB, 1]; workshop choice, no source."""

REVERSIBLE = {"patched": 0.15, "cuts": 0.5}
APPEARANCE = {"new-radio": 0.3}
"""What a kind of change takes off a wish that is whole at 1; workshop choice, no source."""

KNOBS: Mapping[str, tuple[str, ...]] = {
    "ring": ("ring",),
    "cover": ("patched", "filmed"),
    "polarity": ("turned",),
    "wiring": ("rewired",),
    "capacitor": ("new-parts",),
    "high-pass": ("filtered",),
    "radio": ("new-radio",),
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
    weights = _weights(build.job)
    changed = changes(build)
    given = {
        **heard,
        "reversible": 1.0 - _marks(REVERSIBLE, changed),
        "appearance": 1.0 - _marks(APPEARANCE, changed),
    }
    weighed = {name: weight for name, weight in weights.items() if name in given}
    if not weighed:
        return None
    value = sum(weight * _share(name, given[name]) for name, weight in weighed.items())
    return 100.0 * value / sum(weighed.values())


def beyond(build: Build, *, cost: float, hours: float) -> tuple[str, ...]:
    """Return what of a build the owner does not want: money, time, cuts, changes."""
    return tuple(_beyond(build, cost, hours))


def _beyond(build: Build, cost: float, hours: float) -> Iterator[str]:
    wishes, changed = build.job.wishes, changes(build)
    most = build.job.most_money
    if most is not None and cost > most:
        yield f"it costs {number(cost, spread=1.0)}, and {number(most)} is the most that is wanted"
    if wishes.hours is not None and hours > wishes.hours:
        yield f"it takes {number(hours, 'h')}, and {number(wishes.hours, 'h')} is the most"
    if wishes.cut is False and changed.at("cuts"):
        yield f"it cuts at {listed(list(changed.at('cuts')))}, which is not wanted"
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


def _marks(table: Mapping[str, float], changed: Changes) -> float:
    return sum(mark for kind, mark in table.items() if changed.at(kind))


def _share(name: str, value: float) -> float:
    low, high = SPAN[name]
    return min(max((value - low) / (high - low), 0.0), 1.0)
