"""Templates on paper, read back from the PDF: bars, circles, holes, tiles, correction, words."""

import io
from collections.abc import Iterator
from itertools import pairwise
from math import hypot
from typing import Any

import pdfplumber
import pytest
from benches import circles, door_build, named
from pdfplumber.page import Page

from conewright.papers.drawing.bars import Bars
from conewright.papers.drawing.geometry import Circle, Drawing, bounds_of
from conewright.papers.drawing.tiles import OVERLAP, map_of, room_on, tiling_of
from conewright.papers.press.typeset import PAPER_SIZE_MM, Paper
from conewright.papers.templates.drawings import Templates, drawings
from conewright.papers.templates.sheet import template_sheets

NEAR = 0.05
"""What a print that was read back may be away from what was meant [mm]."""

POINT = 25.4 / 72.0
BLACK, EDGE = 0.0, 0.7
Spot = tuple[float, float]

LARGE: dict[str, Any] = {
    "mount": {"cutout": "170 mm", "screws": {"count": 4, "circle": "190 mm", "angle": "30 deg"}},
    "frame": {
        "cutout": "165 mm",
        "outer": "190 mm",
        "screws": {"count": 4, "circle": "205 mm", "diameter": "4 mm"},
    },
    "bench": {"board": {"kind": "knife"}},
}


def pages(
    fields: dict[str, Any], *, paper: Paper = "A4", bars: Bars | None = (100.0, 100.0)
) -> tuple[Templates, list[Page]]:
    build = door_build(**fields)
    parts = drawings(build)
    pdf = template_sheets(build, parts, paper=paper, bars=bars)
    return parts, pdfplumber.open(io.BytesIO(pdf)).pages


def box_of(thing: dict[str, Any]) -> tuple[float, float, float, float]:
    """Left, lower, right and upper end on the page, y up from its lower edge [mm]."""
    return thing["x0"] * POINT, thing["y0"] * POINT, thing["x1"] * POINT, thing["y1"] * POINT


def rings_on(page: Page, *, black: bool = True) -> list[tuple[Spot, float]]:
    """Middle and diameter of every circle of a page, black or all, the largest first."""
    found = []
    for curve in page.curves:
        left, low, right, high = box_of(curve)
        if black and curve["stroking_color"] not in (BLACK, (BLACK,)):
            continue
        assert right - left == pytest.approx(high - low, abs=NEAR)
        found.append((((left + right) / 2, (low + high) / 2), right - left))
    return sorted(found, key=lambda each: -each[1])


def bars_on(page: Page) -> tuple[float, float]:
    """The bars across and down: the longest black lines that are neither head nor foot."""
    black = [box_of(line) for line in page.lines if line["stroking_color"] in (BLACK, (BLACK,))]
    across = max(right - left for left, _, right, _ in black)
    down = max(high - low for _, low, _, high in black)
    return across, down


def cut_pages(opened: list[Page]) -> list[Page]:
    return [page for page in opened if "and down at the left" in (page.extract_text() or "")]


