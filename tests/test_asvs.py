"""The list of the OWASP ASVS 5.0.0: every item is there once, and what it names exists."""

import csv
from pathlib import Path

import pytest
from docs.security import ITEMS, STATES

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "conewright"

# The level of each requirement of a section, in their order. Source: the published list of the
# OWASP Application Security Verification Standard 5.0.0 (CC BY-SA 4.0), its numbers alone.
LEVELS = {
    "1.1": "22",
    "1.2": "1111122223",
    "1.3": "112222222223",
    "1.4": "222",
    "1.5": "123",
    "2.1": "122",
    "2.2": "112",
    "2.3": "12223",
    "2.4": "23",
    "3.1": "3",
    "3.2": "113",
    "3.3": "12223",
    "3.4": "11222233",
    "3.5": "11122333",
    "3.6": "3",
    "3.7": "22333",
    "4.1": "12233",
    "4.2": "23333",
    "4.3": "22",
    "4.4": "1222",
    "5.1": "2",
    "5.2": "112333",
    "5.3": "113",
    "5.4": "222",
    "6.1": "122",
    "6.2": "111111112222",
    "6.3": "11223333",
    "6.4": "112233",
    "6.5": "22222333",
    "6.6": "2223",
    "6.7": "33",
    "6.8": "2222",
    "7.1": "222",
    "7.2": "1111",
    "7.3": "22",
    "7.4": "11222",
    "7.5": "223",
    "7.6": "22",
    "8.1": "1233",
    "8.2": "1123",
    "8.3": "133",
    "8.4": "23",
    "9.1": "111",
    "9.2": "1222",
    "10.1": "22",
    "10.2": "223",
    "10.3": "22223",
    "10.4": "1111122222233333",
    "10.5": "22222",
    "10.6": "22",
    "10.7": "222",
    "11.1": "2233",
    "11.2": "22233",
    "11.3": "11233",
    "11.4": "1222",
    "11.5": "23",
    "11.6": "23",
    "11.7": "33",
    "12.1": "12233",
    "12.2": "11",
    "12.3": "22223",
    "13.1": "2333",
    "13.2": "222223",
    "13.3": "2233",
    "13.4": "1222233",
    "14.1": "22",
    "14.2": "12223333",
    "14.3": "122",
    "15.1": "12233",
    "15.2": "12233",
    "15.3": "1222222",
    "15.4": "3333",
    "16.1": "2",
    "16.2": "22222",
    "16.3": "2222",
    "16.4": "222",
    "16.5": "2223",
    "17.1": "23",
    "17.2": "22223333",
    "17.3": "22",
}


def rows() -> list[dict[str, str]]:
    with ITEMS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def is_there(name: str) -> bool:
    """Whether a module of the package, or a file of the project, has that name."""
    path = SOURCE.joinpath(*name.split("."))
    return path.with_suffix(".py").is_file() or path.is_dir() or (ROOT / name).is_file()


def test_the_levels_are_as_many_as_published() -> None:
    # published: 70 requirements of level 1, 183 of level 2, 92 of level 3
    levels = "".join(LEVELS.values())
    assert [levels.count(level) for level in "123"] == [70, 183, 92]


def test_every_item_of_levels_1_and_2_is_there_once_and_in_order() -> None:
    wanted = [
        f"{section}.{number}"
        for section, levels in LEVELS.items()
        for number, level in enumerate(levels, start=1)
        if level in "12"
    ]
    assert [row["item"] for row in rows()] == wanted


def test_every_item_has_a_state_and_its_reason() -> None:
    assert {row["state"] for row in rows()} == set(STATES)
    assert [row["item"] for row in rows() if not row["what"]] == []
    held, absent = STATES[0], STATES[1:]
    assert [
        r["item"] for r in rows() if r["state"] == held and not (r["where"] and r["test"])
    ] == []
    assert [r["item"] for r in rows() if r["state"] in absent and not r["note"]] == []


@pytest.mark.parametrize("column", ["where", "test"])
def test_what_an_item_names_is_there(column: str) -> None:
    named = {name for row in rows() for name in row[column].split()}
    assert len(named) > 20
    assert sorted(name for name in named if not is_there(name)) == []


def test_what_is_not_there_is_seen() -> None:
    assert is_there("web.doors.security")
    assert is_there("tests/test_asvs.py")
    assert not is_there("web.doors.nothing")
    assert not is_there("tests/web/test_nothing.py")
