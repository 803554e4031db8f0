"""Somebody else's list: guessed once, looked through, and read by its map."""

import random

import pytest

from conewright.catalogue.columns import column_words, columns
from conewright.catalogue.lists.column_map import Mapped, foreign_table, map_text, parse_map
from conewright.catalogue.lists.forms import table_of
from conewright.catalogue.lists.guessing import first_guess, guess_map
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.errors import BadInputError, ConewrightError

LIST = (
    "Artikel;Bezeichnung;Impedanz;Rdc [Ohm];fs (Hz);Qts;Vas, ltr;Mms in gr;Belastbarkeit;Preis;"
    "Bestand;Farbe\n"
    "P1;Tieftöner A;4 ohm;3,4;85;0,69;9,1;8,05;60 W RMS;1.084,50 €;12 Stk;rot\n"
    "P2;Tieftöner B;4 ohm;3,3;90;0,7;8,2;7,9;40 W (IEC);24,90;-1;blau\n"
).encode("cp1252")

MAP = """
encoding = "cp1252"
delimiter = ";"
decimal = ","
thousands = "."
[fixed]
supplier = "S"
kind = "driver"
[columns]
part = "Artikel"
re = { column = "Rdc [Ohm]", unit = "ohm" }
mms = { column = "Mms in gr", unit = "g" }
power = "Belastbarkeit"
price = "Preis"
stock = "Bestand"
"""


def _rows(text: str, content: bytes = LIST) -> list[dict[str, str]]:
    used = parse_map(text, file="map.toml")
    table = foreign_table(content, used, file="list.csv", map_file="map.toml")
    return [dict(row) for row in table.rows]


def test_a_list_is_read_by_its_map() -> None:
    # Written out by hand from the list.
    assert _rows(MAP) == [
        {
            "supplier": "S",
            "kind": "driver",
            "part": "P1",
            "re": "3.4 ohm",
            "mms": "8.05 g",
            "power": "60 W",
            "price": "1084.50",
            "stock": "12",
        },
        {
            "supplier": "S",
            "kind": "driver",
            "part": "P2",
            "re": "3.3 ohm",
            "mms": "7.9 g",
            "power": "40 W",
            "price": "24.90",
            "stock": "-1",
        },
    ]


def test_what_is_cut_off_is_told() -> None:
    used = parse_map(MAP, file="map.toml")
    table = foreign_table(LIST, used, file="list.csv", map_file="map.toml")
    told = [(each.row, each.column, each.done, each.allowed) for each in table.findings]
    assert (2, "power", "used", '"RMS" is cut off and not reckoned with') in told
    assert (3, "power", "used", '"(IEC)" is cut off and not reckoned with') in told


def test_a_factor_halves_peak_to_peak() -> None:
    text = (
        'delimiter = ";"\n[fixed]\nkind = "driver"\n[columns]\npart = "N"\n'
        'xmax = { column = "Xmax p-p", unit = "mm", factor = 0.5 }\n'
    )
    assert _rows(text, b"N;Xmax p-p\nA;7.1\n")[0]["xmax"] == "3.55 mm"


def test_a_map_that_names_no_column_of_the_list_names_both() -> None:
    with pytest.raises(BadInputError, match=r'map.toml: columns.re: found "Re".*"Rdc \[Ohm\]"'):
        _rows(MAP.replace('"Rdc [Ohm]"', '"Re"'))


@pytest.mark.parametrize("cell", ["10.84,5", "1.0845,0", "3,", "3,4,5", "abc", "4 ohm 3"])
def test_a_number_that_is_none_is_left_out(cell: str) -> None:
    text = MAP.replace('part = "Artikel"', 'part = "N"').split("mms =")[0]
    used = parse_map(text.replace("Rdc [Ohm]", "R"), file="map.toml")
    table = foreign_table(f"N;R\nA;{cell}\n".encode(), used, file="l.csv", map_file="map.toml")
    assert "re" not in table.rows[0] or not read_catalogue(table).rows[0].get("re")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("[fixed]", "[fixt]"), 'found "fixt"; allowed: encoding'),
        (('delimiter = ";"', 'delimiter = "#"'), 'delimiter: found "#"'),
        (('part = "Artikel"', 'colour = "Farbe"'), "columns.colour: found no such column"),
        (('unit = "g"', 'unit = "mm"'), r'columns.mms.unit: found "mm"; a unit like g'),
        (('unit = "g"', "factor = 0"), "columns.mms.factor: found 0"),
        (('unit = "g"', "factor = nan"), "columns.mms.factor: found nan"),
        (('unit = "g"', "faktor = 2"), "columns.mms: found"),
        (('encoding = "cp1252"', "encoding = 3"), "encoding: found 3"),
        (('encoding = "cp1252"', 'encoding = "zip"'), "zip"),
        (('supplier = "S"', "supplier = [1]"), "supplier: found"),
        (("[columns]", "columns = 3\n[columns"), "a map is TOML"),
    ],
)
def test_a_map_that_is_none_says_where(change: tuple[str, str], said: str) -> None:
    with pytest.raises(BadInputError, match=said):
        _rows(MAP.replace(*change))


