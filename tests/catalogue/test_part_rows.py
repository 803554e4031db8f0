"""Rows: what is used, left out and refused, each told by row and column; and the columns."""

import random

import numpy as np
import pytest
from benchmarks.invented_parts import SEED, invented

from conewright.catalogue.compiled import Compiled, pack, part_ids, unpack
from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.listing import chosen, invented_catalogue, part_in_words
from conewright.catalogue.lists.part_rows import Catalogue, read_catalogue
from conewright.data_files import data_rows, data_text
from conewright.errors import BadInputError

DRIVER = {
    "part": "P-130-A",
    "supplier": "S",
    "kind": "driver",
    "size": "130 mm",
    "rated_impedance": "4 ohm",
    "re": "3.4 ohm",
    "fs": "85 Hz",
    "qms": "5",
    "qes": "0.8",
    "sd": "84 cm2",
    "mms": "8 g",
    "depth": "50 mm",
    "cutout": "115 mm",
    "outer": "135 mm",
    "price": "30",
    "currency": "EUR",
}
OTHER = {"part": "C-4.7", "supplier": "S", "kind": "capacitor", "value": "4.7 uF", "price": "2"}


def _read(*rows: dict[str, str], accept: bool = False) -> Catalogue:
    table = table_of(written(rows, ending=".csv"), file="parts.csv")
    return read_catalogue(table, accept=accept)


def _same(one: Compiled, other: Compiled) -> None:
    assert one.texts == other.texts
    assert one.offered.tolist() == other.offered.tolist()
    for name in ("numbers", "low", "high", "figures"):
        first, second = getattr(one, name), getattr(other, name)
        assert list(first) == list(second)
        for column in first:
            np.testing.assert_array_equal(first[column], second[column])


@pytest.mark.parametrize(
    ("change", "column", "done", "allowed"),
    [
        ({"fs": "fast"}, "fs", "left out", "Hz"),
        ({"clip_loss": "0.3 ohm"}, "clip_loss", "left out", "a driver has no clip_loss"),
        ({"re": "4.4 ohm"}, "re", "left out", "0.6 to 1 of the printed ohms"),
        ({"re": "0.34 ohm"}, "re", "left out", "0.6 to 1 of the printed ohms"),
        ({"sd": "840 cm2"}, "sd", "left out", "smaller than its frame"),
        ({"fs": "850 Hz"}, "fs", "left out", "0.3 to 3 times the usual"),
        ({"cutout": "140 mm"}, "cutout", "left out", "smaller than the frame"),
        ({"depth": "5 cm ± 1 cm"}, None, None, None),
        ({"depth": "500 mm"}, "depth", "left out", "5 to 200 mm"),
        ({"price_low": "31"}, "price_low", "left out", "go upward"),
        ({"price_high": "29"}, "price_high", "left out", "go upward"),
        ({"stock": "-2"}, "stock", "left out", "whole number"),
        ({"qts": "0.8"}, "qts", "used", "16 % above"),
        ({"qts": "1.5"}, "", "refused", "more than half"),
        ({"qts": "1.5", "qes": ""}, None, None, None),
        ({"qes": "", "qms": "0.5", "qts": "0.6"}, "", "refused", "no driver has such figures"),
        ({"sensitivity": "99 dB"}, "sensitivity", "used", "dB above"),
        ({"price": ""}, "price", "used", "not chosen under a limit of money"),
        ({"part": ""}, "part", "refused", "known by part and supplier"),
        ({"supplier": "s" * 101}, "supplier", "refused", "100 signs at most"),
        ({"kind": "wheel"}, "kind", "refused", "driver, ring, patch"),
    ],
)
def test_what_is_done_about_a_cell_is_told(
    change: dict[str, str], column: str | None, done: str | None, allowed: str | None
) -> None:
    read = _read(DRIVER | change, OTHER)
    if column is None:
        assert read.findings == ()
        return
    told = [each for each in read.findings if each.column == column]
    assert [(each.row, each.done) for each in told] == [(2, done)]
    assert allowed is not None
    assert allowed in told[0].allowed
    kept = [row for row in read.rows if row["kind"] == "driver"]
    assert len(kept) == (0 if done == "refused" else 1)
    if done == "left out":
        assert column not in kept[0]


def test_a_finding_is_one_sentence() -> None:
    finding = _read(DRIVER | {"stock": "many"}).findings[0]
    assert str(finding) == (
        'row 2, stock: found "many" (left out); a whole number from 0 to 1000000 is wanted'
    )


def test_a_yes_takes_figures_that_contradict_each_other() -> None:
    read = _read(DRIVER | {"qts": "1.5"}, accept=True)
    assert [row["qts"] for row in read.rows] == ["1.5"]
    # 1/(1/5 + 1/0.8): what is measured counts, as in a job.
    assert read.compiled.figures["qts"][0] == pytest.approx(0.68966, abs=1e-5)


