"""What is drawn for a plan, part by part; what is refused with the nearest that can be."""

from math import cos, dist, hypot, pi
from typing import Any

import pytest
from benches import circles, door_job, made, named, without_words

from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import demo_text
from conewright.papers.drawing.geometry import Ellipse, Label, Line, Polygon, bounds_of, mirrored
from conewright.papers.drawing.patterns import clearest, nearest_hole
from conewright.papers.templates.drawings import Templates, drawings
from conewright.papers.templates.sites import site_of
from conewright.stages.fit.stage import fit, spacer_windows

KNIFE = {"board": {"kind": "knife"}, "panel": {"kind": "knife"}}
SAME_SCREWS = {"count": 4, "circle": "138 mm", "diameter": "4 mm"}


def refusals(templates: Templates, part: str) -> list[str]:
    return [str(each) for each in templates.refusals if each.part == part]


# --- Adapter rings and spacers ---------------------------------------------------------------


def test_an_adapter_ring_has_every_dimension_it_should() -> None:
    ring = named(made(bench=KNIFE), "door-fl-adapter")
    outer, inner = circles(ring.entities, "cut")
    # Closed form: the driver's screws on 146 mm and two diameters of 4 mm beyond them.
    assert (2 * outer.radius, 2 * inner.radius) == (162.0, 116.0)
    holes = circles(ring.entities, "drill")
    fixing = [hole for hole in holes if hole.radius == 4.5 / 2]
    pilots = [hole for hole in holes if hole.radius == 3.0 / 2]
    assert [round(2 * hypot(*hole.centre), 9) for hole in fixing] == [138.0] * 4
    assert [round(2 * hypot(*hole.centre), 9) for hole in pilots] == [146.0] * 3
    # The largest least distance that three holes on 73 mm can have from four on 69 mm: one lies
    # right between two, 45 degrees from either, the next 15 degrees from another.
    nearest = min(dist(a.centre, b.centre) for a in fixing for b in pilots)
    angle = 15.0 * pi / 180.0
    assert nearest == pytest.approx(
        (73.0**2 + 69.0**2 - 2 * 73.0 * 69.0 * cos(angle)) ** 0.5, abs=1e-6
    )
    assert ring.thickness_mm == 6.0
    assert ring.cut_from == (("plastic", 6.0),)
    assert ring.area_mm2 == pytest.approx(
        pi / 4 * (162.0**2 - 116.0**2 - 4 * 4.5**2 - 3 * 3.0**2), rel=1e-9
    )


def test_left_and_right_are_a_mirrored_pair_that_says_which_is_which() -> None:
    parts = made(
        frame={"screws": {"count": 3, "circle": "146 mm", "diameter": "4 mm"}},
        mount={"screws": {"count": 4, "circle": "138 mm", "angle": "20 deg"}},
    )
    left, right = named(parts, "door-fl-adapter"), named(parts, "door-fr-adapter")
    assert without_words(mirrored(left.entities)) == without_words(right.entities)
    assert without_words(left.entities) != without_words(right.entities)
    for drawing, side, sign in ((left, "LEFT", 1.0), (right, "RIGHT", -1.0)):
        words = {each.text: each for each in drawing.entities if isinstance(each, Label)}
        assert any(text.startswith(f"{side}: ") for text in words)
        assert "this face to the cabin" in words
        # In the left door the front lies to the right of who kneels before it.
        assert sign * words["FRONT"].at[0] > 0.0
        assert words["TOP"].at[1] > 0.0


def test_a_roof_is_drawn_from_below_with_the_front_up() -> None:
    parts = made(kind="roof", mount={"screws": {"places": ["60 mm, 40 mm", "-60 mm, -40 mm"]}})
    words = {
        each.text: each
        for each in named(parts, "door-fl-adapter").entities
        if isinstance(each, Label)
    }
    assert {"FRONT", "OUTWARD", "this face down, to the cabin"} <= set(words)
    ring = named(parts, "door-fl-adapter")
    # Closed form: 60 mm forward is up, 40 mm outward is right for the left of a roof from below.
    spots = [hole.centre for hole in circles(ring.entities, "drill") if hole.radius == 2.25]
    assert sorted(spots) == [pytest.approx((-40.0, -60.0)), pytest.approx((40.0, 60.0))]


