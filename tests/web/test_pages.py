"""The pages: whole and plain without script, nothing typed lost, every view with an address."""

import json
import re
import tomllib
from collections.abc import Callable
from html import unescape
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise

import pytest
from starlette.testclient import TestClient

from conewright.job.text.editing import with_values
from conewright.job.text.parsing import loads
from conewright.job.text.readings import with_finding
from conewright.job.text.starter import demo_text, starter_text
from conewright.phrases import capital
from conewright.stages.feed.stage import feed
from conewright.stages.outlay.reckoning import outlay
from conewright.store import Store
from conewright.views.numbers import money
from conewright.web.frame.picture import in_dark

LARGEST_PAGE = 150_000
SOURCES = files("conewright.web")
ORIGIN = {"origin": "http://127.0.0.1:8420"}
VOID = {"br", "img", "input", "link", "meta", "source", "path", "circle", "rect"}
PATHS = (
    "", "/find", "/fit", "/feed", "/hear", "/hear?proposal=slim-fronts&against=as-found",
    "/choose", "/proposals", "/proposals/put-right", "/proposals/new", "/part/door-fr",
    "/part/front-right", "/part/head_unit", "/part/converter", "/part/vehicle", "/part/job",
    "/part/driver", "/part/budget-130", "/history",
    "/text",
)  # fmt: skip


