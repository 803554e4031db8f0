"""Channels that an amplifier drives: levels, ceilings, supply, what is refused, and find."""

import numpy as np
import pytest
from workbench import location

import conewright as cw
from conewright.job.text.parsing import loads
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import FloatArray
from conewright.pictures.feed import feed_title
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.load import radio_load
from conewright.stages.hear.ceiling import radio_ceiling
from conewright.stages.hear.crossover import handovers
from conewright.stages.hear.heard import sound_of
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Report, Severity

DRIVERS = """
[[driver]]
id = "W"
size = "165 mm"
re = "3.4 ohm"
fs = "62 Hz"
qms = 5
qes = 0.72
mms = "15 g"
sd = "130 cm2"
le = "0.5 mH"
xmax = "3.8 mm"
power = "60 W"
[[driver]]
id = "T"
size = "25 mm"
re = "3.3 ohm"
fs = "1500 Hz"
qms = 3
qes = 2
mms = "0.35 g"
sd = "6.5 cm2"
le = "0.03 mH"
xmax = "0.3 mm"
power = "10 W"
"""
AMPLIFIER = """id = "amp"
clean_power = "40 W"
clean_load = "4 ohm"
minimum_load = "4 ohm"
gain = "6 dB"
inputs = "floating"
"""
RADIO = 'supply = "14.4 V"\noutput_resistance = "0.05 ohm"\nclip_loss = "0.35 ohm"'
CABLE = 'cable = { resistance = "0 ohm" }'


def channel(id: str, load: str, more: str = "", *, amp: str = "amp", fed: str = "out") -> str:
    driven = f'driven_by = "{amp}"\ninput = "{fed}"' if amp else ""
    return f'[[channel]]\nid = "{id}"\nload = "{load}"\n{CABLE}\n{driven}\n{more}\n'


def job(*tables: str, amplifier: str = AMPLIFIER, radio: str = RADIO, more: str = "") -> cw.Job:
    places = location("w", "W") + location("t", "T", at='["0.9 m", "0.8 m", "0.6 m"]')
    unit = f"[[amplifier]]\n{amplifier}" if amplifier else ""
    return loads(
        f'format = 1\n[vehicle]\n[head_unit]\nname = "radio"\n{radio}\n{unit}\n'
        '[[seat]]\nid = "driver"\near = ["0.2 m", "0.4 m", "1.1 m"]\n'
        + "\n".join((*tables, places, DRIVERS, more)),
        "toml",
    )


OUT = channel("out", "none", amp="")
PLAIN = job(OUT, channel("bass", "w"))


def value(report: Report, name: str) -> float:
    found = report.figure(name).value
    assert found is not None, name
    return found


def said(report: Report, id: str) -> Severity:
    return next(verdict.severity for verdict in report.verdicts if verdict.id == id)


def ids(report: Report) -> set[str]:
    return {verdict.id for verdict in report.verdicts}


# --- Level and ceiling --------------------------------------------------------------------------


def test_the_gain_of_the_amplifier_is_heard() -> None:
    # closed form: 6 dB, and both outputs have 0.05 ohm (the amplifier's is the table's own)
    on_radio = job(channel("bass", "w", amp=""), amplifier="")
    change = value(cw.hear(PLAIN.build()), "driver.level") - value(
        cw.hear(on_radio.build()), "driver.level"
    )
    assert change == pytest.approx(6.0, abs=0.02)


def test_what_is_set_in_the_radio_for_the_feeding_output_is_heard_behind_the_amplifier() -> None:
    quieter = job(channel("out", "none", 'gain = "-5 dB"', amp=""), channel("bass", "w"))
    before, after = (value(cw.hear(each.build()), "driver.level") for each in (PLAIN, quieter))
    assert after - before == pytest.approx(-5.0, abs=1e-6)


