"""How the channels of a vehicle may be wired, turned and filtered: their forms and corners."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from conewright.job.quantity.expression import Load, ValuePart, format_load, parse_load
from conewright.phrases import listed
from conewright.physics.electrics.wiring import Leaf, Parallel, Series, Tree
from conewright.stages.choose.space.groups import (
    KEPT,
    Capacitors,
    Change,
    ChannelGroup,
    Form,
    PlaceGroup,
)
from conewright.stages.common.together import opposed_twins
from conewright.stages.find.faults.chains import is_tweeter
from conewright.stages.hear.heard import HIGH_PASS_MENU
from conewright.stages.report.having import may_filter

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState
    from conewright.stages.choose.space.seen import Seen

__all__ = ["CAPACITOR", "channel_groups", "channel_groups_of", "with_capacitor"]

CAPACITOR = "tweeter capacitor"
"""What is put in before a tweeter, in words."""

ALIKE = 1e-6
"""Two values of a part within this share are the same [1]."""


def channel_groups(seen: Seen, groups: Sequence[PlaceGroup]) -> Iterator[ChannelGroup]:
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


def _corners(seen: Seen, channels: Sequence[ChannelState]) -> Iterator[float | None]:
    yield None
    if "high-pass" not in seen.may:
        return
    if not all(may_filter(seen.base, channel) for channel in channels):
        return
    off = all(channel.settings.high_pass is None for channel in channels)
    yield from (corner for corner in HIGH_PASS_MENU if corner or not off)


def _forms(
    seen: Seen,
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
    seen: Seen,
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


def _are_two(seen: Seen, channel: ChannelState) -> bool:
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
    seen: Seen, channels: Sequence[ChannelState], *, several: bool
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
    seen: Seen,
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
        words=CAPACITOR if form.words == "as found" else f"{form.words}, {CAPACITOR}",
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
