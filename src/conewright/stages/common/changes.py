"""What a plan changes, from the vehicle as found: for the stages, the papers and the pages."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from conewright.job.builds.building import build_job
from conewright.job.builds.standing import another_radio
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import (
    CableState,
    ChannelState,
    FeedState,
    FilterState,
    PartState,
    UnknownChannelState,
)
from conewright.job.builds.states.location import BoxState, LocationState, OpenState
from conewright.job.builds.states.value import Value
from conewright.job.document.document import Channel, Document, Location
from conewright.job.document.places import ON_FRAME, OPEN_BACKS
from conewright.job.proposals import apply_proposal
from conewright.job.quantity.size import parse_size
from conewright.job.quantity.values import Quantity
from conewright.stages.common.mends import HEAD_UNIT, MENDING_KINDS, made_by, mends_of
from conewright.stages.common.screws import screws_agree

__all__ = [
    "HOLED",
    "Changes",
    "added_places",
    "as_found",
    "changed_parts",
    "changes",
    "cut_needed",
    "facing_axes",
    "half_measured",
    "moved_places",
    "new_driver_places",
    "new_parts",
    "opened_places",
    "pairs_of",
    "planned_job",
    "removed_places",
]


@dataclass(frozen=True, slots=True)
class Changes:
    """What a build changes, by kind of change: ids of places, those taken out as well; of channels
    for `rewired`, `taken-off` (they drive nothing any more), `new-parts`, `relaid`, `return-laid`,
    `wire-mended`, `joint-renewed`, `filtered`, `channel-added` and `channel-removed`; of supply
    cables for `recabled`, `fused`, `cable-removed` and, with amplifiers, `new-amplifier`; of the
    radio for what is done there or to the vehicle as a whole; of all of these for `battery-off`.
    `removed` are places in the vehicle's own sheet, `carried-out` boxes and boards.
    `mended` has the kind of change by which each fault on a plan's list is mended, by fault@place.
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
        kind: tuple(
            place.id
            for place in build.locations
            if (test(place, places[place.id]) if place.id in places else _is_made(kind, place))
        )
        for kind, test in PLACE_TESTS.items()
    }
    new = new_driver_places(build)
    by_kind["new-driver"] = tuple(place.id for place in build.locations if place.id in new)
    by_kind["opened"] = opened
    by_kind["turned"] = _turned(build, before)
    by_kind |= _come_and_gone(build, before) | _got_at(build, before)
    by_kind["rewired"] = tuple(
        channel.id
        for channel in build.channels
        if channel.id not in channels or _joined(channel) != _joined(channels[channel.id])
    )
    by_kind["taken-off"] = tuple(each.id for each in build.unused if each.id in channels)
    by_kind |= _at_channels(build, before) | _at_supply(build, before)
    written = dict.fromkeys(MENDING_KINDS, ()) | by_kind
    by_kind, mended = made_by(mends_of(build), written)
    another = {*by_kind["new-driver"], *by_kind["used-driver"], *by_kind["swapped"]}
    by_kind["repaired"] = tuple(place for place in by_kind["repaired"] if place not in another)
    unfed = (at for kind in BATTERY_OFF for at in by_kind[kind])
    by_kind["battery-off"] = tuple(dict.fromkeys((*by_kind["trimmed"], *unfed)))
    return Changes(opened=opened, by_kind=by_kind, mended=mended)


def _come_and_gone(build: Build, before: Build) -> dict[str, tuple[str, ...]]:
    """Return what is there only in the plan, or only as found: places, channels, supply cables."""
    places = added_places(build)
    then = {place.id: place for place in before.locations}
    # One that leaves its box or board for a door is cut there, as one that is added is.
    new = [
        place
        for place in build.locations
        if place.kind in HOLED and (place.id not in then or then[place.id].kind in BODIES)
    ]
    there = {place.id for place in new if place.mount.opening == "there"}
    gone = removed_places(build)
    return {
        "added": tuple(place.id for place in places),
        "holed": tuple(place.id for place in new if place.id not in there),
        "uncovered": tuple(place.id for place in new if place.id in there),
        "grilled": tuple(
            p.id for p in new if p.trim is not None and p.trim.present and p.id not in there
        ),
        "removed": tuple(place.id for place in gone if place.kind not in BODIES),
        "carried-out": tuple(
            place.id
            for place in (*then.values(),)
            if place.kind in BODIES and (place in gone or _body(place) != _planned(build, place))
        ),
        "channel-added": _only_in(pairs_of(build), pairs_of(before)),
        "channel-removed": _only_in(pairs_of(before), pairs_of(build)),
        "cable-removed": _only_in(before.feeds, build.feeds),
    }


