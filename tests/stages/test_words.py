from types import SimpleNamespace
from typing import Any

import pytest

from conewright.errors import OutOfRangeError
from conewright.stages.report.data import Kind
from conewright.stages.report.words import number, odds, with_band


def _figure(**fields: Any) -> Any:
    given: dict[str, Any] = {"value": 3.4, "low": None, "high": None, "unit": "ohm", "text": None}
    given["kind"] = Kind.NUMBER
    return SimpleNamespace(**(given | fields))


# Closed form: what a person would write down for that value and spread.
@pytest.mark.parametrize(
    ("value", "unit", "spread", "expected"),
    [
        (3.4321, "ohm", 0.5, "3.4 ohm"),
        (-5.02, "mm", 2.9, "−5.0 mm"),
        (126.4, "degC", 14.0, "126 °C"),
        (1234.0, "Hz", 200.0, "1230 Hz"),
        (1234.0, "Hz", 900.0, "1200 Hz"),
        (0.0123, "", 0.003, "0.012"),
        (-0.004, "dB", 1.0, "0.0 dB"),
        (22.36, "W", None, "22.4 W"),
        (5.0, "mm", None, "5 mm"),
        (-0.35, "dB", 0.0, "−0.35 dB"),
        (0.0, "mm", None, "0 mm"),
        (12500.0, "Hz", None, "12500 Hz"),
        (100.0, "Hz", None, "100 Hz"),
        # Nobody hears a thousandth of a decibel, however well it is known.
        (3.1e-6, "dB", 6e-6, "0 dB"),
        (0.1234, "dB", 1e-4, "0.12 dB"),
        (0.1234, "dB", None, "0.12 dB"),
        (93.71, "dB(A)", 0.03, "93.7 dB(A)"),
        (4e-9, "", 1e-9, "0"),
    ],
)
def test_digits_follow_the_spread(
    value: float, unit: str, spread: float | None, expected: str
) -> None:
    assert number(value, unit, spread=spread) == expected


def test_figure_with_band() -> None:
    assert with_band(_figure(low=3.21, high=3.71)) == "3.4 ohm (3.2 to 3.7)"


def test_a_change_has_its_sign_in_a_sentence_too() -> None:
    change = _figure(value=4.2, low=-0.1, high=9.0, unit="dB", kind=Kind.CHANGE)
    assert with_band(change) == "+4 dB (0 to +9)"
    less = _figure(value=-1.94, low=-2.41, high=-1.52, unit="dB", kind=Kind.CHANGE)
    assert with_band(less) == "−1.9 dB (−2.4 to −1.5)"


def test_figure_without_band() -> None:
    assert with_band(_figure()) == "3.4 ohm"
    assert with_band(_figure(low=3.4, high=3.4)) == "3.4 ohm"


def test_a_band_of_zeros_is_none() -> None:
    assert with_band(_figure(value=3e-6, low=1e-6, high=7e-6, unit="dB")) == "0 dB"


def test_figure_without_answer() -> None:
    assert with_band(_figure(value=None)) == "no answer"
    assert with_band(_figure(value=None, text="open")) == "open"


# Closed form: the nearest of the usual fractions.
@pytest.mark.parametrize(
    ("chance", "expected"),
    [
        (0.0, "less than 1 in 200"),
        (0.0099, "about 1 in 100"),
        (0.12, "about 1 in 8"),
        (0.2, "about 1 in 5"),
        (0.49, "about 1 in 2"),
        (0.74, "about 3 in 4"),
        (0.9, "about 9 in 10"),
        (1.0, "as good as certain"),
    ],
)
def test_odds_as_people_say_them(chance: float, expected: str) -> None:
    assert odds(chance) == expected


@pytest.mark.parametrize("chance", [-0.01, 1.01, float("nan")])
def test_odds_refuse_what_is_no_probability(chance: float) -> None:
    with pytest.raises(OutOfRangeError, match="between 0 and 1"):
        odds(chance)
