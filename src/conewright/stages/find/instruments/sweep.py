"""An impedance sweep of a driver in its place: what it shows when sound, and what faults do to it.

A fault changes stiffness, losses, coil or motor of the driver, which is then solved again in its
door. What was read, resonance, peak and coil resistance or a series over frequency, is judged by
its logarithms: bells about what the fault makes of this driver, as wide as its figures are known,
or as twins differ where the twin was swept too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import product
from math import erf, exp, pi, prod, sqrt

import numpy as np
from numpy.typing import NDArray

from conewright.errors import BadInputError
from conewright.job.builds.draws import SCORE_AT_95, Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.basics.peaks import highest
from conewright.physics.electrics.wiring import Leaf
from conewright.stages.common.circuit import Solver
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.faults.effects import READING, Variant, effects_of, size, variants
from conewright.stages.find.instruments.samples import stratified

__all__ = [
    "SWEEP",
    "SweepBench",
    "SweepComponent",
    "SweepMixture",
    "SweepReading",
    "sweep_likelihood",
    "sweep_outcomes",
]

SWEEP = "impedance-sweep"

SPAN = 5.0
"""The peak is looked for within this factor of the driver's own resonance."""
POINTS = 241

ALARMS_BEYOND = 2.2
"""A figure is off when it strays further than sound ones do: standard deviations."""

WORDS = ("open", "unsteady", "resistance", "resonance-low", "resonance-high", "peak", "normal")

# Figures of a driver that one can change alone, with the dimension each is written in.
FIGURES = {
    "re": "resistance",
    "bl": "force-factor",
    "mms": "mass",
    "cms": "compliance",
    "rms": "mechanical-resistance",
    "sd": "area",
}
# What an effect multiplies, and to which power.
CHANGES = {"stiffness": ("cms", -1), "loss": ("rms", 1), "scale": ("re", 1), "force": ("bl", 1)}


@dataclass(frozen=True, slots=True)
class SweepReading:
    """What a sweep read: any of three figures, and values of a series.

    Attributes:
        resonance: where the impedance is highest [Hz].
        peak: impedance there [ohm].
        resistance: of the coil [ohm].
        series: (frequency [Hz], modulus [ohm]) pairs.
        error: relative standard error, None for the usual one.

    """

    resonance: float | None = None
    peak: float | None = None
    resistance: float | None = None
    series: tuple[tuple[float, float], ...] = ()
    error: float | None = None

    def __post_init__(self) -> None:
        read = [*self._figures, *(number for pair in self.series for number in pair)]
        if not any(number is not None for number in read):
            raise BadInputError("a sweep gives resonance, peak, coil resistance or a series")
        if not all(number is None or 0.0 < number < np.inf for number in read):
            raise BadInputError("what a sweep reads is above zero and finite")

    @property
    def _figures(self) -> tuple[float | None, float | None, float | None]:
        return self.resonance, self.peak, self.resistance

    @property
    def frequencies(self) -> tuple[float, ...]:
        """Frequencies of the series [Hz]."""
        return tuple(frequency for frequency, _ in self.series)

    @property
    def logarithms(self) -> FloatArray:
        """Logarithms of the three figures and the series, NaN for what was not read."""
        read = (*self._figures, *(ohm for _, ohm in self.series))
        return np.log([np.nan if number is None else number for number in read])


@dataclass(frozen=True, eq=False)
class SweepComponent:
    """One thing a sweep may show: a curve, or nothing, or one that does not stand still.

    Attributes:
        weight: of it.
        kind: `curve`, `open` or `unsteady`.
        mean: logarithms of resonance, peak, coil resistance and series, shape (3 + F,).
        covariance: of those, shape (3 + F, 3 + F).

    """

    weight: float
    kind: str
    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, eq=False)
class SweepMixture:
    """All that a sweep may show in one state; `healthy` is the curve of the sound driver."""

    components: tuple[SweepComponent, ...]
    healthy: SweepComponent


def sweep_likelihood(mixture: SweepMixture, reading: SweepReading | str) -> float:
    """Chance of a reading in a state, figures and words on one scale.

    Args:
        mixture: predicted for the frequencies of the reading's series.
        reading: figures; or `open`, `unsteady`, `normal`, `abnormal`, or a word of the outcomes.

    Raises:
        BadInputError: no such word, or a series at other frequencies.

    """
    if isinstance(reading, str):
        return _word_chance(sweep_outcomes(mixture), reading)
    read = reading.logarithms
    if read.size != mixture.healthy.mean.size:
        raise BadInputError("the sweep was predicted at other frequencies than it was read")
    known = np.flatnonzero(np.isfinite(read))
    error = _reading("relative") if reading.error is None else reading.error
    curves = (part for part in mixture.components if part.kind == "curve")
    density = sum(part.weight * _slipping(part, read, known, error) for part in curves)
    return float(density * _reading("width") ** known.size)


