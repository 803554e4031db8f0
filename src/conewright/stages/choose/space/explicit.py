"""An explicit space: groups of options as they are given, in the place of what knobs span."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from conewright.errors import BadInputError
from conewright.job.wildcards import matches
from conewright.stages.choose.space.groups import (
    KEPT,
    Change,
    ChannelGroup,
    Form,
    PlaceGroup,
    RadioOption,
    Space,
    Variant,
    together,
)
from conewright.stages.choose.space.knobs import twins_of
from conewright.stages.choose.space.seen import base_of
from conewright.stages.choose.space.wiring_forms import channel_groups_of

if TYPE_CHECKING:
    from pydantic import JsonValue

    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.location import LocationState

__all__ = ["GivenGroup", "GivenOption", "GivenOptions", "space_given"]

MOST_FORMS = 512
"""Ways to combine what is given for the channels of a group, or for the radio."""


@dataclass(frozen=True)
class GivenOption:
    """One option as it is given."""

    id: str
    set: Mapping[str, JsonValue] = field(default_factory=dict)
    mends: tuple[str, ...] = ()
    repairs: tuple[str, ...] = ()
    add: Mapping[str, tuple[Mapping[str, JsonValue], ...]] = field(default_factory=dict)
    buy: Mapping[str, float] = field(default_factory=dict)
    words: str = ""

    @property
    def of_radio(self) -> bool:
        """Whether it is about the radio, or adds something to it."""
        return bool(self.add) or any(key.startswith("head_unit.") for key in self.set)


@dataclass(frozen=True)
class GivenGroup:
    """Options of which a plan takes one; the first is as found."""

    id: str
    options: tuple[GivenOption, ...]


GivenOptions = tuple[GivenGroup, ...]


def space_given(
    job: Job, offer: Offer, groups: GivenOptions, *, established: Sequence[str]
) -> Space:
    """Return the space that some groups of options span.

    Args:
        job: with the wishes that count.
        offer: parts that the options fit.
        groups: of options.
        established: faults that are, each as fault@place; what no option ends is mended.

    Raises:
        BadInputError: a group that speaks of several kinds of thing at once, of nothing that there
            is, or of a part that the list has not.

    """
    base = base_of(job, established)
    places = {place.id for place in base.locations}
    channels = {channel.id for channel in base.channels}
    of_places: list[tuple[GivenGroup, frozenset[str]]] = []
    of_channels: list[tuple[GivenGroup, frozenset[str]]] = []
    rest: list[GivenGroup] = []
    for group in groups:
        named = [_targets(key, places | channels) for o in group.options for key in o.set]
        at = frozenset[str]().union(*named)
        if any(option.of_radio for option in group.options):
            rest.append(group)
        elif at and at <= places:
            of_places.append((group, at))
        elif at and at <= channels:
            of_channels.append((group, at))
        elif at:
            raise BadInputError(
                f"options: group {group.id} changes places and channels at once; give one group "
                "for each"
            )
        else:
            rest.append(group)
    found = tuple(_place_groups(twins_of(base), of_places, offer))
    return Space(
        job=job,
        offer=offer,
        base=Change(mends=tuple(established)),
        faults=tuple(established),
        left=(),
        places=found,
        channels=tuple(_channels(channel_groups_of(base, found), of_channels, offer)),
        radios=tuple(_radios(rest, offer)),
    )


def _targets(key: str, names: Iterable[str]) -> frozenset[str]:
    """Return the places and channels that a key of a change means."""
    id, _, _ = key.partition(".")
    return frozenset(name for name in names if matches(name, id))


# --- Places ---------------------------------------------------------------------------------------


def _place_groups(
    twins: Sequence[Sequence[LocationState]],
    given: Sequence[tuple[GivenGroup, frozenset[str]]],
    offer: Offer,
) -> Iterator[PlaceGroup]:
    """Yield the groups that are given, then places of which nobody speaks, as they are."""
    named = {name: group.id for group, at in given for name in at}
    named |= {
        place.id: "+".join(each.id for each in places)
        for places in twins
        for place in places
        if not named.keys() & {each.id for each in places}
    }
    fitted: dict[str, set[str]] = {}
    for place in (place for places in twins for place in places):
        if place.id in named:
            fitted.setdefault(place.driver.id, set()).add(named[place.id])
    spoken: set[str] = set()
    for group, at in given:
        if at & spoken:
            raise BadInputError(
                f"options: group {group.id} speaks of {sorted(at & spoken)[0]}, and so does "
                "another group; give one group for a place"
            )
        spoken |= at
        yield PlaceGroup(group.id, tuple(sorted(at)), tuple(_variants(group, offer, fitted)))
    for places in twins:
        names = tuple(place.id for place in places)
        if not set(names) & spoken:
            name = "+".join(names)
            yield PlaceGroup(name, names, (Variant(KEPT, "kept", keeps=name),))


def _variants(group: GivenGroup, offer: Offer, fitted: Mapping[str, set[str]]) -> Iterator[Variant]:
    """Yield the options of a group of places, those together that differ by a part alone.

    fitted: where each driver is as found, by groups of places.
    """
    known = {name: row for row, name in enumerate(offer.compiled.texts["id"])}
    alike: dict[tuple[object, ...], list[tuple[GivenOption, int]]] = {}
    order: list[tuple[object, ...]] = []
    for option in group.options:
        drivers = {str(v) for k, v in option.set.items() if k.endswith(".driver")}
        row = known.get(next(iter(drivers)), -1) if len(drivers) == 1 else -1
        fields = _plain(option, row >= 0)
        key: tuple[object, ...] = (
            repr(sorted(fields.items())),
            option.mends,
            option.repairs,
            row >= 0,
        )
        if row < 0:
            key = (*key, option.id)
        if key not in alike:
            order.append(key)
        alike.setdefault(key, []).append((option, row))
        _hold_bought(group, option, known)
    for key in order:
        options = alike[key]
        first, row = options[0]
        change = Change(_plain(first, row >= 0), first.mends, first.repairs)
        rows = np.array([r for _, r in options if r >= 0], dtype=np.intp)
        words = first.words or first.id
        if row >= 0:
            yield Variant("new", words, change, rows)
            continue
        others = {str(v) for k, v in first.set.items() if k.endswith(".driver")}
        taken = set().union(*(fitted.get(name, set()) for name in others)) - {group.id}
        yield Variant(
            first.id,
            words,
            change,
            rows,
            keeps="" if others else group.id,
            takes=taken.pop() if len(taken) == 1 else "",
        )


def _plain(option: GivenOption, fitted: bool) -> dict[str, JsonValue]:
    """Return what an option sets, a driver of the list left out."""
    return {k: v for k, v in option.set.items() if not (fitted and k.endswith(".driver"))}


def _hold_bought(group: GivenGroup, option: GivenOption, known: Mapping[str, int]) -> None:
    for part in option.buy:
        if part not in known:
            raise BadInputError(
                f'options: {group.id}, {option.id} buys "{part}"; the list has no such part'
            )


# --- Channels and radio ---------------------------------------------------------------------------


def _channels(
    groups: Sequence[ChannelGroup],
    given: Sequence[tuple[GivenGroup, frozenset[str]]],
    offer: Offer,
) -> Iterator[ChannelGroup]:
    """Yield groups of channels with the forms that the given options make together."""
    taken = set()
    for channels in groups:
        mine = []
        for group, at in given:
            if at & set(channels.channels):
                if not at <= set(channels.channels):
                    raise BadInputError(
                        f"options: group {group.id} speaks of channels that feed different "
                        "places; give one group for each pair of them"
                    )
                mine.append(group)
                taken.add(group.id)
        forms = tuple(_forms(mine, offer))
        yield replace(channels, forms=forms, corners=(None,))
    left = [group.id for group, _ in given if group.id not in taken]
    if left:
        raise BadInputError(f"options: group {left[0]} speaks of channels that drive nothing")


def _forms(groups: Sequence[GivenGroup], offer: Offer) -> Iterator[Form]:
    for name, words, change in _combined(groups, offer):
        yield Form(name, words, change)


def _radios(groups: Sequence[GivenGroup], offer: Offer) -> Iterator[RadioOption]:
    for name, words, change in _combined(groups, offer):
        bought = [row for row in change.buy if offer.compiled.text("kind", row) == "radio"]
        yield RadioOption(name, words, change, bought[0] if bought else -1)


def _combined(groups: Sequence[GivenGroup], offer: Offer) -> Iterator[tuple[str, str, Change]]:
    """Yield every way to take one option of each group: its id, words and change."""
    count = int(np.prod([len(group.options) for group in groups])) if groups else 1
    if count > MOST_FORMS:
        names = ", ".join(group.id for group in groups)
        raise BadInputError(
            f"options: {names} make {count} combinations; at most {MOST_FORMS} are searched"
        )
    known = {name: row for row, name in enumerate(offer.compiled.texts["id"])}
    for picks in product(*(group.options for group in groups)):
        named = [option for option in picks if option.id != KEPT]
        for group, option in zip(groups, picks, strict=True):
            _hold_bought(group, option, known)
        change = together(
            Change(
                option.set,
                option.mends,
                option.repairs,
                option.add,
                buy={known[part]: n for part, n in option.buy.items()},
            )
            for option in picks
        )
        yield (
            "+".join(option.id for option in named) or KEPT,
            ", ".join(option.words or option.id for option in named) or "as found",
            change,
        )