@pytest.mark.parametrize("ahead", [True, False])
def test_a_high_pass_ahead_of_the_amplifier_takes_travel_as_well(ahead: bool) -> None:
    def ratio(settings: str) -> FloatArray:
        there, here = (settings, "") if ahead else ("", settings)
        build = job(channel("out", "none", there, amp=""), channel("bass", "w", here)).build()
        solver = Solver(conditioned_draws(build, samples=1), np.geomspace(20.0, 200.0, 20))
        return np.asarray(sound_of(build, solver).travel_ratio["w"][0])

    # closed form: a Butterworth high-pass of the second order, |H| = 1/sqrt(1 + (fc/f)^4)
    passed = 1 / np.sqrt(1 + (80.0 / np.geomspace(20.0, 200.0, 20)) ** 4)
    filtered = ratio('high_pass = "80 Hz"\nhigh_pass_slope = "12 dB/oct"')
    assert filtered / ratio("") == pytest.approx(passed, rel=1e-9)


def test_the_ceiling_is_that_of_what_drives_the_cone() -> None:
    large = job(OUT, channel("bass", "w"), amplifier=AMPLIFIER.replace("40 W", "150 W"))
    on_radio = job(channel("bass", "w", amp=""), amplifier="")
    cases = ((large, "the amplifier", "the radio"), (on_radio, "the radio", "the amplifier"))
    for made, whose, other in cases:
        report = cw.hear(made.build())
        label = report.figure("w.excursion_ratio").label
        told = [v.text for v in report.verdicts if v.id == "w.travel"]
        assert told
        for text in (label, *told):
            assert f"at {whose}'s ceiling" in text
            assert f"{other}'s" not in text
        # A radio of any year may have a filter, and an amplifier has one.
        assert "set a high-pass of" in told[0]


def test_line_outputs_lie_below_the_loudspeaker_outputs() -> None:
    line = job(OUT, channel("bass", "w", fed="line"), radio=f'{RADIO}\nline_volts = "2 V"', more="")
    before, after = (value(cw.hear(each.build()), "driver.level") for each in (PLAIN, line))
    # closed form: 2 V against 14.4 V 4/(4 + 0.35)/sqrt 2 = 9.363 V, which the 4 ohm radio gives
    assert after - before == pytest.approx(20 * np.log10(2.0 / 9.363), abs=0.01)


def ceilings(of: cw.Job) -> tuple[float, float]:
    """Volts and amps of the bass channel at the knob [V], at 1 kHz, where the coil is all."""
    build = of.build()
    solver = Solver(conditioned_draws(build, samples=1), np.array([1000.0]))
    volts, amps = radio_ceiling(build, solver.solve(build), solver.draws)
    return float(volts["bass"][0, 0]), float(amps["bass"][0, 0])


def test_a_small_amplifier_clips_before_the_radio_and_a_large_one_after_it() -> None:
    # closed form: the radio's open output clips at 14.4/sqrt 2 V; the amplifier's at its own volts
    # over twice (6 dB) what it is fed
    open_radio = 14.4 / 2**0.5
    large = job(OUT, channel("bass", "w"), amplifier=AMPLIFIER.replace("40 W", "4000 W"))
    assert ceilings(large)[0] == pytest.approx(open_radio, rel=1e-6)
    small, _ = ceilings(PLAIN)
    gain = 10 ** (6 / 20)
    rms = (40.0 * 4.0) ** 0.5
    assert small < open_radio
    # 40 W into 4 ohm are 12.6 V; open it swings by (4 + Rc)/4 of that, sagging a little
    assert rms / gain * 0.9 < small < rms * 4.5 / 4.0 / gain


def test_clean_volts_and_clean_power_say_the_same() -> None:
    volts = job(OUT, channel("bass", "w"), amplifier=AMPLIFIER.replace(
        'clean_power = "40 W"', f'clean_volts = "{160.0**0.5!r} V"'))  # fmt: skip
    assert ceilings(volts) == pytest.approx(ceilings(PLAIN), rel=1e-12)
    resistor = job(OUT, channel("bass", "4 ohm"), channel("other", "w"))
    # closed form: its rating into its own load, without a cable
    assert value(cw.feed(resistor.build()), "bass.clean_power") == pytest.approx(40.0, rel=1e-9)


