"""What a plan takes: reckoned from what it changes, and the same wherever it is told."""

import csv
import io
import re
from functools import cache
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from workbench import DOOR, channel, job, location

import conewright as cw
from conewright.data_files import data_rows
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.document.bench import PartKind, Per
from conewright.job.document.fault_names import CHANNEL_FAULTS, PLACE_FAULTS, VEHICLE_FAULTS
from conewright.job.text.parsing import from_dict
from conewright.papers.press.answers import Answers
from conewright.papers.press.manifest import Sum
from conewright.papers.work.bill import csv_text
from conewright.papers.work.job_sheet import sheet_data
from conewright.papers.work.parts_sheet import bill_of, parts_data
from conewright.stages.common.changes import changes
from conewright.stages.common.circuit import Circuit, Solver
from conewright.stages.compare.stage import compare
from conewright.stages.feed.components import RESERVE
from conewright.stages.feed.stage import feed
from conewright.stages.find.faults import trade
from conewright.stages.outlay.amounts import NOTHING, Amount, amount_of, in_step
from conewright.stages.outlay.reckoning import Outlay, outlay
from conewright.stages.report.care import restraint_gate
from conewright.stages.report.data import Report, Severity
from conewright.views.numbers import money
from conewright.web.frame.comparison import comparison

DOORS = (
    '[job]\nhour_rate = 40\ncurrency = "EUR"\n',
    '[[feed]]\nid = "own"\nto = "radio"\nfuse = "10 A"\nfuse_distance = "100 mm"\n'
    'length = "2 m"\nsize = "2.5 mm2"\nmetal = "copper"\n',
    '[[feed]]\nid = "boost"\nto = "amplifier"\nfuse = "30 A"\nfuse_distance = "200 mm"\n'
    'length = "5 m"\nsize = "10 mm2"\nmetal = "copper"\ncurrent = "30 A"\n',
    location("left", "F165", kind="door", more=DOOR),
    location("right", "F165", kind="door", at='["0.9 m", "-0.8 m", "0.3 m"]', more=DOOR),
    location("dash", "P77", kind="dash"),
    '[[driver]]\nid = "other"\nsize = "165 mm"\nre = "3.3 ohm"\nprice = 70\n',
    '[[driver]]\nid = "unpriced"\nsize = "165 mm"\nre = "3.5 ohm"\n',
    channel("front-left", "left | (4.7 uF + dash)"),
    channel("front-right", "right", cable="0.3 ohm"),
)
RADIO = 'supply = "13.8 V"\ncarries = ["factory-amplifier"]\nminimum_load = "4 ohm"'


@cache
def found() -> Job:
    return job(*DOORS, radio=RADIO)


def planned(changes: dict[str, object], **more: object) -> Job:
    """The doors with one proposal, `plan`."""
    proposal = {"id": "plan", "set": changes, **more}
    return from_dict(found().to_dict() | {"proposal": [proposal]})


def taken(changes: dict[str, object], **more: object) -> Outlay:
    return outlay(planned(changes, **more).build("plan"))


def items(of: Outlay) -> dict[str, float]:
    return {
        line.item: line.quantity for line in of.lines if line.kind not in ("work", "contingency")
    }


def steps(of: Outlay) -> list[str]:
    return [step.id for step in of.steps]


# --- The same wherever it is told ---------------------------------------------------------------


def told_by_csv(of: Outlay) -> tuple[Amount, Amount]:
    """Return hours and total as the CSV has them."""
    rows = list(csv.DictReader(io.StringIO(csv_text(of), newline="")))
    ends = ("low", "typical", "high")
    total = Amount(*(float(rows[-1][f"cost_{end}"]) for end in ends))
    spent = [row for row in rows if row["kind"] in ("work", "hours")]
    if not spent:
        return NOTHING, total
    low, high = re.findall(r"[\d.]+", spent[0]["note"])
    return Amount(float(low), float(spent[0]["quantity"]), float(high)), total


def near(one: Amount, other: Amount, *, within: float) -> bool:
    ends = ((one.low, other.low), (one.typical, other.typical), (one.high, other.high))
    return all(abs(a - b) <= within * (1 + 1e-9) for a, b in ends)


