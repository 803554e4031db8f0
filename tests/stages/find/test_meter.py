"""What a meter shows on the vehicle's own wiring: likelihoods, words, healthy values, faults."""

from collections.abc import Iterable
from dataclasses import replace
from math import inf
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_jobs import one_channel

import conewright.job.text
from conewright.errors import BadInputError
from conewright.job.builds.job import Job
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.job.text.parsing import load
from conewright.stages.find.faults.chains import VEHICLE, Atom, Chain, chains_of
from conewright.stages.find.faults.effects import effects_of, parse_effects, variants
from conewright.stages.find.instruments.meter import METER_TESTS, Meter
from conewright.stages.find.instruments.mixture import Mixture, likelihood, outcomes

VAN = load(Path(conewright.job.text.__file__).parent / "data" / "library-van.toml")
SHARED_TESTS = ("feed-drop", "sleep-current")


def ohms(text: str) -> Quantity:
    return parse_quantity(text, dimension="resistance")


def volts(text: str) -> Quantity:
    return parse_quantity(text, dimension="voltage")


def bench(vehicle: Job) -> tuple[Meter, dict[str, Chain]]:
    build = vehicle.build()
    return Meter(build), {chain.id: chain for chain in chains_of(build)}


METER, CHAINS = bench(VAN)


def atoms(*ids: str) -> tuple[Atom, ...]:
    return tuple(Atom(*name.split("@")) for name in ids)


def shown(test: str, subject: str, *faults: str, chain: str = "") -> Mixture:
    return METER.predict(test, subject, atoms(*faults), CHAINS[chain or subject])


def odds_against_sound(test: str, subject: str, reading: Quantity | str, fault: str) -> float:
    return likelihood(shown(test, subject, fault), reading) / likelihood(
        shown(test, subject), reading
    )


def every_mixture() -> Iterable[Mixture]:
    for test in METER_TESTS:
        subject = VEHICLE if test in SHARED_TESTS else "front-left"
        chain = CHAINS[subject]
        for state in chain.states[: len(chain.atoms) + 1]:
            yield METER.predict(test, subject, chain.faults(state), chain)


# --- Likelihoods are those of one random reading ----------------------------------------------


@pytest.mark.parametrize("test", METER_TESTS)
def test_numbers_and_words_together_are_certain(test: str) -> None:
    # Closed form: the densities integrate, with open and unsteady, to 1.
    subject = VEHICLE if test in SHARED_TESTS else "front-left"
    for atom in (None, *CHAINS[subject].atoms):
        mixture = METER.predict(test, subject, () if atom is None else [atom], CHAINS[subject])
        ends = mixture.reader.open_from
        top = ends if ends < inf else 1e4
        grid = np.concatenate((-np.geomspace(10.0, 1e-7, 2000), np.geomspace(1e-7, top, 20001)))
        total = np.trapezoid(mixture.density(grid), grid)
        regions = mixture.regions
        assert total + regions["open"] + regions["unsteady"] == pytest.approx(1.0, abs=2e-3)


def test_words_add_up_and_plans_reckon_with_the_same_words() -> None:
    for mixture in every_mixture():
        assert sum(mixture.regions.values()) == pytest.approx(1.0, abs=1e-9)
        planned = outcomes(mixture)
        assert sum(planned.values()) == pytest.approx(1.0, abs=1e-9)
        for word, chance in planned.items():
            assert likelihood(mixture, word) == pytest.approx(chance, abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(["", *(a.id for a in CHAINS["rear-left"].atoms)]), st.floats(0.2, 8.0))
def test_a_word_is_the_sum_of_its_numbers(fault: str, ohm: float) -> None:
    # Closed form: the chance of a region is the integral of the density over it.
    mixture = shown("pair-resistance", "rear-left", *([fault] if fault else []))
    density = mixture.density(np.linspace(ohm, ohm + 0.01, 11))
    slice_ = mixture.below(ohm + 0.01) - mixture.below(ohm)
    assert np.trapezoid(density, dx=0.001) == pytest.approx(slice_, rel=0.01, abs=1e-6)
    assert mixture.normal is not None
    low, high = mixture.normal
    assert mixture.regions["low"] == pytest.approx(mixture.below(low), abs=1e-12)
    assert mixture.regions["normal"] == pytest.approx(
        mixture.below(high) - mixture.below(low), abs=1e-12
    )


