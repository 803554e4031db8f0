"""CSV, TOML and SQLite say the same; what is none of them is refused in the project's words."""

import random
import sqlite3
from contextlib import closing

import pytest
from benchmarks.invented_parts import invented
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.catalogue.columns import columns
from conewright.catalogue.lists.forms import FORMS, table_of, written
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.errors import BadInputError

# Blanks at the ends of a cell are no part of it; a lone surrogate is no text.
CELL = st.text(st.characters(exclude_categories=["C", "Zl", "Zp"]), min_size=1).map(str.strip)
ROW = st.dictionaries(st.sampled_from(sorted(columns())), CELL.filter(bool), min_size=1)
SAMPLE = [*invented(40), {"part": 'A "B", C', "kind": "film", "name": "a\\b ß Ω #; 'x'"}]


@pytest.mark.parametrize("ending", FORMS)
def test_rows_come_back_as_they_were(ending: str) -> None:
    table = table_of(written(SAMPLE, ending=ending), file=f"parts{ending}")
    assert [dict(row) for row in table.rows] == [dict(row) for row in SAMPLE]
    assert table.findings == ()


@given(st.lists(ROW, min_size=1, max_size=5), st.sampled_from(FORMS))
@settings(max_examples=60, deadline=None)
def test_any_texts_come_back(rows: list[dict[str, str]], ending: str) -> None:
    table = table_of(written(rows, ending=ending), file=f"parts{ending}")
    assert [dict(row) for row in table.rows] == rows


def test_the_three_forms_are_one_catalogue() -> None:
    read = [
        read_catalogue(table_of(written(SAMPLE, ending=ending), file=f"parts{ending}"))
        for ending in FORMS
    ]
    assert read[0].rows == read[1].rows == read[2].rows
    assert read[0].compiled.texts == read[1].compiled.texts == read[2].compiled.texts


def test_numbers_of_a_file_are_texts() -> None:
    text = b'[[part]]\npart = 12\nkind = "film"\nprice = 2.5\nhands_free = true\nname = [1]\n'
    table = table_of(text, file="parts.toml")
    assert dict(table.rows[0]) == {
        "part": "12",
        "kind": "film",
        "price": "2.5",
        "hands_free": "yes",
    }
    assert [(each.row, each.column, each.done) for each in table.findings] == [
        (1, "name", "left out")
    ]


def test_rows_are_counted_as_a_spreadsheet_does() -> None:
    text = b'part,kind,name\nA,film,"two\nlines"\n,,\nB,film,x,y\nC,film\n'
    table = table_of(text, file="parts.csv")
    assert table.numbers == (2, 5)
    assert [(each.row, each.done) for each in table.findings] == [(4, "refused")]


def _database(*statements: str) -> bytes:
    with closing(sqlite3.connect(":memory:")) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()
        return connection.serialize()


ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"


@pytest.mark.parametrize(
    ("file", "content", "said"),
    [
        ("a.xls", b"", "ends in .csv, .toml, .sqlite"),
        ("a.csv", b"", "no head"),
        ("a.csv", b"part,kind,part\n", 'two columns "part"'),
        ("a.csv", b"part,\xff\n", "at byte 6"),
        ("a.csv", b"part,kind\nA," + b"x" * 200_000, "row 2: field larger"),
        ("a.toml", b"part = 3", r"each part is a \[\[part\]\]"),
        ("a.toml", b"= 3", "it is no TOML"),
        ("a.toml", b"a = " + b"[" * 100_000, "it is no TOML"),
        ("a.sqlite", b"nothing of the kind", "it is no database"),
        ("a.sqlite", _database("CREATE TABLE other (x)"), "no table of the name parts"),
        ("a.sqlite", _database(f"CREATE VIEW parts AS {ENDLESS}"), "no table of the name parts"),
    ],
)
def test_what_is_no_catalogue_says_so(file: str, content: bytes, said: str) -> None:
    with pytest.raises(BadInputError, match=said):
        table_of(content, file=file)


@pytest.mark.parametrize("ending", FORMS)
def test_damaged_files_raise_nothing_but_what_is_meant(ending: str) -> None:
    sound = written(SAMPLE, ending=ending)
    chance = random.Random(11)
    told = 0
    for _ in range(150):
        content = bytearray(sound)
        for _ in range(chance.choice((1, 3, 40))):
            place = chance.randrange(len(content))
            match chance.randrange(3):
                case 0:
                    content[place] = chance.randrange(256)
                case 1:
                    del content[place : place + chance.randrange(200)]
                case _:
                    content[place:place] = chance.choice((b'"', b"\0", b",,", b"\n", b"9" * 90))
            if not content:
                break
        try:
            read = read_catalogue(table_of(bytes(content), file=f"parts{ending}"))
        except BadInputError:
            told += 1
        else:
            told += bool(read.findings)
    assert told > 0
