"""The API: jobs in and out without loss, revisions, conflicts, reports."""

import json
import tomllib
from typing import Any

import pytest
from starlette.testclient import TestClient

import conewright as cw
from conewright.store import Store

JOBS = "/api/v1/jobs"
TOML = {"content-type": "application/toml"}
JSON = {"content-type": "application/json"}
STARTER = cw.starter_text()
TITLE = cw.loads(STARTER).about.title


def created(client: TestClient, text: str = STARTER) -> tuple[str, str]:
    """Keep a job; return its address and its ETag."""
    answer = client.post(JOBS, content=text.encode(), headers=TOML)
    assert answer.status_code == 201, answer.text
    return answer.headers["location"], answer.headers["etag"]


def error(answer: Any) -> Any:
    assert set(answer.json()) == {"error"}
    return answer.json()["error"]


def changed(title: str) -> str:
    assert TITLE is not None
    return STARTER.replace(TITLE, title)


# --- In and out ---------------------------------------------------------------------------------


def test_a_text_comes_out_as_it_went_in(client: TestClient) -> None:
    answer = client.post(JOBS, content=STARTER.encode(), headers=TOML)
    body = answer.json()
    assert answer.status_code == 201
    assert body["revision"] == 1
    assert answer.headers["location"] == f"{JOBS}/{body['id']}"
    assert answer.headers["etag"] == f'"{body["id"]}-1"'
    text = client.get(f"{JOBS}/{body['id']}", headers={"accept": "application/toml"})
    assert text.content == STARTER.encode()
    assert text.headers["content-type"].startswith("application/toml")
    assert text.headers["etag"] == answer.headers["etag"]


def test_a_document_is_the_same_job_in_json(client: TestClient) -> None:
    place, _ = created(client)
    document = client.get(place)
    assert document.headers["content-type"] == "application/json"
    assert document.headers["vary"] == "Accept, Accept-Encoding"
    assert cw.loads(document.text, "json") == cw.loads(STARTER)
    again = client.post(JOBS, json=document.json())
    assert again.status_code == 201
    text = client.get(again.headers["location"], headers={"accept": "application/toml"}).text
    assert cw.loads(text) == cw.loads(STARTER)
    assert client.get(again.headers["location"]).json() == document.json()


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("", "application/json"),
        ("*/*", "application/json"),
        ("application/*", "application/json"),
        ("text/html,*/*;q=0.8", "application/json"),
        ("application/toml, application/json", "application/json"),
        ("application/toml", "application/toml"),
        ("application/toml;q=0.9, application/json;q=0.5", "application/toml"),
        ("application/toml;q=0.4, application/json;q=0.5", "application/json"),
        ("application/toml, */*;q=0.1", "application/toml"),
        ("application/toml;q=x", "application/json"),
    ],
)
def test_the_notation_is_the_one_that_is_wanted(client: TestClient, accept: str, kind: str) -> None:
    place, _ = created(client)
    answer = client.get(place, headers={"accept": accept})
    assert answer.headers["content-type"].partition(";")[0] == kind


def test_every_problem_of_a_job_is_told(client: TestClient, store: Store) -> None:
    document = tomllib.loads(STARTER)
    document["colour"] = "red"
    document["vehicle"]["cabin_volume"] = "7 litres of tea"
    answer = client.post(JOBS, content=json.dumps(document, default=str), headers=JSON)
    assert answer.status_code == 422
    assert error(answer)["code"] == "invalid"
    found = {problem["path"]: problem for problem in error(answer)["problems"]}
    assert found["colour"]["found"] == "a field that is not known"
    assert "7 litres of tea" in found["vehicle.cabin_volume"]["found"]
    assert store.jobs() == ()


@pytest.mark.parametrize(
    "kind",
    [
        "",
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "application/json; charset=latin-1",
    ],
)
def test_other_kinds_of_body_are_refused(client: TestClient, kind: str) -> None:
    answer = client.post(JOBS, content=STARTER.encode(), headers={"content-type": kind})
    assert answer.status_code == 415
    assert error(answer)["code"] == "media-type"


@pytest.mark.parametrize("kind", ["application/toml; charset=UTF-8", "Application/TOML"])
def test_a_kind_may_be_written_in_other_ways(client: TestClient, kind: str) -> None:
    answer = client.post(JOBS, content=STARTER.encode(), headers={"content-type": kind})
    assert answer.status_code == 201


@pytest.mark.parametrize(
    ("content", "status"),
    [(b"\xff\xfe", 400), (b"", 422), (b"{", 422), (b"[1]", 422), (b'{"a": NaN}', 422)],
)
def test_a_body_that_is_no_document_is_refused(
    client: TestClient, content: bytes, status: int
) -> None:
    answer = client.post(JOBS, content=content, headers=JSON)
    assert answer.status_code == status
    assert error(answer)["problems"] != []


