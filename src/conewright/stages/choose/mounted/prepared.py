"""A space made ready for the search: every option in its place, what it takes, who hangs where."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from conewright.catalogue.job_entries import driver_entry
from conewright.errors import BadInputError
from conewright.job.document.places import DriverSheet
from conewright.physics.basics.air import Air
from conewright.physics.electrics.wiring import capacitor as capacitor_impedance
from conewright.physics.electrics.wiring import leaves
from conewright.stages.choose.mounted.branches import split
from conewright.stages.choose.mounted.driven import Hanging
from conewright.stages.choose.mounted.ear import Ear
from conewright.stages.choose.mounted.exact import Plans, Solved, solved
from conewright.stages.choose.mounted.option_takes import Labour, Take, option_money, paid, take_of
from conewright.stages.choose.mounted.plan_rows import (
    AS_BEFORE,
    MOST_TRAVEL,
    MountedOptions,
    RowDraws,
    mounted_one,
    mounted_parts,
    rows_of,
    stacked,
)
from conewright.stages.choose.space.groups import (
    Change,
    ChannelGroup,
    Form,
    PlaceGroup,
    Space,
    Variant,
    together,
)
from conewright.stages.choose.space.seen import built
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.damage import channel_damage
from conewright.stages.common.load import lowest_borne
from conewright.stages.common.nets import filters_of, source_of
from conewright.stages.compare.wishes import marked
from conewright.stages.hear.heard import sound_of

if TYPE_CHECKING:
    from conewright.catalogue.driver_columns import DriverColumns
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState
    from conewright.physics.basics.arrays import ComplexArray, FloatArray

__all__ = ["Prepared", "UnitOptions", "with_drivers"]

LEAST_CORNER = 2.0
"""Corner of a capacitor before a tweeter over the resonance of that; common practice, no source."""

MOST_JOINT = 100_000
"""Combinations of groups that are looked at one by one."""


@dataclass(frozen=True, eq=False)
class UnitOptions:
    """What takes one option together under a form of its channels.

    Attributes:
        groups: of places, their positions in the space.
        options: of each group, shape (options, groups).
        capacitor: which one of the form's, shape (options,); -1 where none is chosen.
        kinds: variant of each group, shape (options, groups): those with the same are a class.
        money: of parts, shape (options,).

    """

    groups: tuple[int, ...]
    options: NDArray[np.intp]
    capacitor: NDArray[np.intp]
    kinds: NDArray[np.intp]
    money: FloatArray

    def __len__(self) -> int:
        """Return the number of options."""
        return len(self.capacitor)


def with_drivers(job: Job, rows: Sequence[int], space: Space, *, trust: bool = False) -> Job:
    """Return a job with drivers of the catalogue among its own, without their prices."""
    there = {driver.id for driver in job.drivers}
    compiled = space.offer.compiled
    entries = (driver_entry(compiled, row, trust=trust) for row in dict.fromkeys(rows))
    new = tuple(DriverSheet.model_validate(entry) for entry in entries if entry["id"] not in there)
    return job.model_copy(update={"drivers": (*job.drivers, *new)})


class Prepared:
    """A space with everything that the search asks of it, worked out once.

    Attributes:
        space: what may be combined.
        parts: the drivers of its catalogue.
        ear: of the seat that counts.
        centre: the central state of the draws.

    """

    def __init__(self, space: Space, parts: DriverColumns, seat: str) -> None:
        self.space, self.parts = space, parts
        self._stand_for = {
            (g, v): int(variant.rows[0])
            for g, group in enumerate(space.places)
            for v, variant in enumerate(group.variants)
            if len(variant.rows)
        }
        self.job = with_drivers(space.job, list(self._stand_for.values()), space)
        self._builds = built(self.job, dict(self._changes()))
        self.base = self._builds["base"]
        # Repairs have spreads of their own: every build here has the axes of all.
        self.centre: RowDraws = rows_of(conditioned_draws(self.base, samples=1), {})
        self.ear = Ear(self.base, self.base.seat(seat), self.centre)
        self.solver = Solver(self.centre, self.ear.frequency)
        self.labour = Labour(self.base)

    def _changes(self) -> Iterator[tuple[str, Change]]:
        """Yield every choice by itself, with what every plan does, by a name for it."""
        space, base = self.space, self.space.base
        whole = Change(mends=tuple(dict.fromkeys((*base.mends, *space.faults))))
        yield "base", whole
        for g, group in enumerate(space.places):
            for v, variant in enumerate(group.variants):
                fields = dict(variant.change.set)
                if len(variant.rows):
                    name = space.offer.compiled.text("id", self._stand_for[g, v])
                    fields |= {f"{at}.driver": name for at in group.places}
                yield f"place-{g}-{v}", together([base, replace(variant.change, set=fields)])
        for c, channels in enumerate(space.channels):
            for f, form in enumerate(channels.forms):
                yield f"form-{c}-{f}", together([whole, form.change])
        for r, radio in enumerate(space.radios):
            yield f"radio-{r}", together([whole, radio.change])

    @cached_property
    def _reference(self) -> Build:
        """What changes are counted from: as found; where that is silent, as it is when mended."""
        found = self.space.job.build()
        return found if self.solver.solve(found).playing else self.base

    @cached_property
    def as_found(self) -> Solved:
        """What the reference comes to."""
        build = self._reference
        air = Air(temperature=build.vehicle.temperature.si)
        driven = {name for channel in build.channels for name, _ in channel.polarity}
        mounted = {
            name: mounted_one(build.location(name), centre=self.centre, solver=self.solver, air=air)
            for name in driven
        }
        return solved(build, Plans(mounted, {}, {}), ear=self.ear, centre=self.centre)

    @cached_property
    def _travel_there(self) -> dict[str, float]:
        """Travel as found over the usual most [1], by place: what is kept may go as far."""
        sound = sound_of(self.space.job.build(), self.solver)
        return {
            name: float(ratio[0].max()) * AS_BEFORE / MOST_TRAVEL
            for name, ratio in sound.travel_ratio.items()
        }

    @cached_property
    def factors(self) -> dict[str, ComplexArray]:
        """What takes flows of closed places to the common space of the bass."""
        driven = [name for group in self.space.places for name in group.places]
        closed = [self.base.location(n) for n in driven if self.base.location(n).back is None]
        known = self.ear.factors(closed)
        # A tweeter sounds from where its host does.
        return known | {f"{name}.tweeter": factor for name, factor in known.items()}

    @cached_property
    def hands_free(self) -> tuple[float, ...]:
        """What is left of hands-free with each radio."""
        return tuple(
            marked(self._builds[f"radio-{r}"])["hands_free"] for r in range(len(self.space.radios))
        )

    # --- Takes ------------------------------------------------------------------------------------

    @cached_property
    def always(self) -> Take:
        """What every plan takes: the faults mended that no option of a place deals with."""
        only = built(self.job, {"always": self.space.base})["always"]
        found = built(self.job, {"nothing": Change()})["nothing"]
        return take_of(only, found, solver=self.solver, bought=frozenset())

    @cached_property
    def _base_take(self) -> Build:
        return built(self.job, {"always": self.space.base})["always"]

    @cached_property
    def place_takes(self) -> dict[tuple[int, int], Take]:
        """What each variant of a group of places takes, by group and variant."""
        return {
            (g, v): take_of(
                self._builds[f"place-{g}-{v}"],
                self._base_take,
                solver=self.solver,
                bought=frozenset({"driver"} if len(variant.rows) or variant.takes else ()),
                stands_for_many=len(variant.rows) > 0,
            )
            for g, group in enumerate(self.space.places)
            for v, variant in enumerate(group.variants)
        }

    @cached_property
    def form_takes(self) -> dict[tuple[int, int], Take]:
        """What each form of a group of channels takes."""
        return {
            (c, f): take_of(
                self._builds[f"form-{c}-{f}"],
                self.base,
                solver=self.solver,
                bought=frozenset({"capacitor"}) if form.chosen is not None else frozenset(),
            )
            for c, channels in enumerate(self.space.channels)
            for f, form in enumerate(channels.forms)
        }

    @cached_property
    def radio_takes(self) -> tuple[Take, ...]:
        """What each radio takes; prices as far as the catalogue has them."""
        compiled = self.space.offer.compiled
        takes = []
        for r, radio in enumerate(self.space.radios):
            buy = radio.change.buy
            bought = frozenset(compiled.text("kind", row) for row in buy)
            take = take_of(self._builds[f"radio-{r}"], self.base, solver=self.solver, bought=bought)
            price = sum(paid(compiled, row, count) for row, count in buy.items())
            takes.append(replace(take, material=take.material + price))
        return tuple(takes)

    def corner_take(self, c: int, corner: float | None) -> Take:
        """What a high-pass takes: it is set for every channel of a group."""
        if corner is None:
            return Take()
        return Take({"filtered": frozenset(self.space.channels[c].channels)})

    # --- Options in place -------------------------------------------------------------------------

    @cached_property
    def mounted(self) -> dict[str, MountedOptions]:
        """Every option of every place, solved there."""
        air = Air(temperature=self.base.vehicle.temperature.si)
        found: dict[str, MountedOptions] = {}
        for g, group in enumerate(self.space.places):
            for name in group.places:
                tables = []
                for v, variant in enumerate(group.variants):
                    place = self._builds[f"place-{g}-{v}"].location(name)
                    if len(variant.rows):
                        tables.append(
                            mounted_parts(
                                place,
                                variant.rows,
                                self.parts,
                                centre=self.centre,
                                frequency=self.ear.frequency,
                                air=air,
                            )
                        )
                    else:
                        there = mounted_one(place, centre=self.centre, solver=self.solver, air=air)
                        # A driver from another place has not gone as far here yet.
                        travel = {} if variant.takes else self._travel_there
                        tables.append(there.let_pass(travel, name))
                whole = stacked(tables)
                alike = (found[other] for other in group.places if other in found)
                found[name] = next((each for each in alike if each.same_as(whole)), whole)
        return found

    @cached_property
    def money(self) -> tuple[FloatArray, ...]:
        """Money of the parts of every option of a group of places."""
        compiled = self.space.offer.compiled
        found = []
        for g, group in enumerate(self.space.places):
            columns = []
            for v, variant in enumerate(group.variants):
                if not len(variant.rows):
                    columns.append(np.zeros(1))
                    continue
                columns.append(
                    option_money(
                        self.place_takes[g, v],
                        variant.rows,
                        self._stand_for[g, v],
                        parts=self.parts,
                        compiled=compiled,
                        count=len(group.places),
                    )
                )
            found.append(np.concatenate(columns))
        return tuple(found)

    # --- Units under a form -----------------------------------------------------------------------

    def units(self, c: int, f: int) -> tuple[UnitOptions, ...]:
        """Return what takes one option together under a form."""
        channels, form = self.space.channels[c], self.space.channels[c].forms[f]
        order = {group.id: index for index, group in enumerate(self.space.places)}
        here = [order[name] for name in channels.groups]
        if form.same:
            return (self._same(tuple(here)),)
        if not self._splits(c, f):
            return (self._joint(tuple(here)),)
        return tuple(self._one(g, channels, form) for g in here)

    def _splits(self, c: int, f: int) -> bool:
        channels, form = self.space.channels[c], self.space.channels[c].forms[f]
        units = [frozenset(self._group(name).places) for name in channels.groups]
        if form.silent:
            return True
        there = self._builds[f"form-{c}-{f}"]
        return all(split(there.channel(name).tree, units) for name in channels.channels)

    def _group(self, name: str) -> PlaceGroup:
        return self.space.place_group(name)

    def _kinds(self, g: int) -> NDArray[np.intp]:
        sizes = [len(variant) for variant in self.space.places[g].variants]
        return np.repeat(np.arange(len(sizes)), sizes)

    def _one(self, g: int, channels: ChannelGroup, form: Form) -> UnitOptions:
        """Return the options of one group, with the capacitor before it where one is chosen."""
        group, kinds, money = self.space.places[g], self._kinds(g), self.money[g]
        options = np.arange(len(group))
        if group.id in form.silent:
            kept = np.array([len(v.rows) == 0 and not v.change.set for v in group.variants])
            options = options[kept[kinds]]
        none = np.full(options.size, -1)
        chosen = form.chosen
        if chosen is None or not self._behind(group, channels, chosen.keys):
            return UnitOptions(
                (g,), options[:, np.newaxis], none, kinds[options][:, np.newaxis], money[options]
            )
        compiled, count = self.space.offer.compiled, len(chosen.keys)
        prices = np.array([paid(compiled, int(row), count) for row in chosen.rows])
        which, cap = (each.ravel() for each in np.indices((options.size, chosen.rows.size)))
        taken = options[which]
        high = self._corner(g, taken, chosen.size[cap]) >= LEAST_CORNER
        taken, cap = taken[high], cap[high]
        return UnitOptions(
            (g,),
            taken[:, np.newaxis],
            cap,
            kinds[taken][:, np.newaxis],
            money[taken] + prices[cap],
        )

    def _corner(self, g: int, options: NDArray[np.intp], capacitor: FloatArray) -> FloatArray:
        """Return the corner that a capacitor makes with a tweeter, over its resonance [1]."""
        group, resonance = self.space.places[g], []
        for v, variant in enumerate(group.variants):
            if len(variant.rows):
                resonance.append(self.parts.of("fs", variant.rows))
                continue
            there = self._builds[f"place-{g}-{v}"].location(group.places[0])
            resonance.append(np.array([there.driver.figures()["fs"]]))
        ohms = np.ravel(self.mounted[group.places[0]].cold.re)
        fs = np.concatenate(resonance)
        return np.asarray(1.0 / (2.0 * np.pi * ohms * fs)[options] / capacitor)

    def _behind(self, group: PlaceGroup, channels: ChannelGroup, keys: Mapping[str, str]) -> bool:
        """Whether a group of places stands behind the capacitors that are chosen."""
        name = channels.channels[0]
        tree = self.base.channel(name).tree
        for part in getattr(tree, "parts", ()):
            names = leaves(part)
            if keys[name] in names and set(names) & set(group.places):
                return True
        return False

    def _joint(self, groups: tuple[int, ...]) -> UnitOptions:
        """Return every combination of groups that cannot be told apart on their channel."""
        sizes = [len(self.space.places[g]) for g in groups]
        if np.prod(sizes, dtype=float) > MOST_JOINT:
            names = " and ".join(self.space.places[g].id for g in groups)
            raise BadInputError(
                f"choose: {names} hang on one channel in such a way that {np.prod(sizes):.0f} "
                f"combinations have to be looked at; at most {MOST_JOINT} are"
            )
        options = np.stack([each.ravel() for each in np.indices(sizes)], axis=1)
        kinds = np.stack([self._kinds(g)[options[:, k]] for k, g in enumerate(groups)], axis=1)
        money = sum(self.money[g][options[:, k]] for k, g in enumerate(groups))
        none = np.full(len(options), -1)
        return UnitOptions(groups, options, none, kinds, np.asarray(money, dtype=float))

    def _same(self, groups: tuple[int, ...]) -> UnitOptions:
        """Return the options of groups that take the same driver: all keep theirs, or all new."""
        tables = [self.space.places[g] for g in groups]
        rows = [
            np.concatenate([_row_of(v, k) for v in table.variants])
            for k, table in enumerate(tables)
        ]
        kinds = [self._kinds(g) for g in groups]
        found: list[tuple[int, ...]] = []
        by_row: list[dict[int, list[int]]] = []
        for each in rows:
            index: dict[int, list[int]] = {}
            for option, row in enumerate(each.tolist()):
                index.setdefault(row, []).append(option)
            by_row.append(index)
        for row in by_row[0]:
            if all(row in index for index in by_row):
                mesh = np.meshgrid(*(index[row] for index in by_row), indexing="ij")
                found += list(zip(*(each.ravel().tolist() for each in mesh), strict=True))
        options = np.array(found, dtype=np.intp).reshape(-1, len(groups))
        money = sum(self.money[g][options[:, k]] for k, g in enumerate(groups))
        classes = np.stack([kinds[k][options[:, k]] for k in range(len(groups))], axis=1)
        return UnitOptions(
            groups, options, np.full(len(options), -1), classes, np.asarray(money, dtype=float)
        )

    # --- Wiring -----------------------------------------------------------------------------------

    def frame(self, r: int, forms: Sequence[int]) -> Build:
        """Return the build of a radio and a form of every group of channels, drivers aside."""
        radio = self._builds[f"radio-{r}"]
        wired = {
            name: self._builds[f"form-{c}-{f}"].channel(name)
            for c, f in enumerate(forms)
            for name in self.space.channels[c].channels
        }
        channels = tuple(
            _wired(channel, wired[channel.id]) if channel.id in wired else channel
            for channel in radio.channels
        )
        return replace(radio, channels=channels, locations=self.base.locations)

    def least_load(self, r: int, channel: str) -> float:
        """Return the lowest impedance that what drives a channel bears [ohm]."""
        build = self.frame(r, [0] * len(self.space.channels))
        source = source_of(build, build.channel(channel))
        return float(lowest_borne(source, self.centre)[0, 0])

    def hangings(self, r: int, c: int, f: int, units: Sequence[UnitOptions]) -> list[list[Hanging]]:
        """Return what each unit hangs on the channels of a group, under a form and a radio."""
        forms = [0] * len(self.space.channels)
        forms[c] = f
        build = self.frame(r, forms)
        circuit = self.solver.solve(build)
        names = [self._places(unit) for unit in units]
        found: list[list[Hanging]] = [[] for _ in units]
        farad = capacitor_impedance(capacitance=np.ones((1, 1)), frequency=self.ear.frequency)
        for name in self.space.channels[c].channels:
            channel = build.channel(name)
            solved = circuit.channels[name]
            here = set(leaves(channel.tree))
            parted = split(channel.tree, names)
            if parted is None:
                parted = split(channel.tree, [frozenset().union(*names)])
            assert parted is not None
            before = self._before(parted.before, channel, build)
            source = solved.source_resistance + solved.cable_resistance + before
            high_pass, _ = filters_of(channel.settings, self.centre, self.ear.frequency)
            for index, branch in parted.branches.items():
                places = tuple(place for place in leaves(branch) if place in names[index] & here)
                parts, capacitors = self._parts(c, f, units[index], channel, build, branch)
                found[index].append(
                    Hanging(
                        channel=channel,
                        circuit=solved,
                        places=places,
                        branch=branch,
                        parts=parts,
                        capacitors=capacitors,
                        farad=farad,
                        source=np.asarray(source + 0j * self.ear.frequency),
                        high_pass=np.asarray(high_pass + 0j * self.ear.frequency),
                    )
                )
        return found

    def _places(self, unit: UnitOptions) -> frozenset[str]:
        groups = (self.space.places[g] for g in unit.groups)
        return frozenset(name for group in groups for name in group.places)

    def _before(self, trees: Sequence[object], channel: ChannelState, build: Build) -> ComplexArray:
        """Return the impedance of parts before all branches, one after the other."""
        total: ComplexArray = np.zeros((1, self.ear.frequency.size), dtype=complex)
        damage = channel_damage(channel, build.faults, self.centre)
        keys = {name for tree in trees for name in leaves(tree)}  # type: ignore[arg-type]
        for part in channel.parts:
            if part.key in keys:
                impedance, _ = self.solver.part(part, build.vehicle.temperature.si, damage)
                total = total + impedance
        return total

    def _parts(
        self,
        c: int,
        f: int,
        unit: UnitOptions,
        channel: ChannelState,
        build: Build,
        branch: object,
    ) -> tuple[dict[str, ComplexArray], dict[str, FloatArray]]:
        """Return the impedance of each part in a branch, and sizes where one is chosen [F]."""
        chosen = self.space.channels[c].forms[f].chosen
        damage = channel_damage(channel, build.faults, self.centre)
        found, capacitors = {}, {}
        here = set(leaves(branch))  # type: ignore[arg-type]
        for part in channel.parts:
            if part.key not in here:
                continue
            if chosen is not None and chosen.keys.get(channel.id) == part.key:
                capacitors[part.key] = chosen.size[np.maximum(unit.capacitor, 0)][:, np.newaxis]
                continue
            impedance, _ = self.solver.part(part, build.vehicle.temperature.si, damage)
            found[part.key] = np.atleast_2d(impedance) + 0j * self.ear.frequency
        return found, capacitors

    def options_in(
        self,
        unit: UnitOptions,
        rows: NDArray[np.intp] | None = None,
        *,
        only: Container[str] | None = None,
    ) -> dict[str, MountedOptions]:
        """Return options of a unit in each of its places.

        Args:
            unit: whose.
            rows: of its options; all when left out.
            only: places that are meant; all when left out.

        """
        found: dict[str, MountedOptions] = {}
        for k, g in enumerate(unit.groups):
            options = unit.options[:, k] if rows is None else unit.options[rows, k]
            taken: dict[int, MountedOptions] = {}
            for name in self.space.places[g].places:
                if only is not None and name not in only:
                    continue
                whole = self.mounted[name]
                if id(whole) not in taken:
                    taken[id(whole)] = whole.at(options)
                found[name] = taken[id(whole)]
        return found


def _row_of(variant: Variant, k: int) -> NDArray[np.intp]:
    """Return what tells the drivers of a variant apart: -1 for those that stay; one that comes from
    elsewhere is like no other.
    """
    if len(variant.rows):
        return variant.rows
    return np.array([-2 - k if variant.takes else -1])


def _wired(channel: ChannelState, form: ChannelState) -> ChannelState:
    """Return a channel of a radio, wired, turned and filtered as in a form."""
    filters = form.settings
    return replace(
        channel,
        load=form.load,
        tree=form.tree,
        polarity=form.polarity,
        parts=form.parts,
        settings=replace(channel.settings, high_pass=filters.high_pass, low_pass=filters.low_pass),
    )
