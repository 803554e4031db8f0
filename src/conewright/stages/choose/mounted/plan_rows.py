"""Many parts, or many plans, solved at once by the stages' own physics: they are its rows.

Everywhere else a row is a draw. Here every row is another part, or another plan, in the central
state of the vehicle: what differs between rows stands in columns under names of its own, and all
the rest is the same for all rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from conewright.catalogue.driver_columns import DriverColumns
from conewright.job.builds.draws import Draws
from conewright.job.builds.states.drivers import CoilState, DriverState, TweeterState
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.stages.common.circuit import Solver, Unit
from conewright.stages.common.damage import clean_travel

__all__ = [
    "AS_BEFORE",
    "MOST_TRAVEL",
    "MountedOptions",
    "RowDraws",
    "RowSolver",
    "mounted_one",
    "mounted_parts",
    "role",
    "rows_of",
    "run_of",
    "stacked",
    "stood_in",
]

MOST_TRAVEL = 1.4
"""Peak travel over Xmax from which a cone meets its end; of 0.75 to 1.4, from memory."""

AS_BEFORE = 1.2
"""What is kept may move this much further than as found [1]: less sag, a ring; own choice."""


@dataclass(frozen=True, eq=False)
class RowDraws(Draws):
    """The central state, with columns in the place of some values.

    Attributes:
        centre: draws whose central row is used.
        columns: by the path of a value, shape (rows, 1) [SI].

    """

    centre: Draws | None = None
    columns: Mapping[str, FloatArray] = field(default_factory=dict)

    def __call__(self, value: Value) -> FloatArray:
        """Return the column of a value, (rows, 1), else its central value, (1, 1)."""
        column = self.columns.get(value.path)
        if column is not None:
            return column
        assert self.centre is not None
        return self.centre(value)[:1]


def rows_of(centre: Draws, columns: Mapping[str, FloatArray]) -> RowDraws:
    """Return the central state of some draws with columns in it."""
    nothing = np.empty((0, len(centre.axes)))
    return RowDraws(centre.axes, nothing, None, centre.own, centre, columns)


def role(name: str) -> Value:
    """Return the value that stands for a column."""
    return Value(name, Quantity.of(1.0, "number"), Origin.ASSUMED, "a column of many")


@dataclass(frozen=True, eq=False)
class MountedOptions:
    """All options of one place, solved there: rows are options, columns frequencies.

    Attributes:
        cold, hot: as a unit of the circuit, with cold coils and at their rated power's heat.
        clean: travel within which each stays clean, xmax where nothing scrapes [m].
        power: that each bears [W].
        xmax: [m].
        stretch: travel that is let pass over the usual most [1], above 1 where what is there goes
            further already.
        tweeter: the same of the tweeters on their frames; None where no option has one.

    """

    cold: Unit
    hot: Unit
    clean: FloatArray
    power: FloatArray
    xmax: FloatArray
    stretch: FloatArray
    tweeter: MountedOptions | None = None

    def __len__(self) -> int:
        """Return the number of options."""
        return len(self.clean)

    def let_pass(self, travel: Mapping[str, float], name: str) -> MountedOptions:
        """Return the same where so much travel is let pass, over the usual most, by place."""
        small = self.tweeter
        return replace(
            self,
            stretch=np.full(self.stretch.shape, max(travel.get(name, 1.0), 1.0)),
            tweeter=None if small is None else small.let_pass(travel, f"{name}.tweeter"),
        )

    def same_as(self, other: MountedOptions) -> bool:
        """Whether every number of another is the same, as in a place that mirrors it."""
        if len(self) != len(other) or (self.tweeter is None) != (other.tweeter is None):
            return False
        pairs = [(self.clean, other.clean), (self.power, other.power), (self.xmax, other.xmax)]
        pairs.append((self.stretch, other.stretch))
        for one, two in ((self.cold, other.cold), (self.hot, other.hot)):
            pairs += [(getattr(one, name), getattr(two, name)) for name in _SOLVED]
        if not all(np.array_equal(one, two) for one, two in pairs):
            return False
        return self.tweeter is None or other.tweeter is None or self.tweeter.same_as(other.tweeter)

    def at(self, options: NDArray[np.intp]) -> MountedOptions:
        """Return some options, in their order: those that follow each other are no copies."""
        rows = run_of(options)
        cold = _taken(self.cold, rows)
        shared = cold.share if self.hot.share is self.cold.share else None
        return MountedOptions(
            cold,
            _taken(self.hot, rows, shared),
            self.clean[rows],
            self.power[rows],
            self.xmax[rows],
            self.stretch[rows],
            None if self.tweeter is None else self.tweeter.at(options),
        )


_SOLVED = ("impedance", "terminals", "velocity_per_volt", "share", "sd", "re", "passed")


def run_of(rows: NDArray[np.intp]) -> NDArray[np.intp] | slice:
    """Return rows as a slice where they follow each other, which copies nothing."""
    if len(rows) and rows[-1] - rows[0] == len(rows) - 1 and np.all(np.diff(rows) == 1):
        return slice(int(rows[0]), int(rows[-1]) + 1)
    return rows


def _taken(unit: Unit, rows: NDArray[np.intp] | slice, shared: ComplexArray | None = None) -> Unit:
    impedance = unit.impedance[rows]
    alone = unit.terminals is unit.impedance
    return Unit(
        impedance=impedance,
        terminals=impedance if alone else unit.terminals[rows],
        velocity_per_volt=unit.velocity_per_volt[rows],
        share=unit.share[rows] if shared is None else shared,
        flows={},
        sd=np.asarray(unit.sd)[rows],
        re=np.asarray(unit.re)[rows],
        tweeter=None if unit.tweeter is None else _taken(unit.tweeter, rows),
        passed=np.asarray(unit.passed)[rows] if unit.tweeter is not None else 1.0,
    )


def mounted_one(place: LocationState, *, centre: Draws, solver: Solver, air: Air) -> MountedOptions:
    """Return a driver of the job in its place, as one option."""
    drawn = rows_of(centre, {})
    cold, hot = (solver.unit(place, air, heat) for heat in (False, True))
    return _mounted(place, drawn, cold, hot, count=1, size=solver.frequency.size)


def mounted_parts(
    place: LocationState,
    rows: NDArray[np.intp],
    parts: DriverColumns,
    *,
    centre: Draws,
    frequency: FloatArray,
    air: Air,
) -> MountedOptions:
    """Return drivers of a catalogue in a place, an option for each of some of its rows."""
    models = parts.coil[parts.at[rows]]
    found: list[tuple[NDArray[np.intp], MountedOptions]] = []
    for code in np.unique(models):
        which = np.flatnonzero(models == code)
        driver = candidate(int(code))
        columns = {
            f"candidate.{name}": parts.of(name, rows[which])[:, np.newaxis] for name in parts.values
        }
        drawn = rows_of(centre, columns)
        solver = Solver(drawn, frequency)
        there = replace(place, driver=driver)
        cold, hot = (solver.unit(there, air, heat) for heat in (False, True))
        one = _mounted(there, drawn, cold, hot, count=which.size, size=frequency.size)
        found.append((which, one))
    if len(found) == 1:
        return found[0][1]
    order = np.argsort(np.concatenate([which for which, _ in found]))
    return stacked([one for _, one in found]).at(order)


BASIS = ("re", "fs", "qms", "qes", "sd", "mms")


def candidate(code: int) -> DriverState:
    """Return a driver that stands for a column of them, with the coil model of that code."""
    coils = (
        CoilState("power-law", le=role("candidate.le"), n=role("candidate.n")),
        CoilState("power-law", k=role("candidate.k"), n=role("candidate.n")),
        CoilState(
            "shunted",
            le=role("candidate.le"),
            l2=role("candidate.l2"),
            r2=role("candidate.r2"),
        ),
        CoilState("inductor", le=role("candidate.le")),
    )
    return stand_in("candidate", coils[code])


def stand_in(name: str, coil: CoilState | None = None, *, tweeter: bool = False) -> DriverState:
    """Return a driver of which every value is a column under a name."""
    small = None
    if tweeter:
        small = TweeterState(stand_in(f"{name}.tweeter"), role(f"{name}.tweeter.capacitor"))
    return DriverState(
        id=name,
        name=name,
        size="",
        age="new",
        rated_impedance=None,
        basis=tuple((each, role(f"{name}.{each}")) for each in BASIS),
        coil=coil or CoilState("inductor", le=role(f"{name}.le")),
        xmax=role(f"{name}.xmax"),
        power=role(f"{name}.power"),
        coil_rise=role(f"{name}.coil_rise"),
        # Nothing that is solved asks for a basket.
        frame=None,  # type: ignore[arg-type]
        price=None,
        sensitivity=None,
        tweeter=small,
    )


def stood_in(
    place: LocationState, options: MountedOptions, columns: dict[str, FloatArray]
) -> LocationState:
    """Return a place with its options as columns, which are put under names of their own."""
    name, small = f"rows of {place.id}", options.tweeter
    _columns_of(name, options, columns)
    if small is not None:
        _columns_of(f"{name}.tweeter", small, columns)
        columns[f"{name}.tweeter.capacitor"] = np.ones((1, 1))
    driver = stand_in(name, tweeter=small is not None)
    return replace(place, driver=driver, faults=(), tweeter_faults=(), repairs=())


def _columns_of(name: str, options: MountedOptions, columns: dict[str, FloatArray]) -> None:
    """Put what ceilings and open backs ask of the drivers in a place under its name."""
    columns |= {
        f"{name}.xmax": options.clean,
        f"{name}.power": options.power,
        f"{name}.sd": np.asarray(options.cold.sd),
    }


def _mounted(
    place: LocationState, drawn: Draws, cold: Unit, hot: Unit, *, count: int, size: int
) -> MountedOptions:
    xmax = drawn(place.driver.xmax)
    tweeter = None
    if cold.tweeter is not None and hot.tweeter is not None and place.tweeter is not None:
        tweeter = _mounted(place.tweeter, drawn, cold.tweeter, hot.tweeter, count=count, size=size)
    one, whole = (count, 1), _whole(cold, count, size)
    burning = _whole(hot, count, size)
    # What reaches the cabin of a cone's flow is no matter of its coil.
    if np.array_equal(whole.share, burning.share):
        burning = replace(burning, share=whole.share)
    return MountedOptions(
        cold=whole,
        hot=burning,
        clean=_over(xmax * clean_travel(place.faults, drawn), one),
        power=_over(drawn(place.driver.power), one),
        xmax=_over(xmax, one),
        stretch=np.ones(one),
        tweeter=tweeter,
    )


def _over(values: FloatArray, shape: tuple[int, int]) -> FloatArray:
    return np.array(np.broadcast_to(np.asarray(values, dtype=float), shape))


def _whole(unit: Unit, count: int, size: int) -> Unit:
    """Return a unit with a row for every option and a column for every frequency."""

    def full(values: object) -> ComplexArray:
        return np.ascontiguousarray(
            np.broadcast_to(np.asarray(values, dtype=complex), (count, size))
        )

    small = None if unit.tweeter is None else _whole(unit.tweeter, count, size)
    impedance = full(unit.impedance)
    return Unit(
        impedance=impedance,
        # Without a tweeter they are one array, so that nothing is kept twice.
        terminals=impedance if small is None else full(unit.terminals),
        velocity_per_volt=full(unit.velocity_per_volt),
        share=full(unit.share),
        flows={},
        sd=_over(np.asarray(unit.sd), (count, 1)),
        re=_over(np.asarray(unit.re), (count, 1)),
        tweeter=small,
        passed=1.0 if small is None else full(unit.passed),
    )


# --- Options one after the other ------------------------------------------------------------------

GONE = 1e12
"""Ohms, metres, watts of a tweeter that an option has not: it neither plays nor limits."""

NEXT_TO_NOTHING = 1e-12


def stacked(options: list[MountedOptions]) -> MountedOptions:
    """Return several tables of options of one place as one."""
    if len(options) == 1:
        return options[0]
    tweeter = None
    if any(each.tweeter is not None for each in options):
        tweeter = stacked([each.tweeter or _absent(each) for each in options])
    cold = _stacked_units([each.cold for each in options], tweeter, hot=False)
    hot = _stacked_units([each.hot for each in options], tweeter, hot=True)
    if all(each.hot.share is each.cold.share for each in options):
        hot = replace(hot, share=cold.share)
    return MountedOptions(
        cold=cold,
        hot=hot,
        clean=np.concatenate([each.clean for each in options]),
        power=np.concatenate([each.power for each in options]),
        xmax=np.concatenate([each.xmax for each in options]),
        stretch=np.concatenate([each.stretch for each in options]),
        tweeter=tweeter,
    )


def _absent(host: MountedOptions) -> MountedOptions:
    """Return tweeters that are not there, as many as a table has options."""
    count, size = host.cold.impedance.shape
    unit = Unit(
        impedance=np.full((count, size), GONE, dtype=complex),
        terminals=np.full((count, size), GONE, dtype=complex),
        velocity_per_volt=np.full((count, size), NEXT_TO_NOTHING, dtype=complex),
        share=np.ones((count, size), dtype=complex),
        flows={},
        sd=np.full((count, 1), NEXT_TO_NOTHING),
        re=np.ones((count, 1)),
    )
    much = np.full((count, 1), GONE)
    return MountedOptions(unit, unit, much, much, much, np.ones((count, 1)))


def _stacked_units(units: list[Unit], tweeter: MountedOptions | None, *, hot: bool) -> Unit:
    small = None if tweeter is None else (tweeter.hot if hot else tweeter.cold)
    passed = [
        np.full(unit.impedance.shape, NEXT_TO_NOTHING, dtype=complex)
        if unit.tweeter is None
        else np.asarray(unit.passed)
        for unit in units
    ]
    impedance = np.concatenate([unit.impedance for unit in units])
    alone = all(unit.terminals is unit.impedance for unit in units)
    return Unit(
        impedance=impedance,
        terminals=impedance if alone else np.concatenate([unit.terminals for unit in units]),
        velocity_per_volt=np.concatenate([unit.velocity_per_volt for unit in units]),
        share=np.concatenate([unit.share for unit in units]),
        flows={},
        sd=np.concatenate([np.asarray(unit.sd) for unit in units]),
        re=np.concatenate([np.asarray(unit.re) for unit in units]),
        tweeter=small,
        passed=1.0 if small is None else np.concatenate(passed),
    )


class RowSolver(Solver):
    """Solves many plans of one form at once: rows are plans, their drivers already in place."""

    def __init__(
        self, draws: RowDraws, frequency: FloatArray, mounted: Mapping[str, MountedOptions]
    ) -> None:
        super().__init__(draws, frequency)
        self._mounted = mounted

    def unit(self, location: LocationState, air: Air, hot: bool) -> Unit:  # noqa: ARG002
        """Return the drivers that stand in a place, a row for each plan."""
        options = self._mounted[location.id]
        return options.hot if hot else options.cold
