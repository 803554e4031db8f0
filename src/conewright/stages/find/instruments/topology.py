"""What hangs on a channel whose wiring nobody knows: odds over the usual loads, from readings.

Every usual load is built from drivers of the typical tables and read as the channel was: ohms at
the plug, ohms with one driver unplugged, impedance at a few frequencies. What reads alike keeps
its odds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import inf, isfinite, isinf

import numpy as np

from conewright.errors import BadInputError
from conewright.job.builds.draws import Draws, quantile
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState, UnknownChannelState
from conewright.job.builds.states.value import Origin
from conewright.job.quantity.expression import ValuePart, format_load
from conewright.job.quantity.values import Quantity, format_quantity
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.electrics.conductor import temperature_factor
from conewright.physics.electrics.wiring import fold_resistance
from conewright.stages.common.circuit import Circuit, Solver, cable_resistance, part_resistance
from conewright.stages.common.together import places_left
from conewright.stages.find.faults.trade import Placeholder, Topology, topologies
from conewright.stages.find.instruments.rated import METER_ERROR
from conewright.stages.find.instruments.samples import scores, stratified

__all__ = [
    "FREQUENCIES",
    "Key",
    "LoadContext",
    "LoadReading",
    "context_of",
    "expected_at_plug",
    "plug_samples",
    "population",
    "topology_odds",
    "usual_error",
    "warmth_spread",
]

# Cones of a full-range driver whose size nobody knows; each as likely, workshop experience.
FULL_RANGE = ("100 mm", "130 mm", "165 mm")
FULL_RANGE_AREA = 0.08
"""A placeholder at least this wide stands for any of FULL_RANGE [m]."""

FREQUENCIES = (100.0, 400.0, 1000.0, 4000.0, 10000.0)
"""Where the impedance of an unknown load is read [Hz]."""

UNKNOWN_CABLE = Quantity.of(0.35, "resistance", low=0.2, high=0.6)
DOOR_WARMTH = 0.06
"""Spread of a coil's resistance in a door of unknown temperature, natural logarithm."""
ROOM_WARMTH = 0.01

READING_ERROR = 0.03
"""Error of an impedance read through a known resistor [1]; workshop experience, from memory."""

SLIP = 0.005
SLIP_RANGE = 8.0
"""A slip of the hand reads anything within this many natural logarithms."""

COMMON_GROUND_FACTOR = 25.0
"""How much likelier a shared return is on a radio without bridge outputs; from memory."""

LEFT_OVER = 0.1
"""Chance that a loudspeaker that is there hangs on no output, or on one of another corner; assumed,
no source."""

SMALLEST_CONE, LARGEST_DOME = 0.06, 12e-4
"""Sizes above the one [m] and areas above the other [m2] are cones, smaller ones tweeters."""

SHORT_OHMS = 0.5
"""What joined minus wires read [ohm]."""

SAMPLES = 64


@dataclass(frozen=True, slots=True)
class LoadReading:
    """One reading of an unknown channel.

    Attributes:
        kind: `plug` (ohms at the radio plug), `unplugged` (the same with the woofer unplugged),
            `returns` (ohms between the minus wires of two channels), or `impedance`.
        ohm: what was read [ohm]; inf for open.
        error: standard error [ohm], None for the usual one.
        frequency: of an impedance [Hz].

    """

    kind: str
    ohm: float
    error: float | None = None
    frequency: float | None = None

    def __post_init__(self) -> None:
        kinds = ("plug", "unplugged", "returns", "impedance")
        if self.kind not in kinds:
            raise BadInputError(f'"{self.kind[:40]}" is no such reading; {", ".join(kinds)} are')
        if (self.frequency is not None) != (self.kind == "impedance"):
            raise BadInputError("an impedance has a frequency, and nothing else has one")
        if not self.ohm > 0.0 or (self.frequency is not None and not self.frequency > 0.0):
            raise BadInputError("a reading and its frequency are above zero")


@dataclass(frozen=True, slots=True)
class LoadContext:
    """What is known besides the readings: cable [ohm], radio, temperature [K], None if unknown.

    `cones` is how many loudspeakers wait for it: written down at its corner, and driven by no other
    channel. `sheets` gives figures, as in a job, for placeholders whose driver is known after all.
    """

    cable: Quantity = UNKNOWN_CABLE
    common_ground: bool = False
    temperature: float | None = None
    cones: int = 1
    sheets: Mapping[str, Mapping[str, object]] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class _Population:
    """Readings of one load: for each group of sizes an array of logarithms, inf where open."""

    groups: tuple[FloatArray, ...]

    @property
    def whole(self) -> FloatArray:
        return np.concatenate(self.groups)


