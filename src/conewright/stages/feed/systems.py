"""Which supply a radio hangs on, and the converter before it: part of what stage feed answers.

A radio is made for one supply and one pole on its case. What stands between is rated like a fuse:
the most it gives for good is the limit of the radio's power.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conewright.job.builds.typical import typical
from conewright.job.document.parts import nominal_volts
from conewright.physics.electrics.converter import input_current
from conewright.stages.common.load import EASY, HARD, besides
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ConverterState
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.common.load import RadioLoad
    from conewright.stages.report.assembly import Answer

__all__ = ["converter_figures", "converter_working", "drawn_input", "system_verdicts"]

CONVERTER = "converter"
TEXT_NO_RATING = "taken: nobody has written down what it gives for good"


def drawn_input(load: RadioLoad, current: FloatArray) -> FloatArray:
    """Current that the converter takes from the battery, engine off, for one of the chip [A].

    The rest of the radio comes on top; it gives no more than its rated current all the same.
    """
    converter = load.build.converter
    assert converter is not None
    return input_current(
        output_voltage=load.supply,
        output_current=np.minimum(
            current + besides(load.build, load.draws), load.draws(converter.rated_current)
        ),
        efficiency=load.draws(converter.efficiency),
        input_voltage=load.draws(load.build.vehicle.rest_voltage),
    )


def converter_figures(answer: Answer, load: RadioLoad) -> None:
    """Add what a converter gives, what it is asked for, and what it takes from the battery."""
    converter = load.build.converter
    if converter is None:
        return
    music, hard, sine = _asked(load)
    rated, own = load.draws(converter.rated_current), besides(load.build, load.draws)
    for name, values, unit, label in (
        ("output", load.supply, "V", "at its output, the radio on"),
        ("rated_current", rated, "A", "the most it gives for good"),
        ("music_current", music + own, "A", "asked of it in the mean, loud music"),
        ("hard_current", hard + own, "A", "asked of it in the mean, pressed hard"),
        ("sine_current", sine + own, "A", "asked of it by a full sine on all channels"),
        ("share", (music + own) / rated, "", "loud music over what it gives for good"),
        ("input_current", drawn_input(load, music), "A", "taken from the battery, loud music"),
        ("input_current_most", drawn_input(load, sine), "A", "taken from the battery at most"),
    ):
        answer.figure(
            CONVERTER,
            name,
            values,
            unit=unit,
            label=label,
            origin=converter.rated_current.origin if name == "rated_current" else None,
            text=TEXT_NO_RATING if name == "rated_current" and not converter.rated else None,
        )


def converter_working(answer: Answer, load: RadioLoad) -> None:
    """Add how the current on the battery's side follows."""
    converter = load.build.converter
    if converter is None:
        return
    music = answer.value(f"{CONVERTER}.music_current")
    taken = answer.value(f"{CONVERTER}.input_current")
    answer.work(
        f"{CONVERTER}.input_current",
        "Ubattery Ibattery = Uout Iout / eta",
        f"Uout {number(load.build.head_unit.supply.si, 'V')}, Iout {number(music, 'A')}, "
        f"eta {number(converter.efficiency.si)}, "
        f"Ubattery {number(load.build.vehicle.rest_voltage.si, 'V')}: {number(taken, 'A')}",
        "balance of power",
        "converter.output",
        "converter.efficiency",
        "converter.rated_current",
    )


def system_verdicts(answer: Answer, load: RadioLoad) -> None:
    """Say whether the radio may hang on this supply, and whether the converter bears it."""
    for verdict in (*_supply(load), *_ground(load.build), *_amplifiers(load)):
        answer.verdict(verdict.subject, verdict.name, Severity.STOP, verdict.text)
    converter = load.build.converter
    if converter is not None:
        _overload(answer, load, converter)
        if converter.kind != "step-down":
            _taken(answer, load.build)


# --- Underneath ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Stop:
    """A reason not to join something to this supply."""

    subject: str
    name: str
    text: str


