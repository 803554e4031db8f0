"""The HTTP API from its own OpenAPI document: operations, and the bodies they give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from tempfile import TemporaryDirectory
from typing import Any

from conewright.store import Store
from conewright.web.app import create_app
from docs.markdown import paragraph, table
from docs.schemas import Tables, objects, title_of

__all__ = ["http_page"]

JSON = "application/json"
ELSEWHERE = {"Job": "job-file.md#the-file", "Report": "report.md#report"}
EVERYWHERE = ("414", "422", "503")


def http_page() -> Iterator[str]:
    """Yield the page of the HTTP API."""
    document = _document()
    definitions = document["components"]["schemas"]
    tables = Tables(definitions, ELSEWHERE, asked=False)
    yield from ("# HTTP", "")
    yield paragraph(
        "`conewright serve` answers these beside its pages; the machine-readable description is at "
        "`/api/v1/openapi.json`. A revision's name is its ETag: a change must say with `If-Match` "
        "which revision it started from, and a second change from the same one is refused."
    )
    yield ""
    told: dict[str, None] = {"ErrorBody": None}
    for path, operations in sorted(document["paths"].items()):
        for method, operation in operations.items():
            yield from (f"## {method.upper()} {path}", "", paragraph(operation["description"]), "")
            yield from _parameters(operation, definitions)
            yield from _sent(operation, tables)
            yield from _answers(operation, tables, told)
    yield from _refusals(document)
    yield from _bodies(told, definitions, tables)


def _document() -> Mapping[str, Any]:
    with (
        TemporaryDirectory() as folder,
        Store.open(f"sqlite:///{folder}/jobs.sqlite") as store,
    ):
        return create_app(store).openapi()


def _parameters(operation: Mapping[str, Any], definitions: Mapping[str, Any]) -> Iterator[str]:
    tables = Tables(definitions, ELSEWHERE, asked=True)
    rows = [
        (
            f"`{each['name']}`",
            each["in"],
            tables.values(each["schema"]),
            paragraph(each.get("description", "")),
        )
        for each in operation.get("parameters", ())
    ]
    if rows:
        yield from (*table(("parameter", "in", "takes", "what it is"), rows), "")


def _sent(operation: Mapping[str, Any], tables: Tables) -> Iterator[str]:
    if "requestBody" in operation:
        yield from (f"Body: {_contents(operation['requestBody']['content'], tables)}.", "")


def _answers(operation: Mapping[str, Any], tables: Tables, told: dict[str, None]) -> Iterator[str]:
    rows = []
    for status, answer in sorted(operation["responses"].items()):
        if status in EVERYWHERE:
            continue
        content = answer.get("content", {})
        told |= dict.fromkeys(_names(content))
        rows.append((status, paragraph(answer["description"]), _contents(content, tables)))
    yield from (*table(("status", "means", "body"), rows), "")


def _names(content: Mapping[str, Any]) -> Iterator[str]:
    for kind in content.values():
        name = kind.get("schema", {}).get("$ref", "").rpartition("/")[2]
        if name and name not in ELSEWHERE:
            yield name


def _contents(content: Mapping[str, Any], tables: Tables) -> str:
    return " or ".join(
        f"{tables.values(kind['schema'])} as `{name}`" if "$ref" in kind.get("schema", {})
        else f"`{name}`"
        for name, kind in content.items()
    )  # fmt: skip


def _refusals(document: Mapping[str, Any]) -> Iterator[str]:
    yield from ("## Refusals", "", "Every operation may also answer:", "")
    some = next(iter(next(iter(document["paths"].values())).values()))["responses"]
    rows = ((status, paragraph(some[status]["description"])) for status in EVERYWHERE)
    yield from (*table(("status", "means"), rows), "")


def _bodies(
    told: Mapping[str, None], definitions: Mapping[str, Any], tables: Tables
) -> Iterator[str]:
    names = dict(told)
    for name in told:
        names |= dict.fromkeys(objects(definitions[name], definitions))
    for name in names:
        yield from (f"## {title_of(name)}", "", *tables.section(definitions[name]))