Key = tuple[str, float | None]
"""Kind of a reading, and its frequency [Hz] where it has one."""


def context_of(build: Build, channel: ChannelState | UnknownChannelState) -> LoadContext:
    """Return what a job knows of a channel whose load is unknown."""
    draws = stratified(build.axes)
    temperature = build.vehicle.temperature
    known = temperature.origin is Origin.MEASURED
    cable = cable_resistance(channel.cable, draws, temperature=temperature.si)
    return LoadContext(
        cable=_quantity(cable),
        common_ground=build.head_unit.output == "common-ground",
        temperature=temperature.si if known else None,
        cones=_waiting(build, channel.id),
    )


def _waiting(build: Build, channel: str) -> int:
    """Return how many cones are left for a channel of unknown load, 1 where nobody can tell."""
    ids = [each.id for each in build.unknown]
    if channel not in ids:
        return 1
    here = places_left(build)[ids.index(channel)]
    return sum(place.driver.figures()["sd"] > LARGEST_DOME for place in here) or 1


def topology_odds(
    readings: Iterable[LoadReading], context: LoadContext | None = None
) -> tuple[tuple[str, float], ...]:
    """Return the odds of every usual load, likeliest first.

    Args:
        readings: of the channel, in any order; none leaves what is usual.
        context: cable, radio and temperature.

    Returns:
        (topology id, odds), adding up to 1.

    """
    known = context or LoadContext()
    taken = sorted(readings, key=lambda reading: (reading.kind, reading.frequency or 0.0))
    keys = tuple((reading.kind, reading.frequency) for reading in taken)
    weights = {
        entry.id: _prior(entry, known) * _chance(entry, keys, taken, known)
        for entry in topologies()
    }
    total = sum(weights.values())
    ranked = sorted(weights.items(), key=lambda item: -item[1])
    return tuple((name, weight / total) for name, weight in ranked)


def population(name: str, context: LoadContext, keys: tuple[Key, ...]) -> FloatArray:
    """Return logarithms of readings of a load over its drivers, shape (samples, keys), inf: open.

    Args: name: id of a topology; context: cable, radio, temperature; keys: kind and frequency.
    """
    return _population(_entry(name), context, keys).whole


def expected_at_plug(
    name: str, frequencies: Sequence[float] = FREQUENCIES, context: LoadContext | None = None
) -> tuple[float, ...]:
    """Return the ohms at the plug and the impedance at each frequency, central values [ohm]."""
    known = context or LoadContext()
    keys: tuple[Key, ...] = (("plug", None), *(("impedance", f) for f in frequencies))
    middle = _central(_entry(name), known, keys)
    return tuple(float(value) for value in np.exp(middle))


def plug_samples(context: LoadContext, *, samples: int) -> FloatArray:
    """Return ohms at the plug over all usual loads and their drivers, shape (samples,).

    Loads come in proportion to their priors; inf is open.
    """
    key: tuple[Key, ...] = (("plug", None),)
    values, weights = [], []
    for entry in topologies():
        found = np.exp(_population(entry, context, key).whole[:, 0])
        values.append(found)
        weights.append(np.full(found.size, _prior(entry, context) / found.size))
    ladder, steps = np.concatenate(values), np.cumsum(np.concatenate(weights))
    chosen = np.searchsorted(steps / steps[-1], (np.arange(samples) + 0.5) / samples)
    return np.asarray(ladder[chosen])


def _entry(name: str) -> Topology:
    for entry in topologies():
        if entry.id == name:
            return entry
    known = ", ".join(entry.id for entry in topologies())
    raise BadInputError(f'"{name[:40]}" is no topology; {known} are')


def _prior(entry: Topology, context: LoadContext) -> float:
    shared = COMMON_GROUND_FACTOR if entry.shared_return and context.common_ground else 1.0
    return entry.prior * shared * _fitting(entry, context.cones)


def _fitting(entry: Topology, cones: int) -> float:
    """Factor on a load by how many cones wait for it; those with drivers keep their share [1]."""
    if not entry.drivers or cones < 2:
        return 1.0
    others = [each for each in topologies() if each.drivers]
    before = sum(each.prior for each in others)
    after = sum(each.prior * _left_over(each, cones) for each in others)
    return _left_over(entry, cones) * before / after