def _asked(load: RadioLoad) -> tuple[FloatArray, FloatArray, FloatArray]:
    return load.supply_current(EASY), load.supply_current(HARD), load.sine_supply_current


def _supply(load: RadioLoad) -> Iterator[_Stop]:
    """Yield why the volts are not those that the radio is made for."""
    build = load.build
    radio, vehicle = build.head_unit, build.vehicle
    least, most = _range(radio.system)
    volts = radio.supply.si
    if build.converter is None and vehicle.system != radio.system:
        yield _Stop("head_unit", "supply", _wrong_system(load))
    elif not least <= volts <= most:
        text = (
            f"A supply of {number(volts, 'V')} is outside what a {radio.system} radio is made for "
            f"({number(least)} to {number(most, 'V')}): {_advice(build, high=volts > most)}."
        )
        yield _Stop("head_unit", "supply", text)


def _range(system: str) -> tuple[float, float]:
    found = typical("system", system, "radio_volts").quantity
    assert found.low is not None
    assert found.high is not None
    return found.low, found.high


def _advice(build: Build, *, high: bool) -> str:
    if build.converter is not None:
        return "read the converter's output, without the radio first"
    if high:
        return (
            f"it burns. Where the vehicle has more than {build.head_unit.system}, say so "
            "(vehicle.system): a converter comes between, whose current limit is the limit of the "
            "radio's power"
        )
    return "look at battery, generator and feed first, and at what system the vehicle has"


def _wrong_system(load: RadioLoad) -> str:
    """Say what a radio on another supply than its own comes to, and what would do."""
    build = load.build
    radio, system = build.head_unit.system, build.vehicle.system
    # Whatever was read at the plug: what a radio of its system asks for.
    usual = typical("system", radio, "charging_voltage").quantity.value
    sine = float(load.sine_supply_current[0, 0]) * usual / build.head_unit.supply.si
    said = f"The vehicle has {system} and the radio is made for {radio}"
    if nominal_volts(system) > nominal_volts(radio):
        return (
            f"{said}: joined without a converter it is destroyed at once and may burn. Feed it "
            f"through a step-down converter that gives {number(sine, 'A')} for good at "
            f"{radio}, and never from one of two batteries in series: that one is drained while "
            "the other is overcharged."
        )
    taken = nominal_volts(radio) * sine / (nominal_volts(system) * STEP_UP_EFFICIENCY)
    return (
        f"{said}: it does not play on that. What would do: a radio made for {system}; or a "
        f"step-up or isolated converter, which would take up to {number(taken, 'A')} from a "
        f"{system} generator for a full tone, where many give less in all; or a {radio} battery of "
        "its own, charged outside of the vehicle."
    )


STEP_UP_EFFICIENCY = 0.8
"""Of a converter that gives more volts than it takes; workshop experience, from memory."""


def _ground(build: Build) -> Iterator[_Stop]:
    """Yield why a radio's case may not touch the body."""
    radio, vehicle = build.head_unit, build.vehicle
    parted = build.converter is not None and build.converter.kind == "isolated"
    if radio.ground in ("either", vehicle.ground) or parted:
        return
    text = (
        f"The body of this vehicle is battery {POLES[vehicle.ground]}, and the radio's case, its "
        f"ground wire and the shield of its aerial are {POLES[radio.ground]}: wherever one of them "
        "touches the body the battery is shorted through it, and the radio burns if it is joined "
        f"the wrong way round. What would do: a radio made for {vehicle.ground} earth; an isolated "
        "converter before it (converter.kind); or the whole vehicle changed over by somebody who "
        "knows its generator, instruments and ignition."
    )
    yield _Stop("head_unit", "ground", text)


POLES = {"negative": "minus", "positive": "plus"}


