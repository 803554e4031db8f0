"""What hangs on an unknown channel, and what is printed on a driver, from readings."""

from math import inf, isinf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_jobs import SHEETS, one_channel

from conewright.errors import BadInputError
from conewright.job.quantity.values import Quantity, parse_quantity
from conewright.stages.find.faults.trade import topologies
from conewright.stages.find.instruments.topology import (
    FREQUENCIES,
    LoadContext,
    LoadReading,
    context_of,
    expected_at_plug,
    plug_samples,
    topology_odds,
)
from conewright.stages.find.talk.separation import expected_bits, telling_apart

WIRE = Quantity.of(0.35, "resistance")
HALF = {**SHEETS["F165"], "re": "1.7 ohm", "le": "0.18 mH"}
KNOWN = {
    "main": SHEETS["F165"],
    "second": SHEETS["F130"],
    "small": SHEETS["T25"],
    "pod": SHEETS["P77"],
}

# Worked out independently of this code for usual drivers in free air behind 0.35 ohm of wire;
# ohms at the plug, then the modulus at 100, 400, 1000, 4000 and 10000 Hz.
TABLE = {
    "one-4-ohm": (3.75, 5.8, 4.3, 5.1, 8.2, 13.1),
    "one-2-ohm": (2.05, 3.0, 2.3, 2.7, 4.3, 6.8),
    "with-small-tweeter": (3.75, 5.7, 4.3, 5.2, 7.5, 4.7),
    "with-large-tweeter": (3.75, 5.2, 3.8, 3.3, 3.2, 4.0),
    "two-parallel": (2.05, 4.1, 2.3, 2.6, 4.0, 6.3),
    "two-series": (7.15, 18.2, 8.2, 9.6, 15.3, 24.5),
    "second-order": (3.95, 5.7, 5.0, 8.1, 6.7, 4.4),
    "tweeter-only": (inf, 338.0, 84.0, 32.0, 9.7, 5.1),
}


def readings(name: str, *, plug_only: bool = False) -> list[LoadReading]:
    plug, *moduli = TABLE[name]
    first = LoadReading("plug", plug)
    if plug_only:
        return [first]
    pairs = zip(moduli, FREQUENCIES, strict=True)
    return [first, *(LoadReading("impedance", ohm, frequency=f) for ohm, f in pairs)]


def ohms(text: str) -> Quantity:
    return parse_quantity(text, dimension="resistance")


# --- The usual loads --------------------------------------------------------------------------


@pytest.mark.parametrize("name", TABLE)
def test_usual_loads_read_as_worked_out_independently(name: str) -> None:
    sheets = {**KNOWN, "main": HALF} if name == "one-2-ohm" else KNOWN
    found = expected_at_plug(name, context=LoadContext(cable=WIRE, sheets=sheets))
    for value, wanted in zip(found, TABLE[name], strict=True):
        if isinf(wanted):
            assert isinf(value)
            continue
        digit = 0.5 if wanted >= 30.0 else 0.05 if wanted not in (2.05, 3.75, 7.15, 3.95) else 0.005
        # 2 %, and half of the last digit.
        assert value == pytest.approx(wanted, abs=0.02 * wanted + digit)


def test_an_amplifier_reads_alike_at_every_frequency() -> None:
    found = expected_at_plug("amplifier-input")
    assert len(set(np.round(found, 6))) == 1
    assert 200.0 < found[0] < 50e3


@pytest.mark.parametrize(
    ("name", "likeliest", "least"),
    [
        ("one-4-ohm", "one-4-ohm", 0.85),
        ("with-small-tweeter", "with-small-tweeter", 0.95),
        ("with-large-tweeter", "with-large-tweeter", 0.95),
        ("two-series", "two-series", 0.5),
        ("second-order", "second-order", 0.95),
        ("tweeter-only", "tweeter-only", 0.95),
    ],
)
def test_a_full_set_of_readings_finds_the_load(name: str, likeliest: str, least: float) -> None:
    (found, odds), *_ = topology_odds(readings(name))
    assert found == likeliest
    assert odds > least


def test_two_ohms_may_be_one_driver_or_two_until_one_is_unplugged() -> None:
    # Common practice without a source: the two are told apart only by unplugging one.
    for name in ("one-2-ohm", "two-parallel"):
        odds = dict(topology_odds(readings(name)))
        assert odds["one-2-ohm"] + odds["two-parallel"] > 0.97
        assert 0.1 < odds["one-2-ohm"] < 0.9
    telling = telling_apart("one-2-ohm", "two-parallel")
    assert (telling.kind, telling.separation) == ("unplugged", inf)
    assert isinf(telling.expected[0])
    assert telling.expected[1] == pytest.approx(3.75, abs=0.1)
    one = dict(topology_odds([*readings("one-2-ohm"), LoadReading("unplugged", inf)]))
    two = dict(topology_odds([*readings("one-2-ohm"), LoadReading("unplugged", 3.8)]))
    assert one["one-2-ohm"] > 0.98
    assert two["two-parallel"] > 0.98


def test_a_small_tweeter_shows_only_at_high_frequencies() -> None:
    direct = dict(topology_odds(readings("with-small-tweeter", plug_only=True)))
    ratio = direct["one-4-ohm"] / direct["with-small-tweeter"]
    usual = dict(topology_odds([]))
    assert ratio == pytest.approx(usual["one-4-ohm"] / usual["with-small-tweeter"], rel=0.05)
    telling = telling_apart("one-4-ohm", "with-small-tweeter")
    assert telling.kind == "impedance"
    assert telling.frequency == 10000.0
    assert telling.expected[0] > 2 * telling.expected[1]
    assert telling.separation > 2.0


