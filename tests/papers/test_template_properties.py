"""What must hold of the templates of any frame in any mount."""

from itertools import combinations
from math import cos, dist, pi, radians, sin
from random import Random
from typing import Any

import pytest
import shapely
from benches import circles, door_build, without_words
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.papers.drawing.geometry import (
    Circle,
    Drawing,
    Ellipse,
    Entity,
    Point,
    Polygon,
    mirrored,
    turned_point,
)
from conewright.papers.templates.drawings import drawings

pytestmark = pytest.mark.slow

steady = settings(deadline=None, derandomize=True, max_examples=30)
seeds = st.integers(0, 10**6)
NEAR = 0.02
"""What the polygons of this test are finer than [mm]."""

KNIFE = {"kind": "knife"}
KNIVES = {"board": KNIFE, "panel": KNIFE, "foam": KNIFE}


def millimetres(value: float) -> str:
    return f"{value:.3f} mm"


def round_job(seed: int) -> dict[str, Any]:
    """A round driver for a round opening, more or less as they come."""
    chance = Random(seed)
    cutout = chance.uniform(90.0, 170.0)
    needs = cutout + chance.uniform(-25.0, 20.0)
    return {
        "mount": {
            "cutout": millimetres(cutout),
            "land": millimetres(chance.uniform(10.0, 40.0)),
            "screws": {
                "count": chance.choice([3, 4]),
                "circle": millimetres(cutout + chance.uniform(14.0, 26.0)),
                "angle": f"{chance.uniform(0.0, 120.0):.2f} deg",
                "diameter": "4 mm",
            },
        },
        "frame": {
            "cutout": millimetres(needs),
            "outer": millimetres(needs + chance.uniform(10.0, 40.0)),
            "screws": {
                "count": chance.choice([3, 4]),
                "circle": millimetres(needs + chance.uniform(10.0, 34.0)),
                "diameter": millimetres(chance.choice([2.5, 3.0, 4.0])),
            },
        },
        "changes": {"door-f?.mount.ring": True},
        "bench": KNIVES,
    }


def oval_job(seed: int) -> dict[str, Any]:
    """An oval driver for an opening that is oval, round or has corners, turned anyhow."""
    chance, job = Random(seed), round_job(seed)
    half = float(job["mount"]["cutout"].split()[0]) / 2
    short, long = 2 * half + chance.uniform(-20.0, 10.0), chance.uniform(1.05, 1.5)
    a, b = short * long / 2 + 14.0, short / 2 + 14.0
    angles = [chance.uniform(20.0, 60.0) + quarter for quarter in (0.0, 90.0, 180.0, 270.0)]
    places = [(a * cos(radians(angle)), b * sin(radians(angle))) for angle in angles]
    job["frame"] |= {
        "cutout": millimetres(short),
        "cutout_long": millimetres(short * long),
        "outer": millimetres(short + 20.0),
        "outer_long": millimetres(short * long + 20.0),
        "screws": {
            "places": [f"{millimetres(x)}, {millimetres(y)}" for x, y in places],
            "diameter": "3 mm",
        },
    }
    job["mount"]["turn"] = f"{chance.uniform(-90.0, 90.0):.2f} deg"
    shape = chance.choice(["round", "oval", "corners"])
    if shape == "oval":
        job["mount"]["cutout_long"] = millimetres(2 * half * long)
    if shape == "corners":
        job["mount"]["corners"] = [
            f"{millimetres(half * x)}, {millimetres(half * y)}"
            for x, y in ((-1, -1), (1, -1), (1.2, 0), (1, 1), (-1, 1))
        ]
    return job


def polygon(entity: Entity) -> shapely.Polygon:
    """A cut edge as a polygon, made here and not by what is tested."""
    if isinstance(entity, Polygon):
        return shapely.Polygon(entity.points)
    assert isinstance(entity, Circle | Ellipse)
    a, b = (entity.radius,) * 2 if isinstance(entity, Circle) else entity.half_axes
    turn = 0.0 if isinstance(entity, Circle) else entity.turn
    points: list[Point] = [
        turned_point((a * cos(angle), b * sin(angle)), by=turn)
        for angle in (2 * pi * step / 2000 for step in range(2000))
    ]
    return shapely.affinity.translate(shapely.Polygon(points), *entity.centre)


