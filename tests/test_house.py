"""The rules of the house, held against the source text itself."""

import ast
import csv
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "conewright"
MODULES = sorted(SOURCE.rglob("*.py"))
# validity.py is left out: its keywords are names for the message, not arguments.
PHYSICS = [path for path in sorted((SOURCE / "physics").rglob("*.py")) if path.stem != "validity"]
FOUNDATION = {"errors", "physics", "job", "stages"}
VIEWS = {"papers", "pictures", "store"}
# Which rooms each room may import from, itself aside. "__init__" is the front door.
MAY_IMPORT = {
    "errors": set(),
    "physics": {"errors"},
    "job": {"errors", "physics"},
    "stages": {"errors", "physics", "job"},
    "papers": FOUNDATION | {"pictures"},
    "pictures": FOUNDATION,
    "store": FOUNDATION,
    "__init__": FOUNDATION | VIEWS | {"web"},
    "cli": FOUNDATION | VIEWS | {"__init__"},
    "web": FOUNDATION | VIEWS | {"__init__"},
    "__main__": {"cli"},
}
# Modules that are run and not imported: by Python, and by alembic.
RUN_ONLY = {"__main__", "env"}
SLOW_LIBRARIES = {"scipy", "matplotlib", "mpl_toolkits", "typst", "ezdxf", "shapely", "segno"}
LONGEST_MODULE = 600
LONGEST_BODY = 60
MOST_METHODS = 15

Function = ast.FunctionDef | ast.AsyncFunctionDef


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _room(parts: list[str]) -> str:
    """First name under the package: a room, or the front door for a name it re-exports."""
    return parts[0] if parts and parts[0] in MAY_IMPORT else "__init__"


def _imported_rooms(tree: ast.Module, package: list[str]) -> set[str]:
    """Rooms of conewright a module imports; `package` is the dotted package it lives in."""
    names: list[list[str]] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [alias.name.split(".") for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) + 1 - node.level] if node.level else []
            base = base + (node.module.split(".") if node.module else [])
            names += [[*base, alias.name] for alias in node.names]
    return {_room(name[1:]) for name in names if name[0] == "conewright"}


def _outside_functions(node: ast.AST) -> Iterator[ast.AST]:
    """Nodes that run when the module is imported."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, Function | ast.Lambda):
            continue
        if isinstance(child, ast.If) and ast.unparse(child.test).endswith("TYPE_CHECKING"):
            continue
        yield child
        yield from _outside_functions(child)


def _top_level_libraries(tree: ast.Module) -> set[str]:
    found: set[str] = set()
    for node in _outside_functions(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            found.add(node.module.split(".")[0])
    return found


def _functions(tree: ast.AST) -> Iterator[Function]:
    return (node for node in ast.walk(tree) if isinstance(node, Function))


def _body_lines(function: Function) -> int:
    first = 1 if ast.get_docstring(function) is not None else 0
    body = function.body[first:]
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def _public(tree: ast.AST) -> Iterator[Function | ast.ClassDef]:
    """Public functions and classes of a module, and the public methods of those classes."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from _public(node)


def _positional(function: Function) -> list[ast.arg]:
    arguments = [*function.args.posonlyargs, *function.args.args]
    return [argument for argument in arguments if argument.arg not in {"self", "cls"}]


def _arguments_can_be_swapped(function: Function) -> bool:
    """Whether two arguments go by place, or a misspelt keyword goes unnoticed."""
    variadic = function.args.vararg or function.args.kwarg
    return len(_positional(function)) > 1 or variadic is not None


