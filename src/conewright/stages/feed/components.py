"""What the parts written into a load by value have to bear: watts, volts, amperes."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from conewright.data_files import data_rows
from conewright.job.builds.fills import plain_text
from conewright.physics.basics.programme import programme_weights
from conewright.physics.electrics.wiring import inductor
from conewright.stages.common.changes import as_found, new_parts
from conewright.stages.common.load import HARD, ChannelLoad, RadioLoad
from conewright.stages.report.data import Kind, Severity
from conewright.stages.report.words import number, with_band

if TYPE_CHECKING:
    from conewright.job.builds.states.electrics import PartState
    from conewright.physics.basics.arrays import ComplexArray, FloatArray
    from conewright.stages.report.assembly import Answer

__all__ = ["BurdenKind", "PartBurden", "Rating", "burdens", "component_figures"]

BurdenKind = Literal["resistor", "capacitor", "inductor"]

RESERVE = {"resistor": 2.0, "capacitor": 1.5, "inductor": 1.25}
"""Rating over what is borne: a resistor at half its watts does not scorch what it lies on, a
capacitor meets the engine's surges, a coil keeps its value; common practice, no source."""

UNITS = {"resistor": "W", "capacitor": "V", "inductor": "A"}
NAMES = {
    "resistor": ("heat", "its heat when pressed hard (1/3 of sine power)"),
    "capacitor": ("volts", "highest voltage across it, peak of a clean sine"),
    "inductor": ("current", "its current when pressed hard, rms"),
}

DRAWER = 5.0
"""A resistor of more than this is none of those at hand, which burn in its place [W]; common
practice, no source."""

WASTES = 0.1
"""A resistor is spoken of from this share of its channel's power on."""


@dataclass(frozen=True, slots=True)
class Rating:
    """A rating that is sold, and what one of it costs, low, as a rule and high."""

    rating: float
    unit: str
    price: tuple[float, float, float]
    source: str


@dataclass(frozen=True)
class PartBurden:
    """A part by value and what it has to bear; draws have one row each.

    Attributes:
        channel: whose load it is in.
        part: the part.
        kind: of it; wires are none.
        name: `resistor_1`, counted within the channel by kind.
        borne: [W] of heat, [V] peak or [A] rms.
        share: of the channel's programme power that it turns into heat [1].

    """

    channel: str
    part: PartState
    kind: BurdenKind
    name: str
    borne: FloatArray
    share: FloatArray

    @property
    def needed(self) -> float:
        """The least rating that will do."""
        return RESERVE[self.kind] * float(self.borne[0, 0])

    @property
    def usual(self) -> Rating | None:
        """The next usual rating that will do; None where none is that high."""
        return self._sold(self.needed)

    @property
    def rating(self) -> Rating | None:
        """The rating that is written of it, else the usual one; None where none is that high."""
        rated = self.part.rated
        sold = self._sold(self.needed if rated is None else rated)
        return sold if sold is None or rated is None else replace(sold, rating=rated)

    def _sold(self, least: float) -> Rating | None:
        rows = (row for row in data_rows("stages.feed", "ratings.csv") if row["kind"] == self.kind)
        found = next((row for row in rows if float(row["rating"]) >= least), None)
        if found is None:
            return None
        low, typical, high = (float(found[name]) for name in ("low", "typical", "high"))
        return Rating(float(found["rating"]), found["unit"], (low, typical, high), found["source"])

    @property
    def title(self) -> str:
        """What to ask for: `4.7 ohm resistor, 10 W`."""
        assert self.part.value is not None
        found = self.rating
        rated = f", {number(found.rating, found.unit)}" if found else ""
        word = "bipolar capacitor" if self.kind == "capacitor" else self.kind
        return f"{plain_text(self.part.value.quantity)} {word}{rated}"

    @property
    def reason(self) -> str:
        """Why that rating: `it turns 4 W into heat when pressed hard`."""
        borne = number(float(self.borne[0, 0]), UNITS[self.kind], spread=float(self.borne[0, 0]))
        return {
            "resistor": f"it turns {borne} into heat when pressed hard",
            "capacitor": f"up to {borne} lie across it",
            "inductor": f"it carries {borne} when pressed hard",
        }[self.kind]


def burdens(load: RadioLoad) -> tuple[PartBurden, ...]:
    """Return every resistor, capacitor and inductor written into a load, with what it bears.

    Equations: P = f (Vpeak^2 / 2) sum w |v|^2 / R of a resistor, with f the programme's mean power
    over that of a sine that just clips, w its weights and v the voltage across the part for each
    volt at the plug; Vpeak max |v| of a capacitor from 20 Hz to 20 kHz; the root of
    f (Vpeak^2 / 2) sum w |v / Z|^2 of an inductor.
    """
    return tuple(
        each
        for channel in load.build.channels
        if channel.parts
        for each in _of_channel(load, channel.id, channel.parts)
    )