def _got_at(build: Build, before: Build) -> dict[str, tuple[str, ...]]:
    """Return which places lose their trim, and which are a box or board that is worked on.

    A box is built where there was none of its volume; wadding goes into one that is filled
    otherwise than before.
    """
    then = {place.id: place for place in before.locations}
    opened = [place.id for place in opened_places(build)]
    was = {name: then.get(name) or build.location(name) for name in opened}
    built = {
        place.id: place
        for place in build.locations
        if place.kind in BODIES and _body(place) != _body(then.get(place.id))
    }
    boxes = [p for p in build.locations if isinstance(p.back, BoxState)]
    loose = [name for name in opened if name in then and was[name].kind in BODIES]
    stays = {place.id for place in build.locations if place.kind in BODIES}
    new = new_driver_places(build)
    return {
        "trimmed": tuple(name for name in opened if was[name].kind not in BODIES),
        "unscrewed": tuple(name for name in loose if name in stays),
        "boxed": tuple(n for n, place in built.items() if isinstance(place.back, BoxState)),
        "boarded": tuple(n for n, place in built.items() if _is_board(place)),
        "filled": tuple(
            p.id for p in boxes if _fill(p) != "none" and _refilled(p, then.get(p.id), built)
        ),
        "emptied": tuple(
            p.id for p in boxes if _fill(p) == "none" != _fill(then.get(p.id)) and p.id not in built
        ),
        "put-back": tuple(
            dict.fromkeys(n for n in (*loose, *built) if n in stays and n not in new)
        ),
        "closed-up": tuple(
            place.id
            for place in build.locations
            if place.kind in BODIES and place.id in then and then[place.id].kind in HOLED
        ),
    }


def _planned(build: Build, place: LocationState) -> object:
    """Return the box or board that a plan has for one that was found."""
    return _body(next((each for each in build.locations if each.id == place.id), None))


def _body(place: LocationState | None) -> object:
    """What makes a box or board another one; None for a place in the vehicle's own sheet."""
    if place is None or place.back is None:
        return None
    if isinstance(place.back, BoxState):
        return "box", place.back.volume.quantity
    return ("board", place.back.sides) if place.back.sides is not None else "free"


def _is_board(place: LocationState) -> bool:
    return isinstance(place.back, OpenState) and place.back.sides is not None


def _fill(place: LocationState | None) -> str:
    """Return the wadding of a box; none where there is no box."""
    return place.back.fill if place is not None and isinstance(place.back, BoxState) else "none"


def _refilled(now: LocationState, then: LocationState | None, built: Container[str]) -> bool:
    return now.id in built or _fill(now) != _fill(then)


def _only_in(these: Sequence[HasId], others: Sequence[HasId]) -> tuple[str, ...]:
    known = {each.id for each in others}
    return tuple(each.id for each in these if each.id not in known)


def _at_channels(build: Build, before: Build) -> dict[str, tuple[str, ...]]:
    """Return what changes between the radio and its loads, besides the loads themselves."""
    known = pairs_of(build)
    then = {channel.id: channel for channel in (*pairs_of(before), *before.unused)}
    new = [channel.id for channel in known if channel.id not in then]
    played = {channel.id: _played(channel) for channel in before.channels}
    return {
        "new-parts": tuple(channel.id for channel in build.channels if new_parts(channel, before)),
        "relaid": tuple(
            c.id for c in known if c.id in new or _length(c.cable) != _length(then[c.id].cable)
        ),
        "return-laid": tuple(
            c.id
            for c in known
            if c.id not in new
            and c.return_by == OF_ITS_OWN != then[c.id].return_by is not None
            and _length(c.cable) == _length(then[c.id].cable)
        ),
        "wire-mended": tuple(
            c.id
            for c in known
            if c.id not in new
            and _length(c.cable) == _length(then[c.id].cable)
            and _quantity(c.cable.resistance) != _quantity(then[c.id].cable.resistance)
        ),
        "filtered": tuple(
            c.id
            for c in build.channels
            if (c.id in new and _is_set(c)) or _played(c) != played.get(c.id, _played(c))
        ),
    }


