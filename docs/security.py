"""The page of security: what is protected and how, and the OWASP ASVS item by item."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from math import log2
from pathlib import Path

from conewright.store import LONGEST_PAIRED, LONGEST_UNUSED
from conewright.web.base.settings import Settings
from conewright.web.pairing import ALPHABET, CODE_SECONDS, GUESSES, LENGTH
from docs.markdown import paragraph, table

__all__ = ["ITEMS", "STATES", "security_page"]

ITEMS = Path(__file__).resolve().parent / "asvs.csv"
STATES = ("held", "does not apply", "not held")
CHAPTERS = (
    "encoding and sanitization",
    "validation and business logic",
    "web frontend",
    "API and web service",
    "files",
    "authentication",
    "sessions",
    "authorization",
    "self-contained tokens",
    "OAuth and OIDC",
    "cryptography",
    "communication",
    "configuration",
    "data protection",
    "coding and architecture",
    "logging and error handling",
    "WebRTC",
)


def security_page() -> Iterator[str]:
    """Yield the page of security."""
    yield from ("# Security", "")
    yield paragraph(
        "The program runs on a computer of the workshop, for the people of the workshop. Whoever "
        "sits at that computer is trusted; so is a device that somebody there let in. Everybody "
        "else on the local network is not, nor is any page of the web that a browser has open "
        "beside ours, nor is a job file that came from elsewhere."
    )
    for title, lines in _prose():
        yield from ("", f"## {title}", "", *(f"- {paragraph(line)}" for line in lines))
    yield from ("", "## Item by item", "", *_list())


def _prose() -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield each chapter in words; its figures are those of the code."""
    limits = Settings()
    yield (
        "Who may come in",
        (
            "On this computer: plain HTTP at the loopback address, without a code. Foreign names "
            "of this server and foreign pages are refused (`web.doors.security`).",
            f"On the local network, with `--lan` only: HTTPS, and a code of {LENGTH} letters and "
            f"digits ({LENGTH * log2(len(ALPHABET)):.0f} bits) that is shown where the server "
            f"runs, holds for {CODE_SECONDS / 60:.0f} minutes and lets one device in. {GUESSES} "
            "wrong codes, whoever typed them, burn it and close the door for a minute, then two, "
            "up to an hour; devices that are paired work on (`web.pairing`).",
            f"A device stays until it is sent away, did not come for {LONGEST_UNUSED.days} days, "
            f"or was paired {LONGEST_PAIRED.days} days ago. This is longer than NIST SP 800-63B "
            "asks: the server is there only while somebody runs it, on that network only, and a "
            "device is sent away at once. Any number may be paired, each by a code of its own; a "
            "device has one session.",
            "Whoever is in may do everything, with every job: there is one workshop and one kind "
            "of right. Every save says who and when, and none is overwritten.",
        ),
    )
    yield (
        "How much",
        (
            f"A body has at most {limits.largest_body:,} bytes and {limits.body_seconds:g} s to "
            f"arrive, a head {limits.largest_headers:,} bytes and {limits.head_seconds:g} s, an "
            f"address {limits.longest_target:,} characters (`web.base.settings`).",
            "What is uploaded as a job is one job file, TOML or JSON in UTF-8 whatever its name "
            "ends in, of that size; nothing is unpacked. It is read as a job, refused with every "
            "problem in it, and kept as text in the database.",
            "A list of parts comes at an address of its own, with "
            f"{limits.largest_list // 1_000_000} MB at most: CSV, TOML or SQLite, told by its "
            "first bytes and its name's ending, at most 200,000 rows of it. It is read in a worker "
            f"beside the server, within {limits.reading_seconds:g} s and "
            f"{limits.reading_memory:,} bytes; a database is opened in memory alone, its table "
            "`parts` and no view. Nothing of it is "
            "kept before somebody says how it is read and that it is kept; until then it waits in "
            f"memory (`web.desk.held_lists`), {limits.held_lists} lists and "
            f"{limits.held_list_bytes:,} packed bytes at most, for "
            f"{limits.held_seconds / 3600:g} h.",
            "Recordings and curves come at two addresses of their own, with "
            f"{limits.largest_upload // 1_000_000} MB at once and {limits.slowest_upload:,} bytes "
            f"a second at least, {limits.uploads} uploads at the same time; they are written to "
            "disk while they come (`web.doors.uploads`). Sound is told by its first bytes, a curve "
            "by its name's ending; either is read in a worker of its own, within "
            f"{limits.listening_seconds:g} s and {limits.listening_memory:,} bytes "
            "(`web.desk.listener`), and refused unless all of it can be. What nobody keeps is "
            f"thrown away after {limits.held_seconds / 3600:g} h, or when more than "
            f"{limits.held_takes} uploads or {limits.held_bytes:,} bytes wait.",
            "What takes long are the answers of the stages, a picture and the papers. "
            f"{limits.workers} workers beside the server work them out, each for "
            f"{limits.computing_seconds:g} s at most; {limits.waiting} may wait, more are told to "
            "ask again (`web.desk.workers`, `web.desk.waiting`).",
            f"On the local network {limits.connections} connections stay open, "
            f"{limits.connections_each} of one address; those of paired devices last.",
        ),
    )
    yield (
        "What is kept",
        (
            "Jobs: they may hold names of customers and of who saved what. In a file for its "
            "owner alone, or in the database that is named; not encrypted there. Kept until the "
            "owner removes the file: revisions are not deleted. In memory while they are looked "
            "at. Not in logs, but where a fault quotes one (`store.database`).",
            "Recordings, in which there may be voices: only when somebody says so, as files for "
            "their owner alone beside the jobs, called by their SHA-256 (`store.recordings`). A "
            "page gives out only those of the job it is of.",
            "Catalogues of parts: the cells that are used of every list that was kept, and who "
            "brought it in, in the database; nothing of them is removed.",
            "Secrets: the key of the certificate in a file for its owner alone; tokens of devices "
            "as their SHA-256; the code in memory only; the address of a database, where it holds "
            "a password, in the environment. No message names a password.",
            "Everything else, such as tables and sounds, is public.",
        ),
    )
    yield (
        "Cryptography",
        (
            "The certificate of the local network: ECDSA on P-256 with SHA-256, for 397 days, "
            "renewed 14 days before its end (`web.doors.certificate`). TLS 1.2 and 1.3 by "
            "Python's ssl.",
            "Tokens: 256 bits of `secrets`; only their SHA-256 is kept. Codes are compared in a "
            "time that does not tell how much of one was right.",
            "Recordings and lists that wait to be kept: under 128 bits of `secrets`.",
            "SHA-256 also names answers, the files of the papers and those of recordings. Nothing "
            "else is encrypted, hashed or signed.",
        ),
    )
    yield (
        "What talks to what",
        (
            "Browsers and programs to the server. The server to its workers, through pipes, and "
            "to PostgreSQL where `CONEWRIGHT_STORE` names one: whether that is encrypted and "
            "checked is said there (`sslmode=verify-full`).",
            "Nothing else: no page and no command asks anything of an address outside.",
        ),
    )
    yield (
        "What is logged",
        (
            "Nothing is written to a file. The terminal of the server shows the code, who was "
            "paired, when the door was closed, and each fault with its trace. Who changed what is "
            "in the revisions of a job.",
        ),
    )


