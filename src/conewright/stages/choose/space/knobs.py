"""The options of a job and a catalogue: what may be changed, knob by knob."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.catalogue.job_entries import in_words, radio_fields
from conewright.job.repairs import repairs_of
from conewright.phrases import listed
from conewright.stages.choose.space.amplifying import amplified
from conewright.stages.choose.space.gates import Allowed, Gated, gated
from conewright.stages.choose.space.groups import (
    KEPT,
    Change,
    PlaceGroup,
    RadioOption,
    Space,
    Variant,
)
from conewright.stages.choose.space.seen import Seen, base_of, built
from conewright.stages.choose.space.wiring_forms import channel_groups
from conewright.stages.common.together import mirrored
from conewright.stages.find.faults.chains import is_tweeter
from conewright.stages.report.care import restraint_gate
from conewright.stages.report.data import Severity

if TYPE_CHECKING:
    from conewright.catalogue.driver_columns import DriverColumns
    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState
    from conewright.job.builds.states.location import LocationState

__all__ = [
    "KNOBS",
    "space_of",
    "twins_of",
]

KNOBS = (
    *("driver", "repair", "swap", "ring", "cover", "polarity", "wiring", "capacitor"),
    *("high-pass", "radio", "amplifier"),
)
"""What may be changed; to mend what is broken is always allowed."""

RINGED = ("door", "panel", "shelf", "roof")
PATCH = "4 kg/m2"
"""Of a patch over the openings of a door; common practice, no source."""

OF_DRIVER = frozenset(
    {
        *("surround-torn", "coil-open", "coil-rubbing", "coil-shorted", "cap-unglued"),
        *("grit-or-water", "lead-intermittent", "mount-loose"),
    }
)
"""Faults that another driver ends, as the table of cures says."""


def space_of(
    job: Job,
    offer: Offer,
    parts: DriverColumns,
    *,
    established: Sequence[str],
    allowed: Allowed,
    may: Iterable[str] | None = None,
) -> Space:
    """Return everything that may be combined.

    Args:
        job: with the wishes that count.
        offer: the parts.
        parts: its drivers, completed.
        established: faults that are, each as fault@place.
        allowed: what is, beyond what simply goes in.
        may: knobs that may be turned; all when left out.

    """
    places = {place.id for place in job.build().locations}
    at_driver = {
        each: each.partition("@")[2]
        for each in established
        if each.partition("@")[0] in OF_DRIVER and each.partition("@")[2] in places
    }
    base = Change(mends=tuple(each for each in established if each not in at_driver))
    faults: dict[str, list[str]] = {}
    for each, at in at_driver.items():
        faults.setdefault(at, []).append(each)
    seen = Seen(
        job,
        job.build(),
        base_of(job, established),
        offer,
        parts,
        allowed,
        frozenset(KNOBS if may is None else may),
        {at: tuple(each) for at, each in faults.items()} | {"": tuple(established)},
    )
    groups, found = [], []
    every = twins_of(seen.base)
    for twins in every:
        group, gate = _place_group(seen, twins, every)
        groups.append(group)
        found.append(gate)
    counts: dict[str, int] = {"looked-at": sum(len(parts.rows) for gate in found if gate)}
    rejected = []
    for gate in filter(None, found):
        for reason, count in gate.counts.items():
            counts[reason] = counts.get(reason, 0) + count
        rejected += gate.rejected
    channels = tuple(channel_groups(seen, groups))
    amplifiers, refused = amplified(seen, channels)
    for no in refused:
        counts[no.reason] = counts.get(no.reason, 0) + 1
    counts["looked-at"] += len(refused)
    return Space(
        job=job,
        offer=offer,
        base=base,
        faults=tuple(established),
        left=(),
        places=tuple(groups),
        channels=channels,
        radios=(*_radios(seen), *amplifiers),
        rejected=(*rejected, *refused),
        counts=counts,
    )


def twins_of(build: Build) -> list[tuple[LocationState, ...]]:
    """Return the places that are driven, those that mirror each other together, left first."""
    driven = {name for channel in build.channels for name, _ in channel.polarity}
    groups: list[tuple[LocationState, ...]] = []
    taken: set[str] = set()
    for place in build.locations:
        if place.id not in driven or place.id in taken:
            continue
        twin = next(
            (
                each
                for each in build.locations
                if each.id in driven - taken and each.id != place.id and mirrored(place, each)
            ),
            None,
        )
        group = (place,) if twin is None else (place, twin)
        taken |= {each.id for each in group}
        groups.append(group)
    return groups


# --- Places ---------------------------------------------------------------------------------------


def _place_group(
    seen: Seen, places: tuple[LocationState, ...], every: Sequence[tuple[LocationState, ...]]
) -> tuple[PlaceGroup, Gated | None]:
    names = tuple(place.id for place in places)
    faults = tuple(each for name in names for each in seen.faults.get(name, ()))
    gate = None
    drivers: list[tuple[str, str, NDArray[np.intp]]] = []
    if "driver" in seen.may:
        compiled = seen.offer.compiled
        treble = all(is_tweeter(place, _channel_of(seen, place.id)) for place in places)
        closed = _is_closed(seen, names)
        gate = gated(places, seen.parts, compiled, seen.allowed, closed=closed, treble=treble)
        drivers = list(_alike(seen, places, gate))
    variants = [
        Variant(
            id=_id(KEPT, ring, cover) if not way else _id(f"{KEPT}-{way}", ring, cover),
            words=_words(_mended(faults, way) if faults else "kept", ring, cover),
            change=_change(
                names,
                ring,
                cover,
                mends=() if way else faults,
                repairs=tuple(f"{way}@{each.partition('@')[2]}" for each in faults if way),
            ),
            keeps=_group_id(places),
        )
        for way in _ways(faults)
        for ring, cover in _around(seen, places)
    ]
    variants += [
        Variant(
            id=_id(name, ring, cover),
            words=_words(words, ring, cover),
            change=_change(names, ring, cover),
            rows=rows,
        )
        for name, words, rows in drivers
        for ring, cover in _around(seen, places)
    ]
    variants += [
        Variant(
            id=_id(f"from-{_group_id(other)}", ring, cover),
            words=_words(f"drivers of {listed([each.id for each in other])}", ring, cover),
            change=_change(names, ring, cover, drivers=[each.driver.id for each in other]),
            takes=_group_id(other),
        )
        for other in every
        if _may_swap(seen, places, other)
        for ring, cover in _around(seen, places)
    ]
    if _is_closed(seen, names):
        variants = variants[:1]
    return PlaceGroup(_group_id(places), names, tuple(variants)), gate


def _group_id(places: Sequence[LocationState]) -> str:
    return "+".join(place.id for place in places)


def _may_swap(seen: Seen, places: Sequence[LocationState], other: Sequence[LocationState]) -> bool:
    """Whether drivers of other places may go where these are: of the same size, and sound."""
    if not {"swap", "driver"} <= seen.may or len(places) != len(other) or places[0] is other[0]:
        return False
    pairs = list(zip(places, other, strict=True))
    names = tuple(each.id for each in other)
    every = (each.partition("@") for each in seen.faults.get("", ()))
    hurt = {at for fault, _, at in every if fault != "reversed"}
    return (
        all(one.driver.size == two.driver.size for one, two in pairs)
        and any(one.driver.id != two.driver.id for one, two in pairs)
        and hurt.isdisjoint(names)
        and not _is_closed(seen, names)
    )


def _channel_of(seen: Seen, place: str) -> ChannelState:
    return next(c for c in seen.base.channels if place in dict(c.polarity))


def _is_closed(seen: Seen, names: tuple[str, ...]) -> bool:
    """Whether a restraint part stops all work that opens one of the places."""
    change = Change({f"{name}.mount.ring": True for name in names if _has_mount(seen, name)})
    if not change.set:
        return False
    there = [seen.found.location(name).mount.ring for name in names]
    if all(there):
        change = Change({f"{name}.mount.ring": False for name in names})
    probe = built(seen.job, {"probe": change})["probe"]
    return any(each.severity is Severity.STOP for each in restraint_gate(probe))


def _has_mount(seen: Seen, name: str) -> bool:
    return seen.found.location(name).kind in RINGED


def _ways(faults: Sequence[str]) -> list[str]:
    """Return the repairs that deal with a fault of a driver, the usual one first as ""."""
    if len(faults) != 1:
        return [""]
    name = faults[0].partition("@")[0]
    others = [each.name for each in repairs_of(name) if not each.usual]
    return ["", *(each for each in others if each not in ("keep", "swap", "new"))]


def _mended(faults: Sequence[str], way: str) -> str:
    """Return how faults are mended, each as fault@place, and where."""
    told = []
    for fault, _, place in (each.partition("@") for each in faults):
        ways = (each for each in repairs_of(fault) if (each.name == way if way else each.usual))
        title = next((each.title for each in ways), "mended")
        told.append(f"{title} at {place}")
    return listed(told)


def _around(seen: Seen, places: Sequence[LocationState]) -> Iterator[tuple[bool, bool]]:
    """Yield whether a ring and whether a patch is fitted, nothing first."""
    ring = "ring" in seen.may and all(
        place.kind in RINGED
        and place.trim is not None
        and place.trim.present
        and not place.mount.ring
        for place in places
    )
    cover = "cover" in seen.may and all(
        place.cavity is not None
        and place.cavity.panel_holes.si > 0.0
        and place.cavity.cover != "patch"
        and place.kind == "door"
        for place in places
    )
    for covered in (False, True) if cover else (False,):
        for ringed in (False, True) if ring else (False,):
            yield ringed, covered


def _alike(
    seen: Seen, places: Sequence[LocationState], gate: Gated
) -> Iterator[tuple[str, str, NDArray[np.intp]]]:
    """Yield the drivers that go in, those together that take the same work."""
    if not gate.rows.size:
        return
    apart = _screws_apart(seen, places, gate.rows)
    for cut in (False, True):
        for adapted in (False, True):
            rows = gate.rows[(gate.cut == cut) & (apart == adapted)]
            if rows.size:
                told = [*(["hole enlarged"] if cut else []), *(["adapter"] if adapted else [])]
                name = "-".join(
                    ["new", *(["cut"] if cut else []), *(["adapted"] if adapted else [])]
                )
                words = f"new driver ({', '.join(told)})" if told else "new driver"
                yield name, words, rows


def _screws_apart(
    seen: Seen, places: Sequence[LocationState], rows: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Whether the screws of a driver lie elsewhere than those of the mount, as far as known."""
    circle, count = (seen.parts.of(name, rows) for name in ("screw_circle", "screw_count"))
    apart = np.zeros(rows.size, dtype=bool)
    for place in places:
        mount = place.mount
        if mount.screw_circle is None or mount.screw_count is None or mount.spacer.si > 0.0:
            continue
        known = ~np.isnan(circle) & ~np.isnan(count)
        off = (np.abs(circle - mount.screw_circle.si) > 1e-3 * (1 + 1e-9)) | (
            count != mount.screw_count
        )
        apart |= known & off
    return apart