def _at_supply(build: Build, before: Build) -> dict[str, tuple[str, ...]]:
    """Return what changes at the radio, an amplifier, and the cables that feed them."""
    planned = planned_job(build)
    then = {cable.id: cable for cable in before.feeds}
    prices = {feed.id: feed.price for feed in build.job.feeds}
    costs = {each.id: each.price for each in build.job.amplifiers}
    new = another_radio(build.planned)
    converted = _converter(build.job) != _converter(planned)
    cleaned = [_quantity(unit.feed_resistance) for unit in (build.head_unit, before.head_unit)]
    amplified = (FACTORY_AMPLIFIER in (job.head_unit.carries or ()) for job in (build.job, planned))
    return {
        "recabled": tuple(
            c.id for c in build.feeds if c.id not in then or _laid(c) != _laid(then[c.id])
        ),
        "fused": tuple(
            c.id
            for c in build.feeds
            if c.id in then and _laid(c) == _laid(then[c.id]) and _fused(c) != _fused(then[c.id])
        ),
        "new-amplifier": (
            *(
                feed.id
                for feed in planned.feeds
                if feed.to == "amplifier"
                and (feed.id not in prices or feed.price != prices[feed.id])
            ),
            *(each.id for each in planned.amplifiers if each.price != costs.get(each.id)),
        ),
        "new-radio": (HEAD_UNIT,) if new else (),
        "new-converter": (CONVERTER,) if converted and build.converter is not None else (),
        "converter-out": (CONVERTER,) if converted and build.converter is None else (),
        # A new radio's own feed is joined with it, and so is that of a new converter.
        "joint-cleaned": (HEAD_UNIT,)
        if cleaned[0] != cleaned[1] and not new and not converted
        else (),
        "bypassed": (HEAD_UNIT,) if [*amplified] == [True, False] else (),
    }


def pairs_of(build: Build) -> tuple[ChannelState | UnknownChannelState, ...]:
    """Return every channel of a build, those of unknown load last."""
    return (*build.channels, *build.unknown)


def opened_places(build: Build) -> tuple[LocationState, ...]:
    """Return the places whose trim must come off to get from the vehicle as found to a build.

    A place is opened when its driver, ring, spacer or cut-out changes, when its cavity is stuffed,
    sealed, covered or holed, when its trim, its box or its board changes, or where what the plan
    mends lies behind it. One that is added is opened to be made, one that is taken out to get at
    it: it comes last, as it was found.
    """
    before = {place.id: place for place in as_found(build).locations}
    mended = (place for mend in mends_of(build) if mend.opens for place in mend.at)
    behind = {place.removesuffix(ON_FRAME) for place in mended}
    return (
        *(
            place
            for place in build.locations
            if place.id in behind or _work(place) != _work(before.get(place.id))
        ),
        *removed_places(build),
    )


def added_places(build: Build) -> tuple[LocationState, ...]:
    """Return the places that only a plan has."""
    known = {place.id for place in as_found(build).locations}
    return tuple(place for place in build.locations if place.id not in known)


def removed_places(build: Build) -> tuple[LocationState, ...]:
    """Return the places that a plan takes out, as they were found."""
    left = {place.id for place in build.locations}
    return tuple(place for place in as_found(build).locations if place.id not in left)


def new_parts(channel: ChannelState, before: Build) -> tuple[PartState, ...]:
    """Return the parts written into a channel's load that it had none of as found, wires too.

    Args:
        channel: of a plan.
        before: the vehicle as found.

    """
    then = [each for each in before.channels if each.id == channel.id]
    left = [(_part(part), part.rated) for each in then for part in each.parts]
    found = []
    for part in channel.parts:
        # One without a rating is the one that is there, whatever is printed on that.
        same = ((_part(part), rated) for rated in (part.rated, *(each for _, each in left)))
        known = next(
            (each for each in same if each in left and part.rated in (None, each[1])), None
        )
        if known is None:
            found.append(part)
        else:
            left.remove(known)
    return tuple(found)


def new_driver_places(build: Build) -> frozenset[str]:
    """Return the ids of the places that get another driver than was found in the vehicle there."""
    before = {place.id: place.driver.id for place in as_found(build).locations}
    swapped = {at for mend in mends_of(build) if mend.kind == "swapped" for at in mend.at}
    return frozenset(
        place.id
        for place in build.locations
        if before.get(place.id) != place.driver.id and place.id not in swapped
    )


def cut_needed(place: LocationState) -> float | None:
    """Return by how much the hole must grow for the driver [m]; 0 where it fits.

    Along the axis where it must grow most. None where the mount's cut-out is not known.
    """
    facing = facing_axes(place)
    return max((max(needs.si - hole.si, 0.0) for needs, hole in facing), default=None)


def facing_axes(place: LocationState) -> tuple[tuple[Value, Value], ...]:
    """Return what the driver needs beside what the opening has, short axes first.

    None of an opening nobody measured; of an oval driver in an opening of which only one axis is
    known, that one alone.
    """
    hole, needs = place.mount.axes, place.driver.frame.axes
    if hole is None:
        return ()
    both = tuple(zip(needs, hole, strict=True))
    return both[:1] if half_measured(place) else both


