"""Parts of a list that a plan buys: at their price, once, in the place of the usual ones."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import pdfplumber
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from workbench import DOOR, channel, job, location

from conewright.job.builds.job import Job
from conewright.job.text.parsing import from_dict
from conewright.papers.press.answers import Answers
from conewright.papers.work.bill import csv_text
from conewright.papers.work.parts_sheet import bill_of, parts_data, parts_sheet
from conewright.stages.compare.stage import compare
from conewright.stages.outlay.amounts import Amount, Line
from conewright.stages.outlay.needs import value_in
from conewright.stages.outlay.reckoning import Outlay, outlay

Plain = Mapping[str, Any]
LIST = "invented, version 2, sha256 0123456789ab"
HOLED = DOOR.replace('panel_holes = "0 cm2"', 'panel_holes = "120 cm2", panel_hole_count = 2')
DOORS = (
    '[job]\nhour_rate = 40\ncurrency = "EUR"\n',
    '[[feed]]\nid = "boost"\nto = "amplifier"\nfuse = "30 A"\nfuse_distance = "200 mm"\n'
    'length = "5 m"\nsize = "10 mm2"\nmetal = "copper"\ncurrent = "30 A"\n',
    location("left", "F165", kind="door", more=HOLED),
    location("right", "F165", kind="door", at='["0.9 m", "-0.8 m", "0.3 m"]', more=HOLED),
    location("dash", "P77", kind="dash"),
    location("pillar", "T25", kind="dash", at='["0.9 m", "-0.8 m", "0.9 m"]'),
    '[[driver]]\nid = "supplier-1-p-165-i"\nname = "P-165-I"\nsize = "165 mm"\nre = "3.3 ohm"\n'
    "price = 70\n",
    '[[driver]]\nid = "plain"\nname = "plain 165"\nsize = "165 mm"\nre = "3.5 ohm"\n',
    '[[driver]]\nid = "sizeless"\nname = "sizeless one"\nre = "3.5 ohm"\nsd = "130 cm2"\n'
    'frame = { outer = "167 mm", cutout = "144 mm" }\n',
    channel("front-left", "left | (4.7 uF + dash)"),
    channel("front-right", "right | (4.7 uF + pillar)"),
)
RINGS = {"left.mount.ring": False, "right.mount.ring": False}


@cache
def found() -> Job:
    return job(*DOORS, radio='supply = "13.8 V"\nminimum_load = "4 ohm"')


def buy(kind: str, name: str, count: float = 1, price: float | None = 5, **more: object) -> Plain:
    """A purchase of Supplier 1."""
    priced = {} if price is None else {"price": price}
    return {"part": "Supplier 1 X-1", "kind": kind, "name": name, "count": count} | priced | more


def planned(changes: Plain, *bought: Plain, **more: object) -> Job:
    plan = {"id": "plan", "set": changes, "catalogue": LIST, "buy": [*bought], **more}
    return from_dict(found().to_dict() | {"proposal": [plan]})


def taken(changes: Plain, *bought: Plain, **more: object) -> Outlay:
    return outlay(planned(changes, *bought, **more).build("plan"))


def listed(of: Outlay) -> list[Line]:
    """The lines at a price of the list."""
    return [line for line in of.lines if line.source == f"catalogue: {LIST}"]


def lines(of: Outlay, *items: str) -> list[tuple[str, float, float]]:
    """What is left of some items at usual prices: title, quantity, cost."""
    return [
        (line.title, line.quantity, line.cost.typical)
        for line in of.lines
        if line.item in items and not line.source.startswith("catalogue")
    ]


# --- The list's price in the place of the usual one ---------------------------------------------

CROSSED = {
    "front-left.load": "left | (10 uF + dash)",
    "front-right.load": "right | (4.7 uF + 6.8 uF + pillar)",
}
"""Two new capacitors, of 10 and of 6.8 uF."""
FILMED = {"left.cavity.cover": "film", "right.cavity.cover": "film"}
PATCHED = {
    "?e?t.cavity.cover": "patch",
    "right.cavity.cover": "patch",
    "left.cavity.cover_mass": "4 kg/m2",
    "right.cavity.cover_mass": "4 kg/m2",
}
SPACED = {"left.mount.spacer": "12 mm", "right.mount.spacer": "12 mm"}


def ringed() -> Job:
    """The doors as found without rings, and a plan that fits two."""
    raw = found().to_dict()
    for place in raw["location"][:2]:
        place["mount"] = {**place["mount"], "ring": False}
    return from_dict(raw)


def with_rings(*bought: Plain) -> Outlay:
    plan = {"id": "plan", "set": {"left.mount.ring": True, "right.mount.ring": True}}
    raw = ringed().to_dict() | {"proposal": [plan | {"catalogue": LIST, "buy": [*bought]}]}
    return outlay(from_dict(raw).build("plan"))


def test_a_ring_for_each_door_stands_in_the_place_of_the_foam() -> None:
    usual, of = with_rings(), with_rings(buy("ring", "sealing ring", 2, price_low=4, price_high=7))
    foam = lines(usual, "ring")
    assert len(foam) == 2  # two layers
    assert lines(of, "ring") == []
    (ring,) = listed(of)
    assert (ring.title, ring.unit, ring.quantity) == ("sealing ring, Supplier 1 X-1", "piece", 2)
    assert ring.cost == Amount(8, 10, 14)
    assert ring.note == f"for {foam[0][0]} and {foam[1][0]}"
    assert of.computed == pytest.approx(usual.computed - sum(each[2] for each in foam) + 10)


def test_one_ring_for_two_doors_leaves_half_of_the_foam() -> None:
    foam = lines(with_rings(), "ring")
    left = lines(with_rings(buy("ring", "sealing ring", 1)), "ring")
    # A place has a layer of each.
    assert [each[0] for each in left] == [each[0] for each in foam]
    assert [each[1:] for each in left] == [pytest.approx((m / 2, c / 2)) for _, m, c in foam]
    assert lines(with_rings(buy("ring", "rings", 1, per="pair")), "ring") == []


def test_foam_by_the_metre_is_as_it_is_written_and_by_the_kilogram_enough() -> None:
    foam = sum(each[1] for each in lines(with_rings(), "ring"))
    metre = lines(with_rings(buy("ring", "foam", 1.2, per="metre")), "ring")
    assert sum(each[1] for each in metre) == pytest.approx(foam - 1.2)
    assert lines(with_rings(buy("ring", "foam", 0.3, per="kg")), "ring") == []


def test_only_as_many_capacitors_as_are_bought_lose_their_usual_price() -> None:
    usual = lines(taken(CROSSED), "capacitor")
    assert [title.split(" bipolar")[0] for title, _, _ in usual] == ["10 µF", "6.8 µF"]
    of = taken(CROSSED, buy("capacitor", "capacitor, 6.8 uF"))
    assert lines(of, "capacitor") == usual[:1]
    assert [line.note for line in listed(of)] == [f"for {usual[1][0]}"]
    # A part number is no value, and what has none takes the first.
    unread = taken(CROSSED, buy("capacitor", "C-6.8-A tweeter capacitor"))
    assert lines(unread, "capacitor") == usual[1:]


def test_a_capacitor_of_another_value_serves_none_and_is_paid_all_the_same() -> None:
    usual, of = taken(CROSSED), taken(CROSSED, buy("capacitor", "capacitor, 47 uF", 2))
    assert lines(of, "capacitor") == lines(usual, "capacitor")
    (extra,) = listed(of)
    assert extra.cost.typical == 10
    assert "nothing that is reckoned here" in extra.note
    assert of.total.typical == pytest.approx(usual.total.typical + 10)


def test_what_has_a_value_goes_first_whatever_the_order() -> None:
    named = buy("capacitor", "capacitor, 10 uF", price=1)
    plain = buy("capacitor", "capacitor", price=2)
    for both in ((named, plain), (plain, named)):
        of = taken(CROSSED, *both)
        assert lines(of, "capacitor") == []
        notes = {line.price.typical: line.note for line in listed(of)}
        assert notes[1].startswith("for 10 µF")
        assert notes[2].startswith("for 6.8 µF")


CABLED = {"boost.size": "16 mm2", "boost.fuse": "40 A"}


def test_cable_by_the_metre_and_its_fuse() -> None:
    usual = taken(CABLED)
    ((title, metres, _),) = lines(usual, "cable")
    assert (title, metres) == ("16 mm² copper cable", 5)
    of = taken(
        CABLED,
        buy("cable", "copper cable, 16 mm2", 4, 2.5, per="metre"),
        buy("fuse", "fuse, 40 A", 1, 3),
    )
    ((_, left, cost),) = lines(of, "cable")
    assert left == 1
    assert cost == pytest.approx(16 * 0.6)
    assert lines(of, "fuse") == []
    assert sum(line.cost.typical for line in listed(of)) == 4 * 2.5 + 3
    # One of another size is for another cable.
    other = taken(CABLED, buy("cable", "cable, 4 mm2", 5, per="metre"))
    assert lines(other, "cable") == lines(usual, "cable")


def test_a_piece_of_cable_is_a_run() -> None:
    of = taken(CABLED, buy("cable", "ready cable with lugs", 1, 30))
    assert lines(of, "cable") == []
    assert lines(taken(CABLED, buy("fuse", "fuse, 10 A", 1)), "fuse") == lines(
        taken(CABLED), "fuse"
    )


def test_patches_by_the_kilogram_by_their_area_and_by_the_place() -> None:
    ((_, mass, _),) = lines(taken(PATCHED), "patch")
    kilos = lines(taken(PATCHED, buy("patch", "patch", 0.1, per="kg")), "patch")
    assert kilos[0][1] == pytest.approx(mass - 0.1)
    (one,) = lines(taken(PATCHED, buy("patch", "patch", 1)), "patch")
    assert one[1] == pytest.approx(mass / 2)
    assert lines(taken(PATCHED, buy("patch", "patch, 4 kg/m2, 2500 cm2", 1)), "patch") == []
    (some,) = lines(taken(PATCHED, buy("patch", "patch, 50 cm2", 1)), "patch")
    assert mass / 2 < some[1] < mass


def test_film_and_adapters() -> None:
    ((_, area, _),) = lines(taken(FILMED), "film")
    (film,) = lines(taken(FILMED, buy("film", "water shield, 100 cm2", 2)), "film")
    assert film[1] == pytest.approx(area - 0.02)
    assert lines(taken(FILMED, buy("film", "water shield", 2)), "film") == []
    assert lines(taken(FILMED, buy("film", "water shield", 1, per="metre")), "film") == []
    ((_, board, _),) = lines(taken(SPACED), "board")
    ((_, half, _),) = lines(taken(SPACED, buy("adapter", "adapter 165")), "board")
    assert half == pytest.approx(board / 2)
    assert lines(taken(SPACED, buy("adapter", "adapters", 1, per="pair")), "board") == []


def test_a_repair_kit_is_the_material_of_the_repair() -> None:
    torn = {"mends": ["surround-torn@left", "cap-unglued@right"]}
    assert len(lines(taken({}, **torn), "surround", "bench")) == 2
    of = taken({}, buy("repair", "surround kit", 1, 9), **torn)
    assert [line[0] for line in lines(of, "surround", "bench")] == ["glue, lead wire and solder"]
    both = taken({}, buy("repair", "surround kit", 1, 9, per="pair"), **torn)
    assert lines(both, "surround", "bench") == []
    assert sum(line.cost.typical for line in listed(both)) == 9


def test_a_kit_for_a_coil_is_in_the_place_of_another_driver() -> None:
    burnt = {"mends": ["coil-open@left"]}
    (driver,) = (line for line in taken({}, **burnt).lines if line.kind == "driver")
    of = taken({}, buy("repair", "recone kit", 1, 16), **burnt)
    assert [line for line in of.lines if line.kind == "driver"] == []
    assert [line.note for line in listed(of)] == [f"for {driver.title}"]


# --- Drivers, radios, amplifiers ----------------------------------------------------------------

BOTH = {"left.driver": "supplier-1-p-165-i", "right.driver": "supplier-1-p-165-i"}


def drivers(of: Outlay) -> list[Line]:
    return [line for line in of.lines if line.kind == "driver"]


def test_a_driver_costs_what_its_sheet_says_and_tells_whose_part_it_is() -> None:
    usual = taken(BOTH)
    pair = buy("driver", "another name", 1, 70, part="Supplier 1 P-165-I", per="pair")
    of = taken(BOTH, pair)
    (line,) = drivers(of)
    assert (line.quantity, line.unit, line.cost.typical) == (1, "pair", 70)
    assert line.note == "Supplier 1 P-165-I"
    assert of.total == usual.total
    assert of.remarks == ()
    # Two single ones are told on the same line, and not added to it.
    singles = [buy("driver", "P-165-I", 1, 35, part=f"Supplier 1 P-165-{side}") for side in "LR"]
    split = taken(BOTH, *singles)
    assert [each.note for each in drivers(split)] == ["Supplier 1 P-165-L; Supplier 1 P-165-R"]
    assert split.total == usual.total


def test_where_list_and_sheet_disagree_the_sheet_counts_and_it_is_told() -> None:
    of = taken(BOTH, buy("driver", "P-165-I", 2, 40))
    assert drivers(of)[0].cost.typical == 70
    (remark,) = of.remarks
    assert "is 40.00 a piece by the list and 35.00 by the job's own sheet" in remark
    assert (
        remark
        in bill_of(Answers(planned(BOTH, buy("driver", "P-165-I", 2, 40)).build("plan"))).notes
    )


@pytest.mark.parametrize("driver", ["plain", "sizeless"])
def test_a_driver_without_a_price_costs_what_the_list_says(driver: str) -> None:
    fitted = {"left.driver": driver, "right.driver": driver}
    of = taken(fitted, buy("driver", "165 woofer", 2, 44, price_low=40))
    (line,) = drivers(of)
    assert (line.quantity, line.unit, line.cost) == (2, "piece", Amount(80, 88, 88))
    assert of.unpriced == ()


def test_one_of_two_drivers_bought_leaves_the_other_at_its_usual_price() -> None:
    fitted = {"left.driver": "plain", "right.driver": "plain"}
    (usual,) = drivers(taken(fitted))
    one, rest = drivers(taken(fitted, buy("driver", "165 woofer", 1, 44)))
    assert (one.cost.typical, rest.quantity) == (44, 1)
    assert rest.price == usual.price
    sizeless = {"left.driver": "sizeless", "right.driver": "sizeless"}
    of = taken(sizeless, buy("driver", "165 woofer", 1, 44))
    assert [line.cost.typical for line in drivers(of)] == [44]
    assert of.unpriced == ("sizeless one: give driver[sizeless].price",)


def test_a_spare_driver_is_paid_by_itself() -> None:
    usual = taken(RINGS)
    of = taken(RINGS, buy("driver", "a spare", 1, 44))
    assert of.total.typical == pytest.approx(usual.total.typical + 44)


def test_a_radio_and_an_amplifier() -> None:
    radio = {"head_unit.name": "another radio", "head_unit.price": 85}
    of = taken(radio, buy("radio", "another radio", 1, 85))
    (line,) = (each for each in of.lines if each.item == "head_unit")
    assert (line.cost.typical, line.note) == (85, "Supplier 1 X-1")
    mended = {"mends": ["channel-dead@front-left"]}
    (bought,) = listed(taken({}, buy("radio", "plain radio", 1, 60), **mended))
    assert (bought.kind, bought.cost.typical) == ("radio", 60)
    boost = {"boost.price": 140}
    (unit,) = (
        each
        for each in taken(boost, buy("amplifier", "two channels", 1, 140)).lines
        if each.kind == "radio"
    )
    assert (unit.cost.typical, unit.note) == (140, "Supplier 1 X-1")


# --- What cannot be added up --------------------------------------------------------------------


def test_a_price_in_another_currency_is_told_and_the_usual_one_stands() -> None:
    usual = taken(CROSSED)
    of = taken(CROSSED, buy("capacitor", "capacitor, 10 uF", 1, 9, currency="USD"))
    assert of.total == usual.total
    assert listed(of) == []
    (line,) = (each for each in of.lines if "X-1" in each.title)
    assert line.note == "priced in USD: the usual one"
    assert "priced in USD, the job in EUR" in of.remarks[0]
    alone = taken(RINGS, buy("film", "film", 1, 9, currency="USD"))
    assert alone.total == taken(RINGS).total
    assert alone.unpriced == ("film, Supplier 1 X-1: give proposal[plan].buy[1].price in EUR",)
    same = taken(CROSSED, buy("capacitor", "capacitor, 10 uF", 1, 9, currency="eur"))
    assert [each.cost.typical for each in listed(same)] == [9]


def test_a_part_without_a_price_keeps_the_usual_one() -> None:
    usual = taken(CROSSED)
    of = taken(CROSSED, buy("capacitor", "capacitor, 10 uF", 1, None))
    assert of.total == usual.total
    assert [each.note for each in of.lines if "X-1" in each.title] == [
        "no price in the list: the usual one"
    ]
    alone = taken(RINGS, buy("film", "film", 1, None))
    assert alone.unpriced == ("film, Supplier 1 X-1: give proposal[plan].buy[1].price",)


def test_what_the_proposal_writes_for_material_is_held_against_what_is_bought() -> None:
    kit = buy("capacitor", "capacitor, 10 uF", 1, 9)
    of = taken(CROSSED, kit)
    larger = taken(CROSSED, kit, extra_cost=of.computed + 11)
    assert larger.total.typical == pytest.approx(of.total.typical + 11)
    smaller = taken(CROSSED, kit, extra_cost=3)
    assert smaller.total == of.total
    # Drivers are no part of it.
    spare = taken(CROSSED, kit, buy("driver", "spare", 1, 44), extra_cost=of.computed + 11)
    assert spare.total.typical == pytest.approx(larger.total.typical + 44)


# --- The same wherever it is told ---------------------------------------------------------------


def test_quote_and_csv_name_part_supplier_and_list_once() -> None:
    made = planned(CROSSED, buy("capacitor", "capacitor, 10 uF", 1, 9))
    answers = Answers(made.build("plan"))
    sheet = parts_data(answers, bill_of(answers))
    assert sheet["chosen_from"] == f"Chosen from {LIST}"
    assert "capacitor, 10 uF, Supplier 1 X-1" in [line["title"] for line in sheet["materials"]]
    rows = list(csv.DictReader(io.StringIO(csv_text(answers.taken), newline="")))
    assert [row["source"] for row in rows if row["source"].startswith("chosen from")] == [
        f"chosen from {LIST}"
    ]
    (row,) = (row for row in rows if "Supplier 1 X-1" in row["item"])
    assert (row["cost_typical"], row["source"]) == ("9.00", f"catalogue: {LIST}")
    bare = planned({"left.mount.ring": False}, catalogue=None)
    answers = Answers(bare.build("plan"))
    assert parts_data(answers, bill_of(answers))["chosen_from"] == ""


def test_the_printed_list_names_part_and_list() -> None:
    answers = Answers(planned(CROSSED, buy("capacitor", "capacitor, 10 uF", 1, 9)).build("plan"))
    pdf = parts_sheet(answers, bill_of(answers))
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        text = " ".join(" ".join(page.extract_text().split()) for page in document.pages)
    assert text.count(f"Chosen from {LIST}") == 1
    assert "capacitor, 10 uF, Supplier 1 X-1" in text


def test_prices_are_called_typical_only_where_some_are() -> None:
    usual = planned(FILMED, hours=1)
    assert any("typical ones" in note for note in bill_of(Answers(usual.build("plan"))).notes)
    lines = outlay(usual.build("plan")).lines
    known = [line for line in lines if line.kind != "material"]
    bought = listed(taken(FILMED, buy("film", "water shield", 2)))
    answers = Answers(usual.build("plan"))
    vars(answers)["taken"] = replace(answers.taken, lines=(*known, *bought))
    assert not any("typical ones" in note for note in bill_of(answers).notes)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("capacitor, 4.7 uF, 100 V", "capacitance", 4.7e-6),
        ("4.7uF", "capacitance", 4.7e-6),
        ("C-4.7-A tweeter capacitor", "capacitance", None),
        ("C 4.7 A", "capacitance", None),
        ("cable 4 mm2", "conductor", 4e-6),
        ("13 mm² copper cable", "conductor", 13e-6),
        ("W-10-A cable", "current", None),
        ("fuse, 30 A", "current", 30),
        ("patch, 4 kg/m2, 2500 cm2", "area", 0.25),
        ("", "area", None),
    ],
)
def test_values_are_read_from_names_and_not_from_part_numbers(
    text: str, dimension: str, value: float | None
) -> None:
    assert value_in(text, dimension) == (None if value is None else pytest.approx(value))


KINDS = ("ring", "patch", "capacitor", "cable", "repair", "fuse", "film", "adapter")
NAMES = ("plain", "10 uF", "6.8 uF", "16 mm2", "40 A", "30 cm2", "P-165-I", "plain 165")
purchases = st.lists(
    st.builds(
        buy,
        kind=st.sampled_from((*KINDS, "driver", "radio", "amplifier")),
        name=st.sampled_from(NAMES),
        count=st.sampled_from((0.25, 1, 2, 3, 40)),
        price=st.sampled_from((0, 2.5, 30)),
        per=st.sampled_from(("pair", "piece", "metre", "kg")),
    ),
    max_size=6,
)
changed = st.lists(
    st.sampled_from((CROSSED, CABLED, PATCHED, SPACED, FILMED, BOTH, {"left.driver": "plain"})),
    min_size=1,
    max_size=3,
)


@settings(deadline=None, derandomize=True, max_examples=120)
@given(several=changed, bought=purchases)
def test_random_purchases_are_paid_once_and_take_no_more_than_they_serve(
    several: Sequence[Plain], bought: list[Plain]
) -> None:
    changes = {key: value for each in several for key, value in each.items()}
    mends = {"mends": ["surround-torn@left"]}
    usual, of = taken(changes, **mends), taken(changes, *bought, **mends)
    lists = listed(of)
    # Every purchase is a line at its own price, or told on one that a sheet has a price for.
    told = [each for each in bought if each["kind"] in ("driver", "radio", "amplifier")]
    paid = sum(each["count"] * each["price"] for each in bought if each not in told)
    assert sum(line.cost.typical for line in lists if line.kind == "material") == pytest.approx(
        paid
    )
    assert len(lists) >= len(bought) - len(told)
    # What is left at usual prices is never more than it was, and never below nothing.
    for line in of.lines:
        assert line.quantity >= 0
        assert line.cost.low <= line.cost.typical <= line.cost.high
    left = {line.title: line.cost.typical for line in of.lines if line not in lists}
    for line in usual.lines:
        assert left.get(line.title, 0.0) <= line.cost.typical * (1 + 1e-9)
    assert of.total.typical == pytest.approx(sum(line.cost.typical for line in of.lines))
    assert (of.hours, of.steps) == (usual.hours, usual.steps)
    # Nothing else moves.
    assert taken(changes, **mends) == usual


@settings(deadline=None, derandomize=True, max_examples=12)
@given(several=changed, bought=purchases)
def test_random_purchases_are_told_alike_everywhere(
    several: Sequence[Plain], bought: list[Plain]
) -> None:
    changes = {key: value for each in several for key, value in each.items()}
    made = planned(changes, *bought)
    of = outlay(made.build("plan"))
    figure = compare(made, samples=2).figure("plan.cost")
    assert (figure.low, figure.value, figure.high) == pytest.approx(
        (of.total.low, of.total.typical, of.total.high)
    )
    answers = Answers(made.build("plan"))
    rows = list(csv.DictReader(io.StringIO(csv_text(bill_of(answers).taken), newline="")))
    assert float(rows[-1]["cost_typical"]) == pytest.approx(of.total.typical, abs=0.005)
    costs = [float(row["cost_typical"]) for row in rows[:-1]]
    assert sum(costs) == pytest.approx(of.total.typical, abs=0.005 * len(rows))
