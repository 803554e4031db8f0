"""What is installed for users: under which licences, and pinned by which hashes."""

import csv
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from email.message import Message
from functools import cache
from importlib import metadata
from pathlib import Path

import pytest
from docs.dependencies import LICENCES
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
EXTRAS_FOR_USERS = ("postgres",)
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]

ALLOWED = frozenset(
    {
        *("0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT"),
        *("MIT-0", "MIT-CMU", "MPL-2.0", "PSF", "PSF-2.0", "Unlicense", "Zlib"),
    }
)
# The lowest versions that are allowed need others, and name their licences in other words.
OF_THE_PINNED = pytest.mark.slow
# Fine to be used as they are, beside the program; each with its reason in the table.
WITH_A_REASON = frozenset(
    {"LGPL-2.1-only", "LGPL-2.1-or-later", "LGPL-3.0-only", "LGPL-3.0-or-later"}
)
# What older metadata says, in words.
CALLED = {
    "Apache Software License": "Apache-2.0",
    "BSD 3-Clause License": "BSD-3-Clause",
    "BSD License": "BSD",
    "ISC License": "ISC",
    "ISC License (ISCL)": "ISC",
    "MIT License": "MIT",
    "Python Software Foundation License": "PSF",
}
SYSTEMS = [
    {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix"},
    {"sys_platform": "darwin", "platform_system": "Darwin", "os_name": "posix"},
    {"sys_platform": "win32", "platform_system": "Windows", "os_name": "nt"},
]


def licence_of(told: Message | metadata.PackageMetadata) -> str:
    """Return the licence that metadata tells, as SPDX writes it where it can be told, else ""."""
    if "License-Expression" in told:
        return str(told["License-Expression"])
    marks = [each for each in told.get_all("Classifier") or [] if each.startswith("License :: ")]
    names = {each.rpartition(" :: ")[2] for each in marks} - {"OSI Approved"}
    text = str(told["License"]).strip() if "License" in told else ""
    # Some put the whole licence there.
    words = {text} if text and len(text) < 40 else set()
    for found in (names, words):
        if found and all(CALLED.get(name, name) in ALLOWED for name in found):
            return " AND ".join(sorted(CALLED.get(name, name) for name in found))
    return " AND ".join(sorted(names or words))


def is_allowed(expression: str, *, reason: str = "") -> bool:
    """Whether a licence may come with the program: of an OR one part, of an AND all."""
    known = ALLOWED | (WITH_A_REASON if reason else frozenset())
    parts = expression.split(" AND ")
    return bool(expression) and all(
        any(one.strip("() ") in known for one in part.split(" OR ")) for part in parts
    )


def for_users(system: Mapping[str, str] | None = None) -> set[str]:
    """Return the names of all that is installed for users of a system, this one when None."""
    here = {name: str(value) for name, value in default_environment().items()}
    there = {**here, **(system or {})}
    asked = [*PROJECT["dependencies"]]
    for extra in EXTRAS_FOR_USERS:
        asked += PROJECT["optional-dependencies"][extra]
    found: dict[str, set[str]] = {}
    todo = [Requirement(each) for each in asked]
    while todo:
        wanted = todo.pop()
        name = str(canonicalize_name(wanted.name))
        new = wanted.extras - found.get(name, set())
        if name in found and not new:
            continue
        found.setdefault(name, set()).update(wanted.extras)
        todo += _needed_by(name, ("", *wanted.extras), there)
    return set(found)


def _needed_by(name: str, extras: Iterable[str], there: Mapping[str, str]) -> Iterator[Requirement]:
    try:
        needs = metadata.requires(name) or []
    except metadata.PackageNotFoundError:
        # For another system: what it needs there cannot be asked here.
        return
    for need in map(Requirement, needs):
        fits = (_evaluated(need, {**there, "extra": extra}) for extra in extras)
        if need.marker is None or any(fits):
            yield need


def _evaluated(need: Requirement, there: Mapping[str, str]) -> bool:
    return need.marker is not None and need.marker.evaluate(dict(there))


@cache
def table() -> dict[str, dict[str, str]]:
    with LICENCES.open(encoding="utf-8", newline="") as file:
        return {row["package"]: row for row in csv.DictReader(file)}


def pinned() -> dict[str, list[str]]:
    """Return the lines of requirements.txt behind the name and version of each package."""
    found: dict[str, list[str]] = {}
    pin = ""
    for line in (ROOT / "requirements.txt").read_text("utf-8").splitlines():
        if not line.startswith(" "):
            pin = line.rstrip(" \\")
            found[pin] = []
        else:
            found[pin].append(line.strip(" \\"))
    return found


def pinned_versions() -> dict[str, set[str]]:
    """Return the versions in requirements.txt by the name of the package."""
    found: dict[str, set[str]] = {}
    for pin in pinned():
        requirement = Requirement(pin)
        versions = {each.version for each in requirement.specifier}
        found.setdefault(str(canonicalize_name(requirement.name)), set()).update(versions)
    return found


# --- Licences -----------------------------------------------------------------------------------


@OF_THE_PINNED
def test_every_licence_of_what_users_get_is_allowed() -> None:
    installed = {name: licence_of(metadata.metadata(name)) for name in sorted(for_users())}
    refused = {
        name: told
        for name, told in installed.items()
        if not is_allowed(told, reason=table()[name]["note"] if name in table() else "")
    }
    assert refused == {}
    assert len(installed) > 30


@OF_THE_PINNED
def test_the_table_names_each_with_its_licence() -> None:
    everywhere = {name for system in SYSTEMS for name in for_users(system)}
    assert everywhere - table().keys() == set()
    assert table().keys() - everywhere == set()
    told = {
        name: licence_of(metadata.metadata(name))
        for name in for_users()
        # Of another version the licence may be told in another way.
        if metadata.version(name) in pinned_versions()[name]
    }
    # Each Python has its own pin of some, and a newer one may name the same licence more exactly.
    other = {
        name: licence
        for name, licence in told.items()
        if not f"{licence}-".startswith(f"{table()[name]['licence']}-")
    }
    assert other == {}


def test_the_table_holds_no_licence_that_is_refused() -> None:
    rows = table().values()
    assert [row for row in rows if not is_allowed(row["licence"], reason=row["note"])] == []


@pytest.mark.parametrize(
    ("fields", "licence", "allowed"),
    [
        ({"License-Expression": "MIT"}, "MIT", True),
        ({"License-Expression": "Apache-2.0 OR GPL-2.0-only"}, "Apache-2.0 OR GPL-2.0-only", True),
        ({"License-Expression": "MIT AND GPL-3.0-only"}, "MIT AND GPL-3.0-only", False),
        ({"License-Expression": "GPL-3.0-or-later"}, "GPL-3.0-or-later", False),
        ({"License-Expression": "LGPL-3.0-only"}, "LGPL-3.0-only", False),
        ({"Classifier": "License :: OSI Approved :: BSD License"}, "BSD", True),
        ({"Classifier": "License :: OSI Approved"}, "", False),
        ({"License": "MIT"}, "MIT", True),
        ({"License": "see the file"}, "see the file", False),
        ({"License": "Copyright and so on, for many words more than a name"}, "", False),
        ({}, "", False),
    ],
)
def test_a_licence_is_told_and_judged(
    fields: dict[str, str], licence: str, *, allowed: bool
) -> None:
    told = Message()
    for name, value in fields.items():
        told[name] = value
    assert licence_of(told) == licence
    assert is_allowed(licence) is allowed


def test_a_weaker_licence_wants_a_reason() -> None:
    assert is_allowed("LGPL-3.0-only", reason="used as it is")
    assert not is_allowed("GPL-3.0-only", reason="used as it is")


# --- Versions -----------------------------------------------------------------------------------


def test_every_version_is_pinned_by_hashes() -> None:
    pins = pinned()
    exact = re.compile(r"[A-Za-z0-9._-]+(\[[a-z,]+\])?==[^ ;*]+( ; .+)?")
    assert [pin for pin in pins if not exact.fullmatch(pin)] == []
    hashed = re.compile(r"--hash=sha256:[0-9a-f]{64}")
    bare = [
        pin for pin, lines in pins.items() if not lines or not all(map(hashed.fullmatch, lines))
    ]
    assert bare == []
    assert len(pins) > 100


@pytest.mark.parametrize("system", SYSTEMS, ids=lambda system: system["sys_platform"])
@pytest.mark.parametrize("python", ["3.11", "3.12", "3.13"])
def test_all_that_users_get_is_pinned(system: dict[str, str], python: str) -> None:
    there = {**system, "python_version": python, "python_full_version": f"{python}.0"}
    assert for_users(there) - pinned_versions().keys() == set()
