"""Amplifiers between the radio and some channels: what feed figures of them and says of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conewright.phrases import listed
from conewright.physics.electrics.fuse import fuses, next_fuse
from conewright.stages.common.load import EASY, HARD, AmplifierLoad, RadioLoad
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number, with_band

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.stages.report.assembly import Answer

__all__ = ["amplified_verdict", "amplifier_figures", "amplifier_verdicts"]

WARM = 15.0
"""Heat from which an amplifier's case wants air round it [W]; common practice, no source."""


def amplifier_figures(answer: Answer, load: RadioLoad) -> None:
    """Add what each amplifier gives, takes and turns into heat."""
    for name, unit in load.amplifiers.items():
        state = unit.state
        answer.figure(
            name,
            "minimum_load",
            load.draws(state.minimum_load),
            unit="ohm",
            label="lowest load it is rated for",
            origin=state.minimum_load.origin,
        )
        for figure, values, unit_word, label in (
            ("clean_volts", unit.clean_volts, "V", "clean rms volts into the load they are for"),
            ("heat", unit.heat(EASY), "W", "heat in it, loud music (1/8 of sine power)"),
            ("heat_hard", unit.heat(HARD), "W", "heat in it, pressed hard (1/3 of sine power)"),
            ("supply_current", unit.supply_current(EASY), "A", "mean supply current, loud music"),
            (
                "supply_current_sine",
                unit.sine_supply_current,
                "A",
                "supply current, full sine on all its channels",
            ),
            (
                "supply_volts_sine",
                unit.supply * unit.sag,
                "V",
                "supply left at it, full sine on all its channels",
            ),
        ):
            answer.figure(name, figure, values, unit=unit_word, label=label)
        _fuse_figure(answer, unit)
    for name in load.channels:
        if (unit_of := load.amplifier_of(name)) is not None:
            answer.figure(
                name,
                "minimum_load",
                load.draws(unit_of.state.minimum_load),
                unit="ohm",
                label=f"lowest load that {unit_of.state.name} is rated for",
                origin=unit_of.state.minimum_load.origin,
            )


def amplified_verdict(answer: Answer, load: RadioLoad, name: str) -> None:
    """Say whether an amplifier bears the load of a channel that it drives."""
    unit = load.amplifier_of(name)
    assert unit is not None
    state, lowest = unit.state, answer[f"{name}.minimum_impedance"]
    rated, allowed = state.minimum_load.si, float(unit.allowed[0, 0])
    at = number(load.channels[name].lowest_frequency, "Hz")
    where = f"{with_band(lowest)} at {at}"
    said = "is rated for" if state.rated else "(rating not given) is taken to be rated for"
    made_for = (
        f"{state.name} {said} {number(rated, 'ohm')}, which allows dips to {number(allowed, 'ohm')}"
    )
    ids = (lowest.id, f"{name}.clean_power", f"{state.id}.heat")
    if answer.value(lowest.id) < allowed:
        cure = "Wire in series, fit units of more ohms, or drive fewer of them from it."
        text = (
            f"{name}: the load falls to {where}; {made_for}. It cuts out, blows its fuse or burns "
            f"its output. {cure}"
        )
        answer.verdict(name, "load", Severity.STOP, text, *ids)
        return
    sure = lowest.low is None or lowest.low >= allowed
    end = (
        "It bears that."
        if sure
        else "It most likely bears that, but the band reaches lower: measure before you rely on it."
    )
    text = f"{name}: the load never falls below {where}; {made_for}. {end}"
    answer.verdict(name, "load", Severity.GOOD if sure else Severity.NOTE, text, *ids)


def amplifier_verdicts(answer: Answer, load: RadioLoad) -> None:
    """Say what there is to mind of each amplifier besides the loads of its channels."""
    for unit in load.amplifiers.values():
        for name, severity, text, *figures in _said(answer, load, unit):
            ids = (f"{unit.state.id}.{figure}" for figure in figures)
            answer.verdict(unit.state.id, name, severity, f"{unit.state.name}: {text}", *ids)


# --- Underneath ---------------------------------------------------------------------------------

Said = tuple[str, Severity, str, *tuple[str, ...]]
"""Name of a verdict, how much it matters, its words, names of the figures behind it."""


def _said(answer: Answer, load: RadioLoad, unit: AmplifierLoad) -> Iterator[Said]:
    yield from _inputs(load, unit)
    heat = answer[f"{unit.state.id}.heat"]
    if answer.value(heat.id) > WARM:
        text = (
            f"it turns {with_band(heat)} into heat with loud music: on steel or board with air "
            "round it, never under carpet or behind insulation."
        )
        yield "heat", Severity.NOTE, text, "heat", "heat_hard"
    fuse, sine = unit.state.fuse, answer[f"{unit.state.id}.supply_current_sine"]
    if fuse is not None and answer.value(sine.id) > fuse.si:
        text = (
            f"a full sine on all its channels asks for {with_band(sine)}, more than its own fuses "
            f"of {number(fuse.si, 'A')} hold for good; music asks for less. Never a larger fuse."
        )
        yield "own-fuse", Severity.NOTE, text, "supply_current_sine"
    if unit.state.feed is None:
        text = (
            "what feeds it is not written down: no plan of its supply, cable or fuse is made. "
            'Describe the cable as a [[feed]] with to = "amplifier", and name it as its feed.'
        )
        yield "unfed", Severity.NOTE, text


def _inputs(load: RadioLoad, unit: AmplifierLoad) -> Iterator[Said]:
    """Yield what joins a bridge output to inputs whose minus is chassis."""
    fed = sorted(
        {
            channel.input.channel
            for channel in load.build.channels
            if channel.driven_by == unit.state.id and channel.input and channel.input.channel
        }
    )
    if not fed or load.build.head_unit.output != "bridge":
        return
    if unit.state.inputs == "chassis":
        text = (
            f"the minus of its inputs is chassis, and {listed(fed)} of the radio are bridge "
            "outputs: each would have a leg at half the supply shorted to the body. Use inputs "
            "that float, or a transformer or adapter made for it."
        )
        yield "inputs", Severity.STOP, text
    elif unit.state.inputs is None:
        text = (
            f"{listed(fed)} of the radio are bridge outputs. Prove before joining them, all "
            "unplugged, that the minus of each of its inputs is open to the chassis."
        )
        yield "inputs", Severity.NOTE, text


def _fuse_figure(answer: Answer, unit: AmplifierLoad) -> None:
    """Add the smallest fuse at the source that holds what it asks for at most."""
    asked = float(unit.asked_current[0, 0])
    largest = fuses()[-1].rating
    fuse = None if asked > largest else next_fuse(least=asked)
    text = f"more than the largest of the table holds, {largest:g} A"
    answer.figure(
        unit.state.id,
        "fuse",
        None if fuse is None else fuse.rating,
        unit="A",
        label="smallest fuse at the source that holds what it asks for at most",
        origin=answer[f"{unit.state.id}.supply_current_sine"].origin,
        text=text if fuse is None else fuse.colour or None,
    )
