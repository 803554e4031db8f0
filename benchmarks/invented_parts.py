"""Invented parts: a catalogue of any size from a seed, of no maker's parts.

A driver is made from cone, mass, resonance and losses near the typical ones of its size; all its
other figures follow from those, so that its sheet does not contradict itself.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from itertools import count
from math import exp, log

from conewright.data_files import data_rows
from conewright.job.builds.typical import driver_typical, typical_or_none
from conewright.job.quantity.units import to_unit
from conewright.physics.drivers.thiele_small import complete
from conewright.physics.drivers.trust import SHEET_AIR

Row = Mapping[str, str]

SOURCE = "invented"
SUPPLIERS = ("Supplier 1", "Supplier 2", "Supplier 3", "Supplier 4")
SEED = 7
"""Of the catalogue that comes with the program."""
SHARES = {
    "driver": 120,
    "capacitor": 14,
    "ring": 12,
    "adapter": 10,
    "radio": 8,
    "amplifier": 8,
    "cable": 7,
    "fuse": 8,
    "patch": 4,
    "film": 3,
    "repair": 10,
}
"""Parts of each kind of some two hundred."""
SIZES = {
    "25 mm": "tweeter",
    "77 mm": "dash speaker",
    "87 mm": "dash speaker",
    "100 mm": "dash speaker",
    "130 mm": "door woofer",
    "165 mm": "door woofer",
    "200 mm": "bass driver",
    "6x9 in": "shelf speaker",
    "250 mm": "bass driver",
}
UNITS = {
    "re": ("resistance", "ohm"),
    "fs": ("frequency", "Hz"),
    "qms": ("number", ""),
    "qes": ("number", ""),
    "qts": ("number", ""),
    "sd": ("area", "cm2"),
    "vas": ("volume", "L"),
    "mms": ("mass", "g"),
    "cms": ("compliance", "mm/N"),
    "bl": ("force-factor", "T m"),
    "le": ("inductance", "mH"),
    "xmax": ("length", "mm"),
    "power": ("power", "W"),
    "depth": ("length", "mm"),
    "cutout": ("length", "mm"),
    "outer": ("length", "mm"),
    "front_height": ("length", "mm"),
}
LEFT_OUT = ("vas", "cms", "bl", "sensitivity", "le")
"""What a sheet of the trade often does not tell, though it follows or is filled."""


def invented(number: int, *, seed: int = SEED) -> list[Row]:
    """Return so many invented parts of all kinds; the same for the same seed."""
    chance = random.Random(seed)
    total = sum(SHARES.values())
    rows: list[Row] = []
    for kind, share in SHARES.items():
        wanted = max(1, round(number * share / total))
        made: Callable[[random.Random, int], dict[str, str]] = _MAKERS[kind]
        for index in range(wanted):
            row = made(chance, index)
            supplier = chance.choice(SUPPLIERS)
            rows.append({"kind": kind, "supplier": supplier, **_sold(chance), **row})
    return rows[:number] if len(rows) >= number else _longer(rows, chance, number)


def _longer(rows: list[Row], chance: random.Random, number: int) -> list[Row]:
    for index in count(len(rows)):
        if len(rows) >= number:
            break
        rows.append(
            {"kind": "driver", "supplier": SUPPLIERS[0], **_sold(chance), **_driver(chance, index)}
        )
    return rows


def _sold(chance: random.Random) -> dict[str, str]:
    sold = {"currency": "EUR", "source": SOURCE, "seen_at": "2026-01-15", "per": "piece"}
    sold["stock"] = str(chance.choice((0, 2, 4, 6, 12, 40)))
    sold["lead_days"] = str(chance.choice((1, 2, 3, 7, 14)))
    return sold | {"trust": chance.choice(("measured", "measured-by-maker", "sheet", "listing"))}


def _priced(chance: random.Random, low: float, high: float) -> dict[str, str]:
    price = exp(chance.uniform(log(low), log(high)))
    ends = {"price_low": 0.9 * price, "price": price, "price_high": 1.15 * price}
    return {name: f"{value:.2f}" for name, value in ends.items()}


def _letters(index: int) -> str:
    """Return A, B ... Z, AA, AB ..."""
    return (_letters(index // 26 - 1) if index >= 26 else "") + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[
        index % 26
    ]


def _written(value: float, name: str) -> str:
    dimension, unit = UNITS[name]
    return f"{float(f'{to_unit(value, dimension=dimension, unit=unit):.3g}'):.12g} {unit}".strip()


def _near(chance: random.Random, size: str, name: str) -> float:
    """Return a figure between the ends of what is typical of a new driver of a size."""
    typical = driver_typical(size, "new", name).quantity
    low, high = typical.low or 0.8 * typical.value, typical.high or 1.25 * typical.value
    return exp(chance.triangular(log(low), log(high), log(typical.value)))


def _driver(chance: random.Random, index: int) -> dict[str, str]:
    size, called = list(SIZES.items())[index % len(SIZES)]
    rated = chance.choice((2, 4, 4, 4, 8))
    qms = _near(chance, size, "qms")
    qts = min(_near(chance, size, "qts"), 0.8 * qms)
    sheet = complete(
        {
            "re": rated * chance.uniform(0.78, 0.9),
            "fs": _near(chance, size, "fs"),
            "qms": qms,
            "qes": 1.0 / (1.0 / qts - 1.0 / qms),
            "sd": _near(chance, size, "sd"),
            "mms": _near(chance, size, "mms"),
        },
        air=SHEET_AIR,
    )
    plain = {name: float(value) for name, value in sheet.items()}
    plain |= {name: _near(chance, size, name) for name in ("le", "xmax", "power")}
    cells = {name: _written(plain[name], name) for name in UNITS if name in plain}
    cells["sensitivity"] = f"{plain['sensitivity']:.1f} dB"
    for name in chance.sample(LEFT_OUT, chance.randrange(4)):
        cells.pop(name, None)
    stem = "T" if size == "25 mm" else "P"
    part = f"{stem}-{size.replace(' ', '').removesuffix('mm').removesuffix('in')}"
    table = data_rows("catalogue", "driver_prices.csv")
    prices = next(row for row in table if row["size"] == size)
    return {
        "part": f"{part}-{_letters(index // len(SIZES))}",
        "name": f"{part} {called} {_letters(index // len(SIZES))}",
        "size": size,
        "rated_impedance": f"{rated} ohm",
        **cells,
        **_frame(chance, size),
        **_priced(chance, float(prices["low"]), float(prices["high"])),
    }


def _frame(chance: random.Random, size: str) -> dict[str, str]:
    cells = {}
    for name in ("depth", "cutout", "outer", "front_height"):
        found = typical_or_none("frames", size, name)
        if found is None or found.quantity.low is None or found.quantity.high is None:
            continue
        low, high = found.quantity.low, found.quantity.high
        # Of an opening never the last quarter, so that the frame always covers it.
        share = {"cutout": (0.0, 0.5), "outer": (0.5, 1.0)}.get(name, (0.0, 1.0))
        value = low + (high - low) * chance.uniform(*share)
        cells[name] = f"{1e3 * value:.1f} mm"
    if "cutout" in cells and float(cells["cutout"].split()[0]) >= float(cells["outer"].split()[0]):
        cells["outer"] = f"{float(cells['cutout'].split()[0]) + 4:.1f} mm"
    return cells


def _capacitor(chance: random.Random, index: int) -> dict[str, str]:
    value = (1, 1.5, 2.2, 3.3, 4.7, 6.8, 10, 15, 22, 33, 47, 68, 100, 150)[index % 14]
    name = f"C-{value}-{_letters(index // 14)}"
    told = {"part": name, "name": f"{name} tweeter capacitor", "value": f"{value} uF"}
    return told | _priced(chance, 0.8, 9.0)


def _ring(chance: random.Random, index: int) -> dict[str, str]:
    size = list(SIZES)[index % len(SIZES)]
    part = f"R-{size.split()[0]}-{_letters(index // len(SIZES))}"
    told = {"part": part, "name": f"{part} sealing ring", "size": size}
    return told | {"front_height": f"{chance.choice((5, 8, 10, 12))} mm"} | _priced(chance, 3, 12)


def _adapter(chance: random.Random, index: int) -> dict[str, str]:
    inner = chance.choice((94, 115, 128, 142, 146))
    part = f"A-{inner}-{_letters(index)}"
    told = {"part": part, "name": f"{part} adapter plate", "cutout": f"{inner} mm"}
    told |= {"outer": f"{inner + chance.choice((24, 30, 40))} mm"}
    return told | {"depth": f"{chance.choice((6, 12, 18))} mm"} | _priced(chance, 6, 25)


def _radio(chance: random.Random, index: int) -> dict[str, str]:
    told = _stage(chance, "H", "radio", index)
    told["hands_free"] = chance.choice(("yes", "no"))
    return told | _priced(chance, 45, 300)


def _amplifier(chance: random.Random, index: int) -> dict[str, str]:
    return _stage(chance, "M", "amplifier", index) | _priced(chance, 60, 320)


def _stage(chance: random.Random, stem: str, called: str, index: int) -> dict[str, str]:
    part = f"{stem}-{100 + index}"
    return {
        "part": part,
        "name": f"{part} {called} {_letters(index)}",
        "minimum_load": f"{chance.choice((2, 4, 4))} ohm",
        "peak_current": f"{chance.uniform(3.5, 9):.1f} A",
        "clip_loss": f"{chance.uniform(0.1, 0.5):.2f} ohm",
        "output_resistance": f"{chance.uniform(0.02, 0.12):.3f} ohm",
        "junction_to_dash": f"{chance.uniform(1.5, 4):.1f} K/W",
        "channels": str(chance.choice((2, 4, 4))),
    }


def _cable(chance: random.Random, index: int) -> dict[str, str]:
    size = (0.75, 1, 1.5, 2.5, 4, 6, 10)[index % 7]
    metal = "copper" if index % 3 else "clad-aluminium"
    part = f"W-{size:g}-{_letters(index // 7)}"
    told = {"part": part, "name": f"{part} {metal} cable", "value": f"{size:g} mm2", "metal": metal}
    return told | _priced(chance, 0.35 * size + 0.3, size + 0.5) | {"per": "metre"}


def _fuse(chance: random.Random, index: int) -> dict[str, str]:
    value = (3, 5, 7.5, 10, 15, 20, 25, 30)[index % 8]
    part = f"F-{value:g}-{_letters(index // 8)}"
    told = {"part": part, "name": f"{part} fuse and holder", "value": f"{value:g} A"}
    return told | _priced(chance, 5, 20)


def _patch(chance: random.Random, index: int) -> dict[str, str]:
    weight = (2, 3, 4, 6)[index % 4]
    part = f"D-{weight}-{_letters(index // 4)}"
    told = {"part": part, "name": f"{part} bonded patch", "value": f"{weight} kg/m2"}
    return told | {"area": f"{chance.choice((500, 1000, 2500))} cm2"} | _priced(chance, 4, 25)


def _film(chance: random.Random, index: int) -> dict[str, str]:
    part = f"S-{_letters(index)}"
    told = {"part": part, "name": f"{part} water shield film"}
    return told | {"area": f"{chance.choice((5000, 10000, 20000))} cm2"} | _priced(chance, 3, 12)


def _repair(chance: random.Random, index: int) -> dict[str, str]:
    cause = ("surround-torn", "coil-open", "grit-or-water", "cap-unglued")[index % 4]
    size = ("100 mm", "130 mm", "165 mm", "200 mm")[index // 4 % 4]
    part = f"K-{size.split()[0]}-{_letters(index)}"
    told = {"part": part, "name": f"{part} repair kit", "size": size, "cures": cause}
    if cause == "surround-torn":
        told["sheet.fs"] = _written(_near(chance, size, "fs"), "fs")
    return told | _priced(chance, 6, 35)


_MAKERS = {
    "driver": _driver,
    "capacitor": _capacitor,
    "ring": _ring,
    "adapter": _adapter,
    "radio": _radio,
    "amplifier": _amplifier,
    "cable": _cable,
    "fuse": _fuse,
    "patch": _patch,
    "film": _film,
    "repair": _repair,
}
