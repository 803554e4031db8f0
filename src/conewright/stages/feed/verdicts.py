"""What feed says in words, and the working behind its headline figures."""

from __future__ import annotations

from conewright.job.quantity.units import to_unit
from conewright.job.quantity.values import format_quantity
from conewright.phrases import listed
from conewright.stages.common.load import HOTTEST_CHIP, RadioLoad
from conewright.stages.common.nets import fed_by
from conewright.stages.common.together import opposed_twins
from conewright.stages.feed.amplified import amplified_verdict, amplifier_verdicts
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Figure, Severity
from conewright.stages.report.having import may_have
from conewright.stages.report.words import number, with_band

__all__ = ["feed_verdicts", "feed_working", "hardest_channel"]

CLEARLY_OVER = 1.1
"""A loudspeaker is warned of when its power exceeds what it bears by this factor."""

SQUARE_BELOW, OVERLOADED_BELOW, HONEST_TO = 0.65, 0.9, 1.1
"""Clean shares of an advertised power: half of it where a square wave was told, 0.78 where 10 % of
distortion was (closed forms; data sheets of output chips tell both), and what says the truth."""

LOSSY_CABLE = 1.0
"""A cable is spoken of when it costs more than this [dB]."""


def feed_verdicts(answer: Answer, load: RadioLoad) -> None:
    """Add the verdicts and the answer in one sentence."""
    for name in load.live:
        _load_verdict(answer, load, name)
        _cable_verdict(answer, name)
    _heat_verdict(answer, load)
    amplifier_verdicts(answer, load)
    _power_verdicts(answer, load)
    _polarity_verdicts(answer, load)
    _unused_verdicts(answer)
    answer.sentence = _sentence(answer, load)


def feed_working(answer: Answer, load: RadioLoad) -> None:
    """Add the working of the headline figures."""
    radio = load.build.head_unit
    for name, channel in load.live.items():
        lowest = answer[f"{name}.minimum_impedance"]
        answer.work(
            lowest.id,
            "lowest |Z| of the load, folded from its parts, plus cable 2 r L",
            f"{number(answer.value(lowest.id), 'ohm')} at "
            f"{number(channel.lowest_frequency, 'Hz')}, "
            f"cable {number(float(channel.channel.cable_resistance[0, 0]), 'ohm')} in it",
            "circuit theory; cable from IEC 60228 class 5, AWG from ASTM B258",
            f"{name}.load",
            f"{name}.cable.length",
            f"{name}.cable.size",
        )
        if load.amplifier_of(name) is not None:
            continue
        power = answer[f"{name}.clean_power"]
        r = abs(complex(channel.working_load[0, 0]))
        answer.work(
            power.id,
            "P = I² (R − Rcable) / 2 with I = min(Vs / (R + Rclip), Ipeak)",
            f"Vs {number(radio.supply.si, 'V')}, R {number(r, 'ohm')}, "
            f"Rclip {number(radio.clip_loss.si, 'ohm')}, "
            f"Ipeak {number(radio.peak_current.si, 'A')}: {number(answer.value(power.id), 'W')}",
            "bridge output as a voltage source with a ceiling; fits the published 1 % powers of "
            "car-radio power ICs",
            "head_unit.supply",
            "head_unit.clip_loss",
            "head_unit.peak_current",
        )
    if not may_have(load.build, "output-chip"):
        return
    answer.work(
        "head_unit.chip_temperature",
        "T = Tdash + Rth (sum over channels of (Vs E|v| / Rcurrent − E v² / Rpower) + Vs Iq)",
        f"{format_quantity(radio.dash.quantity)} + {number(radio.junction_to_dash.si, 'K/W')} × "
        f"{number(answer.value('head_unit.heat'), 'W')}",
        "class-AB bridge: what the supply gives less what the load takes; Gaussian programme of "
        "1/8 of the clean sine's power, held at clipping; 1/Rpower is the mean of Re(1/Z)",
        "head_unit.thermal.junction_to_dash",
        "head_unit.thermal.dash",
    )


