"""Plans side by side on the quote: those that compare lets be taken, with its numbers."""

import io

import pdfplumber
import pytest

import conewright as cw
from conewright.job.text.starter import demo_text
from conewright.papers.press.answers import Answers
from conewright.papers.work.alternatives import Alternatives, alternatives
from conewright.papers.work.parts_sheet import bill_of, parts_data, parts_sheet
from conewright.stages.report.data import Report

RICH = demo_text().replace("budget = 180", "budget = 230")
WISHED = RICH.replace("[vehicle]", '[wishes]\nbass = "matters most"\n[vehicle]', 1)
POOR = demo_text().replace("budget = 180", "budget = 60")


@pytest.fixture(scope="module")
def job() -> cw.Job:
    return cw.loads(WISHED)


@pytest.fixture(scope="module")
def compared(job: cw.Job) -> Report:
    return cw.compare(job)


@pytest.fixture(scope="module")
def found(job: cw.Job) -> Alternatives:
    return alternatives(job.build("put-right-patched"))


def test_the_recommended_one_comes_first(found: Alternatives, compared: Report) -> None:
    assert [plan.role for plan in found.plans] == ["Recommended", "Next best", "Also possible"]
    assert f"Take {found.plans[0].id} " in compared.answer
    refused = {v.subject for v in compared.verdicts if v.id.endswith((".risk", ".idle"))}
    assert not refused & {plan.id for plan in found.plans}
    assert [plan.id for plan in found.plans if plan.this] == ["put-right-patched"]
    assert found.against == ""


def test_every_number_is_that_of_compare(found: Alternatives, compared: Report) -> None:
    for plan in found.plans:
        for name, amount in (("cost", plan.cost), ("hours", plan.hours)):
            figure = compared.figure(f"{plan.id}.{name}")
            assert (figure.low, figure.value, figure.high) == (
                amount.low,
                amount.typical,
                amount.high,
            )
        points = compared.figure(f"{plan.id}.points").value
        assert points is not None
        assert float(plan.points) == pytest.approx(points, abs=0.51)


def test_what_it_cures_and_what_doing_nothing_leaves(found: Alternatives) -> None:
    assert found.undone == (
        "one driver connected the wrong way round: front right door",
        "load below the radio's rating: rear-left and rear-right",
    )
    assert all((plan.cures, plan.leaves) == (found.undone, ()) for plan in found.plans)
    assert "Sealing ring: front left door and front right door" in found.plans[0].done
    assert not any(step.startswith(("Trim", "Battery", "Set the")) for step in found.plans[0].done)


def test_a_plan_that_may_not_be_taken_says_why_it_is_not_among_them() -> None:
    told = alternatives(cw.demo_job().build("slim-fronts"))
    assert [plan.id for plan in told.plans] == ["put-right", "put-right-patched"]
    assert told.against.startswith("it costs 204.6, and 180 is the most that is wanted")
    assert not any(plan.points for plan in told.plans), "nothing was asked for"


def test_without_a_choice_there_is_none() -> None:
    none = Alternatives((), "", ())
    assert alternatives(cw.demo_job().build()) == none
    nothing = alternatives(cw.loads(POOR).build("put-right"))
    assert nothing.plans == ()
    assert "60 is the most that is wanted" in nothing.against
    made = Answers(cw.loads(POOR).build("put-right"))
    assert parts_data(made, bill_of(made))["choice"]["plans"] == []


def test_on_paper_each_has_a_square_to_tick(job: cw.Job) -> None:
    made = Answers(job.build("put-right-patched"))
    with pdfplumber.open(io.BytesIO(parts_sheet(made, bill_of(made)))) as pdf:
        pages = [" ".join(page.extract_text().split()) for page in pdf.pages]
    choice = next(page for page in pages if "Plans to choose from" in page)
    for words in (
        "Recommended",
        "Next best",
        "this quote",
        "69 to 152",
        "108 to 229",
        "165 to 295",
    ):
        assert words in choice, words
    assert choice.count("this one") == 3
    assert pages.index(choice) < next(n for n, page in enumerate(pages) if "What it costs" in page)
    quoted = made.taken.total.typical
    assert f"{quoted:.0f}" in pages[-1]
