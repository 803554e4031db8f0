"""A drawing as DXF in millimetres, one layer for each kind of work."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from conewright.papers.drawing.geometry import (
    Arc,
    Circle,
    Drawing,
    Ellipse,
    Entity,
    Label,
    Layer,
    Line,
    Polygon,
    turned_point,
)

if TYPE_CHECKING:
    from ezdxf.layouts.layout import Modelspace

__all__ = ["dxf"]

_COLOURS: dict[Layer, int] = {"cut": 1, "drill": 5, "mark": 8, "text": 3}
"""Colour of each layer, by the colour index of the format: red, blue, grey, green."""


def dxf(drawing: Drawing) -> str:
    """Return a drawing as DXF text; its unit is the millimetre, and the same drawing gives the
    same text.
    """
    from ezdxf import units
    from ezdxf._options import options
    from ezdxf.filemanagement import new

    kept = options.write_fixed_meta_data_for_testing
    # Without it every file has the moment it was written in it, and a number by chance.
    options.write_fixed_meta_data_for_testing = True
    try:
        document = new("R2010", units=units.MM)
        document.header["$MEASUREMENT"] = 1
        for layer, colour in _COLOURS.items():
            document.layers.add(layer, color=colour)
        space = document.modelspace()
        for entity in drawing.entities:
            _add(space, entity)
        text = StringIO()
        document.write(text)
    finally:
        options.write_fixed_meta_data_for_testing = kept
    return text.getvalue()


def _add(space: Modelspace, entity: Entity) -> None:
    on = {"layer": entity.layer}
    if isinstance(entity, Circle):
        space.add_circle(entity.centre, entity.radius, dxfattribs=on)
    elif isinstance(entity, Arc):
        space.add_arc(entity.centre, entity.radius, entity.start, entity.end, dxfattribs=on)
    elif isinstance(entity, Line):
        space.add_line(entity.start, entity.end, dxfattribs=on)
    elif isinstance(entity, Polygon):
        space.add_lwpolyline(entity.points, close=True, dxfattribs=on)
    elif isinstance(entity, Ellipse):
        _add_ellipse(space, entity)
    else:
        _add_text(space, entity)


def _add_ellipse(space: Modelspace, ellipse: Ellipse) -> None:
    """Add an ellipse: the format wants the longer half axis, and the other as a share of it."""
    (a, b), turn = ellipse.half_axes, ellipse.turn
    long, short, turn = (a, b, turn) if a >= b else (b, a, turn + 90.0)
    axis = turned_point((long, 0.0), by=turn)
    space.add_ellipse(
        ellipse.centre, major_axis=axis, ratio=short / long, dxfattribs={"layer": ellipse.layer}
    )


def _add_text(space: Modelspace, label: Label) -> None:
    from ezdxf.enums import TextEntityAlignment

    sides = {
        "start": TextEntityAlignment.LEFT,
        "middle": TextEntityAlignment.CENTER,
        "end": TextEntityAlignment.RIGHT,
    }
    text = space.add_text(
        label.text,
        height=label.height,
        rotation=label.turn,
        dxfattribs={"layer": label.layer},
    )
    text.set_placement(label.at, align=sides[label.anchor])
