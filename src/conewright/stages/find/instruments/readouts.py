"""What a meter reads on the vehicle's own wiring, sample by sample, with some faults in it.

The network is the job's: its load as written, its cable, its coils at the temperature of a door.
Samples lie along the first and only axis; inf is open.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from math import inf
from typing import Literal

import numpy as np

from conewright.job.builds.draws import Draws, quantile
from conewright.job.builds.standing import radio_year
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.drivers import DriverState
from conewright.job.builds.states.electrics import ChannelState, PartState
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.document.parts import UNKNOWN, of_year
from conewright.job.quantity.values import Quantity
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.basics.programme import NORMAL_PROGRAMME
from conewright.physics.drivers.coil import resistance_at
from conewright.physics.drivers.trust import SHEET_AIR
from conewright.physics.electrics.wiring import fold_resistance
from conewright.stages.common.changes import planned_job
from conewright.stages.common.circuit import cable_resistance, part_resistance
from conewright.stages.common.load import asleep, volts_over_usual
from conewright.stages.common.nets import source_of
from conewright.stages.find.faults.effects import COMMON_GROUND, Variant, size, variants
from conewright.stages.find.faults.rows import HEALTHY
from conewright.stages.find.instruments.samples import SAMPLES, scores, stratified
from conewright.stages.find.instruments.topology import context_of, plug_samples

__all__ = [
    "COIL",
    "LEG",
    "PAIR",
    "SLEEP",
    "Bench",
    "Shown",
    "drains_asleep",
    "knows_ohms",
    "usual_asleep",
]

PAIR, COIL, LEG = "pair-resistance", "coil-resistance", "leg-to-chassis"
BIAS, FEED, SLEEP = "leg-bias", "feed-drop", "sleep-current"
OFFSET = "pair-offset"

FEWEST = 16
"""Samples that are left at least of those that a radio bears."""

LOWEST_SHARE = 0.8
"""Coil resistance over rated impedance that a radio still has to bear (IEC 60268-5)."""

# Random axes of the bench beside those of the build, and of as many effects as show at once.
WARMTH, PLUGS, PLACE = "bench:warmth", "bench:plugs", "bench:place"
EFFECT_AXES = tuple(f"bench:effect:{count}" for count in range(6))


@dataclass(frozen=True, slots=True)
class Shown:
    """One way a fault shows: its subject, and samples of the size of each of its effects [SI]."""

    subject: str
    effects: Mapping[str, FloatArray]


def knows_ohms(driver: DriverState) -> bool:
    """Whether the ohms of a driver are printed, or given by its sheet or a meter."""
    re = driver.written.get("re")
    told = re is None or re.origin in (Origin.MEASURED, Origin.SHEET)
    return told or driver.rated_impedance is not None


def usual_asleep(build: Build, of: Literal["vehicle", "radio"]) -> Quantity:
    """Return what a sound radio, or a vehicle without one, draws with the key out [A], by its year;
    one of which nobody knows the year is taken to be of today.
    """
    year = build.job.vehicle.built
    if of == "radio":
        made = radio_year(planned_job(build), build.planned)
        name = "radio" if of_year("memory", made) else "radio without memory"
    elif of_year("computers", year):
        name = "vehicle without radio"
    else:
        awake = "with few" if of_year("computer", year) else "without"
        name = f"vehicle {awake} computers"
    return size(SLEEP, HEALTHY, name)


def drains_asleep(build: Build) -> bool:
    """Whether the job writes down that its radio draws more with the key out than any sound one."""
    radio, usual = build.head_unit.sleep_current, usual_asleep(build, "radio")
    return radio is not None and usual.high is not None and radio.si > usual.high


class Bench:
    """The samples of one build, and what a meter reads on them."""

    def __init__(self, build: Build) -> None:
        self.build = build
        self._known: dict[tuple[Quantity, str], FloatArray] = {}
        self._kept: dict[Hashable, FloatArray] = {}
        self._draws: Draws = stratified((*build.axes, WARMTH, PLUGS, PLACE, *EFFECT_AXES))

    def shown(self, subjects: Sequence[str], chosen: Sequence[Variant]) -> tuple[Shown, ...]:
        """Return the variants that have an effect, each effect drawn on an axis of its own."""
        axes = iter(EFFECT_AXES)
        return tuple(
            Shown(subject, {name: self._drawn(of, next(axes)) for name, of in one.effects.items()})
            for subject, one in zip(subjects, chosen, strict=True)
            if one.effects
        )

    def loaded_too_low(self, channel: ChannelState) -> bool:
        """Whether the load as wired is below what the radio is made for, by its coils.

        False where no direct current flows, or where nobody knows the wiring.
        """
        if channel.load == UNKNOWN:
            return False
        least = LOWEST_SHARE * source_of(self.build, channel).minimum_load.si
        return bool(np.median(self.load(channel, ())) < least)

    def in_direct_path(self, channel: ChannelState, place: str) -> bool:
        """Whether an ohm-meter at the channel's plug sees the driver of a place at all."""
        gone = Shown(place, {"open": np.ones(SAMPLES)})
        return not np.array_equal(self.load(channel, ()), self.load(channel, (gone,)))

    # --- Resistances ------------------------------------------------------------------------

    def coil(self, place: LocationState, shown: Sequence[Shown]) -> FloatArray:
        """Ohms of a driver alone at its terminals."""
        found = self._warm_coil(COIL, place)
        for one in shown:
            found = _changed_coil(found, one.effects) + one.effects.get("series", 0.0)
        return np.asarray(found)

    def pair(self, channel: ChannelState, shown: Sequence[Shown]) -> FloatArray:
        """Ohms at the radio plug."""
        here = [one.effects for one in shown if one.subject in (channel.id, "vehicle")]
        cable = self._cable(channel)
        found = self._beyond(channel, shown, here) + cable
        for effects in here:
            if "short" in effects:
                # The pair touches somewhere along its run; what lies beyond is not seen.
                found = self._uniform(PLACE) * cable + effects["short"]
        for effects in here:
            found = found + effects.get("series", 0.0)
            if "open" in effects:
                found = np.full(SAMPLES, inf)
        return found + self._drawn(size(PAIR, HEALTHY, "plugs", "series"), PLUGS)

    def load(self, channel: ChannelState, shown: Sequence[Shown]) -> FloatArray:
        """Ohms of all that hangs on the cable."""
        if channel.load == UNKNOWN:
            return self._once(("unknown", channel.id), lambda: self._guessed(channel))
        coils: dict[str, Real] = {}
        for name, _ in channel.polarity:
            coil = self._once((name, channel.id), partial(self._borne, name, channel))
            for one in shown:
                if one.subject == name:
                    coil = _changed_coil(coil, one.effects)
            coils[name] = coil
        for part in channel.parts:
            coils[part.key] = self._once(
                (channel.id, part.key, "part"),
                partial(self._part, part),
            )
        return np.asarray(fold_resistance(tree=channel.tree, resistances=coils))

    def _beyond(
        self,
        channel: ChannelState,
        shown: Sequence[Shown],
        here: Sequence[Mapping[str, FloatArray]],
    ) -> FloatArray:
        """Ohms beyond the cable, with what a fault puts across the load or in its place."""
        load = self.load(channel, shown)
        for effects in here:
            if "beside" in effects:
                load = _beside(load, effects["beside"])
            load = effects.get("replace", load)
        return load

    def _warm_coil(self, test: str, place: LocationState) -> FloatArray:
        driver = place.driver
        cold = self._once(
            ("cold", driver.id, driver.own),
            lambda: _sampled(driver.parameters(self._draws, SHEET_AIR)["re"]),
        )
        return np.asarray(resistance_at(resistance=cold, temperature=self._warmth(test)))

    def _part(self, part: PartState) -> FloatArray:
        """Ohms of a part by value."""
        return _sampled(part_resistance(part, self._draws, temperature=self._warm))

    def _guessed(self, channel: ChannelState) -> FloatArray:
        """Ohms of a load that nobody knows."""
        at_plug = plug_samples(context_of(self.build, channel), samples=SAMPLES)
        return np.maximum(at_plug - self._cable(channel), 0.0)

    def _borne(self, name: str, channel: ChannelState) -> FloatArray:
        """Ohms of a driver that its output bears, where a rating is written down and they are not.

        One below the rating is no sound one there: it is the fault of a low load.
        """
        place = self.build.location(name)
        coil = self._warm_coil(PAIR, place)
        source = source_of(self.build, channel)
        if knows_ohms(place.driver) or not source.rated:
            return coil
        borne = coil[coil >= LOWEST_SHARE * source.minimum_load.si]
        return coil if borne.size < FEWEST else np.resize(borne, coil.shape)

    def _cable(self, channel: ChannelState) -> FloatArray:
        return self._once(
            ("cable", channel.id),
            lambda: _sampled(cable_resistance(channel.cable, self._draws, temperature=self._warm)),
        )

    @cached_property
    def _warm(self) -> FloatArray:
        """Temperature of wires and parts [K], shape (1 + samples, 1)."""
        return _with_central(self._warmth(PAIR))

    def _warmth(self, test: str) -> FloatArray:
        """Temperature of the coils [K]: the vehicle's where it is written, else that of a door."""
        written = self.build.vehicle.temperature
        if written.origin is Origin.MEASURED:
            return self._sampled(written)
        return self._drawn(size(test, HEALTHY, "warmth", "temperature"), WARMTH)

    # --- Volts, amperes, and a leg to chassis ------------------------------------------------

    def value(
        self, test: str, shown: Sequence[Shown], channel: ChannelState | None = None
    ) -> FloatArray:
        """Reading of a test that is no resistance of a network [SI].

        Args: test: its id; shown: faults that show; channel: that it is read at, None for the
        vehicle.

        A fault that shows puts its own value in place of the healthy one; of two that show,
        either may be read.
        """
        replaced = [one.effects["value"] for one in shown if "value" in one.effects]
        values = np.concatenate(replaced) if replaced else self._healthy(test, channel)
        for one in shown:
            if "times" in one.effects:
                values = values * np.resize(one.effects["times"], values.shape)
        # The table has the volts of a radio on 12 V.
        return values * volts_over_usual(self.build) if test in (BIAS, OFFSET) else values

    def _healthy(self, test: str, channel: ChannelState | None) -> FloatArray:
        common = self.build.head_unit.output == "common-ground"
        if test == LEG:
            return self._sound_leg(common, None if channel is None else channel.return_by)
        if test == FEED:
            return self._feed_drop()
        if test == SLEEP:
            return self._sleep_current()
        if test == BIAS and common:
            return self._named(test, COMMON_GROUND, "chassis")
        return self._named(test, HEALTHY, "sound")

    def _sound_leg(self, common: bool, return_by: str | None) -> FloatArray:
        """Open; a leg of a radio without bridge outputs may be chassis by design.

        Where the job says how the current comes back, that holds.
        """
        found = np.full(SAMPLES, inf)
        chance = variants(LEG, COMMON_GROUND)[0].chance if common else 0.0
        if return_by is not None:
            chance = 1.0 if return_by == "chassis" else 0.0
        joined = int(SAMPLES * chance)
        found[:joined] = self._named(LEG, COMMON_GROUND, "joined")[:joined]
        return found

    def _feed_drop(self) -> FloatArray:
        """Drop of the worse leg with loud music: feed resistance times the supply current."""
        feed = self._sampled(self.build.head_unit.feed_resistance)
        share = self._drawn(size(FEED, HEALTHY, "worse leg", "share"), EFFECT_AXES[0])
        loud = self._drawn(size(FEED, HEALTHY, "loud music", "times"), EFFECT_AXES[1])
        return feed * share * loud * self._loud_current

    @cached_property
    def _loud_current(self) -> float:
        """Mean supply current with loud music on all channels [A].

        A bridge chip draws the mean of |v|/R: sqrt(2/pi) sigma/R for programme of normal
        amplitudes, whose power sigma^2/R is a share of that of the largest clean sine.
        """
        radio = self.build.head_unit
        total, share = radio.quiescent_current.si, radio.swing
        for channel in (each for each in self.build.channels if each.driven_by is None):
            load = float(np.median(self.load(channel, ()) + self._cable(channel)))
            if np.isfinite(load):
                swing = share * radio.supply.si * load / (load + radio.clip_loss.si)
                sigma = swing * np.sqrt(NORMAL_PROGRAMME / 2.0)
                total += float(share * np.sqrt(2.0 / np.pi) * sigma / load)
        return total

    def _sleep_current(self) -> FloatArray:
        rest = self._drawn(usual_asleep(self.build, "vehicle"), EFFECT_AXES[0])
        radio = self.build.head_unit.sleep_current
        if radio is not None and not drains_asleep(self.build):
            return rest + asleep(self.build, self._sampled(radio), self._sampled)
        usual = self._drawn(usual_asleep(self.build, "radio"), EFFECT_AXES[1])
        return rest + asleep(self.build, usual, self._sampled)

    def _named(self, test: str, subject: str, name: str) -> FloatArray:
        return self._drawn(size(test, subject, name), EFFECT_AXES[0])

    # --- Samples ----------------------------------------------------------------------------

    def _once(self, key: Hashable, work: Callable[[], FloatArray]) -> FloatArray:
        """Return what some work gives, done once: no fault changes it."""
        if key not in self._kept:
            self._kept[key] = work()
        return self._kept[key]

    def _sampled(self, value: Value) -> FloatArray:
        return _sampled(self._draws(value))

    def _drawn(self, quantity: Quantity | None, axis: str) -> FloatArray:
        """Samples of a quantity of the table [SI]."""
        if quantity is None:
            return np.ones(SAMPLES)
        if (quantity, axis) not in self._known:
            spreads = quantity.spread != "none"
            score = self._draws.score(axis)
            values = quantile(quantity, score) if spreads else np.full(SAMPLES, quantity.value)
            self._known[quantity, axis] = values
        return self._known[quantity, axis]

    def _uniform(self, axis: str) -> FloatArray:
        """Samples that are as likely anywhere from 0 to 1."""
        rank = np.searchsorted(scores(SAMPLES), self._draws.score(axis))
        return np.asarray((rank + 0.5) / SAMPLES)


def _changed_coil(coil: FloatArray, effects: Mapping[str, FloatArray]) -> FloatArray:
    if "open" in effects:
        return np.full(SAMPLES, inf)
    return np.asarray(coil * effects.get("scale", 1.0))


def _beside(load: FloatArray, other: FloatArray) -> FloatArray:
    """Two resistances in parallel, the first of which may be open."""
    return np.asarray(1.0 / (1.0 / load + 1.0 / other))


def _sampled(values: Real) -> FloatArray:
    """The samples alone, shape (samples,), of values whose row 0 is the central one."""
    return np.broadcast_to(np.asarray(values, dtype=float), (SAMPLES + 1, 1))[1:, 0]


def _with_central(samples: FloatArray) -> FloatArray:
    """Samples with their median in row 0, shape (1 + samples, 1)."""
    return np.concatenate(([np.median(samples)], samples))[:, np.newaxis]