def test_a_spacer_is_built_from_the_sheets_that_fit_the_window() -> None:
    # Depth 50 mm behind a driver of 50 mm: the window asks for a spacer of 6 to 13 mm.
    fields: dict[str, Any] = {"mount": {"glass_depth": ["50 mm"]}, "frame": {"screws": SAME_SCREWS}}
    spacer = named(made(**fields), "door-fl-spacer")
    assert spacer.cut_from == (("plastic", 12.0),)
    build = door_job(**fields).build("new")
    window = spacer_windows(build)["door-fl"]
    figures = {each.id: each.value for each in fit(build).figures}
    assert window.low is not None
    assert 1e3 * window.low == figures["door-fl.spacer_low"]
    assert 1e3 * window.low <= 12.0
    thin = [
        {"material": "plastic", "thickness": f"{mm} mm", "size": ["600 mm", "400 mm"]}
        for mm in (3, 6)
    ]
    stacked = named(made(**fields, sheet=thin), "door-fl-spacer")
    assert stacked.cut_from == (("plastic", 3.0), ("plastic", 6.0))
    assert "glue" in stacked.notes[0]
    # The driver's screws go on through the ring: no second circle of holes.
    assert {hole.radius for hole in circles(stacked.entities, "drill")} == {2.25}


def test_a_planned_spacer_is_drawn_as_planned_or_refused_with_the_nearest() -> None:
    wished = {"door-f?.mount.spacer": "9 mm"}
    same: dict[str, Any] = {"frame": {"screws": SAME_SCREWS}}
    assert named(made(**same, changes=wished), "door-fl-spacer").thickness_mm == 9.0
    refused = refusals(made(**same, changes={"door-f?.mount.spacer": "4.4 mm"}), "adapter")
    assert "4.4 mm as planned" in refused[0]
    assert "3 mm rigid plastic" in refused[0]


def test_no_spacer_that_fits_is_refused_with_the_nearest_stack() -> None:
    parts = made(mount={"glass_depth": ["45 mm"], "trim_gap": "20 mm"})
    (sentence, _) = refusals(parts, "adapter")
    assert "mm or more behind" in sentence
    assert "too thin" in sentence or "too thick" in sentence
    assert not [each for each in parts.drawings if "door-fl" in each.name]


def test_new_holes_go_where_the_old_ones_are_too_near_to_the_opening() -> None:
    fields: dict[str, Any] = {
        "mount": {
            "cutout": "120 mm",
            "land": "30 mm",
            "screws": {**SAME_SCREWS, "circle": "134 mm"},
        },
        "frame": {
            "cutout": "130 mm",
            "outer": "150 mm",
            "screws": {"count": 4, "circle": "150 mm", "diameter": "4 mm"},
        },
        "bench": KNIFE,
    }
    parts = made(**fields)
    ring, opening = named(parts, "door-fl-adapter"), named(parts, "door-fl-opening")
    fixing = [h.centre for h in circles(ring.entities, "drill") if h.radius == 2.25]
    site = site_of(door_job(**fields).build("new").location("door-fl"))
    assert min(hypot(*spot) for spot in fixing) >= 65.0 + 8.0
    assert nearest_hole(fixing, site.old_holes) >= 10.0
    assert circles(opening.entities, "cut")[0].radius == 65.0
    assert "Flat steel left: 25.0 mm" in " ".join(opening.notes)


def test_new_holes_go_where_the_driver_needs_the_place_of_the_old_ones() -> None:
    corners = ["-70 mm, -70 mm", "70 mm, -70 mm", "70 mm, 70 mm", "-70 mm, 70 mm"]
    places = ["52 mm, 48 mm", "-52 mm, 48 mm", "-52 mm, -48 mm", "52 mm, -48 mm"]
    fields: dict[str, Any] = {
        "frame": {"corners": corners, "screws": {"places": places, "diameter": "4 mm"}},
        "bench": KNIFE,
    }
    ring = named(made(**fields), "door-fl-adapter")
    site = site_of(door_job(**fields).build("new").location("door-fl"))
    holes = circles(ring.entities, "drill")
    fixing = [hole.centre for hole in holes if hole.radius == 2.25]
    pilots = [hole.centre for hole in holes if hole.radius == 1.5]
    # The driver's screws lie within 4 mm of the old holes, and cannot be turned away from them.
    assert nearest_hole(pilots, site.old_holes) < 4.0
    assert len(fixing) == 4
    assert min(nearest_hole(fixing, pilots), nearest_hole(fixing, site.old_holes)) >= 10.0
    # From the opening at 61 mm: two diameters at least, and on the 20 mm of flat steel.
    assert all(69.0 <= hypot(*spot) <= 79.0 for spot in fixing)
    assert "new holes" in " ".join(ring.notes)
    close = {**fields, "mount": {"land": "9 mm"}}
    (sentence, _) = refusals(made(**close), "adapter")
    assert "from those of the ring" in sentence