def sweep_outcomes(mixture: SweepMixture) -> dict[str, float]:
    """Chance of each answer that a plan reckons with; they add up to 1.

    Each figure is off by the limits of the table, or by more than sound drivers differ: first the
    coil's resistance, then the resonance, then the peak over the resistance.
    """
    found = dict.fromkeys(WORDS, 0.0)
    for part in mixture.components:
        if part.kind != "curve":
            found[part.kind] += part.weight
            continue
        for word, chance in _regions(part, mixture.healthy).items():
            found[word] += part.weight * chance
    return found


class SweepBench:
    """Sweeps of the drivers of one build."""

    def __init__(self, build: Build) -> None:
        self.build = build
        self._known: dict[object, SweepMixture] = {}
        self._draws = stratified(build.axes)
        self._central = Draws(build.axes, np.empty((0, len(build.axes))))

    def expected(self, location: str) -> SweepReading:
        """Return what the sound driver shows in its place, central values."""
        place = self.build.location(location)
        resonance, peak, resistance = np.exp(self._figures(place, self._central, ())[0])
        return SweepReading(float(resonance), float(peak), float(resistance))

    def predict(
        self,
        location: str,
        state: Iterable[Atom],
        *,
        frequencies: tuple[float, ...] = (),
        twin: SweepReading | None = None,
    ) -> SweepMixture:
        """Return what a sweep may show.

        Args:
            location: whose driver is swept, unplugged from its wiring.
            state: the faults; those of other places are left aside.
            frequencies: of a series [Hz].
            twin: what the sound driver of the other side showed in its own place; it stands in
                for the driver's sheet. Its series, if any, is not used.

        """
        visible = effects_of(SWEEP)
        seen = frozenset(a for a in state if a.subject == location and a.fault in visible)
        key = (location, seen, frequencies, twin)
        if key not in self._known:
            self._known[key] = self._mixture(location, seen, frequencies, twin)
        return self._known[key]

    def _mixture(
        self,
        location: str,
        seen: frozenset[Atom],
        frequencies: tuple[float, ...],
        twin: SweepReading | None,
    ) -> SweepMixture:
        place = self.build.location(location)
        sound = self._sound(place, frequencies, twin)
        parts: list[SweepComponent] = []
        for chosen in product(*(variants(SWEEP, atom.fault) for atom in sorted(seen))):
            weight = prod(variant.chance for variant in chosen)
            parts.append(self._component(place, chosen, weight, sound, frequencies))
        return SweepMixture(_with_slips(parts, sound), sound)

    def _component(
        self,
        place: LocationState,
        chosen: tuple[Variant, ...],
        weight: float,
        sound: SweepComponent,
        frequencies: tuple[float, ...],
    ) -> SweepComponent:
        effects = [item for variant in chosen for item in variant.effects.items()]
        for kind in ("open", "unsteady"):
            if any(name == kind for name, _ in effects):
                return replace(sound, weight=weight, kind=kind)
        if not effects:
            return replace(sound, weight=weight)
        before = self._figures(place, self._central, frequencies)[0]
        low, middle, high = (
            self._figures(_changed(place, effects, point), self._central, frequencies)[0]
            for point in ("low", "value", "high")
        )
        # The ends of an effect are its 5 and 95 % points.
        along = (high - low) / (2.0 * SCORE_AT_95)
        return replace(
            sound,
            weight=weight,
            mean=sound.mean + middle - before,
            covariance=sound.covariance + np.outer(along, along),
        )

    def _sound(
        self, place: LocationState, frequencies: tuple[float, ...], twin: SweepReading | None
    ) -> SweepComponent:
        drawn = self._figures(place, self._draws, frequencies)[1:]
        mean, covariance = drawn.mean(axis=0), np.atleast_2d(np.cov(drawn, rowvar=False))
        if self.build.vehicle.temperature.origin is not Origin.MEASURED:
            covariance[2, 2] += _reading("warmth") ** 2
        if twin is not None:
            for index, name in enumerate(("resonance", "peak", "resistance")):
                if np.isfinite(twin.logarithms[index]):
                    mean[index] = twin.logarithms[index]
                    covariance[index], covariance[:, index] = 0.0, 0.0
                    covariance[index, index] = _reading(f"twin-{name}") ** 2
        return SweepComponent(1.0, "curve", mean, covariance)

    def _figures(
        self, place: LocationState, draws: Draws, frequencies: tuple[float, ...]
    ) -> FloatArray:
        """Logarithms of resonance, peak, resistance and series, shape (1 + samples, 3 + F)."""
        free = place.driver.figures()["fs"]
        grid = np.geomspace(free / SPAN, free * SPAN, POINTS)
        impedance, re = self._solved(place, draws, grid)
        at, peak = highest(x=np.log(grid), y=np.log(np.abs(impedance)))
        rows = [at, peak, np.log(np.broadcast_to(re, (at.size, 1))[:, 0])]
        if frequencies:
            series, _ = self._solved(place, draws, np.array(frequencies))
            rows += list(np.log(np.abs(np.broadcast_to(series, (at.size, series.shape[-1])))).T)
        return np.stack(rows, axis=-1)

    def _solved(
        self, place: LocationState, draws: Draws, grid: FloatArray
    ) -> tuple[ComplexArray, FloatArray]:
        alone = replace(self.build, channels=(self._wire(place.id),), locations=(place,))
        found = Solver(draws, grid).solve(alone).locations[place.id]
        rows = draws.samples + 1
        return np.broadcast_to(found.terminals, (rows, grid.size)), np.asarray(found.re)

    def _wire(self, location: str) -> ChannelState:
        """A channel with this driver alone on it."""
        channel = self.build.channels[0]
        return replace(channel, tree=Leaf(location), polarity=((location, 1),), parts=())


