"""The data side of the search for faults: complete, consistent, and refused when broken."""

import csv
from collections.abc import Iterable, Mapping
from io import StringIO
from math import fsum, log2

import pytest

from conewright.errors import BadInputError
from conewright.job.quantity.units import find_unit
from conewright.stages.find.faults import rows, trade

TEXTS = trade.table_texts()

# The fixed names, in their order.
FAULTS = [
    *("surround-torn", "coil-open", "coil-rubbing", "coil-shorted", "tweeter-open"),
    *("capacitor-dried", "lead-intermittent", "wire-broken", "joint-corroded"),
    *("leg-to-chassis", "pair-shorted", "reversed", "channel-dead", "channel-offset"),
    *("amplifier-off", "supply-sag", "trim-rattle", "mount-loose", "grit-or-water"),
    *(
        "load-too-low",
        "shared-return",
        "cap-unglued",
        "panel-open",
        "sleep-drain",
        "microphone",
        "settings",
    ),
]
TESTS = [
    *("corner-solo", "slow-bass", "treble-burst", "mono-bass", "door-swing", "press-trim"),
    *("settings-reset", "call-test", "feed-drop", "sleep-current", "pair-resistance"),
    *("leg-to-chassis", "leg-bias", "pair-offset", "cell-pulse", "cone-push", "look"),
    *("coil-resistance", "swap-speaker", "impedance-sweep", "turn-on"),
]
COMPLAINTS = [
    *("buzz-one-corner", "silent-corner", "comes-and-goes", "dull", "thin-after-change"),
    *("distorts-loud", "cuts-out-hot", "pops-or-hum", "all-silent-after-change"),
    *("flat-battery", "callers-cannot-hear", "smell-or-smoke"),
]

WORDS = {
    "corner-solo": {"silent", "weaker", "equal"},
    "slow-bass": {"rasp", "clean"},
    "treble-burst": {"missing", "present"},
    "turn-on": {"missing", "present"},
    "mono-bass": {"weaker", "stronger"},
    "door-swing": {"jumps", "no change"},
    "press-trim": {"changes", "no change"},
    "settings-reset": {"cured", "no change"},
    "call-test": {"poor", "clear"},
    "cone-push": {"smooth", "scrape", "stuck"},
    "cell-pulse": {"outward", "inward", "weak", "scrape", "none"},
    "swap-speaker": {"plays", "still bad"},
    "pair-resistance": {"open", "unsteady", "high", "low", "normal"},
    "coil-resistance": {"open", "unsteady", "high", "low", "normal"},
    "leg-to-chassis": {"open", "unsteady", "low"},
    "look": {
        *{"torn surround", "loose mount", "panel open", "rust or water", "burnt smell"},
        *{"nothing", "loose cap", "loose trim", "bad lead"},
    },
} | {
    name: {"normal", "abnormal"}
    for name in ("feed-drop", "sleep-current", "leg-bias", "pair-offset", "impedance-sweep")
}

# The words of each sign of the tests that can be wrong in two ways.
SIDES = {
    "pair-resistance high": {"open", "unsteady", "high"},
    "pair-resistance low": {"low"},
    "cell-pulse dead": {"weak", "scrape", "none"},
    "cell-pulse inward": {"inward"},
    "coil-resistance high": {"open", "unsteady", "high"},
    "coil-resistance low": {"low"},
}

YES_NO = {row["fault"]: row for row in csv.DictReader(StringIO(TEXTS["yes_no.csv"]))}
SIGNS = [name for name in YES_NO["settings"] if name not in {"fault", "source"}]


def _percent(fault: str, sign: str) -> float:
    return float(YES_NO[fault][sign])


def _row(test: str, fault: str) -> Mapping[str, float]:
    table = trade.word_table(test)
    return table.healthy if fault == rows.HEALTHY else table.chance[fault]


def _odds(weights: Mapping[str, float]) -> dict[str, float]:
    total = fsum(weights.values())
    return {fault: weight / total for fault, weight in weights.items()}


def _after_words(readings: Mapping[str, str]) -> dict[str, float]:
    """Odds of single faults after words, by Bayes' rule."""
    weights = {fault.id: fault.prior for fault in trade.faults()}
    for test, word in readings.items():
        for fault in weights:
            weights[fault] *= trade.word_table(test).chance[fault][word]
    return _odds(weights)


