"""What faults do to a driver and to a channel: the physics of the findings that stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from conewright.job.builds.draws import Draws
from conewright.job.builds.standing import capacitors_before
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.builds.states.value import FaultState
from conewright.job.document.fault_names import AMPLIFIER_OFF
from conewright.physics.basics.arrays import FloatArray, Real
from conewright.physics.drivers.coil import scaled_turns
from conewright.physics.drivers.driver import Driver

__all__ = [
    "OPEN",
    "OPEN_FROM",
    "SHORT",
    "SILENCE",
    "ChannelDamage",
    "channel_damage",
    "clean_travel",
    "damaged_driver",
    "dried",
    "leak_area",
]

OPEN = 1e12
"""An open circuit [ohm]: finite, so that every sum stays one, and beyond what any meter reads."""

OPEN_FROM = 1e6
"""From here on a load counts as open [ohm]: nothing on it can be heard."""

SHORT = 1e-9
"""Two wires that touch [ohm]: above 0, for the same reason."""

SILENCE = 1e-12
"""What a dead output still gives of its drive [1]: 240 dB less is nothing."""

COIL_OPEN = frozenset({"coil-open", "tweeter-open"})
SILENT = frozenset({"pair-shorted", "leg-to-chassis", "channel-dead", "channel-offset"})
"""Faults of a channel with which it gives its loudspeakers nothing, whatever hangs on it."""

DRIED = "capacitor-dried"


@dataclass(frozen=True)
class ChannelDamage:
    """What the faults of a channel come to.

    Attributes:
        series: ohms in its cable beyond those of its copper [ohm].
        shorted: its two wires touch before the load.
        silent: nothing on it plays.
        dried: what is left of capacitors [1], and their series resistance [ohm], by key.

    """

    series: FloatArray
    shorted: bool = False
    silent: bool = False
    dried: Mapping[str, tuple[FloatArray, FloatArray]] = field(default_factory=dict)


def channel_damage(
    channel: ChannelState, faults: Iterable[FaultState], draws: Draws
) -> ChannelDamage:
    """Return what is wrong with a channel, of all faults of its build."""
    names = {fault.fault for fault in channel.faults if fault.at == channel.id}
    fed = None if channel.input is None else channel.input.channel
    unfed = any(fault.at == fed and fault.fault in SILENT for fault in channel.faults)
    series = np.full((1, 1), OPEN if "wire-broken" in names else 0.0)
    gone: dict[str, tuple[FloatArray, FloatArray]] = {}
    for fault in channel.faults:
        if fault.fault == "joint-corroded":
            series = series + draws(fault.size("series"))
        if fault.fault == DRIED:
            size = dried((fault,), draws)
            gone |= {part.key: size for part in capacitors_before(fault.at, channel)}
    off = {fault.at for fault in faults if fault.fault == AMPLIFIER_OFF}
    return ChannelDamage(
        series=series,
        shorted="pair-shorted" in names,
        silent=bool(off & {"vehicle", channel.driven_by} or names & SILENT) or unfed,
        dried=gone,
    )


def dried(faults: Iterable[FaultState], draws: Draws) -> tuple[FloatArray, FloatArray]:
    """Return what faults leave of a capacitor [1], and its series resistance [ohm]."""
    left, series = np.ones((1, 1)), np.zeros((1, 1))
    for fault in faults:
        if fault.fault == DRIED:
            left, series = draws(fault.size("left")), draws(fault.size("series"))
    return left, series


def damaged_driver(driver: Driver, faults: Sequence[FaultState], draws: Draws) -> Driver:
    """Return a driver with the faults of its place.

    Shorted turns take their share of wire and of force, and what is left of the inductance goes
    with the square of the turns.
    """
    for fault in faults:
        sizes = {name: draws(value) for name, value in fault.sizes}
        if fault.fault in COIL_OPEN:
            driver = replace(driver, re=OPEN)
        elif fault.fault == "lead-intermittent":
            # The central state is the one that plays.
            apart = sizes["contact"] < fault.size("contact").si
            driver = replace(driver, re=np.where(apart, OPEN, driver.re))
        elif fault.fault == "coil-shorted":
            turns = sizes["turns"]
            driver = replace(
                driver,
                re=driver.re * turns,
                bl=driver.bl * turns,
                coil=scaled_turns(coil=driver.coil, turns=turns),
            )
        driver = replace(
            driver,
            cms=driver.cms / sizes.get("stiffness", 1.0),
            mms=driver.mms * sizes.get("mass", 1.0),
            rms=driver.rms * sizes.get("loss", 1.0),
        )
    return driver


def leak_area(faults: Sequence[FaultState], draws: Draws) -> Real:
    """Area of the slits from the front of a cone to its rear [m2]."""
    leaks = [draws(fault.size("leak")) for fault in faults if "leak" in dict(fault.sizes)]
    return sum(leaks, start=np.zeros((1, 1)))


def clean_travel(faults: Sequence[FaultState], draws: Draws) -> Real:
    """Share of the linear travel within which a driver stays clean [1]: it scrapes or rattles."""
    shares = [draws(fault.size("travel")) for fault in faults if "travel" in dict(fault.sizes)]
    share = np.ones((1, 1))
    for each in shares:
        share = np.minimum(share, each)
    return share
