"""Stage feed: what each channel drives, what radio and cable take, and what feeds them."""

from __future__ import annotations

import numpy as np

from conewright.job.builds.draws import DEFAULT_SAMPLES
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin
from conewright.job.quantity.units import to_unit
from conewright.phrases import listed
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.changes import as_found
from conewright.stages.common.circuit import Circuit, Solver, radio_volts
from conewright.stages.common.conditioned import ReadDraws, conditioned_draws
from conewright.stages.common.frequencies import require_in_range
from conewright.stages.common.load import EASY, HARD, RadioLoad, radio_load
from conewright.stages.common.nets import fed_by
from conewright.stages.feed.amplified import amplifier_figures
from conewright.stages.feed.components import component_figures
from conewright.stages.feed.doubted_load import suspected_loads
from conewright.stages.feed.drain import drain_figures, drain_verdict
from conewright.stages.feed.hazards import hazard_verdicts
from conewright.stages.feed.supply import supply_figures
from conewright.stages.feed.supply_verdicts import supply_verdicts
from conewright.stages.feed.systems import (
    converter_figures,
    converter_working,
    system_verdicts,
)
from conewright.stages.feed.unwired import unwired_figures
from conewright.stages.feed.verdicts import feed_verdicts, feed_working, hardest_channel
from conewright.stages.find.faults.told import (
    finding_verdicts,
    reading_verdicts,
    signal_verdicts,
)
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Kind, Report, series
from conewright.stages.report.having import NO_CHIP, may_have

__all__ = ["feed", "feed_answer"]


def feed(
    build: Build,
    against: Build | None = None,
    *,
    at: FloatArray | None = None,
    samples: int = DEFAULT_SAMPLES,
) -> Report:
    """Answer what every radio channel of a build drives, and what that asks of the radio.

    Args:
        build: the build to look at.
        against: the build to compare it with, of the same job; adds its curves.
        at: frequencies of the series, shape (F,) [Hz]; the standard grid when None.
        samples: number of draws for the bands, a power of two.

    Raises:
        BadInputError: a frequency is not from 10 Hz to 25 kHz.

    >>> import conewright as cw
    >>> job = cw.demo_job()
    >>> report = cw.feed(job.build("put-right"), job.build())
    >>> change = report.figure("rear-left.minimum_impedance_change")
    >>> change.unit, change.low < change.value < change.high
    ('ohm', True)
    """
    require_in_range(at)
    solver = Solver(conditioned_draws(build, samples=samples), bands.fine_grid())
    return feed_answer(build, against, solver=solver, at=at)


def feed_answer(
    build: Build,
    against: Build | None,
    *,
    solver: Solver,
    at: FloatArray | None = None,
    whole: bool = True,
) -> Report:
    """As `feed`, with a solver on the standard grid that other answers share.

    Not whole, it has neither curves nor measurements that would narrow it, which take long, and
    says nothing of what is only suspected.
    """
    load = radio_load(build, solver)
    answer = Answer("feed", build, against, solver.draws)
    _channel_figures(answer, load)
    _location_figures(answer, load)
    _radio_figures(answer, load)
    converter_figures(answer, load)
    supply_figures(answer, load)
    drain_figures(answer)
    if against is not None:
        _change_figures(answer, load, radio_load(against, solver))
    if whole:
        _curves(answer, solver if at is None else Solver(solver.draws, at))
    feed_working(answer, load)
    converter_working(answer, load)
    finding_verdicts(answer)
    signal_verdicts(answer)
    reading_verdicts(answer)
    feed_verdicts(answer, load)
    system_verdicts(answer, load)
    hazard_verdicts(answer)
    supply_verdicts(answer, load)
    drain_verdict(answer)
    unwired_figures(answer, load)
    component_figures(answer, load)
    if whole:
        suspected_loads(answer, load, _asked_again)
    return answer.report(headlines=_headlines(load) if whole else {})


def _asked_again(build: Build, solver: Solver) -> Report:
    return feed_answer(build, None, solver=solver, whole=False)