def test_thin_edges_between_screws_and_opening_are_refused_with_thinner_screws() -> None:
    near = {"cutout": "116 mm", "screws": {"count": 3, "circle": "126 mm", "diameter": "4 mm"}}
    (sentence, _) = refusals(made(frame={**near, "outer": "140 mm"}), "adapter")
    assert "5.0 mm from the edge" in sentence
    # Common practice, from memory: one and a half diameters in plastic, so 5 / 1.5 = 3.3 mm.
    assert "Screws of 3.3 mm or thinner" in sentence
    thinner = {"count": 3, "circle": "126 mm", "diameter": "3.3 mm"}
    assert named(made(frame={**near, "outer": "140 mm", "screws": thinner}), "door-fl-adapter")
    # In board two diameters are wanted: 5 / 2 = 2.5 mm.
    board = {"material": "plywood", "thickness": "12 mm", "size": ["600 mm", "400 mm"]}
    (sentence, _) = refusals(made(frame={**near, "outer": "140 mm"}, sheet=[board]), "adapter")
    assert "2 diameters of 4 mm" in sentence
    assert "Screws of 2.5 mm or thinner" in sentence


COMMON_FRAME = {
    "cutout": "144 mm",
    "outer": "167 mm",
    "screws": {"count": 4, "circle": "156 mm"},
}
"""A common frame of 165 mm: its screws lie (156 - 144) / 2 = 6 mm from the edge of its opening."""

ROOM = {"cutout": "150 mm", "screws": {"count": 3, "circle": "175 mm"}, "land": "25 mm"}


def test_a_common_frame_comes_out_on_the_thinnest_sheet_with_the_thickest_screws() -> None:
    # What anybody buys for such a driver: a ring of 6 mm plastic, screws of 4 mm, whose middles are
    # one and a half diameters from the edge. In plywood the same frame takes screws of 2.9 mm.
    ring = named(made(frame=COMMON_FRAME, mount=ROOM, size="165 mm"), "door-fl-adapter")
    assert ring.thickness_mm == 6.0
    assert "4 pilot holes of 3 mm" in " ".join(ring.notes)
    board = {"material": "plywood", "thickness": "12 mm", "size": ["600 mm", "400 mm"]}
    parts = made(frame=COMMON_FRAME, mount=ROOM, size="165 mm", sheet=[board])
    ring = named(parts, "door-fl-adapter")
    assert ring.thickness_mm == 12.0
    assert "4 pilot holes of 2.2 mm" in " ".join(ring.notes)
    assert "Screws of 2.9 mm are reckoned with" in " ".join(ring.notes)


def test_a_screw_that_is_written_is_not_made_thinner() -> None:
    screws = {"count": 4, "circle": "156 mm", "diameter": "5 mm"}
    frame = {**COMMON_FRAME, "screws": screws}
    (sentence, _) = refusals(made(frame=frame, mount=ROOM, size="165 mm"), "adapter")
    assert "6.0 mm from the edge" in sentence
    assert "Screws of 4 mm or thinner keep it" in sentence


def test_a_planned_thickness_that_no_sheet_has_names_the_ring_that_does() -> None:
    # 9.5 mm are planned, the sheets stack to 9 and 12 mm; 6 mm leaves room on both sides.
    changes = {"door-f?.mount.spacer": "9.5 mm"}
    fields = {"frame": COMMON_FRAME, "mount": ROOM, "size": "165 mm", "changes": changes}
    (sentence, _) = refusals(made(**fields), "adapter")
    assert "it wants 9.5 mm as planned" in sentence
    assert "6 mm rigid plastic (ABS or PVC) does" in sentence
    assert 'door-fl.mount.spacer = "6 mm"' in sentence
    assert "shallower" not in sentence
    thick = {"material": "plywood", "thickness": "30 mm", "size": ["500 mm", "300 mm"]}
    mount = {**ROOM, "trim_gap": "24 mm"}
    other = made(frame=COMMON_FRAME, mount=mount, size="165 mm", sheet=[thick])
    (sentence, _) = refusals(other, "adapter")
    assert "Get the sheet for it: 6 mm rigid plastic (ABS or PVC) does" in sentence


