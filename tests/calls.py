"""A walk over the source text of a package: what leads where, from some doors inward.

A name leads to what it is bound to, and an attribute `.foo` to every `foo` of a class that is
reached: what may be a call counts as one. So does what a decorator hands to somebody (commands,
pages, validators) and what a library calls on its heirs.
"""

import ast
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

# Decorators that leave a function to its callers; every other one hands it to somebody.
PLAIN = {
    *("abstractmethod", "asynccontextmanager", "cache", "cached_property", "classmethod"),
    *("contextmanager", "dataclass", "lru_cache", "overload", "property", "staticmethod", "wraps"),
}
# Outside classes that call nothing on their own; the methods of any other heir may be called.
IDLE = {"ABC", "BaseModel", "Exception", "Generic", "NamedTuple", "Protocol", "StrEnum"}
# What names an attribute by a string.
BY_STRING = {"attrgetter", "getattr", "hasattr", "methodcaller"}

Function = ast.FunctionDef | ast.AsyncFunctionDef
Definition = Function | ast.ClassDef


class Place(NamedTuple):
    """A definition, or the module itself where the name is empty."""

    module: str
    name: str = ""

    def __str__(self) -> str:
        return f"{self.module}.{self.name}"

    def inner(self, name: str) -> "Place":
        return Place(self.module, f"{self.name}.{name}" if self.name else name)

    @property
    def owner(self) -> "Place":
        return Place(self.module, self.name.rpartition(".")[0])


Names: TypeAlias = Mapping[str, Place | None]


@dataclass
class Uses:
    """What a piece of source reaches: places, and attributes of who knows what."""

    places: set[Place] = field(default_factory=set)
    attributes: set[str] = field(default_factory=set)

    def add(self, place: Place | None) -> None:
        if place is not None:
            self.places.add(place)


