"""Amplifiers that a plan may add: fed safely, priced as written, worked out as the stages do."""

from __future__ import annotations

import json
import random

import pytest
from enumeration import Enumeration
from random_vehicles import random_job
from spaces import Row, Watched, compiled_of, few_parts, searched, written_build

import conewright as cw
from conewright import Offer
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.physics.basics import bands
from conewright.stages.choose.engine.found import Limits
from conewright.stages.choose.options_file import options_json, parse_options
from conewright.stages.choose.space.groups import Space
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.load import EASY, radio_load
from conewright.stages.hear.heard import sound_of
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.report.data import Severity

KNOBS = ("driver", "amplifier", "wiring", "high-pass")
TWO: Row = {
    "part": "two",
    "supplier": "S",
    "kind": "amplifier",
    "peak_current": "8 A",
    "minimum_load": "2 ohm",
    "channels": "2",
}
FOUR: Row = {**TWO, "part": "four", "peak_current": "5 A", "channels": "4"}
THIN: Row = {"part": "thin", "supplier": "S", "kind": "cable", "value": "1.5 mm2"}
THICK: Row = {**THIN, "part": "thick", "value": "6 mm2", "metal": "copper"}
FUSES: tuple[Row, ...] = tuple(
    {"part": f"fuse-{amps}", "supplier": "S", "kind": "fuse", "value": f"{amps} A"}
    for amps in (10, 20, 30)
)
PRICES = {"two": "90", "four": "120", "thin": "1", "thick": "4"}
SUPPLY = tuple(
    {**row, "price": PRICES.get(row["part"], "8"), "currency": "EUR", "stock": "9"}
    for row in (TWO, FOUR, THIN, THICK, *FUSES)
)


def search_of(seed: int) -> Watched:
    return searched(random_job(seed), [*few_parts(seed, driver=3), *SUPPLY], may=KNOBS)


@pytest.fixture(scope="module")
def searches() -> list[Watched]:
    return [search_of(seed) for seed in (2, 6, 27)]


def offer() -> Offer:
    return Offer("shop", None, "0" * 64, compiled_of(SUPPLY))


def demo(**vehicle: object) -> Job:
    raw = cw.demo_job().to_dict()
    wishes = {"bass": "matters", "loudness": "matters most"}
    return from_dict(raw | {"vehicle": raw["vehicle"] | vehicle, "wishes": wishes})


def amplified(space: Space) -> list[int]:
    return [r for r, radio in enumerate(space.radios) if radio.change.add]


def test_each_pair_of_channels_or_all_of_them_may_have_one() -> None:
    # Common practice, no source: two outputs drive a pair, four of them both.
    space = searched(demo(), SUPPLY, may=KNOBS).ready.space
    told = {radio.id.replace("s-", "") for radio in space.radios if radio.change.add}
    pairs = ("front-left+front-right", "rear-left+rear-right")
    wanted = {f"{name}@{pair}" for name in ("two", "four") for pair in pairs}
    assert told == wanted | {f"four@{'+'.join(pairs)}"}


def test_power_gain_and_supply_follow_from_what_the_list_says() -> None:
    """By a pencil: 8 A peak in 2 ohm is 64 W and 11.3 V rms, where a bridge on 13.8 V gives 9.8 V
    rms: a gain of 1.3 dB. Two such channels at some 60 % ask for 15 to 17 A: a fuse of 20 A.
    """
    space = searched(demo(), SUPPLY, may=KNOBS).ready.space
    radio = next(each for each in space.radios if each.id.endswith("two@front-left+front-right"))
    (unit,), (feed,) = radio.change.add["amplifier"], radio.change.add["feed"]
    assert unit["clean_power"] == "64 W"
    assert unit["gain"] == "1.3 dB"
    assert (feed["fuse"], feed["size"], feed["metal"]) == ("20 A", "6 mm2", "copper")
    bought = {space.offer.compiled.text("part", row): n for row, n in radio.change.buy.items()}
    assert bought == {"two": 1.0, "thick": 4.0, "fuse-20": 1.0}


def test_no_supply_of_a_plan_is_a_stop(searches: list[Watched]) -> None:
    for search in searches:
        space = search.ready.space
        assert amplified(space)
        for r in amplified(space):
            nothing = [r] + [0, -1, 0] * len(space.channels) + [0] * len(space.places)
            report = cw.feed(written_build(space, tuple(nothing)))
            said = [v for v in report.verdicts if v.id.startswith("amplifier-feed")]
            assert said
            assert not [v for v in said if v.severity in (Severity.STOP, Severity.WARN)]