def test_the_sums_of_a_change_of_gain_belong_to_the_settings() -> None:
    plan = '[[proposal]]\nid = "louder"\nset = { "amp.gain" = "9 dB" }'
    changed = job(OUT, channel("bass", "w"), more=plan)
    report = cw.hear(changed.build("louder"), changed.build())
    assert value(report, "driver.change_bass") == pytest.approx(3.0, abs=1e-6)
    assert value(report, "driver.change_bass_from_settings") == pytest.approx(3.0, abs=1e-6)


# --- Handing over -------------------------------------------------------------------------------

CROSSED = 'low_pass = "2500 Hz"\nlow_pass_slope = "{0} dB/oct"\nlow_pass_kind = "linkwitz-riley"'


def two_way(order: int, sign: str = "") -> cw.Job:
    low = CROSSED.format(order)
    high = low.replace("low", "high")
    return job(OUT, channel("bass", "w", low), channel("treble", f"{sign}t", high))


def handover(of: cw.Job) -> tuple[float, float, float]:
    build = of.build()
    solver = Solver(conditioned_draws(build, samples=16), bands.fine_grid())
    (found,) = handovers(sound_of(build, solver))
    return found.frequency, float(found.together[0, 0]), float(found.turned[0, 0])


def test_what_two_channels_add_up_to_hangs_on_which_way_round() -> None:
    """Turning the tweeter round swaps the two sums, whatever the filters; the powers add to 2."""
    for order in (12, 24):
        frequency, together, turned = handover(two_way(order))
        assert 1200.0 < frequency < 4000.0
        _, other, back = handover(two_way(order, "-"))
        assert (other, back) == pytest.approx((turned, together), abs=1e-9)
        # closed form: |a + b|^2 + |a - b|^2 = 2 (|a|^2 + |b|^2)
        assert 10 ** (together / 10) + 10 ** (turned / 10) == pytest.approx(2.0)


def test_a_woofer_and_tweeter_that_cancel_are_told_of_with_their_cure() -> None:
    slope = '{0} = "2500 Hz"\n{0}_slope = "18 dB/oct"'
    for sign, cancel in (("", False), ("-", True)):
        of = job(
            OUT,
            channel("bass", "w", slope.format("low_pass")),
            channel("treble", f"{sign}t", slope.format("high_pass")),
        )
        report = cw.hear(of.build())
        assert ("t.crossover" in ids(report)) == cancel
        assert (value(report, "t.crossover_sum") < -3.0) == cancel
    text = next(verdict.text for verdict in report.verdicts if verdict.id == "t.crossover")
    assert "cancel where they hand over, near 1780 Hz" in text
    assert "wires swapped it would be 2.97 dB" in text


# --- Load, supply, heat -------------------------------------------------------------------------


def test_a_load_below_what_the_amplifier_bears_is_a_stop_and_the_radio_is_not_asked() -> None:
    parallel = job(OUT, channel("bass", "w | 4 ohm"))
    report = cw.feed(parallel.build())
    assert said(report, "bass.load") is Severity.STOP
    assert said(cw.feed(PLAIN.build()), "bass.load") in (Severity.GOOD, Severity.NOTE)
    assert value(report, "head_unit.supply_current_sine") == pytest.approx(0.2, abs=0.06)


def test_what_it_takes_is_what_it_gives_over_its_efficiency() -> None:
    unit = AMPLIFIER + 'efficiency = 0.6\nquiescent_current = "0.5 A"\nfeed_resistance = "0 ohm"\n'
    report = cw.feed(job(OUT, channel("bass", "4 ohm"), channel("b2", "w"), amplifier=unit).build())
    # closed form: 40 W into 4 ohm and the clean power of the other, over 0.6, from 14.4 V
    given = value(report, "bass.clean_power") + value(report, "b2.clean_power")
    expected = given / 0.6 / 14.4 + 0.5
    assert value(report, "amp.supply_current_sine") == pytest.approx(expected, rel=1e-6)
    assert value(report, "amp.supply_volts_sine") == pytest.approx(14.4)
    # what comes in is heat or goes out: loud music, class AB
    draw = value(report, "amp.supply_current") * 14.4
    assert 0.5 * draw < value(report, "amp.heat") < draw


