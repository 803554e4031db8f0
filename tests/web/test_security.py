"""Trying to get in: by a foreign name, from a foreign page, with too much, too slowly, sideways."""

import asyncio
import json
import re
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx2
import pytest
import uvicorn
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

import conewright as cw
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.headers import SECURE
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports
from conewright.web.doors.connections import Impatient
from serving import TOML, ended, free_port, said, serving

HERE = "http://127.0.0.1:8420"
JOBS = "/api/v1/jobs"
STARTER = cw.starter_text()


# --- Host ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:8420",
        "127.0.0.1",
        "127.0.0.1:8421",
        "127.0.0.1:84200",
        "127.0.0.2:8420",
        "localhost",
        "localhost.:8420",
        "localhost.evil.example:8420",
        "evil.example@localhost:8420",
        "localhost:8420@evil.example",
        "localhost:8420, evil.example",
        "localhost:8420 ",
        "[::1]",
        "::1:8420",
        "0.0.0.0:8420",
        "2130706433:8420",
        "",
    ],
)
def test_a_foreign_name_of_this_server_is_refused(client: TestClient, host: str) -> None:
    # What a page does whose name was pointed at this machine (DNS rebinding).
    answer = client.get(JOBS, headers={"host": host})
    assert answer.status_code == 421
    assert answer.json()["error"]["code"] == "wrong-host"


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8420", "localhost:8420", "[::1]:8420", "LocalHost:8420"]
)
def test_its_own_names_are_right(client: TestClient, host: str) -> None:
    assert client.get(JOBS, headers={"host": host}).status_code == 200


def test_two_names_or_none_are_refused(app: FastAPI) -> None:
    for hosts in ([], [b"127.0.0.1:8420", b"127.0.0.1:8420"], [b"127.0.0.1:8420", b"evil"]):
        status, _, _ = asked(app, "GET", JOBS, headers=[(b"host", host) for host in hosts])
        assert status == 421


def test_at_the_standard_port_a_browser_leaves_it_out(store: Store, reports: Reports) -> None:
    app = create_app(store, settings=Settings(port=80), reports=reports)
    client = TestClient(app, base_url="http://localhost")
    assert client.get(JOBS).status_code == 200
    assert client.get(JOBS, headers={"host": "localhost:443"}).status_code == 421


def test_what_others_say_about_the_host_counts_for_nothing(client: TestClient) -> None:
    headers = {"host": "evil.example", "x-forwarded-host": "127.0.0.1:8420"}
    assert client.get(JOBS, headers=headers).status_code == 421


# --- Foreign pages ------------------------------------------------------------------------------

FOREIGN = [
    {"origin": "http://evil.example"},
    {"origin": "null"},
    {"origin": ""},
    {"origin": "http://127.0.0.1:8421"},
    {"origin": "https://127.0.0.1:8420"},
    {"origin": "http://localhost:8420"},
    {"origin": "http://127.0.0.1:8420.evil.example"},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"sec-fetch-site": "cross-site", "origin": HERE},
    {"sec-fetch-site": "same-origin", "origin": "http://evil.example"},
    {"sec-fetch-site": "x"},
    {"cookie": "conewright-who=Ann"},
]
FORM = {"content-type": "application/x-www-form-urlencoded"}


@pytest.mark.parametrize("foreign", FOREIGN, ids=str)
def test_a_change_from_a_foreign_page_is_refused(
    client: TestClient, store: Store, foreign: dict[str, str]
) -> None:
    saved = store.create(STARTER, who="Ann")
    place = f"{JOBS}/{saved.job_id}"
    device = store.add_device("phone", "x" * 64)
    answers = [
        client.post(JOBS, content=STARTER, headers={**TOML, **foreign}),
        client.put(place, content=STARTER, headers={**TOML, **foreign, "if-match": "*"}),
        client.delete(place, headers={**foreign, "if-match": "*"}),
        client.post("/jobs/new", content="title=x", headers={**FORM, **foreign}),
        client.post(f"/devices/{device.id}/revoke", headers={**FORM, **foreign}),
        client.post("/nothing", headers=foreign),
    ]
    assert [answer.status_code for answer in answers] == [403] * len(answers)
    assert len(store.jobs()) == 1
    assert len(store.revisions(saved.job_id)) == 1
    assert store.devices()[0].revoked_at is None