@settings(max_examples=40, deadline=None)
@given(st.floats(0.05, 1e4), st.floats(0.01, 0.5))
def test_no_reading_is_impossible_in_any_state(ohm: float, margin: float) -> None:
    reading = Quantity.of(ohm, "resistance", margin=margin * ohm)
    for fault in ("", "pair-shorted@rear-left", "coil-open@side-rl"):
        assert (
            likelihood(shown("pair-resistance", "rear-left", *filter(None, [fault])), reading) > 0
        )


def test_a_stated_spread_replaces_the_meters_own() -> None:
    mixture = shown("coil-resistance", "front-left")
    near, far = mixture.density(3.4), mixture.density(3.4, stated=1.0)
    assert far < 0.5 * near
    sharp = likelihood(mixture, ohms("3.4 ohm ± 0.02 ohm"))
    assert sharp == pytest.approx(mixture.density(3.4, stated=0.02 / 1.96) * 0.1, rel=1e-3)


def test_slips_of_the_hand_keep_every_likelihood_above_a_floor() -> None:
    # A sound pair is called open by one slip in ten, of eight in a thousand.
    assert shown("pair-resistance", "rear-left").regions["open"] == pytest.approx(0.0008, rel=0.01)


# --- Healthy values on this very vehicle ------------------------------------------------------


@pytest.mark.parametrize(
    ("subject", "reading"),
    [("rear-left", "2.2 ohm ± 0.1 ohm"), ("rear-right", "2.3 ohm ± 0.1 ohm")],
)
def test_what_was_measured_on_the_van_is_normal_on_its_wiring(subject: str, reading: str) -> None:
    expected = METER.expected("pair-resistance", subject, CHAINS[subject])
    measured = ohms(reading)
    assert measured.low is not None
    assert measured.high is not None
    assert expected.low < measured.low < measured.high < expected.high
    for fault in ("pair-shorted", "joint-corroded", "wire-broken"):
        against = odds_against_sound("pair-resistance", subject, measured, f"{fault}@{subject}")
        assert against < 0.6
    # The wiring that is written down is the low load itself: reading it again changes nothing.
    low = f"load-too-low@{subject}"
    assert odds_against_sound("pair-resistance", subject, measured, low) == 1.0
    assert METER.loaded_too_low(subject)
    assert not METER.loaded_too_low("front-left")


def test_healthy_pair_is_coil_and_cable() -> None:
    # By hand: 3.4 ohm and 3.8 m of 0.5 mm2 (39 mohm/m, out and back 0.30 ohm), two plugs of
    # 45 mohm together: 3.74 ohm; a tweeter behind its capacitor adds nothing.
    text, low, high, unit = METER.expected("pair-resistance", "front-left", CHAINS["front-left"])
    assert low < 3.74 < high
    assert high - low < 1.3
    assert (text, unit) == ("3.2 to 4.2 ohm", "ohm")


def test_healthy_values_of_the_other_tests() -> None:
    # Workshop experience, from memory: 6 to 7 V a leg, below 0.05 V across, below 50 mA asleep.
    chain, shared = CHAINS["front-left"], CHAINS[VEHICLE]
    bias = METER.expected("leg-bias", "front-left", chain)
    assert 5.5 < bias.low < 6.2
    assert 6.9 < bias.high < 7.6
    assert bias.unit == "V"
    assert METER.expected("leg-to-chassis", "front-left", chain).text == "open"
    offset = METER.expected("pair-offset", "front-left", chain)
    assert 0.03 < offset.high < 0.1
    assert offset.text.startswith("below")
    sleep = METER.expected("sleep-current", VEHICLE, shared)
    assert 30.0 < sleep.high < 55.0
    assert sleep.unit == "mA"
    drop = METER.expected("feed-drop", VEHICLE, shared)
    assert 0.2 < drop.high < 0.5


