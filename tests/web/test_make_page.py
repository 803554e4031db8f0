"""The make page: papers to look at and to save, or the reasons why there are none."""

import io
import json
from dataclasses import replace
from hashlib import sha256
from urllib.parse import parse_qs, urlsplit
from zipfile import ZipFile

import pytest
from starlette.testclient import TestClient
from test_pages import Page, check_headings, check_labels, check_plain

from conewright.errors import PlanRefusedError
from conewright.job.text.starter import demo_text
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.settings import LOOPBACK, Settings
from conewright.web.desk.reports import PaperQuestion, Reports

PLAN = "proposal=slim-fronts"
HTML = {"accept": "text/html"}


@pytest.fixture
def job_id(store: Store) -> str:
    return store.create(demo_text(), who="Ann").job_id


def look(client: TestClient, path: str) -> Page:
    response = client.get(path, headers=HTML)
    assert response.status_code == 200, response.text[:500]
    page = Page(response.text)
    check_plain(page)
    check_headings(page, path)
    check_labels(page, path)
    return page


def test_nothing_is_made_before_a_plan_is_chosen(client: TestClient, job_id: str) -> None:
    page = look(client, f"/jobs/{job_id}/make")
    assert "Choose the plan that goes to the bench." in page.text
    assert not page.all("img")
    options = {option.get("value") for option in page.all("option")}
    assert {"as-found", "slim-fronts", "put-right"} <= options


def test_papers_are_looked_at_and_saved(client: TestClient, job_id: str) -> None:
    page = look(client, f"/jobs/{job_id}/make?{PLAN}")
    assert "job-sheet.pdf" in page.text
    assert "Local codes, the maker's service information" in page.text
    # The figures of the quote: 2.5 h are written, 38 an hour and 58 the pair.
    assert "2.5 h of work (1.6 to 4.7), in all 205 EUR (165 to 295)" in page.text
    links = [link["href"] for link in page.all("a") if "/make/" in link.get("href", "")]
    sheet = next(link for link in links if "/job-sheet.pdf?" in link)
    assert parse_qs(urlsplit(sheet).query)["revision"] == ["1"]
    given = client.get(sheet)
    assert given.headers["content-type"] == "application/pdf"
    assert "attachment" in given.headers["content-disposition"]
    assert "immutable" in given.headers["cache-control"]
    assert given.content.startswith(b"%PDF-")
    pictures = [image["src"] for image in page.all("img") if "/job-sheet.pdf/" in image["src"]]
    assert len(pictures) >= 6
    for picture in (pictures[0], pictures[-1]):
        shown = client.get(picture)
        assert shown.headers["content-type"] == "image/png"
        assert shown.content.startswith(b"\x89PNG")


def test_all_in_one_file_is_what_the_manifest_says(client: TestClient, job_id: str) -> None:
    address = f"/jobs/{job_id}/make/papers.zip?{PLAN}&revision=1"
    content = client.get(address).content
    assert client.get(address).content == content
    with ZipFile(io.BytesIO(content)) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        assert manifest["revision"] == "revision 1"
        assert {entry["name"] for entry in manifest["files"]} == set(archive.namelist()) - {
            "manifest.json"
        }
        for entry in manifest["files"]:
            assert sha256(archive.read(entry["name"])).hexdigest() == entry["sha256"]


def test_drawings_are_looked_at_as_they_are(client: TestClient, job_id: str) -> None:
    page = look(client, f"/jobs/{job_id}/make?{PLAN}")
    drawing = next(i["src"] for i in page.all("img") if "/door-fl-sealing-ring.svg?" in i["src"])
    given = client.get(drawing)
    assert given.headers["content-type"] == "image/svg+xml; charset=utf-8"
    assert given.text.startswith("<svg ")
    for heading in ("To print", "To send out", "To keep"):
        assert heading in page.text


def test_flags_carry_the_address_that_a_phone_can_reach(store: Store, reports: Reports) -> None:
    job_id = store.create(demo_text(), who="Ann").job_id
    settings = replace(Settings(), names=(*LOOPBACK, "van.test"))
    served = create_app(store, reports=reports, settings=settings)
    address = f"/jobs/{job_id}/make/flags.pdf?{PLAN}&revision=1"
    told = {
        host: TestClient(served, base_url=f"http://{host}:8420").get(address).content
        for host in ("127.0.0.1", "localhost", "van.test")
    }
    assert told["127.0.0.1"] == told["localhost"] != told["van.test"]


