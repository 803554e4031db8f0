"""What is round a driver in its place, for a fit that takes it off again."""

from __future__ import annotations

import numpy as np

from conewright.job.builds.draws import SCORE_AT_95, Draws
from conewright.job.builds.states.build import Build
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.measured.impedance_fit import Mount
from conewright.stages.common.circuit import Solver

__all__ = ["mount_of"]


def mount_of(build: Build | None, at: str, frequency: FloatArray) -> Mount | None:
    """Return what loads the driver at a place; None on the bench, or where nothing encloses it.

    Args:
        build: the vehicle as found.
        at: id of the place.
        frequency: of the points [Hz], shape (F,).

    What is not known of the place are the scores of its random axes, which are normal: 0 as it
    usually is, 1 a standard deviation off.
    """
    place = None if build is None else next((p for p in build.locations if p.id == at), None)
    if build is None or place is None:
        return None
    axes = tuple(path for path in build.axes if _is_of(path, at))
    driver = place.driver
    figures = driver.figures()
    air = Air(temperature=build.vehicle.temperature.si)
    sd = float(np.ravel(figures["sd"])[0])
    mms = float(np.ravel(figures["mms"])[0])
    everything = build.axes

    def load(scores: FloatArray) -> ComplexArray:
        row = np.zeros((1, len(everything)))
        row[0, [everything.index(path) for path in axes]] = scores
        solver = Solver(Draws(everything, row), frequency)
        found = np.atleast_2d(solver.load_on(place, sd, air).impedance)
        return np.asarray(np.broadcast_to(found[-1], frequency.shape))

    return Mount(
        load=load,
        typical=np.zeros(len(axes)),
        spread=np.ones(len(axes)),
        mms=mms,
        mass_spread=_mass_spread(driver.written.get("mms")),
        sd=sd,
        air=air,
    )


def _is_of(path: str, at: str) -> bool:
    """Whether an axis is of what encloses a place."""
    place, _, rest = path.partition(".")
    return place == at and rest.partition(".")[0] in ("cavity", "trim")


def _mass_spread(value: object) -> float:
    """Standard deviation of the logarithm of a driver's moving mass."""
    quantity = getattr(value, "quantity", None)
    low, high = getattr(quantity, "low", None), getattr(quantity, "high", None)
    if not low or not high or high <= low:
        return 0.1
    return float(np.log(high / low) / (2.0 * SCORE_AT_95))
