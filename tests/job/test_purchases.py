"""What is bought for a plan: read, refused, kept through every form of a job's text, told."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest

from conewright.catalogue.columns import KINDS
from conewright.errors import JobError
from conewright.job.builds.job import Job
from conewright.job.document.bench import Purchase
from conewright.job.text.conversion import json_from_toml, toml_from_json
from conewright.job.text.differences import compare
from conewright.job.text.editing import Refused, with_proposal
from conewright.job.text.merging import merged
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.proposal_form import alone, proposal_form, with_form
from conewright.job.text.readings import with_plan
from conewright.job.text.starter import job_schema, starter_text

CAPACITOR = """
[[proposal.buy]]
part = "Supplier 3 C-4.7-A"   # asked by telephone
kind = "capacitor"
name = "tweeter capacitor, 4.7 uF"
count = 2
price_low = 2.35
price = 2.61
price_high = 3
"""
CABLE = """
[[proposal.buy]]
part = "Supplier 2 W-4-A"
kind = "cable"
name = "copper cable, 4 mm2"
count = 3.5
price = 1.98
per = "metre"
"""
HEAD = """
[[proposal]]
id = "chosen"
catalogue = "invented, version 2, sha256 0123456789ab"
"""
CHANGES = """
[proposal.set]
"door-f?.mount.ring" = true
"""
WHOLE = HEAD + CAPACITOR + CABLE + CHANGES


def with_bought(plan: str = WHOLE) -> Job:
    return loads(starter_text() + plan)


def refused(plan: str) -> str:
    with pytest.raises(JobError) as caught:
        with_bought(plan)
    return str(caught.value)


def bought(text: str) -> list[tuple[str, float]]:
    return [(each.part, each.count) for each in loads(text).proposal("chosen").buy]


# --- Reading ------------------------------------------------------------------------------------


def test_a_plan_says_what_is_bought_for_it_and_what_it_was_chosen_from() -> None:
    plan = with_bought().proposal("chosen")
    assert plan.catalogue == "invented, version 2, sha256 0123456789ab"
    capacitor, cable = plan.buy
    assert capacitor == Purchase(
        part="Supplier 3 C-4.7-A",
        kind="capacitor",
        name="tweeter capacitor, 4.7 uF",
        count=2,
        price=2.61,
        price_low=2.35,
        price_high=3,
    )
    assert (capacitor.per, cable.per, cable.count, cable.currency) == ("piece", "metre", 3.5, None)


def test_what_is_bought_changes_nothing_of_the_vehicle() -> None:
    alike = with_bought(HEAD + CHANGES).with_proposal("chosen").to_dict()
    planned = with_bought().with_proposal("chosen").to_dict()
    assert planned.pop("proposal") != alike.pop("proposal")
    assert planned == alike


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_a_catalogue_can_be_bought(kind: str) -> None:
    job = with_bought(WHOLE.replace('"capacitor"', f'"{kind}"'))
    assert job.proposal("chosen").buy[0].kind == kind


def test_a_plan_that_only_buys_is_none() -> None:
    assert "found an empty plan" in refused(HEAD + CAPACITOR)


# --- Refusing -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "wrong", "told"),
    [
        ('"capacitor"', '"relay"', '.kind: found "relay"; one of driver, ring, patch, capacitor'),
        ("count = 2", "count = 0", ".count: found 0; a number above 0"),
        ("count = 2", "count = -1", ".count: found -1; a number above 0"),
        ("count = 2", 'count = "2"', '.count: found "2"; a plain number is wanted'),
        ("count = 2\n", "", ".count: found nothing; it is required: How many"),
        ("count = 2", "count = 4000", ".count: found 4000; 0.001 to 1000 is possible here"),
        ("price = 2.61", "price = -2.61", ".price: found -2.61; a number of at least 0"),
        ("price_low = 2.35", "price_low = -1", ".price_low: found -1; a number of at least 0"),
        ("price = 2.61", "", ": found a table; price_low and price_high are the ends of a price"),
        ("price = 2.61", "price = 3.5", ": found a table; the ends of a price lie round it"),
        ("price = 2.61", "price = 2.61\ncost = 5", ".cost: found a field that is not known"),
        ("price = 2.61", 'price = 2.61\nper = "box"', '.per: found "box"; one of pair, piece'),
        ('"Supplier 3 C-4.7-A"', '""', '.part: found ""; the text must not be empty'),
    ],
)
def test_what_cannot_be_bought_is_refused_with_its_place(
    written: str, wrong: str, told: str
) -> None:
    assert f"proposal[chosen].buy[1]{told}" in refused(WHOLE.replace(written, wrong, 1))


def test_more_than_a_shop_has_is_refused() -> None:
    assert "proposal[chosen].buy" in refused(HEAD + CABLE * 201 + CHANGES)
    assert len(with_bought(HEAD + CABLE * 200 + CHANGES).proposal("chosen").buy) == 200


# --- Asking back --------------------------------------------------------------------------------

PAID = CAPACITOR.replace("count = 2", 'count = 2\ncurrency = "USD"')


def test_another_currency_is_told_and_may_be_confirmed() -> None:
    job = with_bought(HEAD + PAID + CHANGES)
    own = job.about.currency
    assert own is not None
    assert [doubt.text for doubt in job.doubts if "currency" in doubt.path] == [
        "proposal.chosen.buy.1.currency: is it really USD? The job reckons in "
        f"{own}: a price in USD is not added up."
    ]
    raw = job.to_dict()
    raw["job"]["sure"] = ["proposal.chosen.buy.1.currency"]
    assert from_dict(raw).doubts == with_bought().doubts


def test_the_jobs_own_currency_and_one_left_out_are_not_asked_about() -> None:
    job = with_bought()
    assert job.about.currency is not None
    same = PAID.replace("USD", f" {job.about.currency.lower()}")
    assert with_bought(HEAD + same + CHANGES).doubts == job.doubts
    raw = with_bought(HEAD + PAID + CHANGES).to_dict()
    del raw["job"]["currency"]
    assert from_dict(raw).doubts == job.doubts
    raw["job"]["sure"] = ["proposal.chosen.buy.1.currency"]
    with pytest.raises(JobError, match="it takes the path of a number"):
        from_dict(raw)


def test_many_of_one_part_are_asked_back() -> None:
    job = with_bought(WHOLE.replace("count = 2", "count = 200"))
    (doubt,) = (each for each in job.doubts if each.path == "proposal.chosen.buy.1.count")
    assert doubt.found in ("200", "200.0")
    raw = job.to_dict()
    raw["job"]["sure"] = [doubt.path]
    assert from_dict(raw).doubts == with_bought().doubts


# --- Every form of the text ---------------------------------------------------------------------


def test_the_schema_has_it() -> None:
    definitions = job_schema()["$defs"]
    assert definitions["Proposal"]["properties"]["buy"]["items"] == {"$ref": "#/$defs/Purchase"}
    assert definitions["Purchase"]["required"] == ["part", "kind", "name", "count"]
    assert definitions["Purchase"]["properties"]["count"]["exclusiveMinimum"] == 0


def test_json_and_toml_hold_the_same() -> None:
    text = starter_text() + WHOLE
    assert loads(json_from_toml(text), "json") == loads(text)
    assert loads(toml_from_json(json_from_toml(text))) == loads(text)
    assert from_dict(loads(text).to_dict()) == loads(text)


def test_a_form_keeps_what_is_bought_and_changes_the_rest() -> None:
    text = starter_text() + WHOLE
    form = proposal_form(loads(text), "chosen")
    assert with_form(text, form, new=False) == text
    changed = with_form(text, replace(form, hours="3"), new=False)
    assert bought(changed) == bought(text)
    assert "# asked by telephone" in changed
    assert loads(changed).proposal("chosen").hours == 3
    assert bought(alone(changed, "chosen")) == bought(text)


def test_a_new_proposal_buys_under_headers_of_its_own() -> None:
    values = {
        "catalogue": "invented",
        "buy": [each.to_dict() for each in with_bought().proposal("chosen").buy],
        "set": {"door-f?.mount.ring": True},
    }
    text = with_proposal(starter_text(), "chosen", values)
    assert text.count("[[proposal.buy]]") == 2
    assert bought(text) == bought(starter_text() + WHOLE)
    # The same again changes nothing.
    assert with_proposal(text, "chosen", values) == text


def test_purchases_come_and_go_and_comments_stay() -> None:
    text = starter_text() + HEAD + CAPACITOR + CHANGES
    one, two = (each.to_dict() for each in with_bought().proposal("chosen").buy)
    more = with_proposal(text, "chosen", {"buy": [one | {"count": 4}, two]})
    assert bought(more) == [("Supplier 3 C-4.7-A", 4), ("Supplier 2 W-4-A", 3.5)]
    assert "# asked by telephone" in more
    back = with_proposal(more, "chosen", {"buy": [one]})
    assert loads(back) == loads(text)
    none = with_proposal(more, "chosen", {"buy": None, "catalogue": None})
    assert (bought(none), loads(none).proposal("chosen").catalogue) == ([], None)
    first = with_proposal(none, "chosen", {"buy": [two]})
    assert bought(first) == [("Supplier 2 W-4-A", 3.5)]


def test_purchases_in_one_line_are_changed_there() -> None:
    inline = 'buy = [{ part = "A", kind = "fuse", name = "fuse", count = 1 }]\n'
    text = starter_text() + HEAD + inline + CHANGES
    changed = with_proposal(
        text, "chosen", {"buy": [{"part": "B", "kind": "fuse", "name": "fuse, 10 A", "count": 2}]}
    )
    assert bought(changed) == [("B", 2)]
    assert loads(changed).proposal("chosen").set


def test_a_refused_purchase_is_told_with_its_path() -> None:
    wrong = {"part": "B", "kind": "fuse", "name": "fuse", "count": 0}
    with pytest.raises(Refused) as caught:
        with_proposal(starter_text() + WHOLE, "chosen", {"buy": [wrong]})
    (told,) = caught.value.others
    assert told.startswith("proposal[chosen].buy[1].count: found 0; a number above 0")


def test_a_plan_of_find_over_it_keeps_what_is_bought() -> None:
    text = starter_text() + WHOLE
    forms: tuple[tuple[Literal["toml", "json"], str], ...] = (
        ("toml", text),
        ("json", json_from_toml(text)),
    )
    for format, written in forms:
        changed = with_plan(
            written, format, id="chosen", name="mended", mends=["coil-open@door-fl"]
        )
        plan = loads(changed, format).proposal("chosen")
        assert plan.buy == with_bought().proposal("chosen").buy
        assert plan.mends == ("coil-open@door-fl",)


# --- Two people, and what differs ---------------------------------------------------------------


def test_two_people_buy_different_parts_for_one_plan() -> None:
    text = starter_text() + HEAD + CAPACITOR + CHANGES
    mine = text.replace(CHANGES, CABLE + CHANGES)
    theirs = text.replace("count = 2", "count = 4").replace('"chosen"\n', '"chosen"\nhours = 4\n')
    both = merged(text, mine, theirs)
    assert both is not None
    assert "# asked by telephone" in both
    assert bought(both) == [("Supplier 3 C-4.7-A", 4), ("Supplier 2 W-4-A", 3.5)]
    assert loads(both).proposal("chosen").hours == 4


def test_two_people_who_change_one_purchase_are_told() -> None:
    text = starter_text() + WHOLE
    one, other = (text.replace("count = 2", f"count = {count}") for count in (3, 4))
    assert merged(text, one, other) is None
    assert merged(text, one, one.replace("3.5", "4.5")) is not None


def test_a_whole_plan_that_buys_is_merged() -> None:
    text, theirs = starter_text(), starter_text().replace("[job]", "[job]\nbudget = 900", 1)
    theirs = theirs if "budget" not in text else text.replace("budget = ", "budget = 1", 1)
    both = merged(text, text + WHOLE, theirs)
    assert both is not None
    assert bought(both) == bought(text + WHOLE)
    gone = merged(text + WHOLE, text, theirs + WHOLE)
    assert gone is not None
    assert "chosen" not in {each.id for each in loads(gone).proposals}


def test_what_differs_in_words() -> None:
    text, bare = starter_text() + WHOLE, starter_text() + HEAD + CHANGES
    told = compare(bare, text)
    assert set(told) == {
        "proposal chosen: buys capacitor Supplier 3 C-4.7-A",
        "proposal chosen: buys cable Supplier 2 W-4-A",
    }
    (line,) = compare(text, text.replace("count = 2", "count = 4"))
    assert line == "proposal chosen: capacitor Supplier 3 C-4.7-A that it buys: count 2 → 4"
    assert all(line.endswith("no more") for line in compare(text, bare))