def test_the_later_of_two_rows_of_one_part_counts() -> None:
    read = _read(DRIVER, OTHER, DRIVER | {"price": "31"})
    assert [row["price"] for row in read.rows] == ["31", "2"]
    assert str(read.findings[0]) == (
        'row 2, part: found "P-130-A" (row refused); row 4 has it again; the later one counts'
    )


def test_without_a_row_that_can_be_used_the_reasons_are_told() -> None:
    with pytest.raises(BadInputError, match=r"no row that can be used, of 1\n  row 2, kind"):
        _read(DRIVER | {"kind": "wheel"})
    with pytest.raises(BadInputError, match="no row that can be used, of 0"):
        read_catalogue(table_of(b"part,kind\n", file="parts.csv"))


def test_a_list_with_other_heads_is_told_the_way() -> None:
    with pytest.raises(BadInputError, match=r'found the columns "Artikel", "Preis".*--guess'):
        read_catalogue(table_of(b"Artikel,Preis\nA,3\n", file="list.csv"))


def test_a_strange_column_is_left_out_and_told() -> None:
    read = read_catalogue(table_of(b"part,kind,colour\nS-1,film,red\n", file="parts.csv"))
    assert (read.findings[0].row, read.findings[0].column) == (1, "colour")


def test_a_part_without_what_it_is_told_by_is_refused() -> None:
    read = _read(OTHER | {"value": ""}, DRIVER, {"part": "K", "kind": "repair", "price": "3"})
    assert [(each.row, each.column) for each in read.findings] == [(2, "value"), (4, "cures")]


def test_shuffled_rows_give_the_same_columns() -> None:
    rows = list(invented(300, seed=3))
    first = _read(*map(dict, rows))
    random.Random(5).shuffle(rows)
    second = _read(*map(dict, rows))
    assert first.rows == second.rows
    _same(first.compiled, second.compiled)


def test_a_kept_catalogue_reads_as_it_was_read_first() -> None:
    chance = random.Random(8)
    rows = [dict(row) for row in invented(300, seed=4)]
    for row in rows:
        name = chance.choice(["re", "fs", "cutout", "outer", "sd", "depth", "price_low", "qms"])
        if name in row:
            number, *unit = row[name].split()
            row[name] = " ".join([f"{float(number) * chance.choice([0.1, 1.6, 10]):.6f}", *unit])
    first = _read(*rows, accept=True)
    assert any(each.done == "left out" for each in first.findings)
    again = _read(*map(dict, first.rows), accept=True)
    assert again.rows == first.rows
    assert {each.done for each in again.findings} <= {"used"}
    _same(first.compiled, again.compiled)


def test_packed_columns_open_as_they_were() -> None:
    compiled = _read(*map(dict, invented(200)), DRIVER | {"re": "3.2..3.4 ohm"}).compiled
    assert "re" in compiled.low
    _same(compiled, unpack(pack(compiled)))


def test_bytes_that_are_no_columns_are_refused() -> None:
    content = pack(_read(DRIVER).compiled)
    for cut in (b"", content[:-20], content[20:], b"\0" * 50):
        with pytest.raises(BadInputError, match="no compiled catalogue"):
            unpack(cut)


def test_the_same_works_are_offered_once_by_the_cheapest_in_stock() -> None:
    dear = DRIVER | {"part": "P-X", "price": "40", "stock": "3"}
    cheap = DRIVER | {"part": "P-Y", "price": "20", "stock": "3"}
    gone = DRIVER | {"part": "P-Z", "price": "10", "stock": "0"}
    pounds = DRIVER | {"part": "P-Q", "price": "1", "stock": "3", "currency": "GBP"}
    another = DRIVER | {"part": "P-W", "price": "1", "stock": "3", "mms": "9 g"}
    read = _read(dear, cheap, gone, pounds, another).compiled
    place = {part: row for row, part in enumerate(read.texts["part"])}
    for part in ("P-X", "P-Y", "P-Z"):
        assert read.offered[place[part]] == place["P-Y"]
    for part in ("P-Q", "P-W"):
        assert read.offered[place[part]] == place[part]
    assert read.alternates(place["P-X"]) == [place["P-Y"], place["P-Z"]]
    assert "the same works: s-p-y, s-p-z" in part_in_words(read, place["P-X"])


def test_ids_begin_with_a_letter_and_differ() -> None:
    ids = part_ids([("", "130 A"), ("S 3", "-130-A"), ("s-3", "130 a"), ("", "é")])
    assert ids[0] == "part-130-a"
    assert len(set(ids)) == 4
    assert all(each.startswith(("part", "s-3-130-a-")) for each in ids)