def test_steel_too_narrow_says_by_how_much() -> None:
    # Closed form: new holes 8 mm from the opening of 144 mm lie at 80 mm; the 20 mm of flat steel
    # end at 81 mm, and half a screw of 4 mm wants 82 mm.
    fields = {"frame": COMMON_FRAME, "size": "165 mm", "changes": {"door-f?.mount.spacer": "6 mm"}}
    (sentence, _) = refusals(made(**fields), "adapter")
    assert "1 mm are missing" in sentence
    assert "an opening 2 mm smaller" in sentence


def test_an_oval_driver_gets_an_oval_opening_turned_as_written() -> None:
    corners = ["105 mm, 80 mm", "-105 mm, 80 mm", "-105 mm, -80 mm", "105 mm, -80 mm"]
    parts = made(
        size="6x9 in",
        bench=KNIFE,
        mount={
            "cutout": "155 mm",
            "cutout_long": "225 mm",
            "turn": "20 deg",
            "screws": {"places": corners},
        },
        frame={
            "cutout": "152 mm",
            "cutout_long": "222 mm",
            "outer": "172 mm",
            "outer_long": "244 mm",
            "screws": {
                "diameter": "4 mm",
                "places": ["88 mm, 70 mm", "-88 mm, 70 mm", "-88 mm, -70 mm", "88 mm, -70 mm"],
            },
        },
    )
    left, right = named(parts, "door-fl-adapter"), named(parts, "door-fr-adapter")
    (inner,) = [each for each in left.on("cut") if isinstance(each, Ellipse)]
    assert inner.half_axes == pytest.approx((111.0, 76.0))
    assert inner.turn == pytest.approx(20.0)
    (other,) = [each for each in right.on("cut") if isinstance(each, Ellipse)]
    assert other.turn == pytest.approx(-20.0)
    assert without_words(mirrored(left.entities)) == without_words(right.entities)


def test_a_flange_with_corners_is_drawn_with_corners() -> None:
    corners = ["-70 mm, -70 mm", "70 mm, -70 mm", "70 mm, 70 mm", "-70 mm, 70 mm"]
    places = ["60 mm, 60 mm", "-60 mm, 60 mm", "-60 mm, -60 mm", "60 mm, -60 mm"]
    parts = made(
        bench=KNIFE,
        mount={"screws": {"count": 3, "circle": "138 mm", "angle": "90 deg"}},
        frame={"corners": corners, "screws": {"places": places, "diameter": "4 mm"}},
    )
    ring = named(parts, "door-fl-adapter")
    (rim,) = [each for each in ring.on("cut") if isinstance(each, Polygon)]
    # Closed form: the flange of 140 mm, wider by what its screws need: 60 + 8 mm is within 70 mm,
    # the old screw at the top, 69 mm up, needs 77 mm.
    assert bounds_of((rim,)) == pytest.approx((-77.0, -77.0, 77.0, 77.0))


# --- The opening -----------------------------------------------------------------------------


def test_an_opening_is_enlarged_where_enough_steel_is_left() -> None:
    frame = {"cutout": "128 mm", "outer": "150 mm", "screws": {**SAME_SCREWS, "circle": "146 mm"}}
    mount = {"screws": {**SAME_SCREWS, "circle": "146 mm"}}
    parts = made(frame=frame, mount=mount, bench=KNIFE)
    opening = named(parts, "door-fl-opening")
    (cut,) = circles(opening.entities, "cut")
    assert 2 * cut.radius == 128.0
    # The opening as it is and the end of the flat steel are grey.
    assert [2 * each.radius for each in circles(opening.entities, "mark")] == [162.0, 122.0]
    assert opening.cut_from == ()
    assert "Flat steel left: 17.0 mm; 8 mm are wanted." in opening.notes