@pytest.mark.parametrize(
    "own",
    [
        {},
        {"origin": HERE},
        {"origin": HERE, "sec-fetch-site": "same-origin", "cookie": "conewright-who=Ann"},
        {"sec-fetch-site": "same-origin", "cookie": "conewright-who=Ann"},
        {"sec-fetch-site": "none"},
    ],
    ids=str,
)
def test_a_change_from_its_own_page_or_a_program_passes(
    client: TestClient, own: dict[str, str]
) -> None:
    answer = client.post(JOBS, content=STARTER, headers={**TOML, **own})
    assert answer.status_code == 201


def test_two_origins_of_which_one_is_foreign_are_refused(app: FastAPI) -> None:
    origins = [(b"origin", HERE.encode()), (b"origin", b"http://evil.example")]
    headers = [(b"host", b"127.0.0.1:8420"), *origins]
    status, _, _ = asked(app, "POST", JOBS, headers=headers)
    assert status == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_foreign_page_can_link_here_but_load_nothing(client: TestClient, site: str) -> None:
    for mode, status in (("no-cors", 403), ("cors", 403), ("navigate", 200), ("", 403)):
        headers = {"sec-fetch-site": site, "sec-fetch-mode": mode}
        assert client.get(JOBS, headers=headers).status_code == status


def test_nobody_is_allowed_to_read_from_elsewhere(client: TestClient) -> None:
    asked_first = client.options(
        JOBS, headers={"origin": "http://evil.example", "access-control-request-method": "PUT"}
    )
    read = client.get(JOBS, headers={"origin": "http://evil.example"})
    for answer in (asked_first, read):
        assert not [name for name in answer.headers if name.startswith("access-control")]


@pytest.mark.parametrize("path", ["/", "/jobs", JOBS, "/static/style.css"])
def test_no_request_is_sent_back_by_trace(client: TestClient, path: str) -> None:
    answer = client.request("TRACE", path, headers={"x-secret": "told"})
    assert answer.status_code == 405
    assert "told" not in answer.text


def test_there_are_no_sockets(client: TestClient) -> None:
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/jobs"):
        pass


# --- Headers of answers -------------------------------------------------------------------------


def test_every_answer_carries_the_headers(client: TestClient, store: Store) -> None:
    saved = store.create(STARTER, who="Ann")
    place = f"{JOBS}/{saved.job_id}"
    answers = [
        client.get(JOBS),
        client.get("/"),
        client.get("/nothing"),
        client.get("/static/nothing.js"),
        client.get("/devices"),
        client.patch(place),
        client.get(place, headers={"if-none-match": saved.etag}),
        client.get(JOBS, headers={"host": "evil.example"}),
        client.post(JOBS, headers={"origin": "null"}),
        client.post(JOBS, content=b"x" * 1_000_001),
    ]
    own = {"Cache-Control"}
    for answer in answers:
        for name, value in SECURE.items():
            assert name in own or answer.headers.get_list(name) == [value]
        assert answer.headers["cache-control"] in {"no-store", "private, no-cache"}
        assert "server" not in answer.headers
    assert [each.status_code for each in answers[:5]] == [200, 303, 404, 404, 200]


