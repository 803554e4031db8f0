"""Supplies of 6, 12 and 24 V: every reading to expect follows from the system of the vehicle."""

import numpy as np
import pytest
from workbench import channel, job, location

import conewright as cw
from conewright.errors import JobError
from conewright.papers.press.answers import Answers
from conewright.papers.wiring.schedule import schedule
from conewright.papers.work.checks import power_up
from conewright.physics.basics.bands import band_centres
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.load import asleep, radio_load
from conewright.stages.feed.supply import supply_cables
from conewright.stages.find.faults.chains import chains_of
from conewright.stages.find.instruments.meter import Meter
from conewright.stages.hear.ceiling import radio_ceiling
from conewright.stages.report.data import Severity

BACK = '["-0.9 m", "0.8 m", "0.3 m"]'
PLACES = (channel("front", "door"), location("door", "F165"))
FEED = """[[feed]]\nid = "feed"\nto = "{to}"\nfuse = "10 A"\nfuse_distance = "100 mm"
length = "3 m"\nsize = "2.5 mm2"\nmetal = "copper"\n"""


def built(system: str, radio: str = "", *, more: str = "", vehicle: str = "") -> cw.Build:
    made = job(
        *PLACES,
        more,
        radio=f'system = "{system}"\n{radio}',
        vehicle=f'system = "{system}"\n{vehicle}',
    )
    return made.build()


def converted(text: str = 'rated_current = "10 A"', *, more: str = "") -> cw.Build:
    return job(*PLACES, f"[converter]\n{text}\n", more, radio="", vehicle='system = "24 V"').build()


# --- What is expected without a reading ----------------------------------------------------------


@pytest.mark.parametrize(
    ("system", "rest", "supply"),
    # common practice, no source: 2.1 V a cell at rest; running, from memory
    [("6 V", 6.3, 6.9), ("12 V", 12.6, 13.8), ("24 V", 25.2, 27.6)],
)
def test_resting_and_charging_volts_are_those_of_the_system(
    system: str, rest: float, supply: float
) -> None:
    build = built(system)
    assert build.vehicle.rest_voltage.si == pytest.approx(rest)
    assert build.head_unit.supply.si == pytest.approx(supply)
    report = cw.feed(build)
    assert not any(each.severity is Severity.STOP for each in report.verdicts)


def test_a_radio_behind_a_converter_has_the_converters_volts() -> None:
    build = converted('output = "13.5 V"')
    assert build.head_unit.supply.si == pytest.approx(13.5)
    read = job(
        *PLACES, "[converter]\n", radio='supply = "13.1 V"', vehicle='system = "24 V"'
    ).build()
    assert read.head_unit.supply.si == pytest.approx(13.1)


@pytest.mark.parametrize(
    ("build", "low", "high"),
    [
        # Half the supply; 6 to 7.2 V on 12 V is from memory, with the meter's error and what one
        # in a hundred sound outputs reads beyond; the rest in proportion.
        (built("12 V"), 5.8, 7.5),
        (built("24 V"), 11.6, 15.0),
        (built("6 V"), 2.9, 3.8),
        (converted('output = "13.8 V"'), 5.8, 7.5),
    ],
    ids=["12 V", "24 V", "6 V", "converter"],
)
def test_the_legs_of_a_bridge_rest_at_half_of_what_feeds_it(
    build: cw.Build, low: float, high: float
) -> None:
    chain = next(each for each in chains_of(build) if each.id == "front")
    found = Meter(build).expected("leg-bias", "front", chain)
    assert low < found.low < found.high < high
    half = build.head_unit.supply.si / 2.0
    checks = {check.id: check for check in power_up(Answers(build))}
    assert float(checks["bias"].lines[0].expect.split()[0]) == pytest.approx(half, abs=0.06)


@pytest.mark.parametrize(
    ("system", "battery", "reverse"),
    [
        ("6 V", "about 6.2 V", "6.2 V"),
        ("12 V", "about 12.5 V", "12.5 V"),
        ("24 V", "about 25 V", "25 V"),
    ],
)
def test_the_wires_of_the_schedule_have_the_volts_of_the_system(
    system: str, battery: str, reverse: str
) -> None:
    build = built(system, 'connector = "iso-10487"')
    wires = {row.function: row for row in schedule(build).conductors if not row.sign}
    assert wires["battery"].title == f"+{system}, always live"
    assert wires["battery"].proof.expected == f"{battery}, key out"
    assert reverse in wires["switched"].proof.expected


