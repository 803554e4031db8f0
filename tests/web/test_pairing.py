"""The local network: nobody is let in but by a code, and nobody stays who was sent away."""

import re
import socket
import ssl
import stat
import warnings
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Any

import httpx2
import pytest
from cryptography import x509
from fastapi import FastAPI
from fastapi.routing import APIRoute
from sqlalchemy import update
from starlette.testclient import TestClient

import conewright as cw
from conewright.errors import BadInputError
from conewright.store import Store, StoreUnavailable, schema
from conewright.web import api, pairing
from conewright.web.app import create_app
from conewright.web.base.errors import Refusal
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports
from conewright.web.doors import certificate
from conewright.web.doors.certificate import certificate_in
from conewright.web.pages import routers
from conewright.web.pairing import COOKIE, GUESSES, Invitation, Pairing
from serving import TOML, ended, free_port, said, serving

THERE = "https://192.168.7.5:8443"
NAMES = ("192.168.7.5", "bench", "bench.local")
STARTER = cw.starter_text()


@dataclass
class Desk:
    """What is shown where the server runs, and the clock on its wall."""

    now: float = 0.0
    invitations: list[Invitation] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)

    @property
    def code(self) -> str:
        return self.invitations[-1].shown

    def pairing(self, store: Store) -> Pairing:
        return Pairing(
            store,
            invite=self.invitations.append,
            say=self.lines.append,
            clock=lambda: self.now,
        )


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def lan(store: Store, reports: Reports, desk: Desk) -> FastAPI:
    there = Settings(names=NAMES, port=8443)
    return create_app(store, lan=desk.pairing(store), settings=there, reports=reports)


@pytest.fixture
def phone(lan: FastAPI) -> TestClient:
    return device(lan)


def device(lan: FastAPI, *, raises: bool = True) -> TestClient:
    return TestClient(
        lan,
        base_url=THERE,
        follow_redirects=False,
        headers={"origin": THERE},
        raise_server_exceptions=raises,
    )


def guess(client: TestClient, code: str, name: str = "phone") -> Any:
    return client.post("/pair", data={"code": code, "name": name})


def paired(client: TestClient, desk: Desk) -> TestClient:
    client.get("/pair")
    assert guess(client, desk.code).status_code == 303
    return client


def wrong(code: str) -> str:
    """Return a code that differs in its last letter."""
    return code[:-1] + ("A" if code[-1] != "A" else "B")


# --- Without a code -----------------------------------------------------------------------------


def every_route() -> Iterator[tuple[str, str]]:
    for router in (api.router, pairing.router, *routers):
        for route in router.routes:
            assert isinstance(route, APIRoute)
            for method in route.methods or ():
                yield method, route.path
    for path in ("/", "/nothing", "/static/pages.js", "/static/", "/api/v1/openapi.json"):
        yield "GET", path


@pytest.mark.parametrize("accept", ["text/html", "application/json", ""])
def test_whoever_is_not_paired_sees_nothing(
    phone: TestClient, store: Store, desk: Desk, accept: str
) -> None:
    saved = store.create(STARTER, who="Ann")
    store.add_device("other", "x" * 64)
    asked = 0
    for method, path in every_route():
        if path == "/pair":
            continue
        address = path.replace("{job_id}", saved.job_id).replace("{stage}", "feed")
        answer = phone.request(method, re.sub(r"\{.*?\}", "1", address), headers={"accept": accept})
        if method in ("GET", "HEAD") and accept == "text/html" and not path.startswith("/api/"):
            assert (answer.status_code, answer.headers["location"]) == (303, "/pair")
            assert answer.content == b""
        else:
            assert answer.status_code == 401
            assert "www-authenticate" in answer.headers
        for word in (saved.job_id, "Ann", "other"):
            assert word not in answer.text
        asked += 1
    assert asked > 25
    assert store.get(saved.job_id).revision == 1
    assert store.devices()[0].revoked_at is None
    # None of this even made a code.
    assert desk.invitations == []


