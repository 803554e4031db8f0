"""The documentation follows the code: generated pages, names, units and links."""

import ast
import importlib
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest
from docs import generate, markdown, python_names, schemas

import conewright as cw

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
SOURCE = ROOT / "src" / "conewright"
PAGES = sorted(DOCS.rglob("*.md"))
WRITTEN_BY_HAND = [page for page in PAGES if page.parent.name != "reference"]
READ_BY_HAND = [*(ROOT / name for name in ("README.md", "CONTRIBUTING.md")), *PAGES]
LINK = re.compile(r"\[[^\]]*\]\((?P<target>[^)\s]+)\)")
DOTTED = re.compile(r"`((?:\w+\.)+\w+)`")
ROOMS = {path.stem for path in SOURCE.iterdir() if path.is_dir()}
NOMENCLATURE = (DOCS / "nomenclature.md").read_text("utf-8")


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


# --- Pages that are written by the code ----------------------------------------------------------


@pytest.mark.parametrize("name", generate.PAGES)
def test_a_generated_page_is_the_one_committed(name: str) -> None:
    committed = (DOCS / name).read_text("utf-8")
    assert committed == generate.written(name), "run `make reference`"


def test_every_field_says_what_it_is() -> None:
    silent = []
    for name in ("http.md", "job-file.md", "report.md"):
        rows = (DOCS / "reference" / name).read_text("utf-8").splitlines()
        silent += [f"{name}: {row}" for row in rows if row.startswith("| `") and "|  |" in row]
    assert silent == []


def test_the_job_page_has_every_field_of_the_schema() -> None:
    page = (DOCS / "reference" / "job-file.md").read_text("utf-8")
    schema = cw.job_schema()
    fields = [*schema["properties"]]
    for kind in schema["$defs"].values():
        fields += kind.get("properties", {})
    assert [field for field in fields if f"| `{field}` |" not in page] == []


def test_every_public_name_has_its_place_on_the_page() -> None:
    told = [name for names in python_names.GROUPS.values() for name in names]
    assert sorted([*told, "__version__"]) == sorted([*cw.__all__, *python_names.RETURNED])


# --- Names and units -----------------------------------------------------------------------------


def _names(page: Path) -> Iterator[str]:
    for found in DOTTED.finditer(page.read_text("utf-8")):
        if found[1].split(".")[0] in ROOMS:
            yield found[1]


def _stands_for_something(dotted: str) -> bool:
    """Whether a name is a module of the package, or something in one."""
    steps = dotted.split(".")
    for length in range(len(steps), 0, -1):
        try:
            thing: object = importlib.import_module(".".join(["conewright", *steps[:length]]))
        except ModuleNotFoundError:
            continue
        try:
            for step in steps[length:]:
                thing = getattr(thing, step)
        except AttributeError:
            return False
        return True
    return False


def test_every_name_of_the_code_in_the_docs_is_there() -> None:
    found = {(page.name, name) for page in WRITTEN_BY_HAND for name in _names(page)}
    assert len(found) > 40
    assert [each for each in sorted(found) if not _stands_for_something(each[1])] == []


def _units() -> dict[str, set[str]]:
    """Return the units that the docstrings of the physics give to each argument."""
    units: dict[str, set[str]] = defaultdict(set)
    given = re.compile(r"^\s*(\w+): [^\[\n]*(?:\n[^\[\n:]*)?\[([^\]]+)\]", re.MULTILINE)
    listed = re.compile(r"((?:\w+ )+)\[([^\]]+)\]")
    for path in sorted((SOURCE / "physics").rglob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        nodes = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.ClassDef)]
        for text in (ast.get_docstring(node) or "" for node in nodes):
            for name, unit in given.findall(text):
                units[name].add(unit)
        for names, unit in listed.findall(ast.get_docstring(tree) or ""):
            for name in names.split():
                units[name].add(unit)
    return units


def _nomenclature() -> Iterator[tuple[str, str]]:
    """Yield the name and the unit of each quantity of the page."""
    for line in NOMENCLATURE.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        names = re.findall(r"`(\w+)`", cells[-1])
        if len(cells) == 4 and names:
            units = cells[2].split(", ")
            yield from zip(names, units if len(units) > 1 else units * len(names), strict=True)


def test_quantities_have_the_units_that_the_physics_gives_them() -> None:
    known, told = _units(), list(_nomenclature())
    assert len(told) > 40
    assert [(name, unit) for name, unit in told if unit not in known[name]] == []


# --- Links ---------------------------------------------------------------------------------------


def _anchors(page: Path) -> set[str]:
    text = re.sub(r"^```.*?^```", "", page.read_text("utf-8"), flags=re.DOTALL | re.MULTILINE)
    return {markdown.slug(head) for head in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}


@pytest.mark.parametrize("page", READ_BY_HAND, ids=_name)
def test_links_lead_somewhere(page: Path) -> None:
    dead = []
    for link in LINK.finditer(page.read_text("utf-8")):
        path, _, anchor = link["target"].partition("#")
        if path.startswith("https:"):
            continue
        target = (page.parent / path) if path else page
        if not target.is_file() or (anchor and anchor not in _anchors(target)):
            dead.append(link["target"])
    assert dead == []


# --- How a page is written -----------------------------------------------------------------------


def test_what_a_docstring_holds_is_read_as_it_is_written() -> None:
    assert markdown.paragraph("R_load [ohm] of `door-f?.*`, a < b") == (
        r"R\_load \[ohm\] of `door-f?.*`, a \< b"
    )
    rows = list(markdown.table(("a", "b"), [("`x | y`", "z")]))
    assert rows[-1] == r"| `x \| y` | z |"
    text = "Say.\n\nArgs:\n    one: of two\n        lines.\n    other: of one.\n\n>>> 1 + 1\n2"
    assert list(markdown.docstring(text)) == [
        *("Say.", ""),
        *("**Arguments**", "", "- `one`: of two lines.", "- `other`: of one.", ""),
        *("```pycon", ">>> 1 + 1\n2", "```", ""),
    ]


def test_what_a_field_takes_is_said_in_words() -> None:
    part = {"properties": {"size": {"type": "string", "x-dimension": "mechanical-resistance"}}}
    tables = schemas.Tables({"HeadUnit": part}, {}, asked=True)
    maybe = {"anyOf": [{"$ref": "#/$defs/HeadUnit"}, {"type": "null"}]}
    assert tables.values(maybe) == "[head unit](#head-unit)"
    many = {"type": "array", "items": {"type": "integer", "minimum": 1}, "maxItems": 3}
    assert tables.values(many) == "list, at most 3, of whole number (1 or more)"
    assert tables.values(part["properties"]["size"] | {"examples": ["1 kg/s"]}) == (
        "mechanical resistance: `1 kg/s`"
    )
    given = schemas.Tables({}, {}, asked=False)
    assert given.values({"anyOf": [{"type": "number"}, {"type": "null"}]}) == "number or null"


def test_a_field_that_another_stands_in_for_says_so() -> None:
    page = (DOCS / "reference" / "job-file.md").read_text("utf-8")
    location = page.split("## Location")[1].split("## ")[0]
    rows = {row.split("`")[1]: row for row in location.splitlines() if row.startswith("| `")}
    assert "| never |" in rows["id"]
    assert "| with `like` |" in rows["driver"]
    assert "| yes |" in rows["like"]
