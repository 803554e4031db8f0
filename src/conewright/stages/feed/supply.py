"""Supply cables and their fuses, part of what stage feed answers.

No cable is planned without a fuse at its source end: the fuse protects the cable, so it sits where
the current comes from, whatever fuse there is in the radio or the amplifier.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from conewright.job.builds.states.value import Origin
from conewright.job.builds.typical import typical
from conewright.job.quantity.units import to_unit
from conewright.phrases import listed
from conewright.physics.electrics.conductor import COPPER_COEFFICIENT, REFERENCE_TEMPERATURE
from conewright.physics.electrics.fuse import TRIPPING_RATIO, fuses, next_fuse
from conewright.stages.common.load import CHASSIS_RESISTANCE, EASY
from conewright.stages.feed.run import (
    TRANSFER,
    Run,
    central,
    run_of,
    usual_air,
)
from conewright.stages.feed.systems import drawn_input
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.states.electrics import FeedState
    from conewright.job.builds.states.value import Value
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.common.load import RadioLoad
    from conewright.stages.report.assembly import Answer

__all__ = [
    "CELSIUS",
    "MUSIC_SHARE",
    "SupplyCable",
    "fuse_colour",
    "supply_cables",
    "supply_figures",
]

MUSIC_SHARE = 0.3
"""Mean current of loud music over the sum of an amplifier's fuses; common practice, no source."""

CELSIUS = 273.15
NOT_WRITTEN = "not written down"
NO_CURRENT = "the sum of the amplifier's own fuses is not written down"


@dataclass(frozen=True)
class SupplyCable:
    """A cable as it was written down; draws have one row each.

    Attributes:
        run: with its fuse; None where length, size or fuse is not written down.
        asked: most current it is asked for [A], None for an amplifier whose fuses nobody added up
            and that is not written down itself.
        music: mean current with loud music [A].

    """

    state: FeedState
    run: Run | None
    asked: FloatArray | None
    music: FloatArray | None

    @property
    def unknown(self) -> list[str]:
        """What its figures need and nobody wrote down."""
        cable = self.state
        wanted = {"fuse": cable.fuse, "length": cable.length, "size": cable.size}
        return [name for name, value in wanted.items() if value is None]


def supply_cables(load: RadioLoad) -> tuple[SupplyCable, ...]:
    """Return the supply cables of a build, each with what it is asked for."""
    return tuple(_supply_cable(cable, load) for cable in load.build.feeds)


def _supply_cable(cable: FeedState, load: RadioLoad) -> SupplyCable:
    run = run_of(cable, load.build, load.draws)
    given = None if cable.current is None else load.draws(cable.current)
    if cable.to == "radio":
        asked = load.sine_supply_current if given is None else given
        return SupplyCable(cable, run, asked, load.supply_current(EASY))
    if cable.to == "converter":
        asked, music = _to_converter(load)
        return SupplyCable(cable, run, asked if given is None else given, music)
    fed = [unit for unit in load.amplifiers.values() if unit.state.feed == cable.id]
    if fed:
        none = np.zeros((1, 1))
        asked = sum((unit.asked_current for unit in fed), none) if given is None else given
        music = sum((unit.supply_current(EASY) for unit in fed), none)
        return SupplyCable(cable, run, asked, music)
    return SupplyCable(cable, run, given, None if given is None else MUSIC_SHARE * given)


def _to_converter(load: RadioLoad) -> tuple[FloatArray, FloatArray]:
    """Current at most and with loud music on the battery's side of a converter [A]."""
    if load.build.converter is None:
        return load.sine_supply_current, load.supply_current(EASY)
    return (
        drawn_input(load, load.sine_supply_current),
        drawn_input(load, load.supply_current(EASY)),
    )


# --- Figures ------------------------------------------------------------------------------------


def supply_figures(answer: Answer, load: RadioLoad) -> None:
    """Add the figures of every cable with their working, and the fuse that the radio asks for."""
    for cable in supply_cables(load):
        _fuse_figures(answer, cable)
        _run_figures(answer, cable)
        if cable.run is not None:
            _working(answer, cable.state, cable.run)
    _radio_fuse(answer)


def _radio_fuse(answer: Answer) -> None:
    sine = answer["head_unit.supply_current_sine"]
    usual = typical("head_unit", answer.build.head_unit.output, "fuse").quantity.value
    least = max(answer.value(sine.id), usual)
    rating: float | None = None
    text = f"more than the largest of the table holds, {fuses()[-1].rating:g} A"
    if least <= fuses()[-1].rating:
        fuse = next_fuse(least=least)
        rating, text = fuse.rating, fuse.colour
    answer.figure(
        "head_unit",
        "fuse",
        rating,
        unit="A",
        label="smallest usual fuse of a radio that holds a full sine on all channels",
        origin=Origin.TYPICAL if least == usual else sine.origin,
        text=text or None,
    )


