"""An amplifier and its channels on the pages: shown, edited, added, refused in words."""

from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_pages import Page

from conewright.store import Store

TEXT = (Path(__file__).parents[2] / "examples" / "hatchback-2006.toml").read_text(encoding="utf-8")
AMPLIFIER, TWEETER = "door-amplifier", "tweeter-left"


@pytest.fixture
def job_id(store: Store) -> str:
    return store.create(TEXT, who="Ann").job_id


def see(client: TestClient, path: str) -> Page:
    response = client.get(path, headers={"accept": "text/html"})
    assert response.status_code == 200, response.text[:500]
    return Page(response.text)


def test_the_job_page_leads_to_the_amplifier_and_says_what_drives_what(
    client: TestClient, job_id: str
) -> None:
    page = see(client, f"/jobs/{job_id}")
    links = {link.get("href") for link in page.all("a")}
    assert f"/jobs/{job_id}/part/{AMPLIFIER}" in links
    assert "door-fl, by door-amplifier" in page.text
    assert "front-left drives nothing" in page.text


def test_its_fields_are_edited_and_a_slip_is_said_beside_its_field(
    client: TestClient, store: Store, job_id: str
) -> None:
    action = f"/jobs/{job_id}/part/{AMPLIFIER}"
    fields = see(client, action).fields(action)
    assert fields[f"{AMPLIFIER}.clean_power"] == "20 W"
    wrong = fields | {f"{AMPLIFIER}.clean_power": "20 ohm"}
    page = Page(client.post(action, data=wrong).text)
    assert page.fields(action)[f"{AMPLIFIER}.clean_power"] == "20 ohm"
    assert store.get(job_id).revision == 1
    right = fields | {f"{AMPLIFIER}.clean_power": "25 W", f"{AMPLIFIER}.gain": "5 dB"}
    assert client.post(action, data=right).status_code == 303
    unit = store.get(job_id).job.amplifiers[0]
    assert unit.clean_power is not None
    assert unit.gain is not None
    assert (unit.clean_power.value, unit.gain.value) == (25.0, 5.0)


def test_both_ratings_at_once_are_refused_on_the_page(
    client: TestClient, store: Store, job_id: str
) -> None:
    action = f"/jobs/{job_id}/part/{AMPLIFIER}"
    fields = see(client, action).fields(action) | {f"{AMPLIFIER}.clean_volts": "6 V"}
    page = Page(client.post(action, data=fields).text)
    assert "clean_power or clean_volts, not both" in page.text
    assert store.get(job_id).revision == 1


def test_the_filters_of_a_channel_are_edited(client: TestClient, store: Store, job_id: str) -> None:
    action = f"/jobs/{job_id}/part/{TWEETER}"
    page = see(client, action)
    choices = {tag.get("name") for tag in page.all("select")}
    assert f"{TWEETER}.high_pass_kind" in choices
    fields = page.fields(action) | {
        f"{TWEETER}.high_pass": "4 kHz",
        f"{TWEETER}.high_pass_slope": "24 dB/oct",
        f"{TWEETER}.high_pass_kind": "linkwitz-riley",
    }
    assert client.post(action, data=fields).status_code == 303
    channel = store.get(job_id).job.channel(TWEETER)
    assert channel.high_pass is not None
    assert (channel.high_pass.value, channel.high_pass_kind) == (4000.0, "linkwitz-riley")
    low = see(client, action).fields(action) | {f"{TWEETER}.low_pass": "3 kHz"}
    refused = Page(client.post(action, data=low).text)
    assert "nothing passes between them" in refused.text


def test_one_is_added_with_a_channel_that_it_drives(
    client: TestClient, store: Store, job_id: str
) -> None:
    added = client.post(f"/jobs/{job_id}/add/amplifier", data={"base": "1", "id": "bass-amp"})
    assert added.status_code == 303
    job = store.get(job_id).job
    assert [unit.id for unit in job.amplifiers] == [AMPLIFIER, "bass-amp"]
    assert job.channel("bass-amp-out").amplifier == "bass-amp"
    assert see(client, f"/jobs/{job_id}/part/bass-amp").text


def test_a_load_of_none_is_typed_on_the_page_of_a_channel(
    client: TestClient, store: Store, job_id: str
) -> None:
    action = f"/jobs/{job_id}/part/woofer-left"
    fields = see(client, action).fields(action) | {"woofer-left.load": "none"}
    assert client.post(action, data=fields).status_code == 303
    assert store.get(job_id).job.channel("woofer-left").load == "none"


def test_feed_and_the_papers_have_a_page(client: TestClient, job_id: str) -> None:
    page = see(client, f"/jobs/{job_id}/feed?proposal=turn-on")
    assert "The radio drives no loudspeaker itself" in page.text
    assert "feeds Boot amplifier" in page.text
    assert "wiring" in see(client, f"/jobs/{job_id}/make?proposal=turn-on").text.lower()
