"""Shapes of openings and flanges, places on a panel, sheets and tools: as written, as read."""

from math import pi
from typing import Any

import pytest

from conewright.errors import BadInputError, QuantityError
from conewright.job.builds.job import Job
from conewright.job.quantity.spots import parse_hole, parse_kept, parse_spot
from conewright.job.text.parsing import from_dict


def job(
    *,
    mount: dict[str, Any] | None = None,
    frame: dict[str, Any] | None = None,
    cavity: dict[str, Any] | None = None,
    **more: Any,
) -> Job:
    place = {"id": "door", "kind": "door", "at": ["0.9 m", "0.8 m", "0.3 m"], "driver": "d"}
    return from_dict(
        {
            "format": 1,
            "head_unit": {"name": "radio"},
            "channel": [{"id": "left", "load": "door"}],
            "location": [{**place, "mount": mount or {}, "cavity": cavity or {}}],
            "driver": [{"id": "d", "size": "165 mm", "frame": frame or {}}],
            **more,
        }
    )


@pytest.mark.parametrize(
    ("text", "forward", "up", "printed"),
    [
        # Closed form: metres of what is written; 1 in = 25.4 mm.
        ("-62 mm, 15 mm", -0.062, 0.015, "-62 mm, 15 mm"),
        ("62,5 mm, 0", 0.0625, 0.0, "62.5 mm, 0 mm"),
        ("0; 2 in", 0.0, 0.0508, "0 mm, 2 in"),
    ],
)
def test_a_place_is_read_and_printed(text: str, forward: float, up: float, printed: str) -> None:
    spot = parse_spot(text)
    assert spot.metres == pytest.approx((forward, up), abs=1e-15)
    assert str(spot) == printed
    assert parse_spot(printed) == spot


def test_an_opening_is_square_by_two_extents_and_round_by_one() -> None:
    square = parse_hole("120 x 60 mm at 150 mm, -20 mm")
    assert (square.along.value, square.high.value, square.round) == (0.12, 0.06, False)
    assert square.at.metres == (0.15, -0.02)
    assert parse_hole(str(square)) == square
    mixed = parse_hole("12 cm x 60 mm at 0, 0")
    assert (mixed.along.value, mixed.high.value) == (0.12, 0.06)
    circle = parse_hole("80 mm at 0, 95 mm")
    assert (circle.along.value, circle.high.value, circle.round) == (0.08, 0.08, True)
    assert parse_hole(str(circle)) == circle


def test_what_stays_clear_is_named() -> None:
    kept = parse_kept("drain 12 mm at 150 mm, -70 mm")
    assert (kept.what, kept.width.value, kept.at.metres) == ("drain", 0.012, (0.15, -0.07))
    assert parse_kept(str(kept)) == kept


@pytest.mark.parametrize(
    ("parse", "text", "says"),
    [
        (parse_spot, "62 mm", "two lengths"),
        (parse_spot, "62 mm, 15", "the unit is missing"),
        (parse_spot, "62 mm ± 1 mm, 0", "without a spread"),
        (parse_spot, 62, "a text is wanted"),
        (parse_spot, "0, " * 200, "longer than"),
        (parse_hole, "120 x 60 mm", "one `at`"),
        (parse_hole, "1 x 2 x 3 mm at 0, 0", "one extent or two"),
        (parse_hole, "-80 mm at 0, 0", "above zero"),
        (parse_kept, "handle 12 mm at 0, 0", "'handle'"),
    ],
)
def test_what_is_no_place_is_refused_in_words(parse: Any, text: Any, says: str) -> None:
    with pytest.raises(QuantityError, match=says):
        parse(text)


def test_a_build_knows_ovals_corners_and_where_screws_are() -> None:
    corners = ["-60 mm, -40 mm", "60 mm, -40 mm", "60 mm, 40 mm", "-60 mm, 40 mm"]
    build = job(
        mount={
            "cutout": "120 mm",
            "cutout_long": "180 mm",
            "turn": "30 deg",
            "screws": {"count": 4, "circle": "138 mm", "angle": "45 deg", "diameter": "4 mm"},
        },
        frame={
            "corners": corners,
            "outer": "160 mm",
            "outer_long": "235 mm",
            "screws": {"places": corners},
        },
        cavity={"panel_openings": ["80 mm at 0, 95 mm"], "keep_clear": ["bolt 8 mm at 0, 60 mm"]},
    ).build()
    place = build.location("door")
    mount, frame, cavity = place.mount, place.driver.frame, place.cavity
    assert cavity is not None
    assert mount.cutout_long is not None
    assert frame.outer_long is not None
    assert (mount.cutout_long.si, frame.outer_long.si) == (0.18, 0.235)
    assert mount.turn == pytest.approx(pi / 6, rel=1e-15)
    assert mount.holes.angle == pytest.approx(pi / 4, rel=1e-15)
    assert frame.corners[0] == (-0.06, -0.04)
    assert frame.holes.places == frame.corners
    assert (frame.screw_count, frame.screw_circle) == (4, None)
    assert [str(each) for each in cavity.openings] == ["80 mm at 0 mm, 95 mm"]
    assert [each.what for each in cavity.keep_clear] == ["bolt"]


@pytest.mark.parametrize(
    ("screws", "says"),
    [
        ({"places": ["0, 1 mm", "1 mm, 0"], "circle": "100 mm"}, "not both"),
        ({"places": ["0, 1 mm", "1 mm, 0"], "count": 3}, "there are 2 places"),
        ({"places": ["0, 1 mm"]}, "2"),
    ],
)
def test_screws_lie_on_a_circle_or_at_places(screws: dict[str, Any], says: str) -> None:
    with pytest.raises(BadInputError, match=says):
        job(mount={"screws": screws})


def test_sheets_and_tools_are_read_and_written_as_they_stand() -> None:
    sheet = {"material": "plywood", "thickness": "12 mm", "size": ["600 mm", "400 mm"]}
    bench = {
        "panel": {"kind": "hole-saw", "saws": ["121 mm"]},
        "board": {"kind": "laser", "kerf": "0.2 mm"},
    }
    written = job(sheet=[sheet], bench=bench)
    assert written.sheets[0].thickness.value == 0.012
    assert written.bench.board is not None
    assert written.bench.board.kerf is not None
    assert written.bench.board.kerf.value == 0.0002
    again = from_dict(written.to_dict())
    assert again == written
    assert written.to_dict()["bench"] == bench


def test_only_a_hole_saw_has_saws() -> None:
    with pytest.raises(BadInputError, match="belong to a hole-saw"):
        job(bench={"panel": {"kind": "jigsaw", "saws": ["121 mm"]}})