def _fuse_figures(answer: Answer, cable: SupplyCable) -> None:
    state = cable.state
    for name, value, unit, label in (
        ("fuse", state.fuse, "A", "fuse at the source end"),
        ("fuse_distance", state.fuse_distance, "mm", "along the cable to that fuse"),
    ):
        answer.figure(
            state.id,
            name,
            None if value is None else _in(unit, answer.draws(value)),
            unit=unit,
            label=label,
            origin=Origin.ASSUMED if value is None else value.origin,
            text=NOT_WRITTEN if value is None else (fuse_colour(value.si) if unit == "A" else None),
        )
    answer.figure(
        state.id,
        "asked_current",
        cable.asked,
        unit="A",
        label="asked for at most",
        origin=None if state.current is None else state.current.origin,
        text=NO_CURRENT if cable.asked is None else None,
    )


Solved = Callable[[Run, "FloatArray | None"], "FloatArray | None"]
"""A figure's draws [SI] from a cable and what loud music asks of it; None for no answer."""


@dataclass(frozen=True, slots=True)
class _Row:
    """A figure of a cable: from which fields it follows, and what it says where it has no answer.

    `at_most`: there is one more, with the most ohms that the standard allows. `usual`: constants of
    common practice go in as well.
    """

    name: str
    unit: str
    label: str
    solved: Solved
    fields: tuple[str, ...]
    at_most: bool = False
    usual: bool = True
    none: str = ""


ROWS = (
    _Row(
        "drop",
        "V",
        "drop in the cable at {rating}",
        lambda run, _: run.drop(run.fuse),
        ("length", "size", "fuse"),
        at_most=True,
        usual=False,
    ),
    _Row(
        "drop_music",
        "V",
        "drop in the cable with loud music",
        lambda run, music: None if music is None else run.drop(music),
        ("length", "size"),
        none=NO_CURRENT,
    ),
    _Row(
        "conductor_temperature",
        "degC",
        "conductor at {rating} for good, alone in air of {free}",
        lambda run, _: run.temperature(run.fuse, route="free"),
        ("size", "fuse"),
        at_most=True,
    ),
    _Row(
        "conductor_temperature_bundled",
        "degC",
        "conductor at {rating} for good, bundled in {bundled}",
        lambda run, _: run.temperature(run.fuse, route="bundled"),
        ("size", "fuse"),
        at_most=True,
    ),
    _Row(
        "conductor_temperature_overload",
        "degC",
        "conductor at {overload} as it lies, which its fuse may hold",
        lambda run, _: run.temperature(TRIPPING_RATIO * run.fuse),
        ("size", "fuse", "ambient"),
        at_most=True,
    ),
    _Row(
        "insulation_limit",
        "degC",
        "what its insulation is for",
        lambda run, _: run.limit,
        ("insulation",),
        usual=False,
    ),
    _Row(
        "short_circuit_current",
        "A",
        "dead short at the far end",
        lambda run, _: run.short_current,
        ("length", "size"),
    ),
    _Row(
        "short_circuit_ratio",
        "",
        "dead short over the fuse's rating",
        lambda run, _: run.short_current / run.fuse,
        ("length", "size", "fuse"),
    ),
    _Row(
        "fuse_opening",
        "s",
        "the fuse ends the short within",
        lambda run, _: run.opening,
        ("length", "size", "fuse"),
        none="it may hold for good",
    ),
    _Row(
        "insulation_withstand",
        "s",
        "the insulation stands the short for",
        lambda run, _: run.withstand,
        ("length", "size"),
    ),
)


def _run_figures(answer: Answer, cable: SupplyCable) -> None:
    """Add what follows from cable and fuse; where one is not known each figure says so."""
    words = _words_of_run(cable)
    for row in ROWS:
        label = row.label.format(**words)
        _run_figure(answer, cable, row, row.name, label, cable.run)
        if row.at_most:
            run = cable.run and cable.run.at_most
            most = f"{label}, with the most ohms that IEC 60228 allows"
            _run_figure(answer, cable, row, f"{row.name}_most", most, run)


def _run_figure(
    answer: Answer, cable: SupplyCable, row: _Row, name: str, label: str, run: Run | None
) -> None:
    if run is None:
        values, text = None, f"{NOT_WRITTEN}: {listed(cable.unknown)}"
    else:
        values, text = row.solved(run, cable.music), row.none
    if values is not None and not np.all(np.isfinite(values)):
        values = None
    answer.figure(
        cable.state.id,
        name,
        None if values is None else _in(row.unit, values),
        unit=row.unit,
        label=label,
        origin=_origin(cable.state, row, values),
        text=text if values is None else None,
    )


