"""What a battery pulse does to a driver: how far the cone moves, and what it costs the coil."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import inf, isfinite

from conewright.data_files import data_text
from conewright.job.builds.states.drivers import DriverState
from conewright.physics.drivers.coil import Inductor
from conewright.physics.drivers.driver import Driver
from conewright.physics.drivers.pulse import (
    battery_step,
    first_peak,
    heating_rate,
    settled_current,
    settled_excursion,
)
from conewright.stages.find.faults.chains import SMALLEST_CONE
from conewright.stages.find.faults.rows import read_rows
from conewright.stages.report.words import number

__all__ = [
    "Feed",
    "OffsetEffect",
    "PulseExpectation",
    "PulseSource",
    "coil_resistance",
    "forbidden",
    "offset_effect",
    "pulse_expectation",
    "pulse_sources",
]

FILE = "pulse.csv"

COIL_SHARE = 0.34
"""Mass of the coil over the moving mass [1]: 0.12 g of a usual 25 mm dome; assumed, no source."""

VISIBLE = 0.2e-3
"""A cone that moves less than this is not seen to move [m]; workshop experience, from memory."""

FAST_HEATING = 50.0
"""A coil that warms faster than this is in danger while one looks [K/s]; from memory."""

# The slowest cone has settled after this many of its own periods.
PERIODS = 3.0


@dataclass(frozen=True, slots=True)
class PulseSource:
    """A battery with what is in series with it: e.m.f. [V], resistance [ohm], longest tap [s]."""

    title: str
    emf: float
    resistance: float
    tap: float


@dataclass(frozen=True, slots=True)
class Feed:
    """What a driver's terminals are fed from.

    Attributes:
        emf: voltage with the driver taken off, its + to its - [V].
        resistance: in series, that of the source included [ohm].
        capacitance: in series [F]; inf for none.

    """

    emf: float
    resistance: float
    capacitance: float = inf


@dataclass(frozen=True, slots=True)
class PulseExpectation:
    """What a sound driver does on a pulse, + to +.

    Attributes:
        current: once settled; of a driver behind a capacitor at the start [A].
        power: in its coil then [W].
        peak: travel when the cone first turns round, outward [m].
        over_xmax: peak over the excursion limit [1].
        heating: rise of a cold coil [K/s]; 0 behind a capacitor.
        blocked: a capacitor is in the way.

    """

    current: float
    power: float
    peak: float
    over_xmax: float
    heating: float
    blocked: bool

    @property
    def seen(self) -> str:
        """What the eye sees, in words."""
        if self.blocked:
            return "only a click: a capacitor is in the way, and the cone comes straight back"
        if abs(self.peak) < VISIBLE:
            return "a click; the cone moves too little to be seen"
        return f"the cone steps outward by {number(1e3 * self.peak, 'mm', spread=2e2 * self.peak)}"


@dataclass(frozen=True, slots=True)
class OffsetEffect:
    """What a d.c. offset of an output does to a driver.

    Attributes:
        current: [A]; power: in the coil, cold [W]; excursion: [m]; over_xmax: [1].
        rise: of the coil in the long run, at most: that of the cold coil's power [K].

    """

    current: float
    power: float
    excursion: float
    over_xmax: float
    rise: float


def pulse_expectation(driver: DriverState, feed: Feed) -> PulseExpectation:
    """Return what a sound driver does on a battery pulse, battery + on driver +.

    Args:
        driver: as it is in the job, central values, in free air.
        feed: the battery as the driver's terminals see it.

    """
    unit, figures = _unit(driver), driver.figures()
    step = battery_step(
        driver=unit,
        emf=feed.emf,
        resistance=feed.resistance,
        duration=PERIODS / figures["fs"],
        capacitance=feed.capacitance,
    )
    peak, _ = first_peak(step)
    current = float(settled_current(emf=feed.emf, resistance=feed.resistance, re=unit.re))
    power = current**2 * float(unit.re)
    blocked = isfinite(feed.capacitance)
    heating = float(heating_rate(power=power, coil_mass=COIL_SHARE * figures["mms"]))
    return PulseExpectation(
        current=current,
        power=power,
        peak=peak,
        over_xmax=peak / driver.xmax.si,
        heating=0.0 if blocked else heating,
        blocked=blocked,
    )


def forbidden(driver: DriverState, found: PulseExpectation) -> str:
    """Say why a source may not be put on a driver; nothing where it may.

    Args: found: what it does there.
    """
    if found.blocked:
        return ""
    power = number(found.power, "W", spread=0.3 * found.power)
    if driver.figures()["sd"] < SMALLEST_CONE and found.heating > FAST_HEATING:
        warmed = number(found.heating, "K", spread=found.heating)
        return f"{power} in a bare tweeter's coil would warm it by {warmed} each second"
    if found.over_xmax > 1.0:
        times = number(found.over_xmax, spread=found.over_xmax)
        return f"it drives the cone {times} times past its limit, with {power} in the coil"
    return ""


def offset_effect(driver: DriverState, feed: Feed) -> OffsetEffect:
    """Return what a steady offset of the radio's output does to a driver.

    Args:
        driver: as it is in the job, central values.
        feed: the offset as the driver's terminals see it; a capacitor keeps it off.

    """
    unit, figures = _unit(driver), driver.figures()
    current = float(settled_current(emf=feed.emf, resistance=feed.resistance, re=unit.re))
    power = current**2 * float(unit.re)
    moved = float(settled_excursion(current=current, bl=figures["bl"], cms=figures["cms"]))
    return OffsetEffect(
        current=current,
        power=power,
        excursion=moved,
        over_xmax=abs(moved) / driver.xmax.si,
        rise=power * driver.coil_rise.si,
    )


def coil_resistance(driver: DriverState) -> float:
    """Return the cold resistance of a driver's coil, central value [ohm]."""
    return driver.figures()["re"]


def _unit(driver: DriverState) -> Driver:
    figures = driver.figures()
    constants = {name: figures[name] for name in ("re", "bl", "mms", "cms", "rms", "sd")}
    # The coil's inductance is over before anything can be seen, and plays no part.
    return Driver(**constants, coil=Inductor(le=0.0))


@cache
def pulse_sources() -> Mapping[str, PulseSource]:
    """Return the batteries of the table by id: `cell`, `battery-resistor`, `battery`."""
    text = data_text("stages.find", FILE)
    columns = ("source_id", "title", "emf", "resistance", "tap")
    return {
        row.key: PulseSource(
            row.text("title"), row.value("emf"), row.value("resistance"), row.value("tap")
        )
        for row in read_rows(text, file=FILE, columns=columns)
    }
