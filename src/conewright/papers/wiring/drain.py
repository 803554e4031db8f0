"""How long the battery lasts with the key out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.errors import QuantityError
from conewright.job.quantity.values import parse_quantity
from conewright.physics.battery import days_to_no_start
from conewright.stages.find.faults.effects import HEALTHY, size
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.build.state import Build

__all__ = ["Drain", "Finding", "drain_of"]

LEAST_DAYS, FEW_DAYS = 21.0, 10.0
"""Three weeks to no-start are a pass at hand-over; below the second a week away is a risk."""

SECONDS_PER_HOUR = 3600.0
SLEEP = "sleep-current"


@dataclass(frozen=True, slots=True)
class Finding:
    """One sentence about a cable or the battery."""

    severity: Severity
    text: str


@dataclass(frozen=True, slots=True)
class Drain:
    """How long the vehicle may stand: current asleep [A], usable charge [Ah], days; in words."""

    current_a: float
    charge_ah: float
    days: float
    source: str
    finding: Finding


def drain_of(build: Build) -> Drain | None:
    """Return how long the vehicle may stand; None where the battery's capacity is not known."""
    battery = build.vehicle.battery
    if battery.capacity is None:
        return None
    health = 1.0 if battery.health is None else battery.health.si
    charge = battery.capacity.si * health
    current, source = _sleeping(build)
    days = float(days_to_no_start(charge=charge, current=current))
    return Drain(
        current_a=current,
        charge_ah=charge / SECONDS_PER_HOUR,
        days=days,
        source=source if battery.health else f"{source}; battery taken as new",
        finding=_drain_finding(days, current),
    )


# --- Underneath ---------------------------------------------------------------------------------


def _sleeping(build: Build) -> tuple[float, str]:
    """Return the current with the key out [A] and where it is from."""
    reading = build.job.last_reading(SLEEP, "vehicle")
    if reading is not None and isinstance(reading.value, str):
        try:
            return parse_quantity(reading.value, dimension="current").value, "measured"
        except QuantityError:
            pass
    rest = size(SLEEP, HEALTHY, "vehicle without radio").value
    radio = build.head_unit.sleep_current
    own = size(SLEEP, HEALTHY, "radio").value if radio is None else radio.si
    return rest + own, "a usual vehicle, and the radio"


def _drain_finding(days: float, current: float) -> Finding:
    drawn = number(1e3 * current, "mA")
    text = f"{drawn} asleep: about {_whole(days)} days until it no longer starts."
    if days >= LEAST_DAYS:
        return Finding(Severity.GOOD, text)
    if days >= FEW_DAYS:
        return Finding(Severity.NOTE, f"{text} Too few for three weeks away.")
    return Finding(Severity.WARN, f"{text} Find what stays on, or switch it off with the key.")


def _whole(days: float) -> str:
    return f"{days:.0f}" if days >= FEW_DAYS else f"{days:.1f}"
