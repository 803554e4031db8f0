"""Every plan of a small space worked out, without any bound: what a search must find."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.stages.choose.engine.solve import DECIMALS, Found, Limits, Picks
from conewright.stages.choose.mounted.exact import Plans, Solved, solved
from conewright.stages.choose.mounted.plan_rows import MOST_TRAVEL
from conewright.stages.choose.mounted.prepared import Prepared, UnitOptions
from conewright.stages.common.changes import Changes
from conewright.stages.compare.wishes import marks, points_by_wish

__all__ = ["Enumeration"]

BATCH = 256


@dataclass(frozen=True)
class _Whole:
    """One plan: what it takes, comes to and leaves of what has no sound."""

    picks: Picks
    hours: float
    money: float
    left: Mapping[str, float]


class Enumeration:
    """All plans of a space, each with its levels, money and hours; wishes and limits come after."""

    def __init__(self, ready: Prepared) -> None:
        self.ready = ready
        self.plans: list[_Whole] = []
        levels: list[FloatArray] = []
        for frame in _frames(ready):
            picks = list(_picks_of(ready, *frame))
            for start in range(0, len(picks), BATCH):
                some = picks[start : start + BATCH]
                self.plans += [self._whole(each) for each in some]
                levels.append(self._levels(*frame, some))
        self.levels = np.concatenate(levels)
        reference = ready.as_found
        self.changes = self.levels[:, :3] - np.ravel(
            [reference.bass[0], reference.clarity[0], reference.loudness[0]]
        )
        self.allowed = (
            (self.levels[:, 3] >= 1.0 - 1e-9)
            & (self.levels[:, 4] <= ready.base.head_unit.limit.si)
            & (self.levels[:, 5] <= MOST_TRAVEL)
        )

    def __len__(self) -> int:
        return len(self.plans)

    def within(self, limits: Limits) -> list[Found]:
        """Return every plan within limits, the best first."""
        given = {
            "bass": self.changes[:, 0],
            "clarity": self.changes[:, 1],
            "loudness": self.changes[:, 2],
            **{
                name: np.array([each.left[name] for each in self.plans])
                for name in ("reversible", "appearance", "hands_free")
            },
        }
        told = points_by_wish(self.ready.space.job, given)
        assert told is not None
        value = np.asarray(sum(told.values()))
        found = [
            Found(each.picks, float(value[row]), each.money, each.hours)
            for row, each in enumerate(self.plans)
            if self.allowed[row] and _fits(each, limits)
        ]
        return sorted(found, key=_order)

    def _whole(self, picks: Picks) -> _Whole:
        ready, count = self.ready, len(self.ready.space.channels)
        takes = [ready.always, ready.radio_takes[picks[0]]]
        money = 0.0
        for c in range(count):
            form, capacitor, corner = picks[1 + 3 * c : 4 + 3 * c]
            channels = ready.space.channels[c]
            takes += [ready.form_takes[c, form], ready.corner_take(c, channels.corners[corner])]
            chosen = channels.forms[form].chosen
            if chosen is not None:
                row = int(chosen.rows[capacitor])
                price = ready.space.offer.compiled.numbers["price"][row]
                assert ready.space.offer.compiled.text("per", row) == "piece"
                money += float(price) * len(chosen.keys)
        for g, group in enumerate(ready.space.places):
            option = picks[1 + 3 * count + g]
            variant = int(np.searchsorted(group.starts, option, side="right")) - 1
            takes.append(ready.place_takes[g, variant])
            money += float(ready.money[g][option])
        hours, work = ready.labour.of(takes)
        union: dict[str, tuple[str, ...]] = {}
        for take in takes:
            for kind, at in take.kinds.items():
                union[kind] = (*union.get(kind, ()), *at)
        kinds = dict.fromkeys(("patched", "cuts", "holed", "new-radio", "grilled"), ())
        left = marks(Changes((), {**kinds, **union}, {}))
        left["hands_free"] = float(ready.hands_free[picks[0]])
        return _Whole(picks, hours, money + work + sum(each.material for each in takes), left)

    def _levels(
        self, r: int, forms: tuple[int, ...], kept: tuple[bool, ...], some: list[Picks]
    ) -> FloatArray:
        ready, space = self.ready, self.ready.space
        picks, count = np.array(some), len(space.channels)
        mounted = {
            name: ready.mounted[name].at(picks[:, 1 + 3 * count + g])
            for g, group in enumerate(space.places)
            for name in group.places
        }
        capacitors, corners = {}, {}
        for c, channels in enumerate(space.channels):
            chosen = channels.forms[forms[c]].chosen
            for name in channels.channels:
                if chosen is not None:
                    size = chosen.size[picks[:, 2 + 3 * c]][:, np.newaxis]
                    capacitors[name, chosen.keys[name]] = size
                if not kept[c]:
                    told = np.array([each or 0.0 for each in channels.corners])
                    corners[name] = told[picks[:, 3 + 3 * c]][:, np.newaxis]
        found: Solved = solved(
            ready.frame(r, forms),
            Plans(mounted, capacitors, corners),
            ear=ready.ear,
            centre=ready.centre,
        )
        table = (found.bass, found.clarity, found.loudness, found.least_load, found.chip)
        return np.stack([*table, found.travel], axis=1)


def _frames(ready: Prepared) -> Iterator[tuple[int, tuple[int, ...], tuple[bool, ...]]]:
    """Yield radio, forms, and where the high-pass stays as it is set."""
    groups = ready.space.channels
    forms = product(*(range(len(channels.forms)) for channels in groups))
    yield from product(
        range(len(ready.space.radios)), forms, product((True, False), repeat=len(groups))
    )


def _picks_of(
    ready: Prepared, r: int, forms: tuple[int, ...], kept: tuple[bool, ...]
) -> Iterator[Picks]:
    """Yield every plan of a frame."""
    of_channels = []
    for c, form in enumerate(forms):
        told = ready.space.channels[c].corners
        corners = [k for k, corner in enumerate(told) if (corner is None) is kept[c]]
        rows = list(product(*(_rows(unit) for unit in ready.units(c, form))))
        of_channels.append([(form, corner, row) for row in rows for corner in corners])
    for some in product(*of_channels):
        picks = [r]
        options: dict[int, int] = {}
        for form, corner, row in some:
            picks += [form, max(capacitor for capacitor, _ in row), corner]
            for _, taken in row:
                options |= taken
        if _uses_each_once(ready, options):
            yield (*picks, *(options[g] for g in range(len(ready.space.places))))


def _uses_each_once(ready: Prepared, options: Mapping[int, int]) -> bool:
    """Whether no driver that is there is fitted in two places."""
    fitted = []
    for g, group in enumerate(ready.space.places):
        variant, row = group.variant_of(options[g])
        if row < 0:
            fitted.append(variant.takes or group.id)
    return len(set(fitted)) == len(fitted)


def _rows(unit: UnitOptions) -> list[tuple[int, dict[int, int]]]:
    """Return capacitor and options of groups, of everything that a unit may take."""
    return [
        (int(capacitor), dict(zip(unit.groups, map(int, options), strict=True)))
        for capacitor, options in zip(unit.capacitor, unit.options, strict=True)
    ]


def _fits(plan: _Whole, limits: Limits) -> bool:
    return (limits.money is None or plan.money <= limits.money + 1e-9) and (
        limits.hours is None or plan.hours <= limits.hours + 1e-9
    )


def _order(plan: Found) -> tuple[float, float, float, int, Picks]:
    """More points; then less money, fewer hours, fewer groups changed, first in the catalogue."""
    changed = sum(1 for pick in plan.picks if pick > 0)
    money, hours = round(plan.money, 6), round(plan.hours, 6)
    return -round(plan.value, DECIMALS), money, hours, changed, plan.picks
