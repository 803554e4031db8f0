"""Parts in the pages: looked at, brought in by a map somebody confirmed, kept as versions."""

import re
from collections.abc import Callable

import pytest
from benchmarks.invented_parts import invented
from fastapi import FastAPI
from starlette.testclient import TestClient
from test_pages import Page, check_headings, check_labels, check_plain

from conewright.catalogue.columns import columns
from conewright.catalogue.lists.column_map import parse_map
from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.store import Store
from conewright.web.app import create_app
from conewright.web.base.settings import Settings
from conewright.web.desk.reports import Reports

ROWS = [dict(row) for row in invented(60)]
CSV = written(ROWS, ending=".csv")
FOREIGN = (
    "Artikel;Bezeichnung;Warengruppe;Rdc [Ohm];fs (Hz);Preis EUR;Farbe\n"
    "LT-1;Tieftöner A;Tieftöner;3,4;85;24,90;rot\n"
    "LT-2;Tieftöner B;Tieftöner;3,3;neunzig;26,00;blau\n"
    "X-1;Regenschirm;Zubehör;;;9,90;\n"
).encode("cp1252")
AT = "/parts/import"


@pytest.fixture
def see(client: TestClient) -> Callable[[str], Page]:
    def look(path: str) -> Page:
        response = client.get(path, headers={"accept": "text/html"})
        assert response.status_code == 200, response.text[:500]
        page = Page(response.text)
        check_plain(page)
        check_headings(page, path)
        check_labels(page, path)
        return page

    return look


def send(client: TestClient, content: bytes, name: str = "shop.csv", **fields: str) -> str:
    """Send a list; return the address it leads to."""
    answer = client.post(AT, files={"file": (name, content)}, data=fields)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def refused(client: TestClient, content: bytes, name: str = "shop.csv") -> str:
    """Send a list that is not taken; return what is said."""
    answer = client.post(AT, files={"file": (name, content)})
    assert answer.status_code == 200
    assert 'role="alert"' in answer.text
    return Page(answer.text).text


def typed(page: Page) -> dict[str, str]:
    """Return everything that the form of a map would send as it stands."""
    fields, name = dict[str, str](), ""
    for tag, attributes in page.tags:
        if tag == "select":
            name = attributes["name"]
        elif tag == "option" and (name not in fields or "selected" in attributes):
            fields[name] = attributes.get("value", "")
        elif tag == "input" and attributes.get("name") not in (None, "who", "back"):
            fields[attributes["name"]] = attributes.get("value", "")
    return fields | {"do": "read"}


def kept(store: Store, content: bytes = CSV, name: str = "shop", **more: str) -> None:
    read = read_catalogue(table_of(content, file="shop.csv"))
    store.add_catalogue(name, read, who="Ann", source="shop.csv", **more)


# --- The list -------------------------------------------------------------------------------------


def test_the_invented_parts_are_there_before_anything_is_kept(
    see: Callable[[str], Page],
) -> None:
    page = see("/parts")
    assert "invented ones, to try things out" in page.text
    assert "204 parts" in page.text
    assert "/parts" in {link.get("href") for link in see("/jobs").all("a")}
    assert "Page 1 of 9" in page.text
    assert "1 part of 204" in see("/parts?kind=capacitor&q=c-4.7").text


def test_parts_are_searched_and_paged(see: Callable[[str], Page], store: Store) -> None:
    kept(store)
    first, last = see("/parts"), see("/parts?page=999")
    assert "60 parts" in first.text
    assert "Page 3 of 3" in last.text
    link = next(each["href"] for each in first.all("a") if each.get("rel") == "next")
    assert link == "/parts?page=2&catalogue=shop"
    drivers = sum(row["kind"] == "driver" for row in ROWS)
    assert f"{drivers} parts of 60" in see("/parts?kind=driver").text
    assert "No fuse of shop holds “<b>”" in see("/parts?kind=fuse&q=<b>").text
    assert "60 parts" in see("/parts?kind=wheel").text


def test_a_part_says_what_is_listed_and_what_is_reckoned_with(
    see: Callable[[str], Page], store: Store
) -> None:
    row = {"part": "A", "kind": "driver", "size": "130 mm", "fs": "1.5 kHz", "stock": "3"}
    kept(store, written([{**row, "price": "20", "currency": "EUR"}], ending=".csv"))
    text = see("/parts/part/a?catalogue=shop").text
    assert "20.00 EUR per piece, 3 in stock." in text
    assert "nominal size 130 mm" in text


