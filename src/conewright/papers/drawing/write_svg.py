"""A drawing as SVG whose user unit is one millimetre."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from conewright.papers.drawing.geometry import (
    Arc,
    Box,
    Circle,
    Drawing,
    Ellipse,
    Entity,
    Label,
    Layer,
    Line,
    Polygon,
)

__all__ = ["MARGIN_MM", "svg"]

MARGIN_MM = 2.0
"""Empty room around a drawing, so that no line lies on the edge of the picture [mm]."""

CAPITAL = 0.729
"""Height of a capital letter over the size of the letters, DejaVu Sans."""

_PENS: dict[Layer, str] = {
    "mark": 'fill="none" stroke="#777" stroke-width="0.1"',
    "drill": 'fill="none" stroke="#000" stroke-width="0.1"',
    "cut": 'fill="none" stroke="#000" stroke-width="0.1"',
    "text": 'fill="#555" stroke="none" font-family="DejaVu Sans, sans-serif"',
}
"""Layers from the lowest to the topmost, each with its pen."""

_UNPROVED = 'fill="none" stroke="#888" stroke-width="0.2" stroke-dasharray="2 1.5"'
"""Pen of what must not be cut along yet."""


def svg(drawing: Drawing, *, window: Box | None = None, proved: bool = True) -> str:
    """Return a drawing as SVG, true to size: user units and printed size are millimetres.

    Args:
        drawing: what is drawn.
        window: part of it that is shown, as left, lower, right and upper end [mm]; all of it and
            a margin when None.
        proved: whether it may be cut along; else what is cut or drilled is dashed and grey.

    """
    left, low, right, high = window or _framed(drawing.bounds)
    width, height = _number(right - left), _number(high - low)
    pens = _PENS if proved else {**_PENS, "drill": _UNPROVED, "cut": _UNPROVED}
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="{_number(left)} {_number(-high)} {width} {height}">',
            f"<title>{escape(drawing.title)}</title>",
            *(_layer(layer, pen, drawing.on(layer)) for layer, pen in pens.items()),
            "</svg>\n",
        ]
    )


def _framed(bounds: Box) -> Box:
    left, low, right, high = bounds
    return left - MARGIN_MM, low - MARGIN_MM, right + MARGIN_MM, high + MARGIN_MM


def _layer(layer: Layer, pen: str, entities: Iterable[Entity]) -> str:
    drawn = "\n".join(_element(entity) for entity in entities)
    return f'<g id="{layer}" {pen}>\n{drawn}\n</g>'


def _element(entity: Entity) -> str:
    if isinstance(entity, Circle):
        x, y = entity.centre
        return f'<circle cx="{_number(x)}" cy="{_number(-y)}" r="{_number(entity.radius)}"/>'
    if isinstance(entity, Ellipse):
        return _ellipse(entity)
    if isinstance(entity, Arc):
        return _arc(entity)
    if isinstance(entity, Line):
        (x1, y1), (x2, y2) = entity.start, entity.end
        return (
            f'<line x1="{_number(x1)}" y1="{_number(-y1)}" x2="{_number(x2)}" y2="{_number(-y2)}"/>'
        )
    if isinstance(entity, Polygon):
        corners = " ".join(f"{_number(x)},{_number(-y)}" for x, y in entity.points)
        return f'<polygon points="{corners}"/>'
    return _label(entity)


def _ellipse(ellipse: Ellipse) -> str:
    (x, y), (a, b) = ellipse.centre, ellipse.half_axes
    place = f"translate({_number(x)} {_number(-y)}) rotate({_number(-ellipse.turn)})"
    return f'<ellipse rx="{_number(a)}" ry="{_number(b)}" transform="{place}"/>'


def _arc(arc: Arc) -> str:
    (x1, y1), (x2, y2) = arc.ends
    radius, large = _number(arc.radius), int((arc.end - arc.start) % 360.0 > 180.0)
    return (
        f'<path d="M {_number(x1)} {_number(-y1)} A {radius} {radius} 0 {large} 0 '
        f'{_number(x2)} {_number(-y2)}"/>'
    )


def _label(label: Label) -> str:
    x, y = label.at
    turn = f' transform="rotate({_number(-label.turn)} {_number(x)} {_number(-y)})"'
    return (
        f'<text x="{_number(x)}" y="{_number(-y)}" font-size="{_number(label.height / CAPITAL)}" '
        f'text-anchor="{label.anchor}"{turn if label.turn else ""}>{escape(label.text)}</text>'
    )


def _number(value: float) -> str:
    """Return a length to a tenth of a micrometre, without zeros behind and without minus zero."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
