"""Direct current through the drivers as they are wired: a cell's pulse, an output's offset."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

from conewright.job.builds.draws import Draws, draw
from conewright.job.builds.standing import capacitors_before
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.builds.states.location import LocationState
from conewright.phrases import listed
from conewright.physics.basics.arrays import Complex
from conewright.physics.electrics.wiring import Leaf, Series, solve_tree
from conewright.stages.common.circuit import cable_resistance, part_resistance
from conewright.stages.find.faults.chains import behind_capacitor
from conewright.stages.find.instruments.cell import (
    Feed,
    OffsetEffect,
    PulseExpectation,
    coil_resistance,
    forbidden,
    offset_effect,
    pulse_expectation,
    pulse_sources,
)
from conewright.stages.find.odds.evidence import Question
from conewright.stages.find.talk.inquiry import Inquiry, Taken
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import ReadingCard, Severity
from conewright.stages.report.words import number

__all__ = ["feed_at", "offset_verdicts", "pulse_figures", "with_pulse"]

PULSE, OFFSET = "cell-pulse", "pair-offset"
CELL, RESISTOR = "cell", "battery-resistor"

HARMLESS_OFFSET = 0.05
"""Direct voltage that a sound output may have [V]; workshop experience, from memory."""

STOPPING_OFFSET = 0.1
"""From this on no loudspeaker is connected [V]; workshop experience, from memory."""

CONNECT_NONE = " Connect no loudspeaker there until its cause is found."

MICROPHONE = "; which way it goes is for a microphone, not for the eye"

SOURCE = "source"


def feed_at(
    place: LocationState, channel: ChannelState, build: Build, *, emf: float, resistance: float
) -> Feed:
    """Return what a driver sees of a source at the radio's plug, its neighbours in between.

    Args:
        place: where the driver is.
        channel: that it hangs on.
        build: the vehicle.
        emf: of the source [V].
        resistance: of the source [ohm].

    Equation: Thevenin's source, from the voltage at the driver with its coil and without it.
    Capacitors before the driver are handed on; any other passes nothing.

    """
    tree = Series((Leaf(SOURCE), channel.tree))
    parts = _resistances(channel, build) | {SOURCE: resistance + _cable(channel, build)}
    before = capacitors_before(place.id, channel)
    parts |= {part.key: 0.0 for part in before}
    coil = coil_resistance(place.driver)
    with_coil, without = (
        float(solve_tree(tree=tree, impedances=values, voltage=emf).voltages[place.id].real)
        for values in (parts | {place.id: coil}, parts | {place.id: inf})
    )
    sizes = [part.value.si for part in before if part.value is not None]
    capacitance = 1.0 / sum(1.0 / size for size in sizes) if sizes else inf
    return Feed(without, coil * (without / with_coil - 1.0), capacitance)


def _cable(channel: ChannelState, build: Build) -> float:
    temperature = build.vehicle.temperature.si
    return float(cable_resistance(channel.cable, _draws(build), temperature=temperature)[0, 0])


def _draws(build: Build) -> Draws:
    """Only the central row of them is used."""
    return draw(build.axes, samples=1)


def _resistances(channel: ChannelState, build: Build) -> dict[str, Complex]:
    """Direct-current resistance of every driver and part of a load [ohm], central values."""
    draws, temperature = _draws(build), build.vehicle.temperature.si
    found: dict[str, Complex] = {
        name: coil_resistance(build.location(name).driver) for name, _ in channel.polarity
    }
    for part in channel.parts:
        ohm = part_resistance(part, draws, temperature=temperature)
        found[part.key] = complex(float(ohm if isinstance(ohm, float) else ohm[0, 0]))
    return found


# --- A pulse from a cell ----------------------------------------------------------------------


def pulse_figures(answer: Answer, inquiry: Inquiry, question: Question) -> None:
    """Add what a sound driver does on the cell that a reading asks for, if it asks for one."""
    if question.test != PULSE:
        return
    place = answer.build.location(question.subject)
    cell = _on(place, inquiry, CELL)
    for name, value, unit, label in (
        ("cell_travel", 1e3 * cell.peak, "mm", "travel of the cone on one 1.5 V cell"),
        ("cell_over_limit", cell.over_xmax, "", "that travel over the cone's limit"),
        ("cell_power", cell.power, "W", "power in the coil on one 1.5 V cell"),
        ("cell_heating", cell.heating, "K/s", "how fast the cold coil warms on it"),
    ):
        answer.figure(place.id, name, value, unit=unit, label=label)


def with_pulse(answer: Answer, inquiry: Inquiry, card: ReadingCard) -> ReadingCard:
    """Add to a card of a pulse, and to the answer, what a sound driver does on this vehicle."""
    if card.test != PULSE:
        return card
    place = answer.build.location(card.subject)
    pulse = _Pulse(place, {name: _on(place, inquiry, name) for name in pulse_sources()})
    answer.verdict(
        place.id,
        PULSE,
        Severity.NOTE,
        " ".join([f"One 1.5 V cell does {place.id} no harm: {pulse.told}.", *pulse.cautions]),
        *(f"{place.id}.{name}" for name in ("cell_travel", "cell_power", "cell_heating")),
    )
    cautions = (*card.cautions, *pulse.cautions)
    return card.model_copy(update={"healthy": pulse.told, "cautions": cautions})


def _on(place: LocationState, inquiry: Inquiry, battery: str) -> PulseExpectation:
    """What a sound driver does on a battery at the radio's plug."""
    channel, source = _channel(inquiry, place.id), pulse_sources()[battery]
    assert channel is not None
    build = inquiry.case.build
    feed = feed_at(place, channel, build, emf=source.emf, resistance=source.resistance)
    return pulse_expectation(place.driver, feed)