def _change(
    names: Sequence[str],
    ring: bool,
    cover: bool,
    *,
    mends: tuple[str, ...] = (),
    repairs: tuple[str, ...] = (),
    drivers: Sequence[str] = (),
) -> Change:
    fields: dict[str, object] = {}
    for name, driver in zip(names, drivers, strict=False):
        fields[f"{name}.driver"] = driver
    for name in names:
        if ring:
            fields[f"{name}.mount.ring"] = True
        if cover:
            fields[f"{name}.cavity.cover"] = "patch"
            fields[f"{name}.cavity.cover_mass"] = PATCH
    return Change(set=fields, mends=mends, repairs=repairs)  # type: ignore[arg-type]


def _id(name: str, ring: bool, cover: bool) -> str:
    return "+".join([name, *(["ring"] if ring else []), *(["patch"] if cover else [])])


def _words(name: str, ring: bool, cover: bool) -> str:
    more = [*(["ring"] if ring else []), *(["holes patched"] if cover else [])]
    return f"{name}, {listed(more)}" if more else name


# --- Radio ----------------------------------------------------------------------------------------


def _radios(seen: Seen) -> Iterator[RadioOption]:
    yield RadioOption(KEPT, "radio kept")
    if "radio" not in seen.may:
        return
    compiled = seen.offer.compiled
    outputs = sum(channel.driven_by is None for channel in seen.base.channels)
    for row in map(int, seen.rows("radio")):
        has = compiled.number("channels", row)
        if has is not None and has < outputs:
            continue
        fields = radio_fields(compiled, row)
        change = Change(fields, buy={row: 1.0})
        yield RadioOption(compiled.text("id", row), in_words(compiled, row), change, row)
