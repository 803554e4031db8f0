"""The wiring diagram: all of the load, once, in its place, in black and white, in millimetres."""

import re
from collections import Counter
from collections.abc import Iterator
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import conewright as cw
from conewright.papers.wiring.diagram import diagrams
from conewright.papers.wiring.ladder import HEIGHT, Rung, Wire, ladder, measure
from conewright.physics.electrics.wiring import Leaf, Parallel, Series, Tree, leaves
from conewright.stages.common.nets import MINUS, PLUS, Part

SVG = "{http://www.w3.org/2000/svg}"
HARD = (
    "(0.5 mH + door-fl) | (4.7 uF + (pillar-fl | 3.3 ohm)) | "
    "(wire(1.2 m, 0.5 mm2) + side-rl + -side-rr)"
)


def texts(svg: str) -> Counter[str]:
    return Counter(node.text or "" for node in ElementTree.fromstring(svg).iter(f"{SVG}text"))


def hard() -> cw.Job:
    """A load of every kind of part, on the first channel."""
    demo = cw.demo_text()
    demo = demo[: demo.index("[[proposal]]")]
    for old, new in {
        "door-fl | (4.7 uF + pillar-fl)": HARD,
        "side-rl | roof-rl": "roof-rl",
        "side-rr | roof-rr": "100 uF + roof-rr",
    }.items():
        demo = demo.replace(f'"{old}"', f'"{new}"')
    return cw.loads(demo)


def test_every_driver_and_part_is_drawn_once() -> None:
    svg = diagrams(hard().build())[0].svg
    found = texts(svg)
    drawn = ("door-fl", "pillar-fl", "side-rl", "side-rr", "0.5 mH", "4.7 µF", "3.3 Ω")
    assert [found[each] for each in drawn] == [1] * len(drawn)
    assert found["wire 1.2 m, 0.5 mm²"] == 1
    assert [found[each] for each in ("J1", "J2", "J3", "J4", "turned round")] == [1] * 5
    # plug and four drivers
    assert (found[PLUS], found[MINUS]) == (5, 5)


def test_a_driver_turned_round_has_its_plus_at_the_bottom() -> None:
    svg = diagrams(cw.demo_job().build())[1].svg
    signs = [
        (node.text, float(node.get("y", "0")))
        for node in ElementTree.fromstring(svg).iter(f"{SVG}text")
        if node.text in (PLUS, MINUS) and float(node.get("x", "0")) > 60.0
    ]
    assert [sign for sign, _ in sorted(signs[:2], key=lambda each: each[1])] == [MINUS, PLUS]
    righted = diagrams(cw.demo_job().build("put-right"))[1].svg
    assert texts(righted)["turned round"] == 0


def test_units_are_millimetres_and_all_is_inside() -> None:
    for each in diagrams(hard().build()):
        root = ElementTree.fromstring(each.svg)
        width, height = (float(text) for text in root.get("viewBox", "").split()[2:])
        assert root.get("width") == f"{width:.2f}mm"
        assert root.get("height") == f"{height:.2f}mm"
        for node in ElementTree.fromstring(each.svg).iter(f"{SVG}text"):
            assert 0.0 <= float(node.get("x", "-1")) < each.width_mm
            assert 0.0 < float(node.get("y", "-1")) < each.height_mm


def test_black_and_white_only() -> None:
    svg = diagrams(hard().build())[0].svg
    assert set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) == {"none", "black", "white"}
    assert "stroke-dasharray" in svg


def test_the_same_job_gives_the_same_drawing() -> None:
    assert diagrams(cw.demo_job().build()) == diagrams(cw.demo_job().build())


def test_a_name_with_signs_of_markup_is_drawn_as_it_is() -> None:
    demo = cw.demo_text().replace('"front left door"', '"door <L> & sill"')
    assert (
        sum((texts(each.svg) for each in diagrams(cw.loads(demo).build())), Counter())[
            "door <L> & sill"
        ]
        == 1
    )


def test_what_is_to_make_is_marked() -> None:
    found, planned = (diagrams(cw.demo_job().build(name))[2].svg for name in (None, "put-right"))
    squares = [len(re.findall(r'<rect [^>]*width="2"', svg)) for svg in (found, planned)]
    assert squares == [0, 1]


def trees() -> st.SearchStrategy[Tree]:
    """Trees of up to a dozen leaves with names of their own."""
    shapes: st.SearchStrategy[Tree] = st.recursive(
        st.just(Leaf("x")),
        lambda below: st.lists(below, min_size=2, max_size=3).flatmap(
            lambda parts: st.sampled_from([Series(tuple(parts)), Parallel(tuple(parts))])
        ),
        max_leaves=12,
    )
    return shapes.map(lambda tree: named(tree, iter(range(1000))))


def named(tree: Tree, numbers: Iterator[int]) -> Tree:
    if isinstance(tree, Leaf):
        return Leaf(f"p{next(numbers)}")
    return type(tree)(tuple(named(part, numbers) for part in tree.parts))


@settings(deadline=None, derandomize=True, max_examples=60)
@given(tree=trees(), wide=st.floats(15.0, 60.0))
def test_parts_never_overlap_and_every_wire_is_level(tree: Tree, wide: float) -> None:
    names = leaves(tree)
    parts = {name: Part(name, "driver", name, PLUS, MINUS) for name in names}
    widths = dict.fromkeys(names, wide)
    size = measure(tree, widths)
    items = list(
        ladder(tree, parts, widths, left=0.0, top=0.0, bottom=size.height, between=(PLUS, MINUS))
    )
    rungs = [item for item in items if isinstance(item, Rung)]
    assert sorted(rung.part.key for rung in rungs) == sorted(names)
    for rung in rungs:
        assert rung.bottom - rung.top >= HEIGHT - 1e-9
        assert -1e-9 <= rung.top <= rung.bottom <= size.height + 1e-9
        assert 0.0 < rung.x <= size.width
    for one in rungs:
        for other in rungs:
            if one is not other and min(one.bottom, other.bottom) - max(one.top, other.top) > 1e-9:
                assert abs(one.x - other.x) >= wide - 1e-9
    for wire in (item for item in items if isinstance(item, Wire)):
        assert wire.ends[0][1] == wire.ends[1][1]


@settings(deadline=None, derandomize=True, max_examples=60)
@given(tree=trees())
def test_every_end_of_a_part_touches_a_wire_of_its_joint(tree: Tree) -> None:
    names = leaves(tree)
    parts = {name: Part(name, "driver", name, PLUS, MINUS) for name in names}
    widths = dict.fromkeys(names, 30.0)
    size = measure(tree, widths)
    items = list(
        ladder(tree, parts, widths, left=0.0, top=0.0, bottom=size.height, between=(PLUS, MINUS))
    )
    rails = [(item.ends[0], item.ends[1]) for item in items if isinstance(item, Wire)]
    # the two wires of the pair come in at the axis
    rails += [((0.0, y), (size.axis, y)) for y in (0.0, size.height)]
    for rung in (item for item in items if isinstance(item, Rung)):
        for y in (rung.top, rung.bottom):
            assert any(
                abs(a[1] - y) < 1e-6 and a[0] - 1e-6 <= rung.x <= b[0] + 1e-6 for a, b in rails
            )


@pytest.mark.parametrize("proposal", [None, "put-right", "slim-fronts"])
def test_titles_say_what_a_meter_should_read(proposal: str | None) -> None:
    for each in diagrams(cw.demo_job().build(proposal)):
        assert re.search(r"\d to \d+\.\d ohm at the plug$", each.title)
