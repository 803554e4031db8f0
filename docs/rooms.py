"""The rooms of the house and the modules in them, each with the first words of its own."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from docs.markdown import paragraph, table

__all__ = ["rooms_page"]

SOURCE = Path(__file__).resolve().parent.parent / "src" / "conewright"
# Made by the rule of a library, and told in the text.
UNTOLD = {"migrations"}


def rooms_page() -> Iterator[str]:
    """Yield the page of the rooms."""
    yield from ("# The rooms", "")
    yield (
        "Every package of the house with the sentence that says what it is for, and its modules. "
        "A room imports only from those that [the architecture](../architecture.md) puts before it."
    )
    yield ""
    for folder in sorted(path.parent for path in SOURCE.rglob("__init__.py")):
        if UNTOLD.isdisjoint(folder.parts):
            yield from _room(folder)


def _room(folder: Path) -> Iterator[str]:
    name = "/".join(folder.relative_to(SOURCE.parent).parts)
    yield from (f"## {name}", "")
    yield from (paragraph(_first_words(folder / "__init__.py")), "")
    modules = sorted(path for path in folder.glob("*.py") if path.stem != "__init__")
    if modules:
        rows = ((f"`{path.stem}`", paragraph(_first_words(path))) for path in modules)
        yield from (*table(("module", "holds"), rows), "")


def _first_words(path: Path) -> str:
    told = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return told.split("\n\n")[0]
