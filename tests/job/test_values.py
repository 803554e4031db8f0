"""Quantities: read right or refused with what is allowed, printed back exactly.

Expected numbers are closed form (the definition of the unit) unless a label says otherwise.
"""

import csv
import math
from importlib.resources import files
from typing import Any

import pytest
from hypothesis import example, given, reject, settings
from hypothesis import strategies as st

from conewright.errors import QuantityError
from conewright.job.quantity.units import (
    dimension_of,
    find_unit,
    nearest_units,
    to_unit,
    unit_named,
    units_of,
)
from conewright.job.quantity.values import Quantity, display, format_quantity, parse_quantity

TABLE = files("conewright.job.quantity") / "data" / "dimensions.csv"
DIMENSIONS = [row["dimension"] for row in csv.DictReader(TABLE.read_text("utf-8").splitlines())]

steady = settings(deadline=None, derandomize=True, max_examples=200)


def read(text: str, dimension: str) -> Quantity:
    return parse_quantity(text, dimension=dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "value", "unit"),
    [
        ("165 mm", "length", 0.165, "mm"),
        ("165mm", "length", 0.165, "mm"),
        ("165\u00a0mm", "length", 0.165, "mm"),
        ("16,5 cm", "length", 0.165, "cm"),
        ("5.25 in", "length", 0.13335, "in"),
        ("6 1/2 in", "length", 0.1651, "in"),
        ("6-1/2 in", "length", 0.1651, "in"),
        ("6½ in", "length", 0.1651, "in"),
        ("6 ½ in", "length", 0.1651, "in"),
        ("1/2 in", "length", 0.0127, "in"),
        ("½ in", "length", 0.0127, "in"),
        ("-6 1/2 in", "length", -0.1651, "in"),
        ('6.5"', "length", 0.1651, "in"),
        ('6-1/2"', "length", 0.1651, "in"),
        ("6 1/2″", "length", 0.1651, "in"),
        (".5 in", "length", 0.0127, "in"),
        ("1 1/2 ft", "length", 0.4572, "ft"),
        ("-0.82 m", "length", -0.82, "m"),
        ("1e-3 m", "length", 0.001, "m"),
        ("1.000 mm", "length", 0.001, "mm"),
        ("0,330 m", "length", 0.33, "m"),
        ("84 cm2", "area", 84e-4, "cm2"),
        ("84 cm²", "area", 84e-4, "cm2"),
        ("84 cm^2", "area", 84e-4, "cm2"),
        ("42 L", "volume", 0.042, "L"),
        ("42 l", "volume", 0.042, "L"),
        ("7.5 m3", "volume", 7.5, "m3"),
        ("1 ft3", "volume", 0.028316846592, "ft3"),
        ("1 lb", "mass", 0.45359237, "lb"),
        ("12 g", "mass", 0.012, "g"),
        ("4 kg/m2", "surface-density", 4.0, "kg/m2"),
        ("4 kg / m²", "surface-density", 4.0, "kg/m2"),
        ("3.4 Ω", "resistance", 3.4, "ohm"),
        ("3.4 \u2126", "resistance", 3.4, "ohm"),
        ("35 mΩ", "resistance", 0.035, "mohm"),
        ("10 MΩ", "resistance", 1e7, "Mohm"),
        ("4R7", "resistance", 4.7, "ohm"),
        ("R47", "resistance", 0.47, "ohm"),
        ("4k7", "resistance", 4700.0, "kohm"),
        ("4.7 uF", "capacitance", 4.7e-6, "uF"),
        ("4,7 µF", "capacitance", 4.7e-6, "uF"),
        ("4,7 \u03bcF", "capacitance", 4.7e-6, "uF"),
        ("4u7", "capacitance", 4.7e-6, "uF"),
        ("4µ7", "capacitance", 4.7e-6, "uF"),
        ("4.7 MFD", "capacitance", 4.7e-6, "uF"),
        ("0.33 mH", "inductance", 0.33e-3, "mH"),
        ("0,330 mH", "inductance", 0.33e-3, "mH"),
        ("13.8 V", "voltage", 13.8, "V"),
        ("3 mA", "current", 0.003, "mA"),
        ("45 W", "power", 45.0, "W"),
        ("3.5 kHz", "frequency", 3500.0, "kHz"),
        ("38 degC", "temperature", 311.15, "degC"),
        ("38 °C", "temperature", 311.15, "degC"),
        ("38 ℃", "temperature", 311.15, "degC"),
        ("38 ºC", "temperature", 311.15, "degC"),
        ("-40 degF", "temperature", 233.15, "degF"),
        ("212 °F", "temperature", 373.15, "degF"),
        ("9 degF", "temperature-difference", 5.0, "degF"),
        ("3.2 K/W", "temperature-rise-per-watt", 3.2, "K/W"),
        ("3.2 °C/W", "temperature-rise-per-watt", 3.2, "K/W"),
        ("-3 dB", "level", -3.0, "dB"),
        ("\u22123 dB", "level", -3.0, "dB"),
        ("+3 dB", "level", 3.0, "dB"),
        ("0.6 mm/N", "compliance", 0.0006, "mm/N"),
        ("600 µm/N", "compliance", 0.0006, "um/N"),
        ("0.9 kg/s", "mechanical-resistance", 0.9, "kg/s"),
        ("0.9 N·s/m", "mechanical-resistance", 0.9, "N s/m"),
        ("4.2 T m", "force-factor", 4.2, "T m"),
        ("4.2 T·m", "force-factor", 4.2, "T m"),
        ("4.2 N/A", "force-factor", 4.2, "N/A"),
        ("70 Ah", "charge", 252000.0, "Ah"),
        ("0.02 Ω·sⁿ", "semi-inductance", 0.02, "ohm s^n"),
        ("0.75 mm2", "conductor", 0.75e-6, "mm2"),
        ("5 min", "time", 300.0, "min"),
        ("1013.25 hPa", "pressure", 101325.0, "hPa"),
        ("0.7", "number", 0.7, ""),
        ("5 %", "number", 0.05, ""),
        ("1e-3", "number", 0.001, ""),
    ],
)
def test_reads_one_value(text: str, dimension: str, value: float, unit: str) -> None:
    assert read(text, dimension) == Quantity(value, dimension, unit)


