"""Changing a job: what a key reaches, what is refused and under which name, nothing mutated."""

from collections.abc import Mapping
from typing import Any

import pytest

from conewright.errors import JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.proposals import Plan, apply_plan
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import demo_text


def apply_changes(job: Job, changes: Mapping[str, object]) -> Job:
    return apply_plan(job, Plan("changes", changes))


@pytest.fixture(scope="module")
def job() -> Job:
    return loads(demo_text())


def refused(job: Job, changes: dict[str, object]) -> list[Problem]:
    with pytest.raises(JobError) as caught:
        apply_changes(job, changes)
    return list(caught.value.problems)


def si(quantity: Any) -> float:
    assert quantity is not None
    return float(quantity.value)


def test_a_glob_reaches_both_doors_and_nothing_else(job: Job) -> None:
    new = apply_changes(job, {"door-f?.mount.ring": True})
    assert [new.location(name).mount.ring for name in ("door-fl", "door-fr")] == [True, True]
    rest = [each for each in new.locations if not each.id.startswith("door-f")]
    assert rest == [each for each in job.locations if not each.id.startswith("door-f")]
    assert new.channels == job.channels


def test_the_job_itself_stays(job: Job) -> None:
    before = job.to_dict()
    apply_changes(job, {"door-f?.mount.ring": True, "head_unit.supply": "12 V"})
    assert job.to_dict() == before


def test_no_change_is_the_same_job(job: Job) -> None:
    assert apply_changes(job, {}) == job


def test_every_kind_of_part(job: Job) -> None:
    changes = {
        "front-right.load": "door-fr",
        "front-left.gain": "-3 dB",
        "head_unit.supply": "14.4 V",
        "vehicle.cabin_volume": "5 m3",
        "vehicle.class": "estate",
        "budget-130.re": "3.5 ohm",
        "driver.ear": ["1 m", "0 m", "1 m"],
        "door-fl.mount.spacer": "6 mm",
        "roof-rl.trim.volume": "2 L",
    }
    new = apply_changes(job, changes)
    # Closed form: the values as put in, in SI.
    assert new.channel("front-right").load == "door-fr"
    assert si(new.channel("front-left").gain) == -3.0
    assert si(new.head_unit.supply) == 14.4
    assert si(new.vehicle.cabin_volume) == 5.0
    assert new.vehicle.class_ == "estate"
    assert si(new.driver("budget-130").re) == 3.5
    assert si(new.seat("driver").ear[0]) == 1.0
    assert si(new.location("door-fl").mount.spacer) == pytest.approx(6e-3)
    trim = new.location("roof-rl").trim
    assert trim is not None
    assert si(trim.volume) == pytest.approx(2e-3)


def test_a_glob_passes_over_parts_without_that_field(job: Job) -> None:
    new = apply_changes(job, {"*.mount.ring": True})
    assert {each.mount.ring for each in new.locations} == {True}


def test_a_glob_never_means_the_radio(job: Job) -> None:
    new = apply_changes(job, {"*.name": "renamed"})
    assert new.head_unit.name == job.head_unit.name
    assert {each.name for each in new.locations} == {"renamed"}


def test_the_last_of_two_keys_counts(job: Job) -> None:
    new = apply_changes(job, {"door-f?.mount.ring": True, "door-fl.mount.ring": False})
    assert (new.location("door-fl").mount.ring, new.location("door-fr").mount.ring) == (
        False,
        True,
    )


def test_a_whole_table_is_replaced(job: Job) -> None:
    new = apply_changes(job, {"front-left.cable": {"resistance": "0.3 ohm"}})
    cable = new.channel("front-left").cable
    assert (cable.length, si(cable.resistance)) == (None, 0.3)


def test_a_new_cover_does_not_keep_the_mass_of_the_old(job: Job) -> None:
    film = apply_changes(
        job, {"door-fl.cavity.cover": "film", "door-fl.cavity.cover_mass": "0.1 kg/m2"}
    )
    patched = apply_changes(film, {"door-fl.cavity.cover": "patch"})
    assert patched.location("door-fl").cavity.cover_mass is None
    assert apply_changes(film, {"door-fl.cavity.cover": "film"}) == film
    weighed = {"door-fl.cavity.cover_mass": "4 kg/m2", "door-fl.cavity.cover": "patch"}
    assert si(apply_changes(film, weighed).location("door-fl").cavity.cover_mass) == 4.0


