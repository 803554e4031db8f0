"""What a plan is worth: jobs as a stranger brings them, and what a good practitioner would take.

What must come is common practice, no source; it was written down before the jobs were run.
"""

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from workbench import DOOR, channel, job, location

import conewright as cw
from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads
from conewright.physics.electrics.amplifier import lowest_impedance
from conewright.stages.report.data import Report, Severity


def demo(*faults: str, complaints: tuple[str, ...] = (), **changes: Any) -> Job:
    """Return the demo job with other complaints, with faults that were found."""
    tables = cw.demo_job().to_dict()
    tables["finding"] = [
        dict(zip(("fault", "at"), each.split("@"), strict=True)) for each in faults
    ]
    tables["job"] = {**tables["job"], "complaints": list(complaints)}
    return loads(json.dumps({**tables, "reading": [], **changes}), "json")


def cure(report: Report, plan: str) -> float:
    """Return the chance of a cure of a plan that has one."""
    found = report.figure(f"{plan}.cure_odds").value
    assert found is not None
    return found


def test_the_demo_is_put_right_without_new_parts() -> None:
    report = cw.compare(cw.demo_job())
    assert report.answer.startswith("Take put-right")
    assert "within what the radio bears" in report.answer
    assert cure(report, "put-right") > 0.85
    assert cure(report, "larger-fronts") < 0.05
    assert any(verdict.id == "larger-fronts.risk" for verdict in report.verdicts)


def test_an_open_coil_is_cured_by_another_driver_and_by_mending_alone() -> None:
    report = cw.compare(demo("coil-open@door-fr", complaints=("silent-corner@front-right",)))
    assert cure(report, "slim-fronts") > 0.8
    assert cure(report, "mend") > 0.8
    assert cure(report, "put-right") < 0.1
    assert any(verdict.id == "put-right.idle" for verdict in report.verdicts)
    assert cure(report, "as-found") == 0.0


def test_mending_alone_overloads_the_radio_here_and_is_not_recommended() -> None:
    report = cw.compare(demo("coil-open@door-fr", complaints=("silent-corner@front-right",)))
    assert any(verdict.id == "mend.risk" for verdict in report.verdicts)
    assert report.answer.startswith("Take slim-fronts") or "No plan" in report.answer


def test_what_costs_more_than_is_wanted_is_not_recommended() -> None:
    wishes = {"money": 50, "bass": "matters most"}
    report = cw.compare(demo(complaints=("thin-after-change@front",), wishes=wishes))
    told = {each.subject: each.text for each in report.verdicts if each.id.endswith(".risk")}
    assert "50 is the most" in told["slim-fronts"]
    assert not report.answer.startswith("Take slim-fronts")


def test_what_may_stay_as_it_is_is_not_touched() -> None:
    report = cw.compare(demo(wishes={"may": ["polarity", "wiring", "ring"], "bass": "matters"}))
    told = {each.subject: each.text for each in report.verdicts if each.id.endswith(".risk")}
    assert "changes driver" in told["slim-fronts"]
    assert "put-right" not in told


def risks(report: Report) -> dict[str, str]:
    """Return why each build is not to be taken, of those that are not."""
    return {each.subject: each.text for each in report.verdicts if each.id.endswith(".risk")}


REAR = """[[proposal]]
id = "front-only"
set = { "front.load" = "door" }
[[proposal]]
id = "rear-only"
set = { "front.load" = "two" }
[[proposal]]
id = "both"
set = { "front.load" = "door + two" }
"""