def test_a_guess_is_made_from_heads_and_marks() -> None:
    guess = guess_map(LIST, file="list.csv")
    found = guess.map
    assert (found.encoding, found.delimiter) == ("cp1252", ";")
    assert (found.decimal, found.thousands) == (",", ".")
    assert found.fixed == {"kind": "driver"}
    told = {name: (each.column, each.unit) for name, each in found.columns.items()}
    assert told == {
        "part": ("Artikel", ""),
        "name": ("Bezeichnung", ""),
        "rated_impedance": ("Impedanz", ""),
        "re": ("Rdc [Ohm]", "ohm"),
        "fs": ("fs (Hz)", "Hz"),
        "qts": ("Qts", ""),
        "vas": ("Vas, ltr", "L"),
        "mms": ("Mms in gr", "g"),
        "power": ("Belastbarkeit", ""),
        "price": ("Preis", ""),
        "stock": ("Bestand", ""),
    }
    assert '"Farbe": not used' in guess.told


def test_a_guessed_unit_is_told_as_guessed() -> None:
    guess = guess_map(b"part,kind,depth\nA,driver,50\n", file="list.csv")
    assert '"depth" is depth, guessed in mm: look whether it is so' in guess.told


def test_peak_to_peak_and_a_currency_are_read_off_the_head() -> None:
    content = b"Model\tFs\tXmax p-p (mm)\tPrice EUR\nA\t85\t7.1\t24.90\n"
    guess = guess_map(content, file="list.csv").map
    assert guess.delimiter == "\t"
    assert guess.fixed == {"currency": "EUR", "kind": "driver"}
    assert guess.columns["xmax"] == Mapped("Xmax p-p (mm)", "mm", "0.5")
    rows = foreign_table(content, guess, file="list.csv", map_file="map.toml").rows
    assert dict(rows[0]) == {
        "currency": "EUR",
        "kind": "driver",
        "part": "A",
        "fs": "85 Hz",
        "xmax": "3.55 mm",
        "price": "24.90",
    }


def test_a_guess_is_written_and_read_back() -> None:
    guess = guess_map(LIST, file="list.csv").map
    assert parse_map(map_text(guess), file="map.toml") == guess
    table = foreign_table(LIST, guess, file="list.csv", map_file="map.toml")
    read = read_catalogue(table)
    assert [row["part"] for row in read.rows] == ["P1", "P2"]
    assert read.compiled.numbers["vas"] == pytest.approx([0.0091, 0.0082])
    assert read.compiled.numbers["price"] == pytest.approx([1084.5, 24.9])


@pytest.mark.parametrize("content", [b"", b"colour;taste\nred;sweet\n"])
def test_where_nothing_is_known_nothing_is_guessed(content: bytes) -> None:
    with pytest.raises(BadInputError, match="no head"):
        guess_map(content, file="list.csv")


def test_damaged_lists_and_maps_raise_nothing_but_what_is_meant() -> None:
    chance = random.Random(2)
    refused = 0
    for _ in range(200):
        content, text = bytearray(LIST), bytearray(MAP.encode())
        for damaged in (content, text):
            for _ in range(chance.randrange(4)):
                damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        try:
            used = parse_map(text.decode("cp1252", "replace"), file="map.toml")
            table = foreign_table(bytes(content), used, file="list.csv", map_file="map.toml")
            read_catalogue(table)
            guess_map(bytes(content), file="list.csv")
        except ConewrightError:
            refused += 1
    assert 0 < refused < 200


def test_a_guess_where_no_head_is_known_has_the_list_all_the_same() -> None:
    guess = first_guess(b"colour;taste\nred;sweet\n", file="list.csv")
    assert guess.map.columns == {}
    assert guess.table.rows == ({"colour": "red", "taste": "sweet"},)
    assert guess.why == {"colour": "not used", "taste": "not used"}


def test_a_list_is_cut_as_somebody_says() -> None:
    guess = first_guess(b"part|kind;depth\nA|driver;50\n", file="l.csv", delimiter="|")
    assert guess.table.heads == ("part", "kind;depth")
    guess = first_guess("part;Größe\nA;1\n".encode("cp850"), file="l.csv", encoding="cp850")
    assert guess.table.heads == ("part", "Größe")
    assert guess.map.encoding == "cp850"


def test_a_list_in_utf_16_is_told_by_its_mark() -> None:
    guess = guess_map("Artikel;fs (Hz)\nTieftöner;85\n".encode("utf-16"), file="list.csv")
    assert guess.map.encoding == "utf-16"
    assert guess.table.rows[0]["Artikel"] == "Tieftöner"


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"PK\x03\x04\x14\0\6\0", "a workbook, or other packed files"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a workbook"),
        (b"%PDF-1.7\n", "a PDF"),
        (b"SQLite format 3\0", "a database"),
    ],
)
def test_what_is_no_text_by_its_first_bytes_is_told(content: bytes, what: str) -> None:
    with pytest.raises(BadInputError, match=f"found {what}; a list is text: save it as CSV"):
        guess_map(content, file="list.csv")
    with pytest.raises(BadInputError, match=f"found {what}; a list is text"):
        table_of(content, file="list.csv")
    used = parse_map(MAP, file="map.toml")
    with pytest.raises(BadInputError, match=f"found {what}; a list is text"):
        foreign_table(content, used, file="list.csv", map_file="map.toml")


def test_every_column_has_words_in_a_form() -> None:
    named = [name for group in column_words().values() for name in group]
    assert sorted(named) == sorted(columns())
