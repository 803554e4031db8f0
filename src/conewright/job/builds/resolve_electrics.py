"""From vehicle, radio and channels in the job to complete ones, every gap filled."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import prod
from typing import Final, Literal

from conewright.job.builds.fills import Filler, plain_text
from conewright.job.builds.resolve_location import resolve_place
from conewright.job.builds.states.electrics import (
    AmplifierState,
    CableState,
    ChannelState,
    ConverterState,
    FeedState,
    FilterState,
    HeadUnitState,
    InputState,
    PartState,
    SettingsState,
    UnknownChannelState,
    UnusedChannelState,
)
from conewright.job.builds.states.location import LocationState, SeatState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.builds.states.vehicle import BatteryState, OpeningState, VehicleState
from conewright.job.builds.typical import ANY, Typical, scaled, typical, typical_or_none
from conewright.job.document.document import Amplifier, Channel, Document, Feed, HeadUnit, Vehicle
from conewright.job.document.parts import of_year
from conewright.job.quantity.expression import Load, ValuePart, WirePart
from conewright.job.quantity.values import Quantity

__all__ = [
    "USUAL_SYSTEM",
    "resolve_amplifier",
    "resolve_channel",
    "resolve_converter",
    "resolve_feed",
    "resolve_head_unit",
    "resolve_seats",
    "resolve_unknown",
    "resolve_unused",
    "resolve_vehicle",
]

# A radio rated for less than this [ohm] has output chips made for 2 ohm loads.
LEAST_FOR_FOUR_OHM_CHIPS = 3.1

USUAL_SYSTEM: Final = "12 V"
"""Supply of a vehicle, and what a radio is made for, where nobody says otherwise."""

USUAL_SLOPE = 12
"""Slope of a filter where only its corner is written [dB/oct]."""

# Sabine: absorption area [m2] = 24 ln 10 V / (c T), at 20 C.
SABINE = 0.163

Output = Literal["bridge", "common-ground"]

NO_GAIN = Quantity.of(0.0, "level")


def resolve_vehicle(
    vehicle: Vehicle, filler: Filler, *, reach: Mapping[str, float]
) -> VehicleState:
    """Return the vehicle and the air in it.

    Args: reach: how long, wide and high [m] a cabin must be to hold every place and seat.
    """
    body = vehicle.class_ or "other"
    volume = filler.value(
        "vehicle.cabin_volume", vehicle.cabin_volume, typical("cabin", body, "cabin_volume")
    )
    battery, system = vehicle.battery, vehicle.system or USUAL_SYSTEM
    top = _top(vehicle, filler)
    return VehicleState(
        name=vehicle.name or "",
        vehicle_class=body,
        cabin_volume=volume,
        cabin_length=_edge(filler, vehicle.cabin_length, body, "cabin_length", reach),
        cabin_width=_edge(filler, vehicle.cabin_width, body, "cabin_width", reach),
        cabin_height=_edge(filler, vehicle.cabin_height, body, "cabin_height", reach),
        cabin_fill=_cabin(filler, "cabin_fill"),
        damping=filler.filled("vehicle.damping", typical("cabin", body, "damping")),
        likeness=_likeness(filler),
        leak_resistance=_cabin(filler, "leak_resistance"),
        leak_mass=_cabin(filler, "leak_mass"),
        openings=() if top == "down" else tuple(_openings(vehicle, top, filler)),
        top=top,
        images=_cabin(filler, "images") if top == "down" else None,
        absorption_area=filler.filled(
            "vehicle.absorption_area", _absorption(volume.si, _open_area(vehicle, top))
        ),
        temperature=filler.value(
            "vehicle.temperature", vehicle.temperature, typical("cabin", ANY, "temperature")
        ),
        curtain=vehicle.restraints.curtain,
        door_sensor=vehicle.restraints.door_sensor,
        battery=BatteryState(
            capacity=filler.optional("vehicle.battery.capacity", battery.capacity),
            health=filler.optional("vehicle.battery.health", battery.health),
            rest_voltage=filler.optional("vehicle.battery.rest_voltage", battery.rest_voltage),
        ),
        system=system,
        ground=vehicle.ground or "negative",
        rest_voltage=_rest_voltage(battery.rest_voltage, system, filler),
    )


def _rest_voltage(given: Quantity | None, system: str, filler: Filler) -> Value:
    path, row = "vehicle.battery.rest_voltage", typical("system", system, "rest_voltage")
    if given is not None:
        return filler.given(path, given)
    return Value(path, row.quantity, Origin.TYPICAL, row.source)


def _cabin(filler: Filler, name: str) -> Value:
    return filler.filled(f"vehicle.{name}", typical("cabin", ANY, name))


def _likeness(filler: Filler) -> tuple[Value, Value, Value]:
    """Return how long each edge sounds over how long it is."""
    row = typical("cabin", ANY, "likeness")
    length, width, height = (
        filler.filled(f"vehicle.likeness.{edge}", row) for edge in ("length", "width", "height")
    )
    return length, width, height


def _edge(
    filler: Filler, given: Quantity | None, body: str, name: str, reach: Mapping[str, float]
) -> Value:
    """Return an edge of the cabin: given, or typical and no shorter than what stands in it."""
    row = typical("cabin", body, name)
    if reach[name] > row.quantity.value:
        factor = reach[name] / row.quantity.value
        row = scaled(row, factor, source="assumed, so that every place is inside")
    return filler.value(f"vehicle.{name}", given, row)


def _top(vehicle: Vehicle, filler: Filler) -> Literal["fixed", "up", "down"]:
    """Return what is over the heads: of a convertible a top, up unless the job says down."""
    if vehicle.top is None and vehicle.class_ != "convertible":
        return "fixed"
    filler.word("vehicle.top", vehicle.top, "up", "assumed: no top is written")
    return vehicle.top or "up"


def _openings(vehicle: Vehicle, top: str, filler: Filler) -> Iterator[OpeningState]:
    """Yield the ways out of a cabin besides its leaks; a window nobody wrote of is closed."""
    if vehicle.windows == "open" or vehicle.window_area is not None:
        path, row = "vehicle.window_area", typical("cabin", ANY, "window_area")
        area = filler.value(path, vehicle.window_area, row)
        yield OpeningState(area=area, mass=None, q=_cabin(filler, "window_q"))
    elif vehicle.windows is None:
        filler.word("vehicle.windows", None, "closed", "assumed: no window is written")
    if top == "up":
        mass = _cabin(filler, "top_mass")
        yield OpeningState(area=None, mass=mass, q=_cabin(filler, "top_q"))


def _open_area(vehicle: Vehicle, top: str) -> float:
    """Return how much of the cabin's walls is open air, which takes all sound [m2]."""
    body = vehicle.class_ or "other"
    if top == "down":
        edges = (
            given.value if given is not None else typical("cabin", body, name).quantity.value
            for name, given in (
                ("cabin_length", vehicle.cabin_length),
                ("cabin_width", vehicle.cabin_width),
            )
        )
        return prod(edges)
    if vehicle.window_area is not None:
        return vehicle.window_area.value
    usual = typical("cabin", ANY, "window_area").quantity.value
    return usual if vehicle.windows == "open" else 0.0


