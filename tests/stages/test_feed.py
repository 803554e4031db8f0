"""Feed: loads, power, heat and currents against circuit theory done by hand."""

import numpy as np
import pytest
from workbench import channel, job, location

import conewright as cw
from conewright.job.builds.states.value import Origin
from conewright.stages.feed.stage import feed
from conewright.stages.report.data import Report, Severity

ALONE = (location("woofer", "F165"), channel("front", "woofer"))


def value(report: Report, figure: str) -> float:
    found = report.figure(figure).value
    assert found is not None
    return found


def verdict(report: Report, name: str) -> Severity:
    return next(entry.severity for entry in report.verdicts if entry.id == name)


def test_plug_impedance_is_that_of_the_free_driver() -> None:
    # Closed form: Re + K (jw)^0.7 + Res / (1 + j Qms (f/fs - fs/f)), Res = Re Qms/Qes.
    at = np.array([20.0, 70.0, 200.0, 1000.0, 10000.0])
    report = feed(job(*ALONE).build(), at=at)
    coil = 2 * np.pi * 1000 * 0.35e-3 * (1j * at / 1000) ** 0.7
    motion = 3.4 * 5 / 1.25 / (1 + 5j * (at / 70 - 70 / at))
    got = [complex(*pair) for pair in report.curve("front.impedance").y.values]
    assert got == pytest.approx(list(3.4 + coil + motion), rel=1e-9)
    assert report.curve("front.impedance").x.values == tuple(at)


def test_drive_is_the_divider_of_output_cable_and_load() -> None:
    at = np.array([100.0])
    bench = job(location("woofer", "F165"), channel("front", "woofer", cable="0.4 ohm"))
    report = feed(bench.build(), at=at)
    plug = complex(*report.curve("front.impedance").y.values[0])
    drive = complex(*report.curve("woofer.drive").y.values[0])
    assert drive == pytest.approx((plug - 0.4) / (plug + 0.1), rel=1e-12)


def test_reversal_flips_the_sign_and_nothing_else() -> None:
    at = np.array([50.0, 500.0])
    upright = feed(job(*ALONE).build(), at=at)
    turned = feed(job(location("woofer", "F165"), channel("front", "-woofer")).build(), at=at)
    flipped = [(-re, -im) for re, im in upright.curve("woofer.drive").y.values]
    assert list(turned.curve("woofer.drive").y.values) == flipped
    impedance = "front.impedance"
    assert turned.curve(impedance).y.values == upright.curve(impedance).y.values


def test_cable_by_length_and_size() -> None:
    # IEC 60228 class 5: 1.5 mm2 is 13.3 ohm/km, out and back over 4 m 0.1064 ohm;
    # ASTM B258: 18 AWG solid copper is 20.95 ohm/km (rel. 0.3 %), 0.1676 ohm.
    for size, resistance in (("1.5 mm2", 0.1064), ("18 AWG", 0.1676)):
        text = (
            '[[channel]]\nid = "front"\nload = "woofer"\n'
            f'cable = {{ length = "4 m", size = "{size}" }}\n'
        )
        report = feed(job(location("woofer", "F165"), text).build())
        assert value(report, "front.plug_resistance") == pytest.approx(3.4 + resistance, rel=1e-3)
        loss = 20 * np.log10((3.4 + resistance) / 3.4)
        assert value(report, "front.cable_loss") == pytest.approx(loss, rel=3e-3)


def test_a_spread_that_reaches_past_the_tables_of_wires_is_held_there() -> None:
    text = (
        '[[channel]]\nid = "front"\nload = "woofer"\n'
        'cable = { length = "4 m", size = "60..119 mm2" }\n'
    )
    loss = feed(job(location("woofer", "F165"), text).build()).figure("front.cable_loss")
    # IEC 60228 class 5: 0.161 ohm/km at 120 mm2, out and back over 4 m; closed form: nine draws of
    # ten are thinner than 84.5 (119/84.5)^(1.282/1.645) = 110.3 mm2.
    least = 20 * np.log10(1 + 8 * 0.161e-3 * 120 / 110.3 / 3.4)
    assert loss.low == pytest.approx(least, rel=0.02)


def test_resistances_fold_in_series_and_parallel() -> None:
    places = [location("a", "F165"), location("b", "F165-2")]
    series = feed(job(*places, channel("front", "a + b")).build())
    assert value(series, "front.plug_resistance") == pytest.approx(5.1)
    parallel = feed(job(*places, channel("front", "a | b")).build())
    assert value(parallel, "front.plug_resistance") == pytest.approx(3.4 * 1.7 / 5.1)


def test_a_capacitor_is_open_to_an_ohm_meter() -> None:
    bench = job(location("tweeter", "T25", kind="pillar"), channel("front", "4.7 uF + tweeter"))
    report = feed(bench.build())
    found = report.figure("front.plug_resistance")
    assert (found.value, found.text) == (None, "open")
    assert value(report, "front.clean_power") > 0.0