def _after_signs(wrong: Iterable[str], right: Iterable[str] = ()) -> dict[str, float]:
    """Odds of single faults after the signs of the yes/no table alone."""
    weights = {fault.id: fault.prior for fault in trade.faults()}
    for fault in weights:
        for sign in wrong:
            weights[fault] *= _percent(fault, sign) / 100
        for sign in right:
            weights[fault] *= 1 - _percent(fault, sign) / 100
    return _odds(weights)


def _entropy(odds: Mapping[str, float]) -> float:
    return -sum(p * log2(p) for p in odds.values() if p > 0)


def _bits(sign: str, odds: Mapping[str, float]) -> float:
    """Expected gain of one sign."""
    bits = _entropy(odds)
    wrong = {fault: p * _percent(fault, sign) / 100 for fault, p in odds.items()}
    right = {fault: p - wrong[fault] for fault, p in odds.items()}
    for part in (wrong, right):
        bits -= fsum(part.values()) * _entropy(_odds(part))
    return bits


# --- Names -----------------------------------------------------------------------------------


def test_names_are_complete_and_in_order() -> None:
    assert [fault.id for fault in trade.faults()] == FAULTS == list(trade.FAULT_IDS)
    assert [kind.id for kind in trade.tests()] == TESTS == list(trade.TEST_IDS)
    assert [each.id for each in trade.complaints()] == COMPLAINTS
    assert [each.id for each in trade.topologies()] == [
        *("one-4-ohm", "one-2-ohm", "one-3-ohm", "one-6-ohm", "one-8-ohm"),
        *("with-small-tweeter", "with-large-tweeter", "two-parallel", "two-series"),
        *("second-order", "tweeter-only", "amplifier-input", "common-ground"),
    ]


@pytest.mark.parametrize("name", TESTS)
def test_every_test_takes_its_words(name: str) -> None:
    kind, table = trade.test(name), trade.word_table(name)
    assert set(kind.words) == WORDS[name]
    assert table.words == kind.words
    assert table.normal == kind.normal


def test_numbers_are_taken_where_a_meter_gives_them() -> None:
    units = {
        kind.id: (kind.dimension, kind.unit) for kind in trade.tests() if kind.number != "none"
    }
    assert units == {
        "feed-drop": ("voltage", "V"),
        "sleep-current": ("current", "mA"),
        "pair-resistance": ("resistance", "ohm"),
        "leg-to-chassis": ("resistance", "kohm"),
        "leg-bias": ("voltage", "V"),
        "pair-offset": ("voltage", "V"),
        "coil-resistance": ("resistance", "ohm"),
        "impedance-sweep": (None, None),
    }
    for dimension, unit in units.values():
        assert dimension is None or find_unit(unit or "", dimension=dimension) is not None


def test_an_unknown_name_leads_to_the_nearest() -> None:
    with pytest.raises(BadInputError, match=r'"coil-opn" is no fault; did you mean "coil-open"'):
        trade.fault("coil-opn")
    with pytest.raises(BadInputError, match=r'no test; did you mean "pair-resistance"'):
        trade.test("pair-resistence")
    with pytest.raises(BadInputError, match=r'no test; did you mean "cone-push"'):
        trade.word_table("cone-pushed")
    with pytest.raises(BadInputError, match=r'no complaint; did you mean "thin-after-change"'):
        trade.complaint("thin-after-chnge")
    with pytest.raises(BadInputError, match=r'no topology; did you mean "two-series"'):
        trade.topology("two-serie")
    with pytest.raises(BadInputError, match=r'no access; did you mean "radio"'):
        trade.access("radios")


# --- Chances ---------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("fault", [*FAULTS, rows.HEALTHY])
def test_words_keep_the_totals_of_the_yes_no_table(fault: str, sign: str) -> None:
    # Closed form: the words of a sign share out its percentage, whatever the split.
    test = sign.split()[0]
    row = _row(test, fault)
    words = SIDES.get(sign, set(row) - {trade.word_table(test).normal})
    assert fsum(row[word] for word in words) == pytest.approx(
        _percent(fault, sign) / 100, abs=1e-12
    )