def test_parts_are_chosen_by_kind_and_words() -> None:
    read = _read(DRIVER, OTHER | {"name": "tweeter capacitor"}).compiled
    assert chosen(read, kind="capacitor") == [1]
    assert chosen(read, search="CAPACITOR tweeter") == [1]
    assert chosen(read, search="c-4 radio") == []
    with pytest.raises(BadInputError, match=r'--kind: found "wheel"; allowed: driver'):
        chosen(read, kind="wheel")


def test_the_parts_that_come_along_are_sound_and_made_as_the_benchmarks_make_them() -> None:
    read = invented_catalogue()
    assert read.findings == ()
    assert len(read.rows) >= 200
    assert set(read.compiled.texts["kind"]) >= {"driver", "radio", "amplifier", "capacitor", "ring"}
    again = _read(*map(dict, invented(len(read.rows), seed=SEED)))
    assert written(again.rows, ending=".csv").decode() == data_text("catalogue", "invented.csv")


# --- Prices far above the usual -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "times"),
    [
        # The most that is usual of a 130 mm driver: 90 for one, own table, from memory.
        ({"price": "270"}, None),
        ({"price": "270.90"}, "3.0 times"),
        ({"price": "540", "per": "pair"}, None),
        ({"price": "900", "per": "pair"}, "5.0 times the most that is usual of such a driver"),
        # A mark of decimals that was lost; of another worth, and of no size, nothing is known.
        ({"price": "2490"}, "27.7 times"),
        ({"price": "2490", "currency": "HUF"}, None),
        ({"price": "2490", "size": ""}, None),
        ({"price": "2490", "per": "kg"}, None),
    ],
)
def test_a_driver_over_three_times_the_usual_of_its_size_is_asked_about(
    change: dict[str, str], times: str | None
) -> None:
    read = _read(DRIVER | change, OTHER)
    told = [each for each in read.findings if each.asked]
    assert [(each.row, each.column, each.done) for each in told] == (
        [] if times is None else [(2, "price", "refused")]
    )
    assert len(read.rows) == (2 if times is None else 1)
    if times is not None:
        assert times in told[0].allowed


@pytest.mark.parametrize(
    ("cells", "most"),
    [
        # Closed form from the tables: high of the row, of a cable times its mm2, times 3.
        ({"kind": "cable", "value": "4 mm2", "per": "metre"}, 12.0),
        ({"kind": "patch", "value": "2 kg/m2", "area": "2500 cm2"}, 54.0),
        ({"kind": "patch", "value": "2 kg/m2", "per": "kg"}, 54.0),
        ({"kind": "film", "area": "10000 cm2"}, 36.0),
        ({"kind": "fuse", "value": "20 A", "per": "pair"}, 120.0),
        ({"kind": "radio"}, 900.0),
        ({"kind": "amplifier"}, 960.0),
        ({"kind": "repair", "cures": "surround-torn"}, 105.0),
        ({"kind": "ring"}, 36.0),
        ({"kind": "capacitor", "value": "4.7 uF"}, 60.0),
        ({"kind": "adapter"}, 90.0),
    ],
)
def test_every_kind_has_a_price_from_which_it_is_asked_about(
    cells: dict[str, str], most: float
) -> None:
    for price, asked in ((most - 0.01, 0), (most + 0.01, 1)):
        read = _read(DRIVER, {"part": "X", "price": f"{price:.2f}", **cells})
        assert sum(each.asked for each in read.findings) == asked


def test_what_is_asked_about_is_used_after_a_yes_for_all_or_for_its_row() -> None:
    odd, dear = DRIVER | {"qts": "1.5", "part": "odd"}, DRIVER | {"price": "900", "part": "dear"}
    assert [row["part"] for row in _read(odd, dear, OTHER).rows] == ["C-4.7"]
    assert [row["part"] for row in _read(odd, dear, accept=True).rows] == ["dear", "odd"]
    table = table_of(written([odd, dear, OTHER], ending=".csv"), file="parts.csv")
    read = read_catalogue(table, accept={3})
    assert [row["part"] for row in read.rows] == ["dear", "C-4.7"]
    assert {each.row: each.done for each in read.findings if each.column == "price"} == {3: "used"}
    assert [each.row for each in read.findings if each.asked] == [2]


def test_the_most_for_a_capacitor_is_that_of_the_ratings() -> None:
    ratings = data_rows("stages.feed", "ratings.csv")
    dearest = max(float(row["high"]) for row in ratings if row["kind"] == "capacitor")
    rows = data_rows("catalogue", "usual_prices.csv")
    assert [float(row["high"]) for row in rows if row["kind"] == "capacitor"] == [dearest]