# --- Revisions ----------------------------------------------------------------------------------


def test_a_change_is_a_new_revision(client: TestClient) -> None:
    place, etag = created(client)
    answer = client.put(place, content=changed("Other"), headers={**TOML, "if-match": etag})
    assert answer.status_code == 200
    assert answer.json()["revision"] == 2
    assert answer.headers["etag"] != etag
    assert "Other" in answer.json()["note"]
    listed = client.get(f"{place}/revisions").json()["revisions"]
    assert [each["revision"] for each in listed] == [2, 1]
    old = client.get(f"{place}/revisions/1", headers={"accept": "application/toml"})
    assert old.text == STARTER
    assert old.headers["etag"] == etag
    assert client.get(place).json()["job"]["title"] == "Other"


def test_a_change_must_say_where_it_started(client: TestClient) -> None:
    place, etag = created(client)
    for answer in (client.put(place, content=STARTER, headers=TOML), client.delete(place)):
        assert answer.status_code == 428
        assert error(answer)["code"] == "if-match-required"
        assert etag in error(answer)["problems"][0]["allowed"]
    assert len(client.get(f"{place}/revisions").json()["revisions"]) == 1


def test_a_conflict_tells_both_revisions_and_changes_nothing(client: TestClient) -> None:
    place, etag = created(client)
    mine = client.put(place, content=changed("Mine"), headers={**TOML, "if-match": etag})
    theirs = client.put(place, content=changed("Theirs"), headers={**TOML, "if-match": etag})
    gone = client.delete(place, headers={"if-match": etag})
    for answer in (theirs, gone):
        assert answer.status_code == 412
        assert error(answer)["code"] == "conflict"
        assert answer.headers["etag"] == mine.headers["etag"]
        (problem,) = error(answer)["problems"]
        assert problem["path"] == "If-Match"
        assert problem["found"] == "revision 1"
        assert problem["allowed"].startswith("revision 2 is the newest")
    assert client.get(place).json()["job"]["title"] == "Mine"


@pytest.mark.parametrize("tag", ["W/{}", '"somebody-elses-2"', "x", '""', "{}x", ","])
def test_a_tag_of_something_else_is_a_conflict(client: TestClient, tag: str) -> None:
    place, etag = created(client)
    answer = client.delete(place, headers={"if-match": tag.format(etag)})
    assert answer.status_code == 412
    assert client.get(place).status_code == 200


@pytest.mark.parametrize("tag", ["{}", '"other-1", {}', "*"])
def test_a_tag_may_be_one_of_several(client: TestClient, tag: str) -> None:
    place, etag = created(client)
    answer = client.delete(place, headers={"if-match": tag.format(etag)})
    assert answer.status_code == 204
    assert answer.content == b""


def test_a_deleted_job_is_gone_and_its_revisions_stay(client: TestClient) -> None:
    place, etag = created(client)
    client.delete(place, headers={"if-match": etag})
    assert client.get(place).status_code == 404
    assert client.get(f"{place}/feed").status_code == 404
    put = client.put(place, content=STARTER, headers={**TOML, "if-match": etag})
    assert put.status_code == 404
    assert client.get(JOBS).json()["jobs"] == []
    assert len(client.get(JOBS, params={"deleted": True}).json()["jobs"]) == 1
    assert client.get(f"{place}/revisions").json()["revisions"][0]["deleted"] is True
    assert client.get(f"{place}/revisions/1").status_code == 200


@pytest.mark.parametrize("tag", ["{}", "W/{}", '"x", {}', "*"])
@pytest.mark.parametrize("address", ["{}", "{}/revisions/1"])
def test_what_is_known_is_not_sent_again(client: TestClient, address: str, tag: str) -> None:
    place, etag = created(client)
    headers = {"if-none-match": tag.format(etag)}
    answer = client.get(address.format(place), headers=headers)
    assert answer.status_code == 304
    assert answer.content == b""
    assert answer.headers["etag"] == etag
    assert answer.headers["cache-control"] == "private, no-cache"


def test_the_list_is_searched(client: TestClient) -> None:
    created(client, changed("A green bus"))
    created(client, changed("A red bus"))
    titles = [
        [each["title"] for each in client.get(JOBS, params={"search": words}).json()["jobs"]]
        for words in ("", "red BUS", "blue", "\x00red")
    ]
    assert titles == [["A red bus", "A green bus"], ["A red bus"], [], ["A red bus"]]
    assert "channel" in client.get(JOBS).json()["jobs"][0]["state"]