@pytest.mark.parametrize("test", TESTS)
def test_rows_add_up_to_one(test: str) -> None:
    for fault in [*FAULTS, rows.HEALTHY]:
        row = _row(test, fault)
        assert fsum(row.values()) == pytest.approx(1, abs=1e-12)
        assert min(row.values()) >= 0


def test_only_an_open_coil_with_a_normal_reading_is_ruled_out_by_the_table() -> None:
    # The yes/no table gives 97 % above and 3 % below: nothing is left for a normal reading.
    impossible = [
        (test, fault, word)
        for test in TESTS
        for fault in [*FAULTS, rows.HEALTHY]
        for word, chance in _row(test, fault).items()
        if chance == 0
    ]
    assert impossible == [("coil-resistance", "coil-open", "normal")]


def test_priors_add_up_to_one() -> None:
    assert fsum(fault.prior for fault in trade.faults()) == pytest.approx(1, abs=1e-12)
    assert fsum(each.prior for each in trade.topologies()) == pytest.approx(1, abs=1e-12)


def test_a_false_alarm_says_what_it_says_on_a_healthy_vehicle() -> None:
    # Closed form: a fault without a split of its own and with the healthy total has its row.
    for test in ("look", "cone-push", "corner-solo"):
        assert _row(test, "sleep-drain") == pytest.approx(_row(test, rows.HEALTHY))


def test_a_fault_says_mostly_its_own_word() -> None:
    own = {
        ("look", "surround-torn"): "torn surround",
        ("look", "mount-loose"): "loose mount",
        ("look", "panel-open"): "panel open",
        ("look", "grit-or-water"): "rust or water",
        ("look", "joint-corroded"): "rust or water",
        ("look", "coil-shorted"): "burnt smell",
        ("look", "cap-unglued"): "loose cap",
        ("look", "trim-rattle"): "loose trim",
        ("look", "lead-intermittent"): "bad lead",
        ("corner-solo", "coil-open"): "silent",
        ("corner-solo", "joint-corroded"): "weaker",
        ("cell-pulse", "coil-open"): "none",
        ("cell-pulse", "reversed"): "inward",
        ("cell-pulse", "joint-corroded"): "weak",
        ("cone-push", "coil-rubbing"): "scrape",
        ("pair-resistance", "coil-open"): "open",
        ("pair-resistance", "wire-broken"): "open",
        ("pair-resistance", "pair-shorted"): "low",
        ("pair-resistance", "amplifier-off"): "high",
        ("coil-resistance", "lead-intermittent"): "unsteady",
        ("leg-to-chassis", "leg-to-chassis"): "low",
    }
    for (test, fault), word in own.items():
        row = dict(_row(test, fault))
        del row[trade.word_table(test).normal]
        assert max(row, key=row.__getitem__) == word, (test, fault)


# --- Whole chains of readings ----------------------------------------------------------------

# One front corner quiet, treble present: worked example, workshop experience, from memory.
QUIET_CORNER = {
    "coil-open": 0.83,
    "joint-corroded": 0.08,
    "lead-intermittent": 0.06,
    "wire-broken": 0.03,
}


def test_a_quiet_corner_by_signs() -> None:
    odds = _after_signs(
        wrong=("corner-solo", "pair-resistance high", "cell-pulse dead"),
        right=("treble-burst", "door-swing", "settings-reset", "leg-to-chassis"),
    )
    for fault, expected in QUIET_CORNER.items():
        assert odds[fault] == pytest.approx(expected, abs=0.03)


def test_a_quiet_corner_by_words() -> None:
    odds = _after_words(
        {
            "corner-solo": "weaker",
            "treble-burst": "present",
            "door-swing": "no change",
            "settings-reset": "no change",
            "pair-resistance": "open",
            "leg-to-chassis": "open",
            "cell-pulse": "none",
        }
    )
    for fault, expected in QUIET_CORNER.items():
        assert odds[fault] == pytest.approx(expected, abs=0.03)


def test_words_tell_more_than_signs() -> None:
    # A corner that is silent, not merely weak, speaks for the coil and against a bad joint.
    silent, weaker = (_after_words({"corner-solo": word}) for word in ("silent", "weaker"))
    signs = _after_signs(wrong=("corner-solo",))
    assert silent["coil-open"] > signs["coil-open"] > weaker["coil-open"]
    assert silent["joint-corroded"] < signs["joint-corroded"] < weaker["joint-corroded"]


