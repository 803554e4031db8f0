"""Boxes and boards that a plan builds, fills or takes out: work, material and price.

Written before the plans were priced, as a practitioner would say it:

- A box of 18 L out of 18 mm board takes some 0.6 m2 of board and half a day's evening, and its glue
  stands overnight; that night is waited for and not charged.
- Wadding goes by the volume that it fills, and the loudspeaker comes out for it and goes in again:
  no trim, no clips, and the battery stays on.
- What is thrown out is carried out; what goes into an opening that the maker cut is not cut again.
"""

import csv
import io
from functools import cache
from math import pi
from pathlib import Path

import pytest
from workbench import DOOR, channel, job, location

import conewright as cw
from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.papers.press.answers import Answers
from conewright.papers.templates.drawings import drawings
from conewright.papers.work.bill import csv_text
from conewright.papers.work.job_sheet import sheet_data
from conewright.papers.work.parts_sheet import bill_of, parts_data
from conewright.stages.common.changes import changes
from conewright.stages.outlay.bodies import BOARD, panels_of_box
from conewright.stages.outlay.reckoning import Outlay, outlay

EXAMPLES = Path(__file__).parents[2] / "examples"
CONVERTIBLE = cw.load(EXAMPLES / "convertible.toml")
PICKUP = cw.load(EXAMPLES / "pickup-24v.toml")
ALWAYS = {"note", "before", "power-up", "set", "prove"}


def items(of: Outlay) -> dict[str, float]:
    return {
        line.item: line.quantity
        for line in of.lines
        if line.kind in ("driver", "radio", "material")
    }


def steps(of: Outlay) -> list[str]:
    return [step.id for step in of.steps if step.id not in ALWAYS]


def test_wadding_is_a_step_of_its_own_and_goes_by_the_volume() -> None:
    of = outlay(CONVERTIBLE.build("wadding"))
    assert steps(of) == ["unscrew", "fill", "put-back"]
    fill = next(step for step in of.steps if step.id == "fill")
    assert fill.subjects == ("box",)
    assert "Fill the box" in fill.title
    bought = items(of)
    # 18 L of air; the cord goes once round the flange of 209 mm.
    assert bought["wadding"] == pytest.approx(18.0)
    assert bought["cord"] == pytest.approx(pi * 0.209)
    assert not {"clip", "felt", "panel"} & set(bought)


def test_a_board_in_the_place_of_the_box_is_cut_and_the_box_goes_out() -> None:
    of = outlay(CONVERTIBLE.build("board-instead"))
    assert steps(of) == ["unscrew", "carry-out", "board-cut", "board-fit", "put-back"]
    # 500 mm by 350 mm
    assert items(of)["panel"] == pytest.approx(0.5 * 0.35)
    assert items(of)["board-screw"] == 4


def test_boxes_are_cut_glued_left_to_set_and_fitted() -> None:
    name = next(p.id for p in PICKUP.proposals if "roof-?.kind" in p.set)
    build = PICKUP.build(name)
    of = outlay(build)
    built = ["box-cut", "box-glue", "box-set", "box-fit"]
    assert [id for id in steps(of) if id.startswith("box")] == built
    assert {"carry-out", "unscrew", "put-back"} <= set(steps(of))
    count = len(changes(build).at("boxed"))
    assert count == 2
    bought = items(of)
    assert bought["terminal"] == bought["strap"] == count
    assert bought["panel"] == pytest.approx(count * panels_of_box(6e-3)[0])
    setting = next(step for step in of.steps if step.id == "box-set")
    assert "night" in setting.how
    assert setting.minutes.typical < 10
    # An evening for two: between two and five hours of cutting, gluing and fitting.
    worked = sum(step.minutes.typical for step in of.steps if step.id in built)
    assert 120.0 < worked < 300.0


@pytest.mark.parametrize("litres", [1.0, 6.0, 18.0, 60.0])
def test_the_board_of_a_box_is_that_of_a_cuboid(litres: float) -> None:
    # Closed form: no box of this volume has less board than a cube, and these edges take up to
    # a tenth more; its walls of 18 mm lie outside the air.
    air = 1e-3 * litres
    area, seams = panels_of_box(air)
    edge = (1.1 * air) ** (1 / 3) + 2 * BOARD
    assert 6 * edge**2 < area < 1.15 * 6 * edge**2
    assert 12 * edge < seams < 1.15 * 12 * edge