def test_equal_twins_share_power_alike_and_pads_take_theirs() -> None:
    places = [location("a", "F165"), location("b", "F165")]
    report = feed(job(*places, channel("front", "a | b")).build())
    assert value(report, "a.power_share") == pytest.approx(0.5)
    padded = feed(job(location("a", "F165"), channel("front", "3.4 ohm + a")).build())
    # Power balance: the pad takes 3.4 |I|^2, the loudspeaker Re(Z) |I|^2, which is more.
    assert 0.5 < value(padded, "a.power_share") < 0.9


def test_feed_sags_with_all_channels() -> None:
    # By hand: four equal channels of 3.4 ohm, 0.1 ohm feed, 0.2 A idle,
    # I = (14.4 - 0.1 * 0.2) / (3.75 + 0.4 * 2/pi).
    places = [location(f"d{n}", "F165") for n in range(4)]
    channels = [channel(f"c{n}", f"d{n}") for n in range(4)]
    radio = 'supply = "14.4 V"\nclip_loss = "0.35 ohm"\npeak_current = "20 A"\n'
    idle = 'feed_resistance = "0.1 ohm"\nquiescent_current = "0.2 A"'
    report = feed(job(*places, *channels, radio=radio + idle).build())
    current = (14.4 - 0.02) / (3.75 + 0.4 * 2 / np.pi)
    assert value(report, "c0.clean_power_all") == pytest.approx(current**2 * 1.7, rel=1e-9)
    assert value(report, "c0.clean_power") == pytest.approx((14.4 / 3.75) ** 2 * 1.7, rel=1e-9)
    sine = value(report, "head_unit.supply_current_sine")
    assert sine == pytest.approx(8 / np.pi * current + 0.2, rel=1e-9)


def test_one_leg_outputs_swing_half() -> None:
    radio = 'supply = "14.4 V"\nclip_loss = "0 ohm"\npeak_current = "20 A"\n'
    bridge = feed(job(*ALONE, radio=radio).build())
    single = feed(job(*ALONE, radio=radio + 'output = "common-ground"').build())
    power = value(bridge, "front.clean_power") / value(single, "front.clean_power")
    assert power == pytest.approx(4.0)


def test_advertised_power_is_held_against_clean_power() -> None:
    # By hand: (14.4 * 4 / 4.35)^2 / 2 / 4 = 21.9 W of 45 W.
    radio = 'supply = "14.4 V"\nclip_loss = "0.35 ohm"\nadvertised_power = "45 W"'
    report = feed(job(*ALONE, radio=radio).build())
    assert value(report, "head_unit.clean_volts") == pytest.approx(9.363, rel=1e-3)
    assert value(report, "head_unit.advertised_ratio") == pytest.approx(0.487, rel=2e-3)
    assert feed(job(*ALONE).build()).figure("head_unit.advertised_ratio").value is None


def test_too_low_a_load_is_said_and_matching_is_not() -> None:
    radio = 'supply = "14.4 V"\nminimum_load = "4 ohm"\n'
    good = feed(job(*ALONE, radio=radio).build())
    low = feed(job(location("woofer", "F165-2"), channel("front", "woofer"), radio=radio).build())
    assert verdict(good, "front.load") is Severity.GOOD
    assert verdict(low, "front.load") in (Severity.WARN, Severity.STOP)
    text = " ".join(entry.text for entry in low.verdicts) + low.answer
    assert "match" not in text


def test_opposed_twins_are_told() -> None:
    left = location("left", "F165", kind="door", at='["0.9 m", "0.8 m", "0.3 m"]')
    right = location("right", "F165", kind="door", at='["0.9 m", "-0.8 m", "0.3 m"]')
    opposed = job(left, right, channel("l", "left"), channel("r", "-right"))
    assert verdict(feed(opposed.build()), "right.polarity") is Severity.WARN
    found = job(left, right, channel("l", "left"), channel("r", "right"))
    told = feed(found.with_finding("reversed", "right").build()).verdicts
    assert [each.id for each in told if each.subject == "right"] == ["right.reversed"]


def test_bands_hold_the_value_and_vanish_without_spread() -> None:
    exact = feed(job(*ALONE).build()).figure("front.minimum_impedance")
    assert exact.low == exact.high == exact.value
    assert exact.origin is Origin.SHEET
    spread = job(location("woofer", "F165"), channel("front", "woofer", cable="0.2..0.35..0.7 ohm"))
    found = feed(spread.build()).figure("front.minimum_impedance")
    assert found.low is not None
    assert found.high is not None
    assert found.value is not None
    assert found.low < found.value < found.high
    assert found.origin is Origin.MEASURED


