"""What outputs give before they clip: bounds of the volts and amps of a radio or an amplifier."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conewright.stages.common.load import lowest_borne, supply_limit
from conewright.stages.hear.ceiling import LEAST_LEFT, PEAK_TO_RMS

if TYPE_CHECKING:
    from conewright.job.builds.draws import Draws
    from conewright.job.builds.states.build import Build
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.common.load import AmplifierLoad

__all__ = ["Output"]


@dataclass(frozen=True)
class Output:
    """The output stage of a radio or an amplifier in its central state.

    Attributes:
        supply: at its plug; of an amplifier the peak volts that an open output swings by [V].
        feed: resistance of what feeds it; none of an amplifier, which sags little at its best
            [ohm].
        own, clip: resistance of an output, and what it loses as it clips [ohm].
        peak: current of an output [A].
        swing: share of the supply that an output swings by [1].
        quiet: current at rest [A].
        limit: mean current that it is fed for good; inf without a converter [A].
        borne: least load of an output [ohm].

    """

    supply: float
    feed: float
    own: float
    clip: float
    peak: float
    swing: float
    quiet: float
    limit: float
    borne: float

    @staticmethod
    def of(build: Build, draws: Draws) -> Output:
        """Return that of a build."""
        radio = build.head_unit

        def at(values: FloatArray) -> float:
            return float(values[0, 0])

        return Output(
            supply=at(draws(radio.supply)),
            feed=at(draws(radio.feed_resistance)),
            own=at(draws(radio.output_resistance)),
            clip=at(draws(radio.clip_loss)),
            peak=at(draws(radio.peak_current)),
            swing=radio.swing,
            quiet=at(draws(radio.quiescent_current)),
            limit=at(supply_limit(build, draws)),
            borne=at(lowest_borne(radio, draws)),
        )

    @staticmethod
    def amplified(unit: AmplifierLoad) -> Output:
        """Return that of an amplifier whose supply does not sag."""
        return Output(
            supply=float(unit.swing[0, 0]),
            feed=0.0,
            own=float(unit.draws(unit.state.output_resistance)[0, 0]),
            clip=float(unit.clip_loss[0, 0]),
            peak=float(unit.most_current[0, 0]),
            swing=1.0,
            quiet=0.0,
            limit=np.inf,
            borne=float(unit.allowed[0, 0]),
        )

    @property
    def sagging(self) -> float:
        """Sag of the supply for each ampere of peak current of all outputs together [V/A]."""
        return self.feed * (2.0 / np.pi) * self.swing

    def lost(self, conductance: FloatArray) -> FloatArray:
        """Return by what factor a load of some conductance at least raises the volts it takes [1].

        1/k with k = swing |Z + Ro|/|Z + Rclip|: it grows with the conductance and with the
        susceptance where Rclip is the larger, so it is least without any of the latter.
        """
        if self.clip < self.own:
            return np.full_like(conductance, self.clip / self.own / self.swing)
        return (1.0 + self.clip * conductance) / (1.0 + self.own * conductance) / self.swing

    def by_volts(self, squared: FloatArray) -> FloatArray:
        """Return the EMF of programme at which volts end, of the mean of (V/Vs)^2 for 1 V [V]."""
        return np.asarray(self.supply * np.sqrt(2.0 / squared) / PEAK_TO_RMS)

    def by_feed(self, squared: FloatArray) -> FloatArray:
        """Return the same by what it is fed, of the mean of the squared peak current of all outputs
        for 1 V; inf without a converter [V].
        """
        fed = max(self.limit - self.quiet, LEAST_LEFT) / (2.0 / np.pi * self.swing)
        return np.asarray(fed * np.sqrt(2.0 / np.maximum(squared, 1e-30)) / PEAK_TO_RMS)

    def by_amps(self, squared: FloatArray) -> FloatArray:
        """Return the same by amps, of the mean of the squared peak current for 1 V [V]."""
        return np.asarray(self.peak * np.sqrt(2.0 / np.maximum(squared, 1e-30)) / PEAK_TO_RMS)