def test_a_thin_cable_takes_power_from_all_its_channels_at_once() -> None:
    cable = (
        '[[feed]]\nid = "cable"\nto = "amplifier"\nfuse = "20 A"\nfuse_distance = "200 mm"\n'
        'length = "5 m"\nsize = "{0} mm2"\nmetal = "copper"\n'
    )
    unit = AMPLIFIER + 'feed = "cable"\n'
    shares = []
    for size in (1.5, 16):
        build = job(OUT, channel("bass", "w"), amplifier=unit, more=cable.format(size)).build()
        report = cw.feed(build)
        shares.append(value(report, "bass.clean_power_all") / value(report, "bass.clean_power"))
        # what the cable is asked for follows from the amplifier, of which no fuse is written down
        asked = value(report, "cable.asked_current")
        assert asked == pytest.approx(value(report, "amp.supply_current_sine"))
    assert shares[0] < shares[1] < 1.0
    # Ohm's law by hand: 5 m of 1.5 mm2 are 57 mohm, battery and body 14 more
    load = radio_load(
        job(OUT, channel("bass", "w"), amplifier=unit, more=cable.format(1.5)).build(),
        Solver(conditioned_draws(PLAIN.build(), samples=1), bands.fine_grid()),
    )
    assert float(load.amplifiers["amp"].feed_resistance[0, 0]) == pytest.approx(
        1.7241e-8 * 5.0 / 1.5e-6 + 0.014, rel=1e-6
    )


def test_its_own_fuses_are_what_its_cable_is_asked_for() -> None:
    unit = AMPLIFIER + 'feed = "cable"\nfuse = "15 A"\n'
    cable = '[[feed]]\nid = "cable"\nto = "amplifier"\n'
    report = cw.feed(job(OUT, channel("bass", "w"), amplifier=unit, more=cable).build())
    assert value(report, "cable.asked_current") == 15.0
    assert "amp.unfed" not in ids(report)
    assert "amp.unfed" in ids(cw.feed(PLAIN.build()))


@pytest.mark.parametrize(
    ("output", "inputs", "severity"),
    [
        ("bridge", "chassis", Severity.STOP),
        ("bridge", "", Severity.NOTE),
        ("bridge", "floating", None),
        ("common-ground", "chassis", None),
    ],
)
def test_inputs_whose_minus_is_chassis_never_meet_a_bridge(
    output: str, inputs: str, severity: Severity | None
) -> None:
    unit = AMPLIFIER.replace('inputs = "floating"', f'inputs = "{inputs}"' if inputs else "")
    radio = f'{RADIO}\noutput = "{output}"'
    report = cw.feed(job(OUT, channel("bass", "w"), amplifier=unit, radio=radio).build())
    assert (said(report, "amp.inputs") if severity else None) == severity
    assert severity is not None or "amp.inputs" not in ids(report)


@pytest.mark.parametrize(
    ("load", "more", "severity"),
    [
        ("t", "", Severity.WARN),
        ("t", 'high_pass = "800 Hz"', Severity.WARN),
        ("t", 'high_pass = "3500 Hz"', None),
        ("10 uF + t", "", None),
    ],
)
def test_a_tweeter_that_nothing_keeps_bass_from(
    load: str, more: str, severity: Severity | None
) -> None:
    report = cw.feed(job(OUT, channel("treble", load, more), channel("bass", "w")).build())
    assert (said(report, "t.bare") if severity else None) == severity
    assert severity is not None or "t.bare" not in ids(report)


def test_the_high_pass_of_the_output_that_feeds_it_keeps_bass_from_a_tweeter_too() -> None:
    feeding = channel("out", "none", 'high_pass = "3500 Hz"', amp="")
    report = cw.feed(job(feeding, channel("treble", "t"), channel("bass", "w")).build())
    assert "t.bare" not in ids(report)