LARGER: dict[str, Any] = {
    "frame": {"cutout": "128 mm", "outer": "150 mm", "screws": {**SAME_SCREWS, "circle": "146 mm"}},
    "bench": {"panel": {"kind": "hole-saw", "saws": ["129 mm"], "kerf": "1 mm"}},
}
HOLES = {**SAME_SCREWS, "circle": "146 mm"}


def test_land_is_what_the_saw_leaves() -> None:
    opening = named(made(**LARGER, mount={"screws": HOLES}), "door-fl-opening")
    (cut,) = circles(opening.entities, "cut")
    assert 128.0 < 2 * cut.radius <= 129.5
    # Closed form: 20 mm less what the saw takes of it on one side.
    assert f"Flat steel left: {20.0 - (cut.radius - 61.0):.1f} mm" in " ".join(opening.notes)
    # Screws 8.2 mm from the edge that is wanted are 7.7 mm from the one the saw leaves.
    near = {**SAME_SCREWS, "circle": "144.4 mm"}
    parts = made(
        frame={**LARGER["frame"], "screws": near}, bench=LARGER["bench"], mount={"screws": near}
    )
    assert "7.7 mm from the edge" in refusals(parts, "holes")[0]


@pytest.mark.parametrize(("spot", "refused"), [("66 mm, 0 mm", True), ("90 mm, 0 mm", False)])
def test_an_opening_keeps_off_what_must_stay_clear(spot: str, refused: bool) -> None:
    parts = made(
        **LARGER, mount={"screws": HOLES}, cavity={"keep_clear": [f"sensor 10 mm at {spot}"]}
    )
    assert any("sensor" in sentence for sentence in refusals(parts, "opening")) is refused


def test_too_little_steel_is_refused_with_the_largest_opening() -> None:
    (sentence, _) = refusals(
        made(frame={"cutout": "140 mm", "outer": "160 mm"}, mount={"land": "13 mm"}), "opening"
    )
    # Closed form: 13 - (140 - 122)/2 = 4 mm left; 122 + 2 (13 - 8) = 132 mm would leave 8 mm.
    assert "4.0 mm of the 13 mm" in sentence
    assert "132 mm" in sentence


def test_an_opening_planned_larger_is_cut_as_planned() -> None:
    same = {"frame": {"screws": SAME_SCREWS}, "bench": KNIFE}
    parts = made(**same, changes={"door-f?.mount.cutout": "119 mm"}, mount={"cutout": "117 mm"})
    assert 2 * circles(named(parts, "door-fl-opening").entities, "cut")[0].radius == 119.0


def test_screws_planned_otherwise_are_drilled_in_the_steel() -> None:
    planned = {"door-f?.mount.screws": {"count": 3, "circle": "146 mm"}}
    parts = made(changes=planned, bench=KNIFE)
    holes = circles(named(parts, "door-fl-holes").entities, "drill")
    assert [round(2 * hypot(*hole.centre), 9) for hole in holes] == [146.0] * 3


def test_land_nobody_measured_is_asked_for() -> None:
    job = door_job(frame={"cutout": "130 mm", "outer": "150 mm"})
    place = job.build("new").location("door-fl")
    assert place.mount.land is not None
    raw = job.to_dict()
    for each in raw["location"]:
        del each["mount"]["land"]
    (sentence, _) = refusals(drawings(from_dict(raw).build("new")), "opening")
    assert "location[door-fl].mount.land" in sentence


@pytest.mark.parametrize(
    ("where", "field", "says"),
    [
        ("location", "cutout", "location[door-fl].mount.cutout"),
        ("location", "screws", "location[door-fl].mount.screws"),
        ("driver", "cutout", "driver[new].frame.cutout"),
        ("driver", "outer", "driver[new].frame.outer"),
    ],
)
def test_what_is_missing_is_named_by_its_field(where: str, field: str, says: str) -> None:
    raw = door_job().to_dict()
    for each in raw[where]:
        each.get("mount" if where == "location" else "frame", {}).pop(field, None)
    parts = drawings(from_dict(raw).build("new"))
    assert says in " ".join(refusals(parts, "template"))
    assert parts.drawings == ()