def test_an_amplifier_that_nothing_can_feed_is_refused_with_its_amps() -> None:
    thin = [row for row in SUPPLY if row["part"] != "thick"]
    space = searched(demo(), thin, may=KNOBS).ready.space
    assert {each.reason for each in space.rejected if "four" in each.part} == {"fuse"}
    worst = max(each.number or 0.0 for each in space.rejected if each.reason == "fuse")
    assert 15.0 < worst < 25.0


def test_an_amplifier_whose_power_nobody_tells_is_refused() -> None:
    bare = {name: text for name, text in SUPPLY[0].items() if name != "peak_current"}
    space = searched(demo(), [bare, *SUPPLY[2:]], may=KNOBS).ready.space
    assert not amplified(space)
    assert {each.reason for each in space.rejected if each.part == "s-two"} == {"figures"}


def test_names_that_a_job_has_already_are_left_to_it() -> None:
    raw = demo().to_dict()
    raw["feed"] = [*raw["feed"], {"id": "amplifier-feed", "to": "amplifier", "current": "20 A"}]
    space = searched(from_dict(raw), SUPPLY, may=KNOBS).ready.space
    (feed,) = space.radios[amplified(space)[0]].change.add["feed"]
    assert feed["id"] == "amplifier-feed-2"


def test_no_amplifier_of_a_list_goes_on_24_volts() -> None:
    space = searched(demo(system="24 V", built=2009), SUPPLY, may=KNOBS).ready.space
    assert not amplified(space)


def test_plans_with_one_cost_what_their_outlay_says(searches: list[Watched]) -> None:
    tried = 0
    for search in searches:
        for plan in search.some_plans(5, 12):
            if not search.ready.space.radios[plan.radio].change.add:
                continue
            taken = outlay(written_build(search.ready.space, plan.picks))
            assert plan.money == pytest.approx(taken.total.typical, abs=0.005), plan.picks
            assert plan.hours == pytest.approx(taken.hours.typical, abs=1e-6), plan.picks
            tried += 1
    assert tried > 10


def test_plans_with_one_are_what_the_stages_make_of_them(searches: list[Watched]) -> None:
    for search in searches:
        for plan in search.some_plans(7, 6):
            value, found = search.worked_out(plan)
            build = written_build(search.ready.space, plan.picks)
            solver = Solver(conditioned_draws(build, samples=1), bands.fine_grid())
            sound, load = sound_of(build, solver), radio_load(build, solver)
            seat = sound.seats[build.seats[0].id]
            wanted = {
                "bass": seat.bass[0, 0],
                "clarity": seat.treble[0, 0],
                "loudness": seat.clean_overall[0, 0],
                "chip": load.chip_temperature(EASY)[0, 0],
            }
            got = {name: float(getattr(found, name)[0]) for name in wanted}
            assert got == pytest.approx(wanted, rel=1e-9), plan.picks
            for name, bounds in plan.bounds.items():
                assert min(bounds) >= float(getattr(found, name)[0]) - 1e-9
            assert plan.bound >= value - 1e-9


def test_the_best_of_them_is_that_of_enumeration() -> None:
    for seed in (2, 9):
        parts = [*few_parts(seed, driver=4), *SUPPLY]
        search = searched(random_job(seed, small=True), parts, may=("driver", "amplifier"))
        every = Enumeration(search.ready)
        chance = random.Random(seed)
        for _ in range(12):
            plan = chance.choice(every.plans)
            limits = Limits(chance.choice((plan.money, plan.money * 1.2, None)), None)
            wanted, best = next(iter(every.within(limits)), None), search.best(limits)
            assert (wanted is None) == (best is None)
            if wanted is not None and best is not None:
                assert best.picks == wanted.picks


def test_options_written_out_and_read_back_give_the_same_plan() -> None:
    job = demo()
    may = ("amplifier", "wiring", "high-pass")
    listed = options_json(job, offer(), money=500, may=may)
    given = parse_options(json.dumps(listed))
    plain = cw.choose(job, offer(), money=500, may=may, samples=2)
    again = cw.choose(job, offer(), options=given, money=500, samples=2)
    assert "amplifier added" in plain.plan_of("best").title
    assert again.plan_of("best").value == pytest.approx(plain.plan_of("best").value)
    assert again.plan_of("best").money == pytest.approx(plain.plan_of("best").money)