def test_what_was_read_is_not_asked_for_again() -> None:
    taken = [LoadReading("plug", 7.3)]
    assert telling_apart("two-series", "one-8-ohm").kind == "plug"
    telling = telling_apart("two-series", "one-8-ohm", taken=taken)
    assert (telling.kind, telling.frequency) == ("impedance", 400.0)
    # From memory and from data sheets: two coils of 3.4 ohm, or one of 5.8 ohm.
    assert telling.expected[0] - telling.expected[1] == pytest.approx(6.8 - 5.8, abs=0.25)
    bits = expected_bits(dict(topology_odds(taken)), taken, LoadContext())
    assert ("plug", None) not in bits
    assert max(bits, key=bits.__getitem__) == ("impedance", 400.0)


def test_bits_are_those_of_the_table() -> None:
    # Closed form: where one of two loads reads open and the other does not, the whole entropy.
    taken = [LoadReading("plug", 2.05)]
    odds = dict(topology_odds(taken))
    entropy = -sum(chance * np.log2(chance) for chance in odds.values() if chance > 0.0)
    bits = expected_bits(odds, taken, LoadContext())
    assert bits[("unplugged", None)] == pytest.approx(entropy, abs=0.05)
    assert max(bits, key=bits.__getitem__) == ("unplugged", None)
    # A small tweeter shows above 5 kHz alone.
    taken = [LoadReading("plug", 3.75)]
    bits = expected_bits(dict(topology_odds(taken)), taken, LoadContext())
    assert max(bits, key=bits.__getitem__) == ("impedance", 10000.0)
    near = [*taken, LoadReading("impedance", 13.0, frequency=9500.0)]
    assert ("impedance", 10000.0) not in expected_bits(
        dict(topology_odds(near)), near, LoadContext()
    )


def test_a_shared_return_shows_between_the_minus_wires() -> None:
    assert telling_apart("one-4-ohm", "common-ground").kind == "returns"
    joined = [LoadReading("plug", 3.75), LoadReading("returns", 0.4)]
    assert topology_odds(joined)[0][0] == "common-ground"
    usual = dict(topology_odds([]))["common-ground"]
    other_radio = dict(topology_odds([], LoadContext(common_ground=True)))["common-ground"]
    assert other_radio > 5 * usual


def test_hundreds_of_ohms_are_an_amplifier() -> None:
    assert dict(topology_odds([LoadReading("plug", 4700.0)]))["amplifier-input"] > 0.9


def test_without_readings_the_usual_odds_stand() -> None:
    odds = dict(topology_odds([]))
    for entry in topologies():
        assert odds[entry.id] == pytest.approx(entry.prior, rel=1e-9)


@settings(max_examples=15, deadline=None)
@given(st.permutations(readings("with-large-tweeter")))
def test_the_order_of_readings_does_not_matter(shuffled: list[LoadReading]) -> None:
    assert dict(topology_odds(shuffled)) == pytest.approx(
        dict(topology_odds(readings("with-large-tweeter"))), rel=1e-6, abs=1e-12
    )


@settings(max_examples=20, deadline=None)
@given(st.floats(0.3, 1e5), st.floats(0.3, 1e3))
def test_odds_add_up_whatever_is_read(plug: float, high: float) -> None:
    taken = [LoadReading("plug", plug), LoadReading("impedance", high, frequency=4000.0)]
    odds = topology_odds(taken)
    assert sum(chance for _, chance in odds) == pytest.approx(1.0)
    assert all(0.0 <= chance <= 1.0 for _, chance in odds)
    assert [chance for _, chance in odds] == sorted((c for _, c in odds), reverse=True)


def test_one_slip_of_the_hand_does_not_carry_the_verdict() -> None:
    taken = readings("with-large-tweeter")
    taken[2] = LoadReading("impedance", 38.0, frequency=400.0)
    assert topology_odds(taken)[0][0] == "with-large-tweeter"


def test_what_the_job_knows_goes_in() -> None:
    vehicle = one_channel(
        "F165", radio='output = "common-ground"', vehicle='temperature = "0 degC"', cable="0.5 ohm"
    )
    build = vehicle.build()
    context = context_of(build, build.channels[0])
    assert context.common_ground
    assert context.temperature == pytest.approx(273.15)
    assert context.cable.value == 0.5
    # Closed form: copper at 0 C reads 1 - 20 * 0.00393 of what it reads at 20 C.
    cold = expected_at_plug("one-4-ohm", (), LoadContext(cable=WIRE, temperature=273.15))[0]
    assert cold == pytest.approx(0.35 + 3.4 * 0.9214, rel=1e-3)


def test_samples_at_the_plug_come_in_proportion_to_what_is_usual() -> None:
    drawn = plug_samples(LoadContext(), samples=400)
    near_four = np.mean((drawn > 3.4) & (drawn < 4.3))
    assert near_four == pytest.approx(0.61, abs=0.08)
    assert np.mean(np.isinf(drawn)) == pytest.approx(0.02, abs=0.01)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: LoadReading("guess", 3.0), "is no such reading"),
        (lambda: LoadReading("plug", 0.0), "above zero"),
        (lambda: LoadReading("impedance", 3.0), "has a frequency"),
        (lambda: telling_apart("one-4-ohm", "five"), "is no topology"),
    ],
)
def test_impossible_readings_are_refused(make: object, match: str) -> None:
    assert callable(make)
    with pytest.raises(BadInputError, match=match):
        make()
