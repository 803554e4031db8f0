"""Whole jobs with known answers.

The expected numbers of this file come from an independent computation of the same equations with
its own code ("second computation"), rounded as quoted; tolerances are those quoted with them:
levels 0.5 dB above 63 Hz and 1 dB below unless said, resistances 2 % besides the rounding of the
quoted digits, temperatures 5 K.
"""

import numpy as np
import pytest
from workbench import DOOR, channel, job, location

from conewright.job.builds.draws import draw
from conewright.job.builds.job import Job
from conewright.stages.common.circuit import Solver
from conewright.stages.feed.stage import feed
from conewright.stages.hear.listening import heard_at
from conewright.stages.hear.stage import hear
from conewright.stages.report.data import Report

FREQUENCIES = np.array([40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 200.0, 500.0])


def swap_job() -> Job:
    proposals = "".join(
        f'[[proposal]]\nid = "to-{name}"\n[proposal.set]\n"door.driver" = "{name}"\n'
        for name in ("F165", "R165", "R165-27", "F165-2")
    )
    return job(
        location("door", "F165-2", kind="door", more=DOOR),
        channel("front", "door", cable="0.33 ohm"),
        proposals,
    )


# Second computation: door 45 L, ring, closed panel, 6 cm2 of drains, 0.43 ohm ahead.
@pytest.mark.parametrize(
    ("proposal", "expected"),
    [
        ("to-R165", [-2.8, -1.9, -2.1, -4.0, -4.0, -3.2, -2.3, -2.3]),
        ("to-R165-27", [-1.9, -1.1, -1.2, -3.0, -3.1, -2.4, -1.5, -1.5]),
        ("to-F165", [-2.5, -2.4, -2.4, -2.6, -2.5, -2.3, -2.2, -2.2]),
    ],
)
def test_ohms_swap(proposal: str, expected: list[float]) -> None:
    bench = swap_job()
    report = hear(bench.build(proposal), bench.build(), at=FREQUENCIES)
    change = report.curve("driver.level_change").y.values
    assert change == pytest.approx(expected, abs=0.3)


def test_matching_the_radio_is_not_the_answer() -> None:
    # Second computation of the wrong rule, a source that "matches" at 4 ohm: it must not come out.
    wrong = np.array([2.3, 1.0, -1.9, -1.5, -0.4, 0.6, 0.7])
    bench = swap_job()
    report = hear(bench.build("to-R165"), bench.build(), at=FREQUENCIES[1:])
    change = np.array(report.curve("driver.level_change").y.values)
    assert np.all(change < -1.0)
    assert np.max(np.abs(change - wrong)) > 2.0


# Second computation: V = 14.4 R / (R + 0.35) into the coil alone; 4.5 A where that is the limit.
@pytest.mark.parametrize(
    ("driver", "peak_current", "watts"),
    [("F165-2", "20 A", 41.9), ("F165", "20 A", 25.1), ("F165-2", "4.5 A", 17.2)],
)
def test_largest_clean_power(driver: str, peak_current: str, watts: float) -> None:
    radio = f'supply = "14.4 V"\nclip_loss = "0.35 ohm"\npeak_current = "{peak_current}"'
    bench = job(location("door", driver), channel("front", "door"), radio=radio)
    assert value(feed(bench.build()), "front.clean_power") == pytest.approx(watts, rel=0.01)


def woofer_and_tweeter(load: str) -> Job:
    return job(
        location("woofer", "F165"),
        location("tweeter", "T25", kind="pillar"),
        channel("front", load, cable="0.1 ohm"),
    )


def test_small_tweeter_does_not_halve_the_load() -> None:
    at = np.array([100.0])
    both = feed(woofer_and_tweeter("woofer | (4.7 uF + tweeter)").build(), at=at)
    # Second computation: 3.7 to 3.8 ohm with 0.1 ohm ahead.
    assert 3.7 * 0.98 < value(both, "front.minimum_impedance") < 3.8 * 1.02
    # Second computation: 1.6 % of the woofer's current at 100 Hz.
    assert current_share(both) == pytest.approx(0.016, abs=0.001)