def _amplifiers(load: RadioLoad) -> Iterator[_Stop]:
    """Yield the added amplifiers that are fed with what no amplifier for vehicles is made for."""
    build = load.build
    if build.vehicle.system == "12 V":
        return
    for cable in build.feeds:
        if cable.to != "amplifier":
            continue
        said = (
            f"{cable.id}: amplifiers for vehicles are made for 12 V, and this vehicle has "
            f"{build.vehicle.system}"
        )
        converter = build.converter
        if converter is None:
            yield _Stop(
                cable.id, "system", f"{said}: none is joined without a converter for its current."
            )
        elif cable.current is None or cable.current.si > converter.rated_current.si:
            asks = (
                "nobody has added up its fuses"
                if cable.current is None
                else f"its fuses add up to {number(cable.current.si, 'A')}"
            )
            text = (
                f"{said}; the converter gives {number(converter.rated_current.si, 'A')} for good, "
                f"and {asks}: it wants a converter of its own."
            )
            yield _Stop(cable.id, "system", text)


def _overload(answer: Answer, load: RadioLoad, converter: ConverterState) -> None:
    """Say whether a converter bears what the radio asks of it."""
    names = ("music_current", "hard_current", "sine_current", "rated_current")
    music, hard, sine, rated = (answer.value(f"{CONVERTER}.{name}") for name in names)
    asks = (
        f"loud music asks for {number(music, 'A')} in the mean, pressed hard for "
        f"{number(hard, 'A')}, a full tone on all channels for {number(sine, 'A')}"
    )
    gives = f"The {converter.name} gives {number(rated, 'A')} for good"
    if not converter.rated:
        gives = f"What the {converter.name} gives for good is not written; {number(rated, 'A')}"
        gives += " is taken: read it, and not its peak"
    if music > rated:
        severity, end = Severity.STOP, "it is overloaded all the time, gets hot and cuts out"
    elif hard > rated:
        severity, end = (
            Severity.WARN,
            f"it folds back or cuts out when it is loud. {_limited(load)}",
        )
    elif sine > rated:
        severity, end = Severity.NOTE, f"music it bears, a steady tone not. {_limited(load)}"
    else:
        severity = Severity.GOOD if converter.rated else Severity.NOTE
        end = "it bears that"
    if severity.rank >= Severity.WARN.rank:
        end += f" What would do: one that gives {number(_next_rating(sine), 'A')} for good"
    text = f"{gives}; {asks}: {end.rstrip('.')}."
    ids = (f"{CONVERTER}.{name}" for name in names)
    answer.verdict(CONVERTER, "overload", severity, text, *ids)


def _taken(answer: Answer, build: Build) -> None:
    """Say what a converter that gives more volts than it takes asks of battery and generator."""
    names = ("input_current", "input_current_most")
    music, most = (answer.value(f"{CONVERTER}.{name}") for name in names)
    text = (
        f"The converter takes {number(music, 'A')} from the {build.vehicle.system} battery with "
        f"loud music and up to {number(most, 'A')}: what the generator gives beyond lamps and "
        "ignition has to be more than that, else the battery goes flat while driving."
    )
    ids = (f"{CONVERTER}.{name}" for name in names)
    answer.verdict(CONVERTER, "input", Severity.NOTE, text, *ids)


def _limited(load: RadioLoad) -> str:
    """Say what the converter leaves of the radio's power, where anything plays."""
    if not load.live:
        return ""
    name = min(load.live, key=lambda each: float(load.clean_powers.together[each][0, 0]))
    with_it = float(load.clean_powers.together[name][0, 0])
    without = float(load.clean_powers.fed[name][0, 0])
    return (
        f"Its limit is that of the radio's power: {number(with_it, 'W')} clean on {name} with all "
        f"channels at once, where the radio itself would give {number(without, 'W')}."
    )


RATINGS = (3.0, 5.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0, 40.0)
"""What converters are sold for, at their output [A]; common practice, no source."""


def _next_rating(current: float) -> float:
    return next((each for each in RATINGS if each >= current), np.ceil(current / 10.0) * 10.0)