def _left_over(entry: Topology, cones: int) -> float:
    driven = sum(driver.size.minor > SMALLEST_CONE for driver in entry.drivers)
    return float(LEFT_OVER ** max(cones - max(driven, 1), 0))


# --- How a load reads -------------------------------------------------------------------------


@lru_cache(maxsize=512)
def _readings_of(
    entry: Topology, context: LoadContext, keys: tuple[Key, ...], sizes: tuple[str, ...]
) -> FloatArray:
    """Logarithms of all readings, shape (1 + samples, keys), central first; drivers of `sizes`."""
    if not entry.drivers:
        return _resistor(entry, len(keys))
    build = _bench_job(entry, context, sizes).build()
    draws = stratified(build.axes, samples=SAMPLES)
    frequencies = [frequency for _, frequency in keys if frequency is not None]
    solver = Solver(draws, np.array(frequencies or [1000.0]))
    return _read(entry, build, solver, keys, context)


def _read(
    entry: Topology, build: Build, solver: Solver, keys: tuple[Key, ...], context: LoadContext
) -> FloatArray:
    channel, circuit = build.channels[0], solver.solve(build)
    impedance = np.abs(circuit.channels[channel.id].plug_impedance)
    columns: list[FloatArray] = []
    place = 0
    for kind, frequency in keys:
        if frequency is not None:
            columns.append(impedance[:, place])
            place += 1
        elif kind == "returns":
            columns.append(np.array([SHORT_OHMS if entry.shared_return else inf]))
        else:
            out = kind == "unplugged"
            columns.append(_direct(channel, circuit, solver.draws, out=out, context=context))
    rows = solver.draws.samples + 1
    with np.errstate(divide="ignore"):
        return np.log(np.stack([np.broadcast_to(column, rows) for column in columns], axis=-1))


def _direct(
    channel: ChannelState, circuit: Circuit, draws: Draws, *, out: bool, context: LoadContext
) -> FloatArray:
    """Ohms at the plug, with the first driver unplugged or not, shape (1 + samples,)."""
    warm = 1.0
    if context.temperature is not None:
        warm = float(temperature_factor(temperature=context.temperature))
    resistances: dict[str, Real] = {
        name: circuit.locations[name].re * warm for name, _ in channel.polarity
    }
    for part in channel.parts:
        resistances[part.key] = part_resistance(part, draws, temperature=circuit.air.temperature)
    if out:
        resistances[channel.polarity[0][0]] = inf
    load = fold_resistance(tree=channel.tree, resistances=resistances)
    cable = circuit.channels[channel.id].cable_resistance
    return np.asarray(load + cable)[:, 0]


def _resistor(entry: Topology, columns: int) -> FloatArray:
    """An input of an amplifier: the same ohms whatever is asked, open when it is unplugged."""
    (part,) = entry.load.parts.values()
    assert isinstance(part, ValuePart)
    drawn = quantile(part.value, scores(SAMPLES))
    values = np.log(np.concatenate(([part.value.value], drawn)))
    return np.repeat(values[:, np.newaxis], columns, axis=1)


def _bench_job(entry: Topology, context: LoadContext, sizes: tuple[str, ...]) -> Job:
    """A job with this load alone, its drivers in free air."""
    places = [
        {"id": driver.id, "kind": "free", "at": ["0 m", "0 m", "0 m"], "driver": driver.id}
        for driver in entry.drivers
    ]
    sheets = [
        _sheet(driver, size, context) for driver, size in zip(entry.drivers, sizes, strict=True)
    ]
    channel = {
        "id": "unknown",
        "load": format_load(entry.load),
        "cable": {"resistance": format_quantity(context.cable)},
    }
    table = {
        "format": 1,
        "head_unit": {"name": "any"},
        "vehicle": {"temperature": "20 degC"},
        "channel": [channel],
        "location": places,
        "driver": sheets,
    }
    return Job.model_validate(table)


def _sheet(driver: Placeholder, size: str, context: LoadContext) -> dict[str, object]:
    given = context.sheets.get(driver.id)
    rated = format_quantity(driver.rated)
    usual = {"size": size, "age": "ageing", "rated_impedance": rated}
    return {"id": driver.id, **(usual if given is None else given)}


