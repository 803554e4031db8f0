"""What is seen of a battery pulse, and what it costs; an offset that stays on."""

import pytest
from small_jobs import one_channel

from conewright.errors import BadInputError
from conewright.job.build.state import DriverState
from conewright.stages.find.instruments.cell import offset_effect, pulse_expectation


def driver(name: str) -> DriverState:
    return one_channel(name).build().location(name).driver


F165, R165, P77, T25 = (driver(name) for name in ("F165", "R165", "P77", "T25"))


# Common practice without a source, worked out independently; tolerance half of the last digit.
def test_a_fresh_battery_is_a_hard_test() -> None:
    found = pulse_expectation(F165, "battery")
    assert found.current == pytest.approx(1.82, abs=0.01)
    assert found.power == pytest.approx(11.3, abs=0.1)
    assert found.peak == pytest.approx(4.3e-3, abs=0.05e-3)
    assert found.over_xmax == pytest.approx(1.7, abs=0.05)
    assert pulse_expectation(P77, "battery").over_xmax == pytest.approx(1.9, abs=0.05)
    assert pulse_expectation(R165, "battery").over_xmax == pytest.approx(1.2, abs=0.05)
    assert "past its limit" in found.caution


@pytest.mark.parametrize(
    ("source", "current", "least", "most"),
    [("battery-resistor", 0.62, 0.5, 0.7), ("cell", 0.43, 0.3, 0.4)],
)
def test_gentler_sources(source: str, current: float, least: float, most: float) -> None:
    found = [pulse_expectation(unit, source) for unit in (F165, R165, P77)]
    assert found[0].current == pytest.approx(current, rel=0.02)
    assert min(each.over_xmax for each in found) == pytest.approx(least, abs=0.05)
    assert max(each.over_xmax for each in found) == pytest.approx(most, abs=0.05)
    assert all("past" not in each.caution for each in found)
    assert "outward" in found[0].text


def test_a_bare_tweeter() -> None:
    # 0.12 g of copper: 247 K/s at 11.4 W, 13 K/s at 0.6 W, within 5 K.
    hard, gentle = pulse_expectation(T25, "battery"), pulse_expectation(T25, "cell")
    assert hard.heating == pytest.approx(247.0, abs=5.0)
    assert hard.power == pytest.approx(11.4, abs=0.1)
    assert hard.caution.startswith("never on a bare tweeter")
    assert gentle.heating == pytest.approx(13.0, abs=5.0)
    assert "never" not in gentle.caution
    assert "too small to see" in gentle.text


def test_behind_its_capacitor_a_tweeter_only_clicks() -> None:
    found = pulse_expectation(T25, "battery", capacitance=4.7e-6)
    assert found.peak < 0.05e-3
    assert "click" in found.text
    assert (found.heating, found.caution) == (0.0, "")


def test_the_cable_takes_its_part() -> None:
    near, far = (pulse_expectation(F165, "cell", series_resistance=r) for r in (0.0, 0.5))
    # Closed form: 1.5 V over 0.15 + 3.4 and over 0.15 + 3.4 + 0.5 ohm.
    assert near.current == pytest.approx(1.5 / 3.55)
    assert far.current == pytest.approx(1.5 / 4.05)
    assert far.peak < near.peak


def test_a_stuck_offset_condemns_the_channel() -> None:
    # Common practice without a source: 6.6 V, 1.7 A, 10 W, 4 mm, 60 K
    # at 6 K/W, within 5 K.
    found = offset_effect(R165, 6.6, series_resistance=0.43, coil_rise=6.0)
    assert found.current == pytest.approx(1.7, abs=0.05)
    assert found.power == pytest.approx(10.0, abs=0.5)
    assert found.excursion == pytest.approx(4.0e-3, abs=0.1e-3)
    assert found.rise == pytest.approx(60.0, abs=5.0)
    # Common practice without a source: 3 to 8 K/W for this size.
    assert 29.0 < offset_effect(R165, 6.6, series_resistance=0.43).rise < 82.0
    assert offset_effect(R165, -6.6).excursion == -offset_effect(R165, 6.6).excursion


def test_an_unknown_source_is_refused() -> None:
    with pytest.raises(BadInputError, match="battery-resistor"):
        pulse_expectation(F165, "car battery")
