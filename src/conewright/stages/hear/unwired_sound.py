"""What a channel plays of which nobody knows what hangs on it: part of stage hear.

The wiring is one more thing that is drawn: every draw has one of the usual loads, as often as its
odds say, and the central state the likeliest. So the band of whatever is heard holds all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.draws import DEFAULT_SEED, Draws, draw
from conewright.job.builds.fills import Filler
from conewright.job.builds.resolve_driver import fitted_driver, resolve_driver
from conewright.job.builds.resolve_electrics import resolve_channel
from conewright.job.builds.standing import damaged_channel
from conewright.job.document.places import DriverSheet
from conewright.job.quantity.expression import Load
from conewright.phrases import listed
from conewright.physics.electrics.wiring import Leaf, Tree
from conewright.stages.common.changes import planned_job
from conewright.stages.common.circuit import ChannelCircuit, Circuit, LocationCircuit, Solver
from conewright.stages.common.damage import OPEN, SILENCE
from conewright.stages.common.together import places_left
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import is_tweeter
from conewright.stages.find.instruments.readouts import knows_ohms
from conewright.stages.find.instruments.unknown import loads_in_words, unknown_loads
from conewright.stages.report.data import Kind, Severity

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.drivers import DriverState
    from conewright.job.builds.states.location import LocationState
    from conewright.stages.find.faults.entries import Placeholder, Topology
    from conewright.stages.report.assembly import Answer

__all__ = ["Wiring", "Wirings", "heard_circuit", "likely_wirings", "unwired_verdicts"]

LEAST_ODDS = 0.01
"""A load less likely than this is not played."""

SMALL = 0.08
"""A placeholder narrower than this plays treble [m]."""


ENDS = ("wiring:front", "wiring:rear")
"""What the wiring is drawn on: both sides of an end are mostly wired alike; workshop experience,
from memory."""


@dataclass(frozen=True, slots=True)
class Wiring:
    """One usual load on a channel, and the part of the vehicle that it makes.

    `roles` are the drivers at each place, by the ids they have in `build`, the largest first.
    """

    topology: str
    chance: float
    build: Build
    roles: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Wirings:
    """The loads that a channel may have, likeliest first, their odds adding to 1.

    None where no place is left that it could drive. `silent` are those without a loudspeaker that
    anybody knows of.
    """

    channel: str
    likely: tuple[Wiring, ...]
    silent: tuple[tuple[str, float], ...]


def likely_wirings(build: Build) -> tuple[Wirings, ...]:
    """Return what each channel of unknown load may drive, and where."""
    found = []
    for load, places in zip(unknown_loads(build), places_left(build), strict=True):
        usual = [(trade.topology(name), chance) for name, chance in load.ranked]
        heard = [(one, chance) for one, chance in usual if one.drivers and chance >= LEAST_ODDS]
        whole = sum(chance for _, chance in heard)
        found.append(
            Wirings(
                load.channel,
                tuple(
                    _wiring(build, load.channel, one, chance / whole, places)
                    for one, chance in heard
                    if places
                ),
                tuple((one.id, chance) for one, chance in usual if not one.drivers),
            )
        )
    return tuple(found)


def heard_circuit(build: Build, solver: Solver, *, hot: bool = False) -> Circuit:
    """Return the circuit of a build, with what its channels of unknown load are likely to play."""
    known = solver.solve(build, hot=hot)
    if not build.unknown:
        return known
    wirings = _wirings(build, solver)
    return solver.once(build, (Wirings, hot), lambda: _played(build, solver, known, wirings, hot))


def _wirings(build: Build, solver: Solver) -> tuple[Wirings, ...]:
    return solver.once(build, Wirings, lambda: likely_wirings(build))


# --- Where it may play --------------------------------------------------------------------------


def _wiring(
    build: Build,
    channel: str,
    usual: Topology,
    chance: float,
    places: Sequence[LocationState],
) -> Wiring:
    filler = Filler(build.planned, build.proposal or "")
    seats = _seated(usual.drivers, places)
    fitted = {
        role.id: _fitted(build, channel, role, place, filler, alone=alone)
        for role, place, alone in seats
    }
    job = planned_job(build)
    by_id = {place.id: place for place in fitted.values()}
    names = {role: place.id for role, place in fitted.items()}
    load = Load(_renamed(usual.load.tree, names), frozenset(), usual.load.parts)
    faults = [fault for fault in build.faults if fault.fault != "capacitor-dried"]
    upright = resolve_channel(job.channel(channel), load, job, by_id, filler)
    state = damaged_channel(upright, faults, turned=())
    roles: dict[str, tuple[str, ...]] = {}
    for role, place, _ in seats:
        roles[place.id] = (*roles.get(place.id, ()), names[role.id])
    part = replace(build, channels=(state,), unknown=(), locations=tuple(by_id.values()))
    return Wiring(usual.id, chance, part, roles)


def _seated(
    drivers: Sequence[Placeholder], places: Sequence[LocationState]
) -> list[tuple[Placeholder, LocationState, bool]]:
    """Return where each driver of a load sits, and whether it has that place for itself.

    Those for treble go where small ones are; what finds no place of its kind sits with another.
    """
    cones = [place for place in places if not is_tweeter(place, None)]
    domes = [place for place in places if is_tweeter(place, None)]
    found: list[tuple[Placeholder, LocationState, bool]] = []
    for driver in drivers:
        own = domes if driver.size.minor < SMALL else cones
        place = own.pop(0) if own else (found[0][1] if found else places[0])
        found.append((driver, place, all(place.id != other.id for _, other, _ in found)))
    return found


def _fitted(
    build: Build,
    channel: str,
    role: Placeholder,
    place: LocationState,
    filler: Filler,
    *,
    alone: bool,
) -> LocationState:
    """Return a place with a driver of a load in it: the one that is written, of those ohms."""
    small = role.size.minor < SMALL
    if alone and small == is_tweeter(place, None):
        return replace(place, driver=_of_ohms(build, place, role, filler))
    sheet = DriverSheet(
        id=f"{channel}-{role.id}", size=role.size, age="ageing", rated_impedance=role.rated
    )
    driver = resolve_driver(sheet, filler)
    at = replace(place, id=f"{place.id}+{role.id}", driver=driver, faults=())
    return replace(at, cavity=None, trim=None, back=None) if small else at


def _of_ohms(build: Build, place: LocationState, role: Placeholder, filler: Filler) -> DriverState:
    if knows_ohms(place.driver):
        return place.driver
    job = planned_job(build)
    sheet = job.driver(place.driver.id).model_copy(update={"rated_impedance": role.rated})
    return fitted_driver(resolve_driver(sheet, filler), job.location(place.id), filler)


def _renamed(tree: Tree, names: Mapping[str, str]) -> Tree:
    if isinstance(tree, Leaf):
        return Leaf(names.get(tree.name, tree.name))
    return replace(tree, parts=tuple(_renamed(part, names) for part in tree.parts))


# --- What it plays ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Solved:
    """A wiring in the draws that have it; `first` where it is the central state."""

    wiring: Wiring
    circuit: Circuit
    rows: NDArray[np.intp]
    first: bool


def _played(
    build: Build, solver: Solver, known: Circuit, wirings: Sequence[Wirings], hot: bool
) -> Circuit:
    channels, locations = dict(known.channels), dict(known.locations)
    for each in wirings:
        if each.likely:
            solved = tuple(_solved(each, solver, build, hot))
            samples = solver.draws.samples
            channels[each.channel] = _channel(each.channel, solved, samples)
            for place in dict.fromkeys(name for one in each.likely for name in one.roles):
                locations[place] = _location(build.location(place), each.channel, solved, samples)
    return replace(known, channels=channels, locations=locations)


def _solved(wirings: Wirings, solver: Solver, build: Build, hot: bool) -> Iterator[_Solved]:
    draws = _with_axes(solver.draws, wirings)
    place = build.location(next(iter(wirings.likely[0].roles)))
    drawn = _drawn(wirings, draws.samples, end=0 if place.at[0].si >= 0.0 else 1)
    for number, wiring in enumerate(wirings.likely):
        rows = np.flatnonzero(drawn == number)
        if rows.size or number == 0:
            part = _part_solver(wiring, solver, draws, rows)
            circuit = part.solve(wiring.build, hot=hot)
            yield _Solved(wiring, circuit, rows, number == 0)


def _part_solver(wiring: Wiring, solver: Solver, draws: Draws, rows: NDArray[np.intp]) -> Solver:
    return solver.once(wiring.build, Solver, lambda: Solver(_some(draws, rows), solver.frequency))


def _drawn(wirings: Wirings, samples: int, *, end: int) -> NDArray[np.intp]:
    """Return which wiring each draw has, shape (samples,), each as often as it is likely."""
    from scipy.special import ndtr

    steps = np.cumsum([wiring.chance for wiring in wirings.likely])
    share = ndtr(draw(ENDS, samples=samples, seed=DEFAULT_SEED + 2).scores[:, end])
    found = np.searchsorted(steps / steps[-1], share)
    return np.minimum(found, len(steps) - 1)


def _with_axes(draws: Draws, wirings: Wirings) -> Draws:
    """Return draws with those axes too that only what may hang on the channel has."""
    values = (value for wiring in wirings.likely for value in wiring.build.values())
    more = {axis for value in values for axis in value.axes} - set(draws.axes)
    new = tuple(sorted(more))
    fresh = draw(new, samples=draws.samples)
    return replace(draws, axes=(*draws.axes, *new), scores=np.hstack((draws.scores, fresh.scores)))


def _some(draws: Draws, rows: NDArray[np.intp]) -> Draws:
    """Return some of the draws; the central state stays."""
    shift = draws.shift
    moved = None if shift is None else replace(shift, before=shift.before[rows])
    return replace(draws, scores=draws.scores[rows], shift=moved)


def _channel(channel: str, solved: Sequence[_Solved], samples: int) -> ChannelCircuit:
    def whole(name: str) -> NDArray[Any]:
        parts = [getattr(one.circuit.channels[channel], name) for one in solved]
        return _gathered(parts, solved, samples, fill=0.0)

    names = (
        *("plug_impedance", "load_impedance", "cable_resistance", "plug_resistance"),
        *("source_resistance", "settings", "high_pass", "low_pass", "idle"),
    )
    return ChannelCircuit(
        id=channel,
        part_drives={},
        fed=None,
        fed_level=None,
        **{name: whole(name) for name in names},
    )


def _location(
    place: LocationState, channel: str, solved: Sequence[_Solved], samples: int
) -> LocationCircuit:
    """Return what plays at a place in every draw: drivers that share it are heard together."""
    here = [one for one in solved if place.id in one.wiring.roles]
    drivers = [[one.circuit.locations[name] for name in one.wiring.roles[place.id]] for one in here]

    def whole(name: str, fill: float) -> NDArray[Any]:
        return _gathered([getattr(first, name) for first, *_ in drivers], here, samples, fill=fill)

    sounds = [
        np.sum(
            [each.output for each in one.circuit.locations.values() if each.host in names], axis=0
        )
        for one in here
        for names in (one.wiring.roles[place.id],)
    ]
    central = zip(here, drivers, strict=True)
    return LocationCircuit(
        id=place.id,
        channel=channel,
        frequency=here[0].circuit.frequency,
        drive=whole("drive", SILENCE),
        velocity=whole("velocity", SILENCE),
        output=_gathered(sounds, here, samples, fill=0.0),
        flows=next((each[0].flows for one, each in central if one.first), {}),
        impedance=whole("impedance", OPEN),
        re=whole("re", OPEN),
        sd=whole("sd", place.driver.figures()["sd"]),
        terminals=whole("terminals", OPEN),
        host=place.id,
    )


def _gathered(
    parts: Sequence[Any], solved: Sequence[_Solved], samples: int, *, fill: float
) -> NDArray[Any]:
    """Return arrays of some draws each as one of all draws; `fill` where none has any."""
    rows = [np.atleast_2d(part) for part in parts]
    shape = (1 + samples, max(row.shape[-1] for row in rows))
    found = np.full(shape, fill, dtype=np.result_type(*rows))
    for row, one in zip(rows, solved, strict=True):
        filled = np.broadcast_to(row, (1 + one.rows.size, shape[1]))
        if one.first:
            found[0] = filled[0]
        found[1 + one.rows] = filled[1:]
    return found


# --- What is said of it -------------------------------------------------------------------------

MOST_NAMED = 3
"""No more loads than this are named."""


def unwired_verdicts(answer: Answer, solver: Solver) -> None:
    """Add the odds of what each channel of unknown load is played as, and say so."""
    against = answer.against
    now, before = (
        {} if build is None else {each.channel: each for each in _wirings(build, solver)}
        for build in (answer.build, against)
    )
    for channel in sorted(now.keys() | before.keys()):
        wirings = now.get(channel) or before[channel]
        for wiring in wirings.likely:
            answer.figure(
                channel,
                f"wiring.{wiring.topology}",
                wiring.chance,
                unit="",
                kind=Kind.ODDS,
                label=f"{trade.topology(wiring.topology).title}, as it is played",
            )
        start = "nobody knows yet what hangs on it"
        if channel not in now:
            start = "nobody knows what hung on it before"
        elif channel not in before and against is not None:
            start = "nobody knows what hangs on it now"
        _say(answer, wirings, start, silent=" then" if channel not in now else "")


def _say(answer: Answer, wirings: Wirings, start: str, *, silent: str) -> None:
    channel = wirings.channel
    if not wirings.likely:
        answer.verdict(
            channel,
            "unknown",
            Severity.WARN,
            f"{channel}: {start}, and no place is left that it could drive, so it is silent here"
            f"{silent}. Write down the places of its loudspeakers. Find says what to measure.",
        )
        return
    told = loads_in_words((each.topology, each.chance) for each in wirings.likely[:MOST_NAMED])
    places = listed(list(dict.fromkeys(name for each in wirings.likely for name in each.roles)))
    unheard = loads_in_words(wirings.silent) if wirings.silent else ""
    without = f", but for {unheard}, which nobody can reckon" if unheard else ""
    text = (
        f"{channel}: {start}. It is played at {places} as what usually hangs there, by the odds: "
        f"{told}. The bands are over all of them{without}. Find says what to measure."
    )
    ids = (f"{channel}.wiring.{each.topology}" for each in wirings.likely[:MOST_NAMED])
    answer.verdict(channel, "likely-wiring", Severity.NOTE, text, *ids)