def hold_alike(build: Build, compared: Report, of: Outlay) -> None:
    """Hold that quote, CSV, comparison and manifest tell the outlay of a build."""
    answers = Answers(build)
    hours, total = told_by_csv(bill_of(answers).taken)
    assert near(total, of.total, within=0.005)
    assert near(hours, of.hours, within=0.05)
    sheet = parts_data(answers, bill_of(answers))
    for end in ("low", "typical", "high"):
        assert sheet["hours"][end] == f"{getattr(of.hours, end):.1f}"
        whole = money(getattr(of.total, end), highest=of.total.high)
        assert sheet["sums"]["total"][end] == whole
    for name, amount in (("cost", of.total), ("hours", of.hours)):
        figure = compared.figure(f"{build.id}.{name}")
        ends = (figure.low, figure.value, figure.high)
        assert ends == pytest.approx((amount.low, amount.typical, amount.high), abs=1e-9)
    chosen = f"Chosen from {of.chosen_from}" if of.chosen_from else ""
    assert sheet["chosen_from"] == chosen
    assert csv_text(of).count(chosen[1:]) == 1 or not chosen
    assert Sum.of(of.total, "EUR").typical == pytest.approx(of.total.typical, abs=0.005)


def hold_page(job: Job, compared: Report) -> None:
    """Hold that the page side by side has the money and hours of every build."""
    shown = comparison(job, compared, {})
    rows = {row.title: row.cells for row in shown.rows}
    # What only mends is compared before it is a plan of the job.
    written = {"as-found", *(proposal.id for proposal in job.proposals)}
    for column, cost, hours in zip(shown.columns, rows["Cost"], rows["Work"], strict=True):
        if column.id not in written:
            continue
        of = outlay(job.build(column.id))
        assert cost is not None
        assert hours is not None
        assert float(cost.number) == pytest.approx(of.total.typical, abs=0.5)
        assert float(hours.number) == pytest.approx(of.hours.typical, abs=0.051)


