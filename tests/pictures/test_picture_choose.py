"""The picture of a choice: what money buys as steps, and the points of every wish."""

from itertools import pairwise

import numpy as np
import pytest
from looking import corners, cut_off, found, overlapping, patches, points, title, words

from conewright import pictures
from conewright.errors import BadInputError
from conewright.stages.choose.finals.plan_answers import PlanAnswer
from invented_choice import BEST, FIX, NOTHING, PLANS, POINTS, RECOMMENDED, choice


def test_the_front_is_steps_through_every_plan_of_it() -> None:
    report = choice()
    drawing = pictures.draw(report)
    money, value = points(drawing, "front")
    steps = sorted((step.money, step.value) for step in report.front)
    assert set(steps) <= set(zip(money.tolist(), value.tolist(), strict=True))
    # Closed form: a step goes along or up, never both at once, and never down.
    for (m, v), (n, w) in pairwise(zip(money, value, strict=True)):
        assert (n > m) != (w > v)
        assert n >= m
        assert w >= v
    assert len(money) == 2 * len(steps) - 1


@pytest.mark.parametrize("plan", [BEST, RECOMMENDED, NOTHING, FIX], ids=lambda plan: plan.id)
def test_a_plan_that_leads_is_a_point_at_its_money_and_points(plan: PlanAnswer) -> None:
    money, value = points(pictures.draw(choice()), f"{plan.id}.point")
    assert (money.tolist(), value.tolist()) == ([plan.money], [plan.value])


def test_the_bars_of_wishes_follow_each_other_up_to_the_value() -> None:
    drawing = pictures.draw(choice())
    for plan in (BEST, RECOMMENDED, NOTHING):
        reached = 0.0
        for wish, worth in POINTS[plan.id].items():
            (bar,) = patches(drawing, f"{plan.id}.points_{wish}")
            spots = corners(bar)[:, 0]
            assert spots.min() == pytest.approx(reached)
            reached += worth
            assert spots.max() == pytest.approx(reached)
        assert reached == pytest.approx(plan.value)
    assert patches(drawing, "fix-only.points_bass") == []


def test_every_wish_has_a_pattern_of_its_own_and_a_word() -> None:
    six = BEST.model_copy(
        update={"points": {**POINTS["best"], "appearance": 6.0, "hands_free": 4.0}}
    )
    drawing = pictures.draw(choice(six, NOTHING))
    looks = [
        (bar.get_facecolor(), bar.get_edgecolor(), bar.get_hatch())
        for wish in six.points
        for bar in patches(drawing, f"best.points_{wish}")
    ]
    assert len(set(looks)) == len(looks) == 6
    assert "hands-free" in words(drawing)


def test_numbers_in_a_bar_add_up_to_the_one_behind_it() -> None:
    said = words(pictures.draw(choice()))
    place = said.index("best", said.index("bass"))
    # Closed form: 23.6, 19.5, 13.3, 10 and 10 in whole points that make 76.
    assert said[place - 5 : place + 2] == ["24", "19", "13", "10", "10", "best", "76"]


def test_the_title_says_what_the_best_costs_and_is_worth() -> None:
    assert title(pictures.draw(choice())) == (
        "Best: 76 points for 277 EUR, where nothing done has 50; recommended: 74 points for 214 EUR"
    )
    both = BEST.model_copy(update={"roles": ("best", "recommended", "front-1")})
    assert title(pictures.draw(choice(both))) == "Best: 76 points for 277 EUR"
    idle = NOTHING.model_copy(update={"roles": ("best", "recommended", "do-nothing")})
    report = choice(idle)
    assert title(pictures.draw(report)) == report.answer


def test_what_breaks_a_limit_says_so_and_no_part_has_its_name_in_it() -> None:
    drawing = pictures.draw(choice())
    said = " ".join(words(drawing))
    assert "do nothing,\nbreaks a limit" in said
    names = {part for plan in PLANS for each in plan.options.values() for part in each.buy}
    assert [name for name in names if name in said] == []


CROWDED = (
    BEST,
    RECOMMENDED.model_copy(update={"money": 270.0, "value": 75.9}),
    FIX.model_copy(update={"money": 5.0, "value": 51.0, "breaks": ("it is so",)}),
    NOTHING,
)


@pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])
def test_names_of_plans_that_are_nearly_alike_stay_apart(narrow: bool) -> None:
    drawing = pictures.draw(choice(*CROWDED), narrow=narrow)
    assert len(found(drawing, "name")) == 4
    assert overlapping(drawing) == []
    assert cut_off(drawing) == []


@pytest.mark.parametrize("seed", range(6))
def test_names_stay_on_the_sheet_wherever_the_points_lie(seed: int) -> None:
    draws = np.random.default_rng(seed)
    plans = []
    for plan in (BEST, RECOMMENDED, FIX, NOTHING):
        money, value = float(draws.uniform(0.0, 400.0)), float(draws.uniform(0.0, 100.0))
        told = {"value": value, "money": money, "money_low": 0.8 * money, "money_high": 1.3 * money}
        scale = value / sum(plan.points.values())
        told_points = {wish: scale * points for wish, points in plan.points.items()}
        plans.append(plan.model_copy(update={**told, "points": told_points, "careful_value": None}))
    for narrow in (False, True):
        drawing = pictures.draw(choice(*plans), narrow=narrow)
        assert overlapping(drawing) == []
        assert cut_off(drawing) == []


def test_a_silent_vehicle_has_no_picture_of_a_choice() -> None:
    silent = BEST.model_copy(update={"value": None, "points": {}})
    with pytest.raises(BadInputError, match="nothing to draw in the choose report"):
        pictures.draw(choice(silent))


def test_points_that_nobody_told_leave_a_value_without_parts() -> None:
    bare = BEST.model_copy(update={"points": {}})
    drawing = pictures.draw(choice(bare, NOTHING))
    assert found(drawing, "best.points_bass") == []
    assert "76" in words(drawing)