def _absorption(volume: float, open_area: float) -> Typical:
    """Return the absorption of a cabin of this volume [m3], from a typical reverberation time.

    What is open takes as much as its area (W. C. Sabine's open window); open_area [m2].
    """
    row = typical("cabin", ANY, "reverberation_time")
    time = row.quantity
    assert time.low is not None
    assert time.high is not None
    # The longer it rings the less is absorbed, so the ends change places.
    middle, low, high = (SABINE * volume / t + open_area for t in (time.value, time.high, time.low))
    return Typical(Quantity.of(middle, "area", "m2", low=low, high=high), row.source)


def resolve_seats(job: Document, filler: Filler) -> tuple[SeatState, ...]:
    """Return the seats."""
    return tuple(
        SeatState(seat.id, resolve_place(f"{seat.id}.ear", seat.ear, filler)) for seat in job.seats
    )


def resolve_converter(job: Document, filler: Filler) -> ConverterState | None:
    """Return what stands between supply and radio; None where the job has none of its fields."""
    found = job.converter
    if found.kind == "none" or not found.model_fields_set:
        return None
    values = filler.values(
        "converter",
        {
            name: getattr(found, name)
            for name in ("output", "rated_current", "efficiency", "idle_current")
        },
        {
            name: typical("converter", ANY, name)
            for name in ("output", "rated_current", "efficiency", "idle_current")
        },
    )
    return ConverterState(
        name=found.name or "converter",
        kind=found.kind or "step-down",
        rated=found.rated_current is not None,
        besides=filler.filled("head_unit.besides", typical("head_unit", ANY, "besides"))
        if job.head_unit.quiescent_current is None
        else None,
        **values,
    )


