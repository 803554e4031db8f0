"""The job sheet: what the reports say stands on it, every caution too, and the same bytes again."""

import io
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

import pdfplumber
import pytest

import conewright as cw
from conewright.data_files import data_rows
from conewright.papers.press.answers import Answers
from conewright.papers.press.head import head
from conewright.papers.press.previews import pages_of, previews
from conewright.papers.press.typeset import PAPER_SIZE_MM, Paper, checked_paper, typeset
from conewright.papers.work.checks import expected, hand_over, power_up, settings
from conewright.papers.work.job_sheet import job_sheet, places
from conewright.papers.work.parts_sheet import bill_of
from conewright.stages.common.changes import changes
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.outlay.steps import total_minutes
from conewright.stages.report.care import cautions_for
from conewright.stages.report.data import Severity

MM_PER_POINT = 25.4 / 72.0
PLAN = "slim-fronts"


@cache
def answers(plan: str | None = PLAN) -> Answers:
    """Return the answers about a plan of the demo; each stage is asked once for all tests."""
    return Answers(cw.demo_job().build(plan))


@cache
def sheet(plan: str | None = PLAN, paper: Paper = "A4") -> bytes:
    return job_sheet(answers(plan), paper=paper)


@dataclass(frozen=True)
class Sheet:
    """A page as it was read back: its text, its letters, its size."""

    text: str
    first_column: str
    letters: list[dict[str, Any]]
    width: float
    height: float


@cache
def pages(plan: str | None = PLAN, paper: Paper = "A4") -> list[Sheet]:
    """Return the pages of a job sheet, read back once for all tests."""
    with pdfplumber.open(io.BytesIO(sheet(plan, paper))) as pdf:
        return [
            Sheet(
                text=page.extract_text(),
                # The first column of a table alone, so that no line holds words of another one.
                first_column=page.crop((0, 0, 88.0 / MM_PER_POINT, page.height)).extract_text(),
                letters=[letter for letter in page.chars if letter["text"].strip()],
                width=float(page.width),
                height=float(page.height),
            )
            for page in pdf.pages
        ]


def words(plan: str | None = PLAN) -> str:
    """Text of all pages without any blanks: where lines break is no matter."""
    return bare("".join(page.text for page in pages(plan)))


def bare(text: str) -> str:
    return "".join(text.split())


# --- As a file ------------------------------------------------------------------------------------


def test_the_same_job_gives_the_same_bytes() -> None:
    again = job_sheet(Answers(cw.demo_job().build(PLAN)))
    assert again == sheet()
    assert b"CreationDate" not in again
    assert b"/Author" not in again


def test_another_job_gives_another_fingerprint() -> None:
    job = cw.loads(cw.demo_text().replace("roof speakers were added", "roof speakers were moved"))
    mine, other = (head(each.build(PLAN), "x")["revision"] for each in (cw.demo_job(), job))
    assert mine != other
    assert re.fullmatch("job [0-9a-f]{8}", other)
    assert head(job.build(PLAN), "x", revision="revision 7")["revision"] == "revision 7"


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_pages_have_the_size_of_the_paper_and_number_themselves(paper: Paper) -> None:
    found = pages(PLAN, paper)
    assert pages_of(sheet(PLAN, paper)) == len(found)
    for number, page in enumerate(found, start=1):
        size = (page.width * MM_PER_POINT, page.height * MM_PER_POINT)
        assert size == pytest.approx(PAPER_SIZE_MM[paper], abs=0.05)
        assert f"page {number} of {len(found)}" in page.text
        assert "Mobile library van" in page.text.splitlines()[0]


def test_nothing_is_smaller_than_ten_points_and_nothing_leaves_the_margins() -> None:
    letters = [letter for page in pages() for letter in page.letters]
    assert len(letters) > 5000
    assert min(letter["size"] for letter in letters) >= 10.0 - 1e-6
    width, height = pages()[0].width, pages()[0].height
    edge = 15.0 / MM_PER_POINT - 0.5
    assert min(letter["x0"] for letter in letters) >= edge
    assert max(letter["x1"] for letter in letters) <= width - edge
    assert min(letter["top"] for letter in letters) >= edge - 3.0
    assert max(letter["bottom"] for letter in letters) <= height - edge + 3.0


def test_every_font_is_embedded() -> None:
    names = {letter["fontname"] for page in pages() for letter in page.letters}
    # A subset that is embedded has six letters and a plus before its name (ISO 32000-1, 9.6.4).
    assert all(re.fullmatch(r"[A-Z]{6}\+DejaVuSans(-\w+)?", name) for name in names), names
    assert sheet().count(b"/FontFile2") >= len(names) >= 2


def test_the_sheet_needs_no_colour_but_in_its_picture() -> None:
    for letter in (letter for page in pages() for letter in page.letters):
        assert len(set(letter["non_stroking_color"])) == 1, letter["text"]