def test_equivalent_resistance_of_woofer_with_and_without_tweeter() -> None:
    bench = job(
        location("woofer", "F165"),
        location("tweeter", "T25", kind="pillar"),
        channel("front", "woofer | (4.7 uF + tweeter)"),
        '[[proposal]]\nid = "unplugged"\n[proposal.set]\n"front.load" = "woofer"\n',
    )
    # Second computation: 4.75 and 4.79 ohm.
    both, alone = feed(bench.build()), feed(bench.build("unplugged"))
    assert value(both, "front.equivalent_resistance") == pytest.approx(4.75, rel=0.02)
    assert value(alone, "front.equivalent_resistance") == pytest.approx(4.79, rel=0.02)
    change = hear(bench.build("unplugged"), bench.build(), at=np.array([50.0, 80.0, 125.0]))
    assert np.abs(change.curve("driver.level_change").y.values).max() < 0.1


# Second computation, rounded: |Z| with 0.1 ohm ahead, and the programme equivalent without it.
@pytest.mark.parametrize(
    ("pod", "capacitor", "impedances", "equivalent"),
    [
        ("T25", "3.3 uF", {4000: 6.1, 5000: 4.9, 10000: 2.65, 16000: 2.1}, 5.1),
        ("P77", "47 uF", {1000: 3.1, 2000: 2.8, 5000: 2.8, 16000: 2.5}, 3.65),
    ],
)
def test_coaxial_with_the_pod_kept(
    pod: str, capacitor: str, impedances: dict[float, float], equivalent: float
) -> None:
    places = (
        location("door", "R165", kind="door", more=DOOR),
        location("coax", "T25", kind="pillar"),
        location("pod", pod, kind="pillar"),
    )
    load = f"door | (4.7 uF + coax) | ({capacitor} + pod)"
    at = np.array(sorted(impedances), dtype=float)
    report = feed(job(*places, channel("front", load, cable="0.1 ohm")).build(), at=at)
    pairs = report.curve("front.impedance").y.values
    for hertz, (re, im) in zip(at, pairs, strict=True):
        quoted = impedances[hertz]
        assert abs(complex(re, im)) == pytest.approx(quoted, abs=0.02 * quoted + 0.05)
    bare = feed(job(*places, channel("front", load)).build())
    assert value(bare, "front.equivalent_resistance") == pytest.approx(equivalent, rel=0.02)


def two_doors(*, right: str, gain: str = "", far: str = '["0.9 m", "0.0 m", "0.0 m"]') -> Job:
    """Two equal doors in a cabin so large that only the direct sound counts."""
    ear = '[[seat]]\nid = "ear"\near = ["0.0 m", "0.0 m", "0.0 m"]\n'
    return job(
        ear,
        location("near", "F165", at='["-0.9 m", "0.0 m", "0.0 m"]'),
        location("far", "F165", at=far),
        channel("left", "near"),
        channel("right", right, more=gain),
        vehicle='cabin_volume = "900000 m3"',
        ideal=True,
    )


def against_near_alone(bench: Job, frequencies: list[float]) -> list[float]:
    """Level of both doors over that of the near one [dB], phases kept."""
    build = bench.build()
    solver = Solver(draw(build.axes), np.array(frequencies))
    circuit, seat = solver.solve(build), build.seat("ear")
    both = heard_at(seat, build=build, circuit=circuit, cabin=solver.cabin).coherent[0]
    alone = dict(circuit.locations)
    del alone["far"]
    near = heard_at(
        seat,
        build=build,
        circuit=type(circuit)(circuit.frequency, circuit.air, circuit.channels, alone),
        cabin=solver.cabin,
    ).coherent[0]
    return list(20 * np.log10(np.abs(both / near)))


def test_polarity_heard_from_the_middle() -> None:
    # Closed form: 20 log 2, 20 log (1 + 10^(-2/20)), 20 log (1 - 10^(-2/20)).
    assert against_near_alone(two_doors(right="far"), [50.0]) == pytest.approx([6.02], abs=0.01)
    quiet = two_doors(right="far", gain='gain = "-2 dB"')
    assert against_near_alone(quiet, [50.0]) == pytest.approx([5.1], abs=0.05)
    turned = two_doors(right="-far", gain='gain = "-2 dB"')
    assert against_near_alone(turned, [50.0]) == pytest.approx([-13.7], abs=0.05)


def test_polarity_heard_off_the_middle() -> None:
    # Second computation: path difference 0.55 m, over the near door alone.
    far = '["1.45 m", "0.0 m", "0.0 m"]'
    hertz = [50.0, 80.0, 125.0, 200.0, 315.0]
    right = against_near_alone(two_doors(right="far", far=far), hertz)
    turned = against_near_alone(two_doors(right="-far", far=far), hertz)
    assert right == pytest.approx([3.9, 3.5, 2.5, -0.6, -8.4], abs=0.5)
    assert turned == pytest.approx([-5.3, -2.8, 0.0, 2.8, 4.2], abs=0.5)