def test_proposals_of_the_demo(job: Job) -> None:
    slim = job.with_proposal("slim-fronts")
    assert {slim.location(name).driver for name in ("door-fl", "door-fr")} == {"slim-130"}
    assert slim.channel("rear-left").load == "side-rl + roof-rl"
    wiring = slim.channel("front-right").wiring
    assert wiring is not None
    assert not wiring.reversed
    assert from_dict(slim.to_dict()) == slim


def test_unknown_proposal(job: Job) -> None:
    with pytest.raises(JobError) as caught:
        job.with_proposal("slim-front")
    assert caught.value.problems == (
        Problem("proposal", '"slim-front"', 'did you mean "slim-fronts"?'),
    )


@pytest.mark.parametrize(
    ("key", "value", "allowed"),
    [
        ("dor-fl.mount.ring", True, 'did you mean "door-fl"?'),
        ("door-x?.mount.ring", True, "no part has such an id"),
        ("door-f?.mount.rng", True, 'there is no field "rng"; did you mean "ring"?'),
        ("door-fl.mount.cutout.low", "1 mm", 'there is no field "low"'),
        ("door-fl", True, "an id, a dot and a field"),
        (".mount", True, "an id, a dot and a field"),
        ("door-fl.", True, "an id, a dot and a field"),
        ("door-fl.id", "door", "an id stays as it is"),
        ("front-left.id", "fl", "an id stays as it is"),
        ("put-right.hours", 2, "no part has such an id"),
        ("job.budget", 200, "no part has such an id"),
        ("door-f?.mount.ring", "yes", "true or false is wanted"),
        ("door-fl.mount", "wide", "a table of fields is wanted"),
        ("door-fl.driver", "slim-13", 'did you mean "slim-130"?'),
        ("head_unit.supply", "13.8", "the unit is missing"),
        ("front-right.load", "door-fr | roof-lr", '"roof-lr" is no location'),
        ("rear-right.load", "side-rr | side-rl", "side-rl hangs on channel[3] already"),
    ],
)
def test_refused_changes(job: Job, key: str, value: object, allowed: str) -> None:
    problems = refused(job, {key: value})
    assert [problem.path for problem in problems] == [f'changes."{key}"']
    assert allowed in problems[0].allowed


def test_an_endless_key_is_refused_before_it_is_matched(job: Job) -> None:
    told = refused(job, {"*" * 10_000 + ".a": True})
    assert "an id, a dot and a field" in told[0].allowed


def test_nothing_takes_a_value_away(job: Job) -> None:
    assert apply_changes(job, {"slim-130.qms": None}).driver("slim-130").qms is None


def test_a_table_that_no_longer_holds_together_is_told_under_its_key(job: Job) -> None:
    told = refused(job, {"front-left.cable.resistance": "0.3 ohm"})
    assert [problem.path for problem in told] == ['changes."front-left.cable.resistance"']
    assert told[0].found == '"0.3 ohm"'
    assert "channel[front-left].cable is a table" in told[0].allowed


def test_a_clash_elsewhere_is_told_too(job: Job) -> None:
    told = refused(job, {"front-left.load": "door-fl | roof-rl"})
    assert [problem.path for problem in told] == ["changes"]
    assert "channel[rear-left].load" in told[0].allowed


def test_all_refused_keys_are_told(job: Job) -> None:
    told = refused(job, {"a.b": 1, "door-fl.c": 2, "head_unit.supply": 3, "driver.ear": []})
    assert [problem.path for problem in told] == [
        'changes."a.b"',
        'changes."door-fl.c"',
        'changes."driver.ear"',
        'changes."head_unit.supply"',
    ]


def test_a_proposal_that_fails_names_itself(job: Job) -> None:
    raw = job.to_dict()
    raw["proposal"][0]["set"] = {"door-f?.mount.rings": True}
    with pytest.raises(JobError) as caught:
        from_dict(raw)
    assert [problem.path for problem in caught.value.problems] == [
        'proposal[put-right].set."door-f?.mount.rings"'
    ]
