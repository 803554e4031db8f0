"""Drawings written as SVG and DXF and read back: the same lengths, layers and words."""

import io
import xml.etree.ElementTree as ET
from math import atan2, cos, degrees, hypot, radians, sin

import pytest
from benches import circles, made, named
from ezdxf.document import Drawing as DxfDocument
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.filemanagement import read

from conewright.papers.drawing.geometry import (
    Arc,
    Circle,
    Drawing,
    Ellipse,
    Label,
    Line,
    Polygon,
    cross,
)
from conewright.papers.drawing.write_dxf import dxf
from conewright.papers.drawing.write_svg import MARGIN_MM, svg

NEAR = 0.05
"""What a drawing that was read back may be away from what was meant [mm]."""

EVERYTHING = Drawing(
    "all",
    "All & <everything>",
    (
        Circle("cut", (3.0, -2.0), 73.0),
        Arc("cut", (0.0, 0.0), 60.0, 350.0, 460.0),
        Arc("cut", (0.0, 0.0), 55.0, 10.0, 250.0),
        Ellipse("cut", (1.0, 2.0), (30.0, 62.5), 20.0),
        Polygon("mark", ((0.0, 0.0), (30.0, 4.0), (5.0, 100.0))),
        Label((10.0, 5.0), "FRONT <1> Ω", 4.0, anchor="end", turn=30.0),
        *cross((40.0, 30.0), size=10.0, layer="drill"),
    ),
    "p",
)


def svg_of(drawing: Drawing) -> ET.Element:
    return ET.fromstring(svg(drawing))


def layer_of(root: ET.Element, layer: str) -> list[ET.Element]:
    (group,) = [each for each in root if each.get("id") == layer]
    return list(group)


def dxf_of(drawing: Drawing) -> DxfDocument:
    return read(io.StringIO(dxf(drawing)))


def test_the_user_unit_of_svg_is_a_millimetre() -> None:
    root = svg_of(EVERYTHING)
    left, low, right, high = EVERYTHING.bounds
    width, height = right - left + 2 * MARGIN_MM, high - low + 2 * MARGIN_MM
    assert root.get("width") == f"{float(root.get('viewBox', '').split()[2]):.10g}mm"
    box = [float(each) for each in root.get("viewBox", "").split()]
    assert box == pytest.approx([left - MARGIN_MM, -high - MARGIN_MM, width, height], abs=1e-4)
    assert root[0].text == "All & <everything>"


def test_svg_holds_every_shape_as_it_is() -> None:
    root = svg_of(EVERYTHING)
    circle, arc, large, ellipse = layer_of(root, "cut")
    assert [float(circle.get(name, "")) for name in ("cx", "cy", "r")] == [3.0, 2.0, 73.0]
    assert _ends(arc) == [
        pytest.approx((60 * cos(radians(a)), -60 * sin(radians(a))), abs=1e-4)
        for a in (350.0, 100.0)
    ]
    # The flags: the long way round or not, and always against the clock on paper.
    assert arc.get("d", "").split("A")[1].split()[2:5] == ["0", "0", "0"]
    assert large.get("d", "").split("A")[1].split()[2:5] == ["0", "1", "0"]
    assert (ellipse.get("rx"), ellipse.get("ry")) == ("30", "62.5")
    assert ellipse.get("transform") == "translate(1 -2) rotate(-20)"
    (polygon,) = layer_of(root, "mark")
    assert polygon.get("points") == "0,0 30,-4 5,-100"
    (words,) = layer_of(root, "text")
    assert words.text == "FRONT <1> Ω"
    assert words.get("text-anchor") == "end"
    assert len(layer_of(root, "drill")) == 2


def _ends(path: ET.Element) -> list[tuple[float, float]]:
    words = path.get("d", "").replace("M", "").replace("A", "").split()
    numbers = [float(word) for word in words]
    return [(numbers[0], numbers[1]), (numbers[-2], numbers[-1])]


