"""The vehicle from above: to scale, front up, left on the left, and told in words as well."""

import re
from itertools import pairwise

import pytest

from conewright.job.builds.job import Job
from conewright.job.text.editing import with_values
from conewright.job.text.parsing import loads
from conewright.job.text.starter import demo_text
from conewright.stages.hear.stage import hear
from conewright.web.frame.answer import places_states
from conewright.web.frame.plan import LABEL, ROW, WIDTH, Mark, Plan, State, draw_plan


def drawn(text: str = "", **more: object) -> Plan:
    job = loads(text or demo_text())
    return draw_plan(job, states={}, href=lambda id: f"/{id}", **more)  # type: ignore[arg-type]


def mark(plan: Plan, id: str) -> Mark:
    return next(each for each in plan.marks if each.id == id)


def test_front_is_up_and_left_is_left() -> None:
    plan = drawn()
    assert mark(plan, "door-fl").x < WIDTH / 2 < mark(plan, "door-fr").x
    assert mark(plan, "pillar-fl").y < mark(plan, "door-fl").y < mark(plan, "side-rl").y
    assert plan.radio[1] < mark(plan, "pillar-fl").y


def test_distances_are_to_scale() -> None:
    # Closed form: the two places are 2.55 m apart lengthwise and 0.02 m across.
    plan = drawn()
    front, rear = mark(plan, "door-fl"), mark(plan, "side-rl")
    assert rear.y - front.y == pytest.approx(2.55 * plan.metre, abs=0.2)
    assert rear.x - front.x == pytest.approx(0.02 * plan.metre, abs=0.2)


@pytest.mark.parametrize("at", [("9 m", "0 m"), ("-9 m", "3 m"), ("0.1 m", "-0.1 m")])
def test_every_place_is_inside_the_cabin_and_the_drawing(at: tuple[str, str]) -> None:
    plan = drawn(with_values(demo_text(), {"roof-rl.at.x": at[0], "roof-rl.at.y": at[1]}))
    for each in plan.marks:
        assert LABEL < each.x < WIDTH - LABEL
        assert 0.0 < each.y < plan.height
        assert 0.0 <= each.label_y <= plan.height - ROW


def test_no_label_covers_another() -> None:
    plan = drawn()
    for left in (True, False):
        starts = sorted(each.label_y for each in plan.marks if each.left is left)
        assert all(after - before >= ROW for before, after in pairwise(starts))


def test_places_in_the_middle_are_shared_out() -> None:
    values = {f"{id}.at.y": "0 m" for id in ("pillar-fl", "pillar-fr", "roof-rl", "roof-rr")}
    sides = [each.left for each in drawn(with_values(demo_text(), values)).marks]
    assert sides.count(True) == sides.count(False)


def test_a_reversed_driver_is_drawn_the_other_way_round_and_said() -> None:
    plan = drawn()
    right, left = mark(plan, "door-fr"), mark(plan, "door-fl")
    assert (right.reversed, left.reversed) == (True, False)
    # Sound goes into the cabin on both sides; reversed, it is drawn going out.
    assert left.faces_left is False
    assert right.faces_left is False
    assert "the other way round" in right.spoken
    turned = [line.id for line in plan.lines if any(branch.turned for branch in line.branches)]
    assert turned == ["front-right"]


def test_parallel_hangs_on_the_rail_and_series_on_its_neighbour() -> None:
    job = loads(demo_text())
    found, series = (
        draw_plan(each, states={}, href=str) for each in (job, job.with_proposal("put-right"))
    )
    rear = [next(line for line in plan.lines if line.id == "rear-left") for plan in (found, series)]
    assert [branch.series for branch in rear[0].branches] == [False, False]
    assert [branch.series for branch in rear[1].branches] == [False, True]
    front = next(line for line in found.lines if line.id == "front-left")
    assert [branch.part is not None for branch in front.branches] == [False, True]


def test_an_unknown_channel_is_a_line_that_leads_nowhere() -> None:
    plan = drawn(with_values(demo_text(), {"rear-left.load": "unknown"}))
    line = next(line for line in plan.lines if line.id == "rear-left")
    assert line.branches == ()
    assert line.loose is not None
    assert line.words == "unknown"


def test_states_changes_and_what_is_looked_at_are_words_too() -> None:
    job = loads(demo_text())
    plan = draw_plan(
        job,
        states={"door-fl": State("▲", "warn", "warn")},
        href=str,
        changed=frozenset({"door-fl"}),
        selected="door-fl",
    )
    assert (
        mark(plan, "door-fl").spoken == "front left door, warn, changed by this proposal, selected"
    )
    assert mark(plan, "roof-rl").spoken == "rear left roof lining, not judged"


def test_what_is_said_of_several_places_marks_all_of_them() -> None:
    job = loads(demo_text())
    report = hear(job.build(), samples=64)
    travel = next(verdict for verdict in report.verdicts if verdict.id.endswith(".travel"))
    places = {figure.partition(".")[0] for figure in travel.figures}
    assert len(places) > 1
    assert all(places_states(job, [report])[place].word == "warn" for place in places)


def test_everything_can_be_opened() -> None:
    plan = drawn()
    job: Job = loads(demo_text())
    drawn_as = [each.href for each in plan.marks]
    drawn_as += [each.href for each in plan.lines]
    drawn_as += [each.href for each in plan.seats]
    ids = [each.id for each in job.locations]
    ids += [each.id for each in job.channels]
    ids += [each.id for each in job.seats]
    assert sorted(drawn_as) == sorted(f"/{id}" for id in ids)
    assert plan.radio_href == "/head_unit"


def test_paths_hold_nothing_but_numbers() -> None:
    plan = drawn()
    paths = [plan.outline, *plan.windows, *(line.rail for line in plan.lines)]
    paths += [branch.path for line in plan.lines for branch in line.branches]
    assert all(re.fullmatch(r"(?:[MLQZ]|-?[0-9.]+| )+", path) for path in paths)