@pytest.mark.parametrize(
    ("text", "dimension", "value", "low", "high"),
    [
        ("62 mm ± 1 mm", "length", 0.062, 0.061, 0.063),
        ("62 ± 1 mm", "length", 0.062, 0.061, 0.063),
        ("62 mm ± 0,1 cm", "length", 0.062, 0.061, 0.063),
        ("62 mm +/- 1 mm", "length", 0.062, 0.061, 0.063),
        ("6 1/2 in ± 1/8 in", "length", 0.1651, 0.161925, 0.168275),
        ("3.4 Ω ± 5 %", "resistance", 3.4, 3.23, 3.57),
        ("3.4 ohm ± 0.2 ohm", "resistance", 3.4, 3.2, 3.6),
        ("4u7 ±10%", "capacitance", 4.7e-6, 4.23e-6, 5.17e-6),
        ("0.7 ± 0.1", "number", 0.7, 0.6, 0.8),
        ("0.7 ± 10 %", "number", 0.7, 0.63, 0.77),
        ("-3 dB ± 1 dB", "level", -3.0, -4.0, -2.0),
        ("50 degC ± 5 K", "temperature", 323.15, 318.15, 328.15),
        ("50 degC ± 9 degF", "temperature", 323.15, 318.15, 328.15),
        ("42 L ± 8 L", "volume", 0.042, 0.034, 0.050),
        ("0.3 mm ± 0.3 mm", "length", 0.0003, 0.0, 0.0006),
        ("4 mm ± 0 mm", "length", 0.004, 0.004, 0.004),
    ],
)
def test_reads_a_margin(text: str, dimension: str, value: float, low: float, high: float) -> None:
    found = read(text, dimension)
    assert found.spread == "plus-minus"
    assert found.value == value
    assert found.low == pytest.approx(low, rel=1e-15)
    assert found.high == pytest.approx(high, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "dimension", "value", "low", "high", "spread"),
    [
        ("60..80 Hz", "frequency", math.sqrt(4800), 60.0, 80.0, "range"),
        ("60 Hz..80 Hz", "frequency", math.sqrt(4800), 60.0, 80.0, "range"),
        ("60 Hz .. 0.08 kHz", "frequency", math.sqrt(4800), 60.0, 80.0, "range"),
        ("0,05..0,10..0,30 ohm", "resistance", 0.1, 0.05, 0.3, "range-typical"),
        ("60..70..90 Hz", "frequency", 70.0, 60.0, 90.0, "range-typical"),
        ("1/4..1/2 in", "length", math.sqrt(0.00635 * 0.0127), 0.00635, 0.0127, "range"),
        ("0..4 mm", "length", 0.002, 0.0, 0.004, "range"),
        ("-6..\u22122 dB", "level", -4.0, -6.0, -2.0, "range"),
        ("2..8 dB", "level", 5.0, 2.0, 8.0, "range"),
        ("20..40 degC", "temperature", 303.15, 293.15, 313.15, "range"),
        ("4..9 %", "number", 0.06, 0.04, 0.09, "range"),
    ],
)
def test_reads_a_range(
    text: str, dimension: str, value: float, low: float, high: float, spread: str
) -> None:
    found = read(text, dimension)
    assert (found.low, found.high, found.spread) == (low, high, spread)
    assert found.value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "area_mm2"),
    # From memory (ASTM B258 as printed in wire tables, three or four digits).
    [("18 AWG", 0.823), ("12AWG", 3.31), ("22 awg", 0.326), ("1/0 AWG", 53.5), ("4/0 AWG", 107.2)],
)
def test_reads_a_wire_gauge(text: str, area_mm2: float) -> None:
    found = read(text, "conductor")
    assert found.value * 1e6 == pytest.approx(area_mm2, rel=2e-3)
    assert found.unit == "AWG"
    assert read(format_quantity(found), "conductor") == found


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("165 MM", "length", "did you mean mm?"),
        ("165 M", "length", "did you mean m?"),
        ("165", "length", "unit is missing"),
        ("mm", "length", "does not start with a number"),
        ("", "length", "does not start with a number"),
        ("nan mm", "length", "does not start with a number"),
        ("inf mm", "length", "does not start with a number"),
        ("1,000 mm", "length", "may mean 1.000 or 1000"),
        ("16,500 mm", "length", "may mean 16.500 or 16500"),
        ("1,000.5 mm", "length", "unclear"),
        ("1.000,5 mm", "length", "unclear"),
        ("1,000,000 mm", "length", "unclear"),
        ("5. mm", "length", "unclear"),
        ("1 000 mm", "length", "instead of a unit"),
        ("1_000 mm", "length", "instead of a unit"),
        ("2x10 mm", "length", "did you mean mm?"),
        ("10**10**10 mm", "length", "instead of a unit"),
        ("10**mm", "length", "not known"),
        ("1 mm 2", "length", "not known"),
        ("1 mm 2", "area", "did you mean mm2?"),
        ("60-80 mm", "length", "instead of a unit"),
        ("6 - 1/2 in", "length", "instead of a unit"),
        ("6 1/2 mm", "length", "only with inches or feet"),
        ("1/2..20 mm", "length", "only with inches or feet"),
        ("6 1/3 in", "length", "no inch fraction"),
        ("6 3/2 in", "length", "no inch fraction"),
        ("6 1/0 in", "length", "no inch fraction"),
        ("6 1/2", "length", "unit is missing"),
        ("5' 6\"", "length", "instead of a unit"),
        ('6.5"', "area", "not known"),
        ("٣ mm", "length", "does not start with a number"),
        ("1e999 m", "length", "out of all proportion"),
        ("1e99999 m", "length", "not known"),
        ("1e50 m", "length", "out of all proportion"),
        ("1e-50 m", "length", "out of all proportion"),
        ("3 ohm", "length", "ohm is a unit of a resistance"),
        ("10 k", "resistance", "did you mean kohm?"),
        ("10 K", "resistance", "did you mean kohm?"),
        ("4R7", "length", "not known"),
        ("4u7", "inductance", "not known"),
        ("4.7 mF", "capacitance", "did you mean uF?"),
        ("38 C", "temperature", "did you mean degC?"),
        ("38 °", "temperature", "not known"),
        ("-300 degC", "temperature", "absolute zero"),
        ("0 K", "temperature", "absolute zero"),
        ("50 degC ± 5 %", "temperature", "percentage means nothing"),
        ("90 dB ± 5 %", "level", "percentage means nothing"),
        ("50 % ± 5 %", "number", "percentage of a percentage"),
        ("62 mm ± 1", "length", "unit or % is missing"),
        ("62 ± 5 %", "length", "unit is missing"),
        ("62 mm ± -1 mm", "length", "without a sign"),
        ("62 mm ± 1 mm ± 1 mm", "length", "one spread"),
        ("60..80 mm ± 1 mm", "length", "one spread"),
        ("± 1 mm", "length", "does not start with a number"),
        ("62 mm ±", "length", "does not start with a number"),
        ("60 Hz..80", "frequency", "the unit stands at the end"),
        ("1 cm..2..30 mm", "length", "the unit stands at the end"),
        ("80..60 Hz", "frequency", "from low to high"),
        ("60..60 Hz", "frequency", "from low to high"),
        ("60..50..80 Hz", "frequency", "from low to high"),
        ("60...80 Hz", "frequency", "one spread"),
        ("60…80 Hz", "frequency", "instead of a unit"),
        ("1..2..3..4 Hz", "frequency", "one spread"),
        ("18 AWG ± 5 %", "conductor", "4/0 to 40"),
        ("0.75 mm2 ± 1 AWG", "conductor", "4/0 to 40"),
        ("18 AWG..1 mm2", "conductor", "4/0 to 40"),
        ("18.5 AWG", "conductor", "4/0 to 40"),
        ("41 AWG", "conductor", "4/0 to 40"),
        ("150 mm2", "conductor", "the tables of wires end at 120 mm2"),
        ("100 mm2 ± 30 mm2", "conductor", "the tables of wires end at 120 mm2"),
        ("1" * 121, "number", "longer than 120"),
    ],
)
def test_refuses_what_it_cannot_be_sure_of(text: str, dimension: str, says: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read(text, dimension)
    assert says in str(caught.value)
    # Whatever was wrong, an example of what is right stands beside it.
    assert dimension_of(dimension).examples in str(caught.value)


@pytest.mark.parametrize("text", ["0 mm", "-1 mm", "0..2 mm", "-1..2..3 mm"])
def test_above_zero(text: str) -> None:
    with pytest.raises(QuantityError, match="above zero"):
        parse_quantity(text, dimension="length", positive=True)


def test_zero_or_more() -> None:
    assert parse_quantity("0 mm", dimension="length", nonnegative=True).value == 0.0
    assert parse_quantity("1 mm ± 2 mm", dimension="length", positive=True).low == -0.001
    with pytest.raises(QuantityError, match="below zero"):
        parse_quantity("-1..2 mm", dimension="length", nonnegative=True)


def test_refuses_a_bare_number() -> None:
    wrong: Any = 165  # what an untyped caller may pass
    with pytest.raises(QuantityError, match="a text with a unit is wanted"):
        read(wrong, "length")


def test_prints_in_the_written_unit_with_the_shortest_digits() -> None:
    for text, dimension in (
        ("3.4 ohm ± 0.2 ohm", "resistance"),
        ("0.05..0.1..0.3 ohm", "resistance"),
        ("60..80 Hz", "frequency"),
        ("100 degF", "temperature"),
        ("0 degC", "temperature"),
        ("50 degC ± 5 degC", "temperature"),
        ("60 cm2 ± 15 cm2", "area"),
        ("0.7 ± 0.1", "number"),
        ("4.7 uF", "capacitance"),
        ("1/0 AWG", "conductor"),
    ):
        assert format_quantity(read(text, dimension)) == text
        assert str(read(text, dimension)) == text
    assert format_quantity(read("6 1/2 in", "length")) == "6.5 in"
    assert format_quantity(read("3.4 Ω ± 5 %", "resistance")) == "3.4 ohm ± 0.17 ohm"


def test_quantities_from_numbers() -> None:
    assert Quantity.of(0.165, "length", "mm") == read("165 mm", "length")
    assert Quantity.of(0.165, "length").unit == "m"
    assert Quantity.of(3.4, "resistance", margin=0.2) == read("3.4 ± 0.2 ohm", "resistance")
    assert Quantity.of(None, "frequency", low=60, high=80) == read("60..80 Hz", "frequency")
    assert Quantity.of(70, "frequency", low=60, high=80) == read("60..70..80 Hz", "frequency")


@pytest.mark.parametrize(
    ("value", "spread"),
    [
        (math.nan, {}),
        (math.inf, {}),
        (1e31, {}),
        (None, {}),
        (None, {"margin": 1.0}),
        (1.0, {"margin": -1.0}),
        (1.0, {"margin": math.inf}),
        (1.0, {"low": 0.5}),
        (1.0, {"low": 2.0, "high": 3.0}),
        (None, {"low": 3.0, "high": 2.0}),
    ],
)
def test_refuses_numbers_no_text_could_give(value: float | None, spread: dict[str, Any]) -> None:
    with pytest.raises(QuantityError):
        Quantity.of(value, "length", **spread)


def test_a_spread_must_fit_its_ends() -> None:
    with pytest.raises(QuantityError, match="the same on both sides"):
        Quantity(1.0, "length", "m", low=0.5, high=2.0, spread="plus-minus")
    with pytest.raises(QuantityError, match="in the middle"):
        Quantity(1.0, "length", "m", low=0.5, high=3.0, spread="range")
    with pytest.raises(QuantityError, match="does not go with 1 end"):
        Quantity(1.0, "length", "m", low=0.5, spread="range")
    with pytest.raises(QuantityError, match="no dimension 'luck'"):
        Quantity(1.0, "luck", "m")
    with pytest.raises(QuantityError, match="its units are ohm"):
        Quantity(1.0, "resistance", "m")
    with pytest.raises(QuantityError, match="4/0 to 40"):
        Quantity(1e-6, "conductor", "AWG")


def test_numbers_in_a_unit() -> None:
    assert to_unit(0.165, dimension="length", unit="mm") == pytest.approx(165.0, rel=1e-15)
    assert to_unit(373.15, dimension="temperature", unit="degF") == pytest.approx(212.0, rel=1e-14)
    with pytest.raises(QuantityError, match="no multiples"):
        to_unit(1e-6, dimension="conductor", unit="AWG")
    assert display(0.165, dimension="length", unit="mm") == "165 mm"
    assert display(4.7e-6, dimension="capacitance", unit="uF") == "4.7 µF"
    assert display(1234.5, dimension="frequency") == "1230 Hz"
    assert display(311.15, dimension="temperature", unit="degC") == "38 °C"
    assert display(math.inf, dimension="resistance") == "inf Ω"
    assert display(0.0, dimension="level") == "0 dB"
    gauge = read("18 AWG", "conductor").value
    assert display(gauge, dimension="conductor", unit="AWG") == "18 AWG"
    assert display(1e-6, dimension="conductor", unit="AWG") == "1 mm²"


def test_tables_agree_with_themselves() -> None:
    for dimension in DIMENSIONS:
        for unit in units_of(dimension):
            for spelling in (unit.symbol, unit.pretty):
                assert find_unit(spelling, dimension=dimension) == unit
        first = units_of(dimension)[0]
        for text in dimension_of(dimension).examples.replace(" or ", ", ").split(", "):
            assert read(text, dimension).dimension == first.dimension


def test_suggests_nothing_far_away() -> None:
    assert nearest_units("furlongs per week", dimension="length") == ""
    assert nearest_units("", dimension="length") == ""
    assert nearest_units("Kilohm", dimension="resistance") == "did you mean kohm?"
    with pytest.raises(QuantityError, match="a length has no unit 'ell'; its units are m, cm"):
        unit_named("ell", dimension="length")


# Properties --------------------------------------------------------------------------------------

sizes = st.floats(1e-12, 1e12) | st.floats(1e-28, 1e28) | st.integers(0, 10**6).map(float)
values = st.builds(lambda size, sign: sign * size, sizes, st.sampled_from([1.0, -1.0]))
kinds = st.sampled_from(
    [
        (dimension, unit.symbol)
        for dimension in DIMENSIONS
        for unit in units_of(dimension)
        if unit.scale and unit.symbol != "%"
    ]
)


@st.composite
def quantities(draw: st.DrawFn) -> Quantity:
    try:
        return _drawn(draw, *draw(kinds))
    except QuantityError:
        reject()  # an end is outside what a quantity may be


def _drawn(draw: st.DrawFn, dimension: str, unit: str) -> Quantity:
    points = draw(st.lists(values, min_size=3, max_size=3, unique=True).map(sorted))
    if dimension == "temperature":
        points = sorted({abs(point) for point in points} | {293.15, 311.15, 0.5})[-3:]
    low, middle, high = points
    form = draw(st.sampled_from(["one", "margin", "small margin", "range", "typical"]))
    if form == "one":
        return Quantity.of(middle, dimension, unit)
    if form == "margin":
        return Quantity.of(abs(middle), dimension, unit, margin=abs(middle) * 0.999)
    if form == "small margin":
        margin = abs(middle) * draw(st.floats(1e-17, 1.0))
        return Quantity.of(middle, dimension, unit, margin=margin if margin > 1e-29 else 0.0)
    typical = None if form == "range" else middle
    return Quantity.of(typical, dimension, unit, low=low, high=high)


@steady
@given(quantities())
def test_printing_and_reading_back_gives_the_same(quantity: Quantity) -> None:
    text = format_quantity(quantity)
    assert parse_quantity(text, dimension=quantity.dimension) == quantity


numbers = st.decimals(
    min_value=-(10**7), max_value=10**7, places=4, allow_nan=False, allow_infinity=False
).map(lambda number: f"{number:f}")
written = st.builds(
    lambda form, kind, a, b, c: (form.format(a=a, b=b, c=c, u=kind[1]), kind[0]),
    st.sampled_from(
        ["{a} {u}", "{a} {u} ± {b} {u}", "{a}..{b} {u}", "{a}..{b}..{c} {u}", "{a} {u} ± {b} %"]
    ),
    kinds,
    numbers,
    numbers,
    numbers,
)


@steady
@given(written)
def test_what_is_read_prints_and_reads_back_the_same(case: tuple[str, str]) -> None:
    text, dimension = case
    try:
        quantity = parse_quantity(text, dimension=dimension)
    except QuantityError:
        return
    assert parse_quantity(format_quantity(quantity), dimension=dimension) == quantity


@steady
@given(
    st.text(max_size=150)
    | st.text('0123456789.,/-+±% e\u2212mMkRuµΩ"½¼inAWGdBdegC²^*', max_size=30),
    st.sampled_from(DIMENSIONS),
)
@example("9" * 80 + "e60 ohm ± " + "9" * 20 + "e60 %", "resistance")
@example("9" * 110 + "e60", "number")
@example("1e-60 m ± 1e-60 m", "length")
@example("\ud800 mm", "length")
@example("1 \ud800", "length")
def test_any_text_gives_a_quantity_or_the_one_error(text: str, dimension: str) -> None:
    try:
        found = parse_quantity(text, dimension=dimension)
    except QuantityError:
        pass
    else:
        assert math.isfinite(found.value)
        assert parse_quantity(format_quantity(found), dimension=dimension) == found


@steady
@given(written, st.integers(0, 60), st.text(max_size=2), st.booleans())
def test_a_slip_in_a_text_gives_a_quantity_or_the_one_error(
    case: tuple[str, str], at: int, slip: str, replace: bool
) -> None:
    text, dimension = case
    mutated = text[:at] + slip + text[at + replace :]
    try:
        found = parse_quantity(mutated, dimension=dimension)
    except QuantityError:
        return
    assert parse_quantity(format_quantity(found), dimension=dimension) == found


@steady
@given(numbers, kinds, st.sampled_from([" ", "", "\u00a0", "\t", "\u202f"]))
def test_comma_and_point_read_the_same(number: str, kind: tuple[str, str], gap: str) -> None:
    dimension, unit = kind
    texts = [f"{number.replace('.', mark)}{gap}{unit}" for mark in ".,"]
    try:
        point = parse_quantity(texts[0], dimension=dimension)
    except QuantityError:
        return  # below absolute zero
    assert parse_quantity(texts[1], dimension=dimension) == point
    exact = unit_named(unit, dimension=dimension)
    assert to_unit(point.value, dimension=dimension, unit=unit) == pytest.approx(
        float(number), rel=1e-12, abs=1e-9 * (1 + float(exact.offset))
    )
