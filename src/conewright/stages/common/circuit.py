"""A build solved on a frequency grid: every channel's load, every driver's share, motion, output.

The three closed steps: the door gives the acoustic load, the driver its impedance and velocity per
volt, the wiring tree the voltage at every driver. All responses are per volt of the channel's
source EMF; rows are draws (row 0 central), columns frequencies.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from conewright.job.builds.draws import Draws
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.drivers import CoilState, DriverState
from conewright.job.builds.states.electrics import (
    CableState,
    ChannelState,
    HeadUnitState,
    InputState,
    PartState,
)
from conewright.job.builds.states.location import BoxState, LocationState, OpenState
from conewright.job.builds.states.value import Value
from conewright.job.document.places import on_frame
from conewright.physics.acoustics.backs import MOST_FILL_GAIN, box_load, open_baffle_load
from conewright.physics.acoustics.door import FREE, MountedLoad, mounted_load
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray, Real
from conewright.physics.drivers.coil import (
    Coil,
    Inductor,
    PowerLaw,
    ShuntedInductor,
    power_law_from_inductance,
    resistance_at,
)
from conewright.physics.drivers.driver import Driver, loaded, moving_mass_in_door
from conewright.physics.electrics import amplifier, conductor
from conewright.physics.electrics.wiring import capacitor, fold_resistance, inductor, solve_tree
from conewright.stages.common.damage import (
    OPEN_FROM,
    SHORT,
    SILENCE,
    ChannelDamage,
    channel_damage,
    damaged_driver,
    dried,
    leak_area,
)
from conewright.stages.common.nets import filters_of, source_of
from conewright.stages.common.together import Cabin

__all__ = [
    "LUMPED_BELOW",
    "ChannelCircuit",
    "Circuit",
    "LocationCircuit",
    "Solver",
    "Unit",
    "cable_resistance",
    "hot_coil_rise",
    "part_resistance",
    "radio_volts",
]

LUMPED_BELOW = 400.0
"""A front cavity of a hand's width is a lump up to here [Hz]."""

BARE_ABOVE = 800.0
"""From here on a cone is taken to radiate through its grille as if it were not there [Hz]. From
the lump to here the output share fades from the one to the other."""

HIGHEST_COIL_RISE = 180.0
"""Rise of a voice coil at which its glue gives way [K]; workshop experience, from memory."""

Made = TypeVar("Made")


@dataclass(frozen=True)
class LocationCircuit:
    """One driver in its place, per volt of its channel's source EMF.

    Attributes:
        frequency: of every column [Hz].
        drive: voltage from the driver's + to its - terminal [V/V].
        velocity: of the cone, positive forward [m/s/V, rms per rms].
        output: volume velocity that reaches the cabin [m3/s/V].
        flows: volume velocity through each opening of the mount, central values [m3/s/V].
        impedance: of the driver alone, in its place [ohm].
        re: d.c. resistance of the coil at its temperature [ohm].
        sd: piston area [m2].
        terminals: impedance between the terminals, a tweeter on the frame included [ohm].
        host: the place at whose terminals it hangs; its own but for a tweeter on a frame.

    """

    id: str
    channel: str
    frequency: FloatArray
    drive: ComplexArray
    velocity: ComplexArray
    output: ComplexArray
    flows: Mapping[str, ComplexArray]
    impedance: ComplexArray
    re: Real
    sd: Real
    terminals: ComplexArray
    host: str

    # Most circuits are only listened to: these wait until somebody asks.
    @cached_property
    def current(self) -> ComplexArray:
        """Current into the + terminal [A/V]."""
        return np.asarray(self.drive / self.impedance)

    @cached_property
    def excursion(self) -> ComplexArray:
        """Cone travel, positive forward [m/V, rms per rms]."""
        return np.asarray(self.velocity / (2j * np.pi * self.frequency))


