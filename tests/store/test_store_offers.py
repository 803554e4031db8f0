"""The parts to choose from: a kept catalogue, a file, the invented parts, each with its name."""

import hashlib
from pathlib import Path

import pytest
from benchmarks.invented_parts import invented

from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.errors import BadInputError
from conewright.store import NotFound, Store, offer

CSV = written(invented(12), ending=".csv")
# The same parts in the order in which a catalogue keeps them.
IN_ORDER = written(read_catalogue(table_of(CSV, file="parts.csv")).rows, ending=".csv")
SUM = hashlib.sha256(IN_ORDER).hexdigest()


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep catalogues in a file of this test's own, and work in a folder of its own."""
    file = tmp_path / "kept.sqlite"
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{file}")
    monkeypatch.chdir(tmp_path)
    return file


def _keep(name: str, parts: bytes = CSV) -> None:
    read = read_catalogue(table_of(parts, file="parts.csv"))
    with Store.open() as store:
        store.add_catalogue(name, read, who="ann", source="parts.csv")


def test_without_a_kept_one_it_is_the_invented_parts(place: Path) -> None:
    assert (offer().name, offer().version) == ("invented", None)
    assert not place.exists()
    _keep("shop")
    assert (offer().name, offer().version) == ("shop", 1)
    assert offer("invented").name == "invented"


def test_a_version_is_asked_for_by_its_number() -> None:
    _keep("shop")
    fewer = b"\n".join([*CSV.split(b"\n")[:-2], b""])
    _keep("shop", fewer)
    assert (offer("shop").version, len(offer("shop").compiled)) == (2, 11)
    first = offer("shop@1")
    assert (first.version, len(first.compiled), first.sha256) == (1, 12, SUM)
    assert first.words == f"shop, version 1, sha256 {SUM[:12]}"
    with pytest.raises(NotFound, match="found no version 3"):
        offer("shop@3")
    with pytest.raises(BadInputError, match='found "shop@x"; a version is like shop@2'):
        offer("shop@x")


@pytest.mark.parametrize("ending", [".csv", ".toml", ".sqlite"])
def test_a_file_has_the_sum_of_its_parts_in_whatever_form(tmp_path: Path, ending: str) -> None:
    file = tmp_path / f"list@home{ending}"
    file.write_bytes(written(table_of(CSV, file="parts.csv").rows, ending=ending))
    found = offer(file)
    assert (found.name, found.version, found.sha256) == (file.name, None, SUM)
    assert offer(str(file)).compiled.texts["id"] == found.compiled.texts["id"]


def test_a_file_that_is_not_there_is_named() -> None:
    with pytest.raises(BadInputError, match=r"^none\.csv: cannot be read"):
        offer("none.csv")
