"""How long the battery lasts with the key out: part of what stage feed answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from conewright.errors import QuantityError
from conewright.job.builds.states.value import Origin, Value
from conewright.job.document.parts import of_year
from conewright.job.quantity.units import to_unit
from conewright.job.quantity.values import parse_quantity
from conewright.physics.electrics.battery import SELF_DISCHARGE, SPENDABLE, days_to_no_start
from conewright.stages.common.changes import as_found
from conewright.stages.common.load import asleep
from conewright.stages.find.instruments.readouts import usual_asleep
from conewright.stages.find.instruments.samples import stratified
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from conewright.job.builds.draws import Draws
    from conewright.job.builds.states.build import Build
    from conewright.physics.basics.arrays import FloatArray
    from conewright.stages.report.assembly import Answer
    from conewright.stages.report.data import Figure

__all__ = ["drain_figures", "drain_verdict"]

LEAST_DAYS, FEW_DAYS = 21.0, 10.0
"""Three weeks to no-start are a pass at hand-over; below the second a week away is a risk."""

SLEEP = "sleep-current"
VEHICLE = "vehicle"
DRAIN = "sleep-drain"
REST, RADIO = AXES = (f"{SLEEP}:vehicle", f"{SLEEP}:radio")
"""What is drawn apart from the job's own axes, which stay as they are without it."""


def drain_figures(answer: Answer) -> None:
    """Add how long the vehicle may stand, and what that follows from."""
    current = _sleeping(answer.build, answer.draws)
    milliamperes = to_unit(current.draws, dimension="current", unit="mA")
    answer.figure(
        VEHICLE,
        "sleep_current",
        np.asarray(milliamperes),
        unit="mA",
        label="current with the key out, vehicle asleep",
        origin=current.origin,
        text=current.source,
    )
    battery = answer.build.vehicle.battery
    if battery.capacity is None:
        for name, unit, label in (CHARGE, DAYS):
            answer.figure(VEHICLE, name, None, unit=unit, label=label, text=NO_CAPACITY)
        return
    health = battery.health
    charge = answer.draws(battery.capacity) * (1.0 if health is None else answer.draws(health))
    known = [battery.capacity.origin, Origin.ASSUMED if health is None else health.origin]
    for (name, unit, label), values, origins, text in (
        (CHARGE, charge / SECONDS_PER_HOUR, known, None if health else "battery taken as new"),
        (
            DAYS,
            days_to_no_start(charge=charge, current=current.draws),
            [*known, current.origin],
            None,
        ),
    ):
        answer.figure(
            VEHICLE,
            name,
            np.asarray(values),
            unit=unit,
            label=label,
            origin=max(origins, key=list(Origin).index),
            text=text,
        )
    _working(answer)


def drain_verdict(answer: Answer) -> None:
    """Say whether the vehicle may stand for as long as vehicles do."""
    days = answer[f"{VEHICLE}.days_to_no_start"]
    if days.value is None:
        return
    drawn = number(answer.value(f"{VEHICLE}.sleep_current"), "mA")
    text = f"{drawn} asleep: about {_whole(days.value)} days until it no longer starts"
    text = f"{text}{_band(days)}."
    if days.value >= LEAST_DAYS:
        severity = Severity.GOOD
    elif days.value >= FEW_DAYS:
        severity, text = Severity.NOTE, f"{text} Too few for three weeks away."
    else:
        severity = Severity.WARN
        text = f"{text} Find what stays on, or switch it off with the key."
    answer.verdict(VEHICLE, "drain", severity, text, days.id, f"{VEHICLE}.sleep_current")


# --- Underneath ---------------------------------------------------------------------------------

SECONDS_PER_HOUR = 3600.0
CHARGE = ("battery_charge", "Ah", "charge that the battery holds when full")
DAYS = ("days_to_no_start", "days", "days with the key out until it no longer starts")
NO_CAPACITY = "not known: the battery's capacity is not written down"


@dataclass(frozen=True, slots=True)
class _Sleeping:
    """Current with the key out, draws [A], shape (draws, 1), and where it is from."""

    draws: FloatArray
    origin: Origin
    source: str


def _sleeping(build: Build, draws: Draws) -> _Sleeping:
    apart = stratified(AXES, samples=draws.samples)
    reading = build.job.last_reading(SLEEP, VEHICLE)
    if _ended(build):
        reading = None  # it was taken while the drain was there
    if reading is not None and isinstance(reading.value, str):
        try:
            read = parse_quantity(reading.value, dimension="current", nonnegative=True)
        except QuantityError:
            pass  # in words, or in a unit that is none of a current
        else:
            measured = apart(Value(REST, read, Origin.MEASURED, "the job"))
            if build.converter is not None and as_found(build).converter is None:
                own = draws(build.converter.idle_current)
                return _Sleeping(measured + own, Origin.TYPICAL, "measured, and the new converter")
            return _Sleeping(measured, Origin.MEASURED, "measured")
    rest = apart(Value(REST, usual_asleep(build, "vehicle"), Origin.TYPICAL, ""))
    drain = next((fault for fault in build.faults if fault.fault == DRAIN), None)
    if drain is not None:
        found = rest + draws(drain.size("current"))
        return _Sleeping(found, Origin.TYPICAL, "a usual vehicle, and the drain that was found")
    radio = build.head_unit.sleep_current
    usual = Value(RADIO, usual_asleep(build, "radio"), Origin.TYPICAL, "")
    own = asleep(build, apart(usual) if radio is None else draws(radio), draws)
    fitted = "the radio" if build.converter is None else "the radio behind its converter"
    return _Sleeping(rest + own, Origin.TYPICAL, f"a usual vehicle{_of(build)}, and {fitted}")


def _of(build: Build) -> str:
    """Return the year that a usual vehicle is of, where that counts."""
    built = build.job.vehicle.built
    return "" if of_year("computers", built) else f" of {built}"


def _ended(build: Build) -> bool:
    """Whether a drain that was found is not there in this build."""
    known = any(finding.fault == DRAIN for finding in build.job.findings)
    return known and all(fault.fault != DRAIN for fault in build.faults)


def _whole(days: float) -> str:
    return f"{days:.0f}" if days >= FEW_DAYS else f"{days:.1f}"


def _band(days: Figure) -> str:
    low, high = days.low, days.high
    return (
        "" if low is None or high is None or low == high else f" ({_whole(low)} to {_whole(high)})"
    )


def _working(answer: Answer) -> None:
    charge, current = answer[f"{VEHICLE}.battery_charge"], answer[f"{VEHICLE}.sleep_current"]
    answer.work(
        f"{VEHICLE}.days_to_no_start",
        f"{SPENDABLE:g} Q / (I + {SELF_DISCHARGE:g} Q a day)",
        f"Q {number(answer.value(charge.id), 'Ah')}, I {number(answer.value(current.id), 'mA')}: "
        f"{number(answer.value(f'{VEHICLE}.days_to_no_start'), 'days')}",
        "share that starts no more from a maker's service bulletin; self-discharge common "
        "practice, no source",
        "vehicle.battery.capacity",
        "vehicle.battery.health",
        "head_unit.sleep_current",
    )