def _headlines(load: RadioLoad) -> dict[str, FloatArray]:
    warmth = load.chip_temperature(EASY) if may_have(load.build, "output-chip") else None
    heat = {} if warmth is None else {"head_unit.chip_temperature": warmth}
    if not load.live:
        return heat
    hardest = hardest_channel(load)
    return {
        f"{hardest}.minimum_impedance": load.live[hardest].minimum_impedance,
        f"{hardest}.clean_power": load.clean_powers.alone[hardest],
        **heat,
    }


def _channel_figures(answer: Answer, load: RadioLoad) -> None:
    for name, channel in load.channels.items():
        answer.figure(
            name,
            "minimum_impedance",
            channel.minimum_impedance if channel.closed else None,
            unit="ohm",
            label="lowest impedance at the radio plug",
            frequency_hz=channel.lowest_frequency,
            text=None if channel.closed else "open",
        )
        answer.figure(
            name,
            "plug_resistance",
            channel.channel.plug_resistance if channel.conducts else None,
            unit="ohm",
            label="what an ohm-meter reads at the radio plug",
            text=None if channel.conducts else "open",
            origin=Origin.MEASURED if _was_read(answer, name) else None,
        )
        alone, together = load.clean_powers.alone[name], load.clean_powers.together[name]
        for figure, values, unit, label in (
            ("equivalent_resistance", channel.equivalent_resistance, "ohm", SAME_CURRENT),
            ("power_resistance", channel.power_resistance, "ohm", SAME_POWER),
            ("clean_power", alone, "W", "largest clean sine, this channel alone, cable taken off"),
            ("clean_power_all", together, "W", "the same with all channels at once, feed sagging"),
            ("cable_loss", channel.cable_loss, "dB", "level lost in the cable"),
        ):
            answer.figure(
                name,
                figure,
                None if channel.idle else values,
                unit=unit,
                label=label,
                text="silent" if channel.idle else None,
            )
    _unused_figures(answer)


def _unused_figures(answer: Answer) -> None:
    """Say of every output that drives nothing that it does so."""
    for channel in answer.build.unused:
        label = "lowest impedance at the radio plug"
        fed = listed([each.name for each in fed_by(answer.build, channel.id)])
        text = f"feeds {fed}" if fed else "unused"
        answer.figure(channel.id, "minimum_impedance", None, unit="ohm", label=label, text=text)


def _was_read(answer: Answer, channel: str) -> bool:
    """Whether the resistance at a plug was read, and is still that of the vehicle as found."""
    draws = answer.draws
    read = isinstance(draws, ReadDraws) and ("pair-resistance", channel) in draws.settled
    return read and answer.build.channel(channel) == as_found(answer.build).channel(channel)


SAME_CURRENT = "resistance that draws the same current from the radio with music"
SAME_POWER = "resistance that takes the same power from the radio with music"


def _location_figures(answer: Answer, load: RadioLoad) -> None:
    for name, location in load.circuit.locations.items():
        idle = load.channels[location.channel].idle
        share = load.power_share(name)
        answer.figure(
            name,
            "power_share",
            None if idle else share,
            unit="",
            kind=Kind.SHARE,
            label="share of its channel's power with music",
            text="silent" if idle else None,
        )
        answer.figure(
            name,
            "clean_power",
            0.0 if idle else share * load.clean_powers.alone[location.channel],
            unit="W",
            label="its share of the channel's largest clean sine",
        )