def test_the_same_works_are_told_with_the_one_that_is_offered(
    see: Callable[[str], Page], store: Store
) -> None:
    twin = {**ROWS[3], "supplier": "Supplier 9", "part": "twin", "price": "1.00"}
    for name in ("price_low", "price_high"):
        twin.pop(name, None)
    kept(store, written([*ROWS, twin], ending=".csv"))
    assert "The same works as supplier-9-twin , which is offered" in see("/parts?q=p-100-a").text
    assert "The same works as 1 other; this one is offered" in see("/parts?q=twin").text
    page = see("/parts/part/supplier-9-twin?catalogue=shop")
    assert "This one is offered: of those in stock it is the cheapest." in page.text


def test_every_version_stays_and_is_told(see: Callable[[str], Page], store: Store) -> None:
    kept(store)
    kept(store, written(ROWS[:40], ending=".csv"), map_text='encoding = "cp1252"\n')
    kept(store, name="other")
    lists = see("/parts/lists").text
    assert "40 parts, version 2" in lists
    history = see("/parts/lists/shop")
    for words in ("Version 2", "Version 1", "60 parts from shop.csv", 'encoding = "cp1252"'):
        assert words in history.text
    old = see("/parts?catalogue=shop&version=1").text
    assert "This is an older version. Look at the newest, version 2" in old
    assert "60 parts" in old


@pytest.mark.parametrize(
    "path",
    [
        "/parts?catalogue=none",
        "/parts?catalogue=shop&version=9",
        "/parts/part/nothing?catalogue=shop",
        "/parts/lists/none",
        f"{AT}/nothing",
        f"{AT}/nothing/findings",
    ],
)
def test_what_is_not_there_is_not_found(client: TestClient, store: Store, path: str) -> None:
    kept(store)
    answer = client.get(path, headers={"accept": "text/html"})
    assert answer.status_code == 404
    assert "--" not in Page(answer.text).text


# --- Bringing in ----------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".csv", ".toml", ".sqlite"])
def test_a_catalogue_is_looked_at_and_kept(
    client: TestClient, see: Callable[[str], Page], store: Store, ending: str
) -> None:
    at = send(client, written(ROWS, ending=ending), f"Shop Nord{ending}")
    page = see(at)
    assert "60 parts can be used." in page.text
    assert store.catalogues() == ()
    answer = client.post(at.replace("findings", "keep"), data={"name": "shop-nord"})
    assert answer.headers["location"] == "/parts?catalogue=shop-nord&kept=new"
    assert "Kept as shop-nord , version 1" in see(answer.headers["location"]).text
    found = store.catalogue("shop-nord")
    assert (found.note.parts, found.note.source, found.map) == (60, f"Shop Nord{ending}", "")
    again = send(client, written(ROWS, ending=ending), f"Shop Nord{ending}")
    answer = client.post(again.replace("findings", "keep"), data={"name": "shop-nord"})
    assert "Just this list is kept already, as version 1" in see(answer.headers["location"]).text
    assert len(store.catalogue_versions("shop-nord")) == 1


def test_a_database_of_another_name_is_told_by_its_content(client: TestClient) -> None:
    assert send(client, written(ROWS, ending=".sqlite"), "shop.db").endswith("/findings")


def test_somebody_elses_list_is_guessed_confirmed_and_kept(
    client: TestClient, see: Callable[[str], Page], store: Store
) -> None:
    at = send(client, FOREIGN, "preise.csv")
    page = see(at)
    assert "This is a guess." in page.text
    assert "In ohm, as its head says." in page.text
    fields = typed(page)
    assert (fields["encoding"], fields["delimiter"], fields["decimal"]) == ("cp1252", ";", ",")
    assert (fields["column:0"], fields["unit:3"], fields["column:6"]) == ("part", "ohm", "")
    assert (fields["currency"], fields["word:Tieftöner"], fields["word:Zubehör"]) == (
        "EUR", "driver", "",
    )  # fmt: skip
    # Nobody has confirmed it: there are no findings, and nothing is kept.
    assert client.get(f"{at}/findings").headers["location"] == at
    assert client.post(f"{at}/keep", data={"name": "x"}).headers["location"] == at
    assert store.catalogues() == ()
    answer = client.post(at, data={**fields, "supplier": "Nord", "word:Zubehör": "film"})
    assert answer.headers["location"] == f"{at}/findings"
    text = see(f"{at}/findings").text
    assert 'Row 3, fs "neunzig" ▲ left out it does not begin with a number' in text
    assert "3 parts can be used" in text
    client.post(f"{at}/keep", data={"name": "nord"})
    found = store.catalogue("nord")
    assert "Nord,Tieftöner A,driver" in found.text.decode()
    used = parse_map(found.map, file="map")
    assert (used.fixed["supplier"], used.words["Zubehör"]) == ("Nord", "film")
    # What is kept waits no more.
    assert client.get(at).status_code == 404


