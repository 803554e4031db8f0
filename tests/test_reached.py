"""Nothing that only a test reaches.

The doors are the command, the names of the front door with all they offer, and what alembic runs.
"""

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from calls import House, Place

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src"
VIEWS = ("*.html", "*.typ", "*.js")


def _sources() -> dict[str, str]:
    paths = sorted(SOURCE.rglob("*.py"))
    dotted = (".".join(path.relative_to(SOURCE).with_suffix("").parts) for path in paths)
    texts = (path.read_text(encoding="utf-8") for path in paths)
    return {name.removesuffix(".__init__"): text for name, text in zip(dotted, texts, strict=True)}


def _doors(house: House) -> Iterator[Place]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    front = project["name"]
    named = [Place(front, name) for name in _offered(house.trees[front])]
    named += [Place(*script.split(":")) for script in project["scripts"].values()]
    # `__version__` is made when it is asked for.
    doors = {house.resolve(place) or Place(front) for place in named}
    doors |= {base for door in doors for base in house.bases(door)}
    doors |= {given for door in doors for given in house.given_by(door)}
    yield from doors
    yield Place(f"{front}.__main__")
    for place in house.definitions:
        public = place.owner in doors and not place.name.rpartition(".")[2].startswith("_")
        if (public and place.owner.name) or ".migrations." in place.module:
            yield place


def _offered(tree: ast.Module) -> list[str]:
    """What a module lists in `__all__`."""
    listed = (n for n in tree.body if isinstance(n, ast.Assign))
    values = (n.value for n in listed if ast.unparse(n.targets[0]) == "__all__")
    return [name for value in values for name in ast.literal_eval(value)]


def _asked_by_views() -> set[str]:
    """Attributes that templates, sheets and scripts of the pages ask for."""
    texts = (path.read_text("utf-8") for kind in VIEWS for path in sorted(SOURCE.rglob(kind)))
    return {name for text in texts for name in re.findall(r"\.([a-z_]\w*)", text)}


def test_everything_is_reached_from_a_door() -> None:
    house = House(_sources())
    assert house.unreached(_doors(house), _asked_by_views()) == []


# --- The walk bites ---------------------------------------------------------------------------

HALL = {"h": "", "h.door": "from h.room import used\n\ndef door():\n    return used()\n"}
ROOM = "def used(): ...\n\ndef idle(): ...\n"


@pytest.mark.parametrize(
    ("room", "unreached"),
    [
        (ROOM, ["idle"]),
        ("LIMIT = 1\nFREE = 2\ndef used():\n    return LIMIT\n", ["FREE"]),
        # what only something unreached calls is unreached
        (ROOM + "def more():\n    return idle()\n", ["idle", "more"]),
        # a name of the inside hides that of the module
        (ROOM.replace("used(): ...", "used(idle):\n    return idle"), ["idle"]),
        (ROOM.replace("used(): ...", "used():\n    return [idle for idle in ()]"), ["idle"]),
        (ROOM.replace("used(): ...", "used():\n    return idle"), []),
        # what is handed to somebody is called by him, what is merely kept is not
        (ROOM.replace("def idle", "@app.command\ndef idle"), []),
        (ROOM.replace("def idle", "@cache\ndef idle"), ["idle"]),
        # a listing is no call, an import of itself is none either
        ("__all__ = ['idle']\n" + ROOM, ["idle"]),
        ("from h.room import idle as other\n" + ROOM, ["idle"]),
        ("import h.room as room\ndef used():\n    return room.idle()\ndef idle(): ...\n", []),
        ("from . import room\ndef used():\n    return room.idle()\ndef idle(): ...\n", []),
        ("if True:\n    def idle(): ...\ndef used(): ...\n", ["idle"]),
        ("FREE = 1\nLIMIT = 1\nif LIMIT:\n    import os\ndef used(): ...\n", ["FREE"]),
        ("def used(): ...\ndef idle(): ...\nidle()\n", []),
    ],
)
def test_functions_and_constants_are_followed(room: str, unreached: list[str]) -> None:
    house = House(HALL | {"h.room": room})
    assert house.unreached([Place("h.door", "door")]) == [f"h.room.{name}" for name in unreached]


@pytest.mark.parametrize(
    ("room", "unreached"),
    [
        ("class used:\n    def go(self): ...\n", ["used.go"]),
        ("class used:\n    def __len__(self): ...\n", []),
        (
            "class used:\n    def __len__(self):\n        return self.go\n    def go(self): ...\n",
            [],
        ),
        ("def used(x):\n    return x.go\nclass A:\n    def go(self): ...\n", ["A", "A.go"]),
        ("def used(x):\n    return A().go\nclass A:\n    def go(self): ...\n", []),
        ("def used(x):\n    return getattr(A, 'go')\nclass A:\n    def go(self): ...\n", []),
        ("class used(BaseModel):\n    @field_validator\n    def go(self): ...\n", []),
        ("class used(BaseModel):\n    def go(self): ...\n", ["used.go"]),
        ("class used(Server):\n    def go(self): ...\n", []),
        ("class A:\n    def go(self): ...\nclass used(A): ...\n", ["A.go"]),
    ],
)
def test_methods_are_reached_by_name(room: str, unreached: list[str]) -> None:
    house = House(HALL | {"h.room": room})
    assert house.unreached([Place("h.door", "door")]) == [f"h.room.{name}" for name in unreached]


def test_what_a_door_inherits_is_found() -> None:
    room = "class A: ...\nclass B(A): ...\nclass used(B): ...\n"
    bases = House(HALL | {"h.room": room}).bases(Place("h.room", "used"))
    assert list(bases) == [Place("h.room", "B"), Place("h.room", "A")]


def test_what_a_page_asks_for_is_reached() -> None:
    house = House(HALL | {"h.room": "class used:\n    def go(self): ...\n"})
    assert house.unreached([Place("h.door", "door")], {"go"}) == []


def test_a_module_that_nobody_imports_runs_nothing() -> None:
    house = House(HALL | {"h.room": "def used(): ...\n", "h.attic": "def idle(): ...\nidle()\n"})
    assert house.unreached([Place("h.door", "door")]) == ["h.attic.idle"]