def test_dxf_is_in_millimetres_and_passes_the_audit() -> None:
    document = dxf_of(EVERYTHING)
    audit = document.audit()
    assert not audit.has_errors
    assert not audit.has_fixes
    assert document.header["$INSUNITS"] == 4  # Published: 4 is the millimetre in this format.
    assert document.header["$MEASUREMENT"] == 1
    assert {"cut", "drill", "mark", "text"} <= {layer.dxf.name for layer in document.layers}


def test_dxf_holds_every_shape_as_it_is() -> None:
    space = dxf_of(EVERYTHING).modelspace()
    (circle,) = space.query('CIRCLE[layer=="cut"]')
    assert (circle.dxf.center.x, circle.dxf.center.y, circle.dxf.radius) == (3.0, -2.0, 73.0)
    arcs = space.query("ARC")
    assert [(each.dxf.start_angle % 360, each.dxf.end_angle % 360) for each in arcs] == [
        (350.0, 100.0),
        (10.0, 250.0),
    ]
    (ellipse,) = space.query("ELLIPSE")
    axis = ellipse.dxf.major_axis
    assert hypot(axis.x, axis.y) == pytest.approx(62.5)
    assert degrees(atan2(axis.y, axis.x)) % 180.0 == pytest.approx(110.0)
    assert ellipse.dxf.ratio == pytest.approx(30.0 / 62.5)
    (polygon,) = space.query('LWPOLYLINE[layer=="mark"]')
    assert isinstance(polygon, LWPolyline)
    assert polygon.closed
    assert [(x, y) for x, y, *_ in polygon.get_points()] == [(0.0, 0.0), (30.0, 4.0), (5.0, 100.0)]
    (words,) = space.query('TEXT[layer=="text"]')
    assert (words.dxf.text, words.dxf.height, words.dxf.rotation) == ("FRONT <1> Ω", 4.0, 30.0)
    assert len(space.query('LINE[layer=="drill"]')) == 2


def test_the_same_drawing_gives_the_same_bytes() -> None:
    assert dxf(EVERYTHING) == dxf(EVERYTHING)
    assert svg(EVERYTHING) == svg(EVERYTHING)


def test_every_file_of_a_plan_is_read_back_to_a_twentieth_of_a_millimetre() -> None:
    parts = made(
        mount={"screws": {"count": 4, "circle": "138.37 mm", "angle": "17 deg"}},
        changes={"door-f?.mount.ring": True},
    )
    assert len(parts.drawings) == 6
    worst = 0.0
    for drawing in parts.drawings:
        document = dxf_of(drawing)
        assert not document.audit().has_errors
        from_svg = [
            (float(c.get("cx", "")), -float(c.get("cy", "")), float(c.get("r", "")))
            for layer in ("drill", "cut")
            for c in layer_of(svg_of(drawing), layer)
            if c.tag.endswith("circle")
        ]
        from_dxf = [
            (c.dxf.center.x, c.dxf.center.y, c.dxf.radius)
            for layer in ("drill", "cut")
            for c in document.modelspace().query(f'CIRCLE[layer=="{layer}"]')
        ]
        meant = [
            (*each.centre, each.radius)
            for layer in ("drill", "cut")
            for each in drawing.on("drill" if layer == "drill" else "cut")
            if isinstance(each, Circle)
        ]
        assert len(from_svg) == len(from_dxf) == len(meant) > 0
        for want, *got in zip(meant, from_svg, from_dxf, strict=True):
            worst = max(
                worst, *(abs(a - b) for each in got for a, b in zip(want, each, strict=True))
            )
    assert worst < NEAR


def test_lines_are_read_back_where_they_were_drawn() -> None:
    ring = named(made(), "door-fl-adapter")
    drawn = [each for each in ring.on("mark") if isinstance(each, Line)]
    written = dxf_of(ring).modelspace().query('LINE[layer=="mark"]')
    assert len(drawn) == len(written) > 14
    for want, got in zip(drawn, written, strict=True):
        assert (got.dxf.start.x, got.dxf.start.y) == pytest.approx(want.start, abs=1e-9)
    assert len(circles(ring.entities, "drill")) == 7
