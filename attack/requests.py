"""Requests to a real server: by its own description, by its forms, and by nobody's rules."""

import random
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException
from typing import Any
from urllib.parse import quote

import httpx2
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import Case, GenerationMode

from attack.forms import Forms
from attack.served import MARK, PATIENCE, Server, judged, served
from attack.tally import Limits, Tally, kind_of
from attack.texts import KINDS
from attack.words import spoilt
from conewright.job.text.starter import demo_text, starter_text

__all__ = ["run"]

PIECES = (
    *'*?9f(- \n.,"=[½±x;@|+\u0661\0\x1b\u202e<&',
    *(
        "*a",
        "a ",
        "1..",
        "#\n",
        '"=".',
        "[[reading]]\n",
        "9" * 400,
        "1e999",
        MARK,
        "../",
        "{{7*7}}",
    ),
)
TIMES = (1, 1, 1, 60, 3000, 60_000)
PAGES = (
    *("/jobs", "/jobs/new", "/jobs/upload", "/devices", "{job}", "{job}/text", "{job}/history"),
    *("/parts", "/parts/import", "/parts/lists"),
    *("{job}/find", "{job}/feed", "{job}/fit", "{job}/hear", "{job}/compare", "{job}/proposals"),
    *("{job}/part/job", "{job}/part/head_unit", "{job}/part/door-fl", "{job}/part/old-100"),
    *("{job}/part/front-left", "{job}/proposals/new", "{job}/proposals/put-right", "{job}/make"),
)
QUERIES = (
    "q",
    "revision",
    "a",
    "b",
    "proposal",
    "against",
    "at",
    "reading",
    "deleted",
    "paper",
    "kind",
    "catalogue",
    "version",
    "page",
)
UNHEALTHY = tuple(HealthCheck)
BY_DESCRIPTION, BY_FORMS = 0.18, 0.18
"""Shares of the requests, by what one of each costs; the others keep to no rules."""


def run(tally: Tally, limits: Limits) -> None:
    """Attack one server in three ways at once."""
    with served(tally) as server, ThreadPoolExecutor(3) as pool:
        limits = limits.begun()
        shares = (BY_DESCRIPTION, BY_FORMS, 1.0 - BY_DESCRIPTION - BY_FORMS)
        ways: tuple[Callable[[Server, Tally, Limits], None], ...] = (_described, _forms, _wild)
        parts = [Tally(tally.part, tally.seed * 3 + n, tally.folder) for n in range(len(ways))]
        running = [
            pool.submit(way, server, part, limits.share(share, 1.0))
            for way, part, share in zip(ways, parts, shares, strict=True)
        ]
        for part, result in zip(parts, running, strict=True):
            result.result()
            tally.add(part)


# --- By the description ---------------------------------------------------------------------------


def _described(server: Server, tally: Tally, limits: Limits) -> None:
    """Send what the description of the API allows, and what it does not."""
    schema = schemathesis.openapi.from_url(f"{server.origin}/api/v1/openapi.json")
    known = server.keep(starter_text())
    operations = [
        (path, method) for path, methods in schema.raw_schema["paths"].items() for method in methods
    ]
    chance, rounds = random.Random(tally.seed), 0
    with requests.Session() as session:
        session.trust_env = False
        while tally.tried < limits.target and limits.left:
            rounds += 1
            path, method = chance.choice(operations)
            operation = schema[path][method]
            mode = chance.choice(list(GenerationMode))

            @seed(tally.seed * 1_000_000 + rounds)
            @settings(
                max_examples=25,
                database=None,
                deadline=None,
                phases=[Phase.generate],
                suppress_health_check=UNHEALTHY,
            )
            @given(case=operation.as_strategy(generation_mode=mode))
            def send(case: Case[Any]) -> None:
                if tally.tried >= limits.target or not limits.left:
                    return
                if "job_id" in case.path_parameters and chance.random() < 0.5:
                    case.path_parameters["job_id"] = known
                _call(case, session, tally)

            send()


def _call(case: Case[Any], session: requests.Session, tally: Tally) -> None:
    try:
        answer = case.call(session=session, timeout=PATIENCE)
    except (requests.exceptions.InvalidHeader, requests.exceptions.InvalidURL, UnicodeError):
        # A client that will not send it has not tried.
        return
    except Exception as error:
        tally.find(f"no answer: {type(error).__name__}", case.as_curl_command(), str(error))
        return
    headers = httpx2.Headers([(name, ", ".join(each)) for name, each in answer.headers.items()])
    judged(tally, answer.status_code, headers, answer.text, given=case.as_curl_command())