def _load_verdict(answer: Answer, load: RadioLoad, name: str) -> None:
    if load.amplifier_of(name) is not None:
        amplified_verdict(answer, load, name)
        return
    lowest = answer[f"{name}.minimum_impedance"]
    rated = load.build.head_unit.minimum_load.si
    allowed = float(load.allowed[0, 0])
    ids = (lowest.id, f"{name}.clean_power", "head_unit.chip_temperature")
    where = f"{with_band(lowest)} at {number(load.channels[name].lowest_frequency, 'Hz')}"
    made_for = (
        f"the radio is rated for {number(rated, 'ohm')}, which allows dips to "
        f"{number(allowed, 'ohm')}"
    )
    if not load.build.head_unit.rated:
        made_for = made_for.replace("is rated", "(rating not given) is taken to be rated")
    if answer.value(lowest.id) >= allowed:
        sure = _surely_bears(lowest, allowed)
        text = f"{name}: the load never falls below {where}; {made_for}. " + (
            "The radio bears that."
            if sure
            else "The radio most likely bears that, but the band reaches lower: measure before "
            "you rely on it."
        )
        answer.verdict(name, "load", Severity.GOOD if sure else Severity.NOTE, text, *ids)
        return
    stops, warmth = _rising_heat(answer, load)
    text = (
        f"{name}: the load falls to {where}; {made_for}. The volts stay the same, so current and "
        f"heat rise{warmth}. {_current_words(load, name)}{_cure(load, name)}"
    )
    answer.verdict(name, "load", Severity.STOP if stops else Severity.WARN, text, *ids)


def _rising_heat(answer: Answer, load: RadioLoad) -> tuple[bool, str]:
    """Return whether heat ends it, and how warm the chip gets; without one nothing ends it."""
    if not may_have(load.build, "output-chip"):
        return True, ", and nothing in a radio of that time protects its outputs"
    chip, limit = answer["head_unit.chip_temperature"], answer.value("head_unit.chip_limit")
    stops = answer.value(chip.id) > limit
    return stops, (
        f": the chip {'would reach' if stops else 'reaches'} {_warmth(chip)} with loud music and "
        f"protects itself at {number(limit, 'degC')}"
    )


def _surely_bears(lowest: Figure, allowed: float) -> bool:
    """Whether the whole band of a lowest impedance stays above what is allowed [ohm]."""
    return lowest.low is None or lowest.low >= allowed


def _cure(load: RadioLoad, name: str) -> str:
    """Say what puts a load right that is too low; a driver alone has none to be in series with."""
    if len(load.build.channel(name).polarity) < 2:
        return "Fit one of more ohms, or feed it from an amplifier rated for it."
    return "Wire in series, fit higher-ohm units, or feed them from an amplifier rated for it."


def _current_words(load: RadioLoad, name: str) -> str:
    peak = float(load.peak_current(name)[0, 0])
    most = load.build.head_unit.peak_current.si
    if peak < most * 0.999:
        return ""
    return f"Its own current limit of {number(most, 'A')} clips it before the volts do. "


def _cable_verdict(answer: Answer, name: str) -> None:
    loss = answer[f"{name}.cable_loss"]
    if answer.value(loss.id) > LOSSY_CABLE:
        answer.verdict(
            name,
            "cable",
            Severity.NOTE,
            f"{name}: the cable costs {with_band(loss)}; a thicker one gives back at most that, "
            "a corroded joint costs more. Look at the joints first.",
            loss.id,
        )


def _heat_verdict(answer: Answer, load: RadioLoad) -> None:
    if not may_have(load.build, "output-chip"):
        return
    easy, hard = answer["head_unit.chip_temperature"], answer["head_unit.chip_temperature_hard"]
    limit = answer.value("head_unit.chip_limit")
    reach = f"{_warmth(easy)} with loud music and {_warmth(hard)} when pressed hard"
    end = f"it protects itself at {number(limit, 'degC')}"
    if answer.value(easy.id) > limit:
        severity, text = Severity.STOP, f"The radio's chip would reach {reach}; {end}: it cuts out."
    elif answer.value(hard.id) > limit:
        severity = Severity.WARN
        text = f"The radio's chip reaches {reach}; {end}: on a hot day it may cut out."
    elif hard.high is not None and hard.high > limit:
        severity = Severity.NOTE
        text = f"The radio's chip most likely reaches {reach}; {end}, and might get there."
    else:
        severity, text = Severity.GOOD, f"The radio's chip reaches {reach}; {end}."
    answer.verdict("head_unit", "heat", severity, text, easy.id, hard.id)


