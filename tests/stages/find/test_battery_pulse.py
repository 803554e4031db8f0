"""What is seen of a battery pulse, and what it costs; an offset that stays on."""

from math import inf

import pytest
from small_jobs import one_channel

import conewright as cw
from conewright.job.builds.draws import draw
from conewright.job.builds.states.drivers import DriverState
from conewright.stages.find.direct_current import feed_at, with_pulse
from conewright.stages.find.instruments.cell import (
    Feed,
    PulseExpectation,
    forbidden,
    offset_effect,
    pulse_expectation,
    pulse_sources,
)
from conewright.stages.find.talk.inquiry import inquire
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import ReadingCard, Report, Severity


def driver(name: str) -> DriverState:
    return one_channel(name).build().location(name).driver


F165, R165, P77, T25 = (driver(name) for name in ("F165", "R165", "P77", "T25"))


def pulse(unit: DriverState, source: str, *, capacitance: float = inf) -> PulseExpectation:
    battery = pulse_sources()[source]
    return pulse_expectation(unit, Feed(battery.emf, battery.resistance, capacitance))


# --- On the bench -----------------------------------------------------------------------------


# Common practice without a source, worked out independently; tolerance half of the last digit.
def test_a_fresh_battery_is_a_hard_test() -> None:
    found = pulse(F165, "battery")
    assert found.current == pytest.approx(1.82, abs=0.01)
    assert found.power == pytest.approx(11.3, abs=0.1)
    assert found.peak == pytest.approx(4.3e-3, abs=0.05e-3)
    assert found.over_xmax == pytest.approx(1.7, abs=0.05)
    assert pulse(P77, "battery").over_xmax == pytest.approx(1.9, abs=0.05)
    assert pulse(R165, "battery").over_xmax == pytest.approx(1.2, abs=0.05)
    assert "past its limit" in forbidden(F165, found)


@pytest.mark.parametrize(
    ("source", "current", "least", "most"),
    [("battery-resistor", 0.62, 0.5, 0.7), ("cell", 0.43, 0.3, 0.4)],
)
def test_gentler_sources(source: str, current: float, least: float, most: float) -> None:
    found = [pulse(unit, source) for unit in (F165, R165, P77)]
    assert found[0].current == pytest.approx(current, rel=0.02)
    assert min(each.over_xmax for each in found) == pytest.approx(least, abs=0.05)
    assert max(each.over_xmax for each in found) == pytest.approx(most, abs=0.05)
    refused = [forbidden(u, each) for u, each in zip((F165, R165, P77), found, strict=True)]
    assert refused == ["", "", ""]
    assert "outward" in found[0].seen


def test_a_bare_tweeter() -> None:
    # 0.12 g of copper: 247 K/s at 11.4 W, 13 K/s at 0.6 W, within 5 K.
    hard, gentle = pulse(T25, "battery"), pulse(T25, "cell")
    assert hard.heating == pytest.approx(247.0, abs=5.0)
    assert hard.power == pytest.approx(11.4, abs=0.1)
    assert "bare tweeter" in forbidden(T25, hard)
    assert gentle.heating == pytest.approx(13.0, abs=5.0)
    assert forbidden(T25, gentle) == ""
    assert "too little to be seen" in gentle.seen


def test_behind_its_capacitor_a_tweeter_only_clicks() -> None:
    found = pulse(T25, "battery", capacitance=4.7e-6)
    assert found.peak < 0.05e-3
    assert "click" in found.seen
    assert (found.heating, forbidden(T25, found)) == (0.0, "")


# --- At the radio's plug ----------------------------------------------------------------------


def feed(load: str, place: str) -> Feed:
    build = one_channel(load, cable="0.5 ohm").build()
    return feed_at(build.location(place), build.channels[0], build, emf=1.5, resistance=0.15)


def test_the_cable_and_the_neighbours_take_their_part() -> None:
    # closed form: nothing but the cable's 0.5 ohm beside the cell's 0.15
    alone = feed("F165", "F165")
    assert [alone.emf, alone.resistance] == pytest.approx([1.5, 0.65])
    assert alone.capacitance == inf
    # closed form: 3.4 ohm across it, so 1.5 * 3.4/4.05 V behind 0.65 | 3.4 ohm
    beside = feed("F165 | R165", "F165")
    assert beside.emf == pytest.approx(1.5 * 3.4 / 4.05)
    assert beside.resistance == pytest.approx(0.65 * 3.4 / 4.05)
    # closed form: 3.4 ohm more in series
    assert feed("F165 + R165", "F165").resistance == pytest.approx(4.05)
    # a capacitor beside passes no direct current, one before it is handed on
    assert feed("F165 | (4.7 uF + T25)", "F165") == alone
    assert feed("F165 | (4.7 uF + T25)", "T25").capacitance == pytest.approx(4.7e-6)
    assert feed("1 uF + 1 uF + T25", "T25").capacitance == pytest.approx(0.5e-6)


