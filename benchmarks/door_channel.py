"""The channel that the benchmark solves: a woofer in a door and a tweeter behind a capacitor.

Sampled: Re, Bl, Mms and Cms of both drivers, rear and trim volume, and the areas of drains,
panel holes, grille and edge gap. Power-law coils, wall friction and film as in a real answer.
"""

from dataclasses import replace
from typing import Any

import numpy as np

from conewright.physics.acoustics.door import mounted_load
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import Complex, ComplexArray, FloatArray
from conewright.physics.drivers.coil import power_law_from_inductance
from conewright.physics.drivers.driver import Driver, loaded
from conewright.physics.electrics.wiring import Leaf, Parallel, Series, capacitor, solve_tree

SAMPLES = 1000
POINTS_PER_DECADE = 170
FREQUENCY: FloatArray = 20.0 * 10.0 ** (np.arange(512) / POINTS_PER_DECADE)
AIR = Air()
SOURCE, CAPACITANCE, ESR = 0.43, 4.7e-6, 0.3
TREE = Series((Leaf("source"), Parallel((Leaf("woofer"), Series((Leaf("cap"), Leaf("tweeter")))))))
WOOFER = Driver(
    re=3.4,
    bl=5.25,
    mms=14.1e-3,
    cms=0.44e-3,
    rms=1.17,
    sd=130e-4,
    coil=power_law_from_inductance(le=0.5e-3, n=0.7),
)
TWEETER = Driver(
    re=3.4,
    bl=2.25,
    mms=0.35e-3,
    cms=32e-6,
    rms=1.32,
    sd=6.5e-4,
    coil=power_law_from_inductance(le=0.03e-3, n=0.7),
)
DOOR: dict[str, Any] = {
    "air": AIR,
    "sd": WOOFER.sd,
    "ring": True,
    "rear_volume": 45e-3,
    "rear_q": 10.0,
    "drain_area": 6e-4,
    "drain_count": 3,
    "drain_q": 6.0,
    "panel_area": 10e-4,
    "panel_count": 1,
    "panel_q": 6.0,
    "cover_mass": 0.1,
    "steel": 0.8e-3,
    "grille_area": 90e-4,
    "grille_extent": 200e-4,
    "trim_gap": 22e-3,
    "grille_resistance": 50.0,
    "front_volume": 0.6e-3,
    "trim_volume": 6e-3,
    "edge_area": 12e-4,
}
DRIVER_SPREAD = {"re": 0.03, "bl": 0.08, "mms": 0.08, "cms": 0.15}
DOOR_SPREAD = {
    "rear_volume": 0.3,
    "trim_volume": 0.3,
    "drain_area": 0.5,
    "panel_area": 0.5,
    "grille_area": 0.2,
    "edge_area": 0.4,
}

Drawn = dict[str, dict[str, FloatArray]]


def draw() -> Drawn:
    """Log-normal samples of everything sampled, each of shape (SAMPLES, 1)."""
    random = np.random.default_rng(20)

    def spread(central: Any, sigma: float) -> FloatArray:
        values: FloatArray = central * np.exp(sigma * random.standard_normal((SAMPLES, 1)))
        return values

    return {
        "woofer": {key: spread(getattr(WOOFER, key), s) for key, s in DRIVER_SPREAD.items()},
        "tweeter": {key: spread(getattr(TWEETER, key), s) for key, s in DRIVER_SPREAD.items()},
        "door": {key: spread(DOOR[key], s) for key, s in DOOR_SPREAD.items()},
    }


def solve(drawn: Drawn, rows: slice) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Plug impedance and both outputs per volt, for some of the samples."""
    taken: dict[str, dict[str, Any]] = {
        part: {key: value[rows] for key, value in values.items()} for part, values in drawn.items()
    }
    woofer = replace(WOOFER, **taken["woofer"])
    tweeter = replace(TWEETER, **taken["tweeter"])
    mount = mounted_load(**{**DOOR, **taken["door"]}, frequency=FREQUENCY)
    low = loaded(driver=woofer, acoustic_load=mount.impedance, frequency=FREQUENCY)
    high = loaded(driver=tweeter, acoustic_load=0.0, frequency=FREQUENCY)
    impedances: dict[str, Complex] = {
        "source": SOURCE,
        "cap": capacitor(capacitance=CAPACITANCE, esr=ESR, frequency=FREQUENCY),
        "woofer": low.impedance,
        "tweeter": high.impedance,
    }
    solved = solve_tree(tree=TREE, impedances=impedances, voltage=1.0)
    woofer_output = solved.voltages["woofer"] * low.velocity_per_volt * mount.share * woofer.sd
    tweeter_output = solved.voltages["tweeter"] * high.velocity_per_volt * tweeter.sd
    return solved.impedance, woofer_output, tweeter_output