FILES = Path(__file__).parents[2].joinpath("examples").glob("*.toml")
EXAMPLES = {"demo": cw.demo_text(), "starter": cw.starter_text()} | {
    file.stem: text for file in sorted(FILES) if "[[proposal]]" in (text := file.read_text())
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_tells_one_price_and_one_clock(name: str) -> None:
    example = cw.loads(EXAMPLES[name])
    compared = compare(example, samples=2)
    assert example.proposals
    for proposal in example.proposals:
        build = example.build(proposal.id)
        hold_alike(build, compared, outlay(build))
    hold_page(example, compared)


def test_the_job_sheet_tells_the_hours_of_the_quote() -> None:
    build = cw.demo_job().build("slim-fronts")
    answers, of = Answers(build), outlay(build)
    sheet = sheet_data(answers)
    assert sheet["hours"] == parts_data(answers, bill_of(answers))["hours"]
    assert sheet["hours"]["typical"] == f"{of.hours.typical:.1f}" == "2.5"
    assert sheet["minutes"]["typical"] == pytest.approx(60 * of.reckoned.typical)
    assert [step["title"] for step in sheet["steps"]] == [step.title for step in of.steps]
    assert "steps add up to 3.17 h" in sheet["told_hours"]


fields = st.fixed_dictionaries(
    {},
    optional={
        "left.driver": st.sampled_from(["F165", "other", "unpriced"]),
        "right.driver": st.sampled_from(["F165", "other"]),
        "?e*t.mount.ring": st.booleans(),
        "left.mount.spacer": st.sampled_from(["0 mm", "10 mm", "12 mm"]),
        "left.cavity.cover": st.sampled_from(["none", "film"]),
        "front-left.load": st.sampled_from(
            [
                "left | (4.7 uF + dash)",
                "left",
                "4.7 ohm + left | (10 uF + dash)",
                "0.5 mH + left | (4.7 uF + dash)",
                "left | (4.7 uF + 2.2 ohm + dash)",
            ]
        ),
        "front-right.load": st.sampled_from(["right", "-right", "right | 10 ohm"]),
        "front-right.cable.resistance": st.sampled_from(["0.3 ohm", "0.1 ohm"]),
        "front-*.high_pass": st.sampled_from(["off", "80 Hz"]),
        "front-left.gain": st.sampled_from(["0 dB", "-3 dB"]),
        "own.fuse": st.sampled_from(["10 A", "15 A"]),
        "own.fuse_distance": st.sampled_from(["100 mm", "50 mm"]),
        "boost.size": st.sampled_from(["10 mm2", "16 mm2"]),
        "boost.price": st.sampled_from([90, 140]),
        "head_unit.name": st.sampled_from(["invented radio", "another radio"]),
        "head_unit.price": st.integers(40, 300),
        "head_unit.minimum_load": st.sampled_from(["4 ohm", "2 ohm"]),
        "head_unit.feed_resistance": st.just("0.05 ohm"),
        "head_unit.carries": st.sampled_from([["factory-amplifier"], []]),
    },
)
written = st.fixed_dictionaries(
    {},
    optional={
        "hours": st.integers(1, 9),
        "extra_cost": st.integers(0, 200),
        "mends": st.lists(
            st.sampled_from(
                [
                    *("coil-open@left", "surround-torn@left", "panel-open@right"),
                    *("capacitor-dried@dash", "reversed@right", "wire-broken@front-left"),
                    *("channel-dead@front-right", "supply-sag@vehicle", "settings@vehicle"),
                ]
            ),
            max_size=3,
        ),
        "catalogue": st.just("invented, version 2, sha256 0123456789ab"),
        "buy": st.lists(
            st.builds(
                lambda kind, name, count, **more: {
                    "part": "Supplier 1 X-1",
                    "kind": kind,
                    "name": name,
                    "count": count,
                    **more,
                },
                kind=st.sampled_from(get_args(PartKind)),
                name=st.sampled_from(["plain", "4.7 uF", "16 mm2", "15 A", "another radio"]),
                count=st.sampled_from([0.5, 1, 2, 4]),
                price=st.sampled_from([0, 3, 70]),
                per=st.sampled_from(get_args(Per)),
                currency=st.sampled_from(["EUR", "USD"]),
            ),
            max_size=4,
        ),
    },
)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(changed=fields, more=written, rate=st.sampled_from([None, 40]))
def test_random_plans_tell_one_price_and_one_clock(
    changed: dict[str, object], more: dict[str, object], rate: int | None
) -> None:
    assume(changed or more.get("mends"))  # a plan that does nothing is refused
    raw = planned(changed, **more).to_dict()
    about = {name: value for name, value in raw["job"].items() if name != "hour_rate"}
    raw["job"] = about if rate is None else about | {"hour_rate": rate}
    made = from_dict(raw)
    build, compared = made.build("plan"), compare(made, samples=2)
    of = outlay(build)
    hold_alike(build, compared, of)
    hold_page(made, compared)
    # Work where anything changes, and nothing but what is written where nothing does.
    assert (of.reckoned.typical > 0.0) is changes(build).any
    assert of.hours.typical == pytest.approx(more.get("hours", of.reckoned.typical))
    assert of.total.low <= of.total.typical <= of.total.high
    assert of.total.typical == pytest.approx(sum(line.cost.typical for line in of.lines))
    besides = sum(of.sum_of(kind).typical for kind in ("radio", "material"))
    assert besides == pytest.approx(max(of.computed, float(str(more.get("extra_cost", 0.0)))))


# --- What a plan mends --------------------------------------------------------------------------


def at_of(fault: str) -> str:
    """Where the demo may have a fault."""
    if fault in VEHICLE_FAULTS:
        return "vehicle"
    if fault in CHANNEL_FAULTS:
        return "front-left"
    return "pillar-fl" if fault in ("tweeter-open", "capacitor-dried") else "door-fl"


FAULTS = [f"{name}@{at_of(name)}" for name in (*PLACE_FAULTS, *CHANNEL_FAULTS, *VEHICLE_FAULTS)]


def mending(*mends: str, found: tuple[str, ...] = (), **more: object) -> Build:
    """The demo with one plan that mends faults; `found` are those taken as established."""
    raw = cw.demo_job().to_dict()
    findings = [dict(zip(("fault", "at"), each.split("@"), strict=True)) for each in found]
    plan = {"id": "mend", "mends": [*mends], **more}
    return from_dict(raw | {"finding": findings, "proposal": [plan]}).build("mend")


@cache
def every_mend() -> tuple[Job, Report]:
    """The demo with a plan for each fault, and the comparison of them all."""
    plans = [{"id": fault.replace("@", "-at-"), "mends": [fault]} for fault in FAULTS]
    made = from_dict(cw.demo_job().to_dict() | {"proposal": plans})
    return made, compare(made, samples=2)


@cache
def found_in_demo() -> Report:
    return Answers(cw.demo_job().build()).find


@pytest.mark.parametrize("fault", FAULTS)
def test_what_a_plan_only_mends_is_work_and_told_alike_everywhere(fault: str) -> None:
    made, compared = every_mend()
    build = made.build(fault.replace("@", "-at-"))
    of = outlay(build)
    assert of.reckoned.low > 0.5
    assert of.total.typical > 20.0
    assert of.unpriced == ()
    hold_alike(build, compared, of)
    answers = Answers(build)
    vars(answers)["find"] = found_in_demo()
    sheet = sheet_data(answers)
    assert sheet["hours"] == parts_data(answers, bill_of(answers))["hours"]
    assert sheet["minutes"]["typical"] == pytest.approx(60 * of.hours.typical)
    # The repair stands at one step of its own, with minutes.
    name = fault.partition("@")[0]
    told = [s for s in sheet["steps"] if any(trade.fault(name).repair in e for e in s["expect"])]
    assert [step["minutes"]["low"] > 0.0 for step in told] == [True]
    assert {"before", "power-up", "prove"} <= {step.id for step in of.steps}


def test_the_page_has_every_plan_that_only_mends() -> None:
    hold_page(*every_mend())


# One fault each: what is bought, and the steps between the readings.
MENDED: list[tuple[str, dict[str, float], list[str]]] = [
    ("surround-torn@left", {"clip": 3, "felt": 0.5, "surround": 1}, ["surround"]),
    ("lead-intermittent@left", {"clip": 3, "felt": 0.5, "bench": 1}, ["bench"]),
    ("trim-rattle@left", {"clip": 3, "felt": 1.5}, ["quiet"]),
    ("reversed@left", {"clip": 3, "felt": 0.5, "crimp": 2, "sleeve": 0.08}, ["turn"]),
    (
        "capacitor-dried@dash",
        {"clip": 3, "felt": 0.5, "capacitor": 1, "crimp": 2, "sleeve": 0.08},
        ["capacitor"],
    ),
    ("wire-broken@front-left", {"crimp": 2, "sleeve": 0.08}, ["boot", "wire"]),
    ("joint-corroded@front-right", {"crimp": 2, "sleeve": 0.08}, ["joint-renewed"]),
    ("channel-dead@front-left", {"head_unit": 1}, ["radio-replaced"]),
    ("supply-sag@vehicle", {"crimp": 2, "sleeve": 0.08}, ["joint"]),
    ("settings@vehicle", {}, ["reset"]),
]


@pytest.mark.parametrize(("fault", "bought", "between"), MENDED, ids=lambda each: str(each))
@pytest.mark.parametrize("stands", [False, True], ids=["suspected", "found"])
def test_each_mend_has_its_parts_and_its_steps(
    fault: str, bought: dict[str, float], between: list[str], *, stands: bool
) -> None:
    raw = planned({}, mends=[fault]).to_dict()
    name, at = fault.split("@")
    raw["finding"] = [{"fault": name, "at": at}] if stands else []
    of = outlay(from_dict(raw).build("plan"))
    around = {"note", "before", "power-up", "set", "prove"}
    around |= {"battery-off", "open", "battery-on", "close"}
    assert items(of) == pytest.approx(bought)
    assert [id for id in steps(of) if id not in around] == between


def test_a_driver_is_replaced_by_one_of_its_size_at_the_usual_price() -> None:
    of = outlay(mending("coil-open@door-fl"))
    (driver,) = (line for line in of.lines if line.kind == "driver")
    # the row of 130 mm
    assert driver.cost == Amount(12, 30, 90)
    assert driver.title.endswith("or another of its size and ohms")
    assert {"offer-up", "driver", "open", "close"} <= set(steps(of))


def test_nothing_is_done_twice_for_two_faults_of_one_driver() -> None:
    one = outlay(mending("coil-open@door-fl"))
    both = outlay(mending("surround-torn@door-fl", "coil-open@door-fl", "mount-loose@door-fl"))
    assert (both.total, both.hours) == (one.total, one.hours)
    assert set(both.changed.mended.values()) == {"new-driver"}
    again = outlay(mending("coil-open@door-fl", "coil-open@door-fl"))
    assert again.total == one.total


def test_what_a_change_ends_is_not_mended_as_well() -> None:
    change: dict[str, object] = {"door-fl.driver": "slim-130"}
    assert (
        outlay(mending("coil-open@door-fl", set=change)).total == outlay(mending(set=change)).total
    )


def test_a_dried_capacitor_is_renewed_on_both_sides() -> None:
    of = outlay(mending("capacitor-dried@pillar-fl"))
    assert items(of)["capacitor"] == 2
    assert of.changed.opened == ("pillar-fl", "pillar-fr")


def test_a_capacitor_that_nobody_wrote_is_named_among_what_has_no_price() -> None:
    told = outlay(planned({}, mends=["capacitor-dried@right"]).build("plan")).unpriced
    assert told == ("the capacitor before right: write it into the load of its channel",)


def test_an_open_panel_is_filmed_as_wide_as_it_was_found() -> None:
    fault = "panel-open@side-rl"
    assert items(outlay(mending(fault, found=(fault,))))["film"] > 0.0


@pytest.mark.parametrize("fault", ["panel-open@door-fl", "coil-open@door-fl"])
def test_what_lies_in_a_door_with_a_pressure_sensor_stops(fault: str) -> None:
    raw = mending(fault, found=(fault,)).job.to_dict()
    raw["vehicle"]["restraints"] = {"curtain": "none", "door_sensor": "pressure"}
    gate = restraint_gate(from_dict(raw).build("mend"))
    assert [verdict.severity for verdict in gate] == [Severity.STOP]
    # a wire is mended at the boot
    raw["proposal"][0]["mends"] = ["wire-broken@front-left"]
    assert restraint_gate(from_dict(raw).build("mend")) == ()


def test_what_a_plan_leaves_unmended_is_named_on_the_job_sheet() -> None:
    found = ("surround-torn@door-fl", "trim-rattle@door-fr")
    answers = Answers(mending("surround-torn@door-fl", found=found))
    vars(answers)["find"] = found_in_demo()
    title = trade.fault("trim-rattle").title
    left, twin = sheet_data(answers)["left"]
    assert left == f"Left as it is: front right door: {title}"
    assert twin.startswith("door-fr: the other side, as old and left as it is")


# --- What a plan leaves costs nothing ------------------------------------------------------------


def test_what_is_set_to_what_it_was_costs_nothing() -> None:
    same: dict[str, object] = {
        "left.driver": "F165",
        "left.mount.ring": True,
        "front-left.load": "left | (4.7 uF + dash)",
        "own.fuse": "10 A",
        "boost.size": "10 mm2",
        "head_unit.name": "invented radio",
        "head_unit.minimum_load": "4 ohm",
        "head_unit.carries": ["factory-amplifier"],
        "front-right.cable.resistance": "0.3 ohm",
    }
    of = taken(same)
    assert (of.total, of.hours, of.lines) == (NOTHING, NOTHING, ())


# One field for each kind of change: what it buys, and the steps between the readings.
ONE_BY_ONE: list[tuple[dict[str, object], dict[str, float], list[str]]] = [
    ({"own.fuse": "15 A"}, {"blade": 1}, ["battery-off", "fuse", "battery-on"]),
    ({"own.fuse_distance": "50 mm"}, {"fuse": 1}, ["battery-off", "fuse", "battery-on"]),
    (
        {"boost.size": "16 mm2"},
        {"cable": 5.0, "fuse": 1, "grommet": 2},
        ["battery-off", "cable", "battery-on"],
    ),
    ({"boost.price": 90}, {"amplifier": 1}, ["battery-off", "amplifier", "battery-on"]),
    (
        {"head_unit.name": "another"},
        {"head_unit": 1, "radio-leads": 1},
        ["battery-off", "radio", "battery-on"],
    ),
    (
        {"head_unit.carries": []},
        {"bypass": 1},
        ["battery-off", "bypass", "battery-on"],
    ),
    (
        {"head_unit.feed_resistance": "0.05 ohm"},
        {"crimp": 2, "sleeve": 0.08},
        ["battery-off", "joint", "battery-on"],
    ),
    ({"front-right.cable.resistance": "0.1 ohm"}, {"crimp": 2, "sleeve": 0.08}, ["wire"]),
    (
        {"front-left.load": "left | (10 uF + dash)"},
        {"capacitor": 1, "crimp": 2, "sleeve": 0.08},
        ["parts"],
    ),
    (
        {"left.mount.ring": False},
        {"clip": 3, "felt": 0.5},
        ["battery-off", "open", "battery-on", "close"],
    ),
    (
        {"F165.re": "3.3 ohm"},
        {"clip": 5, "felt": 1.0, "surround": 2},
        ["battery-off", "open", "repair", "battery-on", "close"],
    ),
]


@pytest.mark.parametrize(
    ("changed", "bought", "between"), ONE_BY_ONE, ids=lambda each: next(iter(each))
)
def test_each_kind_of_change_has_its_parts_and_its_steps(
    changed: dict[str, object], bought: dict[str, float], between: list[str]
) -> None:
    of = taken(changed)
    always = {"note", "before", "power-up", "set", "prove"}
    assert items(of) == pytest.approx(bought)
    assert [id for id in steps(of) if id not in always] == between
    assert of.hours.typical > 0.5


def test_a_filter_is_set_at_its_channel() -> None:
    of = taken({"front-left.high_pass": "80 Hz"})
    assert items(of) == {}
    assert next(step.subjects for step in of.steps if step.id == "filter") == ("front-left",)


# --- The radio ----------------------------------------------------------------------------------


def test_a_radio_swap_is_never_free() -> None:
    # the table of usual prices: 45 / 110 / 300; steps of the whole job by hand, in minutes:
    # 5 + 15 + 3 + 35 + 3 + 15 + 10 + 20
    of = taken({"head_unit.name": "another", "head_unit.minimum_load": "2 ohm"})
    radio = next(line for line in of.lines if line.kind == "radio")
    assert radio.cost == Amount(45, 110, 300)
    assert "typical price" in radio.note
    assert of.hours.typical == pytest.approx(106 / 60)
    assert of.sum_of("work").typical == pytest.approx(40 * 106 / 60)


def test_a_written_price_of_the_radio_stands_and_is_a_swap_by_itself() -> None:
    of = taken({"head_unit.price": 85})
    radio = next(line for line in of.lines if line.kind == "radio")
    assert (radio.cost, radio.source) == (Amount(85, 85, 85), "the job's price")
    assert "radio" in steps(of)


def test_material_that_is_written_covers_a_radio_and_is_not_counted_twice() -> None:
    more = taken({"head_unit.price": 85}, extra_cost=150)
    assert more.sum_of("radio").typical + more.sum_of("material").typical == pytest.approx(150)
    less = taken({"head_unit.price": 85}, extra_cost=20)
    # 85 and the leads, 18
    assert less.computed == pytest.approx(103)
    assert less.material == 20
    assert "other material" not in {line.title for line in less.lines}


def test_hours_that_are_written_stand_and_the_others_are_told() -> None:
    of = taken({"head_unit.price": 85}, hours=3)
    assert of.hours.typical == 3
    assert of.reckoned.typical == pytest.approx(106 / 60)
    assert of.told_hours == "the proposal writes 3 h of work, its steps add up to 1.77 h"
    # with the spread that the steps have
    share = of.reckoned.high / of.reckoned.typical
    assert of.hours.high == pytest.approx(3 * share)
    assert taken({"head_unit.price": 85}).told_hours == ""


# --- Drivers ------------------------------------------------------------------------------------


def test_one_driver_of_a_pair_costs_the_pair() -> None:
    of = taken({"left.driver": "other"})
    (driver,) = (line for line in of.lines if line.kind == "driver")
    assert (driver.quantity, driver.unit, driver.cost.typical) == (1, "pair", 70)


def test_a_driver_of_no_usual_size_and_no_price_is_named() -> None:
    raw = found().to_dict() | {"proposal": [{"id": "plan", "set": {"left.driver": "huge"}}]}
    raw["driver"] = list(raw["driver"])
    huge = {"re": "3 ohm", "fs": "30 Hz", "qes": 0.5, "qms": 5, "vas": "60 L", "sd": "480 cm2"}
    rest = {"le": "1 mH", "xmax": "5 mm", "power": "80 W"}
    raw["driver"].append({"id": "huge", **huge, **rest})
    of = outlay(from_dict(raw).build("plan"))
    assert of.unpriced == ("huge: give driver[huge].price",)


# --- Parts by value -----------------------------------------------------------------------------


def test_a_resistor_has_its_watts_from_the_heat_that_feed_finds() -> None:
    made = planned({"front-right.load": "4.7 ohm + right"})
    build = made.build("plan")
    report = feed(build)
    heat = report.figure("front-right.resistor_1_heat").value
    assert heat is not None
    part = next(line for line in outlay(build).lines if line.item == "resistor")
    watts = float(re.findall(r", ([\d.]+) W", part.title)[0])
    rows = [row for row in data_rows("stages.feed", "ratings.csv") if row["kind"] == "resistor"]
    usual = [float(row["rating"]) for row in rows]
    assert watts == min(rating for rating in usual if rating >= RESERVE["resistor"] * heat)
    assert part.note.startswith("front-right: it turns")
    said = next(each for each in report.verdicts if each.id == "front-right.resistor_1")
    assert "of the channel's power that no loudspeaker gets" in said.text
    assert f"take one of {watts:g} W" in said.text


def test_equal_parts_stand_in_one_line() -> None:
    of = taken({"front-right.load": "right | 10 ohm | 10 ohm"})
    (line,) = (each for each in of.lines if each.item == "resistor")
    assert line.quantity == 2


def test_a_part_that_was_there_is_not_bought_again() -> None:
    of = taken({"front-left.load": "4.7 uF + dash | left"})
    assert "capacitor" not in items(of)


def test_no_circuit_is_solved_for_a_plan_that_buys_no_parts_by_value(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    solved: list[str] = []
    real = Solver.solve

    def counted(self: Solver, build: Build, *, hot: bool = False) -> Circuit:
        solved.append(build.id)
        return real(self, build, hot=hot)

    monkeypatch.setattr(Solver, "solve", counted)
    taken({"left.driver": "other", "head_unit.price": 85, "boost.size": "16 mm2"})
    assert solved == []
    taken({"front-right.load": "4.7 ohm + right"})
    assert solved == ["plan"]


# --- The tables ---------------------------------------------------------------------------------


def test_every_kind_of_the_tables_is_one_that_plans_make() -> None:
    kinds = {"always", *changes(planned({"left.mount.ring": True}).build("plan")).by_kind}
    for name in ("work.csv", "surprises.csv"):
        assert {row["when"] for row in data_rows("stages.outlay", name)} <= kinds


def test_every_fault_that_can_be_found_is_mended_by_steps_of_the_work() -> None:
    rows = data_rows("stages.common", "mends.csv")
    assert {row["fault"] for row in rows} == {*PLACE_FAULTS, *CHANNEL_FAULTS, *VEHICLE_FAULTS}
    work = {row["when"] for row in data_rows("stages.outlay", "work.csv")}
    assert {row["kind"] for row in rows} <= work


def test_minutes_and_prices_rise_from_low_to_high() -> None:
    for row in data_rows("stages.outlay", "work.csv"):
        for text in filter(None, (row["minutes"], row["again"])):
            amount = amount_of(text)
            assert 0.0 < amount.low < amount.typical < amount.high, row["step"]
    for row in data_rows("stages.feed", "ratings.csv"):
        amount = amount_of(row)
        assert 0.0 < amount.low < amount.typical < amount.high


def test_the_first_trim_takes_longer_than_the_next() -> None:
    of = taken({"left.mount.ring": False, "right.mount.ring": False})
    minutes = next(step.minutes for step in of.steps if step.id == "open")
    assert minutes == in_step((Amount(12, 20, 35), Amount(10, 15, 30)))