def test_an_oval_with_one_axis_is_asked_for_the_other() -> None:
    (sentence, _) = refusals(made(size="6x9 in"), "template")
    assert "driver[new].frame.cutout_long" in sentence


def test_holes_are_drilled_in_the_steel_where_no_ring_has_room() -> None:
    # The trim leaves 4 mm for a ring; the thinnest stiff one is 6 mm.
    parts = made(mount={"trim_gap": "18 mm"}, bench=KNIFE)
    holes = named(parts, "door-fl-holes")
    assert len(circles(holes.entities, "drill")) == 3
    assert refusals(parts, "adapter")
    assert any("instead of a ring" in note for note in parts.notes)


def test_a_driver_that_fits_the_old_holes_needs_nothing() -> None:
    parts = made(frame={"screws": SAME_SCREWS})
    assert parts == Templates((), (), ())


# --- Sealing ring ----------------------------------------------------------------------------


def test_a_sealing_ring_lies_on_the_flange_and_fills_the_gap() -> None:
    parts = made(changes={"door-f?.mount.ring": True}, frame={"screws": SAME_SCREWS})
    ring = named(parts, "door-fl-sealing-ring")
    assert [2 * each.radius for each in circles(ring.entities, "cut")] == [132.0, 116.0]
    # Closed form: a gap of 40 - 3 mm wants 1.2 to 2 times that: 44.4 to 74 mm of foam.
    assert sum(thickness for _, thickness in ring.cut_from) == 50.0
    assert ring.length_mm == pytest.approx(pi * 124.0, rel=1e-9)
    assert ring.area_mm2 == pytest.approx(pi / 4 * (132.0**2 - 116.0**2), rel=1e-9)


def test_a_narrow_flange_is_refused_a_sealing_ring() -> None:
    frame = {"outer": "124 mm", "cutout": "116 mm", "screws": SAME_SCREWS}
    parts = made(changes={"door-f?.mount.ring": True}, frame=frame, mount={"cutout": "117 mm"})
    assert "4.0 mm" in refusals(parts, "sealing ring")[0]


def test_without_a_seat_there_is_no_sealing_ring() -> None:
    parts = made(
        changes={"door-f?.mount.ring": True}, frame={"cutout": "160 mm", "outer": "180 mm"}
    )
    assert refusals(parts, "opening")
    assert parts.drawings == ()


# --- Patches ---------------------------------------------------------------------------------

PATCHED = {"door-f?.cavity.cover": "patch", "door-f?.cavity.cover_mass": "4 kg/m2"}


def patched(*openings: str, clear: tuple[str, ...] = ()) -> Templates:
    cavity = {"panel_holes": "60 cm2", "panel_openings": [*openings], "keep_clear": [*clear]}
    return made(frame={"screws": SAME_SCREWS}, cavity=cavity, changes=PATCHED, bench=KNIFE)


def test_a_patch_reaches_over_its_opening_and_is_heavy_enough() -> None:
    patch = named(patched("120 x 60 mm at 150 mm, -20 mm"), "door-fl-patch-1")
    assert bounds_of(patch.on("cut")) == pytest.approx((-75.0, -45.0, 75.0, 45.0))
    # Closed form: round corners of 10 mm; 0.5 mm of steel has 3.9 kg/m2.
    assert patch.area_mm2 == pytest.approx(150.0 * 90.0 - (4 - pi) * 100.0)
    assert patch.cut_from == (("steel", 0.5),)
    assert "132 cm², 0.05 kg" in patch.notes[0] or "134 cm², 0.05 kg" in patch.notes[0]
    round_one = named(patched("50 mm at 0, 120 mm"), "door-fl-patch-1")
    assert circles(round_one.entities, "cut")[0].radius == 40.0


def test_a_patch_draws_back_from_what_must_stay_clear() -> None:
    drain = "drain 12 mm at 150 mm, -72 mm"
    patch = named(patched("120 x 60 mm at 150 mm, -20 mm", clear=(drain,)), "door-fl-patch-1")
    left, low, right, high = bounds_of(patch.on("cut"))
    # Closed form: from the opening's lower edge at -50 mm to the drain's room at -72 + 6 + 5 mm.
    assert (right - left, high - low) == pytest.approx((150.0, 60.0 + 15.0 + 11.0))
    shown = [each for each in circles(patch.entities, "mark") if each.radius == 6.0]
    assert len(shown) == 1
    assert shown[0].centre[1] + 6.0 <= low - 5.0 + 1e-9