# --- Faults -------------------------------------------------------------------------------------

BESIDE = job(OUT, channel("bass", "w"), channel("own", "10 uF + t", amp=""))


def test_an_amplifier_that_is_off_silences_its_channels_and_no_other() -> None:
    off = BESIDE.with_finding("amplifier-off", "amp")
    report = cw.feed(off.build())
    assert report.figure("bass.clean_power").text == "silent"
    assert value(report, "own.clean_power") > 0.0


def test_an_output_that_is_dead_silences_what_it_feeds() -> None:
    report = cw.feed(BESIDE.with_finding("channel-dead", "out").build())
    assert report.figure("bass.clean_power").text == "silent"
    assert value(report, "own.clean_power") > 0.0


def odds(of: cw.Job, cause: str) -> float:
    found = [f.value for f in cw.find(of.build()).figures if f.id == f"cause.{cause}"]
    return (found[0] or 0.0) if found else 0.0


def test_all_channels_of_an_amplifier_silent_together_are_the_amplifier() -> None:
    both = job(OUT, channel("bass", "w"), channel("treble", "10 uF + t"), channel("o2", "none"))
    silent = both.with_reading("corner-solo", "bass", "silent")
    one = odds(silent, "amplifier-off@amp")
    two = odds(silent.with_reading("corner-solo", "treble", "silent"), "amplifier-off@amp")
    equal = odds(silent.with_reading("corner-solo", "treble", "equal"), "amplifier-off@amp")
    assert two > 0.6 > one > equal
    wire = silent.with_reading("corner-solo", "treble", "silent")
    assert odds(wire.with_reading("turn-on", "amp", "missing"), "amplifier-off@amp") > 0.93


def test_what_a_radio_channel_says_is_nothing_against_an_amplifier_that_does_not_drive_it() -> None:
    before = odds(BESIDE, "amplifier-off@amp")
    after = odds(BESIDE.with_reading("corner-solo", "own", "silent"), "amplifier-off@amp")
    assert after < 1.5 * before


def test_the_proof_of_the_turn_on_lead_counts_as_the_reading_it_is() -> None:
    def with_proof(text: str) -> float:
        lead = f'[[lead]]\nfunction = "amplifier"\nproof = "{text}"\n'
        return odds(job(OUT, channel("bass", "w"), more=lead), "amplifier-off@amp")

    bare = odds(PLAIN, "amplifier-off@amp")
    assert with_proof("0 V, then 0.2 V") > 3.0 * bare
    assert with_proof("0 V, then 12.4 V") < bare


def test_no_amplifier_no_reading_of_it() -> None:
    radio = job(channel("bass", "w", amp=""), amplifier="")
    with pytest.raises(cw.BadInputError, match="none is written down"):
        cw.find(radio.with_reading("turn-on", "vehicle", "missing").build())
    with pytest.raises(cw.BadInputError, match="amp drives bass"):
        cw.find(PLAIN.with_reading("leg-bias", "bass", "0 V").build())


# --- Plans --------------------------------------------------------------------------------------


def test_a_plan_with_a_price_buys_the_amplifier() -> None:
    plan = '[[proposal]]\nid = "new"\nset = { "amp.price" = 90, "amp.clean_power" = "60 W" }'
    taken = outlay(job(OUT, channel("bass", "w"), more=plan).build("new"))
    assert [line.cost.typical for line in taken.lines if line.item == "amplifier"] == [90.0]
    assert "amplifier" in {step.id for step in taken.steps}


def test_a_gain_is_a_setting_and_another_source_a_joint() -> None:
    plans = (
        '[[proposal]]\nid = "gain"\nset = { "amp.gain" = "3 dB" }\n'
        '[[proposal]]\nid = "radio"\nset = { "own.driven_by" = "radio" }\n'
    )
    both = job(OUT, channel("bass", "w"), channel("own", "10 uF + t"), more=plans)
    steps = {p: {s.id: s.subjects for s in outlay(both.build(p)).steps} for p in ("gain", "radio")}
    assert steps["gain"]["filter"] == ("bass", "own")
    assert steps["radio"]["rewire"] == ("own",)
    assert "rewire" not in steps["gain"]