def test_the_next_list_is_shown_by_the_map_of_the_last_and_not_guessed(
    client: TestClient, see: Callable[[str], Page]
) -> None:
    at = send(client, FOREIGN, "preise.csv")
    client.post(at, data=typed(see(at)) | {"unit:3": "mohm", "column:1": ""})
    client.post(f"{at}/keep", data={"name": "nord"})
    later = FOREIGN.replace(b"Preis EUR", b"VK EUR")
    page = see(send(client, later, "april.csv", of="nord"))
    assert "This is how the last list of nord was read." in page.text
    assert "This list has no column “Preis EUR”, which the map names." in page.text
    fields = typed(page)
    assert (fields["unit:3"], fields["column:1"], fields["column:5"]) == ("mohm", "", "")


def test_a_list_is_cut_again_as_somebody_says(
    client: TestClient, see: Callable[[str], Page]
) -> None:
    at = send(client, b"part|kind;fs\nA|driver;85\n", "odd.csv")
    fields = typed(see(at)) | {"delimiter": "|"}
    # Also where the other button is pressed: what was shown belongs to another cut.
    assert client.post(at, data=fields).headers["location"] == at
    page = see(at)
    assert typed(page)["delimiter"] == "|"
    assert "kind;fs" in page.text


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"column:0": ""}, "Nothing is read yet: no column says what a part is ordered by"),
        ({"column:2": ""}, "Nothing is read yet: no column says its kind"),
        ({"column:6": "fs"}, "“fs (Hz)” is that already"),
        ({"column:6": "colour"}, "one of the list is wanted"),
        ({"unit:3": "pints"}, 'found "pints"; a unit like ohm is wanted'),
        ({"factor:3": "0"}, "found 0; a number above zero is wanted"),
        ({"currency": "euro"}, "a currency is three letters, like EUR"),
        ({"kind": "wheel"}, "one of these is wanted: driver, ring"),
        ({"thousands": ","}, "the same mark cannot stand before decimals"),
        ({"word:Tieftöner": ""}, "found no row that can be used, of 3"),
    ],
)
def test_a_map_that_cannot_be_is_told_and_stays_as_it_was_typed(
    client: TestClient, see: Callable[[str], Page], change: dict[str, str], said: str
) -> None:
    at = send(client, FOREIGN, "preise.csv")
    fields = typed(see(at)) | {"supplier": "Nord"} | change
    answer = client.post(at, data=fields)
    assert answer.status_code == 200
    page = Page(answer.text)
    check_labels(page, at)
    assert said in page.text
    assert 'role="alert"' in answer.text
    assert typed(page)["supplier"] == "Nord"
    assert client.get(f"{at}/findings").headers["location"] == at


@pytest.mark.parametrize(
    ("content", "name", "said"),
    [
        (b"", "shop.csv", "shop.csv: it is empty"),
        (b"PK\x03\x04\x14\0\6\0", "book.xlsx", "found a workbook, or other packed files; a list"),
        (b"%PDF-1.7\n", "list.pdf", "found a PDF; a list is text: save it as CSV"),
        (b"\x81\x8d\x8f\x90\x9d\n", "list.csv", "found bytes that are no text in"),
        (b"\n\n", "list.csv", "found no head; the first row names the columns"),
        (b"a;a\n1;2\n", "list.csv", 'found two columns "a"; each is named once'),
        (b"SQLite format 3\0rubbish", "list.sqlite", "it is no database of SQLite"),
        (b"[[part]]\nname = 'x'\n", "list.toml", "part and kind are wanted"),
        (b"part,kind\nA,wheel\n", "list.csv", "found no row that can be used, of 1"),
        ((";".join(f"c{n}" for n in range(300)) + "\n").encode(), "l.csv", "at most 200 are read"),
    ],
)
def test_a_wrong_file_is_told_in_plain_words(
    client: TestClient, store: Store, content: bytes, name: str, said: str
) -> None:
    text = refused(client, content, name)
    assert said in text
    assert "--" not in text
    assert store.catalogues() == ()


def test_without_a_file_one_is_asked_for(client: TestClient) -> None:
    assert "choose the file of a list" in client.post(AT, data={"of": ""}).text


def test_a_list_that_is_too_large_is_told_before_it_is_read(store: Store, reports: Reports) -> None:
    app = create_app(store, reports=reports, settings=Settings(largest_list=2_000_000))
    client = TestClient(app, base_url="http://127.0.0.1:8420", follow_redirects=False)
    file = {"file": ("shop.csv", CSV + (b" " * 999 + b"\n") * 2000)}
    answer = client.post(AT, files=file, headers={"accept": "text/html"})
    assert answer.status_code == 413
    assert "A list that is sent here has at most 2 MB. Divide it" in answer.text
    # More than any other body may have.
    assert send(client, CSV + (b" " * 999 + b"\n") * 1500).endswith("/findings")
    assert client.post("/jobs/upload", files=file).status_code == 413


