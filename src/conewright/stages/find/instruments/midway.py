"""Bass in mono, midway between two loudspeakers: how often both are weaker there than one alone.

From the cabin that `hear` uses, with two equal sources: what the test can tell on this vehicle,
before anybody mishears it.
"""

from __future__ import annotations

import numpy as np

from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Origin, Value
from conewright.job.quantity.values import Quantity
from conewright.stages.common.together import Cabin
from conewright.stages.find.instruments.samples import stratified

__all__ = ["weaker_together"]

TONES = np.array([50.0, 63.0, 80.0])
"""What the sound `mono-bass` plays [Hz]."""


def weaker_together(build: Build, left: LocationState, right: LocationState) -> tuple[float, float]:
    """Return the chance that both are weaker than one: connected alike, and one turned round."""
    cabin = Cabin(stratified(build.axes), TONES)
    x, y, z = (_midway(a, b) for a, b in zip(left.at, right.at, strict=True))
    one, other = cabin.pressures(build.vehicle, (left, right), (x, y, z))
    alone = 0.5 * np.sum(np.abs(one) ** 2 + np.abs(other) ** 2, axis=-1)
    alike, turned = (
        float(np.mean(np.sum(np.abs(one + sign * other) ** 2, axis=-1) < alone))
        for sign in (1.0, -1.0)
    )
    return alike, turned


def _midway(a: Value, b: Value) -> Value:
    middle = Quantity.of(0.5 * (a.si + b.si), "length", "m")
    return Value("mono-bass.microphone", middle, Origin.ASSUMED, "as the test asks", signed=True)