def test_the_policy_lets_nothing_in_from_outside() -> None:
    policy = dict(part.split(" ", 1) for part in SECURE["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["object-src"] == "'none'"
    sources = {source for value in policy.values() for source in value.split()}
    assert sources <= {"'none'", "'self'", "data:", "blob:"}
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"


# --- Too much, too slow -------------------------------------------------------------------------


def asked(
    app: FastAPI,
    method: str,
    path: str,
    *,
    headers: list[tuple[bytes, bytes]] | None = None,
    body: list[dict[str, Any]] | None = None,
) -> tuple[int, dict[str, str], bytes]:
    """Ask an app without any client between that would put the request in order."""
    host = [(b"host", b"127.0.0.1:8420")]
    scope = {
        "type": "http",
        "method": method,
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": host if headers is None else headers,
        "scheme": "http",
        "server": ("127.0.0.1", 8420),
        "client": ("127.0.0.1", 50000),
        "root_path": "",
    }
    messages = iter(body or [{"type": "http.request"}])
    sent: list[Any] = []

    async def receive() -> Any:
        if (message := next(messages, None)) is not None:
            return message
        await asyncio.sleep(3600)
        return None

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    if not sent:
        return 0, {}, b""
    told = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], told, b"".join(each.get("body", b"") for each in sent[1:])


def chunk(content: bytes, *, more: bool = True) -> dict[str, Any]:
    return {"type": "http.request", "body": content, "more_body": more}


def test_a_body_that_says_it_is_too_large_is_not_read(app: FastAPI) -> None:
    headers = [(b"host", b"127.0.0.1:8420"), (b"content-length", b"1000001")]
    # Nothing comes: an answer before the end of the test shows that nobody waited for it.
    status, told, _ = asked(app, "POST", JOBS, headers=headers, body=[chunk(b"x")])
    assert status == 413
    assert told["connection"] == "close"


def test_a_body_without_a_length_is_counted_while_it_comes(app: FastAPI) -> None:
    taken = 0

    def endless() -> Iterator[dict[str, Any]]:
        nonlocal taken
        while True:
            taken += 1
            yield chunk(b"x" * 10_000)

    body: Any = endless()
    status, _, _ = asked(app, "POST", JOBS, body=body)
    assert status == 413
    assert taken == 101


def test_a_chunked_body_is_counted_too(client: TestClient) -> None:
    pieces = (b"x" * 100_000 for _ in range(11))
    answer = client.post(JOBS, content=pieces, headers=TOML)
    assert answer.request.headers["transfer-encoding"] == "chunked"
    assert answer.status_code == 413


def test_the_largest_body_is_read(client: TestClient) -> None:
    text = STARTER + "#" * (1_000_000 - len(STARTER.encode()))
    assert client.post(JOBS, content=text.encode(), headers=TOML).status_code == 201


@pytest.mark.parametrize("length", [b"-1", b"1e3", b"", b"abc", b"0x10", "١".encode(), b"1, 1"])
def test_a_length_that_is_none_is_refused(app: FastAPI, length: bytes) -> None:
    headers = [(b"host", b"127.0.0.1:8420"), (b"content-length", length)]
    assert asked(app, "POST", JOBS, headers=headers)[0] == 400


def test_a_length_without_end_is_refused(app: FastAPI) -> None:
    headers = [(b"host", b"127.0.0.1:8420"), (b"content-length", b"9" * 5000)]
    assert asked(app, "POST", JOBS, headers=headers)[0] == 413


def test_a_slow_body_is_not_waited_for(store: Store, reports: Reports) -> None:
    quick = create_app(store, settings=Settings(body_seconds=0.05), reports=reports)
    status, told, body = asked(quick, "POST", JOBS, body=[chunk(b"f")])
    assert status == 408
    assert told["connection"] == "close"
    assert json.loads(body)["error"]["code"] == "too-slow"


def test_who_goes_away_is_not_answered(app: FastAPI, store: Store) -> None:
    gone = [chunk(STARTER.encode()), {"type": "http.disconnect"}]
    assert asked(app, "POST", JOBS, body=gone)[0] == 0
    assert store.jobs() == ()


def test_a_large_head_is_refused(client: TestClient) -> None:
    many = {f"x-{number}": "1" for number in range(101)}
    assert client.get(JOBS, headers=many).status_code == 431
    assert client.get(JOBS, headers={"x": "1" * 17_000}).status_code == 431
    assert client.get(f"{JOBS}?search={'x' * 4200}").status_code == 414


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("a = " + "[" * 400_000, "toml"),
        ("a = " + "{a=" * 300_000, "toml"),
        ("[" + "a." * 400_000 + "a]", "toml"),
        ("a." * 400_000 + "a = 1", "toml"),
        ("a = " + "9" * 900_000, "toml"),
        ("\n".join(f"[t{number}]" for number in range(100_000)), "toml"),
        ("a = [" + "{}," * 300_000 + "]", "toml"),
        ("[" * 900_000, "json"),
        ('{"a":' * 150_000, "json"),
        ('{"a": ' + "9" * 900_000 + "}", "json"),
        ("[" + "1," * 450_000 + "1]", "json"),
    ],
    ids=lambda value: value[:8],
)
def test_a_bomb_of_text_is_refused(client: TestClient, text: str, kind: str) -> None:
    headers = {"content-type": f"application/{kind}"}
    answer = client.post(JOBS, content=text.encode(), headers=headers)
    # The worst of them once took hours: the time-out of the suite would tell.
    assert answer.status_code == 422