# --- What is found --------------------------------------------------------------------------------


def test_rows_that_are_asked_about_are_kept_after_a_yes_for_each(
    client: TestClient, see: Callable[[str], Page], store: Store
) -> None:
    rows = [dict(row) for row in ROWS[:5]]
    for row, factor in ((rows[0], 100), (rows[1], 10)):
        row["price"] = f"{factor * float(row['price']):.2f}"
        row["price_high"] = row["price_low"] = ""
    at = send(client, written(rows, ending=".csv"))
    page = see(at)
    assert "These rows wait for your yes" in page.text
    assert {"yes:2", "yes:3"} <= {field.get("name") for field in page.all("input")}
    assert "times the most that is usual of such a driver" in page.text
    client.post(at.replace("findings", "keep"), data={"name": "shop", "yes:3": "on"})
    found = {row["part"] for row in table_of(store.catalogue("shop").text, file="s.csv").rows}
    assert found == {row["part"] for row in rows[1:]}


def test_findings_are_paged_and_shown_by_what_was_done(
    client: TestClient, see: Callable[[str], Page]
) -> None:
    rows = [{**row, "stock": "-1"} for row in ROWS]
    rows[0]["part"] = ""
    at = send(client, written(rows, ending=".csv"))
    page = see(at)
    assert "59 parts can be used; 1 row is refused, 59 cells are left out." in page.text
    assert "stock 0 59 0" in page.text
    assert "Page 1 of 1" not in page.text
    assert "■ row refused" in see(f"{at}?done=refused").text
    assert "▲" not in see(f"{at}?done=refused").text
    assert see(f"{at}?page=99&done=left%20out").text.count("▲ left out") == 59


@pytest.mark.parametrize("name", ["", "  ", "Invented", "---"])
def test_a_name_is_needed_to_keep_it(client: TestClient, store: Store, name: str) -> None:
    at = send(client, CSV)
    answer = client.post(at.replace("findings", "keep"), data={"name": name})
    assert "a name is wanted, another than invented" in answer.text
    assert store.catalogues() == ()


def test_a_list_is_thrown_away(client: TestClient, store: Store) -> None:
    at = send(client, CSV)
    assert client.post(at.replace("findings", "discard")).headers["location"] == "/parts"
    answer = client.get(at, headers={"accept": "text/html"})
    assert answer.status_code == 404
    assert "This list is not waiting here any more" in answer.text
    assert store.catalogues() == ()


def test_only_so_many_lists_wait(store: Store) -> None:
    reports = Reports(Settings(held_lists=2))
    client = TestClient(
        create_app(store, reports=reports),
        base_url="http://127.0.0.1:8420",
        follow_redirects=False,
    )
    try:
        places = [send(client, CSV) for _ in range(3)]
        assert [client.get(at).status_code for at in places] == [404, 200, 200]
    finally:
        reports.close()


def test_cells_cannot_write_into_a_page(client: TestClient, see: Callable[[str], Page]) -> None:
    evil = "<script>alert(1)</script>"
    text = f'"{evil}";kind;{evil}2;price\n{evil};{evil};"{evil}";2\nA;film;;2\n'
    at = send(client, text.encode(), "<b>list.csv")
    page = see(at)
    fields = typed(page) | {"column:0": "part", "column:2": "name", "supplier": evil}
    answer = client.post(at, data=fields)
    assert answer.headers["location"] == f"{at}/findings"
    for path in (at, f"{at}/findings"):
        body = client.get(path).text
        assert evil not in body
        assert "<b>list" not in body
        assert "&lt;script&gt;" in body
    client.post(f"{at}/keep", data={"name": evil})
    for path in ("/parts", "/parts/lists", "/parts/lists/script-alert-1-script"):
        assert evil not in client.get(path).text


@pytest.mark.parametrize("path", [AT, f"{AT}/x", f"{AT}/x/keep", f"{AT}/x/discard"])
def test_another_page_can_neither_send_nor_keep(client: TestClient, path: str) -> None:
    answer = client.post(path, headers={"origin": "https://elsewhere.example"})
    assert answer.status_code == 403


def test_a_choice_for_every_column_stands_in_the_form(
    client: TestClient, see: Callable[[str], Page]
) -> None:
    page = see(send(client, FOREIGN, "preise.csv"))
    offered = {option.get("value") for option in page.all("option")}
    assert set(columns()) <= offered


def test_the_app_keeps_few_catalogues_unpacked(app: FastAPI, store: Store) -> None:
    client = TestClient(app, base_url="http://127.0.0.1:8420")
    for number in range(6):
        kept(store, name=f"shop{number}")
        assert client.get("/parts").status_code == 200
    assert re.search("60 parts", client.get("/parts?catalogue=shop0").text)
