"""The options of a job and a catalogue: what may be changed, knob by knob."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.catalogue.entries import in_words, radio_fields
from conewright.job.quantity.expression import Load, ValuePart, format_load, parse_load
from conewright.job.repairs import repairs_of
from conewright.phrases import listed
from conewright.physics.electrics.wiring import Leaf, Parallel, Series, Tree
from conewright.stages.choose.space.gates import Allowed, Gated, gated
from conewright.stages.choose.space.options import (
    KEPT,
    Capacitors,
    Change,
    ChannelGroup,
    Form,
    PlaceGroup,
    RadioOption,
    Space,
    Variant,
)
from conewright.stages.common.together import mirrored, opposed_twins
from conewright.stages.find.faults.chains import is_tweeter
from conewright.stages.hear.heard import HIGH_PASS_MENU
from conewright.stages.report.care import restraint_gate
from conewright.stages.report.data import Severity
from conewright.stages.report.having import may_filter

if TYPE_CHECKING:
    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState
    from conewright.job.builds.states.location import LocationState
    from conewright.stages.choose.engine.parts import DriverColumns

__all__ = [
    "KNOBS",
    "base_of",
    "built",
    "channel_groups_of",
    "space_of",
    "twins_of",
    "with_capacitor",
]

KNOBS = (
    *("driver", "repair", "swap", "ring", "cover", "polarity", "wiring", "capacitor"),
    *("high-pass", "radio", "amplifier"),
)
"""What may be changed; to mend what is broken is always allowed."""

RINGED = ("door", "panel", "shelf", "roof")
ALIKE = 1e-6
"""Two values of a part within this share are the same [1]."""

PATCH = "4 kg/m2"
"""Of a patch over the openings of a door; common practice, no source."""

OF_DRIVER = frozenset(
    {
        *("surround-torn", "coil-open", "coil-rubbing", "coil-shorted", "cap-unglued"),
        *("grit-or-water", "lead-intermittent", "mount-loose"),
    }
)
"""Faults that another driver ends, as the table of cures says."""


@dataclass(frozen=True)
class _Seen:
    """What the generator goes by.

    Attributes:
        job: as it is written, with the wishes that count.
        found: as found.
        base: with what every plan mends.
        offer: the parts.
        parts: its drivers.
        allowed: what is, beyond what simply goes in.
        may: knobs that may be turned.
        faults: established ones of drivers, by place; all under an empty name.

    """

    job: Job
    found: Build
    base: Build
    offer: Offer
    parts: DriverColumns
    allowed: Allowed
    may: frozenset[str]
    faults: Mapping[str, tuple[str, ...]]

    def rows(self, kind: str) -> NDArray[np.intp]:
        """Return the rows of a kind that can be paid for; only one of the same works."""
        compiled = self.offer.compiled
        rows = np.flatnonzero(np.array(compiled.texts["kind"]) == kind)
        rows = rows[compiled.offered[rows] == rows]
        if self.allowed.money and "price" in compiled.numbers:
            rows = rows[~np.isnan(compiled.numbers["price"][rows])]
        if "stock" in compiled.numbers:
            stock = compiled.numbers["stock"][rows]
            rows = rows[np.isnan(stock) | (stock > 0.0)]
        return np.asarray(rows)


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
    seen = _Seen(
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
    for twins in twins_of(seen.base):
        group, gate = _place_group(seen, twins)
        groups.append(group)
        found.append(gate)
    counts: dict[str, int] = {"looked-at": sum(len(parts.rows) for gate in found if gate)}
    rejected = []
    for gate in filter(None, found):
        for reason, count in gate.counts.items():
            counts[reason] = counts.get(reason, 0) + count
        rejected += gate.rejected
    return Space(
        job=job,
        offer=offer,
        base=base,
        faults=tuple(established),
        left=(),
        places=tuple(groups),
        channels=tuple(_channel_groups(seen, groups)),
        radios=tuple(_radios(seen)),
        rejected=tuple(rejected),
        counts=counts,
    )


def base_of(job: Job, established: Sequence[str]) -> Build:
    """Return the vehicle with every established fault mended."""
    return built(job, {"base": Change(mends=tuple(established))})["base"]


def built(job: Job, changes: Mapping[str, Change]) -> dict[str, Build]:
    """Return the builds of several changes of a job, by their names.

    The job's own proposals stay beside them: the cabin is as large as all places ask for.
    """
    plans = tuple(change.proposal(name) for name, change in changes.items())
    own = tuple(each for each in job.proposals if each.id not in changes)
    tried = job.model_copy(update={"proposals": (*own, *plans)})
    return {name: tried.build(name) for name in changes}


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


def _place_group(seen: _Seen, places: tuple[LocationState, ...]) -> tuple[PlaceGroup, Gated | None]:
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
            words=_words("kept" if not faults else f"mended ({way or 'as usual'})", ring, cover),
            change=_change(
                names,
                ring,
                cover,
                mends=() if way else faults,
                repairs=tuple(f"{way}@{each.partition('@')[2]}" for each in faults if way),
            ),
            keeps="|".join(names),
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
    if _is_closed(seen, names):
        variants = variants[:1]
    return PlaceGroup("+".join(names), names, tuple(variants)), gate


def _channel_of(seen: _Seen, place: str) -> ChannelState:
    return next(c for c in seen.base.channels if place in dict(c.polarity))


def _is_closed(seen: _Seen, names: tuple[str, ...]) -> bool:
    """Whether a restraint part stops all work that opens one of the places."""
    change = Change({f"{name}.mount.ring": True for name in names if _has_mount(seen, name)})
    if not change.set:
        return False
    there = [seen.found.location(name).mount.ring for name in names]
    if all(there):
        change = Change({f"{name}.mount.ring": False for name in names})
    probe = built(seen.job, {"probe": change})["probe"]
    return any(each.severity is Severity.STOP for each in restraint_gate(probe))


def _has_mount(seen: _Seen, name: str) -> bool:
    return seen.found.location(name).kind in RINGED


def _ways(faults: Sequence[str]) -> list[str]:
    """Return the repairs that deal with a fault of a driver, the usual one first as ""."""
    if len(faults) != 1:
        return [""]
    name = faults[0].partition("@")[0]
    others = [each.name for each in repairs_of(name) if not each.usual]
    return ["", *(each for each in others if each not in ("keep", "swap", "new"))]


def _around(seen: _Seen, places: Sequence[LocationState]) -> Iterator[tuple[bool, bool]]:
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
    seen: _Seen, places: Sequence[LocationState], gate: Gated
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
    seen: _Seen, places: Sequence[LocationState], rows: NDArray[np.intp]
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
) -> Change:
    fields: dict[str, object] = {}
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


# --- Channels -------------------------------------------------------------------------------------


def _channel_groups(seen: _Seen, groups: Sequence[PlaceGroup]) -> Iterator[ChannelGroup]:
    """Yield groups of channels with their forms and high-passes."""
    found = channel_groups_of(seen.base, groups)
    places = {group.id: group for group in groups}
    for each in found:
        here = [seen.base.channel(name) for name in each.channels]
        of_them = [places[name] for name in each.groups]
        yield replace(
            each,
            forms=tuple(_forms(seen, here, of_them, several=len(found) > 1)),
            corners=tuple(_corners(seen, here)),
        )


def channel_groups_of(base: Build, groups: Sequence[PlaceGroup]) -> list[ChannelGroup]:
    """Return channels that feed the same groups of places together, without forms."""
    order = {channel.id: index for index, channel in enumerate(base.channels)}
    joined: list[tuple[set[str], set[str]]] = []
    for channel in base.channels:
        at = {place for place, _ in channel.polarity}
        names, mine = {channel.id}, {group.id for group in groups if at & set(group.places)}
        if not mine:
            continue
        rest = []
        for other, theirs in joined:
            if theirs & mine:
                names, mine = names | other, mine | theirs
            else:
                rest.append((other, theirs))
        joined = [*rest, (names, mine)]
    return [
        ChannelGroup(
            id="+".join(sorted(names, key=order.__getitem__)),
            channels=tuple(sorted(names, key=order.__getitem__)),
            groups=tuple(group.id for group in groups if group.id in mine),
            forms=(),
            corners=(None,),
        )
        for names, mine in joined
    ]


def _corners(seen: _Seen, channels: Sequence[ChannelState]) -> Iterator[float | None]:
    yield None
    if "high-pass" not in seen.may:
        return
    if not all(may_filter(seen.base, channel) for channel in channels):
        return
    off = all(channel.settings.high_pass is None for channel in channels)
    yield from (corner for corner in HIGH_PASS_MENU if corner or not off)


def _forms(
    seen: _Seen,
    channels: Sequence[ChannelState],
    groups: Sequence[PlaceGroup],
    *,
    several: bool,
) -> Iterator[Form]:
    loads = {channel.id: parse_load(channel.load) for channel in channels}
    wired = list(_wirings(seen, channels, groups, loads))
    turned = list(_turnings(seen, channels, several=several))
    for wiring, form, there in wired:
        for turning, flipped in turned:
            told = {
                name: format_load(_flipped(load, flipped & set(load.locations)))
                for name, load in there.items()
            }
            changed = {
                f"{name}.load": text
                for name, text in told.items()
                if text != format_load(loads[name])
            }
            words = [each for each in (form.words, turning) if each]
            named = [each for each in (wiring, turning.replace(" ", "-")) if each]
            plain = replace(
                form,
                id="+".join(named) or KEPT,
                words=listed(words) or "as found",
                change=Change(changed),
            )
            yield plain
            yield from _with_capacitor(seen, plain, channels, told, loads)


def _wirings(
    seen: _Seen,
    channels: Sequence[ChannelState],
    groups: Sequence[PlaceGroup],
    loads: Mapping[str, Load],
) -> Iterator[tuple[str, Form, dict[str, Load]]]:
    """Yield how two full-range places of a channel may be wired; as they are first."""
    there = {name: load.tree for name, load in loads.items()}
    same = any(_in_series(tree, loads[name]) for name, tree in there.items())
    yield "", Form("", "", same=same), dict(loads)
    if "wiring" not in seen.may or not all(_are_two(seen, channel) for channel in channels):
        return
    for name, make, words in (
        ("series", Series, "in series"),
        ("parallel", Parallel, "in parallel"),
    ):
        if all(isinstance(tree, make) for tree in there.values()):
            continue
        new = {at: replace(load, tree=make(_leaves(load))) for at, load in loads.items()}
        yield name, Form("", words, same=make is Series), new
    for index, group in enumerate(groups):
        alone = {}
        for at, load in loads.items():
            left = next((n for n in load.locations if n in group.places), None)
            if left is not None:
                kept = load.reversed & {left}
                alone[at] = Load(Leaf(left), kept, {})
        others = frozenset(each.id for each in groups if each is not group)
        if len(alone) == len(loads) and others:
            yield (
                f"alone-{index + 1}",
                Form("", f"{listed(list(group.places))} alone", silent=others),
                alone,
            )


def _are_two(seen: _Seen, channel: ChannelState) -> bool:
    """Whether a channel drives two full-range places and nothing else."""
    if channel.parts or len(channel.polarity) != 2 or channel.driven_by is not None:
        return False
    places = (seen.base.location(name) for name, _ in channel.polarity)
    return not any(is_tweeter(place, channel) for place in places)


def _in_series(tree: Tree, load: Load) -> bool:
    """Whether two places stand one behind the other somewhere in a load."""
    if isinstance(tree, Leaf):
        return False
    inside = [sum(n not in load.parts for n in _names(part)) for part in tree.parts]
    if isinstance(tree, Series) and sum(count > 0 for count in inside) > 1:
        return True
    return any(_in_series(part, load) for part in tree.parts)


def _names(tree: Tree) -> list[str]:
    if isinstance(tree, Leaf):
        return [tree.name]
    return [name for part in tree.parts for name in _names(part)]


def _leaves(load: Load) -> tuple[Tree, ...]:
    return tuple(Leaf(name) for name in load.locations)


def _turnings(
    seen: _Seen, channels: Sequence[ChannelState], *, several: bool
) -> Iterator[tuple[str, frozenset[str]]]:
    """Yield the places that are turned round: none, those against their twins, all."""
    yield "", frozenset()
    if "polarity" not in seen.may:
        return
    here = {name for channel in channels for name, _ in channel.polarity}
    # A driver found reversed is put right by every plan: its sign is spoken for.
    if any(f"reversed@{name}" in seen.faults.get("", ()) for name in here):
        return
    pulls = frozenset(back for _, back in opposed_twins(seen.base) if back in here)
    if pulls:
        yield f"{listed(sorted(pulls))} turned round", pulls
    if several:
        yield "all turned round", frozenset(here) ^ pulls


def _flipped(load: Load, names: frozenset[str] | set[str]) -> Load:
    return replace(load, reversed=load.reversed ^ frozenset(names))


def _with_capacitor(
    seen: _Seen,
    form: Form,
    channels: Sequence[ChannelState],
    told: Mapping[str, str],
    loads: Mapping[str, Load],
) -> Iterator[Form]:
    """Yield a form with the capacitors to choose from, where each channel has one to change."""
    if "capacitor" not in seen.may or form.silent:
        return
    keys = {channel.id: _only_capacitor(loads[channel.id]) for channel in channels}
    found = {name: key for name, key in keys.items() if key is not None}
    rows = seen.rows("capacitor")
    if len(found) < len(channels) or not rows.size:
        return
    # One of the size that is there already is no other.
    size, other = seen.offer.compiled.numbers["value"][rows], np.ones(rows.size, dtype=bool)
    for name, key in found.items():
        part = loads[name].parts[key]
        if isinstance(part, ValuePart):
            other &= np.abs(size / part.value.value - 1.0) > ALIKE
    rows, size = rows[other], size[other]
    if not rows.size:
        return
    first = f"{1e6 * float(size[0]):.6g} uF"
    changed = {
        f"{name}.load": with_capacitor(told[name], key, first) for name, key in found.items()
    }
    yield replace(
        form,
        id=f"{form.id}+capacitor" if form.id != KEPT else "capacitor",
        words="another capacitor" if form.words == "as found" else f"{form.words}, capacitor",
        change=Change(changed),
        chosen=Capacitors(found, rows, size),
    )


def _only_capacitor(load: Load) -> str | None:
    """Return the part that stands before the tweeter of `woofer | (C + tweeter)`, if it is so."""
    if not isinstance(load.tree, Parallel):
        return None
    parts = [key for key, part in load.parts.items() if isinstance(part, ValuePart)]
    capacitors = [key for key in parts if load.parts[key].kind == "capacitor"]
    if len(load.parts) != 1 or len(capacitors) != 1 or len(load.locations) != 2:
        return None
    behind = [part for part in load.tree.parts if isinstance(part, Series)]
    return capacitors[0] if len(behind) == 1 and len(behind[0].parts) == 2 else None


def with_capacitor(text: str, key: str, value: str) -> str:
    """Return a load with another capacitor in the place of one of its parts."""
    load = parse_load(text)
    fresh = next(iter(parse_load(f"x | ({value} + y)").parts.values()))
    return format_load(replace(load, parts={**load.parts, key: fresh}))


# --- Radio ----------------------------------------------------------------------------------------


def _radios(seen: _Seen) -> Iterator[RadioOption]:
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