# --- Sideways -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/static/../settings.py",
        "/static/../../../../../../../../etc/passwd",
        "/static/..%2fsettings.py",
        "/static/..\\settings.py",
        "/static//etc/passwd",
        "/static/\x00",
        "/static/",
        "/static",
        "/static/.",
        f"{JOBS}/..",
        f"{JOBS}/../../etc/passwd",
        f"{JOBS}/\x00",
        f"{JOBS}/a/../../jobs",
        f"{JOBS}/..%2f..%2fetc",
        f"{JOBS}/x'; drop table jobs --",
        "//evil.example/",
        "/\\evil.example/",
        "http://evil.example/",
        "/api/v1/../v1/jobs",
    ],
)
def test_no_path_leads_out(app: FastAPI, path: str) -> None:
    status, headers, body = asked(app, "GET", path)
    assert status == 404
    assert "location" not in headers
    assert b"root:" not in body
    assert b"import" not in body


@given(name=st.text(max_size=80))
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_id_leads_somewhere_or_nowhere(app: FastAPI, name: str) -> None:
    for path in (f"{JOBS}/{name}", f"{JOBS}/{name}/feed", f"{JOBS}/{name}/revisions/{name}"):
        status, _, _ = asked(app, "GET", path.encode("utf-8", "replace").decode())
        # A slash more or less is another address, and an empty name the list.
        assert status in {200, 404} if name.strip("/") == "" else status == 404


@pytest.mark.parametrize("bad", ["\r\nSet-Cookie: a=b", "\nX: y", "\r", "é\r\n"])
def test_nothing_gets_into_the_headers(client: TestClient, bad: str) -> None:
    title = json.dumps(f"A van{bad}")
    text = re.sub(r"(?m)^title = .*$", lambda _: f"title = {title}", STARTER)
    answer = client.post(JOBS, content=text.encode(), headers=TOML)
    assert answer.status_code in {201, 422}
    for name, value in answer.headers.items():
        assert name != "set-cookie"
        assert "\n" not in value
        assert "\r" not in value
    for path in (JOBS, "/jobs", "/nothing", "/pair"):
        told = client.get(path, params={"search": bad, "code": bad}).headers
        assert "set-cookie" not in told
        assert "x" not in told


SCRIPT = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'&"


def test_a_script_in_a_title_stays_a_text(client: TestClient) -> None:
    text = re.sub(r"(?m)^title = .*$", lambda _: f"title = {json.dumps(SCRIPT)}", STARTER)
    place = client.post(JOBS, content=text.encode(), headers=TOML).headers["location"]
    told = client.get(place)
    assert told.json()["job"]["title"] == SCRIPT
    assert told.headers["content-type"] == "application/json"
    assert told.headers["x-content-type-options"] == "nosniff"
    assert client.get(f"{place}/feed").json()["job"] == SCRIPT
    job_id = place.rsplit("/", 1)[1]
    for page in ("/jobs", f"/jobs/{job_id}", f"/jobs/{job_id}/feed"):
        shown = client.get(page, headers={"accept": "text/html"})
        assert shown.status_code == 200
        assert "alert(1)" in shown.text
        assert "<script>alert" not in shown.text
        assert "<img src=x" not in shown.text


