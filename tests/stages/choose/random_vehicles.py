"""Vehicles of many kinds, each from a seed: places, wiring, amplifiers, faults, filters, wishes."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Any

from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict

__all__ = ["random_job"]

Table = dict[str, Any]

# Usual orders of size, invented; the coaxial one has its tweeter on the frame.
DRIVERS: dict[str, Table] = {
    "cone-165": {"size": "165 mm", "age": "ageing", "rated_impedance": "4 ohm"},
    "coax-165": {
        "size": "165 mm",
        "age": "ageing",
        "re": "3.4 ohm",
        "fs": "70 Hz",
        "qms": 5.0,
        "qes": 1.25,
        "mms": "9.5 g",
        "sd": "124 cm2",
        "le": "0.35 mH",
        "tweeter": {"capacitor": "4.7 uF", "re": "3.3 ohm", "rated_impedance": "4 ohm"},
    },
    "cone-130": {"size": "130 mm", "age": "new", "rated_impedance": "4 ohm"},
    "cone-100": {"size": "100 mm", "age": "ageing", "rated_impedance": "8 ohm"},
    "shunted-130": {
        "size": "130 mm",
        "age": "new",
        "re": "3.3 ohm",
        "fs": "82 Hz",
        "qms": 4.2,
        "qes": 0.8,
        "mms": "8 g",
        "sd": "87 cm2",
        "le": "0.2 mH",
        "l2": "0.3 mH",
        "r2": "4 ohm",
    },
    "dome-25": {"size": "25 mm", "age": "ageing", "rated_impedance": "4 ohm"},
}
DOOR: Table = {
    "mount": {"ring": False},
    "cavity": {"volume": "30 L", "drains": "6 cm2", "panel_holes": "30 cm2", "cover": "none"},
    "trim": {"grille_area": "80 cm2", "edge_gap": "10 cm2"},
}
OPEN: Table = {"mount": {"baffle_width": "200 mm", "baffle_height": "180 mm"}}
BOX: Table = {"cavity": {"volume": "12 L"}}
KINDS: dict[str, tuple[str, Table]] = {
    "door": ("0.30 m", DOOR),
    "panel": ("0.50 m", {"cavity": {"panel_holes": "20 cm2"}, "trim": {"grille_area": "70 cm2"}}),
    "roof": ("1.25 m", {"trim": {"grille_area": "50 cm2"}}),
    "open": ("1.20 m", OPEN),
    "box": ("0.30 m", BOX),
    "pillar": ("0.85 m", {}),
    "shelf": ("0.80 m", {}),
    "dash": ("0.80 m", {}),
}
FULL_RANGE = ("cone-165", "coax-165", "cone-130", "cone-100", "shunted-130")
WITH_TWEETER = (
    "{w} | (10 uF + {t})",
    "{w} | (4.7 uF + 2.2 ohm + {t})",
    "(1 mH + {w}) | (3.3 uF + {t})",
    "{w} | (6.8 uF + -{t})",
    "0.5 ohm + ({w} | (10 uF + {t}))",
)
PAIRED = ("{a} | {b}", "{a} + {b}", "{a} | (2.2 ohm + {b})", "1 ohm + ({a} | -{b})")


@dataclass
class _Vehicle:
    """A vehicle that is being put together."""

    chance: random.Random
    places: list[Table] = field(default_factory=list)
    channels: list[Table] = field(default_factory=list)
    more: Table = field(default_factory=dict)

    def pair(self, stem: str, kind: str, driver: str, forward: float, aside: float) -> None:
        """Put a place at each side."""
        up, told = KINDS[kind]
        for side, y in (("l", aside), ("r", -aside)):
            at = [f"{forward} m", f"{y} m", up]
            place = {"id": f"{stem}-{side}", "kind": kind, "at": at, "driver": driver}
            self.places.append(place | told)

    def channel(self, name: str, load: str, **more: Any) -> None:
        """Put a channel of the radio."""
        cable = {"resistance": f"{self.chance.choice((0.1, 0.3, 0.8))} ohm"}
        self.channels.append({"id": name, "load": load, "cable": cable} | more)


def random_job(seed: int, *, wishes: Table | None = None, small: bool = False) -> Job:
    """Return a vehicle; the same for the same seed.

    Args:
        seed: of its choice.
        wishes: of the owner; all that is heard where left out.
        small: one pair in the front and one in the rear at most, and no faults.

    """
    chance = random.Random(seed)
    vehicle = _Vehicle(chance)
    kind = chance.choice(("door", "door", "door", "dash", "box"))
    vehicle.pair("front", kind, chance.choice(FULL_RANGE), 0.8, 0.7)
    load = "{w}"
    if chance.random() < 0.5 and not small:
        vehicle.pair("small", "pillar", "dome-25", 1.05, 0.62)
        load = chance.choice(WITH_TWEETER)
    turned = chance.random() < 0.3
    set_there = _filters(chance)
    for side in "lr":
        told = load.format(w=f"front-{side}", t=f"small-{side}")
        if side == "r" and turned:
            told = told.replace("front-r", "-front-r")
        vehicle.channel(f"ch-front-{side}", told, **set_there)
    if chance.random() < 0.8:
        _rear(vehicle, small=small)
    if not small:
        _faults(vehicle)
    raw: Table = {
        "format": 1,
        "job": {"title": "invented", "hour_rate": 40, "currency": "EUR"},
        "vehicle": {
            "built": chance.choice((1995, 2006, 2014)),
            "restraints": {"curtain": "none", "door_sensor": "none"},
        },
        "seat": [
            {"id": "driver", "ear": ["0.15 m", "0.36 m", "1.05 m"]},
            {"id": "behind", "ear": ["-0.70 m", "-0.36 m", "1.05 m"]},
        ],
        "head_unit": {"name": "radio", "minimum_load": f"{chance.choice((2, 4))} ohm"},
        "channel": vehicle.channels,
        "location": vehicle.places,
        "wishes": wishes or {"bass": "matters most", "loudness": "matters", "clarity": "matters"},
    }
    used = {place["driver"] for place in vehicle.places}
    raw["driver"] = [{"id": name, **sheet} for name, sheet in DRIVERS.items() if name in used]
    if chance.random() < 0.2:
        raw["vehicle"]["system"] = "24 V"
        raw["converter"] = {"kind": "step-down", "rated_current": "3 A"}
    return from_dict(raw | vehicle.more)


def _filters(chance: random.Random) -> Table:
    told: Table = {}
    if chance.random() < 0.4:
        told["high_pass"] = f"{chance.choice((60, 90, 130))} Hz"
        told["high_pass_slope"] = f"{chance.choice((6, 12, 24))} dB/oct"
    if chance.random() < 0.2:
        told["low_pass"] = "3 kHz"
    if chance.random() < 0.3:
        told["gain"] = f"{chance.choice((-6, -3, 2))} dB"
    return told


def _rear(vehicle: _Vehicle, *, small: bool) -> None:
    chance = vehicle.chance
    kind = chance.choice(("door", "panel", "roof", "shelf", "open", "box"))
    vehicle.pair("rear", kind, chance.choice(FULL_RANGE), -0.9, 0.6)
    load = "{a}"
    if chance.random() < 0.5 and not small:
        vehicle.pair("above", "roof", chance.choice(FULL_RANGE), -1.6, 0.5)
        load = chance.choice(PAIRED)
    amplified = chance.random() < 0.25 and not small
    more = _filters(chance)
    for side in "lr":
        told = load.format(a=f"rear-{side}", b=f"above-{side}")
        if amplified:
            fed: Table = {"load": "none"}
            if chance.random() < 0.5:
                fed["high_pass"] = "70 Hz"
            vehicle.channels.append({"id": f"out-{side}", **fed})
            more = {**more, "driven_by": "box-amplifier", "input": f"out-{side}"}
        vehicle.channel(f"ch-rear-{side}", told, **more)
    if amplified:
        vehicle.more["amplifier"] = [
            {
                "id": "box-amplifier",
                "class": "AB",
                "clean_power": "20 W",
                "clean_load": "4 ohm",
                "minimum_load": "2 ohm",
                "feed": "box-feed",
            }
        ]
        vehicle.more["feed"] = [
            {
                "id": "box-feed",
                "to": "amplifier",
                "fuse": "20 A",
                "length": "4 m",
                "fuse_distance": "250 mm",
                "size": "4 mm2",
                "return_by": "chassis",
            }
        ]


def _faults(vehicle: _Vehicle) -> None:
    chance = vehicle.chance
    if chance.random() < 0.5:
        place = chance.choice(vehicle.places)["id"]
        fault = chance.choice(("coil-open", "surround-torn", "grit-or-water", "coil-shorted"))
        vehicle.more["finding"] = [{"fault": fault, "at": place}]
