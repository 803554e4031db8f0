"""What a channel may ask of the radio of which nobody knows what it drives: part of stage feed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from conewright.job.builds.states.value import Origin
from conewright.stages.find.faults import trade
from conewright.stages.find.instruments.topology import population, usual_error, warmth_spread
from conewright.stages.find.instruments.unknown import loads_in_words, unknown_loads
from conewright.stages.report.data import Kind, Severity
from conewright.stages.report.words import number, with_band

if TYPE_CHECKING:
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.common.load import RadioLoad
    from conewright.stages.find.instruments.unknown import UnknownLoad
    from conewright.stages.report.assembly import Answer

__all__ = ["unwired_figures"]

LEAST_ODDS, MOST_NAMED = 0.02, 3
"""Loads less likely than this have no figure of their own, and no more than these are named."""

FREQUENCIES = (50.0, 100.0, 160.0, 250.0, 400.0, 1000.0, 4000.0, 10000.0, 16000.0)
"""Where the lowest impedance of a usual load is looked for [Hz]."""


def unwired_figures(answer: Answer, radio: RadioLoad) -> None:
    """Add, for each channel of unknown load, the likeliest loads and the lowest impedance."""
    for load in unknown_loads(answer.build):
        for name, chance in load.ranked:
            if chance >= LEAST_ODDS:
                answer.figure(
                    load.channel,
                    f"wiring.{name}",
                    chance,
                    unit="",
                    kind=Kind.ODDS,
                    label=trade.topology(name).title,
                )
        answer.figure(
            load.channel,
            "likely_minimum_impedance",
            _lowest(load, answer.draws.samples),
            unit="ohm",
            label="lowest impedance at the radio plug, over all usual loads by their odds",
            origin=Origin.TYPICAL,
        )
        _say(answer, load, float(radio.allowed[0, 0]))


def _say(answer: Answer, load: UnknownLoad, allowed: float) -> None:
    lowest = answer[f"{load.channel}.likely_minimum_impedance"]
    likely = [(name, chance) for name, chance in load.ranked[:MOST_NAMED] if chance >= LEAST_ODDS]
    told = loads_in_words(likely)
    may_fall = lowest.low is not None and lowest.low < allowed
    end = (
        f"which may be below the {number(allowed, 'ohm')} that the radio bears"
        if may_fall
        else "which the radio bears"
    )
    answer.verdict(
        load.channel,
        "unknown",
        Severity.WARN if may_fall else Severity.NOTE,
        f"{load.channel}: nobody knows yet what hangs on it. Likeliest: {told}. The load falls to "
        f"{with_band(lowest)}, {end}. Heat and current of the radio are without this channel. Find "
        "says what to measure.",
        lowest.id,
    )


def _lowest(load: UnknownLoad, samples: int) -> FloatArray:
    """Lowest impedance of loads in proportion to their odds, shape (1 + samples, 1) [ohm].

    Of the drivers of one load those count more that read as the channel did.
    """
    read = tuple((each.kind, each.frequency) for each in load.taken)
    keys = (*read, *(("impedance", frequency) for frequency in FREQUENCIES))
    found, weights = [], []
    for name, chance in load.ranked:
        logs = population(name, load.context, keys)
        found.append(np.exp(logs[:, len(read) :]).min(axis=1))
        fits = _fits(logs[:, : len(read)], load)
        weights.append(chance * fits / fits.sum())
    values, shares = np.concatenate(found), np.concatenate(weights)
    order = np.argsort(values)
    steps = np.cumsum(shares[order])
    ranks = (np.arange(samples) + 0.5) / samples
    drawn = values[order][np.searchsorted(steps / steps[-1], np.concatenate(([0.5], ranks)))]
    return np.asarray(drawn[:, np.newaxis])


def _fits(logs: FloatArray, load: UnknownLoad) -> FloatArray:
    """How likely what was read is with each driver of a load, shape (samples,), up to a factor."""
    off = np.zeros(len(logs))
    for column, each in zip(logs.T, load.taken, strict=True):
        if np.isfinite(each.ohm) and np.isfinite(column).all():
            error = usual_error(each.kind, each.ohm) if each.error is None else each.error
            width = np.hypot(error / each.ohm, warmth_spread(load.context))
            off += ((column - np.log(each.ohm)) / width) ** 2
    return np.asarray(np.exp(-0.5 * (off - off.min())))
