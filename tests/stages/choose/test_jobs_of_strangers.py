"""Jobs as a stranger would bring them; what a good practitioner would say was written first."""

from functools import cache

import pytest

import conewright as cw
from conewright import BadInputError

FEW = ("driver", "ring", "wiring", "high-pass")


@cache
def parts() -> cw.Offer:
    return cw.offer("invented")


@cache
def chosen(text: str, *, money: float = 300.0, hours: float = 8.0) -> cw.Choice:
    job = cw.loads(text)
    return cw.choose(job, parts(), money=money, hours=hours, may=FEW, samples=16)


def opened(choice: cw.Choice) -> set[str]:
    """The places at which any plan of the search fits something."""
    return {
        key.partition(".")[0]
        for plan in choice.plans
        for option in plan.options.values()
        for key in option.set
        if ".mount." in key or ".driver" in key
    }


def test_no_plan_opens_a_door_with_a_pressure_sensor() -> None:
    text = cw.demo_text().replace('door_sensor = "none"', 'door_sensor = "pressure"')
    choice = chosen(text)
    assert not any(name.startswith("door") for name in opened(choice))
    assert choice.figure("choice.rejected_restraint").value
    assert choice.plans  # what needs no door is chosen all the same


def test_a_radio_for_4_ohm_is_never_left_with_less_than_it_bears() -> None:
    choice = chosen(cw.demo_text())
    best = choice.plan_of("best")
    assert (choice.figure("do-nothing.minimum_load").value or 9.0) < 3.2
    for plan in (best, choice.plan_of("recommended")):
        assert (choice.figure(f"{plan.id}.minimum_load").value or 0.0) >= 3.2
        assert not plan.breaks
    assert choice.plan_of("do-nothing").breaks
    assert "reversed@door-fr" in best.cures


def test_less_money_than_the_fix_takes_is_said_with_its_price() -> None:
    choice = chosen(cw.demo_text(), money=40.0)
    stop = next(each for each in choice.verdicts if each.id == "choice.none")
    assert "to mend what is broken alone costs" in stop.text
    assert {plan.id for plan in choice.plans} >= {"do-nothing", "fix-only"}


def test_a_burnt_coil_is_cured_by_every_plan_and_left_by_doing_nothing() -> None:
    job = cw.demo_job().with_finding("coil-open", "door-fl")
    choice = cw.choose(job, parts(), money=400.0, hours=8.0, may=FEW, samples=16)
    for plan in choice.plans:
        if plan.proposal:
            assert "coil-open@door-fl" in plan.cures, plan.id
    assert "coil-open@door-fl" in choice.plan_of("do-nothing").leaves


def test_a_plan_costs_what_its_proposal_costs_when_it_is_written() -> None:
    from conewright.stages.choose.writing import text_with_plan

    text = cw.demo_text()
    choice = chosen(text)
    for plan in choice.plans[:3]:
        if plan.proposal:
            written, name = text_with_plan(text, "toml", choice, plan.id)
            taken = cw.outlay(cw.loads(written).build(name))
            assert taken.total.typical == pytest.approx(plan.money, abs=0.005)
            assert taken.hours.typical == pytest.approx(plan.hours, abs=1e-6)


def test_nothing_is_chosen_where_nobody_knows_what_hangs_on_a_channel() -> None:
    text = cw.demo_text().replace('load = "side-rl | roof-rl"', 'load = "unknown"')
    with pytest.raises(BadInputError, match="nothing is chosen on a guess"):
        chosen(text)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"seat": "roof"}, "this job has driver"),
        ({"may": ("paint",)}, "allowed: driver"),
        ({"money": -1.0}, "from 0 on"),
        ({"gap": float("nan")}, "from 0 on"),
    ],
)
def test_what_cannot_be_is_named_with_what_may(given: dict[str, object], words: str) -> None:
    with pytest.raises(BadInputError, match=words):
        cw.choose(cw.demo_job(), parts(), **given)  # type: ignore[arg-type]


def test_fewer_hours_do_what_is_best_within_them() -> None:
    # Whoever has an evening only gets the best of an evening.
    first, *rest = chosen(cw.demo_text()).quicker
    assert first.plan == "best"
    assert rest
    before = first
    for step in rest:
        assert step.hours < before.hours
        assert step.value < before.value
        before = step
    best = chosen(cw.demo_text(), hours=before.hours).plan_of("best")
    assert best.value == pytest.approx(before.value, abs=1e-3)


COURIER = """
format = 1
[job]
title = "Courier's estate: the left front door flaps, and it is to play louder"
opened = 2026-11-30
currency = "EUR"
hour_rate = 45
complaints = ["buzz-one-corner"]
[wishes]
loudness = "matters most"
bass = "matters"
reversible = "would be nice"
[vehicle]
built = 2012
class = "estate"
restraints = { curtain = "none", door_sensor = "impact" }
[[seat]]
id = "driver"
ear = ["0.75 m", "0.38 m", "1.15 m"]
[head_unit]
name = "radio as fitted"
output = "bridge"
minimum_load = "4 ohm"
[[driver]]
id = "front-165"
size = "165 mm"
rated_impedance = "4 ohm"
age = "ageing"
[[location]]
id = "door-l"
kind = "door"
at = ["1.1 m", "0.75 m", "0.3 m"]
driver = "front-165"
mount = { cutout = "148 mm ± 1 mm", glass_depth = ["66 mm ± 1 mm"], trim_gap = "25 mm ± 1.5 mm" }
cavity = { volume = "35 L", panel_holes = "50 cm2" }
[[location]]
id = "door-r"
like = "door-l"
at = ["1.1 m", "-0.75 m", "0.3 m"]
[[channel]]
id = "fl"
load = "door-l"
[[channel]]
id = "fr"
load = "door-r"
[[finding]]
fault = "surround-torn"
at = "door-l"
"""


def test_a_torn_surround_is_glued_anew_and_no_old_one_fitted() -> None:
    """A used original is cheaper, as good and as old: it tears next, and the work comes again."""
    choice = chosen(COURIER, money=150.0, hours=5.0)
    taken, best = choice.plan_of("recommended"), choice.plan_of("best")
    assert "new surround glued on at door-l" in taken.title
    assert "surround-torn@door-l" in taken.cures
    assert "used original fitted at door-l" in best.title
    assert best.money < taken.money
    assert best.why_not is not None
    assert best.why_not.startswith("what it mends holds two years with")


def test_what_is_mended_stands_in_every_title() -> None:
    choice = chosen(COURIER, money=150.0, hours=5.0)
    assert choice.plan_of("fix-only").title == "Door l and door r: new surround glued on at door-l"
    for plan in choice.plans:
        assert plan.title != "Nothing is done" or not plan.cures, plan.id


def test_what_more_money_buys_is_said_as_often_as_it_buys() -> None:
    choice = chosen(cw.demo_text(), money=180.0)
    told = [line for line in str(choice).splitlines() if " more: " in line]
    gains = [choice.figure(f"choice.next_{more}_value").value or 0.0 for more in (20, 50)]
    assert max(gains) > 1.0
    assert ["nothing better" in line for line in told] == [gain < 0.1 for gain in gains]