def _radio_figures(answer: Answer, load: RadioLoad) -> None:
    amplifier_figures(answer, load)
    radio = load.build.head_unit
    clean_volts = radio_volts(radio, load.draws)
    answer.figure(
        "head_unit",
        "minimum_load",
        load.draws(radio.minimum_load),
        unit="ohm",
        label="lowest load it is rated for",
        origin=radio.minimum_load.origin,
    )
    answer.figure(
        "head_unit",
        "clean_volts",
        clean_volts,
        unit="V",
        label="clean rms volts into the load it is rated for",
    )
    _chip_figures(answer, load)
    for name, values, unit, label in (
        ("supply_current", load.supply_current(EASY), "A", "mean supply current, loud music"),
        (
            "supply_current_sine",
            load.sine_supply_current,
            "A",
            "mean supply current, full sine on all channels",
        ),
    ):
        answer.figure("head_unit", name, values, unit=unit, label=label)
    advertised, rated = radio.advertised_power, load.draws(radio.minimum_load)
    answer.figure(
        "head_unit",
        "advertised_ratio",
        None if advertised is None else clean_volts**2 / rated / load.draws(advertised),
        unit="",
        label="clean power into the rated load over the advertised power",
        text="no advertised power given" if advertised is None else None,
    )


def _chip_figures(answer: Answer, load: RadioLoad) -> None:
    """Add the warmth of the output chip; a radio from before there were any has none."""
    there = may_have(load.build, "output-chip")
    for name, values, unit, label in (
        ("heat", load.heat(EASY), "W", "heat in the chip, loud music"),
        (
            "chip_temperature",
            _celsius(load.chip_temperature(EASY)),
            "degC",
            "chip, loud music (1/8 of sine power)",
        ),
        (
            "chip_temperature_hard",
            _celsius(load.chip_temperature(HARD)),
            "degC",
            "chip, pressed hard (1/3 of sine power)",
        ),
        (
            "chip_limit",
            _celsius(load.draws(load.build.head_unit.limit)),
            "degC",
            "where the chip protects itself",
        ),
    ):
        answer.figure(
            "head_unit",
            name,
            values if there else None,
            unit=unit,
            label=label,
            text=None if there else NO_CHIP,
        )


def _celsius(temperature: FloatArray) -> FloatArray:
    return np.asarray(to_unit(temperature, dimension="temperature", unit="degC"))


def _change_figures(answer: Answer, load: RadioLoad, before: RadioLoad) -> None:
    for name, channel in load.channels.items():
        # Of what was unknown, or did not play, there is no change to tell.
        if name not in before.channels or channel.idle or before.channels[name].idle:
            continue
        answer.figure(
            name,
            "minimum_impedance_change",
            channel.minimum_impedance - before.channels[name].minimum_impedance,
            unit="ohm",
            kind=Kind.CHANGE,
            label="change of the lowest impedance",
        )
        answer.figure(
            name,
            "clean_power_change",
            _decibels(load.clean_powers.alone[name], before.clean_powers.alone[name]),
            unit="dB",
            kind=Kind.CHANGE,
            label="change of the largest clean sine",
            text="a load that takes no power",
        )
    chips = all(may_have(each.build, "output-chip") for each in (load, before))
    answer.figure(
        "head_unit",
        "chip_temperature_change",
        load.chip_temperature(EASY) - before.chip_temperature(EASY) if chips else None,
        unit="K",
        kind=Kind.CHANGE,
        label="change of the chip's temperature, loud music",
        text=None if chips else NO_CHIP,
    )


def _decibels(new: FloatArray, old: FloatArray) -> FloatArray | None:
    """Change of a power [dB]; None where a load takes none."""
    if not (np.all(new > 0.0) and np.all(old > 0.0)):
        return None
    return np.asarray(10 * np.log10(new / old))


def _curves(answer: Answer, solver: Solver) -> None:
    circuit = solver.solve(answer.build)
    _impedances(answer, circuit, "impedance")
    for name, location in circuit.locations.items():
        answer.series.append(
            series(
                name,
                "drive",
                circuit.frequency,
                location.drive,
                quantity="voltage at the terminals per volt of source EMF",
                unit="V/V",
            )
        )
    if answer.against is not None:
        _impedances(answer, solver.solve(answer.against), "impedance_against")


def _impedances(answer: Answer, circuit: Circuit, curve: str) -> None:
    for name, channel in circuit.channels.items():
        answer.series.append(
            series(
                name,
                curve,
                circuit.frequency,
                channel.plug_impedance,
                quantity="impedance at the radio plug",
                unit="ohm",
            )
        )