def test_the_page_that_asks_for_the_code_and_its_style_are_seen(
    phone: TestClient, store: Store, desk: Desk
) -> None:
    saved = store.create(STARTER, who="Ann")
    page = phone.get("/pair", headers={"accept": "text/html"})
    style = phone.get("/static/style.css")
    assert (page.status_code, style.status_code) == (200, 200)
    assert page.headers["cache-control"] == "no-store"
    shown = re.sub(r"\s+", " ", page.text)
    for word in (saved.job_id, "Ann", desk.code, desk.invitations[0].code, "/jobs"):
        assert word not in shown
    # It loads nothing that is not seen.
    assert set(re.findall(r'(?:src|href)="([^"]+)"', shown)) == {"data:,", "/static/style.css"}


def test_a_body_of_somebody_not_paired_is_not_read(phone: TestClient) -> None:
    answer = phone.post("/api/v1/jobs", content=b"x" * 2_000_000, headers=TOML)
    assert answer.status_code == 401


@pytest.mark.parametrize("host", ["127.0.0.1:8443", "localhost:8443", "evil.example:8443", "bench"])
def test_only_the_names_on_the_network_are_right(phone: TestClient, host: str) -> None:
    assert phone.get("/pair", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["192.168.7.5:8443", "bench:8443", "BENCH.local:8443"])
def test_the_names_on_the_network_are_right(phone: TestClient, host: str) -> None:
    assert phone.get("/pair", headers={"host": host}).status_code == 200


# --- With a code --------------------------------------------------------------------------------


def test_a_code_lets_one_device_in(phone: TestClient, store: Store, desk: Desk) -> None:
    phone.get("/pair")
    answer = guess(phone, desk.code, "Ann's phone")
    assert (answer.status_code, answer.headers["location"]) == (303, "/jobs")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{COOKIE}=")
    flags = {flag.strip().lower() for flag in cookie.split(";")[1:]}
    assert {"httponly", "secure", "samesite=strict", "path=/"} <= flags
    assert not [flag for flag in flags if flag.startswith("domain")]
    assert phone.get("/jobs").status_code == 200
    kept = phone.post("/api/v1/jobs", content=STARTER, headers=TOML)
    assert kept.json()["who"] == "Ann's phone"
    assert [each.name for each in store.devices()] == ["Ann's phone"]
    assert desk.lines == ["Ann's phone is paired."]
    assert phone.get("/pair").headers["location"] == "/devices"


def test_a_device_that_is_paired_is_not_paired_again(
    lan: FastAPI, phone: TestClient, store: Store, desk: Desk
) -> None:
    paired(phone, desk)
    device(lan).get("/pair")
    again = guess(phone, desk.code, "the same phone")
    assert (again.status_code, again.headers["location"]) == (303, "/devices")
    assert "set-cookie" not in again.headers
    assert [each.name for each in store.devices()] == ["phone"]


@pytest.mark.parametrize("spelt", ["{}", "  {} ", "{0.lower}", "{0.spaced}"])
def test_a_code_may_be_typed_in_other_ways(phone: TestClient, desk: Desk, spelt: str) -> None:
    phone.get("/pair")
    ways = {
        "{}": desk.code,
        "  {} ": f"  {desk.code} ",
        "{0.lower}": desk.code.lower(),
        "{0.spaced}": " ".join(desk.code.replace("-", "")),
    }
    assert guess(phone, ways[spelt]).status_code == 303


def test_a_code_is_good_for_one_device_only(lan: FastAPI, desk: Desk) -> None:
    first, second = device(lan), device(lan)
    paired(first, desk)
    used = desk.code
    assert guess(second, used).status_code == 403
    assert second.get("/jobs").status_code == 401
    # The guess made a new code, which is shown where the server runs.
    assert desk.code != used
    assert guess(second, desk.code).status_code == 303


def test_a_code_runs_out(phone: TestClient, desk: Desk) -> None:
    phone.get("/pair")
    old = desk.code
    desk.now += 599.0
    phone.get("/pair")
    assert len(desk.invitations) == 1
    desk.now += 2.0
    assert guess(phone, old).status_code == 403
    assert len(desk.invitations) == 2