class House:
    """All modules of a package, by dotted name."""

    def __init__(self, sources: Mapping[str, str]) -> None:
        self.trees = {name: ast.parse(text) for name, text in sources.items()}
        self.definitions = {place: node for name in self.trees for place, node in self._in(name)}
        self.names: dict[str, dict[str, Place | None]] = {name: {} for name in self.trees}
        for module, tree in self.trees.items():
            self.names[module] = self._imported(tree.body, module)
        for place in self.definitions:
            if "." not in place.name:
                self.names[place.module][place.name] = place

    def unreached(self, doors: Iterable[Place], attributes: Iterable[str] = ()) -> list[str]:
        """Definitions that nothing leads to from the doors."""
        waiting, found, called = list(doors), set[Place](), set(attributes)
        while waiting:
            while waiting:
                place = waiting.pop()
                if place not in found:
                    found.add(place)
                    uses = self._uses(place)
                    called |= uses.attributes
                    package = place.module.rpartition(".")[0]
                    above = [Place(package)] if package in self.trees else []
                    waiting += [Place(place.module), *above, *uses.places]
            waiting = [
                place
                for place in self.definitions
                if place not in found and place.owner.name and place.owner in found
                if place.name.rpartition(".")[2] in called
            ]
        return sorted(str(place) for place in self.definitions if place not in found)

    def resolve(self, place: Place) -> Place | None:
        """Follow a name through re-exports to where it is defined."""
        if place in self.definitions or (not place.name and place.module in self.trees):
            return place
        if (module := f"{place.module}.{place.name}") in self.trees:
            return Place(module)
        bound = self.names.get(place.module, {}).get(place.name)
        return None if bound is None or bound == place else self.resolve(bound)

    def bases(self, place: Place) -> Iterator[Place]:
        """Classes of the package that a class inherits from, however far up."""
        node = self.definitions.get(place)
        for base in node.bases if isinstance(node, ast.ClassDef) else []:
            if found := self._at(base, self.names[place.module]):
                yield found
                yield from self.bases(found)

    def given_by(self, place: Place) -> Iterator[Place]:
        """Classes of the package whose instances a function, or a method of a class, returns."""
        node = self.definitions.get(place)
        functions = _functions(node.body) if isinstance(node, ast.ClassDef) else [node]
        for function in functions:
            if isinstance(function, Function) and function.returns is not None:
                for name in ast.walk(function.returns):
                    if isinstance(name, ast.Name) and (
                        found := self._at(name, self.names[place.module])
                    ):
                        yield found

    def _in(self, module: str) -> Iterator[tuple[Place, ast.stmt]]:
        for node in _statements(self.trees[module].body):
            for name in _defined(node):
                yield Place(module, name), node
            if isinstance(node, ast.ClassDef):
                for method in _functions(node.body):
                    yield Place(module, node.name).inner(method.name), method

    def _uses(self, place: Place) -> Uses:
        """What a definition leads to, or a module when it is imported."""
        uses, names = Uses(), self.names[place.module]
        tree = self.trees[place.module]
        if place.name:
            node = self.definitions[place]
            self._walk(node, place.module, names, uses)
            body = node.body if isinstance(node, ast.ClassDef) else []
            called = isinstance(node, ast.ClassDef) and self._has_callers(node, names)
        else:
            for statement in _statements(tree.body):
                if not any(True for _ in _defined(statement)):
                    self._walk(statement, place.module, names, uses)
            for choice in (each for each in tree.body if isinstance(each, ast.If)):
                self._walk(choice.test, place.module, names, uses)
            body, called = tree.body, False
        for inner in _functions(body):
            if called or _runs_by_itself(inner):
                uses.add(place.inner(inner.name))
        return uses

    def _has_callers(self, heir: ast.ClassDef, names: Names) -> bool:
        """Whether a class inherits from a library's that calls what the heir overrides."""
        bases = (
            ast.unparse(base).split("[")[0] for base in heir.bases if not self._at(base, names)
        )
        return any(base.split(".")[-1] not in IDLE for base in bases)

    def _walk(self, node: ast.AST, module: str, names: Names, uses: Uses) -> None:
        """Gather what a node uses; names of an inner function hide those outside it."""
        if isinstance(node, Function | ast.Lambda):
            inside = [node.body] if isinstance(node, ast.Lambda) else node.body
            names = {**names, **dict.fromkeys(_locals(node)), **self._imported(inside, module)}
        if isinstance(node, ast.Import | ast.ImportFrom):
            for bound in self._imported([node], module).values():
                if found := self.resolve(bound) if bound else None:
                    uses.add(Place(found.module))
        elif isinstance(node, ast.Name | ast.Attribute):
            uses.add(self._at(node, names))
            uses.attributes |= {node.attr} if isinstance(node, ast.Attribute) else set()
        elif isinstance(node, ast.Call) and _last(node.func) in BY_STRING:
            constants = (each.value for each in node.args if isinstance(each, ast.Constant))
            uses.attributes |= {value for value in constants if isinstance(value, str)}
        for child in ast.iter_child_nodes(node):
            # A method is reached by its own name.
            if not (isinstance(node, ast.ClassDef) and isinstance(child, Function)):
                self._walk(child, module, names, uses)

    def _at(self, node: ast.expr, names: Names) -> Place | None:
        """Where a name, or `module.name`, is defined, if it can be followed."""
        if isinstance(node, ast.Name):
            bound = names.get(node.id)
            return self.resolve(bound) if bound else None
        if isinstance(node, ast.Attribute):
            base = self._at(node.value, names)
            return self.resolve(base.inner(node.attr)) if base else None
        return None

    def _imported(self, nodes: Iterable[ast.AST], module: str) -> dict[str, Place | None]:
        """Names that imports bind, wherever below the nodes they stand outside functions."""
        bound: dict[str, Place | None] = {}
        for node in nodes:
            if isinstance(node, ast.ImportFrom):
                origin = self._origin(node, module)
                if origin in self.trees:
                    bound |= {a.asname or a.name: Place(origin, a.name) for a in node.names}
            elif isinstance(node, ast.Import):
                for alias in node.names:
                    whole = alias.name if alias.asname else alias.name.split(".")[0]
                    if alias.name in self.trees:
                        bound[alias.asname or whole] = Place(whole)
            elif not isinstance(node, Definition):
                bound |= self._imported(ast.iter_child_nodes(node), module)
        return bound

    def _origin(self, node: ast.ImportFrom, module: str) -> str:
        """Dotted name of the module that a `from` names, the dots of a relative one counted."""
        is_package = any(name.startswith(f"{module}.") for name in self.trees)
        path = module.split(".")
        kept = path[: len(path) + is_package - node.level] if node.level else []
        return ".".join([*kept, *([node.module] if node.module else [])])


def _statements(body: Iterable[ast.stmt]) -> Iterator[ast.stmt]:
    """Statements of a module or class, those in the arms of an `if` or `try` among them."""
    for node in body:
        if isinstance(node, ast.If | ast.Try):
            yield from _statements(n for n in ast.iter_child_nodes(node) if isinstance(n, ast.stmt))
        else:
            yield node


def _functions(body: Iterable[ast.stmt]) -> Iterator[Function]:
    return (node for node in _statements(body) if isinstance(node, Function))


def _defined(node: ast.stmt) -> Iterator[str]:
    """Names a statement of a module defines: a function, a class or constants."""
    if isinstance(node, Definition):
        yield node.name
    elif isinstance(node, ast.Assign | ast.AnnAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        names = (n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name))
        yield from (name for name in names if not _is_special(name))


def _locals(function: Function | ast.Lambda) -> set[str]:
    every = set(ast.walk(function))
    stored = {n.id for n in every if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
    inner = {n.name for n in every if isinstance(n, Definition) and n is not function}
    return {n.arg for n in every if isinstance(n, ast.arg)} | stored | inner


def _last(node: ast.expr) -> str:
    return ast.unparse(node.func if isinstance(node, ast.Call) else node).split(".")[-1]


def _is_special(name: str) -> bool:
    return re.fullmatch("__.*__", name) is not None


def _runs_by_itself(function: Function) -> bool:
    """Whether Python, a notebook, or whoever a decorator hands it to, calls a function."""
    handed = {_last(decorator) for decorator in function.decorator_list} - PLAIN
    shown = re.fullmatch("_repr_.*_", function.name) is not None
    return _is_special(function.name) or shown or bool(handed)
