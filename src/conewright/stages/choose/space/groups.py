"""What may be combined: groups of options of which a plan takes one each, as data.

Places that mirror each other form a group and get the same option; so do the channels that feed
them, and the radio. The options of a place differ by their variant (kept or another driver, ring,
cover) and, within one, by the part of the catalogue that is fitted; those of channels by the form
in which they are wired and turned, by the capacitor, and by the high-pass.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from conewright.errors import BadInputError
from conewright.job.document.document import Proposal
from conewright.job.document.parts import AS_FOUND

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pydantic import JsonValue

    from conewright.catalogue.offer import Offer
    from conewright.job.builds.job import Job
    from conewright.stages.choose.space.gates import Rejection

__all__ = [
    "KEPT",
    "NOTHING",
    "SLOPE",
    "Capacitors",
    "Change",
    "ChannelGroup",
    "Form",
    "PlaceGroup",
    "RadioOption",
    "Space",
    "Variant",
    "together",
]

KEPT = AS_FOUND
"""Id of the first option of every group."""

NO_ROWS: NDArray[np.intp] = np.empty(0, dtype=np.intp)


@dataclass(frozen=True)
class Change:
    """What an option changes, in the words of a proposal, and what is bought for it.

    Attributes:
        set: fields and their new values.
        mends: faults that are put right besides, each as fault@place.
        repairs: that are chosen, each as repair@place.
        add: entries of the job's lists.
        buy: rows of the catalogue, and how many of each.

    """

    set: Mapping[str, JsonValue] = field(default_factory=dict)
    mends: tuple[str, ...] = ()
    repairs: tuple[str, ...] = ()
    add: Mapping[str, tuple[Mapping[str, JsonValue], ...]] = field(default_factory=dict)
    buy: Mapping[int, float] = field(default_factory=dict)

    def proposal(self, id: str, name: str | None = None) -> Proposal:
        """Return it as a proposal."""
        return Proposal(
            id=id,
            name=name,
            set=dict(self.set),
            mends=self.mends,
            repairs=self.repairs,
            add={key: tuple(dict(each) for each in entries) for key, entries in self.add.items()},
        )


NOTHING = Change()


def together(changes: Iterable[Change]) -> Change:
    """Return several changes as one.

    Raises:
        BadInputError: two of them set the same field to different values.

    """
    fields: dict[str, JsonValue] = {}
    mends: list[str] = []
    repairs: list[str] = []
    add: dict[str, tuple[Mapping[str, JsonValue], ...]] = {}
    buy: dict[int, float] = {}
    for change in changes:
        for key, value in change.set.items():
            if key in fields and fields[key] != value:
                raise BadInputError(
                    f'options: found two that set "{key}", to {fields[key]!r} and to {value!r}; '
                    "options of different groups change different fields"
                )
            fields[key] = value
        mends += change.mends
        repairs += change.repairs
        for name, entries in change.add.items():
            add[name] = (*add.get(name, ()), *entries)
        for part, count in change.buy.items():
            buy[part] = buy.get(part, 0.0) + count
    return Change(fields, tuple(dict.fromkeys(mends)), tuple(dict.fromkeys(repairs)), add, buy)


@dataclass(frozen=True)
class Variant:
    """Options of a group of places that differ only in the driver of the catalogue they fit.

    Attributes:
        id: within its group.
        words: what is done, without the driver.
        change: of all of them, `driver` left out where `rows` has one.
        rows: of the catalogue, one for each option; none for a single option without a part.
        keeps, takes: group whose drivers stay where they are, or are taken for this one, empty
            for none: a driver that is there is used once.

    """

    id: str
    words: str
    change: Change = NOTHING
    rows: NDArray[np.intp] = field(default_factory=lambda: NO_ROWS)
    keeps: str = ""
    takes: str = ""

    def __len__(self) -> int:
        """Return how many options it stands for."""
        return max(len(self.rows), 1)


@dataclass(frozen=True)
class PlaceGroup:
    """Places that get the same option: twins, or one that has none."""

    id: str
    places: tuple[str, ...]
    variants: tuple[Variant, ...]

    def __len__(self) -> int:
        """Return the number of options."""
        return sum(map(len, self.variants))

    @property
    def starts(self) -> tuple[int, ...]:
        """The first option of each variant."""
        return tuple(int(n) for n in np.cumsum([0, *map(len, self.variants)])[:-1])

    def variant_of(self, option: int) -> tuple[Variant, int]:
        """Return the variant of an option, and the row of the catalogue, -1 for none."""
        index = int(np.searchsorted(self.starts, option, side="right")) - 1
        variant = self.variants[index]
        row = int(variant.rows[option - self.starts[index]]) if len(variant.rows) else -1
        return variant, row

    def change_of(self, option: int, offer: Offer) -> Change:
        """Return what an option changes, the driver of the catalogue included."""
        variant, row = self.variant_of(option)
        if row < 0:
            return variant.change
        name = offer.compiled.text("id", row)
        fields = {**variant.change.set, **{f"{at}.driver": name for at in self.places}}
        buy = {**variant.change.buy, row: float(len(self.places))}
        return replace(variant.change, set=fields, buy=buy)


@dataclass(frozen=True)
class Capacitors:
    """Capacitors that may stand before the tweeters of a group: rows, and size [F] of each.

    keys: the part of each channel that one is.
    """

    keys: Mapping[str, str]
    rows: NDArray[np.intp]
    size: NDArray[np.float64]


@dataclass(frozen=True)
class Form:
    """One way in which the channels of a group are wired and turned.

    Attributes:
        id: within its group.
        words: what it is.
        change: of all its channels; a capacitor that is chosen stands there with any value.
        same: whether the places of a channel take the same driver, as in series.
        silent: groups of places that are left off, and keep what they have.
        chosen: the capacitors to choose from, None where none is.

    """

    id: str
    words: str
    change: Change = NOTHING
    same: bool = False
    silent: frozenset[str] = frozenset()
    chosen: Capacitors | None = None


@dataclass(frozen=True)
class ChannelGroup:
    """Channels that feed twins: their places, their forms, and the high-passes there are [Hz].

    The first of `corners` is what is set as found, as None.
    """

    id: str
    channels: tuple[str, ...]
    groups: tuple[str, ...]
    forms: tuple[Form, ...]
    corners: tuple[float | None, ...]

    def corner_change(self, corner: float | None) -> Change:
        """Return what a high-pass changes; 0 is off."""
        if corner is None:
            return NOTHING
        if corner == 0.0:
            return Change({f"{name}.high_pass": "off" for name in self.channels})
        fields: dict[str, JsonValue] = {}
        for name in self.channels:
            fields[f"{name}.high_pass"] = f"{corner:g} Hz"
            fields[f"{name}.high_pass_slope"] = f"{SLOPE} dB/oct"
        return Change(fields)


SLOPE = 12
"""Of every high-pass that is chosen [dB/oct]; what radios usually have, common practice."""


@dataclass(frozen=True)
class RadioOption:
    """The radio and what is added to it; row of the catalogue, -1 for none."""

    id: str
    words: str
    change: Change = NOTHING
    row: int = -1


@dataclass(frozen=True)
class Space:
    """Everything that may be combined.

    Attributes:
        job: as it is written.
        offer: the parts to choose from.
        base: what every plan does: the faults that no option ends are mended.
        faults: established ones that a plan must end, each as fault@place.
        left: established ones that nothing here ends.
        places, channels, radios: groups; one radio at least.
        rejected: parts that no option has, the first of each reason and place.
        counts: how many by reason, at all places together, and how many there were to look at.

    """

    job: Job
    offer: Offer
    base: Change
    faults: tuple[str, ...]
    left: tuple[str, ...]
    places: tuple[PlaceGroup, ...]
    channels: tuple[ChannelGroup, ...]
    radios: tuple[RadioOption, ...]
    rejected: tuple[Rejection, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)

    def place_group(self, name: str) -> PlaceGroup:
        """Return a group of places; raises KeyError."""
        return {group.id: group for group in self.places}[name]

    @property
    def options(self) -> int:
        """How many options there are, as found not counted."""
        count = sum(len(group) - 1 for group in self.places) + len(self.radios) - 1
        for group in self.channels:
            forms = sum(1 if f.chosen is None else len(f.chosen.rows) for f in group.forms)
            count += forms - 1 + len(group.corners) - 1
        return count

    @property
    def plans(self) -> float:
        """How many whole plans there are."""
        count = float(len(self.radios))
        sizes = {group.id: len(group) for group in self.places}
        kept = {
            group.id: sum(bool(v.keeps) and not v.change.set for v in group.variants)
            for group in self.places
        }
        seen: set[str] = set()
        for group in self.channels:
            seen.update(group.groups)
            count *= len(group.corners) * sum(
                _under(form, group.groups, sizes, kept) for form in group.forms
            )
        for name, size in sizes.items():
            count *= size if name not in seen else 1.0
        return count


def _under(
    form: Form, groups: Sequence[str], sizes: Mapping[str, int], kept: Mapping[str, int]
) -> float:
    count = 1.0 if form.chosen is None else float(len(form.chosen.rows))
    if form.same:
        return count * max(sizes[name] for name in groups)
    for name in groups:
        count *= kept[name] if name in form.silent else sizes[name]
    return count