def test_behind_a_converter_the_radios_wires_have_its_volts_and_the_vehicles_their_own() -> None:
    more = "".join(
        f'[[lead]]\nfunction = "{name}"\nproof = "{read}"\n'
        for name, read in (("battery", "13.6 V"), ("illumination", "24.8 V"))
    )
    wires = {r.function: r for r in schedule(converted(more=more)).conductors if not r.sign}
    assert wires["battery"].title == "+12 V, always live"
    assert wires["battery"].proof.expected.startswith("13.6 V")
    assert wires["battery"].proof.state == "proved"
    assert wires["illumination"].proof.expected.endswith("25 V; pulsed dimming reads less")
    assert wires["illumination"].proof.state == "proved"


def test_with_the_body_on_plus_a_reading_above_zero_disagrees() -> None:
    build = built(
        "6 V",
        'ground = "positive"',
        vehicle='ground = "positive"',
        more="".join(
            f'[[lead]]\nfunction = "{name}"\nproof = "{read}"\n'
            for name, read in (("battery", "-6.3 V"), ("switched", "6.3 V"))
        ),
    )
    wires = {row.function: row for row in schedule(build).conductors if not row.sign}
    assert wires["battery"].title == "−6 V, always live"
    assert wires["battery"].proof.state == "proved"
    assert wires["switched"].proof.state == "DISAGREES"


# --- A loudspeaker that comes back through the body ----------------------------------------------


@pytest.mark.parametrize(("return_by", "low"), [("chassis", True), ("wire", False)])
def test_a_leg_on_the_chassis_reads_low_where_it_was_built_so(return_by: str, low: bool) -> None:
    made = job(
        channel("front", "door", more=f'return_by = "{return_by}"'),
        location("door", "F165"),
        radio='output = "common-ground"',
    ).build()
    chain = next(each for each in chains_of(made) if each.id == "front")
    mixture = Meter(made).predict("leg-to-chassis", "front", (), chain)
    # No more than slips and damp on a wire of its own; on the body always.
    assert (mixture.regions["low"] > 0.9) is low
    found = Meter(made).expected("leg-to-chassis", "front", chain)
    assert ("body" in found.text) is low


# --- Converter, cable, battery -------------------------------------------------------------------


def test_the_cable_before_a_converter_carries_the_batterys_amperes() -> None:
    build = converted(
        'rated_current = "10 A"\noutput = "13.6 V"\nefficiency = 0.85',
        more=FEED.format(to="converter"),
    )
    report = cw.feed(build)
    sine = report.figure("converter.sine_current").value
    assert sine is not None
    # Closed form, P = U I on both sides; at rest the battery has 25.2 V.
    assert report.figure("feed.asked_current").value == pytest.approx(13.6 * sine / (0.85 * 25.2))


def test_a_converter_gives_no_more_than_its_rating_however_much_is_asked() -> None:
    report = cw.feed(converted('rated_current = "1.5 A"\noutput = "13.6 V"\nefficiency = 0.8'))
    taken = report.figure("converter.input_current_most").value
    # Closed form: 13.6 V x 1.5 A / (0.8 x 25.2 V).
    assert taken == pytest.approx(13.6 * 1.5 / (0.8 * 25.2))


@pytest.mark.parametrize("rated", ["0.8 A", "1.1 A", "30 A"])
def test_a_chip_gets_no_hotter_than_its_converter_can_make_it(rated: str) -> None:
    text = 'output = "13.6 V"\nefficiency = 0.8'
    small = converted(f'rated_current = "{rated}"\n{text}')
    large = converted(f'rated_current = "60 A"\n{text}')
    loads = [
        radio_load(build, Solver(conditioned_draws(build, samples=1), band_centres()))
        for build in (small, large)
    ]
    heat, most = (float(load.heat(1 / 3)[0, 0]) for load in loads)
    # Closed form: no more heat than power, P = U I; and no more than it makes where all is given.
    assert small.converter is not None
    assert small.converter.besides is not None
    given = 13.6 * (float(rated.split()[0]) - small.converter.besides.si)
    assert heat <= given * 1.001
    assert heat == pytest.approx(min(most, heat))
    assert (heat < 0.99 * most) is (given < most)


