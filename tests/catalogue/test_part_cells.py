"""One cell: read to the number of the grammar, or told why it is none."""

from math import isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.catalogue.columns import columns
from conewright.catalogue.lists.part_cells import cell_number
from conewright.errors import QuantityError
from conewright.job.quantity.values import parse_quantity

# Exact by the definition of the units (ISO 80000): litre, inch (25.4 mm), centi, milli, micro.
EXPECTED = [
    ("re", "driver", "3.4 ohm", 3.4),
    ("vas", "driver", "7.5 L", 0.0075),
    ("sd", "driver", "84 cm2", 0.0084),
    ("depth", "driver", "2 1/2 in", 0.0635),
    ("value", "capacitor", "4.7 uF", 4.7e-6),
    ("value", "fuse", "7.5 A", 7.5),
    ("value", "cable", "0.75 mm2", 0.75e-6),
    ("value", "patch", "4 kg/m2", 4.0),
    ("price", "ring", "24.90", 24.9),
    ("stock", "ring", "0", 0.0),
    ("hands_free", "radio", "yes", 1.0),
    ("sensitivity", "driver", "-3 dB", -3.0),
]


@pytest.mark.parametrize(("name", "kind", "text", "expected"), EXPECTED)
def test_a_cell_is_its_number(name: str, kind: str, text: str, expected: float) -> None:
    number = cell_number(text, columns()[name], kind=kind)
    assert number is not None
    assert number[0] == pytest.approx(expected, rel=1e-15)
    assert isnan(number[1])
    assert isnan(number[2])


def test_a_spread_is_kept() -> None:
    assert cell_number("60..70..90 Hz", columns()["fs"], kind="driver") == (70.0, 60.0, 90.0)
    margin = cell_number("62 mm ± 2 mm", columns()["depth"], kind="driver")
    assert margin == pytest.approx((0.062, 0.060, 0.064))


def test_a_size_has_two_axes() -> None:
    size = cell_number("6 x 9 in", columns()["size"], kind="driver")
    assert size is not None
    assert size[:2] == pytest.approx((0.1524, 0.2286))


@pytest.mark.parametrize(
    ("name", "kind", "text", "allowed"),
    [
        ("re", "driver", "3.4", "unit is missing"),
        ("re", "driver", "0 ohm", "above zero"),
        ("fs", "driver", "70 mm", "Hz"),
        ("power", "driver", "60 W RMS", "W"),
        ("value", "capacitor", "4.7 mm2", "capacitance"),
        ("price", "driver", "1.084,00", "plain number"),
        ("price", "driver", "-3", "plain number"),
        ("stock", "driver", "-1", "whole number"),
        ("stock", "driver", "1.5", "whole number"),
        ("per", "driver", "box", "pair, piece, metre, kg"),
        ("currency", "driver", "Euro", "three capital letters"),
        ("seen_at", "driver", "31.3.2026", "2026-03-31"),
        ("cures", "repair", "bad-luck", "surround-torn"),
        ("hands_free", "radio", "maybe", "yes or no"),
        ("name", "driver", "two\nlines", "one line"),
        ("name", "driver", "x" * 201, "200 signs"),
    ],
)
def test_a_cell_that_is_none_says_what_is_allowed(
    name: str, kind: str, text: str, allowed: str
) -> None:
    with pytest.raises(QuantityError, match=allowed):
        cell_number(text, columns()[name], kind=kind)


@given(
    st.decimals("0.001", "99999", places=3),
    st.sampled_from(
        [("re", "ohm"), ("re", "mohm"), ("vas", "L"), ("sd", "cm2"), ("mms", "g"), ("fs", "kHz")]
    ),
)
def test_the_short_way_gives_the_very_number_of_the_grammar(
    number: object, column: tuple[str, str]
) -> None:
    name, unit = column
    text = f"{number} {unit}"
    read = cell_number(text, columns()[name], kind="driver")
    assert read is not None
    expected = parse_quantity(text, dimension=columns()[name].dimension, positive=True).value
    assert read[0] == expected


@given(st.text(max_size=60), st.sampled_from(sorted(columns())), st.sampled_from(["cable", "fuse"]))
def test_any_text_is_read_or_refused(text: str, name: str, kind: str) -> None:
    column = columns()[name]
    try:
        number = cell_number(text, column, kind=kind)
    except QuantityError:
        return
    assert (number is not None) == column.numeric