def test_pages_can_be_looked_at() -> None:
    pictures = previews(sheet(), dots_per_inch=20.0)
    assert len(pictures) == pages_of(sheet())
    assert all(picture.startswith(b"\x89PNG") for picture in pictures)
    assert len(set(pictures)) == len(pictures)


# --- What it says ---------------------------------------------------------------------------------


def test_complaint_cause_and_proof_are_those_of_find() -> None:
    for text in ("Thin since the new loudspeakers.", "It cuts out when loud or hot, and returns."):
        assert bare(text) in words()
    causes = [verdict for verdict in answers().find.verdicts if verdict.subject == "cause"]
    assert len(causes) == 4
    for verdict in causes:
        assert bare(verdict.text) in words()


def test_answers_and_warnings_are_those_of_the_reports() -> None:
    for report in (answers().hear, answers().feed, answers().fit):
        assert bare(report.answer) in words()
        for verdict in report.verdicts:
            if verdict.severity is Severity.WARN:
                assert bare(verdict.text) in words()


@pytest.mark.parametrize("plan", [PLAN, None])
def test_every_caution_that_applies_is_printed(plan: str | None) -> None:
    cautions = cautions_for("make", answers(plan).build)
    assert len(cautions) >= 4
    for caution in cautions:
        assert bare(caution.text) in words(plan), caution.id


def test_the_work_of_a_plan_is_in_order() -> None:
    steps = [step.id for step in answers().taken.steps]
    assert steps == [
        *("note", "before", "battery-off", "open", "offer-up", "driver", "ring", "turn"),
        *("rewire", "battery-on", "power-up", "set", "close", "prove"),
    ]
    by_id = {step.id: step for step in answers().taken.steps}
    assert by_id["turn"].subjects == ("door-fr",)
    assert by_id["rewire"].subjects == ("rear-left", "rear-right")
    # The rows of the table by hand: 12..20..35 the first door, 10..15..30 the second.
    assert (by_id["open"].minutes.low, by_id["open"].minutes.high) == (22.0, 65.0)
    assert total_minutes((by_id["open"], by_id["turn"])).typical == 35.0 + 6.0


@pytest.mark.parametrize(
    ("plan", "kind", "places"),
    [
        ("larger-fronts", "cuts", ("door-fl", "door-fr")),
        ("larger-fronts", "rewired", ()),
        ("put-right-patched", "patched", ("door-fl", "door-fr")),
        ("put-right-patched", "new-driver", ()),
        ("put-right", "patched", ()),
        (None, "opened", ()),
        (PLAN, "recabled", ()),
        (PLAN, "new-radio", ()),
    ],
)
def test_what_a_plan_changes(plan: str | None, kind: str, places: tuple[str, ...]) -> None:
    assert changes(answers(plan).build).by_kind[kind] == places


def test_a_plan_that_opens_nothing_asks_for_no_tools_that_open() -> None:
    steps = {step.id for step in answers(None).taken.steps}
    assert steps == {"note", "before", "power-up", "set", "prove"}


OTHER_WORK = """
[[proposal]]
id = "radio"
hours = 1
[proposal.set]
"head_unit.output" = "bridge"
"head_unit.minimum_load" = "4 ohm"

[[proposal]]
id = "cable"
hours = 2
[proposal.set]
"radio-feed.size" = "4 mm2"
"radio-feed.fuse" = "20 A"

[[proposal]]
id = "filter"
hours = 0.5
[proposal.set]
"front-left.high_pass" = "80 Hz"
"""


@cache
def other(plan: str) -> Answers:
    text = cw.demo_text().replace('output = "bridge"', 'output = "common-ground"')
    # A hole that is smaller than its loudspeaker is said to need: what sits there sits there.
    text = text.replace('cutout = "94 mm ± 1 mm"', 'cutout = "80 mm ± 1 mm"')
    return Answers(cw.loads(text + OTHER_WORK).build(plan))


@pytest.mark.parametrize(("plan", "step"), [("radio", "radio"), ("cable", "cable")])
def test_a_new_radio_and_a_new_cable_are_work_at_a_dead_battery(plan: str, step: str) -> None:
    steps = [each.id for each in other(plan).taken.steps]
    inner = ["battery-off", step, "battery-on"]
    assert steps == ["note", "before", *inner, "power-up", "set", "prove"]
    assert "battery" in {caution.id for caution in cautions_for("make", other(plan).build)}


def test_a_new_cable_is_told_with_its_fuse() -> None:
    asked = other("cable")
    step = next(each for each in asked.taken.steps if each.id == "cable")
    assert step.subjects == ("radio-feed",)
    told = expected(asked, step.expect, "radio-feed")
    assert told == "radio-feed: 4 mm², 2.5 m, copper; a 20 A fuse (yellow), 100 mm along it."


def test_hours_that_are_written_are_priced_whatever_changes() -> None:
    # by the table a filter is a few minutes between readings; half an hour is written
    assert bill_of(other("filter")).taken.hours.typical == pytest.approx(0.5)


# --- What to read ---------------------------------------------------------------------------------