def test_a_load_of_resistors_alone() -> None:
    # By hand: 4 ohm and 0.4 ohm of cable at every frequency.
    report = feed(job(*ALONE, channel("dummy", "4 ohm", cable="0.4 ohm")).build())
    assert value(report, "dummy.minimum_impedance") == pytest.approx(4.4)
    assert value(report, "dummy.equivalent_resistance") == pytest.approx(4.4)


@pytest.mark.parametrize("load", ["0.33 mH", "woofer | 1 H", "4.7 uF"])
def test_a_load_that_takes_no_power_is_answered(load: str) -> None:
    bench = job(location("woofer", "F165"), channel("front", load, cable="0.2 ohm"))
    report = feed(bench.build(), bench.build())
    # Closed form: a coil's 2 pi 20 L beside the cable, or the capacitor's at 20 kHz (0.2 %).
    lowest = {"0.33 mH": abs(0.2 + 0.0415j), "4.7 uF": abs(0.2 - 1.693j)}
    if load in lowest:
        minimum = value(report, "front.minimum_impedance")
        assert minimum == pytest.approx(lowest[load], rel=5e-3)
        assert value(report, "front.clean_power") == pytest.approx(0.0, abs=1e-9)
        assert report.figure("front.clean_power_change").value is None
    numbers = [entry.value for entry in report.figures if entry.value is not None]
    assert np.all(np.isfinite(numbers))


def test_a_rating_nobody_gave_is_typical_and_one_given_is_measured() -> None:
    given = feed(job(*ALONE, radio='minimum_load = "4 ohm"').build())
    assert given.figure("head_unit.minimum_load").origin is Origin.MEASURED
    assert feed(job(*ALONE).build()).figure("head_unit.minimum_load").origin is Origin.TYPICAL


def test_a_share_that_only_rounding_moves_takes_no_origin_from_it() -> None:
    bench = job(location("door", "F165", kind="door"), channel("front", "door"))
    assert feed(bench.build()).figure("door.power_share").origin is Origin.SHEET


def test_a_load_that_may_be_too_low_is_not_called_safe() -> None:
    cable = channel("front", "woofer", cable="0.05..0.1..4 ohm")
    safe = feed(job(location("woofer", "F165"), cable).build())
    assert verdict(safe, "front.load") is Severity.GOOD
    # A coil of 3.4 ohm is fine, but a tenth of its spread and more lies below 3.2 ohm.
    doubtful = '[[driver]]\nid = "maybe"\nsize = "165 mm"\nre = "2.5..3.4..4.6 ohm"\n'
    report = feed(job(location("woofer", "maybe"), channel("front", "woofer"), doubtful).build())
    lowest = report.figure("front.minimum_impedance")
    assert lowest.low is not None
    assert lowest.low < 3.2 < value(report, "front.minimum_impedance")
    assert verdict(report, "front.load") is Severity.NOTE
    assert "most likely bears" in report.answer


@pytest.mark.parametrize(("volts", "stopped"), [("13.8 V", False), ("27 V", True), ("6.5 V", True)])
def test_a_supply_no_car_radio_is_made_for_stops(volts: str, stopped: bool) -> None:
    # ISO 16750-2:2010, table 1, code D: 10.5 to 16 V.
    report = feed(job(*ALONE, radio=f'supply = "{volts}"').build())
    found = [entry.severity for entry in report.verdicts if entry.id == "head_unit.supply"]
    assert found == ([Severity.STOP] if stopped else [])


SWAPPED = """
[[proposal]]
id = "new-radio"
[proposal.set]
"head_unit.output" = "bridge"
"""


def test_a_bridge_radio_on_a_common_ground_loom_is_warned_of() -> None:
    old = cw.demo_text().replace('output = "bridge"', 'output = "common-ground"') + SWAPPED
    found, planned = (cw.feed(cw.loads(old).build(plan)) for plan in (None, "new-radio"))
    ids = {verdict.id: verdict.severity for verdict in planned.verdicts}
    assert ids["head_unit.shared-return"] is Severity.WARN
    assert "head_unit.shared-return" not in {verdict.id for verdict in found.verdicts}
    # the caution of the old outputs stays with the plan, beside that of the new ones
    assert {"shared-return", "floating"} <= {caution.id for caution in planned.cautions}


def test_a_driver_alone_is_not_told_to_go_in_series() -> None:
    text = cw.demo_text().replace('minimum_load = "4 ohm"', 'minimum_load = "8 ohm"')
    text = text.replace("door-fl | (4.7 uF + pillar-fl)", "door-fl")
    said = {v.id: v.text for v in cw.feed(cw.loads(text).build()).verdicts}
    assert "in series" not in said["front-left.load"]
    assert "Fit one of more ohms" in said["front-left.load"]
    assert "Wire in series" in said["rear-left.load"]