def _words_of_run(cable: SupplyCable) -> dict[str, str]:
    """Return what stands in the labels: the fuse's rating, its overload, the air."""
    state = cable.state
    rating = None if state.fuse is None else state.fuse.si
    return {
        "rating": "its fuse's rating" if rating is None else f"{rating:g} A",
        "overload": f"{TRIPPING_RATIO:g} times its fuse's rating"
        if rating is None
        else f"{TRIPPING_RATIO * rating:.3g} A",
        **{
            route: number(
                (state.ambient.si if route == state.route else usual_air(route)) - CELSIUS, "degC"
            )
            for route in TRANSFER
        },
    }


def _origin(state: FeedState, row: _Row, values: FloatArray | None) -> Origin | None:
    """Weakest origin of what a figure without spread follows from; None where draws tell."""
    if values is not None and values.size > 1:
        return None
    fields: list[Value | None] = [getattr(state, name) for name in row.fields]
    known = [value.origin for value in fields if value is not None]
    if row.usual:
        known.append(Origin.TYPICAL)
    if "size" in row.fields:
        known.append(state.metal_origin)
    return max(known, key=list(Origin).index, default=Origin.ASSUMED)


def _in(unit: str, values: FloatArray) -> FloatArray:
    """Draws [SI] in the unit they are shown in."""
    dimension = {"degC": "temperature", "mm": "length"}.get(unit)
    if dimension is None:
        return values
    return np.asarray(to_unit(values, dimension=dimension, unit=unit))


def _working(answer: Answer, cable: FeedState, run: Run) -> None:
    """Add the working of the headline figures of a cable."""
    area, ohms = 1e6 * central(run.area), 1e3 * central(run.ohm_per_metre)
    metal = run.metal.replace("-", " ")
    wire = f"r {number(ohms, 'mohm')} a metre ({number(area, 'mm2')} of {metal} at 20 °C)"
    fuse = f"I {central(run.fuse):g} A"
    way = f"L {number(run.ways * central(run.length), 'm')}" + (
        " out and back" if run.by_cable else ""
    )
    body = 0.0 if run.by_cable else 1e3 * CHASSIS_RESISTANCE
    loop = f"Rbody {number(body)} mohm, Rbattery {number(1e3 * run.battery_resistance)} mohm"
    heat = f"Joule heat against what leaves the surface, h common practice; {METAL_SOURCE}"

    def work(name: str, formula: str, numbers: str, source: str, *inputs: str) -> None:
        figure = answer[f"{cable.id}.{name}"]
        said = f"{numbers}: {number(answer.value(figure.id), figure.unit)}"
        answer.work(figure.id, formula, said, source, *inputs)

    length, size, rating, air = (
        f"{cable.id}.{name}" for name in ("length", "size", "fuse", "ambient")
    )
    cold = number(REFERENCE_TEMPERATURE - CELSIUS, "degC")
    warm = answer.value(f"{cable.id}.conductor_temperature")
    work(
        "drop",
        f"I r L (1 + {COPPER_COEFFICIENT:g}/K (T − {cold})), T the conductor's alone in air",
        f"{fuse}, {way}, {wire}, T {number(warm, 'degC')}",
        METAL_SOURCE,
        *(length, size, rating),
    )
    for route, ending in ENDINGS.items():
        work(
            f"conductor_temperature{ending}",
            f"T where I² r (1 + {COPPER_COEFFICIENT:g}/K (T − {cold})) = h π D (T − Tair)",
            f"{fuse}, {wire}, h {TRANSFER[route]:g} W/(m² K), "
            f"D {number(1e3 * central(run.diameter), 'mm')}, "
            f"Tair {number(central(run.air(route)) - CELSIUS, 'degC')}",
            heat,
            *(size, rating),
            *([air] if route == cable.route else []),
        )
    work(
        "short_circuit_current",
        "U / (r L + Rbody + Rbattery), cable cold",
        f"U {number(central(run.supply), 'V')}, {way}, {wire}, {loop}",
        f"Ohm's law; battery and body from memory; {METAL_SOURCE}",
        *(length, size, "vehicle.battery.rest_voltage"),
    )


ENDINGS: dict[Literal["free", "bundled"], str] = {"free": "", "bundled": "_bundled"}
METAL_SOURCE = "copper at 20 °C by IEC 60028, 1.58 times that for clad aluminium"


def fuse_colour(rating: float) -> str | None:
    """Return the colour of a blade fuse [A], None for one that has none."""
    return next((fuse.colour for fuse in fuses() if fuse.rating == rating), None) or None