def _sizes(entry: Topology) -> list[tuple[str, ...]]:
    """Combinations of sizes that the placeholders stand for; twins are of one size."""
    if not any(driver.size.minor >= FULL_RANGE_AREA for driver in entry.drivers):
        return [tuple(str(driver.size) for driver in entry.drivers)]
    return [
        tuple(
            size if driver.size.minor >= FULL_RANGE_AREA else str(driver.size)
            for driver in entry.drivers
        )
        for size in FULL_RANGE
    ]


def _population(entry: Topology, context: LoadContext, keys: tuple[Key, ...]) -> _Population:
    groups = [_readings_of(entry, context, keys, sizes)[1:] for sizes in _sizes(entry)]
    return _Population(tuple(groups))


def _central(entry: Topology, context: LoadContext, keys: tuple[Key, ...]) -> FloatArray:
    sizes = tuple(str(driver.size) for driver in entry.drivers)
    return np.asarray(_readings_of(entry, context, keys, sizes)[0])


# --- How well readings fit --------------------------------------------------------------------


def _chance(
    entry: Topology,
    keys: tuple[Key, ...],
    readings: Sequence[LoadReading],
    context: LoadContext,
) -> float:
    """Chance of all readings together, of which a slip of the hand may have spoilt one or all."""
    if not readings:
        return 1.0
    groups = _population(entry, context, keys).groups
    whole, spoilt = 0.0, 0.0
    for group in groups:
        whole += _fit(group, readings, context)
        for index in range(len(readings)):
            others = [*readings[:index], *readings[index + 1 :]]
            spoilt += _fit(np.delete(group, index, axis=1), others, context) / SLIP_RANGE
    all_wrong = SLIP_RANGE ** -len(readings)
    fits = (1.0 - SLIP) * whole + SLIP * spoilt / len(readings)
    return fits / len(groups) + SLIP ** len(readings) * all_wrong


def _fit(group: FloatArray, readings: Sequence[LoadReading], context: LoadContext) -> float:
    """Density of the numbers by one bell in all of them, times the chance of each open or not."""
    open_there = np.isinf(group).mean(axis=0) > 0.5
    open_read = np.array([isinf(reading.ohm) for reading in readings], dtype=bool)
    chance = float(np.prod(np.where(open_there == open_read, 1.0 - SLIP, SLIP / SLIP_RANGE)))
    both = ~open_there & ~open_read
    if not both.any():
        return chance
    numbers = [reading for reading, shown in zip(readings, both, strict=True) if shown]
    read = np.log([reading.ohm for reading in numbers])
    columns = group[:, both]
    errors = _errors(numbers, context)
    return chance * _bell(read - columns.mean(axis=0), _covariance(columns) + errors)


def _errors(readings: Sequence[LoadReading], context: LoadContext) -> FloatArray:
    """Covariance of the logarithms from the meter, and from the warmth of all coils at once."""
    own = [reading.error or usual_error(reading.kind, reading.ohm) for reading in readings]
    relative = np.array(own) / np.array([reading.ohm for reading in readings])
    warmth = warmth_spread(context)
    shared = np.array([0.0 if reading.kind == "returns" else warmth for reading in readings])
    return np.diag(relative**2) + np.outer(shared, shared)


def warmth_spread(context: LoadContext) -> float:
    """Return the spread of a coil's resistance by its warmth, natural logarithm."""
    return DOOR_WARMTH if context.temperature is None else ROOM_WARMTH


def usual_error(kind: str, ohm: float) -> float:
    """Return the standard error of a reading without one of its own [ohm]."""
    return READING_ERROR * ohm if kind == "impedance" else float(np.hypot(0.01 * ohm, METER_ERROR))


def _covariance(columns: FloatArray) -> FloatArray:
    return np.atleast_2d(np.cov(columns, rowvar=False))


def _bell(off: FloatArray, covariance: FloatArray) -> float:
    scaled = float(off @ np.linalg.solve(covariance, off))
    _, size = np.linalg.slogdet(2.0 * np.pi * covariance)
    return float(np.exp(-0.5 * (scaled + size)))


def _quantity(values: FloatArray) -> Quantity:
    """Samples [ohm] as a quantity; the central one stands first."""
    middle = float(values[0, 0])
    low, high = (float(end) for end in np.quantile(values, [0.05, 0.95]))
    if not isfinite(middle) or not low < middle < high:
        return Quantity.of(middle, "resistance")
    return Quantity.of(middle, "resistance", low=low, high=high)
