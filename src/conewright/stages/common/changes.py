"""What a plan changes, from the vehicle as found: for the stages, the papers and the pages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from conewright.job.builds.building import build_job
from conewright.job.builds.standing import another_radio
from conewright.job.builds.state import (
    Build,
    CableState,
    ChannelState,
    FeedState,
    LocationState,
    PartState,
    UnknownChannelState,
    Value,
)
from conewright.job.document.document import Document
from conewright.job.proposals import apply_proposal
from conewright.job.quantity.values import Quantity
from conewright.stages.common.mends import HEAD_UNIT, MENDING_KINDS, made_by, mends_of
from conewright.stages.common.screws import screws_agree

__all__ = [
    "Changes",
    "as_found",
    "changed_parts",
    "changes",
    "cut_needed",
    "moved_places",
    "new_driver_places",
    "new_parts",
    "opened_places",
    "pairs_of",
    "planned_job",
]


@dataclass(frozen=True, slots=True)
class Changes:
    """What a build changes, by kind of change: ids of places; of channels for `rewired`,
    `new-parts`, `relaid`, `wire-mended`, `joint-renewed` and `filtered`; of supply cables for
    `recabled`, `fused` and `new-amplifier`; of the radio for what is done there or to the vehicle
    as a whole; of all of these for `battery-off`. `mended` has the kind of change by which each
    fault on a plan's list is mended, by fault@place.
    """

    opened: tuple[str, ...]
    by_kind: dict[str, tuple[str, ...]]
    mended: dict[str, str]

    def at(self, kind: str) -> tuple[str, ...]:
        """Return where a kind of change is made."""
        return self.by_kind[kind]

    @property
    def any(self) -> bool:
        """Whether anything is changed at all."""
        return any(self.by_kind.values())


def as_found(build: Build) -> Build:
    """Return the state of the same vehicle to which no proposal is applied."""
    return build if build.proposal is None else build_job(build.job)


def planned_job(build: Build) -> Document:
    """Return the job with the build's proposal applied; the job itself as found."""
    return build.job if build.proposal is None else apply_proposal(build.job, build.proposal)


def changes(build: Build) -> Changes:
    """Return the ids of what a build changes, by kind of change."""
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
    by_kind |= _at_channels(build, before) | _at_supply(build, before)
    written = dict.fromkeys(MENDING_KINDS, ()) | by_kind
    by_kind, mended = made_by(mends_of(build), written)
    unfed = (at for kind in BATTERY_OFF for at in by_kind[kind])
    by_kind["battery-off"] = tuple(dict.fromkeys((*opened, *unfed)))
    return Changes(opened=opened, by_kind=by_kind, mended=mended)


def _at_channels(build: Build, before: Build) -> dict[str, tuple[str, ...]]:
    """Return what changes between the radio and its loads, besides the loads themselves."""
    known = pairs_of(build)
    then = {channel.id: channel for channel in pairs_of(before)}
    played = {channel.id: _played(channel) for channel in before.channels}
    return {
        "new-parts": tuple(channel.id for channel in build.channels if new_parts(channel, before)),
        "relaid": tuple(c.id for c in known if _length(c.cable) != _length(then[c.id].cable)),
        "wire-mended": tuple(
            c.id
            for c in known
            if _length(c.cable) == _length(then[c.id].cable)
            and _quantity(c.cable.resistance) != _quantity(then[c.id].cable.resistance)
        ),
        "filtered": tuple(
            c.id for c in build.channels if c.id in played and _played(c) != played[c.id]
        ),
    }


def _at_supply(build: Build, before: Build) -> dict[str, tuple[str, ...]]:
    """Return what changes at the radio, an amplifier, and the cables that feed them."""
    planned = planned_job(build)
    then = {cable.id: cable for cable in before.feeds}
    prices = {feed.id: feed.price for feed in build.job.feeds}
    new = another_radio(build.planned)
    cleaned = [_quantity(unit.feed_resistance) for unit in (build.head_unit, before.head_unit)]
    amplified = (FACTORY_AMPLIFIER in (job.head_unit.carries or ()) for job in (build.job, planned))
    return {
        "recabled": tuple(c.id for c in build.feeds if _laid(c) != _laid(then[c.id])),
        "fused": tuple(
            c.id
            for c in build.feeds
            if _laid(c) == _laid(then[c.id]) and _fused(c) != _fused(then[c.id])
        ),
        "new-amplifier": tuple(
            feed.id
            for feed in planned.feeds
            if feed.to == "amplifier" and feed.price != prices[feed.id]
        ),
        "new-radio": (HEAD_UNIT,) if new else (),
        # A new radio's own feed is joined with it.
        "joint-cleaned": (HEAD_UNIT,) if cleaned[0] != cleaned[1] and not new else (),
        "bypassed": (HEAD_UNIT,) if [*amplified] == [True, False] else (),
    }


def pairs_of(build: Build) -> tuple[ChannelState | UnknownChannelState, ...]:
    """Return every channel of a build, those of unknown load last."""
    return (*build.channels, *build.unknown)


def opened_places(build: Build) -> tuple[LocationState, ...]:
    """Return the places whose trim must come off to get from the vehicle as found to a build.

    A place is opened when its driver, ring, spacer or cut-out changes, when its cavity is stuffed,
    sealed, covered or holed, when its trim, its box or its board changes, or where what the plan
    mends lies behind it.
    """
    before = {place.id: place for place in as_found(build).locations}
    behind = {place for mend in mends_of(build) if mend.opens for place in mend.at}
    return tuple(
        place
        for place in build.locations
        if place.id in behind or _work(place) != _work(before.get(place.id))
    )


