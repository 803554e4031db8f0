"""The form of a plan that adds and removes, and the page where a way to mend is chosen."""

from __future__ import annotations

import html

import pytest
from starlette.testclient import TestClient

from conewright.job.text.parsing import loads
from conewright.job.text.readings import with_finding
from conewright.job.text.starter import demo_text
from conewright.store import Store

PLAN = """
[[proposal]]
id = "dash"
[[proposal.add.location]]
id = "dash-c"   # above the glove box
kind = "dash"
at = ["1.2 m", "0 m", "0.9 m"]
driver = "old-100"
[[proposal.add.channel]]
id = "centre"
load = "dash-c"
"""


@pytest.fixture
def kept(store: Store) -> str:
    return store.create(demo_text() + PLAN, who="Ann").job_id


def field(page: str, name: str) -> str:
    """The value of an input of a page."""
    start = page.index(f'name="{name}" value="') + len(f'name="{name}" value="')
    return html.unescape(page[start : page.index('"', start)])


def test_a_place_and_its_channel_are_added_by_a_form(client: TestClient, store: Store) -> None:
    job = store.create(demo_text(), who="Ann").job_id
    data = {
        "base": "1",
        "action": "save",
        "id": "shelf",
        "added": "{}",
        "remove": "roof-rl; roof-rr",
        "place:id": "shelf-c",
        "place:kind": "shelf",
        "place:driver": "old-100",
        "place:x": "-1.9",
        "place:y": "0 m",
        "place:z": "0,8 m",
        "pair:id": "middle",
        "pair:load": "shelf-c",
        "pair:length": "7",
        "set:rear-left.load": "side-rl",
        "set:rear-right.load": "side-rr",
    }
    answer = client.post(f"/jobs/{job}/proposals/new", data=data)
    assert answer.status_code == 303, answer.text
    plan = store.get(job).job.proposal("shelf")
    (place,), (pair,) = plan.add["location"], plan.add["channel"]
    assert place == {
        "id": "shelf-c",
        "kind": "shelf",
        "driver": "old-100",
        "at": ["-1.9 m", "0 m", "0,8 m"],
    }
    assert pair == {"id": "middle", "load": "shelf-c", "cable": {"length": "7 m"}}
    assert plan.remove == ("roof-rl", "roof-rr")
    planned = store.get(job).job.with_proposal("shelf")
    assert "roof-rl" not in {each.id for each in planned.locations}


def test_the_editor_shows_what_is_added_and_loses_none(
    client: TestClient, store: Store, kept: str
) -> None:
    address = f"/jobs/{kept}/proposals/dash"
    page = client.get(address).text
    assert "Take back: place dash-c: dash, old-100" in page
    assert "Take back: channel centre: dash-c" in page
    data = {"base": "1", "action": "save", "name": "a voice in the middle"}
    assert client.post(address, data=data).status_code == 303
    text = store.get(kept).text
    assert "# above the glove box" in text
    assert loads(text).proposal("dash").add == loads(demo_text() + PLAN).proposal("dash").add
    # The same with all that the form carries along.
    data = {"base": "2", "action": "save", "name": "centre", "added": field(page, "added")}
    assert client.post(address, data=data).status_code == 303
    assert "# above the glove box" in store.get(kept).text
    # Ticked, both are taken back: then it must do something else.
    gone = {"unadd:location:dash-c:1": "on", "unadd:channel:centre:1": "on"}
    data |= {"base": "3", "remove": "front-left.high_pass", **gone}
    assert client.post(address, data=data).status_code == 303
    assert store.get(kept).job.proposal("dash").add == {}


def test_what_is_wrong_is_said_and_nothing_is_lost(client: TestClient, kept: str) -> None:
    address = f"/jobs/{kept}/proposals/dash"
    data = {"base": "1", "action": "save", "remove": "door-fl", "repairs": "re-edge@door-xx",
            "added": field(client.get(address).text, "added"), "place:id": "door-fr",
            "place:kind": "dash"}  # fmt: skip
    page = html.unescape(client.post(address, data=data).text)
    assert "did you mean" in page
    assert 'value="re-edge@door-xx"' in page
    data |= {"repairs": ""}
    page = html.unescape(client.post(address, data=data).text)
    assert "an id is used once, and a place has it already" in page
    data |= {"place:id": "", "place:kind": ""}
    page = html.unescape(client.post(address, data=data).text)
    assert "then channel[front-left].load is" in page
    # What no form has sent is no part: it is refused in words, not with a fault.
    data |= {"remove": "", "added": '{"location": [7], "nothing": 3}'}
    assert client.post(address, data=data).status_code in (200, 303, 422)
    data |= {"added": "[" * 400}
    assert client.post(address, data=data).status_code in (200, 303, 422)


