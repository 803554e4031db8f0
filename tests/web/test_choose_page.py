"""The page of choose: asked only when it is asked, linked by its address, tried as a proposal."""

import re
import tomllib
from collections.abc import Callable
from importlib.util import find_spec
from typing import get_args
from urllib.parse import parse_qs, urlsplit

import pytest
from choices import choice_by_hand, worked_out
from starlette.testclient import TestClient
from test_pages import LARGEST_PAGE, Page, check_headings, check_labels, check_plain

from conewright.catalogue.lists.forms import table_of
from conewright.catalogue.lists.listing import invented_catalogue
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.catalogue.offer import Offer
from conewright.data_files import data_text
from conewright.job.document.document import Knob
from conewright.job.text.editing import with_proposal
from conewright.job.text.parsing import loads
from conewright.job.text.starter import demo_text
from conewright.store import Store
from conewright.web.base.errors import Refusal
from conewright.web.desk.choosing import ChoiceAnswer, Manner, offered
from conewright.web.desk.reports import Reports
from conewright.web.frame.choice_view import GATES, choice_view
from conewright.web.frame.wished import KNOBS, changed_wishes, limits_in, limits_of

HTML = {"accept": "text/html"}


class Asked(list[tuple[str, Offer, Manner]]):
    """What a choice was worked out of, one entry for each time."""

    def work_out(self, text: str, offer: Offer, manner: Manner) -> ChoiceAnswer:
        self.append((text, offer, manner))
        return worked_out(text, offer, manner)


@pytest.fixture
def asked(reports: Reports, monkeypatch: pytest.MonkeyPatch) -> Asked:
    told = Asked()
    monkeypatch.setattr(reports.choosing, "work_out", told.work_out)
    return told


@pytest.fixture
def job_id(store: Store, request: pytest.FixtureRequest) -> str:
    # A text of its own: answers are kept by it.
    return store.create(f"{demo_text()}# {request.node.name}\n", who="Ann").job_id


@pytest.fixture
def see(client: TestClient) -> Callable[[str], Page]:
    def look(path: str) -> Page:
        response = client.get(path, headers=HTML)
        assert response.status_code == 200, response.text[:500]
        assert len(response.content) < LARGEST_PAGE
        page = Page(response.text)
        check_plain(page)
        check_headings(page, path)
        check_labels(page, path)
        return page

    return look


# --- The form -------------------------------------------------------------------------------------


def test_nothing_is_chosen_before_somebody_asks(
    see: Callable[[str], Page], job_id: str, asked: Asked
) -> None:
    page = see(f"/jobs/{job_id}/choose")
    assert asked == []
    fields = page.fields(f"/jobs/{job_id}/choose")
    assert (fields["money"], fields["hours"]) == ("180", "")
    assert "Nobody has said so far; bass is put in for a start." in page.text
    ticked = {box["value"] for box in page.all("input") if "checked" in box}
    assert ticked == set(KNOBS) == set(get_args(Knob))
    assert f"/jobs/{job_id}/choose" in {link["href"] for link in page.all("a")}


def test_what_is_asked_stands_in_the_address(
    see: Callable[[str], Page], job_id: str, asked: Asked
) -> None:
    address = f"/jobs/{job_id}/choose?money=300&hours=6&bass=matters+most&may=driver&may=ring"
    page = see(address)
    assert page.text.count("Try as proposal") >= 4
    (text, offer, manner), wishes = asked[0], loads(asked[0][0]).wishes
    assert (wishes.money, wishes.hours, wishes.bass) == (300, 6, "matters most")
    assert (wishes.may, wishes.cut, manner.unmeasured) == (("driver", "ring"), None, False)
    assert offer.name == "invented"
    # Comments of the job stay, and the form shows what was asked.
    assert text.endswith("\n")
    assert "# test_what_is_asked" in text
    assert page.fields(f"/jobs/{job_id}/choose")["money"] == "300"
    see(address)
    assert len(asked) == 1, "worked out once for each text and limits"
    see(address + "&unmeasured=yes")
    assert asked[1][2].unmeasured