@dataclass(frozen=True, slots=True)
class _Pulse:
    """What each of the usual batteries at the radio's plug does to a sound driver."""

    place: LocationState
    found: Mapping[str, PulseExpectation]

    @property
    def cell(self) -> PulseExpectation:
        return self.found[CELL]

    @property
    def told(self) -> str:
        """What is seen, and what it costs the coil."""
        stronger = _rough(1e3 * self.found[RESISTOR].peak, "mm")
        heat = f"{_rough(self.cell.power, 'W')} in its coil"
        if self.cell.blocked:
            return f"{self.cell.seen}{MICROPHONE}; {heat} at first"
        warmed = f"which warms by {_rough(self.cell.heating, 'K')} each second"
        return f"{self.cell.seen} ({stronger} on 9 V through 10 ohm); {heat}, {warmed}"

    @property
    def cautions(self) -> tuple[str, ...]:
        titles = {name: source.title for name, source in pulse_sources().items()}
        refused = {name: forbidden(self.place.driver, each) for name, each in self.found.items()}
        told = ((titles[name], why) for name, why in refused.items() if why)
        return tuple(f"No {title} on {self.place.id}: {why}." for title, why in told)


def _rough(value: float, unit: str) -> str:
    """A number with two digits or so: nobody knows a battery or a suspension any better."""
    return number(value, unit, spread=0.3 * abs(value))


# --- An offset that stays on ------------------------------------------------------------------


def offset_verdicts(answer: Answer, inquiry: Inquiry) -> None:
    """Say of every offset that was read what it does to the drivers of its channel."""
    for reading in inquiry.taken:
        effects = _effects(answer.build, inquiry, reading)
        for place, effect in effects.items():
            _offset_figures(answer, place, effect)
        if not effects or reading.read is None or abs(reading.read.value) <= HARMLESS_OFFSET:
            continue
        channel = reading.question.subject
        stops = abs(reading.read.value) > STOPPING_OFFSET
        answer.verdict(
            channel,
            "offset",
            Severity.WARN if stops else Severity.NOTE,
            f"{reading.said} between the legs of {channel} without a signal would drive "
            f"{listed([_offset_words(place, effect) for place, effect in effects.items()])}."
            f"{CONNECT_NONE if stops else ''}",
            *(f"{place}.offset_power" for place in effects),
        )


def _offset_figures(answer: Answer, place: str, effect: OffsetEffect) -> None:
    for name, value, unit, label in (
        ("offset_current", effect.current, "A", "current through the coil"),
        ("offset_power", effect.power, "W", "heat in the coil"),
        ("offset_travel", 1e3 * effect.excursion, "mm", "travel of the cone from rest"),
        ("offset_rise", effect.rise, "K", "warming of the coil in the long run, at most"),
    ):
        answer.figure(place, name, value, unit=unit, label=f"{label} with the offset that was read")


def _offset_words(place: str, effect: OffsetEffect) -> str:
    limit = number(effect.over_xmax, spread=0.3 * effect.over_xmax)
    return (
        f"{_rough(effect.current, 'A')} through {place} ({_rough(effect.power, 'W')} of heat, the "
        f"cone {_rough(1e3 * effect.excursion, 'mm')} or {limit} of its limit from rest, the coil "
        f"up to {_rough(effect.rise, 'K')} warmer)"
    )


def _effects(build: Build, inquiry: Inquiry, reading: Taken) -> dict[str, OffsetEffect]:
    """What an offset does to each driver that no capacitor keeps it off; none if none was read."""
    channel = (
        _channel(inquiry, reading.question.subject) if reading.question.test == OFFSET else None
    )
    if reading.read is None or channel is None:
        return {}
    # Read with the leads swapped it is negative, and the same offset.
    emf, resistance = abs(reading.read.value), build.head_unit.output_resistance.si
    return {
        place.id: offset_effect(
            place.driver, feed_at(place, channel, build, emf=emf, resistance=resistance)
        )
        for place in map(build.location, (name for name, _ in channel.polarity))
        if not behind_capacitor(place.id, channel)
    }


def _channel(inquiry: Inquiry, subject: str) -> ChannelState | None:
    """The channel that a place or itself belongs to."""
    return inquiry.case.chains[inquiry.case.chain_of(subject)].channel
