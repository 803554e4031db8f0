"""An output of the radio that drives nothing, `load = "none"`, through every stage and paper."""

import pytest

import conewright as cw
from conewright.job.text.parsing import from_dict
from conewright.papers.press.answers import Answers
from conewright.papers.wiring.diagram import diagrams
from conewright.papers.wiring.flags import labels
from conewright.papers.wiring.schedule import INSULATED, schedule
from conewright.papers.work.job_sheet import places
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Severity

FRONTS = ("front-left", "front-right")
REARS = ("rear-left", "rear-right")


def front_only() -> cw.Job:
    """The demo without its rear loudspeakers: their two outputs drive nothing."""
    text = cw.demo_text()
    text = text[: text.index("[[proposal]]")]
    for load in ("side-rl | roof-rl", "side-rr | roof-rr"):
        text = text.replace(f'"{load}"', '"none"')
    job = cw.loads(text).to_dict()
    job["reading"] = [each for each in job["reading"] if each["at"] not in REARS]
    return from_dict(job)


@pytest.fixture(scope="module")
def build() -> cw.Build:
    return front_only().build()


def test_feed_asks_nothing_of_the_radio_for_an_output_that_drives_nothing(build: cw.Build) -> None:
    report, whole = cw.feed(build), cw.feed(cw.demo_job().build())
    for name in REARS:
        assert report.figure(f"{name}.minimum_impedance").text == "unused"
        said = next(each for each in report.verdicts if each.id == f"{name}.unused")
        assert said.severity is Severity.NOTE
        assert "insulated" in said.text
    # heat and current follow from the two that are used: half of what music draws is gone
    for name in ("heat", "supply_current", "supply_current_sine"):
        some, all_four = (each.figure(f"head_unit.{name}").value for each in (report, whole))
        assert some is not None
        assert all_four is not None
        assert 0.3 * all_four < some < 0.75 * all_four
    assert report.answer.startswith("The hardest load is front-")


def test_hear_is_the_two_that_play(build: cw.Build) -> None:
    report = cw.hear(build)
    level = report.figure("driver.level").value
    assert level is not None
    assert level > 60.0
    assert not any(figure.subject in REARS for figure in report.figures)


def test_find_neither_counts_it_as_silent_nor_asks_for_its_pair(build: cw.Build) -> None:
    report = cw.find(build)
    assert not any(name in figure.id for figure in report.figures for name in REARS)
    assert not any(name in verdict.text for verdict in report.verdicts for name in REARS)


def test_a_reading_of_it_is_refused_by_name() -> None:
    job = front_only().with_reading("pair-resistance", "rear-left", "3.9 ohm")
    with pytest.raises(cw.BadInputError, match="rear-left' is not connected"):
        cw.find(job.build())


def test_the_papers_show_two_insulated_ends(build: cw.Build) -> None:
    plan = schedule(build)
    rows = [row for row in plan.conductors if row.group in REARS]
    assert [row.title for row in rows] == [f"{name} {sign}" for name in REARS for sign in "+−"]
    assert {row.goes_to for row in rows} == {INSULATED}
    assert {row.proof.expected for row in rows} == {"open"}
    assert plan.unknown == ()
    drawn = {each.channel: each for each in diagrams(build, plan)}
    assert drawn["rear-left"].svg.count("insulated, tied down") == 1
    assert drawn["rear-left"].title == "rear-left: unused, each end insulated by itself"
    flags = {flag.title: flag for flag in labels(Answers(build)).pairs}
    assert flags["rear-right"].mind == "UNUSED: insulate"
    assert flags["front-left"].mind == ""
    assert [row["load"] for row in places(build) if row["channel"] in REARS] == ["none", "none"]


def test_its_pair_is_proved_by_an_open_reading() -> None:
    text = front_only().to_dict()
    for reading, state in (("open", "proved"), ("3.9 ohm", "DISAGREES")):
        lead = {"channel": "rear-left", "function": "plus", "proof": reading}
        job = from_dict(text | {"lead": [lead]})
        row = next(row for row in schedule(job.build()).conductors if row.group == "rear-left")
        assert (row.proof.found, row.proof.state) == (reading, state)


def test_a_plan_that_frees_a_pair_has_a_step_for_it_and_one_that_uses_it_another() -> None:
    steps = {}
    for name, job, load in (("free", cw.demo_job(), "none"), ("use", front_only(), "side-rl")):
        plan = {"id": name, "set": {"rear-left.load": load}}
        job = from_dict(job.to_dict() | {"proposal": [plan]})
        steps[name] = {step.id for step in outlay(job.build(name)).steps}
    assert "take-off" in steps["free"]
    assert "rewire" not in steps["free"]
    # its wires are written down as they lie in the loom
    assert "rewire" in steps["use"]
    assert "lay" not in steps["use"]


def test_a_plan_for_an_output_without_wires_lays_some() -> None:
    tables = front_only().to_dict()
    for channel in tables["channel"]:
        if channel["id"] in REARS:
            del channel["cable"]
    plan = {"id": "use", "set": {"rear-left.load": "side-rl", "rear-left.cable.length": "6 m"}}
    job = from_dict(tables | {"proposal": [plan]})
    steps = {step.id: step.subjects for step in outlay(job.build("use")).steps}
    assert steps["lay"] == ("rear-left",)


def test_no_output_drives_anything() -> None:
    text = front_only().to_dict()
    for channel in text["channel"]:
        channel["load"] = "none"
    build = from_dict(text).build()
    assert cw.feed(build).answer == "No output drives anything: each is written as unused."
    with pytest.raises(cw.BadInputError, match='found "none", "none"'):
        cw.hear(build)


def test_no_place_may_be_called_so() -> None:
    text = cw.demo_text().replace('id = "side-rl"', 'id = "none"')
    with pytest.raises(cw.JobError, match="this word is taken"):
        cw.loads(text)