def meant(drawing: Drawing) -> list[Circle]:
    return sorted(
        (*circles(drawing.entities, "cut"), *circles(drawing.entities, "drill")),
        key=lambda circle: -circle.radius,
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_bars_circles_and_holes_are_true_on_every_page(paper: Paper) -> None:
    parts, opened = pages({"changes": {"door-f?.mount.ring": True}}, paper=paper)
    printed = [each for each in parts.drawings if each.sends == "print"]
    sheets = cut_pages(opened)
    assert len(sheets) == len(printed) == 4
    for drawing, page in zip(printed, sheets, strict=True):
        size = (float(page.width) * POINT, float(page.height) * POINT)
        assert size == pytest.approx(PAPER_SIZE_MM[paper], abs=NEAR)
        assert bars_on(page) == pytest.approx((100.0, 100.0), abs=NEAR)
        read = rings_on(page)
        want = meant(drawing)
        assert [size for _, size in read] == pytest.approx([2 * c.radius for c in want], abs=NEAR)
        # Every hole lies as far from the middle of the part as it was meant to.
        middle = read[0][0]
        for (spot, diameter), circle in zip(read, want, strict=True):
            same = [c for c in want if abs(2 * c.radius - diameter) < NEAR]
            away = (spot[0] - middle[0], spot[1] - middle[1])
            assert min(hypot(away[0] - c.centre[0], away[1] - c.centre[1]) for c in same) < NEAR
            assert circle in want


def test_tiles_joined_give_the_whole_drawing() -> None:
    parts, opened = pages(LARGE)
    ring = named(parts, "door-fl-adapter")
    tiling = tiling_of(ring, room=room_on("A4"))
    assert [tile.name for tile in tiling.tiles] == ["A1", "A2", "B1", "B2"]
    sheets = [page for page in cut_pages(opened) if "Front left" in (page.extract_text() or "")]
    for tile, page in zip(tiling.tiles, sheets[:4], strict=True):
        assert f"page {tile.name}" in (page.extract_text() or "")
        x0, y0, x1, y1 = tile.window
        (frame,) = [
            box
            for rect in page.rects
            if (box := box_of(rect))[2] - box[0] == pytest.approx(x1 - x0, abs=NEAR)
        ]
        assert frame[3] - frame[1] == pytest.approx(y1 - y0, abs=NEAR)
        # From the page to the drawing: the lower left end of the frame is that of the window.
        read = [
            ((spot[0] - frame[0] + x0, spot[1] - frame[1] + y0), size)
            for spot, size in rings_on(page)
        ]
        shown = [each for each in tiling.entities(tile) if isinstance(each, Circle)]
        for circle in (c for c in shown if c.layer in ("cut", "drill")):
            assert any(
                hypot(spot[0] - circle.centre[0], spot[1] - circle.centre[1]) < NEAR
                and abs(size - 2 * circle.radius) < NEAR
                for spot, size in read
            )
    together = {each for tile in tiling.tiles for each in tiling.entities(tile)}
    assert together >= set(ring.entities)


def windows(drawing: Drawing, room: tuple[float, float]) -> Iterator[tuple[float, ...]]:
    yield from (tile.window for tile in tiling_of(drawing, room=room).tiles)


@pytest.mark.parametrize(
    ("size", "room", "count"),
    [
        ((90.0, 90.0), (100.0, 100.0), 1),
        ((120.0, 90.0), (100.0, 100.0), 2),
        ((180.0, 180.0), (100.0, 100.0), 4),
        ((300.0, 40.0), (100.0, 100.0), 4),
    ],
)
def test_tiles_cover_everything_with_overlap(size: Spot, room: Spot, count: int) -> None:
    drawing = Drawing("a", "A", (Circle("cut", (size[0] / 2, size[1] / 2), 1.0),), "p")
    wide = Drawing(
        "a",
        "A",
        (
            *drawing.entities,
            Circle("cut", (1.0, 1.0), 1.0),
            Circle("cut", (size[0] - 1.0, size[1] - 1.0), 1.0),
        ),
        "p",
    )
    found = list(windows(wide, room))
    assert len(found) == count
    left, low, right, high = wide.bounds
    assert min(w[0] for w in found) <= left
    assert max(w[2] for w in found) >= right
    assert min(w[1] for w in found) <= low
    assert max(w[3] for w in found) >= high
    for x0, y0, x1, y1 in found:
        assert x1 - x0 <= room[0] + 1e-9
        assert y1 - y0 <= room[1] + 1e-9
    columns = sorted({(w[0], w[2]) for w in found})
    for (_, end), (start, _) in pairwise(columns):
        assert end - start == pytest.approx(OVERLAP)


def test_joining_marks_lie_on_both_neighbours_and_the_map_names_every_page() -> None:
    parts, opened = pages(LARGE, paper="Letter")
    tiling = tiling_of(named(parts, "door-fl-adapter"), room=room_on("Letter"))
    own = set(named(parts, "door-fl-adapter").entities)
    marks = [e for e in tiling.drawing.entities if isinstance(e, Circle) and e not in own]
    # Four joints between four tiles, two marks each.
    assert len(marks) == 8
    for mark in marks:
        inside = [
            tile
            for tile in tiling.tiles
            if tile.window[0] + mark.radius <= mark.centre[0] <= tile.window[2] - mark.radius
            and tile.window[1] + mark.radius <= mark.centre[1] <= tile.window[3] - mark.radius
        ]
        assert len(inside) >= 2
    (page, *_) = [each for each in opened if "Map of its" in (each.extract_text() or "")]
    words = page.extract_text() or ""
    assert all(tile.name in words for tile in tiling.tiles)
    left, low, right, high = bounds_of(map_of(tiling).on("drill"))
    assert (right - left, high - low) > tiling.drawing.size


def test_a_bar_that_measured_otherwise_is_corrected_for_in_either_direction() -> None:
    # Common practice, no source: 97.0 mm read where 100 mm were drawn prints 145 mm as 140.65.
    _, plain = pages({"bench": {"board": {"kind": "knife"}}})
    parts, opened = pages({"bench": {"board": {"kind": "knife"}}}, bars=(97.0, 97.4))
    first, page = cut_pages(plain)[0], cut_pages(opened)[0]
    assert bars_on(first) == pytest.approx((100.0, 100.0), abs=NEAR)
    across, down = bars_on(page)
    assert (0.97 * across, 0.974 * down) == pytest.approx((100.0, 100.0), abs=NEAR)
    (rim, *_) = sorted((box_of(c) for c in page.curves), key=lambda box: box[0] - box[2])
    want = 2 * meant(named(parts, "door-fl-adapter"))[0].radius
    assert 0.97 * (rim[2] - rim[0]) == pytest.approx(want, abs=NEAR)
    assert 0.974 * (rim[3] - rim[1]) == pytest.approx(want, abs=NEAR)
    assert "bars measured 97" in " ".join((opened[0].extract_text() or "").split())


def test_a_print_at_97_per_cent_loses_the_sizes_and_gets_them_back() -> None:
    # Closed form: 145 mm becomes 140.65 mm and a screw circle of 158 mm becomes 153.26 mm.
    fields: dict[str, Any] = {
        "mount": {"cutout": "130 mm", "screws": {"count": 4, "circle": "158 mm", "angle": "0 deg"}},
        "frame": {
            "cutout": "145 mm",
            "outer": "170 mm",
            "screws": {"count": 4, "circle": "158 mm", "diameter": "3 mm"},
        },
        "bench": {"panel": {"kind": "knife"}},
    }
    for bars, across, circle in (((100.0, 100.0), 140.65, 153.26), ((97.0, 97.0), 145.0, 158.0)):
        _, opened = pages(fields, bars=bars)
        page = cut_pages(opened)[0]
        assert 0.97 * rings_on(page)[0][1] == pytest.approx(across, abs=NEAR)
        crosses = [box_of(line) for line in page.lines]
        short = [box for box in crosses if abs(box[2] - box[0] - 6.0) < 0.3]
        wide = max(box[2] for box in short) - min(box[0] for box in short)
        size = short[0][2] - short[0][0]
        assert 0.97 * (wide - size) == pytest.approx(circle, abs=NEAR)


def test_nothing_is_drawn_to_be_cut_before_the_bars_are_measured() -> None:
    # Common practice, no source: no cut line leaves a printer whose bars nobody measured.
    fields: dict[str, Any] = {"changes": {"door-f?.mount.ring": True}}
    _, unproved = pages(fields, bars=None)
    _, proved = pages(fields)
    words = " ".join((unproved[0].extract_text() or "").split())
    assert "Proof print: cut nothing from it" in words
    lines = [box_of(line) for line in unproved[0].lines]
    assert any(right - left == pytest.approx(100.0, abs=NEAR) for left, _, right, _ in lines)
    assert any(high - low == pytest.approx(100.0, abs=NEAR) for _, low, _, high in lines)
    assert len(cut_pages(unproved)) == len(cut_pages(proved)) + 1  # The bars of the first page.
    for proof, page in zip(cut_pages(unproved)[1:], cut_pages(proved), strict=True):
        assert not rings_on(proof)
        dashed = [curve for curve in proof.curves if curve["dash"] and curve["dash"][0]]
        assert len(dashed) == len(rings_on(page)) > 0
        # Slanted words are read letter by letter.
        slanted = "".join(letter["text"] for letter in proof.chars if letter["matrix"][1])
        assert "NOT PROVED" in slanted
        assert "DO NOT CUT" in slanted
        assert not any(letter["matrix"][1] for letter in page.chars)
        # It is the same drawing, line for line.
        assert [size for _, size in rings_on(proof, black=False)] == pytest.approx(
            [size for _, size in rings_on(page, black=False)], abs=NEAR
        )


def test_a_smaller_page_for_a_printer_that_shrinks() -> None:
    width, height = room_on("A4")
    assert room_on("A4", bars=(97.0, 96.5)) == pytest.approx((0.97 * width, 0.965 * height))


def test_the_first_page_says_what_there_is_and_what_is_refused() -> None:
    _, opened = pages(
        {"frame": {"cutout": "140 mm", "outer": "160 mm"}, "mount": {"land": "13 mm"}}
    )
    words = " ".join((opened[0].extract_text() or "").split())
    assert "Not drawn" in words
    assert "bars" not in words
    assert "Instead: The largest opening that leaves 8 mm is 132 mm" in words
    assert len(opened) == 1


def test_the_same_plan_gives_the_same_bytes() -> None:
    build = door_build()
    parts = drawings(build)
    assert template_sheets(build, parts) == template_sheets(build, parts)
