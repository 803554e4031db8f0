"""Where a woofer and a tweeter on channels of their own hand over, and whether they add there.

Above the range in which the cabin is reckoned with phase, a seat hears the powers of both; what the
direct sound of the two does is told apart from that: as it adds midway between them, where neither
is ahead of the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conewright.job.builds.states.value import Origin
from conewright.physics.basics.levels import decibel
from conewright.stages.find.faults.chains import is_tweeter
from conewright.stages.hear.listening import sent
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number, with_band

if TYPE_CHECKING:
    from conewright.job.builds.states.location import LocationState
    from conewright.physics.basics.arrays import ComplexArray, FloatArray
    from conewright.stages.hear.heard import BuildSound
    from conewright.stages.report.assembly import Answer

__all__ = ["Handover", "crossover_figures", "crossover_verdicts", "handovers"]

LOWEST, HIGHEST = 300.0, 12_000.0
"""Between these a woofer hands over to a tweeter [Hz]; common practice, no source."""

CANCELS = -3.0
"""What two that hand over lose against their powers before it is spoken of [dB]."""


@dataclass(frozen=True)
class Handover:
    """A woofer and a tweeter on two channels.

    Attributes:
        woofer, tweeter: ids of their places.
        frequency: where both are as loud, central values [Hz].
        together: what their direct sound comes to over their powers there [dB], (draws, 1).
        turned: the same with the tweeter's two wires swapped [dB].

    """

    woofer: str
    tweeter: str
    frequency: float
    together: FloatArray
    turned: FloatArray


def handovers(sound: BuildSound) -> tuple[Handover, ...]:
    """Return every woofer and tweeter of one side that hand over between two channels."""
    pairs = tuple(_pairs(sound))
    flows = sent(sound.circuit) if pairs else {}
    told = (_handover(woofer, tweeter, flows, sound.frequency) for woofer, tweeter in pairs)
    return tuple(each for each in told if each is not None)


def crossover_figures(answer: Answer, found: Sequence[Handover]) -> None:
    """Add where each tweeter takes over, and how the two add there."""
    for each in found:
        answer.figure(
            each.tweeter,
            "crossover",
            each.frequency,
            unit="Hz",
            label=f"where it takes over from {each.woofer}",
            origin=Origin.TYPICAL,
        )
        answer.figure(
            each.tweeter,
            "crossover_sum",
            each.together,
            unit="dB",
            label=f"direct sound of it and {each.woofer} there, over the powers of both",
            frequency_hz=each.frequency,
        )


def crossover_verdicts(answer: Answer, found: Sequence[Handover]) -> None:
    """Say where two cancel at the handover and would not, one turned round."""
    for each in found:
        figure = answer[f"{each.tweeter}.crossover_sum"]
        turned = float(each.turned[0, 0])
        if answer.value(figure.id) < CANCELS < turned:
            text = (
                f"{each.tweeter} and {each.woofer} cancel where they hand over, near "
                f"{number(each.frequency, 'Hz')}: {with_band(figure)} against their powers. With "
                f"the tweeter's two wires swapped it would be {number(turned, 'dB')}."
            )
            answer.verdict(each.tweeter, "crossover", Severity.NOTE, text, figure.id)


# --- Underneath ---------------------------------------------------------------------------------


def _pairs(sound: BuildSound) -> Iterator[tuple[str, str]]:
    """Yield each tweeter that plays with the nearest woofer of its side, if of another channel."""
    build, channel = sound.build, sound.build.channel
    places = {name: build.location(name) for name in sorted(sound.circuit.playing)}
    of = {name: sound.circuit.locations[name].channel for name in places}
    known = {each.id for each in build.channels}
    written = {name: place for name, place in places.items() if of[name] in known}
    small = {n for n, place in written.items() if is_tweeter(place, channel(of[n]))}
    for name in written:
        if name not in small:
            continue
        others = [
            other
            for other in written
            if other not in small and written[other].at[1].si * written[name].at[1].si > 0.0
        ]
        nearest = min(others, key=lambda o: _apart(written[o], written[name]), default=name)
        if of[nearest] != of[name]:
            yield nearest, name


def _apart(one: LocationState, other: LocationState) -> float:
    return float(sum((a.si - b.si) ** 2 for a, b in zip(one.at, other.at, strict=True)))


def _handover(
    woofer: str, tweeter: str, flows: Mapping[str, ComplexArray], frequency: FloatArray
) -> Handover | None:
    """Return where two hand over, None where the tweeter is louder or softer all along."""
    low, high = flows[woofer], flows[tweeter]
    inside = np.flatnonzero((frequency > LOWEST) & (frequency < HIGHEST))
    louder = np.abs(high[0, inside]) >= np.abs(low[0, inside])
    if louder.all() or not louder.any():
        return None
    column = inside[np.flatnonzero(~louder)[-1]] if louder[-1] else inside[np.argmax(louder)]
    one, other = low[:, [column]], high[:, [column]]
    powers = np.abs(one) ** 2 + np.abs(other) ** 2
    return Handover(
        woofer,
        tweeter,
        float(frequency[column]),
        np.asarray(decibel(np.abs(one + other) ** 2 / powers)),
        np.asarray(decibel(np.abs(one - other) ** 2 / powers)),
    )