def material(part: Drawing) -> shapely.Polygon:
    """What is left between the cut edges of a part, its holes not yet drilled."""
    rim, hole = sorted((polygon(each) for each in part.on("cut")), key=lambda shape: -shape.area)
    assert rim.contains(hole)
    return shapely.Polygon(rim.exterior.coords, [hole.exterior.coords])


def hold_a_part(part: Drawing, screw: float) -> None:
    """No hole off the material, none too near to an edge or another; the area adds up."""
    whole = material(part)
    assert whole.is_valid
    holes = circles(part.entities, "drill")
    for hole in holes:
        spot = shapely.Point(hole.centre)
        assert whole.contains(spot.buffer(hole.radius))
        # 1.5 diameters in plastic, which every ring may be of; thinner screws where room is short.
        assert whole.boundary.distance(spot) >= 1.5 * min(screw, 2 * hole.radius) - NEAR
    for one, other in combinations(holes, 2):
        thinner = 2 * min(one.radius, other.radius)
        assert dist(one.centre, other.centre) >= 2 * min(screw, thinner) - NEAR
    drilled = sum(pi * hole.radius**2 for hole in holes)
    assert part.area_mm2 is not None
    assert abs(part.area_mm2 - (whole.area - drilled)) < 1e-4 * whole.area


def hold_a_plan(fields: dict[str, Any]) -> None:
    parts = drawings(door_build(**fields))
    by_name = {each.name: each for each in parts.drawings}
    driver = float(fields["frame"]["screws"]["diameter"].split()[0])
    for name, part in by_name.items():
        if name.startswith("door-fl"):
            other = by_name[name.replace("door-fl", "door-fr")]
            assert without_words(mirrored(part.entities)) == without_words(other.entities)
        if name.endswith(("-adapter", "-spacer", "-ring")):
            hold_a_part(part, min(driver, 4.0))
    hold_the_steel(fields, by_name)
    hold_sheets(parts.drawings)
    for each in parts.refusals:
        assert each.sentence.endswith(".")
        assert each.nearest.endswith(".")


def hold_the_steel(fields: dict[str, Any], by_name: dict[str, Drawing]) -> None:
    """Eight millimetres of flat steel are left wherever an opening is enlarged."""
    opening = by_name.get("door-fl-opening")
    if opening is None:
        return
    land = float(fields["mount"]["land"].split()[0])
    shapes = [polygon(each) for each in opening.on("mark") if not hasattr(each, "start")]
    shapes.sort(key=lambda shape: shape.area)
    (new,) = [polygon(each) for each in opening.on("cut")]
    old = shapes[0]
    flat = old.buffer(land, quad_segs=128)
    assert flat.boundary.distance(new) >= 8.0 - NEAR
    assert flat.contains(new)


def hold_sheets(every: tuple[Drawing, ...]) -> None:
    """Every piece lies on a sheet, as large as it is and clear of all others."""
    pieces = sum(each.pieces for each in every)
    laid = 0
    for sheet in (each for each in every if each.sends == "send out"):
        (edge,) = [each for each in sheet.on("mark") if isinstance(each, Polygon)]
        rims = sorted((polygon(each) for each in sheet.on("cut")), key=lambda shape: -shape.area)
        outer: list[shapely.Polygon] = []
        for rim in rims:
            if not any(known.contains(rim) for known in outer):
                assert all(known.distance(rim) >= 6.0 - NEAR for known in outer)
                outer.append(rim)
        assert all(shapely.Polygon(edge.points).contains(rim) for rim in outer)
        laid += len(outer)
    assert laid == pieces


@steady
@given(seeds)
def test_round_drivers(seed: int) -> None:
    hold_a_plan(round_job(seed))


@settings(steady, max_examples=20)
@given(seeds)
def test_oval_drivers(seed: int) -> None:
    hold_a_plan(oval_job(seed))


def test_random_plans_hold_every_kind_of_part_and_refusals() -> None:
    found: set[str] = set()
    for seed in range(12):
        for job in (round_job(seed), oval_job(seed)):
            parts = drawings(door_build(**job))
            found |= {each.name.removeprefix("door-fl-") for each in parts.drawings}
            found |= {"refused" for _ in parts.refusals}
    assert {"adapter", "opening", "sealing-ring", "refused"} <= found
