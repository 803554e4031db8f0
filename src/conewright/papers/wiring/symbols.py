"""Symbols of the parts of a load, in the manner of IEC 60617 (from memory); SVG in millimetres.

Each stands on a line from above to below; `reach` is how far it covers that line, up and down.
"""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["symbol"]

STROKE = 'fill="white" stroke="black" stroke-width="0.5" stroke-linejoin="round"'
Marks = tuple[float, list[str]]


def symbol(kind: str, x: float, y: float) -> Marks:
    """Return the reach of a symbol and its marks, centred on a point [mm]."""
    return SYMBOLS[kind](x, y)


def _driver(x: float, y: float) -> Marks:
    """A loudspeaker: a box with a horn, facing right."""
    box = f'<rect x="{x - 2:.2f}" y="{y - 3:.2f}" width="4" height="6" {STROKE}/>'
    horn = (
        f'<path d="M{x + 2:.2f} {y - 3:.2f}L{x + 6:.2f} {y - 6:.2f}V{y + 6:.2f}'
        f'L{x + 2:.2f} {y + 3:.2f}Z" {STROKE}/>'
    )
    return 3.0, [box, horn]


def _capacitor(x: float, y: float) -> Marks:
    plates = [
        f'<path d="M{x - 4:.2f} {y + side:.2f}H{x + 4:.2f}" stroke="black" stroke-width="0.7"/>'
        for side in (-0.9, 0.9)
    ]
    return 0.9, plates


def _inductor(x: float, y: float) -> Marks:
    bows = "".join("a1.5 1.5 0 0 1 0 3" for _ in range(3))
    path = f'<path d="M{x:.2f} {y - 4.5:.2f}{bows}" fill="none" stroke="black" stroke-width="0.5"/>'
    return 4.5, [path]


def _resistor(x: float, y: float) -> Marks:
    return 4.0, [f'<rect x="{x - 1.5:.2f}" y="{y - 4:.2f}" width="3" height="8" {STROKE}/>']


def _wire(x: float, y: float) -> Marks:
    """A length of wire: two strokes across its line."""
    strokes = "".join(f"M{x - 1.6:.2f} {y + d + 0.8:.2f}l3.2 -1.6" for d in (-0.7, 0.7))
    return 0.0, [f'<path d="{strokes}" stroke="black" stroke-width="0.4"/>']


SYMBOLS: dict[str, Callable[[float, float], Marks]] = {
    "driver": _driver,
    "capacitor": _capacitor,
    "inductor": _inductor,
    "resistor": _resistor,
    "wire": _wire,
}
