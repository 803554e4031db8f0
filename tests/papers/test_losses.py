"""What goes silent with another radio."""

from typing import get_args

import pytest

import conewright as cw
from conewright.job.document.parts import Carried
from conewright.papers.wiring.losses import losses


def with_radio(text: str, change: str = "") -> cw.Job:
    demo = cw.demo_text().replace('output = "bridge"', f'output = "bridge"\n{text}')
    return cw.loads(demo.replace("[proposal.set]", f"[proposal.set]\n{change}", 1))


def test_every_function_a_job_may_name_has_its_row() -> None:
    rows = losses(cw.demo_job().build()).rows
    assert [row.id for row in rows] == list(get_args(Carried))
    assert all(row.lost and row.find_out and row.keep and row.source for row in rows)


def test_what_nobody_looked_at_is_not_called_safe() -> None:
    assert {row.known for row in losses(cw.demo_job().build()).rows} == {"not looked at"}


def test_what_the_old_radio_carries() -> None:
    known = {
        row.id: row.known
        for row in losses(with_radio('carries = ["chimes", "camera"]').build()).rows
    }
    assert (known["chimes"], known["camera"], known["alarm"]) == (
        "carried",
        "carried",
        "not carried",
    )


def test_the_list_is_for_a_radio_that_changes() -> None:
    job = with_radio("", '"head_unit.name" = "hands-free radio"')
    assert not losses(job.build()).radio_changes
    assert losses(job.build("put-right")).radio_changes


def test_a_function_nobody_knows_is_refused() -> None:
    with pytest.raises(cw.JobError, match=r"head_unit\.carries"):
        with_radio('carries = ["chime"]')