def test_what_the_job_says_changes_nothing() -> None:
    job = loads(demo_text().replace("[vehicle]", '[wishes]\nbass = "matters"\n[vehicle]', 1))
    own = limits_of(job)
    assert changed_wishes(job, own) == {}
    assert limits_in(own.query.items(), own) == own
    assert limits_in([("revision", "1")], own) is None
    less = limits_in([("may", "ring,driver"), ("cut", "no"), ("cut", "yes")], own)
    assert less is not None
    assert changed_wishes(job, less) == {"wishes.may": ["driver", "ring"], "wishes.cut": True}


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("money=much", "much"),
        ("bass=very", "one of no matter, would be nice"),
        ("seat=roof", "it takes the id of a seat"),
        ("may=", "Nothing may be changed"),
        ("may=paint", "one of driver, ring"),
        ("catalogue=none-such", "found no kept catalogue of that name"),
    ],
)
def test_what_cannot_be_asked_is_told_beside_its_field(
    see: Callable[[str], Page], job_id: str, asked: Asked, query: str, words: str
) -> None:
    page = see(f"/jobs/{job_id}/choose?{query}")
    assert words in page.text
    name = query.partition("=")[0]
    assert f"e-{name}" in {each.get("id") for each in page.all("p")}
    assert asked == []


def test_wishes_are_kept_when_asked(client: TestClient, store: Store, job_id: str) -> None:
    form = {"money": "300", "bass": "matters most", "clarity": "matters", "cut": "yes"}
    given = client.post(f"/jobs/{job_id}/choose?base=1", data=form)
    assert given.status_code == 303
    saved = store.get(job_id)
    assert tomllib.loads(saved.text)["wishes"] == {
        "bass": "matters most",
        "clarity": "matters",
        "money": 300,
        "cut": True,
    }
    assert parse_qs(urlsplit(given.headers["location"]).query)["money"] == ["300"]
    # The same again is no revision; from an older one it is told beside what somebody else saved.
    assert client.post(f"/jobs/{job_id}/choose?base=2", data=form).status_code == 303
    assert store.get(job_id).revision == 2
    other = client.post(f"/jobs/{job_id}/choose?base=1", data={"money": "90"})
    assert "Two people changed this job at once" in other.text
    wrong = client.post(f"/jobs/{job_id}/choose?base=2", data={"hours": "few"})
    assert "Nothing is chosen yet." in wrong.text
    assert store.get(job_id).revision == 2


# --- The answer -----------------------------------------------------------------------------------


def test_the_answer_comes_first_and_holds_all_of_it(
    see: Callable[[str], Page], job_id: str, asked: Asked
) -> None:
    page = see(f"/jobs/{job_id}/choose?catalogue=invented")
    assert len(asked) == 1
    for words in (
        "For 177 EUR and 4.7 h",
        "Recommended",
        "Most points",
        "177 EUR 150 to 247",
        "Do nothing",
        "Mend only what is broken",
        "rear-left falls to 2.24 ohm, and the radio is rated for 4",
        "1,597 of 2,252 do not go in, or may not: most are too deep.",
        "1,321 are too deep",
        "With 20 EUR more: 78 points",
        "With 50 EUR more: 80 points",
        "Your proposal put-right",
        "1,494 were worked out exactly. Bounds ruled out 440 thousand million without that",
        "To know it before choosing is worth 2.4 points.",
    ):
        assert words in page.text, words
    links = {link["href"] for link in page.all("a")}
    assert f"/jobs/{job_id}/part/door-fl#f-door-fl.mount.glass_depth" in links
    assert {f"/jobs/{job_id}/find", f"/jobs/{job_id}/proposals/put-right"} <= links
    where = [page.text.index(words) for words in ("For 177 EUR", "Recommended", "What is out")]
    assert where == sorted(where)


def test_points_of_the_wishes_add_up() -> None:
    offer = Offer("invented", None, "0" * 64, invented_catalogue().compiled)
    view = choice_view(choice_by_hand(offer), loads(demo_text()), base="/jobs/x")
    for plan in (*view.leading, *view.always):
        told = [float(wish.points.replace("\N{MINUS SIGN}", "-")) for wish in plan.wishes]
        assert sum(told) == pytest.approx(float(plan.points), abs=0.51)
    assert not next(plan for plan in view.always if plan.id == "do-nothing").tried
    assert all(GATES.values())