@pytest.mark.parametrize(
    ("clear", "says"),
    [
        ("sensor 40 mm at 240 mm, -20 mm", "sensor beside it leaves 5.0 mm"),
        ("bolt 8 mm at 150 mm, -20 mm", "bolt is too near to it"),
    ],
)
def test_a_patch_that_cannot_keep_clear_is_refused(clear: str, says: str) -> None:
    parts = patched("120 x 60 mm at 150 mm, -20 mm", "50 mm at 0, 120 mm", clear=(clear,))
    assert says in refusals(parts, "patch")[0]
    assert named(parts, "door-fl-patch-2")


@pytest.mark.parametrize(
    ("opening", "left"), [("60 x 60 mm at 0, 101 mm", 5.0), ("60 mm at 0, 103 mm", 7.0)]
)
def test_a_patch_keeps_off_the_loudspeaker(opening: str, left: float) -> None:
    # Closed form: a flange of 132 mm ends at 66 mm, an opening of 60 mm begins 30 mm before its
    # middle.
    (sentence, *_) = refusals(patched(opening), "patch")
    assert f"the loudspeaker beside it leaves {left:.1f} mm to bond on" in sentence
    near = named(patched("60 mm at 0, 106 mm"), "door-fl-patch-1")
    assert circles(near.entities, "cut")[0].radius == pytest.approx(40.0)


def test_a_patch_keeps_off_the_ring_under_the_loudspeaker() -> None:
    # The adapter of this bench reaches 81 mm from the middle, 12 mm further than the flange.
    cavity = {"panel_holes": "60 cm2", "panel_openings": ["60 mm at 0, 118 mm"]}
    parts = made(cavity=cavity, changes=PATCHED, bench=KNIFE)
    assert circles(named(parts, "door-fl-adapter").entities, "cut")[0].radius == 81.0
    assert "the loudspeaker beside it leaves 7.0 mm" in refusals(parts, "patch")[0]


@pytest.mark.parametrize(("spot", "refused"), [("88 mm, 0 mm", True), ("92 mm, 0 mm", False)])
def test_a_ring_keeps_off_what_must_stay_clear(spot: str, refused: bool) -> None:
    # Closed form: 81 mm to its rim, 5 mm for the bolt and 5 mm around it.
    parts = made(bench=KNIFE, cavity={"keep_clear": [f"bolt 10 mm at {spot}"]})
    told = [each for each in refusals(parts, "adapter ring") if "bolt" in each]
    assert bool(told) is refused


def test_an_opening_larger_than_a_door_is_refused() -> None:
    assert "larger than" in refusals(patched("2 x 1.5 m at 0, 100 mm"), "patch")[0]


def test_patches_on_each_other_are_refused() -> None:
    parts = patched("60 x 60 mm at 0, 115 mm", "60 x 60 mm at 70 mm, 115 mm")
    assert "openings 1 and 2" in refusals(parts, "patch")[0]


def test_openings_known_by_their_area_only_are_asked_for() -> None:
    parts = made(frame={"screws": SAME_SCREWS}, cavity={"panel_holes": "60 cm2"}, changes=PATCHED)
    assert "cavity.panel_openings" in refusals(parts, "patch")[0]


# --- Sheets, and the packaged job ------------------------------------------------------------


@pytest.mark.parametrize(
    ("tool", "says"),
    [
        ({"kind": "knife"}, "Lines are the finished edge, no kerf is in them."),
        ({"kind": "jigsaw", "kerf": "1.2 mm"}, "Lines are the finished edge, no kerf is in them."),
        (
            {"kind": "laser", "kerf": "0.2 mm"},
            "Lines are the way of the laser's middle, kerf 0.2 mm is in them.",
        ),
    ],
)
def test_a_sheet_says_whether_the_kerf_is_in_its_lines(tool: dict[str, str], says: str) -> None:
    sheet = named(made(bench={"board": tool}), "sheet-plastic-6mm-1")
    assert sheet.notes[-1] == says
    assert any(says in each.text for each in sheet.entities if isinstance(each, Label))
    assert sheet.size == (600.0, 400.0)


