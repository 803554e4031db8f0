"""Catalogues in the store: every version of each, and none ever changed."""

import zlib
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from benchmarks.invented_parts import invented
from sqlalchemy import create_engine, update

from conewright.catalogue import compiled as compiling
from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.part_rows import Catalogue, read_catalogue
from conewright.store import NotFound, Store, StoreUnavailable, schema


def _catalogue(number: int, *, seed: int = 1) -> Catalogue:
    content = written(invented(number, seed=seed), ending=".csv")
    return read_catalogue(table_of(content, file="parts.csv"))


def test_a_version_is_given_back_as_it_was_kept(store: Store) -> None:
    kept = _catalogue(40)
    note = store.add_catalogue("Shop, new", kept, who="Ann", source="shop.csv", map_text="# map")
    assert (note.name, note.number, note.who, note.source) == ("shop", 1, "Ann", "shop.csv")
    assert note.parts == 40
    assert timedelta(0) <= datetime.now(UTC) - note.imported_at < timedelta(minutes=5)
    found = store.catalogue("shop")
    assert found.note == note
    assert found.map == "# map"
    assert found.text == written(kept.rows, ending=".csv")
    assert found.compiled.texts == kept.compiled.texts
    np.testing.assert_array_equal(found.compiled.figures["vas"], kept.compiled.figures["vas"])


def test_a_later_list_is_another_version_and_the_same_list_none(store: Store) -> None:
    first, second = _catalogue(20), _catalogue(25)
    for _ in range(2):
        assert store.add_catalogue("shop", first, who="Ann", source="a.csv").number == 1
    assert store.add_catalogue("shop", second, who="Ben", source="b.csv").number == 2
    assert store.add_catalogue("shop", first, who="Ann", source="c.csv").number == 3
    assert store.add_catalogue("other", first, who="Ann", source="a.csv").number == 1
    assert [each.number for each in store.catalogue_versions("shop")] == [3, 2, 1]
    assert [(each.name, each.number) for each in store.catalogues()] == [("other", 1), ("shop", 3)]
    assert store.catalogue("shop", 2).note.who == "Ben"
    assert len(store.catalogue("shop", 2).compiled) == 25


def test_what_is_not_there_is_told(store: Store) -> None:
    with pytest.raises(NotFound, match="shop: found no kept catalogue of that name"):
        store.catalogue("shop")
    store.add_catalogue("shop", _catalogue(11), who="Ann", source="a.csv")
    with pytest.raises(NotFound, match="there is shop"):
        store.catalogue_versions("stock")
    for number in (0, 2, 2**40):
        with pytest.raises(NotFound, match=f"shop: found no version {number}"):
            store.catalogue("shop", number)


def _change(url: str, **values: object) -> None:
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(update(schema.catalogues).values(**values))
    engine.dispose()


def test_columns_of_older_tables_are_made_again(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = _catalogue(30)
    with Store.open(url) as store:
        store.add_catalogue("shop", kept, who="Ann", source="a.csv")

        def never(_: bytes) -> None:
            raise AssertionError

        monkeypatch.setattr(compiling, "unpack", never)
        _change(url, compiled_with="older")
        again = store.catalogue("shop").compiled
    np.testing.assert_array_equal(again.figures["fs"], kept.compiled.figures["fs"])


def test_damaged_columns_are_made_again_and_a_damaged_text_is_told(url: str) -> None:
    kept = _catalogue(30)
    with Store.open(url) as store:
        store.add_catalogue("shop", kept, who="Ann", source="a.csv")
        _change(url, compiled=b"damaged")
        assert len(store.catalogue("shop").compiled) == 30
        for text in (b"damaged", zlib.compress(b"part,kind\nA,film\n")):
            _change(url, text=text)
            with pytest.raises(StoreUnavailable, match="damaged"):
                store.catalogue("shop")