def half_measured(place: LocationState) -> bool:
    """Whether the driver is oval and only the short axis of it or of its opening is known."""
    mount, driver = place.mount, place.driver
    long = driver.frame.cutout_long
    if long is None:
        return bool(driver.size) and parse_size(driver.size).oval
    return mount.cutout_long is None and not mount.corners


def changed_parts(job: Document, planned: Document) -> frozenset[str]:
    """Return the ids of the places and channels that are written otherwise in a plan, or added."""
    before: list[Location | Channel] = [*job.locations, *job.channels]
    now: list[Location | Channel] = [*planned.locations, *planned.channels]
    written = {part.id: part for part in before}
    return frozenset(part.id for part in now if written.get(part.id) != part)


def moved_places(job: Document, planned: Document) -> frozenset[str]:
    """Return the ids of the places that get another driver or spacer: what sits there fits."""
    before = {place.id: (place.driver, place.mount.spacer) for place in job.locations}
    return frozenset(
        place.id
        for place in planned.locations
        if before.get(place.id) != (place.driver, place.mount.spacer)
    )


class HasId(Protocol):
    """Anything of a build with an id."""

    @property
    def id(self) -> str:
        """Return the short name."""


HOLED = ("door", "panel", "shelf", "boot-shelf", "roof")
"""Kinds of place that are a hole in sheet metal, lining or shelf: one that is added is cut there,
unless its opening is there already."""

BODIES = ("box", *OPEN_BACKS)
"""Kinds of place with no trim before them and no hole in the vehicle's own sheet."""

BATTERY_OFF = (
    *("recabled", "fused", "new-amplifier", "new-radio", "joint-cleaned", "bypassed"),
    *("new-converter", "converter-out"),
    *("radio-replaced", "feed-moved", "channel-added", "channel-removed", "cable-removed"),
)
"""What is done with the battery off, besides behind a trim."""

FACTORY_AMPLIFIER = "factory-amplifier"
CONVERTER = "converter"
OF_ITS_OWN = "wire"
"""How the current of a channel comes back where a second wire runs to it."""

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


def _is_made(kind: str, place: LocationState) -> bool:
    """Whether a kind of change is made at a place that only the plan has."""
    if kind == "cuts":
        return place.mount.opening == "there" and bool(cut_needed(place))
    if kind == "spacer":
        return place.mount.spacer.si > 0.0
    return kind == "ring" and place.mount.ring


def _work(place: LocationState | None) -> object:
    """Everything about a place that cannot change without taking its trim off."""
    if place is None:
        return None
    mount = place.mount
    driver = (place.driver.id, _coil(place))
    around = (place.cavity, place.trim, place.back)
    return place.kind, driver, mount.ring, mount.spacer, mount.axes, around


def _coil(place: LocationState) -> tuple[object, ...]:
    """What a driver is as written: where a plan says otherwise of the same one, it is mended."""
    tweeter = place.driver.tweeter
    small = () if tweeter is None else (tweeter.capacitor, *tweeter.driver.written.values())
    written = tuple((name, value.quantity) for name, value in place.driver.written.items())
    return (*written, *(value.quantity for value in small))


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
    hole, was = now.mount.axes, then.mount.axes
    if hole is None or was is None:
        return False
    return any(wide.si > narrow.si for wide, narrow in zip(hole, was, strict=True))


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
    """What is set for one channel in what drives it."""
    settings = channel.settings
    ahead = None if channel.input is None else _quantity(channel.input.gain)
    return (
        ahead,
        _quantity(settings.gain),
        *_passed(settings.high_pass),
        *_passed(settings.low_pass),
    )


def _joined(channel: ChannelState) -> tuple[object, ...]:
    """What a channel's wires are joined to: its load, what drives it, and what feeds that."""
    fed = None if channel.input is None else channel.input.channel
    return channel.tree, channel.driven_by, channel.input is None, fed


def _passed(each: FilterState | None) -> tuple[object, ...]:
    return (None,) if each is None else (each.corner.quantity, each.slope, each.kind)


def _converter(job: Document) -> tuple[object, ...]:
    """Return what makes a converter another one."""
    found = job.converter
    if found.kind == "none" or not found.model_fields_set:
        return ()
    return found.kind, found.name, found.output, found.rated_current, found.price


def _is_set(channel: ChannelState) -> bool:
    """Whether anything is set for a channel in what drives it, from level to filter."""
    settings = channel.settings
    filtered = settings.high_pass is not None or settings.low_pass is not None
    return filtered or settings.gain.si != 0.0


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
