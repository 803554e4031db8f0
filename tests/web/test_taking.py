"""What was found, from the page of find: taken, mended, taken back, made into a plan."""

import re
from html import unescape

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

import conewright as cw
from conewright.job.text.readings import without_finding
from conewright.store import Saved, Store


@pytest.fixture
def kept(store: Store) -> Saved:
    return store.create(without_finding(cw.demo_text()), who="Ann")


def send(client: TestClient, job: Saved, path: str, base: int = 1, **fields: str) -> Response:
    return client.post(f"/jobs/{job.job_id}/{path}", data={"base": str(base), **fields})


def shown(client: TestClient, job: Saved) -> str:
    answer = client.get(f"/jobs/{job.job_id}/find")
    assert answer.status_code == 200
    return unescape(answer.text)


REVERSED = {"fault": "reversed", "at": "door-fr"}
COIL = {"fault": "coil-open", "at": "door-fl"}


def test_a_cause_is_taken_as_found_mended_and_taken_back(
    client: TestClient, store: Store, kept: Saved
) -> None:
    before = shown(client, kept)
    assert 'name="fault" value="reversed"' in before
    # A load too low is no state of a part: it cannot be taken as found.
    assert 'name="fault" value="load-too-low"' not in before
    sent = send(client, kept, "findings", 1, **REVERSED)
    assert (sent.status_code, sent.headers["location"]) == (303, f"/jobs/{kept.job_id}/find#found")
    newest = store.get(kept.job_id)
    assert [(each.id, each.state) for each in newest.job.findings] == [
        ("reversed@door-fr", "found")
    ]
    assert newest.note == "one driver connected the wrong way round at door-fr: found"
    listed = shown(client, kept)
    assert "It is mended" in listed
    assert 'Take it as found<span class="hidden">: one driver' not in listed
    mended = send(client, kept, "findings", 2, **REVERSED, state="mended")
    assert mended.status_code == 303
    assert store.get(kept.job_id).job.findings[0].state == "mended"
    assert "It is there again" in shown(client, kept)
    gone = send(client, kept, "findings/drop", 3, number="1")
    assert gone.status_code == 303
    assert store.get(kept.job_id).text == kept.text


def test_findings_are_taken_back_by_number(client: TestClient, store: Store, kept: Saved) -> None:
    send(client, kept, "findings", 1, **COIL)
    send(client, kept, "findings", 2, **REVERSED)
    assert send(client, kept, "findings/drop", 3, number="1").status_code == 303
    newest = store.get(kept.job_id)
    assert [each.id for each in newest.job.findings] == ["reversed@door-fr"]
    assert newest.note == "took back voice coil open at door-fl"


def test_the_plan_that_mends_what_was_found_is_written_once(
    client: TestClient, store: Store, kept: Saved
) -> None:
    send(client, kept, "findings", 1, **COIL)
    assert "Make the plan that mends it" in shown(client, kept)
    for _ in range(2):
        sent = send(client, kept, "mend", store.get(kept.job_id).revision)
        assert sent.headers["location"] == f"/jobs/{kept.job_id}/proposals/mend"
    newest = store.get(kept.job_id)
    assert newest.revision == 3
    assert newest.job.proposal("mend").mends == ("coil-open@door-fl",)
    page = client.get(sent.headers["location"])
    assert page.status_code == 200
    assert "Change mend" in page.text


@pytest.mark.parametrize(
    ("path", "fields", "words"),
    [
        ("findings", {"fault": "wonder", "at": "door-fr"}, "wonder"),
        ("findings", {"fault": "reversed", "at": "moon"}, "moon"),
        ("findings", {"fault": "load-too-low", "at": "rear-left"}, "load-too-low"),
        ("findings", {"fault": "wonder", "at": "<i>", "state": "mended"}, "wonder"),
        ("findings", {}, "Nothing was written"),
        ("findings/drop", {"number": "1"}, "Nothing was taken back"),
    ],
)
def test_what_cannot_be_is_not_written(
    client: TestClient, store: Store, kept: Saved, path: str, fields: dict[str, str], words: str
) -> None:
    sent = send(client, kept, path, 1, **fields)
    assert sent.status_code == 422
    assert words in unescape(sent.text)
    assert "<i>" not in sent.text
    assert store.get(kept.job_id).revision == 1


def test_nothing_established_makes_no_plan(client: TestClient, store: Store) -> None:
    job = store.create(cw.starter_text(), who="Ann")
    assert "Make the plan" not in shown(client, job)
    sent = send(client, job, "mend")
    assert sent.status_code == 422
    assert "nothing that is established" in sent.text


def test_an_old_revision_takes_no_findings(client: TestClient, kept: Saved) -> None:
    send(client, kept, "findings", 1, **COIL)
    old = client.get(f"/jobs/{kept.job_id}/find?revision=1").text
    assert re.search(r"/findings|/mend", old) is None
    late = send(client, kept, "findings", 1, **REVERSED)
    assert "Two people changed this job" in late.text


def test_what_plans_are_worth_stands_beside_each_other_mending_alone_among_them(
    client: TestClient, kept: Saved
) -> None:
    send(client, kept, "findings", 1, **COIL)
    address = f"/jobs/{kept.job_id}/proposals"
    compared = unescape(client.get(address).text)
    heads = re.findall(r'role="columnheader">(?:<a [^>]*>)?([^<]+)', compared)
    assert heads[:3] == ["as found", "mending alone", "put-right"]
    cured = re.search(r">Cures the complaint</th>(.*?)</tr>", compared, re.DOTALL)
    assert cured is not None
    assert cured[1].count('class="number') == len(heads)
    assert "Points of what was asked for" not in compared
    # No link leads to a plan that is not there; a button writes it.
    assert f"{address}/mend" not in compared
    assert "Write down the plan that only mends" in compared
    assert send(client, kept, "mend", 2).status_code == 303
    after = client.get(address).text
    assert f"{address}/mend" in after
    assert "Write down the plan" not in after
