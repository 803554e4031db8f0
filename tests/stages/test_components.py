"""What parts by value bear: held against closed forms and the balance of power."""

from math import sqrt

import pytest
from workbench import channel, job, location

from conewright.data_files import data_rows
from conewright.job.builds.draws import draw
from conewright.job.builds.states.build import Build
from conewright.job.text.parsing import from_dict
from conewright.physics.basics import bands
from conewright.stages.common.circuit import Solver
from conewright.stages.common.load import HARD, RadioLoad, radio_load
from conewright.stages.feed.components import RESERVE, PartBurden, burdens
from conewright.stages.feed.stage import feed
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Severity


def build(load: str, *, supply: str = "14.4 V") -> Build:
    radio = f'supply = "{supply}"\noutput_resistance = "0.1 ohm"\nclip_loss = "0.35 ohm"'
    return job(location("door", "F165"), channel("front", load), radio=radio).build()


def solved(load: str) -> tuple[RadioLoad, tuple[PartBurden, ...]]:
    made = build(load)
    asked = radio_load(made, Solver(draw(made.axes, samples=1), bands.fine_grid()))
    return asked, burdens(asked)


def test_a_resistor_across_the_pair_takes_what_ohms_law_says() -> None:
    load, (found,) = solved("door | 10 ohm")
    peak = float(load.programme_ceiling(load.channels["front"])[0, 0])
    # closed form: a third of the sine's V^2 / 2 R
    assert found.borne[0, 0] == pytest.approx(HARD * peak**2 / 2 / 10)
    assert pytest.approx(1 / 3) == HARD


@pytest.mark.parametrize(
    "load", ["4.7 ohm + door", "door | 10 ohm", "4.7 ohm + door | 4.7 ohm + 8 ohm"]
)
def test_driver_and_resistors_take_all_of_the_power(load: str) -> None:
    asked, found = solved(load)
    parts = sum(float(each.share[0, 0]) for each in found)
    assert parts + float(asked.power_share("door")[0, 0]) == pytest.approx(1.0, rel=1e-9)
    assert 0.0 < parts < 1.0


def test_equal_resistors_in_series_share_alike() -> None:
    _, (one, other) = solved("4.7 ohm + 4.7 ohm + door")
    assert one.borne[0, 0] == pytest.approx(other.borne[0, 0])
    assert (one.name, other.name) == ("resistor_1", "resistor_2")


def test_a_series_coil_carries_the_current_of_its_load() -> None:
    load, (coil,) = solved("0.5 mH + door")
    front = load.channels["front"]
    peak = float(load.programme_ceiling(front)[0, 0])
    same_current = float(front.equivalent_resistance[0, 0])
    assert coil.borne[0, 0] == pytest.approx(peak * sqrt(HARD / 2) / same_current)


def test_a_capacitor_before_a_resistor_holds_off_the_bass() -> None:
    load, (part, _) = solved("door | 4.7 uF + 8 ohm")
    peak = float(load.programme_ceiling(load.channels["front"])[0, 0])
    # closed form: at 20 Hz 1 / sqrt(1 + (2 pi 20 x 8 ohm x 4.7 uF)^2) of the volts, all but 1e-5
    assert part.borne[0, 0] == pytest.approx(peak, rel=2e-5)


def test_a_capacitor_that_rings_with_its_driver_sees_more_than_the_radio_gives() -> None:
    load, (part,) = solved("4.7 uF + door")
    peak = float(load.programme_ceiling(load.channels["front"])[0, 0])
    assert part.borne[0, 0] > 1.05 * peak


def test_the_next_usual_rating_with_the_reserve_is_told() -> None:
    _, (found,) = solved("2.2 ohm + door")
    rating = found.rating
    assert rating is not None
    usual = [
        float(row["rating"])
        for row in data_rows("stages.feed", "ratings.csv")
        if row["kind"] == "resistor"
    ]
    assert usual == sorted(usual)
    assert rating.rating == min(
        each for each in usual if each >= RESERVE["resistor"] * found.borne[0, 0]
    )
    assert found.title == f"2.2 Ω resistor, {rating.rating:g} W"


def test_a_resistor_that_is_there_is_told_and_a_capacitor_that_is_there_is_not() -> None:
    made = build("2.2 ohm + door")
    told = {each.id: each for each in feed(made, samples=2).verdicts}
    said = told["front.resistor_1"]
    assert said.severity is Severity.NOTE
    assert said.figures == ("front.resistor_1_heat", "front.resistor_1_share")
    assert "that no loudspeaker gets" in said.text
    report = feed(build("4.7 uF + door"), samples=2)
    assert "front.capacitor_1" not in {each.id for each in report.verdicts}
    assert report.figure("front.capacitor_1_volts").unit == "V"


def test_what_no_usual_part_bears_is_warned_of() -> None:
    # on the 28 V of a lorry, for which no 12 V radio is made, near 100 W of heat
    made = build("door | 0.3 ohm", supply="28 V")
    told = {each.id: each for each in feed(made, samples=2).verdicts}
    said = told["front.resistor_1"]
    assert said.severity is Severity.WARN
    assert "write another load" in said.text


@pytest.mark.parametrize(
    ("load", "severity", "says"),
    [
        # Closed form, as above: 10 ohm across the pair turn V^2 / 6 R into heat, some 3 W.
        ("door | 10 ohm 2 W", Severity.WARN, "its 2 W are less than that: take one of 10 W"),
        ("door | 10 ohm 4 W", Severity.NOTE, "its 4 W are hardly more than that"),
        # A usual one of 10 W is none of those at hand; who wrote 20 W has it in his hand.
        ("door | 10 ohm", Severity.WARN, "take one of 10 W"),
        ("door | 10 ohm 20 W", Severity.NOTE, "its 20 W bear that"),
        ("100 uF 6 V + door", Severity.WARN, "its 6 V are less than that"),
        ("100 uF 63 V + door", None, ""),
        ("100 uF + door", None, ""),
        ("0.5 mH 0.5 A + door", Severity.WARN, "its 0.5 A are less than that"),
    ],
)
def test_a_rating_that_is_written_is_the_one_that_counts(
    load: str, severity: Severity | None, says: str
) -> None:
    names = ("resistor_1", "capacitor_1", "inductor_1")
    found = [v for v in feed(build(load)).verdicts if v.id.partition(".")[2] in names]
    assert [each.severity for each in found] == ([] if severity is None else [severity])
    assert all(says in each.text for each in found)


def test_a_part_is_bought_as_it_is_written_and_one_that_is_there_is_not() -> None:
    made = job(location("door", "F165"), channel("front", "100 uF 50 V + door")).to_dict()

    def taken(load: str) -> dict[str, float]:
        plan = {"id": "plan", "set": {"front.load": load, "front.gain": "-1 dB"}}
        of = outlay(from_dict(made | {"proposal": [plan]}).build("plan"))
        return {line.title: line.quantity for line in of.lines if line.item in RESERVE}

    assert taken("100 uF 100 V + door") == {"100 µF bipolar capacitor, 100 V": 1}
    assert taken("100 uF 50 V + door") == {}
    assert taken("100 uF + door") == {}
    assert taken("100 uF + 4.7 ohm 50 W + door") == {"4.7 Ω resistor, 50 W": 1}
