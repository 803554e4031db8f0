"""Tools: on which side their kerf falls, and what they cannot cut."""

from typing import Any

import pytest
from benches import circles, made, named

from conewright.job.document.bench import Bench, Tool
from conewright.papers.drawing.geometry import Circle
from conewright.papers.drawing.kerf import CannotCutError, cut, cutter_for
from conewright.papers.drawing.outlines import Cornered, Oval, Round

HOLE = Round(58.0)
CORNERS = Cornered(((-40.0, -30.0), (40.0, -30.0), (40.0, 30.0), (-40.0, 30.0)))


def bench(kind: str, **more: Any) -> Bench:
    return Bench(board=Tool.model_validate({"kind": kind, **more}))


def radii(kind: str, waste: Any, layer: str, **more: Any) -> list[float]:
    done = cut(HOLE, with_=cutter_for(bench(kind, **more), "board"), waste=waste)
    return [circle.radius for circle in circles(done.entities, layer)]


def test_a_knife_runs_along_the_line() -> None:
    assert radii("knife", "inside", "cut") == [58.0]
    assert radii("knife", "inside", "mark") == []


def test_a_jigsaw_stays_on_the_waste_side() -> None:
    # Closed form: the kerf of 1.2 mm lies wholly on the side that falls off.
    assert radii("jigsaw", "inside", "cut", kerf="1.2 mm") == [58.0]
    assert radii("jigsaw", "inside", "mark", kerf="1.2 mm") == pytest.approx([56.8])
    assert radii("jigsaw", "outside", "mark", kerf="1.2 mm") == pytest.approx([59.2])


@pytest.mark.parametrize(("kind", "kerf"), [("laser", 0.2), ("router", 6.0)])
def test_a_beam_or_cutter_is_led_by_its_middle(kind: str, kerf: float) -> None:
    given = {"kerf": f"{kerf} mm"}
    assert radii(kind, "inside", "cut", **given) == pytest.approx([58.0 - kerf / 2])
    assert radii(kind, "outside", "cut", **given) == pytest.approx([58.0 + kerf / 2])
    assert radii(kind, "inside", "mark", **given) == [58.0]
    note = cut(HOLE, with_=cutter_for(bench(kind, **given), "board"), waste="inside").note
    assert "do not correct" in note


def test_a_hole_saw_cuts_its_own_size() -> None:
    saws = ["92 mm", "117 mm"]
    done = cut(HOLE, with_=cutter_for(bench("hole-saw", saws=saws), "board"), waste="inside")
    assert done.edge == Round(58.5)
    disc = cut(
        Round(45.0),
        with_=cutter_for(bench("hole-saw", saws=["92.5 mm"], kerf="1.2 mm"), "board"),
        waste="outside",
    )
    # Closed form: 92.5 mm over the teeth, 1.2 mm of wall on either side.
    assert isinstance(disc.edge, Round)
    assert disc.edge.radius == pytest.approx(45.05)


@pytest.mark.parametrize("outline", [Oval((60.0, 40.0)), CORNERS])
def test_a_hole_saw_cuts_nothing_but_circles(outline: Any) -> None:
    with pytest.raises(CannotCutError, match="circles only"):
        cut(outline, with_=cutter_for(bench("hole-saw"), "board"), waste="inside")


def test_a_saw_that_is_not_there_is_refused_with_the_next() -> None:
    with pytest.raises(CannotCutError) as caught:
        cut(HOLE, with_=cutter_for(bench("hole-saw"), "board"), waste="inside")
    assert "116.0 mm" in caught.value.sentence
    assert "121 mm" in caught.value.nearest
    with pytest.raises(CannotCutError, match="No saw at hand is larger"):
        cut(Round(100.0), with_=cutter_for(bench("hole-saw"), "board"), waste="inside")


def test_a_jigsaw_does_not_turn_on_the_spot() -> None:
    with pytest.raises(CannotCutError, match="bend of 12 mm radius; the least is 15 mm"):
        cut(Round(12.0), with_=cutter_for(bench("jigsaw"), "board"), waste="inside")
    # Closed form: at its tips an oval of 120 by 40 mm has a radius of 20^2/60 = 6.67 mm.
    with pytest.raises(CannotCutError, match=r"bend of 6\.67 mm"):
        cut(Oval((60.0, 20.0)), with_=cutter_for(bench("jigsaw"), "board"), waste="inside")
    assert cut(Oval((60.0, 40.0)), with_=cutter_for(bench("jigsaw"), "board"), waste="inside")


def test_a_tool_wider_than_the_narrowest_bend_is_refused() -> None:
    # Closed form: the sharpest bend of this oval has a radius of 12²/60 = 2.4 mm.
    with pytest.raises(CannotCutError, match=r"bend of 2\.4 mm"):
        cut(Oval((60.0, 12.0)), with_=cutter_for(bench("router"), "board"), waste="inside")
    assert cut(Oval((60.0, 12.0)), with_=cutter_for(bench("laser"), "board"), waste="inside")


def test_a_router_rounds_inner_corners_and_says_so() -> None:
    cutter = cutter_for(bench("router", kerf="6 mm"), "board")
    assert "radius of 3 mm" in cut(CORNERS, with_=cutter, waste="inside").note
    assert "radius of 3 mm" not in cut(CORNERS, with_=cutter, waste="outside").note


def test_the_usual_tools_stand_in_where_none_is_named() -> None:
    assert [cutter_for(Bench(), work).kind for work in ("panel", "board", "foam")] == [
        "jigsaw",
        "jigsaw",
        "knife",
    ]


def test_the_kerf_of_the_job_reaches_the_drawing() -> None:
    parts = made(bench={"board": {"kind": "laser", "kerf": "0.3 mm"}})
    ring = named(parts, "door-fl-adapter")
    edges = [circle.radius for circle in circles(ring.entities, "mark")]
    paths = [circle.radius for circle in circles(ring.entities, "cut")]
    assert paths[0] == pytest.approx(81.0 + 0.15)
    assert paths[1] == pytest.approx(58.0 - 0.15)
    assert {81.0, 58.0} <= set(edges)


def test_what_the_tool_of_the_job_cannot_cut_is_refused() -> None:
    parts = made(bench={"board": {"kind": "hole-saw"}})
    refused = [each for each in parts.refusals if each.part == "adapter"]
    assert len(refused) == 2
    assert "hole saws" in refused[0].sentence
    assert isinstance(named(parts, "door-fl-holes").on("drill")[0], Circle)
