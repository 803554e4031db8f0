"""Faults that can be taken as established, by what they are at."""

from __future__ import annotations

from typing import Literal, get_args

__all__ = [
    "AMPLIFIER_OFF",
    "CHANNEL_FAULTS",
    "FAULTS",
    "PLACE_FAULTS",
    "VEHICLE_FAULTS",
    "FaultName",
]

PlaceFault = Literal[
    "surround-torn",
    "coil-open",
    "coil-rubbing",
    "coil-shorted",
    "tweeter-open",
    "capacitor-dried",
    "lead-intermittent",
    "reversed",
    "trim-rattle",
    "mount-loose",
    "grit-or-water",
    "cap-unglued",
    "panel-open",
]
ChannelFault = Literal[
    "wire-broken",
    "joint-corroded",
    "leg-to-chassis",
    "pair-shorted",
    "channel-dead",
    "channel-offset",
]
AMPLIFIER_OFF = "amplifier-off"
"""At an amplifier that is written down, else at the vehicle."""

VehicleFault = Literal["amplifier-off", "supply-sag", "sleep-drain", "microphone", "settings"]

FaultName = Literal[PlaceFault, ChannelFault, VehicleFault]
"""A fault as a state of the vehicle. A load too low is none: it follows from the load."""

PLACE_FAULTS: tuple[str, ...] = get_args(PlaceFault)
CHANNEL_FAULTS: tuple[str, ...] = get_args(ChannelFault)
VEHICLE_FAULTS: tuple[str, ...] = get_args(VehicleFault)
FAULTS = (*PLACE_FAULTS, *CHANNEL_FAULTS, *VEHICLE_FAULTS)