def test_codes_are_hard_to_guess(store: Store, desk: Desk) -> None:
    open_door = desk.pairing(store)
    for _ in range(200):
        desk.now += 601.0
        open_door.open()
    codes = [each.code for each in desk.invitations]
    assert len(set(codes)) == 200
    assert all(re.fullmatch(r"[A-HJKMNP-Z2-9]{8}", code) for code in codes)
    # closed form: five guesses a code and at most one lock an hour against 31^8 codes
    assert GUESSES * 24 * 365 / 31**8 < 1e-6
    # Every letter turns up at every place: 200 draws miss one of 31 with a chance of 0.1 %.
    assert all(len({code[place] for code in codes}) >= 28 for place in range(8))


# --- Guessing -----------------------------------------------------------------------------------


def test_guesses_close_the_door_for_a_while(phone: TestClient, store: Store, desk: Desk) -> None:
    phone.get("/pair")
    right = desk.code
    answers = [guess(phone, wrong(right)) for _ in range(GUESSES)]
    assert {answer.status_code for answer in answers} == {403}
    locked = guess(phone, right)
    assert locked.status_code == 429
    assert 55 <= int(locked.headers["retry-after"]) <= 61
    assert "open again in 1 minute" in locked.text
    assert phone.get("/pair").status_code == 429
    desk.now += 61.0
    # The code that was guessed at is gone.
    assert guess(phone, right).status_code == 403
    assert len(desk.invitations) == 2
    assert guess(phone, desk.code).status_code == 303
    assert desk.lines[0] == f"{GUESSES} wrong codes: pairing is closed for 1 minute."
    assert len(store.devices()) == 1


def test_each_lock_is_longer_than_the_one_before(store: Store, desk: Desk) -> None:
    door = desk.pairing(store)
    locks = []
    for _ in range(8):
        for _ in range(GUESSES):
            with pytest.raises(Refusal, match="code"):
                door.pair("no such code", "thief")
        start = desk.now
        while True:
            try:
                door.open()
                break
            except Refusal:
                desk.now += 1.0
        locks.append(desk.now - start)
    assert locks == [60.0, 120.0, 240.0, 480.0, 960.0, 1920.0, 3600.0, 3600.0]
    # Somebody who knows the code shows that the guesses have ended.
    door.pair(desk.code, "phone")
    for _ in range(GUESSES):
        with pytest.raises(Refusal):
            door.pair("no such code", "thief")
    desk.now += 60.0
    door.open()


def test_other_devices_and_new_codes_bring_no_new_guesses(lan: FastAPI, desk: Desk) -> None:
    for number in range(GUESSES):
        thief = device(lan)
        thief.headers["x-forwarded-for"] = f"10.0.0.{number}"
        desk.now += 601.0
        thief.get("/pair")
        assert guess(thief, wrong(desk.code)).status_code == 403
    assert len({each.code for each in desk.invitations}) == GUESSES
    assert guess(device(lan), desk.code).status_code == 429


def test_guesses_at_the_same_time_are_counted_too(store: Store, desk: Desk) -> None:
    door = desk.pairing(store)
    door.open()

    def attempt(_: int) -> int:
        try:
            door.pair(wrong(desk.invitations[0].code), "thief")
        except Refusal as refusal:
            return refusal.status
        return 200

    with ThreadPoolExecutor(20) as pool:
        statuses = list(pool.map(attempt, range(100)))
    assert statuses.count(403) == GUESSES
    assert statuses.count(429) == 100 - GUESSES
    assert store.devices() == ()


def test_a_lock_leaves_paired_devices_alone(lan: FastAPI, desk: Desk) -> None:
    friend, thief = paired(device(lan), desk), device(lan)
    for _ in range(GUESSES):
        guess(thief, "AAAA-AAAA")
    assert guess(thief, "AAAA-AAAA").status_code == 429
    assert friend.get("/jobs").status_code == 200


@pytest.mark.parametrize("code", ["", " ", "-", "é" * 8, "\x00", "A" * 41, "Ａ" * 8, "$" * 8])
def test_what_is_no_code_lets_nobody_in(phone: TestClient, store: Store, code: str) -> None:
    assert guess(phone, code).status_code in {403, 422}
    assert store.devices() == ()