def test_first_power_up_expects_what_this_vehicle_shows() -> None:
    checks = {check.id: check for check in power_up(answers())}
    assert list(checks) == ["pair", "leg", "silent", "bias", "offset", "one", "all"]
    told = {line.subject: line.expect for line in checks["pair"].lines}
    # By hand: coil 3.4 ohm and 2 x 3.8 m of 0.5 mm2 (39 ohm/km, IEC 60228 class 5).
    assert told["front-left"] == "3.7 ohm"
    assert told["rear-left"].startswith("7.3 ohm")
    assert {line.expect for line in checks["bias"].lines} == {"6.9 V"}
    assert checks["silent"].lines[0].expect == "13.8 V at the plug"


def test_a_common_ground_radio_rests_at_nothing() -> None:
    text = cw.demo_text().replace('output = "bridge"', 'output = "common-ground"')
    checks = {check.id: check for check in power_up(Answers(cw.loads(text).build(PLAN)))}
    assert "bias" not in checks
    assert {line.expect for line in checks["bias-common"].lines} == {"0 V"}


def test_a_channel_that_nobody_knows_is_read_all_the_same() -> None:
    text = cw.demo_text().replace('load = "side-rl | roof-rl"', 'load = "unknown"')
    text = text.replace('"rear-left.load" = "side-rl + roof-rl"\n', "")
    told = Answers(cw.loads(text).build(PLAN))
    checks = {check.id: check for check in power_up(told)}
    assert {line.subject: line.expect for line in checks["pair"].lines}["rear-left"] == "–"
    assert "rear-left" in {line.subject for line in checks["offset"].lines}
    loads = {place["channel"]: place["load"] for place in places(told.build)}
    assert loads["rear-left"].startswith("unknown")
    assert loads["rear-right"] == "side-rr + roof-rr"


def test_hand_over_has_every_limit_and_what_was_read_before() -> None:
    checks = {check.id: check for check in hand_over(answers())}
    # Only doors are opened here, all with a window; nothing comes back through the body.
    every = {row["item"] for row in data_rows("papers", "handover.csv")}
    assert set(checks) == every - {"behind", "pair-chassis"}
    before = {line.subject: line.before for line in checks["pair"].lines}
    assert before == {
        "front-left": "",
        "front-right": "",
        "rear-left": "2.2 ohm",
        "rear-right": "2.3 ohm",
    }
    # 1.72 A through 0.10 ohm.
    assert checks["feed"].lines[0].expect.startswith("0.17 V")
    # 0.4 x 49 Ah over 19 mA and self-discharge, as the supply plan has it.
    assert checks["sleep"].lines[0].expect.startswith("19 mA asleep: about 39 days")
    told = bare(pages()[-1].first_column)
    for check in checks.values():
        assert bare(check.title + check.limit) in told


def test_what_does_not_apply_is_not_asked_for() -> None:
    items = {check.id for check in hand_over(answers(None))}
    assert {"clearance", "water"} & items == set()
    assert "lamp" in items


def test_the_settings_card_takes_the_highest_high_pass_of_a_channel() -> None:
    card = settings(answers())
    told = {line.subject: line.expect for line in card.high_pass}
    assert told["front-left"] == answers().hear.figure("door-fl.high_pass").text
    highest = max(
        answers().hear.figure(f"{place}.high_pass").value or 0.0 for place in ("side-rl", "roof-rl")
    )
    assert told["rear-left"].startswith(f"{highest:g} Hz")
    # An open output clips at the supply: 13.8 V / sqrt 2 = 9.76 V.
    assert any("near 9.8 V" in text for text in card.mark)
    assert len(card.off) == 4


# --- The setter -----------------------------------------------------------------------------------


def test_papers_are_known_in_any_case() -> None:
    assert checked_paper(" letter ") == "Letter"
    with pytest.raises(cw.BadInputError, match=r'paper: found "A3"; allowed: A4, Letter'):
        checked_paper("A3")


def test_a_sheet_that_cannot_be_set_is_named() -> None:
    with pytest.raises(cw.BadInputError, match=r"^sheet\.typ: the sheet cannot be set: "):
        typeset("sheet.typ", {"head": {}})


def test_there_are_no_sheets_but_ours() -> None:
    with pytest.raises(cw.BadInputError, match="there is no such sheet"):
        typeset("../../cli/app.py", {})


def test_a_door_with_a_sensor_carries_its_cautions_into_the_work() -> None:
    text = cw.demo_text().replace('door_sensor = "none"', 'door_sensor = "impact"')
    build = cw.loads(text).build(PLAN)
    cautions = {caution.id for caution in cautions_for("make", build)}
    steps = {step.id: step for step in outlay(build).steps}
    assert {"impact-sensor-plan", "restraint-lamp"} <= cautions
    # It is known: nobody is sent to find out.
    assert "restraints-plan" not in cautions
    assert "impact-sensor-plan" in steps["battery-off"].cautions
    assert "restraint-lamp" in steps["battery-on"].cautions