def resolve_head_unit(
    unit: HeadUnit,
    vehicle: VehicleState,
    converter: ConverterState | None,
    filler: Filler,
    *,
    year: int | None,
) -> HeadUnitState:
    """Return the radio; what feeds it follows from the vehicle or the converter before it.

    Args: year: of the radio, None where it may be of any.
    """
    minimum = _unit(filler, "minimum_load", unit.minimum_load)
    two_ohm = unit.minimum_load is not None and minimum.si < LEAST_FOR_FOUR_OHM_CHIPS
    thermal = unit.thermal
    usual: Output = "bridge" if of_year("bridge-usual", year) else "common-ground"
    if unit.output is None:
        source = "usual: workshop experience, from memory"
        if usual != "bridge":
            of = f"the era {unit.era}" if unit.era else f"a radio of {year}"
            source = f"usual of {of}: workshop experience, from memory"
        filler.record("head_unit.output", usual, Origin.TYPICAL, source)
    return HeadUnitState(
        name=unit.name,
        output=unit.output or usual,
        system=unit.system or USUAL_SYSTEM,
        ground=unit.ground or "negative",
        supply=_radio_supply(unit.supply, vehicle, converter, filler),
        feed_resistance=_unit(
            filler,
            "feed_resistance",
            unit.feed_resistance,
            key=ANY if converter is None else "converter",
        ),
        output_resistance=_unit(filler, "output_resistance", unit.output_resistance),
        clip_loss=_unit(filler, "clip_loss", unit.clip_loss),
        peak_current=_unit(
            filler, "peak_current", unit.peak_current, key="2 ohm" if two_ohm else ANY
        ),
        minimum_load=minimum,
        rated=unit.minimum_load is not None,
        advertised_power=filler.optional("head_unit.advertised_power", unit.advertised_power),
        quiescent_current=_unit(filler, "quiescent_current", unit.quiescent_current),
        junction_to_dash=_thermal(filler, "junction_to_dash", thermal.junction_to_dash),
        dash=_thermal(filler, "dash", thermal.dash),
        limit=_thermal(filler, "limit", thermal.limit),
        sleep_current=filler.optional("head_unit.sleep_current", unit.sleep_current),
    )


def _radio_supply(
    given: Quantity | None,
    vehicle: VehicleState,
    converter: ConverterState | None,
    filler: Filler,
) -> Value:
    """Return the volts at the radio plug: read there, else the converter's, else the vehicle's."""
    path = "head_unit.supply"
    if given is None and converter is not None:
        output = converter.output
        filler.record(path, plain_text(output.quantity), output.origin, "what the converter gives")
        return output
    own = typical_or_none("head_unit", vehicle.system, "supply")
    return filler.value(path, given, own or typical("head_unit", ANY, "supply"))


def _unit(filler: Filler, name: str, given: Quantity | None, *, key: str = ANY) -> Value:
    return filler.value(f"head_unit.{name}", given, typical("head_unit", key, name))


def _thermal(filler: Filler, name: str, given: Quantity | None) -> Value:
    return filler.value(f"head_unit.thermal.{name}", given, typical("head_unit", ANY, name))