@pytest.mark.parametrize(
    "address",
    [
        "/api/v1/jobs/none-at-all",
        "/api/v1/jobs/UPPER",
        "/api/v1/jobs/-x",
        "/api/v1/jobs/" + "a" * 200,
        "/api/v1/nothing",
        "{}/nothing",
        "{}/revisions/9",
        "{}/revisions/0",
        "{}/revisions/x",
        "{}/revisions/99999999999999999999",
        "{}/feed/",
        "{}/",
        "/docs",
        "/redoc",
        "/openapi.json",
    ],
)
def test_what_is_not_there_is_not_found(client: TestClient, address: str) -> None:
    place, _ = created(client)
    answer = client.get(address.format(place))
    assert answer.status_code == 404
    assert error(answer)["code"] == "not-found"


# --- Reports ------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", ["find", "fit", "feed", "hear", "compare"])
def test_a_report_is_the_one_of_the_stage(client: TestClient, stage: str) -> None:
    place, _ = created(client)
    answer = client.get(f"{place}/{stage}")
    job = cw.loads(STARTER)
    expected = getattr(cw, stage)(job if stage == "compare" else job.build())
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/json"
    told = answer.json()
    # The worker calculates with one thread, which may move the last digits: compared in words.
    assert told["answer"] == expected.answer
    assert [each["id"] for each in told["figures"]] == [each.id for each in expected.figures]
    assert cw.Report.model_validate(told).worst == expected.worst
    assert all(word not in answer.text for word in ("NaN", "Infinity"))


def test_a_report_of_a_proposal_against_another(client: TestClient) -> None:
    place, _ = created(client)
    query = {"proposal": "rings", "against": "as-found", "at": "20,1.2k"}
    told = client.get(f"{place}/hear", params=query).json()
    assert (told["build"], told["against"]) == ("rings", "as-found")
    assert told["series"][0]["x"]["values"] == [20.0, 1200.0]


def test_a_report_of_an_older_revision(client: TestClient) -> None:
    place, etag = created(client)
    client.put(place, content=changed("Other"), headers={**TOML, "if-match": etag})
    titles = [
        client.get(f"{place}/feed", params=query).json()["job"] for query in ({}, {"revision": 1})
    ]
    assert titles == ["Other", TITLE]


def test_a_report_that_is_known_is_not_sent_again(client: TestClient) -> None:
    place, _ = created(client)
    etag = client.get(f"{place}/feed").headers["etag"]
    again = client.get(f"{place}/feed", headers={"if-none-match": etag})
    other = client.get(f"{place}/feed", params={"at": "20"}, headers={"if-none-match": etag})
    assert (again.status_code, again.content) == (304, b"")
    assert other.status_code == 200


@pytest.mark.parametrize(
    ("stage", "query", "path", "found"),
    [
        ("feed", {"proposal": "none"}, "proposal", '"none"'),
        ("feed", {"against": "none"}, "against", '"none"'),
        ("find", {"proposal": "rings"}, "proposal", '"rings"'),
        ("compare", {"against": "rings"}, "against", '"rings"'),
        ("feed", {"revision": "0"}, "revision", "'0'"),
        ("feed", {"at": "x" * 3001}, "at", repr("x" * 3001)[:80]),
    ],
)
def test_a_question_that_cannot_be_answered(
    client: TestClient, stage: str, query: dict[str, str], path: str, found: str
) -> None:
    place, _ = created(client)
    answer = client.get(f"{place}/{stage}", params=query)
    assert answer.status_code == 422
    (problem,) = error(answer)["problems"]
    assert (problem["path"], problem["found"]) == (path, found)
    assert problem["allowed"] != ""


@pytest.mark.parametrize("at", ["", "20,x", "0", "1e9", "-5", "20,,30"])
def test_frequencies_that_are_none(client: TestClient, at: str) -> None:
    place, _ = created(client)
    answer = client.get(f"{place}/feed", params={"at": at})
    assert answer.status_code == 422
    assert error(answer)["message"].startswith('at: found "')


def test_a_job_kept_twice_names_the_first(client: TestClient) -> None:
    first = client.post(JOBS, content=STARTER.encode(), headers=TOML).json()
    assert first["same_as"] is None
    second = client.post(JOBS, content=STARTER.encode(), headers=TOML)
    # Nothing is lost: the second is kept as well, and says so.
    assert second.status_code == 201
    assert second.json()["same_as"] == first["id"] != second.json()["id"]
    assert (
        client.post(JOBS, content=changed("another").encode(), headers=TOML).json()["same_as"]
        is None
    )
