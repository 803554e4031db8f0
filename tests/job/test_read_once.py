"""A text is parsed once and each part of a job checked once, then kept.

The numbers follow from the job alone: one text, one job, and the parts that its proposals change.
"""

from collections import Counter
from pathlib import Path

import pytest

from conewright.job.builds.job import Job
from conewright.job.proposals import Plan, apply_plan
from conewright.job.text.job_file import open_job, write_text
from conewright.job.text.parsing import job_text, kept_job, load, loads
from conewright.job.text.readings import with_reading
from conewright.job.text.starter import demo_text
from counting import counted, parts_changed

DEMO = loads(demo_text())
CHANGED = parts_changed(DEMO)


@pytest.fixture
def work(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    return counted(monkeypatch)


def test_the_demo_changes_something() -> None:
    assert len(DEMO.proposals) >= 4
    assert len(DEMO.proposals) <= CHANGED


def test_a_load_parses_once_and_checks_each_part_once(work: Counter[str]) -> None:
    loads(demo_text())
    assert work == {"parsed": 1, "whole": 1, "parts": CHANGED}


def test_a_job_that_was_loaded_is_built_without_another_check(work: Counter[str]) -> None:
    job = loads(demo_text())
    work.clear()
    for proposal in (None, *(each.id for each in job.proposals)):
        job.build(proposal)
    assert work == {}


def test_a_proposal_is_carried_out_once(work: Counter[str]) -> None:
    job = apply_plan(DEMO, Plan("changes", {"vehicle.built": 2009}))
    work.clear()
    first = job.with_proposal("slim-fronts")
    assert work["whole"] == 0
    assert work["dictionaries"] == 1
    assert 0 < work["parts"] < CHANGED
    work.clear()
    assert job.with_proposal("slim-fronts") is first
    assert job.build("slim-fronts").vehicle == job.build().vehicle
    assert work["parts"] < CHANGED


def test_a_proposal_shares_what_it_does_not_change() -> None:
    changed = DEMO.with_proposal("slim-fronts")
    assert changed.vehicle is DEMO.vehicle
    assert changed.location("roof-rl") is DEMO.location("roof-rl")
    assert changed.location("door-fl") != DEMO.location("door-fl")


def test_nothing_is_carried_over_into_a_copy() -> None:
    # A copy may be changed: what was carried out in the job would be wrong in it.
    DEMO.with_proposal("slim-fronts")
    copied = DEMO.model_copy(update={"seats": ()})
    assert copied.with_proposal("slim-fronts").seats == ()
    assert copied != DEMO
    assert DEMO.model_copy() == DEMO


def test_a_text_is_read_once_for_all_who_ask(work: Counter[str]) -> None:
    text = demo_text() + "# asked for twice\n"
    job = kept_job(text)
    assert kept_job("\ufeff" + text) is job
    assert job_text(text).job is job
    assert work == {"parsed": 1, "whole": 1, "parts": CHANGED}
    assert job == DEMO


def test_a_reading_costs_one_parse_and_one_check(tmp_path: Path, work: Counter[str]) -> None:
    van = tmp_path / "van.toml"
    van.write_text(demo_text() + "# a file of its own\n", encoding="utf-8")
    before = open_job(van)
    assert work == {"parsed": 1, "whole": 1, "parts": CHANGED}
    work.clear()
    text = with_reading(before.text, "toml", test="look", at="door-fl", value="nothing")
    after = write_text(before, text)
    assert work == {"parsed": 1, "whole": 1, "parts": CHANGED}
    assert after.job == load(van)
    assert isinstance(after.job, Job)