def test_one_plan_that_is_best_recommended_and_mends_is_shown_once() -> None:
    offer = Offer("invented", None, "0" * 64, invented_catalogue().compiled)
    whole = choice_by_hand(offer)
    one = whole.plans[0].model_copy(update={"roles": ("best", "recommended", "fix-only")})
    alone = whole.model_copy(update={"plans": (one, whole.plans[3]), "front": ()})
    view = choice_view(alone, loads(demo_text()), base="/jobs/x")
    assert [plan.role for plan in view.leading] == ["Best and recommended"]
    assert [plan.id for plan in view.always] == ["do-nothing"]
    assert view.same == ("Mend only what is broken",)


def test_what_each_sum_buys_is_a_table_and_a_file(
    see: Callable[[str], Page], client: TestClient, job_id: str, asked: Asked
) -> None:
    page = see(f"/jobs/{job_id}/choose?catalogue=invented")
    assert "The same as a table" in page.text
    given = client.get(f"/jobs/{job_id}/choose.csv?catalogue=invented")
    assert given.headers["content-type"].startswith("text/csv")
    assert given.text.splitlines()[0] == "Money [EUR],Points,Hours,What is done"
    assert [line.partition(",")[0] for line in given.text.splitlines()[1:]] == ["79", "94", "177"]
    assert len(asked) == 1


def test_an_old_revision_is_looked_at_and_not_changed(
    see: Callable[[str], Page], client: TestClient, store: Store, job_id: str, asked: Asked
) -> None:
    client.post(f"/jobs/{job_id}/choose?base=1", data={"money": "90"})
    page = see(f"/jobs/{job_id}/choose?revision=1&catalogue=invented")
    assert "Try as proposal" not in page.text
    assert "Keep these wishes" not in page.text
    assert loads(asked[0][0]).most_money == 180
    assert store.get(job_id).revision == 2


def test_there_was_no_time(
    client: TestClient, job_id: str, reports: Reports, monkeypatch: pytest.MonkeyPatch
) -> None:
    def late(*_: object) -> ChoiceAnswer:
        raise Refusal(503, "This was not worked out within 60 s and was stopped.")

    monkeypatch.setattr(reports.choosing, "work_out", late)
    given = client.get(f"/jobs/{job_id}/choose?money=60", headers=HTML)
    assert given.status_code == 503
    assert "was not worked out within 60 s" in given.text
    assert 'value="60"' in given.text, "what was asked is not lost"


# --- Catalogues -----------------------------------------------------------------------------------


def test_a_kept_catalogue_is_named_with_its_version(
    see: Callable[[str], Page], store: Store, job_id: str, asked: Asked
) -> None:
    content = data_text("catalogue", "invented.csv")
    for lines in (40, 60):
        part = "\n".join(content.splitlines()[:lines]) + "\n"
        read = read_catalogue(table_of(part.encode(), file="shop.csv"))
        store.add_catalogue("wholesale", read, who="Ann", source="shop.csv")
    assert offered(store, "wholesale").key == "wholesale@2"
    page = see(f"/jobs/{job_id}/choose?catalogue=wholesale")
    assert (asked[0][1].name, asked[0][1].version) == ("wholesale", 2)
    hidden = {each["value"] for each in page.all("input") if each.get("name") == "catalogue"}
    assert hidden == {"wholesale@2"}, "a newer version changes no address that was shown"
    see(f"/jobs/{job_id}/choose?catalogue=wholesale@1")
    assert asked[1][1].version == 1
    assert asked[1][1].sha256 != asked[0][1].sha256


# --- Trying ---------------------------------------------------------------------------------------


def _written(text: str, choice: object, plan_id: str, **_: object) -> tuple[str, str]:
    """Stand in for what writes a plan of a choice into a job."""
    assert choice is not None
    id = f"chosen-{plan_id}"
    return with_proposal(text, id, {"name": plan_id, "set": {"door-f?.mount.ring": True}}), id