# --- By the forms ---------------------------------------------------------------------------------


def _forms(server: Server, tally: Tally, limits: Limits) -> None:
    """Walk the pages, and send their forms with hostile things in some of the fields."""
    chance = random.Random(tally.seed)
    with server.client() as client:
        client.cookies.set("conewright-who", quote(MARK))
        while tally.tried < limits.target and limits.left:
            # A job that much was done to is slow to show, and may be deleted.
            job = f"/jobs/{server.keep(chance.choice((demo_text(), starter_text())))}"
            forms: list[tuple[str, dict[str, str]]] = []
            for page in chance.sample(PAGES, k=5):
                shown = _ask(client, tally, "GET", page.format(job=job))
                forms += [form for form in Forms(shown).found if form[0]]
            for _ in range(20 * len(forms)):
                if tally.tried >= limits.target or not limits.left:
                    return
                action, fields = chance.choice(forms)
                _ask(client, tally, "POST", action, data=_filled(fields, chance))


def _filled(fields: dict[str, str], chance: random.Random) -> dict[str, str]:
    names = [name for name in fields if name != "base"]
    chosen = chance.sample(names, k=min(len(names), chance.choice((0, 1, 1, 2, 5))))
    base = {"base": str(chance.randrange(1, 9))} if chance.random() < 0.5 else {}
    return fields | base | {name: _hostile(chance) for name in chosen}


def _hostile(chance: random.Random) -> str:
    if chance.random() < 0.4:
        makers = list(KINDS)
        said = chance.choice(makers)(chance)
        return (said if chance.random() < 0.3 else spoilt(said, chance)).text
    piece: str = chance.choice(PIECES)
    return (piece * chance.choice(TIMES))[:300_000]


def _ask(
    client: httpx2.Client,
    tally: Tally,
    method: str,
    address: str,
    *,
    data: dict[str, str] | None = None,
    headers: dict[str, str] | None = None,
    content: bytes | None = None,
) -> str:
    """Send a request and judge its answer; return the page."""
    given = f"{method} {address}\n{headers}\n{data if content is None else content!r}"
    sound = {name: each.encode("utf-8", "replace").decode() for name, each in (data or {}).items()}
    try:
        answer = client.request(
            method, address, data=sound or None, content=content, headers=headers
        )
    except (httpx2.InvalidURL, httpx2.LocalProtocolError, UnicodeError):
        return ""
    except (httpx2.HTTPError, HTTPException) as error:
        tally.find(f"no answer: {kind_of(error)}", given, str(error))
        return ""
    judged(tally, answer.status_code, answer.headers, answer.text, given=given)
    return answer.text


# --- By no rules ----------------------------------------------------------------------------------

METHODS = ("GET", "GET", "GET", "POST", "PUT", "DELETE", "HEAD", "PATCH", "OPTIONS", "TRACE", "X")
HEADERS = (
    "if-match",
    "if-none-match",
    "accept",
    "content-type",
    "cookie",
    "range",
    "host",
    "expect",
)
VALUES = (
    *('"x"', "*", 'W/"x"', "text/html", "application/json", "application/toml; charset=utf-16"),
    *("multipart/form-data", "multipart/form-data; boundary=x", "bytes=0-", "a" * 9000, "q=1e999"),
    *("application/x-www-form-urlencoded", ", " * 500, "100-continue", "conewright-who=%00%1b"),
)


def _wild(server: Server, tally: Tally, limits: Limits) -> None:
    """Send anything to any address."""
    chance = random.Random(tally.seed)
    job = f"/jobs/{server.keep(starter_text())}"
    with server.client() as client:
        while tally.tried < limits.target and limits.left:
            page = chance.choice((*PAGES, "/static/style.css", "/api/v1{job}", "/api/v1{job}/feed"))
            address = page.format(job=job)
            if chance.random() < 0.4:
                address += "/" + quote(_short(chance), safe="/.%" if chance.random() < 0.3 else "")
            if chance.random() < 0.5:
                asked = "&".join(
                    f"{chance.choice(QUERIES)}={quote(_short(chance))}" for _ in range(2)
                )
                address += f"?{asked}"
            headers = {
                chance.choice(HEADERS): chance.choice(VALUES)
                for _ in range(chance.choice((0, 0, 1, 2)))
            }
            method = chance.choice(METHODS)
            body = None
            if method in ("POST", "PUT", "PATCH"):
                body = _short(chance).encode("utf-8", "replace")
            _ask(client, tally, method, address, headers=headers, content=body)


def _short(chance: random.Random) -> str:
    return _hostile(chance)[:1500].encode("utf-8", "replace").decode()