def _changed(
    place: LocationState, effects: list[tuple[str, Quantity | None]], point: str
) -> LocationState:
    """A place whose driver has the effects of faults, each at one point of its spread."""
    figures = place.driver.figures()
    for name, quantity in effects:
        assert quantity is not None
        amount = getattr(quantity, point)
        amount = quantity.value if amount is None else amount
        if name == "series":
            figures["re"] += amount
        else:
            figure, power = CHANGES[name]
            figures[figure] *= amount**power
    basis = tuple((name, _fixed(place, name, figures[name])) for name in FIGURES)
    return replace(place, driver=replace(place.driver, basis=basis))


def _fixed(place: LocationState, name: str, value: float) -> Value:
    quantity = Quantity.of(value, FIGURES[name])
    return Value(f"{place.driver.id}.{name}", quantity, Origin.ASSUMED, "a fault that is tried")


def _with_slips(parts: list[SweepComponent], sound: SweepComponent) -> tuple[SweepComponent, ...]:
    """Parts with the slips of the hand that show no curve, or one that does not stand still."""
    opened, wild = (_reading("slip") * _reading(f"slip-{name}") for name in ("open", "unsteady"))
    return (
        *(replace(part, weight=part.weight * (1.0 - opened - wild)) for part in parts),
        replace(sound, weight=opened, kind="open"),
        replace(sound, weight=wild, kind="unsteady"),
    )


def _slipping(
    part: SweepComponent, read: FloatArray, known: NDArray[np.intp], error: float
) -> float:
    """Density of what was read, of which a slip of the hand may have spoilt one figure."""
    slip, strayed = _reading("slip"), _reading("slip-width")
    spoilt = [
        _density(part, read, np.delete(known, index), error)
        * exp(-0.5 * ((read[one] - part.mean[one]) / strayed) ** 2)
        / (strayed * sqrt(2.0 * pi))
        for index, one in enumerate(known)
    ]
    return (1.0 - slip) * _density(part, read, known, error) + slip * float(np.mean(spoilt))


def _density(
    part: SweepComponent, read: FloatArray, known: NDArray[np.intp], error: float
) -> float:
    """Density of what was read, in logarithms; 1 where nothing was."""
    off = read[known] - part.mean[known]
    covariance = part.covariance[np.ix_(known, known)] + error**2 * np.eye(known.size)
    _, size_of = np.linalg.slogdet(2.0 * np.pi * covariance)
    return float(np.exp(-0.5 * (off @ np.linalg.solve(covariance, off) + size_of)))


def _regions(part: SweepComponent, healthy: SweepComponent) -> dict[str, float]:
    """Chance of each word for a curve; the figures are taken as independent."""
    # Rows: coil resistance, resonance, peak over resistance.
    of = np.zeros((3, part.mean.size))
    of[0, 2], of[1, 0], of[2, 1], of[2, 2] = 1.0, 1.0, 1.0, -1.0
    middles = of @ (part.mean - healthy.mean)
    error = _reading("relative")
    spreads, sound = (
        np.sqrt(np.diag(of @ one.covariance @ of.T) + error**2) for one in (part, healthy)
    )
    flags = np.log1p([_reading(f"flag-{name}") for name in ("resistance", "resonance", "peak")])
    limits = np.maximum(flags, ALARMS_BEYOND * sound)
    below = [_normal((-e - m) / s) for e, m, s in zip(limits, middles, spreads, strict=True)]
    above = [_normal((m - e) / s) for e, m, s in zip(limits, middles, spreads, strict=True)]
    found, rest = {"resistance": below[0] + above[0]}, 1.0 - below[0] - above[0]
    found["resonance-low"], found["resonance-high"] = rest * below[1], rest * above[1]
    rest *= 1.0 - below[1] - above[1]
    found["peak"] = rest * (below[2] + above[2])
    found["normal"] = rest - found["peak"]
    return found


def _word_chance(found: Mapping[str, float], word: str) -> float:
    if word == "abnormal":
        return 1.0 - found["normal"]
    if word not in found:
        raise BadInputError(f'"{word[:40]}" is no answer; abnormal, {", ".join(WORDS)} are')
    return found[word]


def _reading(name: str) -> float:
    return size(SWEEP, READING, name).value


def _normal(score: float) -> float:
    return 0.5 * (1.0 + erf(score / sqrt(2.0)))