def test_a_way_to_mend_is_chosen(client: TestClient, store: Store) -> None:
    text = with_finding(demo_text(), "toml", fault="surround-torn", at="door-fl")
    job = store.create(text, who="Ann").job_id
    page = client.get(f"/jobs/{job}/mend").text
    assert "re-edge@door-fl: new surround glued on; parts" in page
    assert 'name="by:surround-torn@door-fl" value="used@door-fl"' in page
    data = {"base": "1", "by:surround-torn@door-fl": "used@door-fl"}
    answer = client.post(f"/jobs/{job}/mend", data=data)
    assert answer.headers["location"].endswith("/proposals/mend")
    plan = store.get(job).job.proposal("mend")
    assert plan.repairs == ("used@door-fl",)
    assert "surround-torn@door-fl" not in plan.mends
    # One tap, nothing chosen: the usual way.
    assert client.post(f"/jobs/{job}/mend", data={"base": "2"}).status_code == 303
    assert "surround-torn@door-fl" in store.get(job).job.proposal("mend").mends
    assert store.get(job).job.proposal("mend").repairs == ()
    bad = {"base": "3", "by:x": "used@door-xx"}
    assert client.post(f"/jobs/{job}/mend", data=bad).status_code == 422
    bare = store.create(demo_text(), who="Ann").job_id
    assert client.get(f"/jobs/{bare}/mend", headers={"accept": "text/html"}).status_code == 422


BOUGHT = """
[[proposal]]
id = "bought"
catalogue = "invented, version 2, sha256 0123456789ab"
[[proposal.buy]]
part = "Supplier 3 C-4.7-A"   # asked by telephone
kind = "capacitor"
name = "capacitor, <4.7 uF>"
count = 2
price = 2.61
[[proposal.buy]]
part = "Supplier 1 R-130-A"
kind = "ring"
name = "sealing ring"
count = 1
per = "pair"
currency = "USD"
[proposal.set]
"door-f?.mount.ring" = true
"""


def test_what_is_bought_is_shown_kept_and_taken_back(client: TestClient, store: Store) -> None:
    job = store.create(demo_text() + BOUGHT, who="Ann").job_id
    page = client.get(f"/jobs/{job}/proposals/bought").text
    assert "Chosen from invented, version 2, sha256 0123456789ab." in page
    assert "capacitor, &lt;4.7 uF&gt;, Supplier 3 C-4.7-A: 2 by the piece, at 2.61 a piece" in page
    assert "sealing ring, Supplier 1 R-130-A: 1 by the pair, without a price" in page
    data = {"base": "1", "action": "save", "hours": "3", "set:door-f?.mount.ring": "yes"}
    assert client.post(f"/jobs/{job}/proposals/bought", data=data).status_code == 303
    saved = store.get(job)
    assert "# asked by telephone" in saved.text
    plan = saved.job.proposal("bought")
    assert (plan.hours, len(plan.buy), plan.catalogue is None) == (3, 2, False)
    back = data | {"base": "2", "unbuy:buy:ring:Supplier 1 R-130-A:1": "on"}
    assert client.post(f"/jobs/{job}/proposals/bought", data=back).status_code == 303
    assert [each.kind for each in store.get(job).job.proposal("bought").buy] == ["capacitor"]
    every = data | {"base": "3", "unbuy:buy:capacitor:Supplier 3 C-4.7-A:1": "on"}
    assert client.post(f"/jobs/{job}/proposals/bought", data=every).status_code == 303
    assert store.get(job).job.proposal("bought").buy == ()


def test_a_plan_that_buys_nothing_has_no_such_box(client: TestClient, kept: str) -> None:
    assert "What is bought for it" not in client.get(f"/jobs/{kept}/proposals/dash").text
    assert "What is bought for it" not in client.get(f"/jobs/{kept}/proposals/new").text


def test_the_page_of_a_job_asks_about_another_currency(client: TestClient, store: Store) -> None:
    job = store.create(demo_text() + BOUGHT, who="Ann").job_id
    page = client.get(f"/jobs/{job}").text
    assert "proposal.bought.buy.2.currency" in page
    assert "The job reckons in EUR: a price in USD is not added up." in page
    one = demo_text() + BOUGHT.replace("USD", "EUR")
    plain = client.get(f"/jobs/{store.create(one, who='Ann').job_id}").text
    assert "is not added up" not in plain
