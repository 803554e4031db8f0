"""Parts, hours, contingency, quote."""

import csv
import io
from dataclasses import replace
from math import comb, hypot, pi

import pdfplumber
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_demo import AMPLIFIER_FEED, plain_job, plain_text

import conewright as cw
from conewright.data_files import data_rows
from conewright.papers.press.answers import Answers
from conewright.papers.templates.drawings import drawings
from conewright.papers.wiring.schedule import schedule
from conewright.papers.work.bill import Bill, csv_text
from conewright.papers.work.parts_sheet import bill_of, parts_sheet
from conewright.stages.outlay.amounts import (
    Amount,
    Line,
    amount_of,
    chance_of_any,
    order_quantity,
    together,
)


def billed(job: cw.Job, proposal: str | None) -> Bill:
    return bill_of(Answers(job.build(proposal)))


def line(made: Bill, title: str) -> Line:
    return next(each for each in made.taken.lines if each.title.startswith(title))


@pytest.fixture(scope="module")
def slim() -> Bill:
    return billed(plain_job(), "slim-fronts")


@pytest.fixture(scope="module")
def patched() -> Bill:
    return billed(plain_job(), "put-right-patched")


def test_new_drivers_at_the_price_of_the_pair(slim: Bill) -> None:
    driver = line(slim, "130 mm coaxial, slim")
    assert (driver.quantity, driver.unit, driver.cost.typical) == (1, "pair", 58)
    assert driver.source == "the job's price"


def test_a_driver_without_a_price_takes_the_usual_one() -> None:
    job = cw.loads(plain_text().replace("price = 58 ", "# "))
    driver = line(billed(job, "slim-fronts"), "130 mm coaxial, slim")
    # table of usual prices of one, 130 mm: 12 / 30 / 90
    assert (driver.quantity, driver.unit) == (2, "piece")
    assert driver.cost == Amount(24, 60, 180)
    assert "from memory" in driver.source


def test_metres_of_ring_are_near_those_of_the_drawings(slim: Bill) -> None:
    drawn = drawings(plain_job().build("slim-fronts")).drawings
    rings = [each for each in drawn if each.name.endswith("-sealing-ring")]
    metres = sum((each.length_mm or 0.0) * len(each.cut_from) for each in rings) * 1e-3
    billed_metres = sum(
        each.quantity for each in slim.taken.lines if each.title.startswith("sealing ring")
    )
    assert len(rings) == 2
    # a round ring's middle is a circle: the closed form is what is drawn
    assert billed_metres == pytest.approx(metres, rel=1e-6)
    # a ring of a 130 mm driver is about as long as its screw circle round
    assert metres / sum(len(each.cut_from) for each in rings) == pytest.approx(0.4, abs=0.05)


def test_kilograms_of_patch_from_the_openings(patched: Bill) -> None:
    patch = line(patched, "bonded patch")
    # closed form: one round opening of 60 cm2 in each door, 15 mm overlap, 4 kg/m2
    radius = (60e-4 / pi) ** 0.5 + 15e-3
    assert patch.quantity == pytest.approx(2 * pi * radius**2 * 4.0, rel=1e-9)
    assert patch.unit == "kg"
    assert "none is written" in patch.note


def test_a_drawn_patch_weighs_what_its_template_says() -> None:
    build = cw.demo_job().build("put-right-patched")
    patch = line(bill_of(Answers(build)), "bonded patch")
    notes = [each.notes[0] for each in drawings(build).drawings if "-patch-" in each.name]
    assert len(notes) == 2
    # "Cut one from 3 mm butyl sheet: 115 cm², 0.06 kg."
    told = [float(note.rsplit(", ", 1)[1].removesuffix(" kg.")) for note in notes]
    # drawn with round corners, and drawn back where a drain is near
    assert patch.quantity == pytest.approx(sum(told), rel=0.05)
    assert patch.note == "234 cm², from the openings"


def test_screws_follow_the_frames(slim: Bill) -> None:
    # two drivers of four screws, one to spare for each
    assert line(slim, "screw for the driver").quantity == 10
    assert line(slim, "butyl sealing cord").quantity == pytest.approx(2 * pi * 0.136)


def test_joints_follow_the_wiring_schedule(slim: Bill) -> None:
    plan = schedule(plain_job().build("slim-fronts"))
    new = sum(splice.new for splice in plan.splices)
    assert line(slim, "crimp splice").quantity == new > 0
    assert line(slim, "adhesive").quantity == pytest.approx(0.04 * new)