def test_screws_in_ears_are_remarked_on() -> None:
    # The usual driver of these tests: flange of 132 mm, screws of 4 mm on a circle of 146 mm.
    told = "The driver's screws reach 9.0 mm past its flange"
    assert any(told in note for note in named(made(bench=KNIFE), "door-fl-adapter").notes)
    wide = {"outer": "152 mm"}
    notes = named(made(bench=KNIFE, frame=wide), "door-fl-adapter").notes
    assert not any("past its flange" in note for note in notes)


def test_parts_are_laid_out_on_a_sheet_without_touching_and_the_waste_is_stated() -> None:
    parts = made(bench=KNIFE)
    sheet = named(parts, "sheet-plastic-6mm-1")
    rims = [each for each in circles(sheet.entities, "cut") if each.radius == 81.0]
    assert len(rims) == 2
    assert dist(rims[0].centre, rims[1].centre) >= 2 * 81.0 + 6.0 - 1e-9
    left, low, right, high = bounds_of(sheet.on("cut", "drill"))
    assert left >= 6.0
    assert low >= 6.0
    assert right <= 594.0
    assert high <= 394.0
    ring = named(parts, "door-fl-adapter").area_mm2
    assert ring is not None
    # Closed form: two rings side by side with 6 mm around each.
    waste = 1.0 - 2 * ring / ((2 * 162.0 + 18.0) * (162.0 + 12.0))
    assert f"{waste:.0%} of that waste" in sheet.notes[0]
    assert sheet.sends == "send out"


def test_what_is_larger_than_its_sheet_is_refused_with_the_size_it_needs() -> None:
    small = {"material": "plastic", "thickness": "6 mm", "size": ["150 mm", "150 mm"]}
    (first, _) = refusals(made(sheet=[small], bench=KNIFE), "sheet")
    assert "162 × 162 mm" in first
    assert "sheet.size of at least 174 × 174 mm" in first


def test_the_packaged_job_is_drawn_and_its_impossible_plan_refused() -> None:
    job = loads(demo_text())
    assert drawings(job.build()).drawings == ()
    names = {each.name for each in drawings(job.build("put-right")).drawings}
    assert {"door-fl-sealing-ring", "door-fr-sealing-ring"} <= names
    refused = drawings(job.build("larger-fronts")).refusals
    assert [each.subject for each in refused] == ["door-fl", "door-fr"]
    assert "132 mm" in refused[0].nearest


@pytest.mark.parametrize(
    "corners",
    [
        ["-60 mm, -40 mm", "60 mm, 40 mm", "60 mm, -40 mm", "-60 mm, 40 mm"],
        ["10 mm, 10 mm", "60 mm, 10 mm", "60 mm, 60 mm"],
    ],
)
def test_corners_that_make_no_outline_are_refused_by_their_field(corners: list[str]) -> None:
    (sentence, _) = refusals(made(mount={"corners": corners}), "template")
    assert "location[door-fl].mount.corners" in sentence
    (sentence, _) = refusals(made(frame={"corners": corners}), "template")
    assert "driver[new].frame.corners" in sentence


def test_a_pattern_of_the_same_screws_is_turned_halfway() -> None:
    square = tuple((60.0 * x, 60.0 * y) for x, y in ((1, 0), (0, 1), (-1, 0), (0, -1)))
    turned = clearest(square, avoid=square, free=True)
    # Closed form: 45 degrees between neighbours on a circle of 60 mm.
    assert nearest_hole(turned, square) == pytest.approx(2 * 60.0 * 0.38268343, abs=1e-6)
    assert clearest(square, avoid=square, free=False) == square


def test_holes_are_crosses_with_their_diameter() -> None:
    ring = named(made(), "door-fl-adapter")
    middles = {
        ((each.start[0] + each.end[0]) / 2, (each.start[1] + each.end[1]) / 2)
        for each in ring.on("mark")
        if isinstance(each, Line) and dist(each.start, each.end) == pytest.approx(10.0)
    }
    holes = circles(ring.entities, "drill")
    assert len(holes) == 7
    assert all(min(dist(hole.centre, spot) for spot in middles) < 1e-9 for hole in holes)
    # What a machine cuts holds circles only.
    assert len(ring.on("drill")) == 7
    assert {each.text for each in ring.entities if isinstance(each, Label)} >= {"⌀4.5", "⌀3"}
