"""`conewright parts`: lists of parts looked at, imported by a map, kept and given back."""

from pathlib import Path

import pytest
from benchmarks.invented_parts import invented
from commands import run

from conewright.catalogue.lists.forms import written

CSV = written(invented(30), ending=".csv")
FOREIGN = "Artikel;Rdc [Ohm];fs [Hz];Preis\nP1;3,4;85;24,90\nP2;3,3;neunzig;\n".encode("cp1252")


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep catalogues in a file of this test's own, and work in a folder of its own."""
    file = tmp_path / "kept.sqlite"
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{file}")
    monkeypatch.setenv("LOGNAME", "ann")
    folder = tmp_path / "folder"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return file


def _ok(*words: object) -> str:
    done = run("parts", *words)
    assert (done.code, done.err) == (0, "")
    return " ".join(done.out.split())


def _refused(*words: object) -> str:
    done = run("parts", *words)
    assert (done.code, done.out) == (2, "")
    assert "Traceback" not in done.err
    return " ".join(done.err.split())


def _file(name: str, content: bytes) -> Path:
    file = Path(name)
    file.write_bytes(content)
    return file


def test_with_nothing_kept_the_invented_parts_are_listed(place: Path) -> None:
    said = _ok()
    assert said.startswith("invented parts: 204 parts ")
    assert "and 144 more; --kind and --search narrow it down" in said
    assert not place.exists()
    one = _ok("--kind", "capacitor", "--search", "c-4.7")
    assert one.startswith("invented parts: 1 part ")
    assert "4.7 uF" in one


def test_a_list_is_kept_with_every_version() -> None:
    said = _ok("--import", _file("shop.csv", CSV))
    assert "shop.csv is kept as shop, version 1 of" in said
    assert "30 parts can be used." in said
    assert "kept already, as shop, version 1" in _ok("--import", "shop.csv")
    lines = CSV.split(b"\n")
    shorter = b"\n".join([*lines[:-2], b""])
    assert "shop, version 2" in _ok("--import", _file("later.csv", shorter), "--name", "shop")
    history = _ok("--history", "shop")
    assert "2 20" in history
    assert "ann: 29 parts from later.csv" in history
    assert "ann: 30 parts from shop.csv" in history
    assert _ok().startswith("shop, version 2 of")
    assert ": 30 parts" in _ok("--catalogue", "shop@1")


@pytest.mark.parametrize("ending", [".csv", ".toml", ".sqlite"])
def test_what_is_kept_is_given_back_in_each_form(ending: str) -> None:
    _ok("--import", _file("shop.csv", CSV))
    assert f"out{ending} holds shop, version 1" in _ok("--export", f"out{ending}")
    assert "Nothing was added" in _ok("--import", f"out{ending}", "--name", "shop")
    assert "30 parts can be used." in _ok("--check", f"out{ending}")
    assert f"out{ending}: 30 parts" in _ok("--catalogue", f"out{ending}")
    assert "found a file of that name" in _refused("--export", f"out{ending}")


def test_somebody_elses_list_is_guessed_looked_through_and_imported() -> None:
    _file("list.csv", FOREIGN)
    assert "Of another list, --guess writes a map" in _refused("--import", "list.csv")
    assert '# "Rdc [Ohm]" is re in ohm, as its head says' in _ok("--guess", "list.csv")
    assert "map.toml is written. Look it through" in _ok("--guess", "list.csv", "--map", "map.toml")
    said = _ok("--check", "list.csv", "--map", "map.toml")
    assert 'row 3, fs: found "neunzig" (left out)' in said
    assert "without a price it is not chosen under a limit of money" in said
    assert "list, version 1" in _ok("--import", "list.csv", "--map", "map.toml")
    assert "p1: driver P1, fs 85 Hz; 24.90 per piece" in _ok()
    assert "p2: driver P2; no price: not chosen under a limit of money" in _ok()


def test_a_list_whose_figures_contradict_each_other_needs_a_yes() -> None:
    text = (
        b"part,kind,re,fs,qms,qes,qts,sd,mms\n"
        b"A,driver,3.4 ohm,85 Hz,5,0.8,1.5,84 cm2,8 g\nB,driver,3.4 ohm,85 Hz,5,0.8,,84 cm2,8 g\n"
    )
    _file("odd.csv", text)
    said = _ok("--check", "odd.csv")
    assert "1 part can be used. 1 row refused" in said
    assert "1 refused row would be used after a yes: --accept" in said
    assert "2 parts can be used." in _ok("--check", "odd.csv", "--accept")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--import", "a.csv", "--check", "b.csv"), "--import and --check; give one at a time"),
        (("--import", "a.csv", "--kind", "radio"), "--import and --kind; give one at a time"),
        (("--map", "map.toml"), "--map; it goes with --import or --check or --guess only"),
        (("--name", "x", "--check", "a.csv"), "--name; it goes with --import only"),
        (("--accept",), "--accept; it goes with --import or --check only"),
        (("--catalogue", "x", "--check", "a.csv"), "--catalogue; it goes with --export only"),
        (("--import", "none.csv"), "none.csv: cannot be read"),
        (("--kind", "wheel"), '--kind: found "wheel"; allowed: driver, ring'),
        (("--history", "none"), "none: found no kept catalogue of that name; there is none yet"),
        (("--catalogue", "none"), "none: found no kept catalogue of that name"),
        (("--catalogue", "shop@x"), 'found "shop@x"; a version is like shop@2'),
        (("--export", "a.txt"), 'found a name ending in ".txt"; it ends in .csv'),
        (("--guess", "a.csv", "--map", "a.txt"), "a.csv: cannot be read"),
    ],
)
def test_what_cannot_be_done_is_told(words: tuple[str, ...], said: str) -> None:
    assert said in _refused(*words)