def test_healthy_drop_follows_this_vehicles_feed() -> None:
    stiff, weak = (
        one_channel("F165", radio=f'supply = "14.4 V"\nfeed_resistance = "{feed}"')
        for feed in ("0.3 ohm", "0.9 ohm")
    )
    highs = []
    for vehicle in (stiff, weak):
        meter, chains = bench(vehicle)
        highs.append(meter.expected("feed-drop", VEHICLE, chains[VEHICLE]).high)
    # Closed form: the drop is in proportion to the resistance, the meter's error aside.
    assert highs[1] / highs[0] == pytest.approx(3.0, rel=0.05)


def test_a_channel_without_a_direct_path_is_open_when_sound() -> None:
    meter, chains = bench(one_channel("4.7 uF + T25"))
    chain = chains["front"]
    assert meter.expected("pair-resistance", "front", chain).text == "open"
    sound = meter.predict("pair-resistance", "front", (), chain)
    assert set(outcomes(sound)) == {"open", "unsteady", "low"}
    assert likelihood(sound, "open") > 0.98
    assert likelihood(sound, "normal") == likelihood(sound, "open")
    shorted = meter.predict("pair-resistance", "front", atoms("pair-shorted@front"), chain)
    assert likelihood(shorted, "low") > 0.9


def test_one_leg_radios_have_no_bias_and_may_be_chassis() -> None:
    meter, chains = bench(one_channel("F165", radio='output = "common-ground"'))
    assert meter.expected("leg-bias", "front", chains["front"]).high < 0.3
    leg = meter.predict("leg-to-chassis", "front", (), chains["front"])
    assert 0.3 < likelihood(leg, "low") < 0.7


def test_cold_copper_reads_less() -> None:
    middles = []
    for degrees in (-10, 30):
        vehicle = one_channel("F165", vehicle=f'temperature = "{degrees} degC"')
        meter, chains = bench(vehicle)
        found = meter.expected("coil-resistance", "F165", chains["front"])
        middles.append((found.low + found.high) / 2)
    # Closed form: copper 0.393 %/K over 40 K, referred to 20 C.
    assert middles[1] / middles[0] == pytest.approx(1.0393 / 0.8821, rel=0.01)


# --- What faults do ---------------------------------------------------------------------------


def test_an_open_coil_reads_open_unless_another_driver_shares_the_channel() -> None:
    alone = shown("pair-resistance", "front-left", "coil-open@door-fl")
    shared = shown("pair-resistance", "rear-left", "coil-open@side-rl")
    assert likelihood(alone, "open") > 0.9
    assert likelihood(shared, "open") < 0.01
    assert likelihood(shared, "high") > 0.9
    # By hand: one 3.4 ohm coil and 6.5 m of 0.5 mm2 left, 3.95 ohm with plugs;
    # 128 samples tell the tail at 2.2 ohm, and so the ratio of some 20, to a seventh.
    assert likelihood(shared, ohms("3.95 ohm")) > 10 * likelihood(shared, ohms("2.2 ohm"))


def test_two_faults_act_together() -> None:
    both = shown("pair-resistance", "rear-left", "coil-open@side-rl", "coil-open@roof-rl")
    assert likelihood(both, "open") > 0.85


def test_the_tweeter_behind_its_capacitor_is_invisible_at_the_plug() -> None:
    sound = shown("pair-resistance", "front-left")
    for fault in ("tweeter-open@pillar-fl", "capacitor-dried@pillar-fl", "reversed@door-fl"):
        gone = shown("pair-resistance", "front-left", fault)
        assert gone.regions == pytest.approx(sound.regions, abs=1e-9)
    at_it = shown("coil-resistance", "pillar-fl", "tweeter-open@pillar-fl", chain="front-left")
    assert likelihood(at_it, "open") > 0.9