def new_parts(channel: ChannelState, before: Build) -> tuple[PartState, ...]:
    """Return the parts written into a channel's load that it had none of as found, wires too.

    Args:
        channel: of a plan.
        before: the vehicle as found.

    """
    then = (each for each in before.channels if each.id == channel.id)
    left = Counter(_part(part) for each in then for part in each.parts)
    found = []
    for part in channel.parts:
        left[_part(part)] -= 1
        if left[_part(part)] < 0:
            found.append(part)
    return tuple(found)


def new_driver_places(build: Build) -> frozenset[str]:
    """Return the ids of the places that get another driver than was found there."""
    before = {place.id: place.driver.id for place in as_found(build).locations}
    return frozenset(
        place.id for place in build.locations if before.get(place.id) != place.driver.id
    )


def cut_needed(place: LocationState) -> float | None:
    """Return by how much the hole's diameter must grow for the driver [m]; 0 where it fits.

    None where the mount's cut-out is not known. Oval frames: along the short axis.
    """
    hole, frame = place.mount.cutout, place.driver.frame
    if hole is None:
        return None
    return max(frame.cutout.si - hole.si, 0.0)


def changed_parts(job: Document, planned: Document) -> frozenset[str]:
    """Return the ids of the places and channels that are written otherwise in a plan."""
    places = zip(job.locations, planned.locations, strict=True)
    channels = zip(job.channels, planned.channels, strict=True)
    return frozenset(
        [old.id for old, new in places if old != new]
        + [old.id for old, new in channels if old != new]
    )


def moved_places(job: Document, planned: Document) -> frozenset[str]:
    """Return the ids of the places that get another driver or spacer: what sits there fits."""
    return frozenset(
        new.id
        for old, new in zip(job.locations, planned.locations, strict=True)
        if (old.driver, old.mount.spacer) != (new.driver, new.mount.spacer)
    )


BATTERY_OFF = (
    *("recabled", "fused", "new-amplifier", "new-radio", "joint-cleaned", "bypassed"),
    *("radio-replaced", "feed-moved"),
)
"""What is done with the battery off, besides behind a trim."""

FACTORY_AMPLIFIER = "factory-amplifier"

PLACE_TESTS: dict[str, Callable[[LocationState, LocationState], bool]] = {
    "cuts": lambda now, then: _cut_for_driver(now, then) or _wider(now, then),
    "patched": lambda now, then: _cover(now) == "patch" != _cover(then),
    "filmed": lambda now, then: _cover(now) == "film" != _cover(then),
    "spacer": lambda now, then: now.mount.spacer.si > 0.0 and now.mount.spacer != then.mount.spacer,
    "adapted": lambda now, then: _new(now, then) and _carried_by_ring(now, then),
    "ring": lambda now, then: now.mount.ring and (not then.mount.ring or _sealed_anew(now, then)),
    "repaired": lambda now, then: not _new(now, then) and _coil(now) != _coil(then),
}
"""The kinds of change that are told by a place and the same place as found."""


def _work(place: LocationState | None) -> object:
    """Everything about a place that cannot change without taking its trim off."""
    if place is None:
        return None
    mount = place.mount
    driver = (place.driver.id, _coil(place))
    around = (place.cavity, place.trim, place.back)
    return place.kind, driver, mount.ring, mount.spacer, mount.cutout, around


def _coil(place: LocationState) -> tuple[object, ...]:
    """What a driver is as written: where a plan says otherwise of the same one, it is mended."""
    return tuple((name, value.quantity) for name, value in place.driver.written.items())


def _new(now: LocationState, then: LocationState) -> bool:
    return now.driver.id != then.driver.id


def _cut_for_driver(now: LocationState, then: LocationState) -> bool:
    """Whether another driver needs a larger hole; the one that was found there sits in its own."""
    return _new(now, then) and bool(cut_needed(now))


def _sealed_anew(now: LocationState, then: LocationState) -> bool:
    """Whether a ring that was there has to be cut anew, for another driver behind a trim."""
    return _new(now, then) and now.trim is not None and now.trim.present


def _carried_by_ring(now: LocationState, then: LocationState) -> bool:
    """Whether a driver needs a ring that the plan does not speak of: its screws lie elsewhere."""
    anew = replace(now, mount=then.mount)
    return now.mount.spacer.si <= 0.0 and screws_agree(anew) is False


def _wider(now: LocationState, then: LocationState) -> bool:
    hole, was = now.mount.cutout, then.mount.cutout
    return hole is not None and was is not None and hole.si > was.si


def _part(part: PartState) -> tuple[object, ...]:
    """What tells a part by value from another, wherever it stands."""
    if part.wire is not None:
        return part.kind, *_length(part.wire)
    return part.kind, None if part.value is None else part.value.si


def _quantity(value: Value | None) -> Quantity | None:
    return None if value is None else value.quantity


def _length(cable: CableState) -> tuple[object, ...]:
    return _quantity(cable.length), _quantity(cable.size)


def _played(channel: ChannelState) -> tuple[object, ...]:
    """What is set at the radio for one channel."""
    return _quantity(channel.gain), _quantity(channel.high_pass), channel.high_pass_slope


def _laid(cable: FeedState) -> tuple[object, ...]:
    """Everything about a supply cable that cannot change without laying it anew."""
    written = (_quantity(cable.length), _quantity(cable.size))
    return (*written, cable.metal, cable.route, cable.return_by)


def _fused(cable: FeedState) -> tuple[object, ...]:
    return _quantity(cable.fuse), _quantity(cable.fuse_distance)


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