HEAT_RADIO = """supply = "13.8 V"
clip_loss = "0.35 ohm"
output_resistance = "0.1 ohm"
quiescent_current = "0.2 A"
peak_current = "20 A"
thermal = { junction_to_dash = "3.2 K/W", dash = "50 degC", limit = "155 degC" }"""


# Second computation: four class-AB bridges at 1/8 and 1/3 of the sine's power, into resistors: one
# 4 ohm driver draws what 4.8 ohm would, with a pod behind 47 uF 3.65 ohm, two in parallel 2.4 ohm.
@pytest.mark.parametrize(
    ("front", "easy", "hard"), [(4.8, 126.0, 140.0), (3.65, 136.0, 153.0), (2.4, 156.0, 180.0)]
)
def test_heat_of_the_radio(front: float, easy: float, hard: float) -> None:
    loads = {"front-1": front, "front-2": front, "back-1": 4.8, "back-2": 4.8}
    channels = [channel(name, f"{ohms} ohm") for name, ohms in loads.items()]
    bench = job(location("spare", "F165"), *channels, radio=HEAT_RADIO)
    report = feed(bench.build())
    assert value(report, "head_unit.chip_temperature") == pytest.approx(easy, abs=1.0)
    assert value(report, "head_unit.chip_temperature_hard") == pytest.approx(hard, abs=1.0)


def test_what_a_real_load_gives_back_stays_in_the_chip() -> None:
    # Independent tool: noise of the programme's spectrum, clipped, sent sample by sample through
    # the impedance of F165 leaves 5.46 W in the chip at 1/8 and 6.99 W at 1/3, through that of two
    # in parallel 10.45 and 13.68 W; resistors of the same current 5.23, 6.38, 10.04 and 12.62 W.
    places = [location(name, "F165") for name in ("one", "two", "three")]
    channels = [channel("front", "one"), channel("back", "two | three")]
    report = feed(job(*places, *channels, radio=HEAT_RADIO).build())
    for name, watts in (("", 5.46 + 10.45), ("_hard", 6.99 + 13.68)):
        warmth = value(report, f"head_unit.chip_temperature{name}") - 50.0
        assert warmth / 3.2 - 13.8 * 0.2 == pytest.approx(watts, rel=0.005)


# Second computation: engine off, 12.6 V over a weak feed of 0.15 ohm, four channels of 3.4 ohm
# behind 0.33 ohm of cable: 13.5 W each with 0.2 A for the radio itself, 21 W from a stiff 14.4 V.
def test_clean_power_of_a_weak_feed() -> None:
    places = [location(f"d{n}", "F165") for n in range(4)]
    channels = [channel(f"c{n}", f"d{n}", cable="0.33 ohm") for n in range(4)]
    radio = 'clip_loss = "0.35 ohm"\nquiescent_current = "0.2 A"\npeak_current = "20 A"\n'
    weak = f'{radio}supply = "12.6 V"\nfeed_resistance = "0.15 ohm"'
    report = feed(job(*places, *channels, radio=weak).build())
    assert value(report, "c0.clean_power_all") == pytest.approx(13.5, abs=0.05)
    stiff = f'{radio}supply = "14.4 V"\nfeed_resistance = "0 ohm"'
    report = feed(job(*places, *channels, radio=stiff).build())
    assert value(report, "c0.clean_power_all") == pytest.approx(21.2, abs=0.05)


def value(report: Report, figure: str) -> float:
    found = report.figure(figure).value
    assert found is not None
    return found


def current_share(report: Report) -> float:
    """Current of the tweeter over that of the woofer at the only frequency of a report."""
    currents = {}
    for name in ("woofer", "tweeter"):
        drive = complex(*report.curve(f"{name}.drive").y.values[0])
        currents[name] = drive
    front = complex(*report.curve("front.impedance").y.values[0])
    # Everything that enters the plug goes through one of the two.
    whole = (1 - currents["woofer"]) / 0.2
    branch = whole - currents["woofer"] * (1 / woofer_impedance())
    assert whole == pytest.approx(1 / (front + 0.1), rel=1e-9)
    return abs(branch) / abs(whole - branch)


def woofer_impedance() -> complex:
    alone = feed(
        job(location("woofer", "F165"), channel("front", "woofer")).build(), at=np.array([100.0])
    )
    return complex(*alone.curve("front.impedance").y.values[0])