def _list() -> Iterator[str]:
    with ITEMS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    counts = Counter(row["state"] for row in rows)
    yield (
        "Every item of levels 1 and 2 of the OWASP Application Security Verification Standard "
        "5.0.0 (© The OWASP Foundation, "
        "[CC BY-SA 4.0](https://creativecommons.org/licenses/by-sa/4.0/)), by its number and in "
        "our own short words, which take the place of the standard's only here; so this list, "
        "`docs/asvs.csv`, is under the same licence. It was filled in by reading the code, by "
        "those who wrote it and not by anybody independent."
    )
    yield from ("", f"Of {len(rows)} items:")
    yield from ("", *(f"- {state}: {counts[state]}" for state in STATES))
    for number, chapter in groupby(rows, key=lambda row: int(row["item"].split(".")[0])):
        yield from ("", f"### V{number} {CHAPTERS[number - 1]}", "")
        yield from table(("item", "what", "state", "where", "test", "note"), map(_cells, chapter))


def _cells(row: dict[str, str]) -> tuple[str, ...]:
    coded = (", ".join(f"`{each}`" for each in row[name].split()) for name in ("where", "test"))
    state = f"**{row['state']}**" if row["state"] == STATES[-1] else row["state"]
    return row["item"], paragraph(row["what"]), state, *coded, paragraph(row["note"])