def _warmth(chip: Figure) -> str:
    """Say how warm a chip gets; beyond where none is, that it would be more."""
    most = float(to_unit(HOTTEST_CHIP, dimension="temperature", unit="degC"))
    beyond = chip.value is not None and chip.value >= most
    return f"more than {number(most, 'degC')}" if beyond else with_band(chip)


def _power_verdicts(answer: Answer, load: RadioLoad) -> None:
    ratio = answer["head_unit.advertised_ratio"]
    if ratio.value is not None:
        answer.verdict(
            "head_unit",
            "advertised",
            Severity.NOTE,
            f"Of the advertised power {number(100 * ratio.value)} % is clean: {_on_the_box(ratio)} "
            "That harms no loudspeaker; turned past clipping, it is the mean power that heats "
            "coils.",
            ratio.id,
        )
    for name in load.circuit.locations:
        power, bears = answer[f"{name}.clean_power"], load.build.location(name).driver.power.si
        if answer.value(power.id) > CLEARLY_OVER * bears:
            answer.verdict(
                name,
                "power",
                Severity.WARN,
                f"{name}: a steady clean tone can put {with_band(power)} into a loudspeaker that "
                f"bears {number(bears, 'W')}; music at the same peaks is an eighth of that.",
                power.id,
            )


def _on_the_box(ratio: Figure) -> str:
    """Say what an advertised power is, by the share of it that is clean."""
    share = ratio.value or 0.0
    if share < SQUARE_BELOW:
        return "the figure on the box is a square wave."
    if share < OVERLOADED_BELOW:
        return "the figure on the box is taken well into clipping."
    if share <= HONEST_TO:
        return "the figure on the box is an honest one."
    return "the figure on the box is low, or load and supply are not those it was taken at."


def _polarity_verdicts(answer: Answer, load: RadioLoad) -> None:
    found = {fault.at for fault in load.build.faults if fault.fault == "reversed"}
    for upright, turned in opposed_twins(load.build):
        # What was found is named already, and what it costs is for hear to say.
        if turned not in found:
            answer.verdict(
                turned,
                "polarity",
                Severity.WARN,
                f"{turned} is connected the other way round than {upright}: one pushes while the "
                "other pulls. Swap its two wires.",
            )


def _unused_verdicts(answer: Answer) -> None:
    for channel in answer.build.unused:
        if fed_by(answer.build, channel.id):
            continue
        answer.verdict(
            channel.id,
            "unused",
            Severity.NOTE,
            f"{channel.id}: unused: nothing hangs on it, and it asks nothing of the radio. Each "
            "end of its pair stays insulated by itself: a bare one that touches metal or the other "
            "can burn the output.",
        )


def hardest_channel(load: RadioLoad) -> str:
    """Return the playing channel whose load is lowest for what drives it, central values."""
    return min(
        load.live,
        key=lambda name: float(
            load.live[name].minimum_impedance[0, 0] / load.allowed_of(name)[0, 0]
        ),
    )


def _sentence(answer: Answer, load: RadioLoad) -> str:
    if not load.channels and not load.build.unknown:
        return "No output drives anything: each is written as unused."
    if not load.channels:
        unknown = listed([channel.id for channel in load.build.unknown])
        return f"Nobody knows yet what hangs on {unknown}: find says what to measure."
    if not load.live:
        return "No channel plays: what was found leaves none of them with a load and a drive."
    name = hardest_channel(load)
    lowest, power = answer[f"{name}.minimum_impedance"], answer[f"{name}.clean_power"]
    allowed = float(load.allowed_of(name)[0, 0])
    unit = load.amplifier_of(name)
    verb = "bears" if _surely_bears(lowest, allowed) else "most likely bears"
    if answer.value(lowest.id) < allowed:
        verb = "is not rated for"
    bearer = "the radio" if unit is None else unit.state.name
    whose = "its" if unit is None else "the radio's"
    if not load.by_radio:
        return (
            f"The hardest load is {name} with {with_band(lowest)}, which {bearer} {verb}; "
            f"it gives {with_band(power)} clean there. The radio drives no loudspeaker itself."
        )
    chip = ""
    if may_have(load.build, "output-chip"):
        warmth = _warmth(answer["head_unit.chip_temperature"])
        chip = f", and {whose} chip reaches {warmth} with loud music"
    return (
        f"The hardest load is {name} with {with_band(lowest)}, which {bearer} {verb}; "
        f"it gives {with_band(power)} clean there{chip}."
    )