def resolve_amplifier(unit: Amplifier, filler: Filler) -> AmplifierState:
    """Return an amplifier."""
    switching = unit.class_ == "D"
    if unit.class_ is None:
        filler.record(f"{unit.id}.class", "AB", Origin.ASSUMED, "assumed: the warmer")

    def value(name: str, given: Quantity | None, key: str = ANY) -> Value:
        return filler.value(f"{unit.id}.{name}", given, typical("amplifier", key, name))

    clean = (
        value("clean_power", unit.clean_power)
        if unit.clean_volts is None
        else filler.given(f"{unit.id}.clean_volts", unit.clean_volts)
    )
    return AmplifierState(
        id=unit.id,
        name=unit.name or unit.id,
        switching=switching,
        clean=clean,
        clean_load=value("clean_load", unit.clean_load),
        clip_loss=value("clip_loss", None),
        output_resistance=value("output_resistance", None),
        minimum_load=value("minimum_load", unit.minimum_load),
        rated=unit.minimum_load is not None,
        inputs=unit.inputs,
        feed=unit.feed,
        fuse=filler.optional(f"{unit.id}.fuse", unit.fuse),
        feed_resistance=value("feed_resistance", unit.feed_resistance),
        quiescent_current=value("quiescent_current", unit.quiescent_current),
        efficiency=value("efficiency", unit.efficiency, "D" if switching else "AB"),
    )


def resolve_channel(
    channel: Channel,
    load: Load,
    job: Document,
    locations: Mapping[str, LocationState],
    filler: Filler,
) -> ChannelState:
    """Return a channel with its load as a tree and its parts as values."""
    return ChannelState(
        id=channel.id,
        load=channel.load,
        tree=load.tree,
        polarity=tuple((name, -1 if name in load.reversed else +1) for name in load.locations),
        parts=_parts(channel.id, load, filler),
        cable=_cable(channel, _side(load, locations), filler),
        settings=_settings(channel, filler),
        driven_by=channel.amplifier,
        input=_input(channel, job, filler),
        return_by=channel.return_by,
    )


def _settings(channel: Channel, filler: Filler) -> SettingsState:
    high, low = (_filter(channel, side, filler) for side in ("high_pass", "low_pass"))
    return SettingsState(_gain(channel, filler), high, low)


def _input(channel: Channel, job: Document, filler: Filler) -> InputState | None:
    """Return what feeds a channel of an amplifier, None for one of the radio."""
    if channel.amplifier is None:
        return None
    unit = next(each for each in job.amplifiers if each.id == channel.amplifier)
    feeding = next((each for each in job.channels if each.id == channel.input), None)
    key = "line" if feeding is None else "speaker"
    return InputState(
        channel=None if feeding is None else feeding.id,
        settings=None if feeding is None else _settings(feeding, filler),
        # Of a radio whose line outputs nothing hears, nobody asks their volts.
        line_volts=_unit(filler, "line_volts", job.head_unit.line_volts) if not feeding else None,
        gain=_signed(filler, f"{unit.id}.gain", unit.gain, typical("amplifier", key, "gain")),
    )


def _signed(filler: Filler, path: str, given: Quantity | None, row: Typical) -> Value:
    """Return a level, given or typical."""
    if given is not None:
        return filler.given(path, given, signed=True)
    return replace(filler.filled(path, row), signed=True)


def resolve_unknown(channel: Channel, filler: Filler) -> UnknownChannelState:
    """Return a channel of which nobody knows what it drives."""
    return UnknownChannelState(
        id=channel.id,
        cable=_cable(channel, "front", filler),
        driven_by=channel.amplifier,
        return_by=channel.return_by,
    )


def resolve_unused(channel: Channel, filler: Filler) -> UnusedChannelState:
    """Return an output that drives nothing."""
    given, path = channel.cable, f"{channel.id}.cable"
    cable = CableState(
        filler.optional(f"{path}.length", given.length),
        filler.optional(f"{path}.size", given.size),
        filler.optional(f"{path}.resistance", given.resistance),
    )
    return UnusedChannelState(id=channel.id, cable=cable)


def _gain(channel: Channel, filler: Filler) -> Value:
    path = f"{channel.id}.gain"
    if channel.gain is None:
        return Value(path, NO_GAIN, Origin.ASSUMED, "assumed: none is written", signed=True)
    return filler.given(path, channel.gain, signed=True)