@pytest.mark.parametrize(
    ("must", "found", "broken"),
    [
        ("rear sound", "", {"front-only"}),
        ("front sound", "", {"rear-only"}),
        ("rear sound", "coil-open@two", {"as-found", "front-only", "rear-only", "both"}),
        ("front sound", "wire-broken@front", {"as-found", "front-only", "rear-only", "both"}),
        ("front sound", "tweeter-open@three", {"rear-only"}),
    ],
)
def test_a_plan_that_leaves_an_end_of_the_cabin_silent_is_not_taken_where_it_must_play(
    must: str, found: str, broken: set[str]
) -> None:
    fault, _, at = found.partition("@")
    made = job(
        location("door", "F165-2", kind="door", more=DOOR),
        location("two", "F165", at='["-0.5 m", "0.6 m", "0.7 m"]'),
        location("three", "P77", at='["-0.5 m", "-0.6 m", "0.7 m"]'),
        channel("front", "door | two"),
        REAR,
        f'[wishes]\nmust = ["{must}"]\n',
        f'[[finding]]\nfault = "{fault}"\nat = "{at}"\n' if found else "",
        vehicle='restraints = { door_sensor = "none", curtain = "none" }',
    )
    silent = f"nothing plays at the {must.split()[0]}"
    told = risks(cw.compare(made, samples=4))
    assert {plan for plan, text in told.items() if silent in text} == broken


def test_what_nobody_knows_yet_is_not_taken_for_silent() -> None:
    made = job(
        location("door", "F165", kind="door", more=DOOR),
        location("two", "F165", at='["-0.5 m", "0.6 m", "0.7 m"]'),
        channel("front", "door"),
        channel("rear", "unknown"),
        '[wishes]\nmust = ["rear sound"]\n',
        vehicle='restraints = { door_sensor = "none", curtain = "none" }',
    )
    assert risks(cw.compare(made, samples=4)) == {}


RADIO = {"head_unit.name": "radio with a screen", "head_unit.price": 120.0}


@pytest.mark.parametrize(
    ("carries", "plan", "told"),
    [
        # Nobody looked: what is lost with the old radio is not known.
        (None, RADIO, "nobody has looked at it yet"),
        (["camera"], RADIO, "does not say that it keeps camera"),
        (["camera"], {**RADIO, "head_unit.carries": ["camera"]}, ""),
        (["camera"], {**RADIO, "head_unit.carries": ["chimes"]}, "does not keep camera"),
        # It works without the radio, or there is none.
        (["chimes"], RADIO, ""),
        ([], RADIO, ""),
        # The radio stays.
        (None, {"front-right.load": "door-fr | (4.7 uF + pillar-fr)"}, ""),
        (["camera"], {"front-right.load": "door-fr | (4.7 uF + pillar-fr)"}, ""),
    ],
)
def test_another_radio_keeps_the_camera_or_is_not_taken(
    carries: list[str] | None, plan: dict[str, Any], told: str
) -> None:
    radio = {**cw.demo_job().to_dict()["head_unit"]}
    radio.pop("carries", None)
    radio |= {} if carries is None else {"carries": carries}
    found = risks(
        cw.compare(
            demo(
                head_unit=radio,
                wishes={"must": ["camera kept"]},
                proposal=[{"id": "plan", "set": plan}],
            ),
            samples=4,
        )
    )
    assert "camera" not in found.get("as-found", "")
    assert ("camera" in found.get("plan", "")) is bool(told)
    assert told in found.get("plan", "")


@pytest.mark.parametrize(
    ("carries", "faults", "plan", "points"),
    [
        ([], (), {}, 0.0),
        (["hands-free"], (), {}, 100.0),
        (["hands-free"], ("microphone@vehicle",), {}, 0.0),
        (["hands-free"], (), RADIO, 0.0),
        ([], (), {**RADIO, "head_unit.carries": ["hands-free"]}, 100.0),
        # A radio that goes out takes its microphone with it.
        (
            ["hands-free"],
            ("microphone@vehicle",),
            {**RADIO, "head_unit.carries": ["hands-free"]},
            100.0,
        ),
    ],
)
def test_hands_free_is_worth_something_where_it_works(
    carries: list[str], faults: tuple[str, ...], plan: dict[str, Any], points: float
) -> None:
    radio = cw.demo_job().to_dict()["head_unit"] | {"carries": carries}
    made = demo(
        *faults,
        head_unit=radio,
        wishes={"hands_free": "matters"},
        proposal=[{"id": "plan", "set": plan or {"head_unit.supply": "13.9 V"}}],
    )
    assert cw.compare(made, samples=4).figure("plan.points").value == pytest.approx(points)


