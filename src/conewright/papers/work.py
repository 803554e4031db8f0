"""The plan in order of work: steps with tools, minutes and the cautions that apply to each.

The steps are rows of a data file; `when` says for which places, channels or jobs a row is done.
What has changed is told by the build and the vehicle as found, never by the words of a proposal.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from csv import DictReader
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from conewright.job.state import Build, ChannelState, LocationState
from conewright.stages.care import as_found, cut_needed, new_driver_places, opened_places
from conewright.stages.words import listed

__all__ = ["Changes", "Minutes", "Step", "changes", "rows", "total_minutes", "work_steps"]


@dataclass(frozen=True, slots=True)
class Minutes:
    """Working time: when all goes well, as a rule, and when it does not [min]."""

    low: float
    typical: float
    high: float

    def __add__(self, other: Minutes) -> Minutes:
        return Minutes(self.low + other.low, self.typical + other.typical, self.high + other.high)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work: what, where, how, with what, how long, what to mind.

    `subjects` are the ids of the places or channels it is done at, none for the whole job;
    `expect` names what the sheet says about what to find there.
    """

    id: str
    title: str
    where: str
    how: str
    tools: tuple[str, ...]
    minutes: Minutes
    cautions: tuple[str, ...]
    subjects: tuple[str, ...]
    expect: str
    source: str


@dataclass(frozen=True, slots=True)
class Changes:
    """What a build changes: ids of places, and of channels for `rewired`, by kind of change."""

    opened: tuple[str, ...]
    by_kind: dict[str, tuple[str, ...]]


def work_steps(build: Build) -> tuple[Step, ...]:
    """Return what is to be done from the vehicle as found to a build, in order of work.

    Args:
        build: the plan; the vehicle as found leaves the readings and the hand-over.

    """
    changed = changes(build)
    found = (_step(build, changed, row) for row in rows("work.csv"))
    return tuple(step for step in found if step is not None)


def total_minutes(steps: tuple[Step, ...]) -> Minutes:
    """Return the time of all steps together: the sums of lows, of typicals and of highs."""
    return sum((step.minutes for step in steps), Minutes(0.0, 0.0, 0.0))


def changes(build: Build) -> Changes:
    """Return the ids of the places and channels that a build changes, by kind of change."""
    before = as_found(build)
    places = {place.id: place for place in before.locations}
    channels = {channel.id: channel for channel in before.channels}
    opened = tuple(place.id for place in opened_places(build))
    by_kind = {
        kind: tuple(p.id for p in build.locations if p.id in places and test(p, places[p.id]))
        for kind, test in PLACE_TESTS.items()
    }
    new = new_driver_places(build)
    by_kind["new-driver"] = tuple(place.id for place in build.locations if place.id in new)
    by_kind["opened"] = opened
    by_kind["turned"] = _turned(build, before)
    by_kind["rewired"] = tuple(
        channel.id
        for channel in build.channels
        if channel.id not in channels or channel.tree != channels[channel.id].tree
    )
    return Changes(opened=opened, by_kind=by_kind)


PLACE_TESTS: dict[str, Callable[[LocationState, LocationState], bool]] = {
    "cuts": lambda now, then: bool(cut_needed(now)) or _wider(now, then),
    "patched": lambda now, then: _cover(now) == "patch" != _cover(then),
    "filmed": lambda now, then: _cover(now) == "film" != _cover(then),
    "spacer": lambda now, then: now.mount.spacer.si > 0.0 and now.mount.spacer != then.mount.spacer,
    "ring": lambda now, then: now.mount.ring and not then.mount.ring,
}
"""The words of the column `when` that compare a place with the same place as found."""


def _wider(now: LocationState, then: LocationState) -> bool:
    hole, was = now.mount.cutout, then.mount.cutout
    return hole is not None and was is not None and hole.si > was.si


def _cover(place: LocationState) -> str:
    return "" if place.cavity is None else place.cavity.cover


def _turned(build: Build, before: Build) -> tuple[str, ...]:
    was = dict(_polarities(before.channels))
    return tuple(
        place for place, sign in _polarities(build.channels) if was.get(place, sign) != sign
    )


def _polarities(channels: tuple[ChannelState, ...]) -> Iterator[tuple[str, int]]:
    for channel in channels:
        yield from channel.polarity


def _step(build: Build, changed: Changes, row: dict[str, str]) -> Step | None:
    """Return a row as a step of this build, None where it is not done."""
    when = row["when"]
    wanted = when == "always" or (when == "opens" and bool(changed.opened))
    subjects = () if row["each"] == "job" else changed.by_kind[when]
    if not (subjects or (row["each"] == "job" and wanted)):
        return None
    names = {place.id: place.name for place in build.locations}
    return Step(
        id=row["step"],
        title=row["title"],
        where=listed([names.get(subject, subject) for subject in subjects]) if subjects else "",
        how=row["how"],
        tools=tuple(row["tools"].split("; ")),
        minutes=_minutes(row, max(len(subjects), 1)),
        cautions=tuple(row["cautions"].split()),
        subjects=subjects,
        expect=row["expect"],
        source=row["source"],
    )


def _minutes(row: dict[str, str], times: int) -> Minutes:
    """Return the time of a step done at several places: the first takes longer."""
    whole = _spread(row["minutes"])
    for _ in range(times - 1):
        whole += _spread(row["again"])
    return whole


def _spread(text: str) -> Minutes:
    low, typical, high = (float(part) for part in text.split(".."))
    return Minutes(low, typical, high)


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a data file of the papers."""
    text = (files("conewright.papers") / "data" / name).read_text(encoding="utf-8")
    return tuple(DictReader(text.splitlines()))