def test_a_refused_plan_says_why(client: TestClient, store: Store, job_id: str) -> None:
    page = look(client, f"/jobs/{job_id}/make?proposal=larger-fronts")
    assert "No papers are made of larger-fronts." in page.text
    assert "door-fl, door-fr: It meets the glass, window down" in page.text
    unknown = demo_text().replace('door_sensor = "none"', 'door_sensor = "unknown"')
    other = store.create(unknown, who="Ann").job_id
    page = look(client, f"/jobs/{other}/make?{PLAN}")
    assert "nobody has said whether a side-impact sensor sits there" in page.text
    assert "Maker's service information, licensed technician" in page.text
    # No address leads round the gate.
    for name in ("job-sheet.pdf", "papers.zip", "manifest.json", "job-sheet.pdf/1.png"):
        given = client.get(f"/jobs/{other}/make/{name}?{PLAN}&revision=1")
        assert given.status_code == 422, name
        assert "side-impact sensor" in given.text


def test_what_cannot_be_used_is_named(client: TestClient, job_id: str) -> None:
    page = look(client, f"/jobs/{job_id}/make?{PLAN}&bar=97,98")
    assert "they may differ by 0.5 mm" in page.text
    assert page.fields("")["bar"] == "97,98"
    assert 'paper: found "A5"' in look(client, f"/jobs/{job_id}/make?{PLAN}&paper=A5").text


@pytest.mark.parametrize("name", ["poster.pdf", "job-sheet.pdf/0.png", "job-sheet.pdf/99.png"])
def test_what_was_not_made_is_not_found(client: TestClient, job_id: str, name: str) -> None:
    assert client.get(f"/jobs/{job_id}/make/{name}?{PLAN}&revision=1").status_code == 404


def test_the_stages_lead_to_the_papers(client: TestClient, job_id: str) -> None:
    page = look(client, f"/jobs/{job_id}/fit?{PLAN}")
    assert f"/jobs/{job_id}/make?{PLAN}" in {link.get("href") for link in page.all("a")}


def test_the_api_gives_the_manifest_and_its_files(client: TestClient, job_id: str) -> None:
    place = f"/api/v1/jobs/{job_id}/make"
    manifest = client.get(place, params={"proposal": "slim-fronts"}).json()
    by_name = {entry["name"]: entry for entry in manifest["files"]}
    assert manifest["revision"] == "revision 1"
    for name in ("job-sheet.pdf", "parts.csv", "door-fl-sealing-ring.dxf"):
        given = client.get(f"{place}/{name}", params={"proposal": "slim-fronts"})
        assert sha256(given.content).hexdigest() == by_name[name]["sha256"]
        assert given.headers["content-disposition"] == f'attachment; filename="{name}"'
    assert client.get(f"{place}/poster.pdf", params={"proposal": "put-right"}).status_code == 404
    assert client.get(place, params={"paper": "A5"}).status_code == 422


def test_the_api_says_why_a_plan_is_refused(client: TestClient, job_id: str) -> None:
    given = client.get(f"/api/v1/jobs/{job_id}/make", params={"proposal": "larger-fronts"})
    assert given.status_code == 422
    error = given.json()["error"]
    assert error["code"] == "plan-refused"
    assert [problem["found"] for problem in error["problems"]] == ["larger-fronts"]
    assert "It meets the glass" in error["problems"][0]["allowed"]


def test_a_refusal_reaches_the_server_with_every_reason(reports: Reports, store: Store) -> None:
    unknown = demo_text().replace('door_sensor = "none"', 'door_sensor = "unknown"')
    saved = store.create(unknown, who="Ann")
    with pytest.raises(PlanRefusedError) as refused:
        reports.papers(saved, PaperQuestion("larger-fronts"))
    assert refused.value.plan == "larger-fronts"
    assert len(refused.value.reasons) == 2