def component_figures(answer: Answer, load: RadioLoad) -> None:
    """Add what every part by value bears, and what is said of it."""
    before = as_found(load.build)
    new = {
        (channel.id, part.key)
        for channel in load.build.channels
        for part in new_parts(channel, before)
    }
    for burden in burdens(load):
        name, label = NAMES[burden.kind]
        title = burden.title.split(",")[0]
        answer.figure(
            burden.channel,
            f"{burden.name}_{name}",
            burden.borne,
            unit=UNITS[burden.kind],
            label=f"{title}: {label}",
        )
        if burden.kind == "resistor":
            answer.figure(
                burden.channel,
                f"{burden.name}_share",
                burden.share,
                unit="",
                kind=Kind.SHARE,
                label=f"{title}: share of the channel's power that it turns into heat",
            )
        # Of a part that was found there, its rating is no news; what a resistor wastes is, and
        # what no part bears.
        bought = (burden.channel, burden.part.key) in new
        short = burden.part.rated is not None and burden.part.rated < burden.needed
        if burden.kind == "resistor" or bought or short or burden.rating is None:
            _verdict(answer, burden)


# --- Underneath ---------------------------------------------------------------------------------


def _of_channel(load: RadioLoad, name: str, parts: tuple[PartState, ...]) -> tuple[PartBurden, ...]:
    counts: Counter[str] = Counter()
    found = []
    for part in parts:
        if part.kind == "wire" or part.value is None:
            continue
        counts[part.kind] += 1
        borne, share = _borne(load, load.channels[name], part)
        label = f"{part.kind}_{counts[part.kind]}"
        found.append(PartBurden(name, part, part.kind, label, borne, share))
    return tuple(found)


def _borne(load: RadioLoad, channel: ChannelLoad, part: PartState) -> tuple[FloatArray, FloatArray]:
    """Return what a part bears, and the share of the channel's power that it takes."""
    assert part.value is not None
    circuit, size = channel.channel, load.draws(part.value)
    at_plug = circuit.plug_impedance / (circuit.plug_impedance + circuit.source_resistance)
    across = np.abs(circuit.part_drives[part.key]) / np.abs(at_plug)
    ceiling, weights = (
        load.programme_ceiling(channel),
        programme_weights(frequency=channel.frequency),
    )
    power = HARD * ceiling**2 / 2
    none = np.zeros((1, 1))
    if part.kind == "capacitor":
        return np.asarray(ceiling * across.max(axis=-1, keepdims=True)), none
    if part.kind == "inductor":
        current = across / np.abs(inductor(inductance=size, frequency=channel.frequency))
        return np.asarray(np.sqrt(power * _sum(weights * current**2))), none
    # A resistor of nothing is a piece of wire.
    conductance = _sum(weights * across**2) / np.maximum(size, np.finfo(float).tiny)
    share = _taken(weights, circuit.part_drives[part.key], size) / _taken(
        weights,
        circuit.load_impedance / (circuit.plug_impedance + circuit.source_resistance),
        circuit.load_impedance,
    )
    return np.asarray(power * conductance), share


def _taken(
    weights: FloatArray, drive: ComplexArray, impedance: ComplexArray | FloatArray
) -> FloatArray:
    """Programme power that is taken for each volt of EMF [W/V2]."""
    floor = np.maximum(np.abs(impedance), np.finfo(float).tiny)
    return _sum(weights * np.abs(drive) ** 2 * np.real(impedance) / floor**2)


def _sum(values: FloatArray) -> FloatArray:
    return np.asarray(np.sum(values, axis=-1, keepdims=True))


def _advice(burden: PartBurden) -> str:
    """Say which rating to take, or what the one that is written is good for."""
    unit, wanted, rated = UNITS[burden.kind], burden.usual, burden.part.rated
    if rated is not None and rated >= burden.needed:
        return f"its {number(rated, unit)} bear that"
    advice = (
        f"take one of {number(wanted.rating, wanted.unit)}"
        if wanted
        else f"no usual one bears {number(burden.needed, unit)}: write another load"
    )
    if rated is None:
        return advice
    less = "less than that" if rated < float(burden.borne[0, 0]) else "hardly more than that"
    return f"its {number(rated, unit)} are {less}: {advice}"


def _verdict(answer: Answer, burden: PartBurden) -> None:
    """Say which rating a part wants, and what a resistor wastes."""
    name = NAMES[burden.kind][0]
    figure = answer[f"{burden.channel}.{burden.name}_{name}"]
    wanted = burden.usual
    advice = _advice(burden)
    title = burden.title.split(",")[0]
    said = {
        "resistor": f"turns {with_band(figure)} into heat when pressed hard",
        "capacitor": f"has up to {with_band(figure)} across it",
        "inductor": f"carries {with_band(figure)} when pressed hard",
    }[burden.kind]
    ids = [figure.id]
    if burden.kind == "resistor":
        share = answer[f"{burden.channel}.{burden.name}_share"]
        if answer.value(share.id) >= WASTES:
            percent = number(100.0 * answer.value(share.id), spread=10.0)
            said += f", {percent} % of the channel's power that no loudspeaker gets"
            ids.append(share.id)
        advice += ", open to the air, clear of foam, felt and trim" if wanted else ""
    rated = burden.part.rated
    if rated is None:
        burns = wanted is None or (burden.kind == "resistor" and wanted.rating > DRAWER)
    else:
        burns = rated < float(burden.borne[0, 0])
    severity = Severity.WARN if burns else Severity.NOTE
    text = f"{burden.channel}: the {title} {said}; {advice}."
    answer.verdict(burden.channel, burden.name, severity, text, *ids)