# Totals from workshop experience, from memory: chance that the fault shows in the test.
@pytest.mark.parametrize(
    ("test", "fault", "words", "total"),
    [
        ("pair-resistance", "wire-broken@front-left", ("open", "unsteady"), 0.70),
        ("pair-resistance", "joint-corroded@front-left", ("high", "unsteady"), 0.60),
        ("pair-resistance", "pair-shorted@front-left", ("low",), 0.95),
        ("pair-resistance", "lead-intermittent@door-fl", ("open", "unsteady"), 0.45),
        ("pair-resistance", "coil-shorted@door-fl", ("low",), 0.60),
        ("coil-resistance", "coil-open@door-fl", ("open", "unsteady"), 0.97),
        ("coil-resistance", "lead-intermittent@door-fl", ("open", "unsteady"), 0.50),
        ("coil-resistance", "coil-shorted@door-fl", ("low",), 0.70),
        ("leg-to-chassis", "leg-to-chassis@front-left", ("low",), 0.96),
        ("leg-to-chassis", "wire-broken@front-left", ("low",), 0.08),
        ("leg-bias", "channel-dead@front-left", ("low", "high"), 0.65),
        ("leg-bias", "channel-offset@front-left", ("low", "high"), 0.95),
        ("leg-bias", "leg-to-chassis@front-left", ("low", "high"), 0.60),
        ("pair-offset", "channel-offset@front-left", ("high",), 0.96),
        ("pair-offset", "leg-to-chassis@front-left", ("high",), 0.35),
    ],
)
def test_faults_show_as_often_as_the_trade_says(
    test: str, fault: str, words: tuple[str, ...], total: float
) -> None:
    regions = shown(test, "front-left", fault).regions
    assert sum(regions[word] for word in words) == pytest.approx(total, abs=0.06)


@pytest.mark.parametrize("test", METER_TESTS)
def test_sound_vehicles_alarm_as_rarely_as_the_trade_says(test: str) -> None:
    # Workshop experience, from memory: 2 to 10 % false alarms a test, high and low together.
    subject = VEHICLE if test in SHARED_TESTS else "front-left"
    sound = METER.predict(test, subject, (), CHAINS[subject])
    assert 0.01 < likelihood(sound, "abnormal") < 0.11


def test_a_condemned_channel() -> None:
    # Common practice without a source: leg A 13.1 V, 6.6 V across the pair at rest.
    for fault in ("channel-dead", "leg-to-chassis"):
        rival = shown("leg-bias", "front-left", f"{fault}@front-left")
        found = shown("leg-bias", "front-left", "channel-offset@front-left")
        assert likelihood(found, volts("13.1 V")) > 50 * likelihood(rival, volts("13.1 V"))
    assert (
        odds_against_sound("leg-bias", "front-left", volts("6.5 V"), "channel-offset@front-left")
        < 0.1
    )
    assert (
        odds_against_sound("pair-offset", "front-left", volts("6.6 V"), "channel-offset@front-left")
        > 500.0
    )
    # Written with its sign, it is the same offset.
    mixture = shown("pair-offset", "front-left")
    assert likelihood(mixture, volts("-0.02 V")) == likelihood(mixture, volts("0.02 V"))


def test_the_feed_and_the_drain() -> None:
    sag = METER.predict("feed-drop", VEHICLE, atoms("supply-sag@vehicle"), CHAINS[VEHICLE])
    sound = METER.predict("feed-drop", VEHICLE, (), CHAINS[VEHICLE])
    assert likelihood(sag, volts("0.9 V")) > 20 * likelihood(sound, volts("0.9 V"))
    drain = METER.predict("sleep-current", VEHICLE, atoms("sleep-drain@vehicle"), CHAINS[VEHICLE])
    rest = METER.predict("sleep-current", VEHICLE, (), CHAINS[VEHICLE])
    reading = parse_quantity("180 mA", dimension="current")
    assert likelihood(drain, reading) > 10 * likelihood(rest, reading)


def test_one_more_loudspeaker_lowers_a_sound_load() -> None:
    low = shown("pair-resistance", "front-left", "load-too-low@front-left")
    # By hand: 3.4 | 3.4 ohm and 0.34 ohm of cable and plugs.
    assert likelihood(low, ohms("2.05 ohm")) > 4 * likelihood(low, ohms("2.9 ohm"))
    assert likelihood(low, "low") > 0.8