def test_the_first_sign_and_the_gain_of_the_next() -> None:
    # Worked figures of the trade table, from memory: .20 after the first sign; 0.36 bit from the
    # door and 0.59 bit from a test loudspeaker in a corner that is silent without treble.
    assert _after_signs(wrong=("corner-solo",))["coil-open"] == pytest.approx(0.20, abs=0.005)
    dead = _after_signs(wrong=("corner-solo", "treble-burst"))
    assert _bits("door-swing", dead) == pytest.approx(0.36, abs=0.005)
    assert _bits("swap-speaker", dead) == pytest.approx(0.59, abs=0.01)


# --- Complaints, tests, access, loads --------------------------------------------------------


def test_owners_words_multiply_the_odds() -> None:
    # Workshop experience, from memory: factors of the trade table; any other fault by less.
    pops = trade.complaint("pops-or-hum")
    assert (pops.factor("channel-offset"), pops.factor("settings")) == (20, 0.25)
    thin = trade.complaint("thin-after-change")
    assert (thin.factor("reversed"), thin.factor("panel-open")) == (8, 5)
    assert thin.first_tests[0] == "mono-bass"
    urgent = [each.id for each in trade.complaints() if each.stop]
    assert urgent == ["pops-or-hum", "smell-or-smoke"]


def test_a_torn_surround_takes_its_twin_along() -> None:
    # Workshop experience, from memory: the other goes within two years with p about 0.7.
    assert trade.fault("surround-torn").twin == pytest.approx(0.7)
    assert "7 vehicles of 10" in trade.fault("surround-torn").budget
    assert trade.fault("settings").twin == 0


def test_opening_is_counted_beside_the_test() -> None:
    # Workshop experience, from memory: radio out 25 min, door panel 20, the first door 30.
    radio, door = trade.access("radio"), trade.access("door")
    assert (radio.first_minutes, door.first_minutes, door.minutes) == (25, 30, 20)
    opened = {kind.id for kind in trade.tests() if kind.access == "trim"}
    assert opened == {"cone-push", "look", "coil-resistance", "swap-speaker", "impedance-sweep"}
    assert trade.test("coil-resistance").minutes == 3


def test_each_test_carries_its_caution() -> None:
    def ids(name: str) -> set[str]:
        return {caution.id for caution in trade.test(name).cautions}

    for kind in trade.tests():
        measures_ohms = kind.dimension == "resistance" or kind.id == "cell-pulse"
        assert ("restraint-meter" in ids(kind.id)) == measures_ohms
        assert ("trim" in ids(kind.id)) == (kind.access == "trim")
        assert kind.cautions
    assert "9 V through 10 ohm 2 W" in _text("cell-pulse", "cell")
    assert "in series" in _text("sleep-current", "amps")
    assert "no grounded instrument" in _text("leg-bias", "floating")
    for name in ("corner-solo", "slow-bass", "treble-burst", "mono-bass", "swap-speaker"):
        assert "85 dB(A)" in _text(name, "level")


def _text(test: str, caution: str) -> str:
    return next(each.text for each in trade.test(test).cautions if each.id == caution)


def test_loads_name_their_drivers() -> None:
    woofer = trade.topology("with-small-tweeter")
    assert [driver.id for driver in woofer.drivers] == ["main", "small"]
    assert woofer.drivers[1].size.major == pytest.approx(0.025)
    assert woofer.drivers[0].rated.value == 4
    assert woofer.load.locations == ("main", "small")
    assert [each.id for each in trade.topologies() if each.shared_return] == ["common-ground"]
    assert trade.topology("amplifier-input").drivers == ()


def test_one_driver_of_unknown_ohms_has_the_usual_odds() -> None:
    # From memory: 2, 3, 4, 6, 8 ohm as .15, .15, .60, .04, .06 of single drivers.
    priors = [trade.topology(f"one-{ohms}-ohm").prior for ohms in (2, 3, 4, 6, 8)]
    shares = [prior / sum(priors) for prior in priors]
    assert shares == pytest.approx([0.15, 0.15, 0.60, 0.04, 0.06], abs=1e-9)


