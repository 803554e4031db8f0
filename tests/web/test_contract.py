"""The published description of the API holds, and one shape of error is everywhere."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from starlette.testclient import TestClient

import conewright as cw
from conewright.job.text.starter import job_schema
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports

DESCRIPTION = "/api/v1/openapi.json"
PATIENCE = 1800.0
"""What an answer may take [s]: as long as the whole suite may hang, so that no clock decides."""


def _published() -> dict[str, Any]:
    # A description does not look into the store.
    return create_app(None).openapi()  # type: ignore[arg-type]


OPERATIONS = [
    (method, path) for path, methods in _published()["paths"].items() for method in methods
]


# A job is a large document with many patterns in it; drawing one takes a while and some misses.
UNHEALTHY = (HealthCheck.filter_too_much, HealthCheck.too_slow, HealthCheck.data_too_large)
# What is right in form may still be no job, name no proposal, or start from another revision.
EXPECTED = {
    "positive_data_acceptance": {"expected-statuses": ["2xx", "304", "404", "412", "422", "428"]},
    "negative_data_rejection": {
        "expected-statuses": ["400", "404", "412", "414", "415", "422", "428"]
    },
}


@dataclass(frozen=True)
class Api:
    """The API as its description has it, and a job that is there."""

    schema: Any
    job_id: str


@pytest.fixture(scope="module")
def api(tmp_path_factory: pytest.TempPathFactory, reports: Reports) -> Iterator[Api]:
    place = tmp_path_factory.mktemp("contract") / "jobs.sqlite"
    called = Settings(names=("testserver", "localhost"), port=80)
    config = schemathesis.Config.from_dict({"checks": EXPECTED, "request-timeout": PATIENCE})
    with Store.open(f"sqlite:///{place}") as store:
        kept = store.create(cw.starter_text(), who="Ann")
        app = create_app(store, settings=called, reports=reports)
        schema = schemathesis.openapi.from_asgi(DESCRIPTION, app, config=config)
        yield Api(schema, kept.job_id)


@pytest.mark.parametrize("mode", list(GenerationMode))
@pytest.mark.parametrize(("method", "path"), OPERATIONS)
def test_the_api_does_what_its_description_says(
    api: Api, method: str, path: str, mode: GenerationMode
) -> None:
    @given(case=api.schema[path][method].as_strategy(generation_mode=mode), known=st.booleans())
    @settings(max_examples=12, suppress_health_check=UNHEALTHY)
    def check(case: Case[Any], known: bool) -> None:
        # An id out of the air leads nowhere: half of the time the job is there.
        if known and mode is GenerationMode.POSITIVE and "job_id" in case.path_parameters:
            case.path_parameters["job_id"] = api.job_id
        case.call_and_validate()

    check()


def test_the_description_needs_nothing_from_outside(client: TestClient) -> None:
    document = client.get(DESCRIPTION)
    assert document.status_code == 200
    assert document.headers["content-type"] == "application/json"
    assert set(document.json()["paths"]) == {path for _, path in OPERATIONS}
    assert all(path.startswith("/api/v1/jobs") for _, path in OPERATIONS)
    assert re.findall(r"https?://[^\"]*", document.text) == []


def test_a_job_is_described_as_the_command_describes_it(client: TestClient) -> None:
    schemas = client.get(DESCRIPTION).json()["components"]["schemas"]
    own = job_schema()
    assert set(schemas["Job"]["properties"]) == set(own["properties"])
    assert {f"Job.{name}" for name in own["$defs"]} <= set(schemas)
    written = str(schemas)
    targets = set(re.findall(r"'\$ref': '#/components/schemas/([^']+)'", written))
    assert targets <= set(schemas)
    assert "$defs" not in written


# --- One shape of error -------------------------------------------------------------------------


class _Broken:
    """A store that fails."""

    def jobs(self, **_: object) -> None:
        raise ZeroDivisionError("a secret of the program")


def _errors(client: TestClient, store: Store) -> Iterator[tuple[int, Any]]:
    """Yield how every kind of request that is refused is answered."""
    saved = store.create(cw.starter_text(), who="Ann")
    place = f"/api/v1/jobs/{saved.job_id}"
    toml = {"content-type": "application/toml"}
    yield 400, client.post("/api/v1/jobs", content=b"\xff", headers=toml)
    yield 403, client.post("/api/v1/jobs", headers={"origin": "http://evil.example"})
    yield 404, client.get("/api/v1/nothing")
    yield 404, client.get("/nothing")
    yield 404, client.get("/static/nothing.css")
    yield 405, client.patch(place)
    yield 405, client.post("/static/style.css")
    yield 412, client.delete(place, headers={"if-match": '"x"'})
    yield 413, client.post("/api/v1/jobs", content=b"x" * 1_000_001, headers=toml)
    yield 414, client.get("/api/v1/jobs", params={"search": "x" * 5000})
    yield 415, client.post("/api/v1/jobs", content=b"x")
    yield 421, client.get("/api/v1/jobs", headers={"host": "evil.example"})
    yield 422, client.post("/api/v1/jobs", content=b"x", headers=toml)
    yield 422, client.get("/api/v1/jobs", params={"deleted": "perhaps"})
    yield 428, client.delete(place)
    yield 431, client.get("/api/v1/jobs", headers={"x-large": "x" * 20_000})


def test_every_error_has_the_one_shape(client: TestClient, store: Store) -> None:
    for status, answer in _errors(client, store):
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/json"
        body = answer.json()
        assert list(body) == ["error"]
        assert list(body["error"]) == ["code", "message", "problems"]
        assert re.fullmatch(r"[a-z-]+", body["error"]["code"])
        assert body["error"]["message"] != ""
        for problem in body["error"]["problems"]:
            assert list(problem) == ["path", "found", "allowed"]
            assert all(isinstance(text, str) for text in problem.values())


def test_a_fault_of_the_program_has_it_too_and_tells_nothing(app: FastAPI) -> None:
    app.state.store = _Broken()
    client = TestClient(app, base_url="http://127.0.0.1:8420", raise_server_exceptions=False)
    answer = client.get("/api/v1/jobs")
    assert answer.status_code == 500
    assert answer.json() == {
        "error": {
            "code": "internal",
            "message": "This is a fault of the program; nothing that was saved is lost.",
            "problems": [],
        }
    }
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert answer.headers["cache-control"] == "no-store"


def test_a_browser_reads_an_error_as_a_page(client: TestClient) -> None:
    answer = client.get("/<script>alert(1)</script>", headers={"accept": "text/html,*/*"})
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert "There is nothing at this address." in answer.text
    assert "alert" not in answer.text


def test_every_method_of_an_address_is_told(client: TestClient) -> None:
    told = {
        path: client.request("PATCH", path).headers["allow"]
        for path in ("/api/v1/jobs", "/api/v1/jobs/x-aaaa", "/api/v1/jobs/x-aaaa/feed")
    }
    assert list(told.values()) == ["GET, HEAD, POST", "DELETE, GET, HEAD, PUT", "GET, HEAD"]


@pytest.mark.parametrize(
    "path",
    [
        *("/", "/jobs", "/jobs/new", "/devices", "/jobs/{job}", "/jobs/{job}/feed", "/nothing"),
        *("/parts", "/parts/import", "/parts/lists"),
        *("/static/style.css", "/api/v1/jobs", "/api/v1/jobs/{job}", "/api/v1/jobs/{job}/feed"),
        *("/api/v1/openapi.json", "/api/v1/jobs/none-aaaa"),
    ],
)
def test_head_is_answered_as_get_without_a_body(
    client: TestClient, store: Store, path: str
) -> None:
    # RFC 9110 section 9.3.2: the same header fields as for GET.
    address = path.replace("{job}", store.create(cw.starter_text(), who="Ann").job_id)
    client.get(address)
    got, asked = client.get(address), client.head(address)
    assert asked.content == b""
    assert asked.status_code == got.status_code
    assert asked.headers == got.headers