def test_an_unknown_load_reads_like_the_usual_ones() -> None:
    build = replace(
        METER.build,
        channels=tuple(
            replace(entry, load="unknown", polarity=(), parts=()) for entry in METER.build.channels
        ),
    )
    chain = replace(CHAINS["front-left"], channel=build.channels[0], places=())
    meter = Meter(build)
    sound = meter.predict("pair-resistance", "front-left", (), chain)
    # Workshop experience, from memory: one 4 ohm driver is likeliest, 3.75 ohm with its wire.
    assert likelihood(sound, ohms("3.75 ohm")) > 5 * likelihood(sound, ohms("5 ohm"))
    assert likelihood(sound, ohms("2.05 ohm")) > likelihood(sound, ohms("1.2 ohm"))
    off = meter.predict("pair-resistance", "front-left", atoms("amplifier-off@vehicle"), chain)
    assert likelihood(off, ohms("5 kohm")) > 5 * likelihood(sound, ohms("5 kohm"))
    broken = meter.predict("pair-resistance", "front-left", atoms("wire-broken@front-left"), chain)
    assert 0.3 < likelihood(broken, "open") < 0.5


def test_faults_elsewhere_make_no_difference() -> None:
    here = shown("pair-resistance", "front-left")
    there = METER.predict(
        "pair-resistance", "front-left", atoms("coil-open@door-fr"), CHAINS["front-left"]
    )
    assert there is here


def test_the_meter_is_one_for_a_build_and_order_does_not_matter() -> None:
    pair = atoms("coil-open@side-rl", "joint-corroded@rear-left")
    one = METER.predict("pair-resistance", "rear-left", pair, CHAINS["rear-left"])
    other = METER.predict(
        "pair-resistance", "rear-left", frozenset(pair[::-1]), CHAINS["rear-left"]
    )
    assert one is other


# --- Refusals ---------------------------------------------------------------------------------


def test_unknown_tests_words_and_places_are_refused() -> None:
    with pytest.raises(BadInputError, match="is no meter test"):
        shown("corner-solo", "front-left")
    with pytest.raises(BadInputError, match="is no answer"):
        likelihood(shown("leg-bias", "front-left"), "fine")
    with pytest.raises(BadInputError, match="no driver to measure at"):
        METER.predict("coil-resistance", VEHICLE, (), CHAINS[VEHICLE])
    with pytest.raises(BadInputError, match="read at a channel"):
        METER.predict("pair-resistance", VEHICLE, (), CHAINS[VEHICLE])


HEAD = "test,subject,variant,effect,chance,low,typical,high,unit,source\n"


@pytest.mark.parametrize(
    ("rows", "match"),
    [
        ("leg-bias,coil-open,a,value,1.5,,1,,V,x", r"row 2 .*chance is"),
        ("leg-bias,coil-open,a,value,0.5,,1,,volt,x", r"row 2 .*unit is .*is wanted"),
        ("leg-bias,coil-open,a,value,0.5,3,1,2,V,x", r"row 2 .*goes from low to high"),
        ("leg-bias,f,a,value,0.7,,1,,V,x\nleg-bias,f,b,value,0.7,,1,,V,x", r"add up to 1\.4"),
        ("leg-bias,f,a,value,0.7,,1,,V,x\nleg-bias,f,a,value,0.7,,1,,V,x", r"that effect already"),
        ("leg-bias,f,a,value,0.7,,1,,V,x\nleg-bias,f,a,loss,0.6,,1,,V,x", r"have one chance, 0\.7"),
    ],
)
def test_a_broken_table_is_refused_with_its_place(rows: str, match: str) -> None:
    with pytest.raises(BadInputError, match=match):
        parse_effects(HEAD + rows)


def test_what_does_not_show_is_left_of_the_chance() -> None:
    ways = variants("pair-resistance", "wire-broken")
    assert sum(way.chance for way in ways) == pytest.approx(1.0)
    assert ways[-1].effects == {}
    assert variants("pair-resistance", "settings")[0].chance == 1.0
    assert "healthy" not in effects_of("pair-resistance")