# --- Tables that a shop has edited -----------------------------------------------------------


def _edited(file: str, old: str, new: str) -> dict[str, str]:
    assert TEXTS[file].count(old) == 1, f"{old!r} does not stand once in {file}"
    return TEXTS | {file: TEXTS[file].replace(old, new)}


BROKEN = [
    ("faults.csv", "torn,11,", "torn,111,", r"faults\.csv: the priors add up to 200, not to 100"),
    (
        "faults.csv",
        "open,7,location",
        "open,many,location",
        r'row 3 \(coil-open\): prior is "many"; a number from 0 to 1e\+06 is wanted',
    ),
    ("faults.csv", "open,7,loc", "open,nan,loc", r"prior is .*; a number from 0"),
    ("faults.csv", "open,7,location", "open,7,lokation", r'scope is .*did you mean "location"'),
    ("faults.csv", "\ncoil-open,", "\ncoil-opened,", r'not known; did you mean "coil-open"'),
    (
        "faults.csv",
        "\ncoil-open,",
        "\nsurround-torn,",
        r"row 3 \(surround-torn\): .* a row already",
    ),
    (
        "faults.csv",
        "fault,title,prior",
        "fault,title,odds",
        r"faults\.csv: the column prior is missing",
    ),
    ("faults.csv", ",budget,source", ",budget,source,more", r'"more" is one too many'),
    ("faults.csv", ",lead,0,", ",lead,", r"row 8: it has not one cell for each column"),
    ("faults.csv", ",surround,70,", ",surround,170,", r"twin is .*from 0 to 100 is wanted"),
    (
        "complaints.csv",
        "capacitor-dried 5",
        "capacitor-dry 5",
        r'complaints\.csv, row 5 \(dull\): .*did you mean "capacitor-dried"',
    ),
    ("complaints.csv", "sleep-drain 20", "sleep-drain -20", r"a number from 0"),
    ("complaints.csv", "dull,", "flat-battery,", r"this name has a row already"),
    ("complaints.csv", ",treble-burst,", ",treble,", r'first_tests .*"treble" is not known'),
    (
        "complaints.csv",
        "tweeter-open 6; cap",
        "capacitor-dried 6; cap",
        r'"capacitor-dried" stands there twice',
    ),
    ("answers.csv", "corner-solo,weaker", "corner-solo,silent", r"the word already"),
    ("answers.csv", "weaker,no,more", "weaker,yes,more", r"corner-solo needs one healthy word"),
    ("answers.csv", "weaker,no,more", "weaker,maybe,more", r"healthy is .*yes, no"),
    ("tests.csv", 'a fader off its centre",none', 'a fader",tone', r"number is "),
    ("tests.csv", "voltage,V,level; battery", "voltage,W,level; battery", r"no unit 'W'"),
    (
        "tests.csv",
        "quantity,voltage,V,level; b",
        "none,voltage,V,level; b",
        r"only a test answered",
    ),
    ("tests.csv", "amps; battery", "amp; battery", r'"amp" is not known; did you mean "amps"'),
    ("tests.csv", "vehicle,,none,45,", "vehicle,,none,0,", r"a test takes some time"),
    ("yes_no.csv", "coil-open,92,", "coil-open,192,", r"corner-solo is .*from 0 to 100"),
    (
        "yes_no.csv",
        "97,3,3,98,",
        "97,4,3,98,",
        r"yes_no\.csv, row 3 \(coil-open\): coil-resistance high 97, coil-resistance low 4 are",
    ),
    ("yes_no.csv", "\nhealthy,", "\nhealty,", r'not known; did you mean "healthy"'),
    ("yes_no.csv", "slow-bass", "slow-base", r"the column slow-bass is missing"),
    (
        "words.csv",
        "silent 84; weaker 16",
        "silent 84; weaker 26",
        r"words\.csv, row 3 \(corner-solo\): the parts of split add up to 110",
    ),
    (
        "words.csv",
        "silent 84; weaker 16",
        "silent 100",
        r"coil-open must split into silent, weaker",
    ),
    ("words.csv", "silent 84; weaker 16", "silent 84; equal 16", r'"equal" is not known'),
    ("words.csv", "slow-bass,healthy", "slow-bas,healthy", r'did you mean "slow-bass"'),
    ("words.csv", "slow-bass,healthy", "slow-bass,settings", r"slow-bass has no row for healthy"),
    ("words.csv", "corner-solo,coil-open", "corner-solo,coil-shorted", r"a row for it already"),
    (
        "words.csv",
        "\ncell-pulse inward,healthy,inward 100",
        "\ncell-pulse inward,healthy,weak 100",
        r"the signs of cell-pulse split into .*is wanted once",
    ),
    ("access.csv", "\nradio,", "\nradios,", r'did you mean "radio"'),
    (
        "topologies.csv",
        '0.2 ohm + small,"small',
        '0.2 ohm * small,"small',
        r"load is .*the unit .ohm . small. is not known",
    ),
    ("topologies.csv", "pod: 77 mm, 4", "bod: 77 mm, 4", r"the load has the drivers main, pod"),
    (
        "topologies.csv",
        "pod: 77 mm, 4",
        "pod: 77 mm 4",
        r"row 8 \(with-large-tweeter\): drivers is",
    ),
    ("topologies.csv", ",8.25,own,two", ",80.25,own,two", r"topologies\.csv: the priors add up"),
]


