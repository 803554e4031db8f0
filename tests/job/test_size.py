"""Nominal sizes: round and oval, printed back."""

from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from conewright.errors import QuantityError
from conewright.job.quantity.size import Size, parse_size
from conewright.job.quantity.values import Quantity


@pytest.mark.parametrize(
    ("text", "minor", "major", "printed"),
    [
        # Closed form: 1 in = 25.4 mm.
        ("165 mm", 0.165, 0.165, "165 mm"),
        ("16,5 cm", 0.165, 0.165, "16.5 cm"),
        ("6 1/2 in", 0.1651, 0.1651, "6.5 in"),
        ('6-1/2"', 0.1651, 0.1651, "6.5 in"),
        ("6x9 in", 0.1524, 0.2286, "6 x 9 in"),
        ('6X9"', 0.1524, 0.2286, "6 x 9 in"),
        ("6 in × 9 in", 0.1524, 0.2286, "6 x 9 in"),
        ("9 x 6 in", 0.1524, 0.2286, "6 x 9 in"),
        ("6 1/2 x 9 1/2 in", 0.1651, 0.2413, "6.5 x 9.5 in"),
        ("152 x 229 mm", 0.152, 0.229, "152 x 229 mm"),
        ("15,2 cm x 229 mm", 0.152, 0.229, "15.2 cm x 229 mm"),
        ("6 x 6 in", 0.1524, 0.1524, "6 in"),
    ],
)
def test_reads_and_prints(text: str, minor: float, major: float, printed: str) -> None:
    size = parse_size(text)
    assert (size.minor, size.major, size.oval) == (minor, major, minor != major)
    assert str(size) == printed
    assert parse_size(printed) == size


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("165", "unit is missing"),
        ("6x9", "unit is missing"),
        ("6x9x2 in", "one axis or two"),
        ("x in", "does not start with a number"),
        ("0x10 mm", "above zero"),
        ("-165 mm", "above zero"),
        ("165 mm ± 1 mm", "without a spread"),
        ("160..170 mm", "without a spread"),
        ("1" * 5000 + "x2 in", "longer than 120"),
    ],
)
def test_refuses(text: str, says: str) -> None:
    with pytest.raises(QuantityError, match=says):
        parse_size(text)


def test_a_size_holds_its_rules() -> None:
    six, nine = Quantity.of(0.1524, "length", "in"), Quantity.of(0.2286, "length", "in")
    assert Size(six, nine).oval
    with pytest.raises(QuantityError, match="the short one first"):
        Size(nine, six)
    with pytest.raises(QuantityError, match="a length without a spread"):
        Size(six, Quantity.of(4.0, "resistance"))
    wrong: Any = 165  # what an untyped caller may pass
    with pytest.raises(QuantityError, match="a text with a unit is wanted"):
        parse_size(wrong)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.text(max_size=20) | st.text('0123456789/., xX×in"cmf±', max_size=20))
@example("6 x 152.4 mm")
def test_any_text_gives_a_size_or_the_one_error(text: str) -> None:
    try:
        size = parse_size(text)
    except QuantityError:
        return
    assert parse_size(str(size)) == size