def test_a_cable_is_bought_where_a_plan_lays_it_and_left_where_it_does_not() -> None:
    demo = plain_text().replace("[[reading]]", f"{AMPLIFIER_FEED}\n[[reading]]", 1)
    left = billed(cw.loads(demo), "put-right")
    assert not [each for each in left.taken.lines if "cable" in each.title or "fuse" in each.title]
    text = demo.replace("[proposal.set]", '[proposal.set]\n"amplifier-feed.size" = "13 mm2"')
    made = billed(cw.loads(text), "put-right")
    cables = [each for each in made.taken.lines if "cable" in each.title]
    assert [(each.title, each.quantity) for each in cables] == [("13 mm² copper cable", 5.5)]
    # 0.6 for each mm2 and metre
    assert cables[0].price.typical == pytest.approx(7.8)
    assert line(made, "40 A fuse with its holder").quantity == 1
    assert line(made, "grommet").quantity == 2
    assert [step.id for step in made.taken.steps if step.id == "cable"] == ["cable"]


def test_hours_are_the_proposals_with_the_spread_of_its_steps(slim: Bill) -> None:
    assert slim.taken.hours.typical == pytest.approx(2.5)
    assert slim.taken.hours.low < 2.5 < slim.taken.hours.high
    work = line(slim, "work")
    assert work.cost.typical == pytest.approx(2.5 * 38)


def test_hours_of_a_proposal_that_says_none() -> None:
    job = cw.loads(plain_text().replace("hours = 1.5\n", ""))
    assert 1.0 < billed(job, "put-right").taken.hours.typical < 5.0


def test_material_of_the_proposal_is_not_counted_twice(patched: Bill, slim: Bill) -> None:
    # put-right-patched reckons 33 for material, slim-fronts 9, less than is computed
    assert patched.taken.sum_of("material").typical == pytest.approx(33.0)
    assert slim.taken.sum_of("material").typical > 9.0
    assert any("The larger is used" in note for note in slim.notes)
    assert not any("The larger is used" in note for note in patched.notes)


def test_the_vehicle_as_found_takes_nothing() -> None:
    made = billed(plain_job(), None)
    assert made.taken.lines == ()
    assert made.taken.total == Amount(0.0, 0.0, 0.0)


def test_total_is_the_sum_of_its_lines(slim: Bill) -> None:
    assert slim.taken.total.typical == pytest.approx(
        sum(each.cost.typical for each in slim.taken.lines)
    )
    assert slim.taken.total.low >= sum(each.cost.low for each in slim.taken.lines)
    assert slim.taken.total.high <= sum(each.cost.high for each in slim.taken.lines)


def test_contingency_is_chance_times_cost(slim: Bill) -> None:
    kept = line(slim, "surprises")
    assert kept.cost.typical == pytest.approx(
        sum(each.chance * each.cost.typical for each in slim.taken.surprises)
    )
    assert slim.taken.chance == pytest.approx(
        chance_of_any(each.chance for each in slim.taken.surprises)
    )
    assert kept.cost.low == 0.0


def test_verdict_against_the_budget(slim: Bill) -> None:
    assert slim.verdict.startswith("Over the budget of 180 EUR by 20")
    within = billed(plain_job(), "put-right").verdict
    assert within == "Within the budget of 180 EUR, surprises and all."
    free = cw.loads(plain_text().replace("budget = 180", ""))
    assert billed(free, "put-right").verdict == ""


def test_what_has_no_price_is_named() -> None:
    job = cw.loads(plain_text().replace("hour_rate = 38", ""))
    made = billed(job, "put-right")
    assert made.taken.unpriced == ("the work: give job.hour_rate",)
    assert all(each.kind != "work" for each in made.taken.lines)


def test_alternates_are_as_large_and_not_fitted() -> None:
    extra = """
[[driver]]
id = "other-130"
name = "130 mm wide-band"
size = "130 mm"
age = "new"
rated_impedance = "4 ohm"
price = 41

[[reading]]"""
    job = cw.loads(plain_text().replace("[[reading]]", extra, 1))
    assert billed(job, "slim-fronts").alternates == ("130 mm wide-band (130 mm), 41 the pair",)
    assert billed(job, "put-right").alternates == ()