def _filter(channel: Channel, side: str, filler: Filler) -> FilterState | None:
    """Return a channel's `high_pass` or `low_pass`, None where it is off."""
    corner: Quantity | None = getattr(channel, side)
    if corner is None:
        return None
    value, kind = filler.given(f"{channel.id}.{side}", corner), getattr(channel, f"{side}_kind")
    written: str | None = getattr(channel, f"{side}_slope")
    if written is None:
        path = f"{channel.id}.{side}_slope"
        filler.record(path, f"{USUAL_SLOPE} dB/oct", Origin.ASSUMED, "assumed: the usual one")
    slope = USUAL_SLOPE if written is None else int(written.split()[0])
    return FilterState(value, slope, kind or "butterworth")


def _side(load: Load, locations: Mapping[str, LocationState]) -> str:
    """Return "front" or "rear": which side of the cabin's middle the first driver sits."""
    first = next((locations[name] for name in load.locations), None)
    return "rear" if first is not None and first.at[0].si < 0.0 else "front"


def _cable(channel: Channel, side: str, filler: Filler) -> CableState:
    """Return the cable of a channel: its resistance where measured, else its length and size."""
    cable, path = channel.cable, f"{channel.id}.cable"
    if cable.resistance is not None:
        return CableState(None, None, filler.given(f"{path}.resistance", cable.resistance))
    return CableState(
        filler.value(f"{path}.length", cable.length, typical("cable", side, "length")),
        filler.value(f"{path}.size", cable.size, typical("cable", ANY, "size")),
        None,
    )


def _parts(channel: str, load: Load, filler: Filler) -> tuple[PartState, ...]:
    """Return the parts of a load; their paths count each kind: `front-left.load.capacitor.1`."""
    counts: dict[str, int] = {}
    parts = []
    for key, part in load.parts.items():
        kind = part.kind if isinstance(part, ValuePart) else "wire"
        counts[kind] = counts.get(kind, 0) + 1
        parts.append(_part(key, part, f"{channel}.load.{kind}.{counts[kind]}", filler))
    return tuple(parts)


def _part(key: str, part: ValuePart | WirePart, path: str, filler: Filler) -> PartState:
    if isinstance(part, ValuePart):
        rated = None if part.rating is None else part.rating.value
        return PartState(key, part.kind, filler.given(path, part.value), None, rated)
    length = filler.given(f"{path}.length", part.length)
    return PartState(
        key, "wire", None, CableState(length, filler.given(f"{path}.size", part.size), None)
    )


def resolve_feed(feed: Feed, filler: Filler) -> FeedState:
    """Return a supply cable."""
    metal, route = feed.metal or _usual_metal(feed.to), feed.route or "bundled"
    if feed.return_by is None:
        source = "assumed: through the body, as most are"
        filler.record(f"{feed.id}.return_by", "chassis", Origin.ASSUMED, source)
    if feed.route is None:
        source = "assumed: in a loom, conduit or under carpet"
        filler.record(f"{feed.id}.route", route, Origin.ASSUMED, source)
    return FeedState(
        id=feed.id,
        to=feed.to,
        current=filler.optional(f"{feed.id}.current", feed.current),
        fuse=filler.optional(f"{feed.id}.fuse", feed.fuse),
        fuse_distance=filler.optional(f"{feed.id}.fuse_distance", feed.fuse_distance),
        length=filler.optional(f"{feed.id}.length", feed.length),
        size=filler.optional(f"{feed.id}.size", feed.size),
        metal=metal,
        metal_origin=filler.word(
            f"{feed.id}.metal",
            feed.metal,
            metal.replace("-", " "),
            "assumed: a vehicle's own feed is copper, a bought kit the worse until looked at",
        ),
        route=route,
        ambient=filler.value(f"{feed.id}.ambient", feed.ambient, typical("feed", route, "ambient")),
        insulation=filler.value(
            f"{feed.id}.insulation", feed.insulation, typical("feed", ANY, "insulation")
        ),
        return_by=feed.return_by or "chassis",
    )


def _usual_metal(to: str) -> Literal["copper", "clad-aluminium"]:
    return "copper" if to in ("radio", "converter") else "clad-aluminium"