def test_a_short_draws_more_from_24_v_and_what_lies_behind_a_converter_says_so() -> None:
    shorts = {}
    for system in ("12 V", "24 V"):
        build = built(system, more=FEED.format(to="radio"))
        load = radio_load(build, Solver(conditioned_draws(build, samples=1), band_centres()))
        run = supply_cables(load)[0].run
        assert run is not None
        shorts[system] = float(run.short_current[0, 0])
    # Closed form: U / (3 m r + 4 mohm + 10 mohm for each 12 V), r 17.24/2.5 mohm a metre.
    wire = 3.0 * 17.241 / 2.5
    assert shorts["12 V"] == pytest.approx(12.6e3 / (wire + 14.0), rel=1e-3)
    assert shorts["24 V"] == pytest.approx(25.2e3 / (wire + 24.0), rel=1e-3)
    behind = cw.feed(converted(more=FEED.format(to="radio")))
    said = next(each for each in behind.verdicts if each.id == "feed.behind")
    assert "no more than its own limit" in said.text


def test_asleep_the_converter_draws_its_own_and_the_radio_through_it() -> None:
    text = 'idle_current = "12 mA"\noutput = "13.6 V"\nefficiency = 0.8'
    build = converted(text)
    drawn = asleep(build, np.array([[3e-3]]), lambda value: np.array([[value.si]]))
    # Closed form: 12 mA + 3 mA x 13.6 / (0.8 x 25.2).
    assert drawn[0, 0] == pytest.approx(12e-3 + 3e-3 * 13.6 / (0.8 * 25.2))
    plain = job(*PLACES, radio="", vehicle='system = "24 V"').build()
    with_it, without = (
        cw.feed(each).figure("vehicle.sleep_current").value for each in (build, plain)
    )
    assert with_it is not None
    assert without is not None
    assert 8.0 < with_it - without < 14.0


def test_a_plan_with_a_new_converter_takes_back_what_was_read_at_the_plug() -> None:
    text = """[[proposal]]\nid = "plan"\n[proposal.set]\n"converter.rated_current" = "10 A"\n"""
    made = job(*PLACES, text, radio='supply = "27.4 V"', vehicle='system = "24 V"')
    stopped = [each.id for each in cw.feed(made.build()).verdicts if each.severity is Severity.STOP]
    assert stopped == ["head_unit.supply"]
    plan = made.build("plan")
    assert plan.head_unit.supply.si == pytest.approx(13.6)
    assert not [each for each in cw.feed(plan).verdicts if each.severity is Severity.STOP]


def test_a_converter_is_rated_like_a_fuse() -> None:
    severities = {
        rated: next(
            each.severity
            for each in cw.feed(converted(f'rated_current = "{rated} A"')).verdicts
            if each.id == "converter.overload"
        )
        for rated in (1, 1.5, 2, 5)
    }
    wanted = [Severity.STOP, Severity.WARN, Severity.NOTE, Severity.GOOD]
    assert list(severities.values()) == wanted
    unread = cw.feed(converted("efficiency = 0.85"))
    said = next(each for each in unread.verdicts if each.id == "converter.overload")
    assert said.severity is Severity.NOTE
    assert "not written" in said.text


