"""Texts of one megabyte made to cost much, at every entrance: time and memory stay bounded."""

import random
from collections.abc import Callable
from dataclasses import dataclass

import httpx2

from attack.served import Server, judged, served
from attack.tally import Limits, Tally, kind_of
from conewright.job.text.parsing import LARGEST_FILE
from conewright.job.text.starter import demo_text

__all__ = ["BOMBS", "run", "whole"]

MOST_MEMORY = 900.0
"""Megabytes that the server, or one of its workers, may have held at most."""
MOST_WORK = 4.0
"""Seconds that the server itself calculates on one bomb, while which everybody else waits.

Counted as its own time, so that a busy machine changes little in it; how long an answer takes at
all has the limit of every other.
"""
ROOM = 1_000
"""Bytes of a body for what stands around a bomb."""

JSON, TOML = "application/json", "application/toml"
FORM = "application/x-www-form-urlencoded"


def whole(piece: str, *, size: int = LARGEST_FILE - ROOM) -> str:
    """Return a text as long as may be sent, all of it one piece again and again."""
    return piece * (size // len(piece.encode()))


BOMBS: dict[str, Callable[[], str]] = {
    "stops behind quotes": lambda: whole('"=".') + "a=1",
    "stops behind one quote": lambda: whole("'#'.") + "a=1",
    "stops in a header": lambda: "[" + whole('"]".') + "a]",
    "names": lambda: "{" + ",".join(f'"a{i}":1' for i in range(80_000)) + ',"a7":1}',
    "names below the limit": lambda: "{" + ",".join(f'"a{i}":1' for i in range(24_000)) + "}",
    "deep keys": lambda: "\n".join(f"{'k.' * 97}k{i}=1" for i in range(4_900)),
    "deep headers": lambda: "\n".join(f"[{f'k{i}.' * 60}a]" for i in range(2_500)),
    "short headers": lambda: "\n".join(f"[a{i}.b.c.d.e.f.g.h.i]" for i in range(5_000)),
    "deep lists": lambda: "a=[" + ("[" * 98 + "]" * 98 + ",") * 250 + "]",
    "brackets": lambda: whole("["),
    "deep objects": lambda: whole('{"a":'),
    "values": lambda: "a=[" + whole("1,") + "]",
    "tables": lambda: "a=[" + "{}," * 24_000 + "]",
    "entries": lambda: "[[location]]\n" * 20_000,
    "letters in hexadecimal": lambda: "a=0x" + whole("f"),
    "digits": lambda: "a=1" + whole("_1"),
    "exponents": lambda: "a=1e" + whole("9"),
    "line ends": lambda: whole("\n"),
    "notes": lambda: whole("#\n"),
    "blanks": lambda: whole(" "),
    "quotes": lambda: whole('"'),
    "long quotes": lambda: 'a="""' + whole('""x') + '"""',
    "escapes": lambda: 'a="' + whole("\\n") + '"',
    "letters by number": lambda: '{"a":"' + whole("\\u0041") + '"}',
    "a name": lambda: '"' + whole("x") + '"=1',
    "nothing seen": lambda: whole("\0"),
    "cars": lambda: whole("\U0001f697"),
    "markup": lambda: whole("<a "),
    "escaped markup": lambda: whole("&lt;"),
    "stars": lambda: whole("*a"),
    "a long note": lambda: demo_text().replace(
        "[job]", f"[job]\nnotes = '{whole('x ', size=900_000)}'"
    ),
    "a job behind notes": lambda: demo_text() + whole("#\n", size=90_000),
    "readings": lambda: (
        demo_text() + '[[reading]]\ntest="look"\nat="door-fl"\nvalue="weaker"\n' * 190
    ),
    "percents": lambda: whole("%41"),
    "plus": lambda: whole("+"),
    "fields": lambda: whole("a=1&"),
    "open fields": lambda: whole("&"),
    "parts": lambda: whole('--x\r\ncontent-disposition: form-data; name="a"\r\n\r\n1\r\n'),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entrance:
    """Somewhere to send a text to, and how: raw, or in a field of a form."""

    method: str
    address: str
    kind: str
    field: str = ""


ENTRANCES = (
    Entrance("POST", "/api/v1/jobs", TOML),
    Entrance("POST", "/api/v1/jobs", JSON),
    Entrance("PUT", "/api/v1{job}", TOML),
    Entrance("PUT", "/api/v1{job}", JSON),
    Entrance("POST", "/jobs/upload", FORM, "text"),
    Entrance("POST", "/jobs/upload", FORM, "file"),
    Entrance("POST", "{job}/text", FORM, "text"),
    Entrance("POST", "/jobs/new", FORM, "size:roof"),
    Entrance("POST", "/jobs/new", FORM, "title"),
    Entrance("POST", "/me", FORM, "who"),
    Entrance("POST", "{job}/part/job", FORM, "job.notes"),
    Entrance("POST", "{job}/part/door-fl", FORM, "door-fl.driver"),
    Entrance("POST", "{job}/values", FORM, "old-100.size"),
    Entrance("POST", "{job}/readings", FORM, "value"),
    Entrance("POST", "{job}/proposals/new", FORM, "id"),
    Entrance("POST", "{job}/proposals/new", FORM, "what:0"),
    Entrance("POST", "{job}/preview/put-right", FORM, "value:0"),
    Entrance("POST", "{job}/undo", FORM, "base"),
    Entrance("POST", "/jobs/upload", FORM),
    Entrance("POST", "/jobs/upload", "multipart/form-data; boundary=x"),
    Entrance("GET", "/jobs?q=", ""),
)


def run(tally: Tally, limits: Limits) -> None:
    """Send every bomb to every entrance, as many pairs as there is time for."""
    chance = random.Random(tally.seed)
    with served(tally) as server, server.client() as client:
        job = f"/jobs/{server.keep(demo_text())}"
        limits = limits.begun()
        pairs = [(entrance, name) for entrance in ENTRANCES for name in BOMBS]
        chance.shuffle(pairs)
        for entrance, name in pairs[: limits.target]:
            if not limits.left:
                break
            _throw(tally, server, client, entrance, name, job)


def _throw(
    tally: Tally,
    server: Server,
    client: httpx2.Client,
    entrance: Entrance,
    name: str,
    job: str,
) -> None:
    given = f"{entrance} {name}"
    before, worked = server.memory, server.worked
    try:
        answer = _sent(client, entrance, BOMBS[name](), job)
    except (httpx2.HTTPError, httpx2.InvalidURL) as error:
        tally.find(f"no answer: {kind_of(error)}", given, str(error))
        return
    taken = server.worked - worked
    if taken > MOST_WORK:
        tally.find("a bomb keeps the server busy", given, f"{taken:.1f} s of its own time")
        return
    judged(tally, answer.status_code, answer.headers, answer.text, given=given)
    if server.memory > MOST_MEMORY >= before:
        told = f"{before:.0f} MB before, {server.memory:.0f} after"
        tally.find("memory after a bomb", given, told)


def _sent(client: httpx2.Client, entrance: Entrance, bomb: str, job: str) -> httpx2.Response:
    address = entrance.address.format(job=job)
    if entrance.method == "GET":
        return client.get(address + "%2A" * 1_300)
    headers = {"if-match": "*"}
    if entrance.field == "file":
        files = {"file": ("van.toml", bomb.encode())}
        return client.post(address, files=files, headers=headers)
    if entrance.field:
        fields = {"base": "1", entrance.field: bomb}
        return client.post(address, data=fields, headers=headers)
    headers["content-type"] = entrance.kind
    return client.request(entrance.method, address, content=bomb.encode(), headers=headers)
