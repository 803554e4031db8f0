"""What a battery pulse does to a driver: how far the cone moves, and what it costs the coil."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import inf, isfinite

from conewright.errors import BadInputError
from conewright.job.build.state import DriverState
from conewright.job.document.trust import SHEET_AIR
from conewright.physics.coil import Inductor
from conewright.physics.driver import Driver
from conewright.physics.pulse import (
    battery_step,
    first_peak,
    heating_rate,
    settled_current,
    settled_excursion,
)
from conewright.physics.thiele_small import complete
from conewright.stages.find.faults.chains import SMALLEST_CONE
from conewright.stages.find.faults.rows import read_rows
from conewright.stages.report.words import number

__all__ = ["OffsetEffect", "PulseExpectation", "offset_effect", "pulse_expectation"]

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
class PulseExpectation:
    """What a sound driver does on a pulse, + to +.

    Attributes:
        current: once settled; of a driver behind a capacitor at the start [A].
        power: in its coil then [W].
        peak: travel when the cone first turns round, outward [m].
        over_xmax: peak over the excursion limit [1].
        heating: rise of a cold coil [K/s].
        text: what is seen, in words.
        caution: what to beware of; empty where there is nothing.

    """

    current: float
    power: float
    peak: float
    over_xmax: float
    heating: float
    text: str
    caution: str


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


def pulse_expectation(
    driver: DriverState,
    source: str = "cell",
    *,
    series_resistance: float = 0.0,
    capacitance: float = inf,
) -> PulseExpectation:
    """Return what a sound driver does on a battery pulse, battery + on driver +.

    Args:
        driver: as it is in the job, central values, in free air.
        source: `battery`, `battery-resistor` or `cell`.
        series_resistance: of the cable, at the radio plug [ohm].
        capacitance: in series [F]; inf for none.

    Raises:
        BadInputError: no such source.

    """
    battery = _source(source)
    unit, figures = _unit(driver), _figures(driver)
    resistance = battery.resistance + series_resistance
    step = battery_step(
        driver=unit,
        emf=battery.emf,
        resistance=resistance,
        duration=PERIODS / figures["fs"],
        capacitance=capacitance,
    )
    peak, _ = first_peak(step)
    current = float(settled_current(emf=battery.emf, resistance=resistance, re=unit.re))
    power = current**2 * float(unit.re)
    heating = float(heating_rate(power=power, coil_mass=COIL_SHARE * figures["mms"]))
    blocked = isfinite(capacitance)
    over = peak / driver.xmax.si
    return PulseExpectation(
        current=current,
        power=power,
        peak=peak,
        over_xmax=over,
        heating=0.0 if blocked else heating,
        text=_text(peak, blocked),
        caution=_caution(battery, over, heating, figures["sd"], blocked=blocked),
    )


def offset_effect(
    driver: DriverState,
    offset: float,
    *,
    series_resistance: float = 0.0,
    coil_rise: float | None = None,
) -> OffsetEffect:
    """Return what a steady offset of the radio's output does to a driver.

    Args:
        offset: d.c. between the legs [V].
        series_resistance: of output and cable [ohm].
        coil_rise: of the coil in the long run [K/W]; None takes the driver's.

    """
    unit, figures = _unit(driver), _figures(driver)
    current = float(settled_current(emf=offset, resistance=series_resistance, re=unit.re))
    power = current**2 * float(unit.re)
    moved = float(settled_excursion(current=current, bl=figures["bl"], cms=figures["cms"]))
    return OffsetEffect(
        current=current,
        power=power,
        excursion=moved,
        over_xmax=abs(moved) / driver.xmax.si,
        rise=power * (driver.coil_rise.si if coil_rise is None else coil_rise),
    )


def _text(peak: float, blocked: bool) -> str:
    if blocked:
        return "only a click: a capacitor is in the way, and the cone comes straight back"
    if abs(peak) < VISIBLE:
        return "a click; the movement is too small to see"
    return f"the cone steps outward by {number(1e3 * peak, 'mm', spread=2e2 * peak)} at its turn"


def _caution(
    battery: PulseSource, over: float, heating: float, area: float, *, blocked: bool
) -> str:
    if blocked:
        return ""
    if area < SMALLEST_CONE and heating > FAST_HEATING:
        return (
            f"never on a bare tweeter: its coil would warm by {number(heating, spread=heating)} K "
            "each second; use one 1.5 V cell"
        )
    if over > 1.0:
        return (
            f"drives the cone {number(over, spread=over)} times past its limit; use one 1.5 V "
            f"cell, or 10 ohm in series, and tap for less than {battery.tap:g} s"
        )
    return f"tap for less than {battery.tap:g} s"


def _figures(driver: DriverState) -> Mapping[str, float]:
    known = {name: value.si for name, value in driver.basis}
    return {name: float(value) for name, value in complete(known, air=SHEET_AIR).items()}


def _unit(driver: DriverState) -> Driver:
    figures = _figures(driver)
    constants = {name: figures[name] for name in ("re", "bl", "mms", "cms", "rms", "sd")}
    # The coil's inductance is over before anything can be seen, and plays no part.
    return Driver(**constants, coil=Inductor(le=0.0))


def _source(name: str) -> PulseSource:
    try:
        return _sources()[name]
    except KeyError:
        raise BadInputError(f'"{name[:40]}" is no source; {", ".join(_sources())} are') from None


@cache
def _sources() -> Mapping[str, PulseSource]:
    text = files("conewright.stages.find").joinpath("data", FILE).read_text(encoding="utf-8")
    columns = ("source_id", "title", "emf", "resistance", "tap")
    return {
        row.key: PulseSource(
            row.text("title"), row.value("emf"), row.value("resistance"), row.value("tap")
        )
        for row in read_rows(text, file=FILE, columns=columns)
    }