@dataclass(frozen=True)
class ChannelCircuit:
    """One channel of the radio or of an amplifier.

    Attributes:
        plug_impedance: seen at the plug of what drives it, cable included [ohm].
        load_impedance: without the cable [ohm].
        cable_resistance: both ways [ohm].
        plug_resistance: d.c., cable included [ohm]; infinite when there is no d.c. path.
        source_resistance: of the output that drives it [ohm].
        settings: from the EMF that the volume knob gives an output of the radio to the EMF of what
            drives it: gain and filters, and of an amplifier all ahead of it [V/V].
        high_pass: of these settings, what all high-passes on the way let through [V/V].
        low_pass: of these settings, what all low-passes on the way let through [V/V].
        fed: of an amplifier's channel fed at loudspeaker level: what is set in the radio for the
            output that feeds it [V/V]; None of others.
        fed_level: of that, what is left without its filters [V/V]; None of others.
        idle: draws in which nothing on it can play, shape (1 + samples, 1) or (1, 1).
        part_drives: voltage across each part written into the load, by its key [V/V of EMF].

    """

    id: str
    plug_impedance: ComplexArray
    load_impedance: ComplexArray
    cable_resistance: FloatArray
    plug_resistance: FloatArray
    source_resistance: FloatArray
    settings: ComplexArray
    high_pass: ComplexArray
    low_pass: ComplexArray
    fed: ComplexArray | None
    fed_level: ComplexArray | None
    idle: NDArray[np.bool_]
    part_drives: Mapping[str, ComplexArray]

    @property
    def unfiltered(self) -> ChannelCircuit:
        """The same channel with the gains that are set, and none of the filters."""
        flat = np.asarray(self.settings / (self.high_pass * self.low_pass))
        return replace(self, settings=flat, fed=self.fed_level)


@dataclass(frozen=True)
class Circuit:
    """A whole build on one frequency grid."""

    frequency: FloatArray
    air: Air
    channels: Mapping[str, ChannelCircuit]
    locations: Mapping[str, LocationCircuit]

    @property
    def playing(self) -> frozenset[str]:
        """The ids of the places that play, central values: driven, and with a whole coil."""
        return frozenset(
            name
            for name, place in self.locations.items()
            if not self.channels[place.channel].idle[0, 0]
            and np.max(np.abs(place.drive[0] / place.impedance[0])) > 1.0 / OPEN_FROM
        )


@dataclass(frozen=True)
class Unit:
    """A driver in its place, before it is wired.

    Attributes:
        impedance, terminals: of the driver; of what is wired, with a tweeter on its frame [ohm].
        velocity_per_volt: of the cone [m/s/V].
        share: of its volume velocity, what reaches the cabin [1].
        flows: the same through each opening of the mount [1].
        sd, re: piston area [m2] and d.c. resistance of the coil [ohm].
        tweeter: on the frame; it gets `passed` of the voltage at the terminals.

    """

    impedance: ComplexArray
    terminals: ComplexArray
    velocity_per_volt: ComplexArray
    share: ComplexArray
    flows: Mapping[str, Complex]
    sd: Real
    re: Real
    tweeter: Unit | None = None
    passed: Complex = 1.0


def hot_coil_rise(driver: DriverState, draws: Draws) -> FloatArray:
    """Temperature rise of the coil at the driver's rated long-term power [K]."""
    rise = draws(driver.coil_rise) * draws(driver.power)
    return np.minimum(rise, HIGHEST_COIL_RISE)


def cable_resistance(cable: CableState, draws: Draws, *, temperature: Real) -> FloatArray:
    """Loop resistance of a cable, both ways [ohm], shape (1 + samples, 1).

    Args: temperature: of the copper [K], a scalar or of that shape.
    """
    if cable.resistance is not None:
        return draws(cable.resistance)
    assert cable.length is not None
    assert cable.size is not None
    area = draws(cable.size)
    if cable.size.quantity.unit == "AWG":
        warm = conductor.temperature_factor(temperature=temperature)
        per_metre = conductor.COPPER_RESISTIVITY / area * warm
    else:
        # The far end of a spread may lie beyond the tables.
        held = np.minimum(area, conductor.LARGEST_AREA)
        per_metre = conductor.resistance_per_metre(area=held, temperature=temperature)
    length = draws(cable.length)
    return np.asarray(conductor.loop_resistance(ohm_per_metre=per_metre, length=length))


def radio_volts(radio: HeadUnitState, draws: Draws) -> FloatArray:
    """Clean rms volts of a radio's output into the load it is rated for [V]."""
    rated = draws(radio.minimum_load)
    peak = amplifier.clean_peak_voltage(
        supply=radio.swing * draws(radio.supply),
        clip_loss=draws(radio.clip_loss),
        impedance=rated.astype(complex),
    )
    return np.asarray(np.minimum(peak, draws(radio.peak_current) * rated) / np.sqrt(2))


def part_resistance(part: PartState, draws: Draws, *, temperature: Real) -> Real:
    """Direct-current resistance of a part written into a load [ohm]: inf for a capacitor."""
    if part.wire is not None:
        return cable_resistance(part.wire, draws, temperature=temperature)
    assert part.value is not None
    if part.kind == "capacitor":
        return np.inf
    return 0.0 if part.kind == "inductor" else draws(part.value)