def test_a_script_in_a_problem_stays_a_text(client: TestClient) -> None:
    headers = {**TOML, "accept": "text/html"}
    answer = client.post(JOBS, content=f'"{SCRIPT[:25]}" = 1'.encode(), headers=headers)
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/json"


# --- For real -----------------------------------------------------------------------------------


def test_it_runs_and_ends(tmp_path: Path) -> None:
    port = free_port()
    with socket.socket() as taken, serving(tmp_path, "--port", str(port)) as process:
        line = said(process)
        assert line.startswith(f"Conewright is at http://127.0.0.1:{port}/ ")
        place = f"http://127.0.0.1:{port}{JOBS}"
        with httpx2.Client(trust_env=False, timeout=None) as client:
            answer = client.post(place, content=STARTER, headers=TOML)
            assert answer.status_code == 201
            assert "server" not in answer.headers
            report = client.get(f"http://127.0.0.1:{port}{answer.headers['location']}/feed")
            assert report.json()["stage"] == "feed"
            assert client.get(place, headers={"host": "evil.example"}).status_code == 421
        # A second one finds the port taken and says which one it has.
        with serving(tmp_path, "--port", str(port)) as second:
            assert said(second) == f"Port {port} is taken; this is {port + 1}.\n"
            assert ended(second)[0] == 0
        # Somebody who never ends the head of a request does not hold up the end.
        taken.connect(("127.0.0.1", port))
        taken.sendall(b"GET / HTTP/1.1\r\nHost: ")
        code, out, err = ended(process)
        assert (code, err) == (0, "")
        assert out == "Conewright has ended; every saved job is kept.\n"


def test_the_head_of_a_request_must_come_in_time(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Impatient, "seconds", 0.2)
    assert asyncio.run(_dribbled(app)) > 0


async def _dribbled(app: FastAPI) -> int:
    """Send the head of a request byte by byte; return how many went before the server hung up."""
    config = uvicorn.Config(app, http=Impatient, ws="none", lifespan="off", log_level="error")
    server = uvicorn.Server(config)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        running = asyncio.create_task(server.serve([listening]))
        reader, writer = await asyncio.open_connection(*listening.getsockname())
        writer.write(b"GET / HTTP/1.1\r\nX-Slow: ")
        sent = 0
        while not await _hung_up(reader):
            writer.write(b"x")
            sent += 1
        writer.close()
        server.should_exit = True
        await running
    return sent


@pytest.mark.parametrize(
    ("lengths", "status"),
    [
        # By its chunks the request has ended; by its length it never does.
        (b"Transfer-Encoding: chunked\r\nContent-Length: 100\r\n", b"415"),
        (b"Content-Length: 5\r\nContent-Length: 100\r\n", b"400"),
        (b"Content-Length: 5\r\nContent-Length: 5\r\n", b"415"),
    ],
)
def test_the_end_of_a_request_is_found_in_one_way(
    app: FastAPI, lengths: bytes, status: bytes
) -> None:
    head = b"POST %s HTTP/1.1\r\nHost: 127.0.0.1:8420\r\n" % JOBS.encode()
    told = asyncio.run(_first_line(app, head + lengths + b"\r\n0\r\n\r\n"))
    assert told.startswith(b"HTTP/1.1 " + status)


async def _first_line(app: FastAPI, request: bytes) -> bytes:
    """Return the first line of what a server answers."""
    config = uvicorn.Config(app, http=Impatient, ws="none", lifespan="off", log_level="critical")
    server = uvicorn.Server(config)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        running = asyncio.create_task(server.serve([listening]))
        reader, writer = await asyncio.open_connection(*listening.getsockname())
        writer.write(request)
        told = await reader.readline()
        writer.close()
        server.should_exit = True
        await running
    return told


async def _hung_up(reader: asyncio.StreamReader) -> bool:
    try:
        return await asyncio.wait_for(reader.read(1), 0.05) == b""
    except TimeoutError:
        return False
    except ConnectionError:
        return True
