"""Load expressions: read into the wiring tree, printed back, refused with a caret at the place."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from conewright.errors import LoadError
from conewright.job.quantity.expression import (
    Load,
    Part,
    ValuePart,
    WirePart,
    format_load,
    parse_load,
)
from conewright.job.quantity.values import parse_quantity
from conewright.physics.electrics.wiring import (
    Leaf,
    Parallel,
    Series,
    Tree,
    fold_resistance,
    leaves,
)

steady = settings(deadline=None, derandomize=True, max_examples=200)


def capacitor(text: str) -> ValuePart:
    return ValuePart("capacitor", parse_quantity(text, dimension="capacitance"))


def inductor(text: str) -> ValuePart:
    return ValuePart("inductor", parse_quantity(text, dimension="inductance"))


def resistor(text: str) -> ValuePart:
    return ValuePart("resistor", parse_quantity(text, dimension="resistance"))


def rated(value: str, rating: str) -> ValuePart:
    kinds = {"V": (capacitor, "voltage"), "A": (inductor, "current"), "W": (resistor, "power")}
    make, dimension = kinds[rating[-1]]
    return replace(make(value), rating=parse_quantity(rating, dimension=dimension))


def wire(length: str, size: str) -> WirePart:
    return WirePart(
        parse_quantity(length, dimension="length"), parse_quantity(size, dimension="conductor")
    )


def series(*parts: Tree | str) -> Series:
    return Series(tuple(Leaf(part) if isinstance(part, str) else part for part in parts))


def parallel(*parts: Tree | str) -> Parallel:
    return Parallel(tuple(Leaf(part) if isinstance(part, str) else part for part in parts))


def test_a_door_with_a_tweeter_behind_a_capacitor() -> None:
    load = parse_load("-door-fr | (4.7 uF + pillar-fr)")
    assert load.tree == parallel("door-fr", series("part:1", "pillar-fr"))
    assert load.reversed == {"door-fr"}
    assert load.parts == {"part:1": capacitor("4.7 uF")}
    assert load.locations == ("door-fr", "pillar-fr")


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        ("a", Leaf("a")),
        ("((a))", Leaf("a")),
        ("a|b+c", parallel("a", series("b", "c"))),
        ("a+b|c", parallel(series("a", "b"), "c")),
        ("(a|b)+c", series(parallel("a", "b"), "c")),
        ("a + (b + c)", series("a", series("b", "c"))),
        ("a | b | c", parallel("a", "b", "c")),
        ("\n a\t|\u00a0b ", parallel("a", "b")),
        ("a-b | a_b | a1-2", parallel("a-b", "a_b", "a1-2")),
        ("wire | unknown", parallel("wire", "unknown")),
    ],
)
def test_plus_binds_tighter(text: str, tree: Tree) -> None:
    assert parse_load(text) == Load(tree)


def test_series_before_parallel_in_ohms() -> None:
    load = parse_load("a | b + c")
    found = fold_resistance(tree=load.tree, resistances={"a": 4.0, "b": 3.0, "c": 1.0})
    assert found == pytest.approx(2.0)  # closed form: 4 | (3 + 1)


def test_minus_turns_the_driver_and_is_no_part_of_its_name() -> None:
    assert parse_load("a + -b-c | -d") == Load(
        parallel(series("a", "b-c"), "d"), frozenset({"b-c", "d"})
    )
    assert parse_load("\u2212a").reversed == {"a"}


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("4.7 uF", capacitor("4.7 uF")),
        ("4,7 µF", capacitor("4.7 uF")),
        ("4.7uF ± 10 %", capacitor("4.7 uF ± 10 %")),
        ("4.7 uF +/- 10 %", capacitor("4.7 uF ± 10 %")),
        ("4u7", capacitor("4.7 uF")),
        ("4.7 uF 63 V", rated("4.7 uF", "63 V")),
        ("4.7 uF ± 10 %  100V", rated("4.7 uF ± 10 %", "100 V")),
        ("0,33 mH 2,5 A", rated("0.33 mH", "2.5 A")),
        ("4R7 10W", rated("4.7 ohm", "10 W")),
        ("2 ohm 0.25 W", rated("2 ohm", "0.25 W")),
        ("100 nF", capacitor("100 nF")),
        ("4.7 MFD", capacitor("4.7 uF")),
        ("0.33 mH", inductor("0.33 mH")),
        ("0,330 mH", inductor("0.33 mH")),
        ("0.2..0.3 mH", inductor("0.2..0.3 mH")),
        ("2 ohm", resistor("2 ohm")),
        ("2 Ω", resistor("2 ohm")),
        ("3 ohms", resistor("3 ohm")),
        ("100 mΩ", resistor("100 mohm")),
        ("4R7", resistor("4.7 ohm")),
        ("1e+3 ohm", resistor("1000 ohm")),
        ("wire(1.2 m, 0.5 mm2)", wire("1.2 m", "0.5 mm2")),
        ("wire (1,2 m,0,5 mm²)", wire("1.2 m", "0.5 mm2")),
        ("wire(12 ft, 18 AWG)", wire("12 ft", "18 AWG")),
        ("wire(1.2 m +/- 0.1 m, 18 AWG)", wire("1.2 m ± 0.1 m", "18 AWG")),
    ],
)
def test_parts_by_value(text: str, part: Part) -> None:
    load = parse_load(f"a | ({text} + b)")
    assert load == Load(parallel("a", series("part:1", "b")), parts={"part:1": part})
    assert load.parts["part:1"].kind == part.kind


def test_part_keys_follow_the_reading_order() -> None:
    load = parse_load("(2 ohm + a) | (4.7 uF + b + 0.33 mH) | wire(1 m, 1 mm2)")
    assert [part.kind for part in load.parts.values()] == [
        "resistor",
        "capacitor",
        "inductor",
        "wire",
    ]
    assert leaves(load.tree) == ("part:1", "a", "part:2", "b", "part:3", "part:4")
    assert load.locations == ("a", "b")


@pytest.mark.parametrize(
    ("text", "column", "says"),
    [
        ("", 1, "expected a location id"),
        ("   ", 4, "expected a location id"),
        ("a |", 4, "expected a location id"),
        ("| a", 1, "expected a location id"),
        ("a | | b", 5, "expected a location id"),
        ("a || b", 4, "expected a location id"),
        ("()", 2, "expected a location id"),
        ("é | b", 1, "expected a location id"),
        ("a b", 3, "expected |, + or the end"),
        ("a - b", 3, "expected |, + or the end"),
        ("a-", 2, "expected |, + or the end"),
        ("a)", 2, "expected |, + or the end"),
        ("a (b)", 3, "expected |, + or the end"),
        ("(a b)", 4, "expected |, + or )"),
        ("(a", 1, "never closed"),
        ("a + (b | (c)", 5, "never closed"),
        ("wire(1 m, 1 mm2", 5, "never closed"),
        ("--a", 2, "after - comes the id"),
        ("-(a + b)", 2, "after - comes the id"),
        ("-4.7 uF", 2, "after - comes the id"),
        ("a + -wire(1 m, 1 mm2)", 6, "after - comes the id"),
        ("a | b + a", 9, "a stands here a second time"),
        ("a | -a", 6, "a stands here a second time"),
        ("4.7", 1, "no value of a capacitor, inductor or resistor"),
        ("a + 3 V", 5, "no value of a capacitor, inductor or resistor"),
        ("a + 4.7 UF", 5, "did you mean uF?"),
        ("a + 4.7 mF", 5, "did you mean uF?"),
        ("a + 10 k", 5, "did you mean kohm?"),
        ("a + 1,000 uF", 5, "may mean 1.000 or 1000"),
        ("a + 0 ohm", 5, "above zero"),
        ("a + 4.7 uF 10 W", 5, "a capacitor is rated in V"),
        ("a + 2 ohm 0 W", 5, "above zero"),
        ("a + 2 ohm b", 5, "not known"),
        ("wire(1 m)", 1, "a wire has a length and a size"),
        ("wire(1,2 mm2)", 1, "a wire has a length and a size"),
        ("wire(1 m, 1 mm2, 3)", 1, "a wire has a length and a size"),
        ("a + wire(1 m,  2 m)", 16, "m is a unit of a length"),
        ("wire(-1 m, 1 mm2)", 6, "above zero"),
        ("(" * 40 + "a" + ")" * 40, 31, "deeper than 30"),
        ("a" * 501, None, "longer than 500"),
    ],
)
def test_errors_point_at_the_character(text: str, column: int | None, says: str) -> None:
    with pytest.raises(LoadError) as caught:
        parse_load(text)
    message = str(caught.value)
    assert says in message
    assert "a load is written with | for parallel" in message
    if column is not None:
        _, window, caret, _ = message.split("\n")
        assert caret.endswith(f"^ character {column}")
        # The caret stands right under the character it speaks of.
        assert window[caret.index("^") :][:1].strip() == text[column - 1 : column].strip()


def test_a_long_load_is_shown_around_the_place() -> None:
    text = " | ".join(f"a{n}" for n in range(50)) + " ! " + " | ".join("b" * 20)
    with pytest.raises(LoadError) as caught:
        parse_load(text)
    _, window, caret, _ = str(caught.value).split("\n")
    assert len(window) <= 62
    assert window[caret.index("^")] == "!"


def test_line_breaks_do_not_move_the_caret() -> None:
    with pytest.raises(LoadError) as caught:
        parse_load("a |\n\tb ]")
    _, window, caret, _ = str(caught.value).split("\n")
    assert window[caret.index("^")] == "]"


def test_refuses_what_is_no_text() -> None:
    wrong: Any = 4  # what an untyped caller may pass
    with pytest.raises(LoadError, match="a text is wanted"):
        parse_load(wrong)


def test_prints_with_the_groups_shown() -> None:
    assert str(parse_load("-a|4,7µF+b|wire(1 m,18AWG)")) == (
        "-a | (4.7 uF + b) | wire(1 m, 18 AWG)"
    )


def test_loads_can_be_kept_in_sets() -> None:
    assert len({parse_load("a | 2 ohm"), parse_load("a|2 ohm"), parse_load("a | 3 ohm")}) == 2


# Properties --------------------------------------------------------------------------------------

names = st.from_regex(r"[A-Za-z][A-Za-z0-9_]{0,3}(-[A-Za-z0-9_]{1,3}){0,2}", fullmatch=True)
parts = st.one_of(
    st.sampled_from(["4.7 uF", "4.7 uF ± 10 %", "100..220 nF"]).map(capacitor),
    st.sampled_from(["0.33 mH", "0.2..0.3..0.5 mH"]).map(inductor),
    st.sampled_from(["2 ohm", "1e-9 ohm", "1e20 ohm"]).map(resistor),
    st.sampled_from(["63 V", "1500 V", "0.5 V"]).map(lambda printed: rated("4.7 uF", printed)),
    st.sampled_from(["0.5 A", "25 A"]).map(lambda printed: rated("0.33 mH", printed)),
    st.sampled_from(["0.25 W", "2500 W"]).map(lambda printed: rated("2 ohm", printed)),
    st.sampled_from([wire("1.2 m", "0.5 mm2"), wire("12 ft ± 1 ft", "18 AWG")]),
)
shapes: st.SearchStrategy[Tree] = st.recursive(
    st.just(Leaf("")),
    lambda inner: st.lists(inner, min_size=2, max_size=4).flatmap(
        lambda group: st.sampled_from([Series(tuple(group)), Parallel(tuple(group))])
    ),
    max_leaves=12,
)


@st.composite
def loads(draw: st.DrawFn) -> Load:
    """A load of random shape, its leaves named in reading order as the parser names parts."""
    shape = draw(shapes)
    count = len(leaves(shape))
    ids = iter(draw(st.lists(names, min_size=count, max_size=count, unique=True)))
    found: dict[str, Part] = {}
    turned: set[str] = set()

    def named(tree: Tree) -> Tree:
        if not isinstance(tree, Leaf):
            return type(tree)(tuple(named(part) for part in tree.parts))
        if draw(st.booleans()):
            key = f"part:{len(found) + 1}"
            found[key] = draw(parts)
            return Leaf(key)
        name = next(ids)
        if draw(st.booleans()):
            turned.add(name)
        return Leaf(name)

    return Load(named(shape), frozenset(turned), found)


@steady
@given(loads())
def test_printing_and_reading_back_gives_the_same(load: Load) -> None:
    assert parse_load(format_load(load)) == load


@steady
@given(loads(), st.data())
def test_a_slip_in_a_load_gives_a_load_or_the_one_error(load: Load, data: st.DataObject) -> None:
    text = format_load(load)
    at = data.draw(st.integers(0, len(text)))
    gone = data.draw(st.integers(0, 3))
    slip = data.draw(st.text(max_size=2) | st.text("()|+-, 4aR±./%", max_size=3))
    _loads_or_refuses(text[:at] + slip + text[at + gone :])


@steady
@given(
    st.text(max_size=600)
    | st.text("()|+-, ab14.7uFmHohmwire(±/%\u2212½e\n", max_size=60)
    | st.lists(
        st.sampled_from(["a", "-b", "c-d", "|", "+", "(", ")", "4u7", "2 ohm", "wire(", ",", " "]),
        max_size=20,
    ).map("".join)
)
@example("(" * 500)
@example("-" * 500)
@example("wire(" * 100)
@example("9" * 500)
@example("1e+" * 160)
@example("\ud800")
def test_any_text_gives_a_load_or_the_one_error(text: str) -> None:
    _loads_or_refuses(text)


def _loads_or_refuses(text: str) -> None:
    try:
        load = parse_load(text)
    except LoadError as error:
        message = str(error)
    else:
        message = ""
        assert parse_load(format_load(load)) == load
    assert message.replace("\n", " ").isprintable()
