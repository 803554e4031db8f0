"""The rules of the house, held against the source text itself."""

import ast
import csv
import re
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "conewright"
MODULES = sorted(SOURCE.rglob("*.py"))
# validity.py is left out: its keywords are names for the message, not arguments.
PHYSICS = [path for path in sorted((SOURCE / "physics").rglob("*.py")) if path.stem != "validity"]
# From the ground up: a room imports from those before it, never from one behind or beside it.
FLOORS = (
    ("data_files", "errors", "phrases", "shown", "version"),
    ("whole_file",),
    ("physics",),
    ("sound",),
    ("job",),
    ("catalogue",),
    ("stages",),
    ("views",),
    ("pictures", "store"),
    ("papers",),
    ("web",),
    ("cli",),
    ("__init__",),
    ("__main__",),
)
LEAVES = (*FLOORS[0], *FLOORS[1])
FEWEST, MOST = 3, 12
# The front of the house, and the migrations, of which there are as many as there were versions.
ANY_SIZE = {"conewright", "conewright.store.migrations", "conewright.store.migrations.versions"}
SHORT = 60
# Names that stand in several rooms, and the part they play in each.
PARTS = {
    "app": "puts the commands, or the pages and doors, together",
    "errors": "what a room refuses",
    "sheet": "a sheet of paper, as it is set",
    "stage": "the stage itself",
    "verdicts": "what a stage says in words",
}
# Their modules are called after what they draw, show or do.
CALLED_AFTER_A_SUBJECT = {
    "conewright.pictures",
    "conewright.web.pages",
    "conewright.cli.commands",
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


def _dotted(path: Path) -> str:
    parts = path.relative_to(SOURCE.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


BY_NAME = {_dotted(path): path for path in MODULES}


def _imports(tree: ast.Module, package: str) -> set[str]:
    """Modules of ours that a module imports, also inside a function or for types alone."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: len(package.split(".")) + 1 - node.level]
            base = ".".join([*(above if node.level else []), *filter(None, [node.module])])
            inside = (f"{base}.{alias.name}" for alias in node.names)
            found |= {name if name in BY_NAME else base for name in inside}
    return {name for name in found if name.split(".")[0] == "conewright"}


def _room_of(name: str) -> str:
    """The folder a module stands in; a leaf of the house is a room to itself."""
    path = BY_NAME[name]
    leaf = path.parent == SOURCE and path.stem in LEAVES
    return name if leaf or path.name == "__init__.py" else name.rpartition(".")[0]


def _floor(name: str) -> int:
    inside = name.split(".")[1:2] or ["__init__"]
    return next(level for level, rooms in enumerate(FLOORS) if inside[0] in rooms)


IMPORTS = {
    name: _imports(_tree(path), name if path.name == "__init__.py" else name.rpartition(".")[0])
    for name, path in BY_NAME.items()
}


def _circles(arrows: Mapping[str, Iterable[str]]) -> list[str]:
    """What is left when every node from which no arrow leads on has been taken out."""
    left = {name: set(ends) - {name} for name, ends in arrows.items()}
    while done := {name for name, ends in left.items() if not ends & left.keys()}:
        left = {name: ends for name, ends in left.items() if name not in done}
    return sorted(left)


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


def _first_paragraph(room: str) -> str:
    return (ast.get_docstring(_tree(BY_NAME[room])) or "").split("\n\n")[0]


def _is_one_sentence(text: str) -> bool:
    return re.fullmatch(r"[^.]+\.", text) is not None


def _taken(tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Names that a module takes from others of ours, each with the module it stands in."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module in BY_NAME:
            taken = (alias.name for alias in node.names)
            yield from ((node.module, n) for n in taken if f"{node.module}.{n}" not in BY_NAME)


def _listed(tree: ast.Module) -> list[str] | None:
    """Names in a module's `__all__`."""
    for node in tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            return list(ast.literal_eval(node.value))
    return None


def _run(code: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


# --- The rules -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", BY_NAME)
def test_no_arrow_leads_upward_or_sideways(name: str) -> None:
    own = name.split(".")[1:2]
    others = {other for other in IMPORTS[name] if other.split(".")[1:2] != own}
    assert {other for other in others if _floor(other) >= _floor(name)} == set()


def test_there_is_no_circle_of_modules_or_of_rooms() -> None:
    assert _circles(IMPORTS) == []
    rooms: dict[str, set[str]] = {}
    for name, others in IMPORTS.items():
        rooms.setdefault(_room_of(name), set()).update(map(_room_of, others))
    assert _circles(rooms) == []


def test_a_room_has_three_to_twelve_modules_and_says_what_it_is_for() -> None:
    held = Counter(name.rpartition(".")[0] for name in BY_NAME if name != "conewright")
    sizes = {room: size for room, size in held.items() if room not in ANY_SIZE}
    assert {room: size for room, size in sizes.items() if not FEWEST <= size <= MOST} == {}
    assert [room for room in held if not _is_one_sentence(_first_paragraph(room))] == []


def test_no_short_module_serves_its_neighbour_alone() -> None:
    alone = []
    for name, path in BY_NAME.items():
        users = [user for user, others in IMPORTS.items() if name in others]
        lines = path.read_text(encoding="utf-8").count("\n")
        if path.stem != "__init__" and lines < SHORT and len(users) == 1:
            beside = _room_of(users[0]) == _room_of(name) and BY_NAME[users[0]].stem != "__init__"
            alone += [name] if beside else []
    assert alone == []


def test_a_name_stands_once_or_plays_the_same_part_everywhere() -> None:
    ours = [name for name, path in BY_NAME.items() if path.stem != "__init__"]
    counted = Counter(
        name.rpartition(".")[2] for name in ours if _room_of(name) not in CALLED_AFTER_A_SUBJECT
    )
    assert {name for name, times in counted.items() if times > 1} <= PARTS.keys()


def test_what_another_module_takes_is_listed() -> None:
    listed = {name: _listed(_tree(path)) for name, path in BY_NAME.items()}
    taken = {each for path in MODULES for each in _taken(_tree(path))}
    assert len(taken) > 500
    assert [(m, name) for m, name in sorted(taken) if name not in (listed[m] or ())] == []


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
    yield from (path for path in sorted(ROOT.iterdir()) if path.is_file() and path.name != ".git")
    for folder in (".ci", "src", "tests", "attack", "benchmarks", "docs"):
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


def test_no_test_measures_time() -> None:
    clocks = re.compile(r"\b(?:monotonic|perf_counter|process_time|time\.time)(?:_ns)?\(")
    found = {
        f"{_name(path)}: {match[0]}"
        for path in (ROOT / "tests").rglob("*.py")
        for match in clocks.finditer(path.read_text(encoding="utf-8"))
    }
    assert found == set()


def test_this_version_stands_in_the_change_log() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    log = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    sections = re.findall(r"^## \[(.+?)\](?: - (\d{4}-\d\d-\d\d))?$", log, re.MULTILINE)
    assert sections[0] == ("Unreleased", "")
    assert project["version"] == sections[1][0]
    days = [day for _, day in sections[1:]]
    assert all(days)
    assert days == sorted(days, reverse=True)


def test_the_patterns_shown_to_contributors_are_the_real_code() -> None:
    page = (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")
    shown = re.findall(r"^From `(.+?)`:\n\n```python\n(.*?)```", page, re.DOTALL | re.MULTILINE)
    assert len(shown) == page.count("```python") >= 2
    assert [name for name, code in shown if code not in (ROOT / name).read_text("utf-8")] == []


# --- The rules bite --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "modules"),
    [
        ("import conewright.physics.drivers.coil", {"conewright.physics.drivers.coil"}),
        ("from conewright.cli import main", {"conewright.cli"}),
        ("from conewright import stages", {"conewright.stages"}),
        ("from conewright import feed", {"conewright"}),
        ("import conewright as cw", {"conewright"}),
        ("from . import air", {"conewright.physics.basics.air"}),
        ("from .air import Air", {"conewright.physics.basics.air"}),
        ("from ...job.document import paths", {"conewright.job.document.paths"}),
        ("from ... import web", {"conewright.web"}),
        ("def f():\n    from conewright.store import Store", {"conewright.store"}),
        ("if TYPE_CHECKING:\n    from conewright.store import Store", {"conewright.store"}),
        ("import numpy as np", set()),
    ],
)
def test_every_form_of_import_is_seen(line: str, modules: set[str]) -> None:
    assert _imports(ast.parse(line), "conewright.physics.basics") == modules


@pytest.mark.parametrize(
    ("text", "one"),
    [("What nature does.", True), ("", False), ("One. Two.", False), ("No stop", False)],
)
def test_a_sentence_is_seen(text: str, one: bool) -> None:
    assert _is_one_sentence(text) is one


@pytest.mark.parametrize(
    ("arrows", "circle"),
    [
        ({"a": {"b"}, "b": {"c"}, "c": set()}, []),
        ({"a": {"b"}, "b": {"c"}, "c": {"b"}}, ["a", "b", "c"]),
        ({"a": {"a"}}, []),
        ({"a": {"elsewhere"}}, []),
    ],
)
def test_circles_are_seen(arrows: dict[str, set[str]], circle: list[str]) -> None:
    assert _circles(arrows) == circle


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