def _run(code: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


# --- The rules -------------------------------------------------------------------------------


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_a_module_imports_only_from_rooms_before_its_own(path: Path) -> None:
    inside = list(path.relative_to(SOURCE).with_suffix("").parts)
    own = inside[0]
    assert own in MAY_IMPORT, f"{own} is no room of the house"
    rooms = _imported_rooms(_tree(path), ["conewright", *inside[:-1]])
    assert rooms <= MAY_IMPORT[own] | {own}


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_no_import_hides_in_a_string(path: Path) -> None:
    called = {
        ast.unparse(node.func).split(".")[-1]
        for node in ast.walk(_tree(path))
        if isinstance(node, ast.Call)
    }
    assert called.isdisjoint({"__import__", "import_module", "eval", "exec"})


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_slow_libraries_are_imported_only_inside_functions(path: Path) -> None:
    assert _top_level_libraries(_tree(path)).isdisjoint(SLOW_LIBRARIES)


def test_importing_every_module_loads_no_slow_library() -> None:
    dotted = [
        ".".join(path.relative_to(SOURCE.parent).with_suffix("").parts).removesuffix(".__init__")
        for path in MODULES
        if path.stem not in RUN_ONLY
    ]
    imports = "; ".join(f"import {name}" for name in dotted)
    loaded = set(_run(f"import sys; {imports}; print(*sys.modules)").split())
    assert "conewright.physics" in loaded
    assert loaded.isdisjoint(SLOW_LIBRARIES)


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_modules_functions_and_classes_stay_short(path: Path) -> None:
    tree = _tree(path)
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE
    assert [f.name for f in _functions(tree) if _body_lines(f) > LONGEST_BODY] == []
    classes = [node for node in ast.walk(tree) if isinstance(node, ast.ClassDef)]
    assert [c.name for c in classes if len(list(_public(c))) > MOST_METHODS] == []


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_everything_public_says_what_it_is(path: Path) -> None:
    assert [node.name for node in _public(_tree(path)) if not ast.get_docstring(node)] == []


@pytest.mark.parametrize("path", PHYSICS, ids=_name)
def test_physical_arguments_are_keyword_only(path: Path) -> None:
    public = (node for node in _public(_tree(path)) if not isinstance(node, ast.ClassDef))
    assert [f.name for f in public if _arguments_can_be_swapped(f)] == []


def test_every_row_of_data_names_its_source() -> None:
    nameless = []
    for path in sorted(SOURCE.rglob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for number, row in enumerate(csv.DictReader(file), start=1):
                if not (row.get("source") or "").strip():
                    nameless.append(f"{_name(path)} row {number}")
    assert nameless == []


def _texts() -> Iterator[Path]:
    """Every file of ours: what the set-up or a run leaves behind is not."""
    yield from (path for path in sorted(ROOT.iterdir()) if path.is_file())
    for folder in (".ci", "src", "tests", "benchmarks", "docs"):
        for path in sorted((ROOT / folder).rglob("*")):
            if path.is_file() and not re.search(r"__pycache__|\.egg-info", str(path)):
                yield path


def test_texts_hold_no_private_path_and_no_unfinished_work() -> None:
    # Put together here so that this file passes its own test.
    folders = "|".join(f"(?<![\\w.*])/{name}/" for name in ("work", "tmp", "root", "home"))
    marks = "|".join(("TO" + "DO", "FIX" + "ME", "X" * 3))
    forbidden = re.compile(rf"{folders}|\b(?:{marks})\b".encode())
    found = {
        f"{_name(path)}: {match[0].decode()}"
        for path in _texts()
        for match in forbidden.finditer(path.read_bytes())
    }
    assert found == set()


def test_the_patterns_shown_to_contributors_are_the_real_code() -> None:
    page = (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")
    shown = re.findall(r"^From `(.+?)`:\n\n```python\n(.*?)```", page, re.DOTALL | re.MULTILINE)
    assert len(shown) == page.count("```python") >= 2
    assert [name for name, code in shown if code not in (ROOT / name).read_text("utf-8")] == []


# --- The rules bite --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "rooms"),
    [
        ("import conewright.stages.feed", {"stages"}),
        ("from conewright.cli import main", {"cli"}),
        ("from conewright import stages", {"stages"}),
        ("from conewright import feed", {"__init__"}),
        ("import conewright as cw", {"__init__"}),
        ("from . import air", {"physics"}),
        ("from .air import Air", {"physics"}),
        ("from ..job.quantity import Quantity", {"job"}),
        ("from .. import web", {"web"}),
        ("def f():\n    from conewright.store import shelf", {"store"}),
        ("import numpy as np", set()),
    ],
)
def test_every_form_of_import_is_seen(line: str, rooms: set[str]) -> None:
    assert _imported_rooms(ast.parse(line), ["conewright", "physics"]) == rooms


@pytest.mark.parametrize(
    ("line", "seen"),
    [
        ("import scipy.optimize", True),
        ("try:\n    from matplotlib import pyplot\nexcept ImportError:\n    pass", True),
        ("class A:\n    import scipy", True),
        ("def f():\n    import scipy", False),
        ("if TYPE_CHECKING:\n    from matplotlib.figure import Figure", False),
    ],
)
def test_slow_imports_are_seen_where_they_run(line: str, seen: bool) -> None:
    assert bool(_top_level_libraries(ast.parse(line)) & SLOW_LIBRARIES) is seen


@pytest.mark.parametrize(
    ("signature", "refused"),
    [
        ("f(*, mass: Real, area: FloatArray)", False),
        ("f(gauge: Real, *, temperature: Real)", False),
        ("f(self, known: Mapping[str, Real], *, air: Air)", False),
        ("f(mass: Real, area: Real)", True),
        ("f(mass: Real, /, area: Real)", True),
        ("f(*masses: Real)", True),
        ("f(**masses: Real)", True),
    ],
)
def test_swappable_arguments_are_seen(signature: str, refused: bool) -> None:
    function = next(_functions(ast.parse(f"def {signature}: ...")))
    assert _arguments_can_be_swapped(function) is refused