@pytest.mark.parametrize("goals", [{}, {"bass": ["0 dB", "4 dB"]}, {"bass": ["-12 dB", "24 dB"]}])
def test_a_goal_of_the_owner_takes_the_place_of_the_usual_one(goals: dict[str, Any]) -> None:
    """Closed form: 100 (m - floor)/(goal - floor) between 0 and 100, of the change that is told."""
    wishes = {"bass": "matters", "goals": goals}
    report = cw.compare(demo(wishes=wishes), samples=4)
    floor, goal = (float(each[:-3]) for each in goals.get("bass", ["-6 dB", "12 dB"]))
    for plan in ("as-found", "put-right", "slim-fronts"):
        change = report.figure(f"{plan}.bass_change_driver").value
        assert change is not None
        share = min(max((change - floor) / (goal - floor), 0.0), 1.0)
        assert report.figure(f"{plan}.points").value == pytest.approx(100.0 * share)


def test_what_nobody_can_promise_is_named() -> None:
    with pytest.raises(cw.JobError, match="rear sound"):
        demo(wishes={"must": ["more fun"]})
    with pytest.raises(cw.JobError, match="worth nothing comes first"):
        demo(wishes={"goals": {"bass": ["6 dB", "-6 dB"]}})


def test_loud_listening_is_a_note_of_all_and_nobodys_worst() -> None:
    report = cw.compare(cw.demo_job())
    assert [each.subject for each in report.verdicts if "noise dose" in each.text] == ["vehicle"]


def test_a_wish_for_an_unknown_seat_is_named() -> None:
    with pytest.raises(cw.JobError, match="id of a seat"):
        demo(wishes={"seat": "nowhere"})


LOADS = ("door", "two", "door | two", "door + two", "-door | two", "door | two | three")
DRIVERS = ("F165", "F165-2", "R165", "R165-27")


def invented(loads: tuple[str, ...], drivers: tuple[str, ...], rated: str) -> Job:
    """Return a job of three places on a channel, with a plan for each load and driver."""
    plans = [
        f'[[proposal]]\nid = "plan-{number}"\n[proposal.set]\n"front.load" = "{load}"\n'
        f'"door.driver" = "{driver}"\n'
        for number, (load, driver) in enumerate(zip(loads, drivers, strict=True))
    ]
    places = (
        location("door", "F165-2", kind="door", more=DOOR),
        location("two", "F165", at='["-0.5 m", "0.6 m", "0.7 m"]'),
        location("three", "P77", at='["-0.5 m", "-0.6 m", "0.7 m"]'),
    )
    return job(
        *places,
        channel("front", "door | two"),
        *plans,
        '[job]\ncomplaints = ["cuts-out-hot"]\n',
        radio=f'minimum_load = "{rated}"',
        vehicle='restraints = { door_sensor = "none", curtain = "none" }',
    )


@given(
    loads=st.lists(st.sampled_from(LOADS), min_size=2, max_size=4),
    drivers=st.lists(st.sampled_from(DRIVERS), min_size=4, max_size=4),
    rated=st.sampled_from(["2 ohm", "4 ohm"]),
)
@settings(max_examples=10, deadline=None)
def test_what_harms_the_radio_is_never_recommended(
    loads: list[str], drivers: list[str], rated: str
) -> None:
    made = invented(tuple(loads), tuple(drivers[: len(loads)]), rated)
    report = cw.compare(made, samples=4)
    if not report.answer.startswith("Take "):
        return
    plan = report.answer.removeprefix("Take ").partition(":")[0].partition(" ")[0]
    figures = {figure.name: figure.value for figure in report.figures if figure.subject == plan}
    load, bears = figures["minimum_load"], figures["rated_load"]
    assert load is not None
    assert bears is not None
    assert load >= lowest_impedance(rated=bears)
    chip = cw.feed(made.build(plan)).figure("head_unit.chip_limit").value
    assert (figures["chip_temperature"] or 0.0) <= (chip or 0.0)
    worst = next(each for each in report.verdicts if each.subject == plan)
    assert worst.severity is not Severity.STOP