def offset(value: str, load: str = "R165") -> Report:
    reading = f'[[reading]]\ntest = "pair-offset"\nat = "front"\nvalue = "{value}"'
    more = f'[job]\ncomplaints = ["thin-after-change"]\n{reading}'
    return cw.find(one_channel(load, more=more).build())


def card(report: Report) -> ReadingCard:
    return next(each for each in report.readings if each.test == "cell-pulse")


def test_the_card_of_a_pulse_says_what_a_sound_driver_does_here() -> None:
    report = offset("0.02 V", "F165")
    travel, power = report.figure("F165.cell_travel"), report.figure("F165.cell_power")
    # closed form: 1.5 V over cell 0.15, cable 0.3 and coil 3.4 ohm
    assert power.value == pytest.approx((1.5 / 3.85) ** 2 * 3.4)
    # worked out independently on the bench 0.3 to 0.4 of the limit; the cable takes its part
    assert travel.value is not None
    assert 0.3 < travel.value / 2.5 < 0.4
    found = card(report)
    assert found.healthy.startswith("the cone steps outward by 0.86 mm (1.7 mm on 9 V")
    assert "0.52 W in its coil" in found.healthy
    assert "1.7 times past its limit, with 10 W" in found.cautions[-1]
    verdict = next(each for each in report.verdicts if each.id == "F165.cell-pulse")
    assert "does F165 no harm" in verdict.text


def test_a_tweeter_behind_its_capacitor_is_judged_by_microphone() -> None:
    build = one_channel("4.7 uF + T25").build()
    asked = card(offset("0.02 V", "F165")).model_copy(update={"subject": "T25"})
    found = with_pulse(Answer("find", build, None, draw(())), inquire(build), asked)
    assert "only a click" in found.healthy
    assert "microphone" in found.healthy
    assert found.cautions == asked.cautions


# --- An offset that stays on ------------------------------------------------------------------


def test_a_stuck_offset_condemns_the_channel() -> None:
    # Common practice without a source: 6.6 V, 1.7 A, 10 W, 4 mm, 60 K
    # at 6 K/W, within 5 K.
    found = offset_effect(R165, Feed(6.6, 0.43))
    assert found.current == pytest.approx(1.7, abs=0.05)
    assert found.power == pytest.approx(10.0, abs=0.5)
    assert found.excursion == pytest.approx(4.0e-3, abs=0.1e-3)
    assert found.rise / R165.coil_rise.si * 6.0 == pytest.approx(60.0, abs=5.0)
    # Common practice without a source: 3 to 8 K/W for this size.
    assert 29.0 < found.rise < 82.0
    assert offset_effect(R165, Feed(-6.6, 0.43)).excursion == -found.excursion


def test_an_offset_that_was_read_says_what_it_does() -> None:
    report = offset("6.6 V")
    # common practice without a source: 1.7 A, 10 W, 4 mm; half of the last digit and the cable
    figures = [
        report.figure(f"R165.offset_{name}").value for name in ("current", "power", "travel")
    ]
    assert figures == pytest.approx([1.7, 10.0, 4.0], rel=0.05)
    verdict = next(each for each in report.verdicts if each.id == "front.offset")
    assert verdict.severity is Severity.WARN
    assert "1.7 A through R165 (10 W of heat" in verdict.text
    stops = [each.id for each in report.verdicts if each.severity is Severity.STOP]
    assert "front.stop-channel-offset" in stops


def test_a_small_offset_is_harmless_and_a_capacitor_keeps_any_off() -> None:
    # published nowhere; worked out independently: 0.15 V is 0.09 mm, harmless
    small = offset("0.15 V")
    # Leads swapped: the same offset, and from 0.1 V on nothing is connected (from memory).
    turned = offset("-0.15 V")
    assert turned.figure("R165.offset_power") == small.figure("R165.offset_power")
    said = [each.text for each in turned.verdicts if each.id == "front.offset"]
    assert "Connect no loudspeaker" in said[0]
    assert small.figure("R165.offset_travel").value == pytest.approx(0.09, abs=0.005)
    assert not any(each.id == "front.offset" for each in offset("0.02 V").verdicts)
    kept = offset("6.6 V", "R165 | (4.7 uF + T25)")
    assert not any(each.id.startswith("T25.offset") for each in kept.figures)