class Solver:
    """Solves builds of one job with the same draws on the same grid.

    A driver in its place depends on nothing outside that place, so it is solved once however many
    builds share it; and a build is solved once however many stages ask.
    """

    def __init__(self, draws: Draws, frequency: FloatArray) -> None:
        self.draws = draws
        self.frequency = frequency
        self.cabin = Cabin(draws, frequency)
        self._units: dict[object, Unit] = {}
        self._loads: dict[object, MountedLoad] = {}
        # By identity, with the build kept so that its id stays its own.
        self._made: dict[tuple[Hashable, int], tuple[Build, Any]] = {}

    def solve(self, build: Build, *, hot: bool = False) -> Circuit:
        """Solve one build with cold coils, or with all coils at their rated power's heat."""
        return self.once(build, (Circuit, hot), lambda: self._solve(build, hot))

    def once(self, build: Build, what: Hashable, make: Callable[[], Made]) -> Made:
        """Return something about a build, made by the first stage that asks for it."""
        key = (what, id(build))
        if key not in self._made:
            self._made[key] = (build, make())
        made: Made = self._made[key][1]
        return made

    def _solve(self, build: Build, hot: bool) -> Circuit:
        air = Air(temperature=build.vehicle.temperature.si)
        channels: dict[str, ChannelCircuit] = {}
        locations: dict[str, LocationCircuit] = {}
        # What feeds an amplifier is solved ahead of it.
        for channel in sorted(build.channels, key=lambda each: each.input is not None):
            units = {
                name: self.unit(build.location(name), air, hot) for name, _ in channel.polarity
            }
            damage = channel_damage(channel, build.faults, self.draws)
            solved, drive = self._channel(channel, units, build, damage)
            channels[channel.id] = self._fed(solved, channel.input, build, channels)
            for name, sign in channel.polarity:
                unit, across = units[name], sign * drive[name]
                locations[name] = self._location(name, channel.id, unit, across)
                if unit.tweeter is not None:
                    small, above = on_frame(name), across * unit.passed
                    locations[small] = self._location(
                        small, channel.id, unit.tweeter, above, host=name
                    )
        written = {channel.id: channels[channel.id] for channel in build.channels}
        driven = (name for each in build.channels for name, _ in each.polarity)
        both = (each for name in driven for each in (name, on_frame(name)))
        return Circuit(
            self.frequency,
            air,
            written,
            {each: locations[each] for each in both if each in locations},
        )

    def _fed(
        self,
        solved: ChannelCircuit,
        input: InputState | None,
        build: Build,
        known: Mapping[str, ChannelCircuit],
    ) -> ChannelCircuit:
        """Return a channel with what an amplifier and the radio ahead of it make of the knob."""
        if input is None:
            return solved
        through = self._level(input.gain)
        if input.line_volts is not None:
            line = self.draws(input.line_volts)
            through = through * line / radio_volts(build.head_unit, self.draws)
            return replace(solved, settings=solved.settings * through)
        assert input.settings is not None
        high, low = filters_of(input.settings, self.draws, self.frequency)
        level = self._level(input.settings.gain)
        fed = level * high * low
        at_plug: ComplexArray | float = 1.0
        if (beside := known.get(input.channel or "")) is not None:
            at_plug = beside.plug_impedance / (beside.plug_impedance + beside.source_resistance)
        return replace(
            solved,
            settings=solved.settings * through * fed * at_plug,
            high_pass=solved.high_pass * high,
            low_pass=solved.low_pass * low,
            fed=fed,
            fed_level=level + 0.0 * fed,
        )

    def _location(
        self, name: str, channel: str, unit: Unit, drive: ComplexArray, *, host: str = ""
    ) -> LocationCircuit:
        velocity = unit.velocity_per_volt * drive
        moved = unit.sd * velocity
        return LocationCircuit(
            id=name,
            channel=channel,
            frequency=self.frequency,
            drive=drive,
            velocity=velocity,
            output=moved * unit.share,
            flows={opening: moved[0] * flow for opening, flow in unit.flows.items()},
            impedance=unit.impedance,
            re=unit.re,
            sd=unit.sd,
            terminals=unit.terminals,
            host=host or name,
        )

    def _channel(
        self,
        channel: ChannelState,
        units: Mapping[str, Unit],
        build: Build,
        damage: ChannelDamage,
    ) -> tuple[ChannelCircuit, dict[str, ComplexArray]]:
        temperature = build.vehicle.temperature.si
        leaves = {name: unit.terminals for name, unit in units.items()}
        resistances: dict[str, Real] = {name: unit.re for name, unit in units.items()}
        for part in channel.parts:
            leaves[part.key], resistances[part.key] = self.part(part, temperature, damage)
        tree = solve_tree(tree=channel.tree, impedances=leaves, voltage=1.0)
        # A load of resistors alone is one number; every curve has the whole grid.
        load = tree.impedance + np.zeros(self.frequency.size)
        resistance = fold_resistance(tree=channel.tree, resistances=resistances)
        if damage.shorted:
            load, resistance = SHORT + 0.0 * load, 0.0 * resistance
        cable = cable_resistance(channel.cable, self.draws, temperature=temperature)
        cable = cable + damage.series
        source = self.draws(source_of(build, channel).output_resistance)
        across = (SILENCE if damage.silent else 1.0) * load / (source + cable + load)
        drive = {name: across * tree.voltages[name] for name in units}
        plug_resistance = cable + resistance
        high, low = filters_of(channel.settings, self.draws, self.frequency)
        solved = ChannelCircuit(
            id=channel.id,
            plug_impedance=load + cable,
            load_impedance=load,
            cable_resistance=cable,
            plug_resistance=np.asarray(plug_resistance, dtype=float),
            source_resistance=source,
            settings=self._level(channel.settings.gain) * high * low,
            high_pass=high,
            low_pass=low,
            fed=None,
            fed_level=None,
            idle=damage.silent | (np.abs(load + cable).min(axis=-1, keepdims=True) > OPEN_FROM),
            part_drives={part.key: across * tree.voltages[part.key] for part in channel.parts},
        )
        return solved, drive

    def _level(self, gain: Value) -> ComplexArray:
        return np.asarray(10 ** (self.draws(gain) / 20), dtype=complex)

    def part(
        self, part: PartState, temperature: float, damage: ChannelDamage
    ) -> tuple[ComplexArray, Real]:
        """Impedance and d.c. resistance of a part written into a load."""
        resistance = part_resistance(part, self.draws, temperature=temperature)
        if part.value is None or part.kind not in ("capacitor", "inductor"):
            return np.asarray(resistance, dtype=complex), resistance
        size = self.draws(part.value)
        if part.kind == "capacitor":
            left, series = damage.dried.get(part.key, (1.0, 0.0))
            impedance = capacitor(capacitance=size * left, esr=series, frequency=self.frequency)
            return impedance, resistance
        return inductor(inductance=size, frequency=self.frequency), resistance

    def unit(self, location: LocationState, air: Air, hot: bool) -> Unit:
        """Return a driver in its place, with its coil cold or at its rated power's heat."""
        location = _with_own(location, self.draws)
        mounted = (*_place(location), location.driver, air)
        key = (mounted, hot)
        # A place is large to hash: it is looked up once.
        unit = self._units.get(key)
        if unit is None:
            values = location.driver.parameters(self.draws, air)
            load = self._loads.get(mounted)
            if load is None:
                load = self._loads[mounted] = self.load_on(location, values["sd"], air)
            alone = self._loaded(location, values, load, air, hot)
            unit = self._units[key] = self._with_tweeter(alone, location, air, hot)
        return unit

    def _with_tweeter(self, unit: Unit, location: LocationState, air: Air, hot: bool) -> Unit:
        """Put the tweeter on the frame, if any, and its capacitor across the terminals."""
        place, on_it = location.tweeter, location.driver.tweeter
        if place is None or on_it is None:
            return unit
        small = self.unit(place, air, hot)
        left, series = dried(place.faults, self.draws)
        before = capacitor(
            capacitance=self.draws(on_it.capacitor) * left, esr=series, frequency=self.frequency
        )
        branch = before + small.impedance
        return replace(
            unit,
            terminals=unit.impedance * branch / (unit.impedance + branch),
            tweeter=small,
            passed=small.impedance / branch,
        )

    def _loaded(
        self,
        location: LocationState,
        values: Mapping[str, Real],
        load: MountedLoad,
        air: Air,
        hot: bool,
    ) -> Unit:
        rise = hot_coil_rise(location.driver, self.draws) if hot else 0.0
        re = resistance_at(resistance=values["re"], temperature=air.temperature + rise)
        mass, sd = values["mms"], values["sd"]
        if brings_air(location):
            mass = moving_mass_in_door(mms=mass, sd=sd, air=air)
        driver = Driver(
            re=re,
            bl=values["bl"],
            mms=mass,
            cms=values["cms"],
            rms=values["rms"],
            sd=sd,
            coil=self._coil(location.driver.coil),
        )
        driver = damaged_driver(driver, (*location.faults, *location.repairs), self.draws)
        response = loaded(driver=driver, acoustic_load=load.impedance, frequency=self.frequency)
        return Unit(
            impedance=response.impedance,
            terminals=response.impedance,
            velocity_per_volt=response.velocity_per_volt,
            share=self._heard_share(load),
            flows=load.flows,
            sd=sd,
            re=driver.re,
        )

    def _heard_share(self, load: MountedLoad) -> ComplexArray:
        """Output share, handed over to the bare cone where lumped cavities no longer hold."""
        octaves = np.log(self.frequency / LUMPED_BELOW) / np.log(BARE_ABOVE / LUMPED_BELOW)
        kept = 1.0 - np.clip(octaves, 0.0, 1.0)
        return np.asarray(np.asarray(load.share, dtype=complex) ** kept)

    def _coil(self, coil: CoilState) -> Coil:
        def drawn(value: Value | None) -> FloatArray:
            assert value is not None
            return self.draws(value)

        if coil.model == "inductor":
            return Inductor(le=drawn(coil.le))
        if coil.model == "shunted":
            return ShuntedInductor(le=drawn(coil.le), l2=drawn(coil.l2), r2=drawn(coil.r2))
        if coil.k is not None:
            return PowerLaw(k=drawn(coil.k), n=drawn(coil.n))
        return power_law_from_inductance(le=drawn(coil.le), n=drawn(coil.n))

    def load_on(self, location: LocationState, sd: Real, air: Air) -> MountedLoad:
        """Return what the air round a driver does to it."""
        if location.cavity is not None:
            return self._door_load(location, sd, air)
        back = location.back
        if isinstance(back, BoxState):
            return box_load(
                air=air,
                sd=sd,
                volume=self.draws(back.volume),
                fill_gain=np.clip(self.draws(back.fill_gain), 1.0, MOST_FILL_GAIN),
                quality=self.draws(back.q),
                leak_area=leak_area(location.faults, self.draws),
                frequency=self.frequency,
            )
        if isinstance(back, OpenState) and not back.bare:
            area = self.draws(back.baffle)
            return open_baffle_load(air=air, sd=sd, baffle_area=area, frequency=self.frequency)
        return FREE

    def _door_load(self, location: LocationState, sd: Real, air: Air) -> MountedLoad:
        cavity, trim = location.cavity, location.trim
        assert cavity is not None
        assert trim is not None
        draws = self.draws
        cover = 0.0 if cavity.cover_mass is None else draws(cavity.cover_mass)
        load = mounted_load(
            air=air,
            sd=sd,
            ring=location.mount.ring,
            rear_volume=draws(cavity.volume),
            rear_q=draws(cavity.q),
            drain_area=draws(cavity.drains),
            drain_count=cavity.drain_count,
            drain_q=draws(cavity.drain_q),
            panel_area=draws(cavity.panel_holes),
            panel_count=cavity.panel_hole_count,
            panel_q=draws(cavity.panel_q),
            cover_mass=cover,
            steel=draws(cavity.steel),
            grille_area=draws(trim.grille_area),
            grille_extent=draws(trim.grille_extent),
            trim_gap=draws(trim.gap),
            grille_resistance=draws(trim.grille_resistance),
            front_volume=draws(trim.front_volume),
            trim_volume=draws(trim.volume),
            edge_area=draws(trim.edge_gap),
            leak_area=leak_area(location.faults, draws),
            into_cabin=cavity.into_cabin,
            frequency=self.frequency,
        )
        # Of the flows only the central values are asked for; a copy lets go of the rest.
        central = {name: np.atleast_2d(flow)[0].copy() for name, flow in load.flows.items()}
        return replace(load, flows=central)


def _with_own(location: LocationState, draws: Draws) -> LocationState:
    """Return a place whose driver has what was read there, over its sheet."""
    driver = location.driver

    def read(values: tuple[tuple[str, Value], ...]) -> tuple[tuple[str, Value], ...]:
        return tuple((name, draws.own.get((location.id, value), value)) for name, value in values)

    basis, own = read(driver.basis), read(driver.own)
    if (basis, own) == (driver.basis, driver.own):
        return location
    return replace(location, driver=replace(driver, basis=basis, own=own))


def _place(location: LocationState) -> tuple[Hashable, ...]:
    """Return all that a driver's work at a place depends on, but the driver."""
    mount, cavity, trim = location.mount, location.cavity, location.trim
    faults = location.faults, location.tweeter_faults, location.repairs
    return location.kind, mount, cavity, trim, location.back, *faults


def brings_air(location: LocationState) -> bool:
    """Whether the load of a place holds the air on the cone, which its sheet's mass has too."""
    back = location.back
    if isinstance(back, OpenState):
        return not back.bare
    return location.cavity is not None or back is not None