def test_the_job_sheet_has_the_box_and_no_window_where_there_is_none() -> None:
    answers = Answers(CONVERTIBLE.build("wadding"))
    sheet = sheet_data(answers)
    assert "Fill the box" in [step["title"] for step in sheet["steps"]]
    told = [text for step in sheet["steps"] for text in step["cautions"]] + sheet["cautions"]
    assert not [text for text in told if "glass" in text or "regulator" in text]
    assert "battery-off" not in [step.id for step in answers.taken.steps]
    of_fit = [caution.id for caution in cw.fit(CONVERTIBLE.build("wadding")).cautions]
    assert "glass" not in of_fit
    assert "glass" in [caution.id for caution in cw.fit(CONVERTIBLE.build()).cautions]


@pytest.mark.parametrize(("made", "plan"), [(CONVERTIBLE, "board-instead"), (PICKUP, "boxed")])
def test_quote_and_sheet_hold_every_step(made: Job, plan: str) -> None:
    answers = Answers(made.build(plan))
    of, bill = answers.taken, bill_of(answers)
    sheet, quote = sheet_data(answers), parts_data(answers, bill)
    assert [step["title"] for step in sheet["steps"]] == [step.title for step in of.steps]
    assert sheet["hours"] == quote["hours"]
    assert sheet["minutes"]["typical"] == pytest.approx(60 * of.reckoned.typical)
    assert {line.title for line in of.lines} <= set(csv_titles(csv_text(bill.taken)))


def csv_titles(text: str) -> list[str]:
    return [row["item"] for row in csv.DictReader(io.StringIO(text, newline=""))]


# --- Places that a plan adds --------------------------------------------------------------------

DOORS = (
    '[job]\nhour_rate = 40\ncurrency = "EUR"\n',
    location("left", "F165", kind="door", more=DOOR),
    channel("front-left", "left"),
)


@cache
def adding(kind: str, more: str) -> Job:
    found = job(*DOORS).to_dict()
    rear: dict[str, object] = {
        "id": "rear",
        "kind": kind,
        "at": ["-0.6 m", "0 m", "0.7 m"],
        "driver": "F165",
    }
    for name, value in cw_fields(more):
        table = rear.setdefault(name.split(".")[0], {})
        assert isinstance(table, dict)
        table[name.split(".")[1]] = value
    plan = {
        "id": "plan",
        "add": {"location": [rear], "channel": [{"id": "rear-left", "load": "rear"}]},
    }
    return from_dict(found | {"proposal": [plan]})


def cw_fields(more: str) -> list[tuple[str, str]]:
    pairs = (each.split("=") for each in more.split("; ") if each)
    return [(name.strip(), value.strip()) for name, value in pairs]


@pytest.mark.parametrize(
    ("kind", "more", "wanted", "bought"),
    [
        ("box", "cavity.volume=12 L", ["box-cut", "box-glue", "box-set", "box-fit"], "panel"),
        (
            "box",
            "cavity.volume=12 L; cavity.fill=light",
            ["box-cut", "box-glue", "box-set", "fill", "box-fit"],
            "wadding",
        ),
        (
            "open",
            "mount.baffle_width=400 mm; mount.baffle_height=300 mm",
            ["board-cut", "board-fit"],
            "panel",
        ),
        ("boot-shelf", "", ["new-hole"], "screw"),
        ("panel", "", ["new-hole"], "screw"),
    ],
)
def test_an_added_body_is_built(kind: str, more: str, wanted: list[str], bought: str) -> None:
    of = outlay(adding(kind, more).build("plan"))
    made = ("box", "board", "fill", "new-hole")
    assert [id for id in steps(of) if id.startswith(made)] == wanted
    assert items(of)[bought] > 0.0
    assert "driver" in steps(of)
    assert "put-back" not in steps(of)


def test_wadding_along_the_walls_is_less_than_a_box_full() -> None:
    light, full = (
        items(outlay(adding("box", f"cavity.volume=12 L; cavity.fill={fill}").build("plan")))
        for fill in ("light", "full")
    )
    assert 2.0 < light["wadding"] < full["wadding"] == pytest.approx(12.0)


def test_a_factory_opening_under_a_blank_is_not_cut() -> None:
    cut = adding("panel", "mount.cutout=130 mm")
    there = adding("panel", "mount.cutout=150 mm; mount.opening=there")
    before, after = outlay(cut.build("plan")), outlay(there.build("plan"))
    assert "new-hole" in steps(before)
    assert "new-hole" not in steps(after)
    assert "blank-off" in steps(after)
    assert after.hours.typical < before.hours.typical - 0.3
    drawn = drawings(there.build("plan"))
    assert not [each for each in drawn.drawings if "new-opening" in each.name]
    assert "cutting" not in [caution.id for caution in cw.fit(there.build("plan")).cautions]


def test_a_factory_opening_that_is_too_small_is_enlarged() -> None:
    of = outlay(adding("panel", "mount.cutout=130 mm; mount.opening=there").build("plan"))
    assert [id for id in steps(of) if id in ("cut", "new-hole", "blank-off")] == [
        "blank-off",
        "cut",
    ]