def test_at_hears_ceiling_the_converter_gives_just_its_rating() -> None:
    text = 'rated_current = "3 A"\noutput = "13.6 V"'
    radio = 'quiescent_current = "0.2 A"\noutput_resistance = "0.1 ohm"'
    places = [*PLACES, channel("rear", "back"), location("back", "R165", at=BACK)]
    build = job(*places, f"[converter]\n{text}\n", radio=radio, vehicle='system = "24 V"').build()
    solver = Solver(conditioned_draws(build, samples=1), band_centres())
    circuit = solver.solve(build)
    _, amps = radio_ceiling(build, circuit, solver.draws)
    emf = amps["front"][0]
    assert emf == pytest.approx(amps["rear"][0])
    # Two routes: the mean of the rectified currents, summed over one turn of a sine; the current of
    # the whole radio at rest was read, so nothing comes on top.
    turn = np.abs(np.sin(np.linspace(0.0, 2.0 * np.pi, 20_001)))
    mean = turn[:-1].mean()
    peaks = sum(
        np.sqrt(2.0) * emf / np.abs(each.plug_impedance[0] + each.source_resistance[0])
        for each in circuit.channels.values()
    )
    assert mean * peaks + 0.2 == pytest.approx(3.0, rel=1e-4)


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ("", "none is joined without a converter"),
        ('[converter]\nrated_current = "10 A"\n', "its fuses add up to 25 A"),
    ],
)
def test_an_amplifier_on_24_v_wants_a_converter_for_its_amperes(more: str, word: str) -> None:
    amplifier = FEED.format(to="amplifier") + 'current = "25 A"\n'
    made = job(*PLACES, more, amplifier, radio="", vehicle='system = "24 V"')
    said = next(each for each in cw.feed(made.build()).verdicts if each.id == "feed.system")
    assert said.severity is Severity.STOP
    assert word in said.text


# --- At the door ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("system", "text"),
    [
        ("6 V", 'output = "13.6 V"'),
        ("12 V", 'kind = "step-down"\noutput = "19 V"'),
        ("24 V", 'kind = "step-up"\noutput = "13.6 V"'),
    ],
)
def test_a_converter_the_wrong_way_round_is_refused(system: str, text: str) -> None:
    made = job(*PLACES, f"[converter]\n{text}\n", radio="", vehicle=f'system = "{system}"')
    with pytest.raises(JobError, match=r"converter\.output: found 1.* converter gives"):
        made.build()


@pytest.mark.parametrize(("kind", "system"), [("step-up", "6 V"), ("isolated", "6 V")])
def test_one_that_may_give_more_is_none(kind: str, system: str) -> None:
    text = f'[converter]\nkind = "{kind}"\noutput = "13.6 V"\nrated_current = "5 A"\n'
    made = job(*PLACES, text, radio="", vehicle=f'system = "{system}"')
    assert made.build().converter is not None


@pytest.mark.parametrize(
    ("vehicle", "radio", "more", "path", "word"),
    [
        ('system = "24 V"', 'supply = "13.8 V"', "", "head_unit.supply", "converter"),
        (
            'system = "6 V"\nbattery = { rest_voltage = "25 V" }',
            "",
            "",
            REST := "vehicle.battery.rest_voltage",
            "On 6 V",
        ),
        ('battery = { rest_voltage = "25 V" }', "", "", REST, "vehicle.system"),
        ('system = "6 V"', 'supply = "27.5 V"', "", "head_unit.supply", "On 6 V"),
        (
            'system = "24 V"',
            "",
            '[converter]\nrated_current = "0.8 A"\n',
            "converter.rated_current",
            "pressed hard",
        ),
        (
            'system = "24 V"',
            'supply = "27 V"',
            '[converter]\nrated_current = "9 A"\n',
            "head_unit.supply",
            "Behind a converter",
        ),
    ],
)
def test_volts_of_another_system_are_asked_back(
    vehicle: str, radio: str, more: str, path: str, word: str
) -> None:
    made = job(*PLACES, more, radio=radio, vehicle=vehicle)
    found = [doubt for doubt in made.doubts if doubt.path == path]
    assert len(found) == 1
    assert word in found[0].text


@pytest.mark.parametrize("system", ["6 V", "12 V", "24 V"])
def test_the_volts_of_its_own_system_are_not(system: str) -> None:
    rest, supply = {"6 V": (6.2, 7.0), "12 V": (12.4, 13.9), "24 V": (25.0, 27.8)}[system]
    made = job(
        *PLACES,
        radio=f'supply = "{supply} V"',
        vehicle=f'system = "{system}"\nbattery = {{ rest_voltage = "{rest} V" }}',
    )
    assert [doubt.path for doubt in made.doubts] == ["front.cable.resistance"]