def test_csv_reads_back_with_the_same_sums(slim: Bill) -> None:
    text = csv_text(slim.taken)
    # RFC 4180: lines end in CR LF
    assert text.count("\r\n") == text.count("\n") == len(slim.taken.lines) + 2
    read = list(csv.DictReader(io.StringIO(text, newline="")))
    assert read[-1]["kind"] == "total"
    costs = [float(row["cost_typical"]) for row in read[:-1]]
    assert sum(costs) == pytest.approx(float(read[-1]["cost_typical"]), abs=0.01 * len(costs))
    assert read[0]["item"] == "130 mm coaxial, slim basket"
    assert {row["currency"] for row in read} == {"EUR"}
    (work,) = (row for row in read if row["kind"] == "work")
    assert work["note"] == f"{slim.taken.hours.low:.1f} to {slim.taken.hours.high:.1f} h"
    # Spreads add by squares, as the last line says.
    assert "add by squares" in read[-1]["note"]
    above = hypot(*(float(r["cost_high"]) - float(r["cost_typical"]) for r in read[:-1]))
    total = float(read[-1]["cost_high"]) - float(read[-1]["cost_typical"])
    assert above == pytest.approx(total, abs=0.05)


def in_a_sheet(made: Bill, text: str) -> list[dict[str, str]]:
    """Return the rows of a bill with one line, all of whose words are that text."""
    line = replace(made.taken.lines[0], title=text, note=text, source=text)
    written = csv_text(replace(made.taken, lines=(line,), currency=text))
    return list(csv.DictReader(io.StringIO(written, newline="")))


# OWASP ASVS 5.0, 1.2.10; CWE-1236: what a spreadsheet may take for a formula.
@pytest.mark.parametrize("before", ["", " ", "\t", "\r", "\n", " \t", "\0"])
@pytest.mark.parametrize("sign", ["=", "+", "-", "@"])
def test_no_text_of_the_csv_is_taken_for_a_formula(slim: Bill, before: str, sign: str) -> None:
    read = in_a_sheet(slim, f'{before}{sign}1+1, "slim"')
    for row, name in ((0, "item"), (0, "note"), (0, "source"), (0, "currency"), (-1, "currency")):
        assert read[row][name] == f'\'{before}{sign}1+1, "slim"'


@pytest.mark.parametrize(
    ("text", "shown"),
    [("\tslim", "'\tslim"), ("\rslim", "'\rslim"), ("a=1", "a=1"), (" slim", " slim")],
)
def test_only_what_a_spreadsheet_would_take_is_marked(slim: Bill, text: str, shown: str) -> None:
    read = in_a_sheet(slim, text)
    assert read[0]["item"] == shown


def test_the_sheet_has_the_list_and_the_quote(slim: Bill) -> None:
    answers = Answers(plain_job().build("slim-fronts"))
    pdf = parts_sheet(answers, slim)
    assert pdf == parts_sheet(answers, slim)
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        text = "\n".join(page.extract_text() for page in document.pages)
    for word in ("Parts list", "Quote", "130 mm coaxial, slim basket", slim.verdict, "Not in it"):
        assert word in text
    for exclusion in slim.exclusions:
        assert exclusion.split()[0] in text


def test_every_price_has_its_source_and_its_order() -> None:
    for name in ("prices.csv", "driver_prices.csv"):
        for row in data_rows("catalogue", name):
            assert row["source"]
            amount = amount_of(row)
            assert 0.0 < amount.low < amount.typical < amount.high


@pytest.mark.parametrize(("count", "chance"), [(10, 0.12), (10, 0.1), (20, 0.15), (1, 0.5)])
def test_clips_to_order(count: int, chance: float) -> None:
    # closed form: smallest k with binomial P(X <= k) >= 0.95
    def up_to(k: int) -> float:
        return sum(comb(count, i) * chance**i * (1 - chance) ** (count - i) for i in range(k + 1))

    found = order_quantity(count=count, chance=chance)
    assert up_to(found) >= 0.95
    assert found == 0 or up_to(found - 1) < 0.95


def test_ten_clips_want_three_spare() -> None:
    # workshop rule: of ten clips order three
    assert order_quantity(count=10, chance=0.12) == 3


amounts = st.tuples(*[st.floats(0.0, 1e4) for _ in range(3)]).map(
    lambda three: Amount(*sorted(three))
)


@settings(deadline=None, derandomize=True, max_examples=80)
@given(known=st.lists(amounts, max_size=6))
def test_sums_keep_their_order_and_stay_within_the_plain_sums(known: list[Amount]) -> None:
    whole = together(known)
    assert whole.low <= whole.typical + 1e-6
    assert whole.typical <= whole.high + 1e-6
    assert whole.low >= sum(each.low for each in known) - 1e-6
    assert whole.high <= sum(each.high for each in known) + 1e-6


def test_products_of_amounts() -> None:
    # closed form: relative spreads add by squares
    product = Amount(8, 10, 14).by(Amount(3, 3, 3))
    assert product == Amount(24, 30, 42)
    both = Amount(10, 10, 13).by(Amount(10, 10, 14))
    assert both.high == pytest.approx(100 + 50)