def test_a_foreign_page_cannot_pair(lan: FastAPI, store: Store, desk: Desk) -> None:
    phone = device(lan)
    phone.get("/pair")
    for origin in ("https://evil.example", "null", "http://192.168.7.5:8443"):
        phone.headers["origin"] = origin
        assert guess(phone, desk.code).status_code == 403
    assert store.devices() == ()
    assert guess(device(lan), desk.code).status_code == 303


# --- Cookies ------------------------------------------------------------------------------------


def test_a_store_that_cannot_be_asked_lets_nobody_in(
    lan: FastAPI, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    phone = device(lan, raises=False)
    paired(phone, desk)
    monkeypatch.setattr(Store, "device_by_token_hash", _unavailable)
    for path in ("/jobs", "/api/v1/jobs", "/devices"):
        answer = phone.get(path)
        assert answer.status_code == 503
        assert "jobs" not in answer.json()


def _unavailable(*_: object) -> None:
    raise StoreUnavailable("the store: cannot be reached")


def test_a_device_that_is_sent_away_is_out_at_once(lan: FastAPI, store: Store, desk: Desk) -> None:
    first, second = paired(device(lan), desk), paired(device(lan), desk)
    older = store.devices()[-1]
    page = second.get("/devices", headers={"accept": "text/html"})
    assert page.text.count("Send away") == 2
    assert second.post(f"/devices/{older.id}/revoke").status_code == 303
    assert first.get("/api/v1/jobs").status_code == 401
    assert second.get("/api/v1/jobs").status_code == 200
    assert second.get("/devices", headers={"accept": "text/html"}).text.count("Send away") == 1
    # Its old cookie opens nothing, and a new code would be needed.
    assert first.get("/", headers={"accept": "text/html"}).headers["location"] == "/pair"


@pytest.mark.parametrize("number", ["0", "-1", "999", "x", "99999999999999999999"])
def test_there_is_no_such_device(lan: FastAPI, desk: Desk, number: str) -> None:
    assert paired(device(lan), desk).post(f"/devices/{number}/revoke").status_code == 404


def test_a_token_is_kept_as_a_hash_only(phone: TestClient, desk: Desk, tmp_path: Path) -> None:
    paired(phone, desk)
    token = phone.cookies[COOKIE]
    assert len(token) >= 43
    held = b"".join(path.read_bytes() for path in tmp_path.glob("jobs.sqlite*"))
    hashed = pairing.token_hash(token)
    assert hashed.encode() in held
    assert token.encode() not in held
    for forged in (hashed, token[:-1], token.swapcase(), "", "x", f'"{token}', "\\303"):
        thief = httpx2.Cookies({COOKIE: forged})
        answer = phone.get("/api/v1/jobs", headers={"cookie": f"{COOKIE}={thief[COOKIE]}"})
        assert answer.status_code == 401


@pytest.mark.parametrize("cookie", ["=", ";;;", f"{COOKIE}", f"x={COOKIE}=y", "\x01=2", "a" * 9000])
def test_a_broken_cookie_lets_nobody_in(phone: TestClient, cookie: str) -> None:
    assert phone.get("/api/v1/jobs", headers={"cookie": cookie}).status_code == 401


def test_a_cookie_alone_changes_nothing(phone: TestClient, store: Store, desk: Desk) -> None:
    paired(phone, desk)
    for origin in ("https://evil.example", "null", ""):
        answer = phone.post("/api/v1/jobs", content=STARTER, headers={**TOML, "origin": origin})
        assert answer.status_code == 403
    del phone.headers["origin"]
    assert phone.post("/api/v1/jobs", content=STARTER, headers=TOML).status_code == 403
    assert store.jobs() == ()


def test_a_device_stays_beside_the_name_somebody_gives(
    phone: TestClient, store: Store, desk: Desk
) -> None:
    phone.get("/pair")
    guess(phone, desk.code, "Ann's phone")
    for _ in range(2):  # The form shows the whole name; sent again it does not grow.
        phone.post("/me", data={"who": "Root (Ann's phone)", "back": "/devices"})
    job = phone.post("/api/v1/jobs", content=STARTER, headers=TOML).json()["id"]
    phone.post(f"/jobs/{job}/part/vehicle", data={"base": "1", "vehicle.built": "2010"})
    assert store.get(job).who == "Root (Ann's phone)"
    cookie = phone.post("/me", data={"who": "Root"}).headers["set-cookie"]
    assert cookie.startswith("__Host-conewright-who=Root;")
    assert {"Secure", "HttpOnly", "Path=/"} <= set(cookie.split("; "))
    phone.post(f"/jobs/{job}/part/vehicle", data={"base": "2", "vehicle.built": "2011"})
    assert store.get(job).who == "Root (Ann's phone)"


def test_what_is_typed_stays_a_text(phone: TestClient, desk: Desk) -> None:
    script = '"><script>alert(1)</script>'
    shown = phone.get("/pair", params={"code": script}).text
    assert "<script>alert" not in shown
    assert "&lt;script&gt;alert" in shown
    assert "<script>alert" not in guess(phone, "x", script).text
    assert guess(phone, desk.code, script).status_code == 303
    listed = phone.get("/devices", headers={"accept": "text/html"}).text
    assert "&lt;script&gt;alert" in listed
    assert "<script>alert" not in listed


def test_on_this_computer_nobody_needs_a_code(client: TestClient, store: Store) -> None:
    store.add_device("phone", "x" * 64)
    assert client.get("/jobs").status_code == 200
    assert client.get("/pair").headers["location"] == "/devices"
    assert client.post("/pair", data={"code": "x"}).headers["location"] == "/devices"
    assert "phone" in client.get("/devices").text


# --- The certificate ----------------------------------------------------------------------------


def test_a_certificate_is_made_once_and_kept(tmp_path: Path) -> None:
    folder = tmp_path / "made" / "for-it"
    held = certificate_in(folder, NAMES)
    found = x509.load_pem_x509_certificate(held.file.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.IPAddress) == [ip_address("192.168.7.5")]
    assert names.get_values_for_type(x509.DNSName) == ["bench", "bench.local"]
    assert not found.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert found.not_valid_before_utc < datetime.now(UTC) < found.not_valid_after_utc
    assert found.not_valid_after_utc - found.not_valid_before_utc < timedelta(days=398)
    assert re.fullmatch(r"(?:[0-9A-F]{2}:){31}[0-9A-F]{2}", held.fingerprint)
    assert certificate_in(folder, NAMES[:2]) == held
    assert sorted(path.name for path in folder.iterdir()) == [
        "lan-certificate.pem",
        "lan-key.pem",
    ]


def test_the_key_is_for_its_owner_alone(tmp_path: Path) -> None:
    held = certificate_in(tmp_path / "data", NAMES)
    assert stat.S_IMODE(held.key_file.stat().st_mode) == 0o600
    assert stat.S_IMODE(held.key_file.parent.stat().st_mode) == 0o700
    held.key_file.chmod(0o644)
    certificate_in(tmp_path / "data", NAMES)
    assert stat.S_IMODE(held.key_file.stat().st_mode) == 0o600


@pytest.mark.parametrize("damage", ["name", "certificate", "key", "other-key", "missing", "old"])
def test_a_certificate_that_does_not_serve_is_made_anew(
    tmp_path: Path, damage: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if damage == "old":
        monkeypatch.setattr(certificate, "LIFETIME", timedelta(days=10))
    before = certificate_in(tmp_path, NAMES)
    names = ("10.1.2.3", *NAMES) if damage == "name" else NAMES
    if damage == "certificate":
        before.file.write_bytes(b"none")
    elif damage == "key":
        before.key_file.write_bytes(b"none")
    elif damage == "other-key":
        other = certificate_in(tmp_path / "other", NAMES)
        before.key_file.write_bytes(other.key_file.read_bytes())
    elif damage == "missing":
        before.key_file.unlink()
    after = certificate_in(tmp_path, names)
    assert after.fingerprint != before.fingerprint
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(after.file, after.key_file)


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInputError, match="cannot be kept"):
        certificate_in(tmp_path / "file", NAMES)


# --- For real -----------------------------------------------------------------------------------


def test_a_phone_comes_in_over_tls(tmp_path: Path) -> None:
    port = free_port()
    # The loopback address stands in for the local network: a test sends nothing there.
    with serving(tmp_path, "--port", str(port), "--lan", at="127.0.0.1") as process:
        lines = [said(process)]
        while not lines[-1].startswith("https://") or "/pair?" not in lines[-1]:
            lines.append(said(process))
            assert len(lines) < 80, lines
        text = "".join(lines)
        address = re.search(r"https://127\.0\.0\.1:\d+", text)
        code = re.search(r"Pairing code: ([A-Z2-9]{4}-[A-Z2-9]{4}) ", text)
        assert address is not None
        assert code is not None
        assert lines[-1] == f"{address[0]}/pair?code={code[1].replace('-', '')}\n"
        assert "▀" in text
        (folder,) = tmp_path.glob("**/lan-certificate.pem")
        context = ssl.create_default_context(cafile=str(folder))
        assert handshake(folder, port_of(address[0]), ssl.TLSVersion.TLSv1_2) == "TLSv1.2"
        assert handshake(folder, port_of(address[0]), ssl.TLSVersion.TLSv1_1) is None
        with httpx2.Client(verify=context, trust_env=False, base_url=address[0]) as phone:
            phone.headers["origin"] = address[0]
            assert phone.get("/api/v1/jobs").status_code == 401
            assert guess_for_real(phone, "AAAA-AAAA") == 403
            assert guess_for_real(phone, code[1]) == 303
            assert phone.get("/api/v1/jobs").json() == {"jobs": []}
        plain = httpx2.get(f"http://127.0.0.1:{port}/api/v1/jobs", trust_env=False)
        assert plain.json() == {"jobs": []}
        code_left, out, err = ended(process)
        assert (code_left, err) == (0, "")
        assert "phone is paired." in out


def port_of(address: str) -> int:
    return int(address.rpartition(":")[2])


def handshake(certificate: Path, port: int, newest: ssl.TLSVersion) -> str | None:
    """Return the version of TLS that is agreed upon with a client of old, None for none."""
    context = ssl.create_default_context(cafile=str(certificate))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        context.minimum_version, context.maximum_version = ssl.TLSVersion.TLSv1, newest
    # Or the client itself would refuse what is old.
    context.set_ciphers("DEFAULT:@SECLEVEL=0")
    with socket.create_connection(("127.0.0.1", port)) as plain:
        try:
            with context.wrap_socket(plain, server_hostname="127.0.0.1") as secured:
                return secured.version()
        except (ssl.SSLError, ConnectionError):
            return None


def guess_for_real(phone: httpx2.Client, code: str) -> int:
    return phone.post("/pair", data={"code": code, "name": "phone"}).status_code


def test_without_a_network_it_says_so(tmp_path: Path) -> None:
    with serving(tmp_path, "--port", str(free_port()), "--lan", at="") as process:
        out, err = process.communicate()
        assert process.returncode == 2
        assert err == "--lan: found no local network; is this computer connected to one?\n"
        assert out == ""


# --- Age ----------------------------------------------------------------------------------------


def test_a_device_that_did_not_come_for_long_is_paired_again(
    lan: FastAPI, store: Store, desk: Desk
) -> None:
    phone, laptop = paired(device(lan), desk), paired(device(lan), desk)
    there = schema.devices.c
    long_ago = datetime.now(UTC) - timedelta(days=91)
    with store._database.writing() as connection:
        connection.execute(
            update(schema.devices).where(there.id == 1).values(paired_at=long_ago, used_at=long_ago)
        )
    assert phone.get("/api/v1/jobs").status_code == 401
    page = laptop.get("/devices").text
    assert "90 days after it came last" in page
    assert page.count("Let in until") == 1
    assert page.count("Came last") == 1
    assert paired(phone, desk).get("/api/v1/jobs").status_code == 200


def test_a_device_that_comes_stays(lan: FastAPI, store: Store, desk: Desk) -> None:
    phone = paired(device(lan), desk)
    with store._database.writing() as connection:
        connection.execute(
            update(schema.devices).values(used_at=datetime.now(UTC) - timedelta(days=89))
        )
    assert phone.get("/jobs").status_code == 200
    assert datetime.now(UTC) - store.devices()[0].used_at < timedelta(days=1)