def test_a_plan_is_tried_as_a_proposal(
    see: Callable[[str], Page],
    client: TestClient,
    store: Store,
    job_id: str,
    asked: Asked,
    reports: Reports,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(reports.choosing, "written", _written)
    page = see(f"/jobs/{job_id}/choose?money=300&bass=matters")
    form = page.fields(f"/jobs/{job_id}/choose/try")
    assert (form["base"], form["plan"], form["money"]) == ("1", "recommended", "300")
    for _ in range(2):
        given = client.post(f"/jobs/{job_id}/choose/try", data=form)
        assert given.status_code == 303
        assert given.headers["location"] == f"/jobs/{job_id}/proposals/chosen-recommended"
    assert len(asked) == 1, "what was shown is what is tried"
    saved = store.get(job_id)
    assert saved.revision == 2, "a button pressed twice is one change"
    assert saved.job.proposal("chosen-recommended").set == {"door-f?.mount.ring": True}
    assert saved.job.wishes.money is None, "trying keeps no wishes"
    see(given.headers["location"])


def test_only_a_plan_of_the_answer_is_tried(
    client: TestClient, store: Store, job_id: str, asked: Asked
) -> None:
    given = client.post(f"/jobs/{job_id}/choose/try", data={"base": "1", "plan": "front-99"})
    assert given.status_code == 404
    stranger = {"origin": "http://evil.example"}
    form = {"base": "1", "plan": "best"}
    given = client.post(f"/jobs/{job_id}/choose/try", data=form, headers=stranger)
    assert given.status_code == 403
    assert store.get(job_id).revision == 1
    assert len(asked) == 1


# --- The API --------------------------------------------------------------------------------------


def test_the_same_answer_as_json(client: TestClient, job_id: str, asked: Asked) -> None:
    address = f"/api/v1/jobs/{job_id}/choose"
    given = client.get(
        address, params={"money": 300, "may": "driver,ring", "cut": True, "gap": 0.5}
    )
    assert given.status_code == 200
    body = given.json()
    assert [plan["id"] for plan in body["plans"]][:2] == ["best", "recommended"]
    assert body["search"]["checked"] == 1494
    wishes = loads(asked[0][0]).wishes
    assert (wishes.money, wishes.may, wishes.cut) == (300, ("driver", "ring"), True)
    assert asked[0][2] == Manner(gap=0.5)
    again = client.get(
        address,
        params={"money": 300, "may": "driver,ring", "cut": True, "gap": 0.5},
        headers={"if-none-match": given.headers["etag"]},
    )
    assert (again.status_code, len(asked)) == (304, 1)


@pytest.mark.parametrize(
    ("params", "path"),
    [
        ({"bass": "very"}, "bass"),
        ({"seat": "roof"}, "seat"),
        ({"may": "paint"}, "may"),
        ({"money": "-1"}, "money"),
    ],
)
def test_limits_that_cannot_be_used(
    client: TestClient, job_id: str, asked: Asked, params: dict[str, str], path: str
) -> None:
    given = client.get(f"/api/v1/jobs/{job_id}/choose", params=params)
    assert given.status_code == 422
    assert [each["path"] for each in given.json()["error"]["problems"]] == [path]
    assert asked == []


def test_an_unknown_catalogue_is_not_found(client: TestClient, job_id: str) -> None:
    given = client.get(f"/api/v1/jobs/{job_id}/choose", params={"catalogue": "shop@7"})
    assert given.status_code == 404


# --- With the engine ------------------------------------------------------------------------------

THERE = find_spec("conewright.stages.choose.stage") is not None


@pytest.mark.slow
@pytest.mark.skipif(not THERE, reason="the engine of choose is not there yet")
def test_from_form_to_proposal(
    see: Callable[[str], Page], client: TestClient, store: Store, job_id: str
) -> None:
    page = see(f"/jobs/{job_id}/choose?money=180&bass=matters+most&may=driver,ring,wiring,polarity")
    assert "Recommended" in page.text or "recommended" in page.text
    assert "Do nothing" in page.text
    form = page.fields(f"/jobs/{job_id}/choose/try")
    given = client.post(f"/jobs/{job_id}/choose/try", data=form)
    assert given.status_code == 303
    proposal = given.headers["location"].rpartition("/")[2]
    assert re.fullmatch(r"[a-z][a-z0-9-]*", proposal)
    assert proposal in {each.id for each in store.get(job_id).job.proposals}
    assert page.all("figure"), "the picture is there"
    source = next(each["src"] for each in page.all("img") if "choose.svg" in each["src"])
    assert client.get(source).headers["content-type"].startswith("image/svg+xml")
    see(given.headers["location"])