@pytest.mark.parametrize(("file", "old", "new", "match"), BROKEN)
def test_a_broken_table_is_refused_with_its_place(
    file: str, old: str, new: str, match: str
) -> None:
    with pytest.raises(BadInputError, match=match) as caught:
        trade.parse_tables(_edited(file, old, new))
    assert str(caught.value).startswith(file)


def test_a_word_has_one_spelling_in_all_tables() -> None:
    with pytest.raises(BadInputError, match=r'words\.csv, row 2 .*did you mean "weak"'):
        trade.parse_tables(_edited("answers.csv", "corner-solo,weaker", "corner-solo,weak"))


def test_a_row_that_is_missing_is_named() -> None:
    lines = TEXTS["yes_no.csv"].splitlines(keepends=True)
    kept = "".join(line for line in lines if not line.startswith("settings,"))
    with pytest.raises(BadInputError, match=r"yes_no\.csv: rows are missing for settings"):
        trade.parse_tables(TEXTS | {"yes_no.csv": kept})


def test_a_row_without_a_source_is_refused() -> None:
    with pytest.raises(BadInputError, match=r"a\.csv, row 2 \(x\): source is \"\""):
        rows.read_rows("name,source\nx, \n", file="a.csv", columns=("name",))


def test_a_text_that_is_no_table_is_refused() -> None:
    with pytest.raises(BadInputError, match=r"a\.csv: no comma-separated table"):
        rows.read_rows('name,source\n"x"y,z\n', file="a.csv", columns=("name",))


def test_a_shop_can_put_in_its_own_counts() -> None:
    # Closed form: shares of what the shop counted, whatever its rounding adds up to.
    own = trade.parse_tables(_edited("faults.csv", "torn,11,", "torn,11.5,"))
    assert own.faults["surround-torn"].prior == pytest.approx(11.5 / 100.5)
    assert fsum(fault.prior for fault in own.faults.values()) == pytest.approx(1, abs=1e-12)
    split = _edited("words.csv", "silent 84; weaker 16", "silent 50; weaker 50")
    row = trade.parse_tables(split).words["corner-solo"].chance["coil-open"]
    assert (row["silent"], row["weaker"]) == pytest.approx((0.46, 0.46))


def test_what_a_spreadsheet_adds_is_borne() -> None:
    # A byte order mark, line ends of another system and blanks round a cell change nothing.
    spread = "\ufeff" + TEXTS["access.csv"].replace("\n", "\r\n").replace("radio,", "radio ,", 1)
    assert trade.parse_tables(TEXTS | {"access.csv": spread}).access["radio"].minutes == 25


def test_owners_words_can_be_added() -> None:
    more = TEXTS["complaints.csv"] + "hums,It hums.,supply-sag 4,0.5,10,,feed-drop,,own count\n"
    assert trade.parse_tables(TEXTS | {"complaints.csv": more}).complaints["hums"].factors == {
        "supply-sag": 4
    }
