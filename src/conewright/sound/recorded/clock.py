"""The clock of a recorder against that of the player."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from conewright.physics.basics.arrays import FloatArray

__all__ = ["Clock"]


@dataclass(frozen=True, slots=True)
class Clock:
    """How the time of a recorder follows from that of the player.

    Sample 0 of what was played is heard `start` seconds after the recording begins; recorder time
    is u = start + t (1 + skew) at player time t (skew > 0: the recording is longer than what was
    played).
    """

    start: float
    skew: float = 0.0

    def played(self, count: int, *, rate: float, first: int = 0) -> FloatArray:
        """Return player times [s] of `count` samples from `first` on, shape (count,)."""
        u = np.arange(first, first + count) / rate
        return np.asarray((u - self.start) / (1.0 + self.skew))

    def index(self, played: float, *, rate: float) -> int:
        """Return the sample of the recording that is nearest to a player time [s]."""
        return round((self.start + played * (1.0 + self.skew)) * rate)