def test_the_picture_holds_each_channel_against_what_drives_it() -> None:
    two_ohm = AMPLIFIER.replace('minimum_load = "4 ohm"', 'minimum_load = "2 ohm"')
    of = job(OUT, channel("bass", "w | 8 ohm"), channel("own", "t", amp=""), amplifier=two_ohm)
    assert feed_title(cw.feed(of.build())).startswith("No channel falls below")
    low = job(OUT, channel("bass", "w | 4 ohm"), channel("own", "t", amp=""))
    assert feed_title(cw.feed(low.build())).endswith("its amplifier is rated for 4")
    assert feed_title(cw.feed(low.build())).startswith("bass falls to")


def test_a_new_amplifier_ends_what_was_wrong_with_the_old_one() -> None:
    plan = '[[proposal]]\nid = "new"\nset = { "amp.price" = 90 }'
    old = job(OUT, channel("bass", "w"), more=plan).with_finding("amplifier-off", "amp")
    assert [fault.id for fault in old.build().faults] == ["amplifier-off@amp"]
    assert old.build("new").faults == ()


# --- At the door --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tables", "more", "told"),
    [
        ((channel("bass", "w", amp=""),), "", "drives nothing: no channel has driven_by"),
        ((channel("bass", "w"), channel("b2", "t", fed="bass")), "", "a loop: bass is driven by"),
        ((channel("bass", "w", fed="outt"),), "", 'did you mean "out"'),
        ((channel("bass", "w", amp="amq"),), "", 'did you mean "amp"'),
        ((channel("bass", "w", 'low_pass = "60 Hz"\nhigh_pass = "80 Hz"'),), "", "nothing passes"),
        ((channel("bass", "w", 'low_pass_slope = "12 dB/oct"'),), "", "needs a low_pass"),
        (
            (channel("bass", "w", CROSSED.format(18)),),
            "",
            "a linkwitz-riley filter has 12 or 24 dB/oct",
        ),
        ((channel("bass", "w", 'driven_by = "amp"', amp=""),), "", "input is the id of a radio"),
        ((channel("bass", "w", 'input = "out"', amp=""),), "", "belongs to a channel that has"),
        ((channel("bass", "w"),), '[[finding]]\nfault = "amplifier-off"\nat = "vehicle"', "at an"),
    ],
)
def test_what_cannot_be_is_named(tables: tuple[str, ...], more: str, told: str) -> None:
    with pytest.raises(cw.JobError, match=told):
        job(OUT, *tables, more=more)


@pytest.mark.parametrize(
    ("field", "told"),
    [
        ('clean_volts = "12 V"', "clean_power or clean_volts, not both"),
        ('feed = "nowhere"', "it takes the id of a supply cable"),
        ("efficiency = 1.4", "amplifier"),
    ],
)
def test_an_amplifier_that_cannot_be_is_named(field: str, told: str) -> None:
    with pytest.raises(cw.JobError, match=told):
        job(OUT, channel("bass", "w"), amplifier=f"{AMPLIFIER}{field}\n")


def test_a_cable_to_the_radio_feeds_no_amplifier() -> None:
    with pytest.raises(cw.JobError, match="feeds the radio: a cable to an amplifier"):
        job(
            OUT,
            channel("bass", "w"),
            amplifier=f'{AMPLIFIER}feed = "main"\n',
            more='[[feed]]\nid = "main"\nto = "radio"\n',
        )


def test_a_chain_of_amplifiers_is_refused() -> None:
    second = AMPLIFIER.replace('"amp"', '"second"')
    with pytest.raises(
        cw.JobError, match="bass is driven by amp; an amplifier is fed by the radio"
    ):
        job(
            OUT,
            channel("bass", "w"),
            channel("treble", "10 uF + t", amp="second", fed="bass"),
            more=f"[[amplifier]]\n{second}",
        )
