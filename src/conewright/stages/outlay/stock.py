"""Stock sheets and tools of the workshop, in millimetres; the usual ones where none are listed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations_with_replacement
from typing import get_args

from conewright.data_files import data_rows
from conewright.job.document.bench import Material
from conewright.job.document.document import Document
from conewright.job.quantity.units import MM

__all__ = [
    "FLANGE",
    "OVERLAP",
    "PRESSED",
    "Made",
    "Stack",
    "Stock",
    "made_of",
    "mass_per_area",
    "patch_stock",
    "soft_stacks",
    "stacks",
    "stock_of",
    "usual_stock",
]

OVERLAP = 15.0
"""How far a bonded patch reaches over the edge of its opening [mm]; common practice, no source."""

ENOUGH_MASS = 0.95
"""Share of the wanted mass that a sheet must have: sheets come in steps."""

FLANGE = 3.0
"""How thick a driver's flange is [mm]; common practice, no source."""

PRESSED = (1.2, 2.0)
"""Thickness of a soft ring before it is pressed, over the gap it fills: at least so that it seals,
at most so that it does not push the trim off; common practice, no source."""

MOST_LAYERS = 4
"""Sheets glued on each other for one part; common practice, no source."""

NUMBERS = ("none", "one", "two", "three", "four")

AGREES = 0.05
"""Thicknesses are the same within this [mm]."""


@dataclass(frozen=True, slots=True)
class Stock:
    """A stock sheet: material, thickness, width and height [mm]; `listed` by the job or assumed."""

    material: Material
    thickness: float
    size: tuple[float, float]
    listed: bool

    @property
    def words(self) -> str:
        """What it is called: `6 mm rigid plastic`."""
        return f"{self.thickness:g} mm {made_of(self.material).words}"

    @property
    def mass(self) -> float:
        """Mass for each area [kg/m2]."""
        return mass_per_area(self.material, self.thickness)


@dataclass(frozen=True, slots=True)
class Made:
    """What a material is good for.

    Attributes:
        words: what it is called.
        density: [kg/m3].
        adapter_mm: least thickness of a stiff ring; None where it makes none.
        edge_diameters: from the middle of a screw in it to its edge, in diameters of the screw;
            0 where it makes no ring.
        patch: whether patches are cut from it.
        ring: whether soft rings are.

    """

    words: str
    density: float
    adapter_mm: float | None
    edge_diameters: float
    patch: bool
    ring: bool


@dataclass(frozen=True, slots=True)
class Stack:
    """Sheets on each other, all of one material."""

    layers: tuple[Stock, ...]

    @property
    def thickness(self) -> float:
        """All together [mm]."""
        return sum(layer.thickness for layer in self.layers)

    @property
    def words(self) -> str:
        """How it is built: `6 + 3 mm rigid plastic`."""
        parts = " + ".join(f"{layer.thickness:g}" for layer in self.layers)
        return f"{parts} mm {made_of(self.layers[0].material).words}"

    @property
    def order(self) -> str:
        """What to cut: `Cut one of 10 mm and one of 20 mm closed-cell foam`."""
        count = {layer.thickness: 0 for layer in self.layers}
        for layer in self.layers:
            count[layer.thickness] += 1
        parts = [f"{NUMBERS[n]} of {thickness:g} mm" for thickness, n in count.items()]
        return f"Cut {' and '.join(parts)} {made_of(self.layers[0].material).words}"


@cache
def _materials() -> dict[Material, Made]:
    found = {row["material"]: row for row in data_rows("stages.outlay", "materials.csv")}
    materials: tuple[Material, ...] = get_args(Material)
    return {material: _made(found[material]) for material in materials}


def _made(row: dict[str, str]) -> Made:
    return Made(
        row["words"],
        float(row["density_kg_m3"]),
        float(row["adapter_mm"]) if row["adapter_mm"] else None,
        float(row["edge_diameters"] or 0.0),
        row["patch"] == "yes",
        row["ring"] == "yes",
    )


def made_of(material: Material) -> Made:
    """Return what a material is good for."""
    return _materials()[material]


def mass_per_area(material: Material, thickness: float) -> float:
    """Return the mass of a sheet of some thickness [mm] for each area [kg/m2]."""
    return made_of(material).density * thickness / MM


def stock_of(job: Document) -> tuple[Stock, ...]:
    """Return the sheets a job lists, and the usual ones of every use that it lists none for."""
    listed = tuple(
        Stock(
            sheet.material,
            1e3 * sheet.thickness.value,
            (1e3 * sheet.size[0].value, 1e3 * sheet.size[1].value),
            listed=True,
        )
        for sheet in job.sheets
    )
    uses = {use for sheet in listed for use in _uses(sheet)}
    return (*listed, *(sheet for sheet in usual_stock() if not uses.intersection(_uses(sheet))))


@cache
def usual_stock() -> tuple[Stock, ...]:
    """Return the sheets that any workshop can get."""
    return tuple(
        Stock(
            material,
            float(row["thickness_mm"]),
            (float(row["width_mm"]), float(row["height_mm"])),
            listed=False,
        )
        for row in data_rows("stages.outlay", "stock.csv")
        for material in _materials()
        if material == row["material"]
    )


def _uses(sheet: Stock) -> frozenset[str]:
    """Return what a sheet is mostly there for: adapters, patches or rings."""
    made = made_of(sheet.material)
    if made.ring:
        return frozenset({"ring"})
    if made.adapter_mm is not None and sheet.material != "aluminium":
        return frozenset({"adapter"})
    return frozenset({"patch"})


def patch_stock(sheets: Sequence[Stock], *, wanted: float) -> Stock | None:
    """Return the thinnest sheet that is heavy enough for a patch [kg/m2], None where none is."""
    usable = sorted(
        (sheet for sheet in sheets if made_of(sheet.material).patch), key=lambda each: each.mass
    )
    return next((sheet for sheet in usable if sheet.mass >= ENOUGH_MASS * wanted), None)


def soft_stacks(sheets: Sequence[Stock], *, gap: float) -> tuple[Stack, ...]:
    """Return the stacks of foam that seal a gap [mm] once they are pressed, the best first."""
    soft = [sheet for sheet in sheets if made_of(sheet.material).ring]
    least, most = (gap * share for share in PRESSED)
    return stacks(soft, least=least, most=most) if gap > 0.0 else ()


def stacks(
    sheets: Sequence[Stock], *, least: float, most: float, stiff: bool = False
) -> tuple[Stack, ...]:
    """Return how sheets can be stacked to a thickness, the fewest layers and the thinnest first.

    Args:
        sheets: at hand.
        least: thinnest that will do [mm].
        most: thickest that will do [mm].
        stiff: whether the stack has to be as thick as a stiff ring of its material.

    """
    found = []
    for material in dict.fromkeys(sheet.material for sheet in sheets):
        # One of each thickness: which of two sizes it is cut from is settled when laying out.
        same = list({s.thickness: s for s in sheets if s.material == material}.values())
        floor = made_of(material).adapter_mm if stiff else 0.0
        for count in range(1, MOST_LAYERS + 1):
            found += [
                stack
                for layers in combinations_with_replacement(same, count)
                if floor is not None
                and max(least, floor) - AGREES <= (stack := Stack(layers)).thickness
                and stack.thickness <= most + AGREES
            ]
    return tuple(sorted(found, key=lambda stack: (len(stack.layers), stack.thickness)))