class Page(HTMLParser):
    """What a page is made of, as a browser without script would see it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.words: list[str] = []
        self._typed: dict[str, str] | None = None
        self._open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        attributes = {name: value or "" for name, value in attrs}
        self.tags.append((tag, attributes))
        self._typed = attributes if tag == "textarea" else None
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        self._typed = None
        if tag in VOID:
            return
        assert self._open, f"</{tag}> closes nothing"
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)
        if self._typed is not None:
            # A browser takes a line break right behind the tag for none.
            before = self._typed.get("value")
            self._typed["value"] = data.removeprefix("\n") if before is None else before + data

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, *names: str) -> list[dict[str, str]]:
        return [attributes for tag, attributes in self.tags if tag in names]

    def fields(self, action: str) -> dict[str, str]:
        """Return the inputs of the first form with that action."""
        inside = False
        found: dict[str, str] = {}
        for tag, attributes in self.tags:
            if tag == "form":
                inside = attributes.get("action", "") == action and not found
            elif inside and tag in ("input", "textarea") and "name" in attributes:
                found[attributes["name"]] = attributes.get("value", "")
        return found


@pytest.fixture
def job_id(store: Store) -> str:
    return store.create(demo_text(), who="Ann").job_id


@pytest.fixture
def see(client: TestClient) -> Callable[[str], Page]:
    def look(path: str) -> Page:
        response = client.get(path, headers={"accept": "text/html"})
        assert response.status_code == 200, response.text[:500]
        assert len(response.content) < LARGEST_PAGE
        return Page(response.text)

    return look


def job_paths(job_id: str) -> list[str]:
    return [
        "/jobs",
        "/jobs?deleted=true",
        "/jobs/new",
        *(f"/jobs/{job_id}{each}" for each in PATHS),
    ]


# --- Every page -----------------------------------------------------------------------------------


def test_every_page_is_whole_and_plain(see: Callable[[str], Page], job_id: str) -> None:
    for path in job_paths(job_id):
        page = see(path)
        check_plain(page)
        check_headings(page, path)
        check_labels(page, path)


def check_plain(page: Page) -> None:
    """Nothing from outside, nothing inline: the strictest policy holds."""
    for tag, attributes in page.tags:
        assert tag not in ("style", "iframe", "object")
        assert not [name for name in attributes if name == "style" or name.startswith("on")]
        for name in ("src", "href", "action", "srcset"):
            target = attributes.get(name, "")
            assert target.startswith(("/", "#", "data:,")) or not target
    assert all(script.get("src", "").startswith("/static/") for script in page.all("script"))
    assert {"rel": "icon", "href": "data:,"} in page.all("link")


def check_headings(page: Page, path: str) -> None:
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels.count(1) == 1, path
    assert all(after - before <= 1 for before, after in pairwise(levels)), (path, levels)


def check_labels(page: Page, path: str) -> None:
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids)), path
    labelled = {label.get("for") for label in page.all("label")}
    for field in page.all("input", "select", "textarea"):
        kind = field.get("type", "text")
        hidden = kind == "hidden" or field.get("aria-hidden") == "true"
        assert hidden or kind in ("radio", "checkbox") or field.get("id") in labelled, (path, field)
        described = field.get("aria-describedby", "").split()
        assert set(described) <= set(ids), (path, field)


def test_a_job_page_leads_to_everything(see: Callable[[str], Page], job_id: str) -> None:
    page = see(f"/jobs/{job_id}")
    hrefs = {link.get("href", "") for link in page.all("a")}
    base = f"/jobs/{job_id}"
    for part in ("find", "fit", "feed", "hear", "proposals", "history", "part/door-fr", "job.toml"):
        assert f"{base}/{part}" in hrefs
    assert "connected the other way round" in page.text
    assert "The next reading worth taking" in page.text


def test_a_stage_keeps_its_order(see: Callable[[str], Page], job_id: str) -> None:
    text = see(f"/jobs/{job_id}/feed").text
    headings = ("The figures", "What it means", "What to measure next", "Take care")
    order = ["The hardest load is", *headings, "Everything else"]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_a_figure_opens_its_working(see: Callable[[str], Page], job_id: str) -> None:
    page = see(f"/jobs/{job_id}/feed")
    for words in ("P = I² (R − Rcable) / 2", "Vs 13.8 V", "bridge output as a voltage source"):
        assert words in page.text
    names = {field.get("name") for field in page.all("input")}
    assert {"v:head_unit.supply", "v:rear-left.cable.length"} <= names


def test_cable_fuse_and_battery_stand_on_the_page_of_feed(
    see: Callable[[str], Page], job_id: str
) -> None:
    text = see(f"/jobs/{job_id}/feed").text
    report = feed(loads(demo_text()).build())
    for id in ("radio-feed.drop", "radio-feed.short_circuit_current", "vehicle.days_to_no_start"):
        assert capital(report.figure(id).label) in text
        assert next(each.numbers for each in report.working if each.figure == id) in text
    assert "radio-feed: the fuse protects the cable" in text
    assert "asleep: about 39 days until it no longer starts" in text


def test_millimetres_stand_beside_inches(see: Callable[[str], Page], job_id: str) -> None:
    # Closed form: 122 mm / 25.4.
    assert "= 4.8 in" in see(f"/jobs/{job_id}/part/door-fr").text


def test_an_address_keeps_the_proposal(see: Callable[[str], Page], job_id: str) -> None:
    page = see(f"/jobs/{job_id}/hear?proposal=slim-fronts&against=as-found")
    assert "slim-fronts" in page.text
    assert "changed by this proposal" in page.text
    hrefs = {link.get("href", "") for link in page.all("a")}
    assert f"/jobs/{job_id}/feed?proposal=slim-fronts" in hrefs


def test_what_leads_nowhere_is_not_found(client: TestClient, job_id: str) -> None:
    for path in (
        "/nothing",
        "/part/attic",
        "/proposals/none",
        "/feed.svgx",
        "/mend.svg?revision=1",
    ):
        response = client.get(f"/jobs/{job_id}{path}", headers={"accept": "text/html"})
        assert response.status_code == 404, path
    assert client.get("/jobs/nobody-aaaa", headers={"accept": "text/html"}).status_code == 404


def test_names_cannot_write_into_a_page(client: TestClient, store: Store) -> None:
    title = '<script>alert(1)</script> " & \\ */ } @import'
    text = with_values(demo_text(), {"job.title": title, "door-fl.name": "<b>x</b>"})
    job_id = store.create(text, who="<i>Eve</i>").job_id
    for path in ("", "/feed", "/part/door-fl", "/history"):
        page = client.get(f"/jobs/{job_id}{path}").text
        assert "<script>alert" not in page
        assert "<b>x" not in page
        assert "<i>Eve" not in page
    style = client.get(f"/jobs/{job_id}/print.css").text
    content = re.search(r'content: "((?:[^"\\\n]|\\[0-9a-f]+ )*)"', style)
    assert content is not None
    assert not set(content[1]) & set("<>}@*")


# --- Starting -------------------------------------------------------------------------------------


def test_a_job_starts_from_two_answers(client: TestClient, see: Callable[[str], Page]) -> None:
    response = client.post("/jobs/new", data={"class": "compact", "place:door-front": "on"})
    assert response.status_code == 303
    page = see(response.headers["location"])
    assert "The next reading worth taking" in page.text


def test_a_survey_with_a_slip_keeps_what_was_typed(client: TestClient, store: Store) -> None:
    answers = {"class": "van", "place:roof": "on", "size:roof": "big", "notes": "two\nlines"}
    page = Page(client.post("/jobs/new", data=answers).text)
    fields = page.fields("/jobs/new")
    assert fields["size:roof"] == "big"
    assert "two lines" in page.text
    assert '"big" does not start with a number' in page.text
    assert store.jobs() == ()


def test_a_file_goes_in_and_comes_out_byte_for_byte(client: TestClient) -> None:
    content = demo_text().encode()
    response = client.post("/jobs/upload", files={"file": ("van.toml", content, "text/plain")})
    assert response.status_code == 303
    given = client.get(f"{response.headers['location']}/job.toml")
    assert given.content == content
    assert "attachment" in given.headers["content-disposition"]


def test_a_json_file_goes_in_as_well(client: TestClient, store: Store) -> None:
    text = json.dumps(loads(demo_text()).to_dict())
    response = client.post("/jobs/upload", files={"file": ("van.json", text, "application/json")})
    assert response.status_code == 303
    job_id = response.headers["location"].rpartition("/")[2]
    assert store.get(job_id).job == loads(demo_text())


def test_a_bad_file_lists_what_is_wrong_and_keeps_its_text(
    client: TestClient, store: Store
) -> None:
    text = demo_text().replace('"13.8 V"', '"13.8 ells"').replace('"van" ', '"ship"')
    page = Page(client.post("/jobs/upload", data={"text": text}).text)
    assert "head_unit.supply" in page.text
    assert "vehicle.class" in page.text
    assert "# A job file: one vehicle on the bench." in page.text
    assert store.jobs() == ()


def test_json_without_an_equal_in_toml_is_refused_on_its_page(
    client: TestClient, store: Store
) -> None:
    # The right door has no ring known, although it is like the left one, which has.
    tables = tomllib.loads(demo_text())
    tables["location"][1]["mount"] = {"ring": None}
    text = json.dumps(tables, default=str)
    page = Page(client.post("/jobs/upload", data={"text": text}).text)
    assert "this JSON has no equal in TOML" in page.text
    assert "door-fr" in page.fields("/jobs/upload")["text"]
    assert store.jobs() == ()


def test_the_list_is_searched_and_the_deleted_come_back(
    client: TestClient, see: Callable[[str], Page], job_id: str
) -> None:
    assert "Mobile library van" in see("/jobs?q=library").text
    assert "Mobile library van" not in see("/jobs?q=submarine").text
    client.post(f"/jobs/{job_id}/delete", data={"base": "1"})
    assert "Mobile library van" not in see("/jobs").text
    page = see("/jobs?deleted=true")
    fields = page.fields(f"/jobs/{job_id}/undelete")
    for _ in range(2):
        assert client.post(f"/jobs/{job_id}/undelete", data=fields).status_code == 303
    assert "Mobile library van" in see("/jobs").text


# --- Changing -------------------------------------------------------------------------------------


def test_a_part_is_saved_as_a_new_revision(
    client: TestClient, see: Callable[[str], Page], store: Store, job_id: str
) -> None:
    action = f"/jobs/{job_id}/part/door-fr"
    fields = see(action).fields(action) | {"door-fr.mount.cutout": "4 3/4 in"}
    response = client.post(action, data=fields)
    assert response.status_code == 303
    saved = store.get(job_id)
    assert saved.revision == 2
    assert "cut-out" in saved.note
    assert saved.text.count("4.75 in") == 1 or saved.text.count("4 3/4 in") == 1
    # Nothing but the one value was changed: what was sent along unchanged is not written.
    assert len(saved.text.splitlines()) == len(demo_text().splitlines()) + 1


def test_a_place_comes_and_goes(
    client: TestClient, see: Callable[[str], Page], store: Store, job_id: str
) -> None:
    client.post(f"/jobs/{job_id}/add/location", data={"base": "1", "id": "shelf-c"})
    added = store.get(job_id)
    assert added.job.location("shelf-c").at is not None
    assert see(f"/jobs/{job_id}/part/shelf-c").text
    gone = client.post(f"/jobs/{job_id}/part/shelf-c/remove", data={"base": "2"})
    assert gone.headers["location"] == f"/jobs/{job_id}"
    assert store.get(job_id).text == demo_text()


def test_a_place_in_use_stays_and_the_page_says_who_uses_it(
    client: TestClient, store: Store, job_id: str
) -> None:
    page = Page(client.post(f"/jobs/{job_id}/part/roof-rl/remove", data={"base": "1"}).text)
    links = [each["href"] for each in page.all("a")]
    assert f"/jobs/{job_id}/part/rear-left" in links
    assert f"/jobs/{job_id}/proposals/put-right" in links
    assert store.get(job_id).revision == 1
    assert client.post(f"/jobs/{job_id}/part/head_unit/remove", data={"base": "1"}).is_error


def test_a_form_that_changes_nothing_saves_nothing(
    client: TestClient, see: Callable[[str], Page], store: Store, job_id: str
) -> None:
    for part in ("door-fl", "head_unit", "job", "slim-130", "driver"):
        action = f"/jobs/{job_id}/part/{part}"
        client.post(action, data=see(action).fields(action))
    assert store.get(job_id).revision == 1


def test_an_error_stands_beside_its_field_and_the_rest_stays_typed(
    client: TestClient, store: Store, job_id: str
) -> None:
    action = f"/jobs/{job_id}/part/door-fr"
    typed = {"base": "1", "door-fr.mount.cutout": "12 elephants", "door-fr.mount.trim_gap": "20 mm"}
    page = Page(client.post(action, data=typed).text)
    fields = page.fields(action)
    assert fields["door-fr.mount.cutout"] == "12 elephants"
    assert fields["door-fr.mount.trim_gap"] == "20 mm"
    wrong = [each for each in page.all("input") if each.get("aria-invalid") == "true"]
    assert [each["name"] for each in wrong] == ["door-fr.mount.cutout"]
    assert "f-door-fr.mount.cutout-error" in wrong[0]["aria-describedby"]
    assert store.get(job_id).revision == 1


def test_a_measured_value_replaces_an_assumed_one(
    client: TestClient, store: Store, job_id: str
) -> None:
    back = f"/jobs/{job_id}/feed"
    values = {
        "base": "1",
        "back": back,
        "v:old-100.re": "3.5 ohm ± 0.1 ohm",
        "v:head_unit.supply": "",
    }
    response = client.post(f"/jobs/{job_id}/values", data=values)
    assert response.headers["location"] == back
    job = store.get(job_id).job
    assert str(job.driver("old-100").re) == "3.5 ohm ± 0.1 ohm"
    assert str(job.head_unit.supply) == "13.8 V"


def test_a_slip_in_a_measured_value_loses_nothing(client: TestClient, job_id: str) -> None:
    values = {"base": "1", "v:old-100.re": "3.5 parsecs", "v:old-100.fs": "110 Hz"}
    page = Page(client.post(f"/jobs/{job_id}/values", data=values).text)
    fields = page.fields(f"/jobs/{job_id}/values")
    assert (fields["v:old-100.re"], fields["v:old-100.fs"]) == ("3.5 parsecs", "110 Hz")


def test_nobody_is_sent_elsewhere(client: TestClient, job_id: str) -> None:
    for back in ("//evil.example/", "https://evil.example/", "/\\evil.example"):
        values = {"base": "1", "back": back}
        response = client.post(f"/jobs/{job_id}/values", data=values, headers=ORIGIN)
        assert response.headers["location"] == f"/jobs/{job_id}"
        me = client.post("/me", data={"who": "Ann", "back": back}, headers=ORIGIN)
        assert me.headers["location"].startswith("/jobs")


def test_a_reading_is_written_down(client: TestClient, store: Store, job_id: str) -> None:
    reading = {"base": "1", "test": "settings-reset", "at": "vehicle", "word": "no change"}
    assert client.post(f"/jobs/{job_id}/readings", data=reading).status_code == 303
    assert store.get(job_id).job.readings[-1].value == "no change"


def test_undo_brings_the_one_before_back(client: TestClient, store: Store, job_id: str) -> None:
    changed = with_values(demo_text(), {"vehicle.built": 2011})
    store.save(job_id, changed, base=1, who="Ann")
    assert client.post(f"/jobs/{job_id}/undo", data={"base": "2"}).status_code == 303
    assert store.get(job_id).text == demo_text()
    assert store.get(job_id).revision == 3


def test_history_tells_what_changed(see: Callable[[str], Page], store: Store, job_id: str) -> None:
    store.save(job_id, with_values(demo_text(), {"head_unit.supply": "14 V"}), base=1, who="Bob")
    page = see(f"/jobs/{job_id}/history?a=1&b=2")
    assert "supply 13.8 V → 14 V" in page.text
    assert "by Bob" in page.text
    old = see(f"/jobs/{job_id}?revision=1")
    assert "You are looking at revision 1" in old.text


def test_what_is_saved_is_signed(client: TestClient, store: Store, job_id: str) -> None:
    client.post("/me", data={"who": " Käthe  from the bench ", "back": "/jobs"})
    changed = {"base": "1", "vehicle.built": "2010"}
    client.post(f"/jobs/{job_id}/part/vehicle", data=changed, headers=ORIGIN)
    assert store.get(job_id).who == "Käthe from the bench"


# --- Conflicts ------------------------------------------------------------------------------------


def conflict(client: TestClient, store: Store, job_id: str, mine: dict[str, str]) -> Page:
    theirs = with_values(demo_text(), {"head_unit.supply": "14 V"})
    store.save(job_id, theirs, base=1, who="Bob")
    return Page(client.post(f"/jobs/{job_id}/part/head_unit", data={"base": "1", **mine}).text)


def test_a_conflict_shows_both_sides_and_saves_neither(
    client: TestClient, store: Store, job_id: str
) -> None:
    page = conflict(client, store, job_id, {"head_unit.supply": "13 V"})
    for words in ("Bob", "supply 13.8 V → 14 V", "supply 13.8 V → 13 V", "cannot be put into one"):
        assert words in page.text
    assert store.get(job_id).revision == 2


def test_a_button_pressed_twice_saves_once(client: TestClient, store: Store, job_id: str) -> None:
    sent = {"base": "1", "head_unit.supply": "14 V"}
    for _ in range(2):
        response = client.post(f"/jobs/{job_id}/part/head_unit", data=sent, headers=ORIGIN)
        assert response.status_code == 303
    assert store.get(job_id).revision == 2


def test_both_sides_of_a_conflict_can_be_kept(
    client: TestClient, store: Store, job_id: str
) -> None:
    page = conflict(client, store, job_id, {"head_unit.clip_loss": "0.4 ohm"})
    assert "Save both together" in page.text
    both = [each["value"] for each in page.all("textarea")][-1]
    response = client.post(f"/jobs/{job_id}/text", data={"base": "2", "text": both})
    assert response.status_code == 303
    radio = store.get(job_id).job.head_unit
    assert (str(radio.supply), str(radio.clip_loss)) == ("14 V", "0.4 ohm")


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        ("123", "123 mm"),
        ("122,5", "122,5 mm"),
        ("122 mm +/- 1", "122 mm +/- 1 mm"),
        ("122 +/- 1", "122 +/- 1 mm"),
        ("6 1/2 in", "6 1/2 in"),
        ("0,1225 m", "0,1225 m"),
    ],
)
def test_a_bare_number_takes_the_unit_shown_and_a_value_comes_back_as_typed(
    client: TestClient,
    store: Store,
    see: Callable[[str], Page],
    job_id: str,
    typed: str,
    written: str,
) -> None:
    path, name = f"/jobs/{job_id}/part/door-fl", "door-fl.mount.cutout"
    before = see(path).fields(path)
    assert before[name].endswith(" mm")
    sent = client.post(path, data=before | {name: typed})
    assert sent.headers["location"] == f"{path}?saved=1#f-{name}"
    assert see(path).fields(path)[name] == written
    # Nothing else of the form was taken for a change.
    changed = [line for line in store.get(job_id).text.splitlines() if line not in demo_text()]
    assert len(changed) == 1


def test_what_the_owner_asked_for_has_a_form(
    client: TestClient, store: Store, see: Callable[[str], Page], job_id: str
) -> None:
    path = f"/jobs/{job_id}/part/wishes"
    assert path in {each["href"] for each in see(f"/jobs/{job_id}").all("a")}
    data = {
        "base": "1",
        "wishes.seat": "driver",
        "wishes.bass": "matters most",
        "wishes.money": "180,50",
        "wishes.may": "driver; ring",
        "wishes.cut": "no",
        "wishes.hands_free": "matters",
        "wishes.must": "rear sound; camera kept",
        "wishes.goals.bass.floor": "0",
        "wishes.goals.bass.goal": "6",
    }
    assert client.post(path, data=data).status_code == 303
    wishes = store.get(job_id).job.wishes
    assert (wishes.seat, wishes.bass, wishes.money) == ("driver", "matters most", 180.5)
    assert (wishes.may, wishes.cut, wishes.loudness) == (("driver", "ring"), False, None)
    assert (wishes.hands_free, wishes.must) == ("matters", ("rear sound", "camera kept"))
    assert [str(each) for each in wishes.goals.bass or ()] == ["0 dB", "6 dB"]
    assert chosen(see(path))["wishes.bass"] == "matters most"
    wrong = client.post(path, data={"base": "2", "wishes.may": "miracles"})
    assert "miracles" in wrong.text
    assert store.get(job_id).revision == 2


def test_the_survey_asks_what_matters_and_what_it_may_cost(
    client: TestClient, store: Store
) -> None:
    data = {"class": "van", "place:door-front": "on", "size:door-front": "165", "supply": "14,1"}
    data |= {"bass": "matters", "money": "149,50", "hands_free": "would be nice"}
    data |= {"must:rear sound": "on", "must:camera kept": "on"}
    sent = client.post("/jobs/new", data=data)
    job = store.get(sent.headers["location"].rpartition("/")[2]).job
    assert (job.wishes.bass, job.wishes.loudness, job.wishes.money) == ("matters", None, 149.5)
    assert job.wishes.hands_free == "would be nice"
    assert job.wishes.must == ("rear sound", "camera kept")
    # A bare number is meant in the unit of the example that its field shows.
    assert (str(job.head_unit.supply), str(job.drivers[0].size)) == ("14.1 V", "165 mm")
    wrong = client.post("/jobs/new", data=data | {"money": "much", "bass": "a lot"})
    assert wrong.status_code == 200
    for words in ("an amount like 180 is wanted", "no matter, would be nice", 'value="much"'):
        assert words in wrong.text


def test_the_survey_asks_for_amplifier_supply_and_tweeters(
    client: TestClient, store: Store, see: Callable[[str], Page]
) -> None:
    asked = {each.get("name") for each in see("/jobs/new").all("select")}
    assert {"amplifier", "system", "ground"} <= asked
    data = {"class": "pickup-cab", "place:door-front": "on", "place:box": "on"}
    data |= {"amplifier": "line", "amplified:box": "on", "coaxial:door-front": "on"}
    data |= {"system": "24 V", "ground": "negative"}
    sent = client.post("/jobs/new", data=data)
    assert sent.status_code == 303
    job = store.get(sent.headers["location"].rpartition("/")[2]).job
    assert (job.vehicle.system, job.vehicle.ground) == ("24 V", "negative")
    driven = {each.id: each.load for each in job.channels if each.driven_by}
    assert driven == {"rear-left-amplifier": "box-l", "rear-right-amplifier": "box-r"}
    assert [each.tweeter is not None for each in job.drivers] == [True, False]
    page = Page(client.post("/jobs/new", data=data | {"amplifier": ""}).text)
    assert {"value": "24 V", "selected": ""} in page.all("option")
    assert "where the amplifier's signal comes from" in page.text


# --- Proposals ------------------------------------------------------------------------------------


def rows(*changes: tuple[str, str]) -> dict[str, str]:
    return {
        name: text
        for n, (what, value) in enumerate(changes)
        for name, text in ((f"what:{n}", what), (f"value:{n}", value))
    }


def test_proposals_stand_side_by_side(see: Callable[[str], Page], job_id: str) -> None:
    text = see(f"/jobs/{job_id}/proposals").text
    for words in ("dB", "ohm", "°C", "mm", "EUR", "larger-fronts ■ stop", "Room behind, tightest"):
        assert words in text
    assert "Hottest supply cable, at its fuse's rating" in text


def test_the_page_tells_the_cost_and_the_hours_of_the_quote(
    see: Callable[[str], Page], store: Store, job_id: str
) -> None:
    text, job = see(f"/jobs/{job_id}/proposals").text, store.get(job_id).job
    for proposal in job.proposals:
        of = outlay(job.build(proposal.id))
        paid, least, most = (
            money(each, highest=of.total.high)
            for each in (of.total.typical, of.total.low, of.total.high)
        )
        assert f"{paid} EUR {least} to {most}" in text
        assert f"{of.hours.typical:.1f} h {of.hours.low:.1f} to {of.hours.high:.1f}" in text
        assert of.told_hours in text


def test_a_proposal_is_tried_without_saving(client: TestClient, store: Store, job_id: str) -> None:
    data = {"base": "1", "id": "trial", **rows(("door-f?.mount.ring", "yes"))}
    page = Page(client.post(f"/jobs/{job_id}/preview/new", data=data).text)
    assert "Bass, 40 to 100 Hz, at driver" in page.text
    assert not page.all("html")
    assert store.get(job_id).revision == 1
    # A stop is told with its reason, there and then.
    data = {"base": "1", "id": "trial", **rows(("radio-feed.fuse_distance", "1.8 m"))}
    page = Page(client.post(f"/jobs/{job_id}/preview/new", data=data).text)
    assert "its fuse sits 1.8 m along the cable" in page.text


def test_a_wrong_row_is_said_and_the_others_stay(client: TestClient, job_id: str) -> None:
    changes = (("door-f?.mount.ring", "perhaps"), ("rear-left.load", "side-rl + roof-rl"))
    data = {"base": "1", "action": "show", "name": "n", "hours": "1", **rows(*changes)}
    page = Page(client.post(f"/jobs/{job_id}/proposals/put-right", data=data).text)
    assert "yes or no is wanted" in page.text
    picked = chosen(page)
    assert picked["set:door-f?.mount.ring"] == "perhaps"
    assert picked["set:rear-left.load"] == "side-rl + roof-rl"
    # What no choice stands for is still written by its path.
    other = {"base": "1", "action": "show", **rows(("door-f?.mount.cutout", "wide"))}
    page = Page(client.post(f"/jobs/{job_id}/proposals/put-right", data=other).text)
    assert page.fields(f"/jobs/{job_id}/proposals/put-right")["value:0"] == "wide"


def test_changes_are_picked_and_no_path_is_typed(
    client: TestClient, store: Store, see: Callable[[str], Page], job_id: str
) -> None:
    action = f"/jobs/{job_id}/proposals"
    data = {
        "base": "1",
        "action": "save",
        "id": "picked",
        "driver:door-f?": "slim-130",
        "driver:door-fr": "deep-165",
        "set:door-f?.mount.ring": "yes",
        "set:roof-rl.cavity.cover": "film",
        "set:front-right.load": "door-fr | (4.7 uF + pillar-fr)",
        "set:rear-left.load": "side-rl + roof-rl",
        "set:rear-left.high_pass": "80 Hz",
        "set:head_unit.minimum_load": "2 ohm",
        "set:head_unit.name": "",
    }
    assert client.post(f"{action}/new", data=data).headers["location"] == action
    assert dict(store.get(job_id).job.proposal("picked").set) == {
        "door-f?.mount.ring": True,
        "roof-rl.cavity.cover": "film",
        "front-right.load": "door-fr | (4.7 uF + pillar-fr)",
        "rear-left.load": "side-rl + roof-rl",
        "rear-left.high_pass": "80 Hz",
        "head_unit.minimum_load": "2 ohm",
        "door-fl.driver": "slim-130",
        "door-fr.driver": "deep-165",
    }
    # Shown again as it was picked, and saved again it is the same.
    page = see(f"{action}/picked")
    again = chosen(page)
    wanted = {name: text for name, text in data.items() if ":" in name and text}
    del wanted["driver:door-f?"]
    assert again == wanted | {"driver:door-fl": "slim-130"}
    for words in ("in series: side-rl + roof-rl", "all the right way round: door-fr |"):
        assert words in page.text
    fields = unticked(page.fields(f"{action}/picked")) | again | {"action": "save"}
    assert client.post(f"{action}/picked", data=fields).status_code == 303
    assert store.get(job_id).revision == 2


def unticked(fields: dict[str, str]) -> dict[str, str]:
    """Return the fields of a form with nothing to mend ticked."""
    return {name: text for name, text in fields.items() if not name.startswith("mends:")}


def test_what_a_proposal_mends_is_ticked(client: TestClient, store: Store, job_id: str) -> None:
    text = store.get(job_id).text
    found = with_finding(text, "toml", fault="coil-open", at="door-fl")
    job = store.create(found, who="Ann").job_id
    data = {"base": "1", "action": "save", "id": "mended", "mends:coil-open@door-fl": "on"}
    assert client.post(f"/jobs/{job}/proposals/new", data=data).status_code == 303
    assert store.get(job).job.proposal("mended").mends == ("coil-open@door-fl",)
    shown = client.get(f"/jobs/{job}/proposals/mended").text
    assert 'name="mends:coil-open@door-fl" value="on" checked> voice coil open at door-fl' in shown
    data = {"base": "2", "action": "save", "set:door-fl.mount.ring": "yes"}
    assert client.post(f"/jobs/{job}/proposals/mended", data=data).status_code == 303
    assert store.get(job).job.proposal("mended").mends == ()


def test_a_proposal_is_saved_changed_and_taken_out(
    client: TestClient, store: Store, job_id: str
) -> None:
    action = f"/jobs/{job_id}/proposals"
    data = {"base": "1", "action": "save", "id": "rings", "name": "soft rings", "hours": "1,5",
            "extra_cost": "8", **rows(("door-f?.mount.ring", "yes"))}  # fmt: skip
    assert client.post(f"{action}/new", data=data).headers["location"] == action
    added = store.get(job_id).job.proposal("rings")
    assert (added.hours, added.extra_cost, dict(added.set)) == (
        1.5,
        8.0,
        {"door-f?.mount.ring": True},
    )
    assert client.post(f"{action}/rings", data={"base": "2", "action": "delete"}).status_code == 303
    assert [each.id for each in store.get(job_id).job.proposals][-1] == "larger-fronts"


def test_a_driver_is_chosen_for_each_place(
    client: TestClient, store: Store, see: Callable[[str], Page], job_id: str
) -> None:
    path = f"/jobs/{job_id}/proposals/slim-fronts"
    page = see(path)
    picked = chosen(page)
    drivers = {name: text for name, text in picked.items() if name.startswith("driver:")}
    assert drivers == {"driver:door-f?": "slim-130"}
    fields = unticked(page.fields(path)) | picked | {"action": "save"}
    assert not [name for name, value in fields.items() if value.endswith(".driver")]
    # As it was, one line for both doors stays one line: nothing is saved.
    client.post(path, data=fields)
    assert store.get(job_id).revision == 1
    client.post(path, data=fields | {"driver:door-fr": "deep-165"})
    changes = store.get(job_id).job.proposals[2].set
    assert changes["door-fl.driver"] == "slim-130"
    assert changes["door-fr.driver"] == "deep-165"
    assert "door-f?.driver" not in changes
    client.post(path, data=fields | {"base": "2", "driver:door-f?": ""})
    assert not [what for what in store.get(job_id).job.proposals[2].set if "driver" in what]


def chosen(page: Page) -> dict[str, str]:
    """Return what is chosen in the pickers of a proposal; those left as found are not there."""
    name, found = "", {}
    for tag, attributes in page.tags:
        if tag == "select":
            name = attributes["name"]
        elif tag == "option" and "selected" in attributes:
            found[name] = attributes["value"]
    return found


def test_rows_come_and_go_without_script(client: TestClient, job_id: str) -> None:
    action = f"/jobs/{job_id}/proposals/new"
    two = {"base": "1", **rows(("a.b", "1"), ("c.d", "2"))}
    more = Page(client.post(action, data=two | {"action": "add"}).text).fields(action)
    fewer = Page(client.post(action, data=two | {"action": "remove:0"}).text).fields(action)
    assert "what:2" in more
    assert fewer["what:0"] == "c.d"


# --- Pictures -------------------------------------------------------------------------------------


def test_a_picture_is_plain_dark_and_narrow(client: TestClient, job_id: str) -> None:
    base = f"/jobs/{job_id}/feed.svg?revision=1"
    light, dark, narrow = (client.get(base + more) for more in ("", "&dark=1", "&narrow=1"))
    kinds = {each.headers["content-type"] for each in (light, dark, narrow)}
    assert kinds == {"image/svg+xml; charset=utf-8"}
    assert "immutable" in light.headers["cache-control"]
    assert "style" not in light.text
    assert "#ffffff" in light.text
    assert "#ffffff" not in dark.text
    assert light.text != narrow.text


def test_the_room_of_a_picture_is_kept_and_its_axes_are_known(
    see: Callable[[str], Page], job_id: str
) -> None:
    page = see(f"/jobs/{job_id}/feed")
    image = page.all("img")[0]
    assert int(image["width"]) > 600
    assert int(image["height"]) > 200
    figure = next(each for each in page.all("figure") if "data-wide" in each)
    panels = json.loads(figure["data-wide"])
    assert len(panels) == 4
    # Every frequency axis goes from 20 Hz to 20 kHz.
    assert {(panel["low"], panel["high"]) for panel in panels} == {(20.0, 20000.0)}
    assert all(0.0 < panel["left"] < panel["left"] + panel["width"] < 1.0 for panel in panels)


def test_colours_keep_their_meaning_in_the_dark() -> None:
    assert in_dark("#FFFFFF #000000 #0072B2") == "#1d2024 #ece9e2 #6db6ea"
    # Greys stay between paper and ink, in order.
    greys = [int(in_dark(f"#{grey * 3}")[1:3], 16) for grey in ("20", "80", "f0")]
    assert greys == sorted(greys, reverse=True)


def test_curves_come_as_numbers(client: TestClient, job_id: str) -> None:
    lines = client.get(f"/jobs/{job_id}/feed.csv").text.splitlines()
    assert lines[0].startswith("frequency [Hz]")
    # The fine grid has twelve points for each octave from below 20 Hz to above 20 kHz.
    assert len(lines) == 1 + 127


def test_paper_names_the_job_and_its_revision(client: TestClient, job_id: str) -> None:
    style = client.get(f"/jobs/{job_id}/print.css")
    assert style.headers["content-type"].startswith("text/css")
    assert (
        "Mobile library van: thin bass up front, rear cuts out on warm days, revision 1"
        in style.text
    )
    assert "counter(pages)" in style.text


# --- As text --------------------------------------------------------------------------------------


def test_the_text_of_a_job_is_changed_as_a_new_revision(
    client: TestClient, store: Store, job_id: str
) -> None:
    assert demo_text() in unescape(client.get(f"/jobs/{job_id}/text").text)
    text = demo_text().replace('colour = "', 'colour = "pale ', 1)
    assert text != demo_text()
    answer = client.post(f"/jobs/{job_id}/text", data={"base": "1", "text": text}, headers=ORIGIN)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{job_id}")
    assert store.get(job_id).text == text


def test_a_text_with_a_slip_is_told_and_kept_as_typed(
    client: TestClient, store: Store, job_id: str
) -> None:
    text = demo_text().replace("[[sheet]]", "[[shed]]", 1)
    page = client.post(
        f"/jobs/{job_id}/text", data={"base": "1", "text": text}, headers=ORIGIN
    ).text
    assert "Not saved yet, 1 thing to mend." in page
    assert "<code>shed</code>" in page
    assert "[[shed]]" in page.partition("<textarea")[2]
    assert f'action="/jobs/{job_id}/text"' in page
    assert store.get(job_id).revision == 1


def test_a_text_that_somebody_else_saved_meanwhile_is_a_conflict(
    client: TestClient, store: Store, job_id: str
) -> None:
    store.save(job_id, with_values(demo_text(), {"head_unit.supply": "14 V"}), base=1, who="Bob")
    text = demo_text().replace('colour = "', 'colour = "pale ', 1)
    page = client.post(
        f"/jobs/{job_id}/text", data={"base": "1", "text": text}, headers=ORIGIN
    ).text
    assert "Two people changed this job at once" in page
    assert store.get(job_id).revision == 2


def test_mine_on_top_of_a_deletion_brings_the_job_back(
    client: TestClient, store: Store, job_id: str
) -> None:
    store.delete(job_id, base=1, who="Bob")
    text = with_values(demo_text(), {"head_unit.supply": "14 V"})
    mine = {"base": "2", "text": text}
    answer = client.post(f"/jobs/{job_id}/text", data=mine, headers=ORIGIN)
    assert answer.status_code == 303
    assert store.get(job_id).text == text


def test_no_shape_is_black_for_want_of_a_rule() -> None:
    pages = [each.read_text("utf-8") for each in (SOURCES / "templates").iterdir()]
    styles = "".join(
        each.read_text("utf-8")
        for each in (SOURCES / "static").iterdir()
        if each.name.endswith(".css")
    )
    shapes = {
        name
        for page in pages
        for name in re.findall(r'<(?:rect|circle|path)[^>]*? class="([\w-]+)"', page)
    }
    assert "share" in shapes
    assert {name for name in shapes if not re.search(rf"\.{name}\b", styles)} == set()


def test_a_file_that_is_kept_already_is_offered_and_not_kept_once_more(
    client: TestClient,
) -> None:
    text = starter_text()
    first = client.post("/jobs/upload", data={"text": text}, follow_redirects=False)
    assert first.status_code == 303
    page = client.post("/jobs/upload", data={"text": text}, follow_redirects=False)
    assert page.status_code == 200
    assert "This file is kept already" in page.text
    assert f'href="{first.headers["location"]}"' in page.text
    # Its form keeps a second job of it, of the same text.
    fields = Page(page.text).fields("/jobs/upload")
    assert fields["again"] == "on"
    second = client.post("/jobs/upload", data=fields, follow_redirects=False)
    assert second.status_code == 303
    assert second.headers["location"] != first.headers["location"]
