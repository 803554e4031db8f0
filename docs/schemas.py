"""A JSON Schema as tables: a section for each kind of object, a row for each of its fields."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from docs.markdown import paragraph, slug, table

__all__ = ["Tables", "objects", "title_of"]

Schema = Mapping[str, Any]
WIDEST = 1_000_000
"""A limit of this size guards the program and tells a reader nothing."""


def title_of(name: str) -> str:
    """Return the heading of an object: `HeadUnit` is `Head unit`."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name.rpartition(".")[2]).capitalize()


def objects(schema: Schema, definitions: Mapping[str, Schema]) -> dict[str, list[str]]:
    """Return the objects that a schema leads to, nearest first, each with the paths to it.

    A path has `[]` behind a list: `location[].mount`.
    """
    found: dict[str, list[str]] = {}
    waiting = [(schema, "")]
    while waiting:
        holder, path = waiting.pop(0)
        for field, kind in holder["properties"].items():
            for name, is_list in _targets(kind):
                if "properties" not in definitions[name]:
                    continue
                step = f"{path}.{field}".lstrip(".") + ("[]" if is_list else "")
                found.setdefault(name, []).append(step)
                waiting.append((definitions[name], step))
    return found


def _targets(kind: Schema, is_list: bool = False) -> Iterator[tuple[str, bool]]:
    if "$ref" in kind:
        yield kind["$ref"].rpartition("/")[2], is_list
    for each in kind.get("anyOf", ()):
        yield from _targets(each, is_list)
    for inside in ("items", "additionalProperties"):
        if isinstance(kind.get(inside), Mapping):
            yield from _targets(kind[inside], inside == "items" or is_list)


@dataclass(frozen=True, slots=True)
class Tables:
    """Writes what the objects of a schema hold.

    Attributes:
        definitions: the objects by name.
        elsewhere: where an object has its section, if not under its own heading on this page.
        asked: whether somebody writes these objects and may leave fields out; else they are given.

    """

    definitions: Mapping[str, Schema]
    elsewhere: Mapping[str, str]
    asked: bool

    def section(self, schema: Schema) -> Iterator[str]:
        """Yield what an object is, and its fields."""
        yield paragraph(schema.get("description", ""))
        yield ""
        left_out = _left_out(schema)
        rows = []
        for field, kind in schema["properties"].items():
            cells = [f"`{field}`", self.values(kind), self._meaning(kind)]
            if self.asked:
                cells.insert(2, left_out.get(field, _default(kind)))
            rows.append(cells)
        heads = ("field", "takes", "left out", "what it is")
        yield from table(heads if self.asked else (heads[0], "holds", heads[3]), rows)
        yield ""

    def values(self, kind: Schema) -> str:
        """Return what a field holds, with examples, in words."""
        said, shown = self._kind(kind), _examples(kind)
        return f"{said}: {shown}" if shown else said

    def link(self, name: str) -> str:
        """Return a link to the section of an object."""
        title = title_of(name)
        return f"[{title.lower()}]({self.elsewhere.get(name, f'#{slug(title)}')})"

    def _meaning(self, kind: Schema) -> str:
        """Return what a field says of itself, or else what the object in it is."""
        if "description" in kind:
            return paragraph(kind["description"])
        names = [name for name, _ in _targets(kind)]
        return paragraph(self.definitions[names[0]].get("description", "")) if names else ""

    def _kind(self, kind: Schema) -> str:
        if "$ref" in kind:
            name = kind["$ref"].rpartition("/")[2]
            target = self.definitions[name]
            return self.link(name) if "properties" in target else self._kind(target)
        if "anyOf" in kind:
            kinds = [each for each in kind["anyOf"] if each.get("type") != "null"]
            said = list(dict.fromkeys(map(self._kind, kinds)))
            null = [] if self.asked or len(kinds) == len(kind["anyOf"]) else ["null"]
            return " or ".join([*said, *null])
        if "enum" in kind or "const" in kind:
            return ", ".join(f"`{value}`" for value in kind.get("enum", [kind.get("const")]))
        if "x-dimension" in kind:
            return str(kind["x-dimension"]).replace("-", " ")
        return self._plain(kind)

    def _plain(self, kind: Schema) -> str:
        name = kind.get("type")
        if isinstance(name, list):
            return " or ".join(self._plain({"type": each}) for each in name)
        if name == "array":
            return self._list(kind)
        if name == "string":
            times = {"date": "date", "date-time": "date and time"}
            return "id" if "pattern" in kind else times.get(kind.get("format", ""), "text")
        if name in ("number", "integer"):
            return ("whole number" if name == "integer" else "number") + _limits(kind)
        if name == "object" and any("properties" in self.definitions[n] for n, _ in _targets(kind)):
            return f"table of {self._kind(kind['additionalProperties'])}"
        return {"boolean": "`true` or `false`", "object": "table"}.get(str(name), "any value")

    def _list(self, kind: Schema) -> str:
        if "prefixItems" in kind:
            return f"list of {len(kind['prefixItems'])}: {self._kind(kind['prefixItems'][0])}"
        low, high = kind.get("minItems"), kind.get("maxItems")
        counts = {
            (False, False): "list of",
            (True, False): f"list, {low} or more, of",
            (False, True): f"list, at most {high}, of",
            (True, True): f"list, {low} to {high}, of",
        }
        item = self._kind(kind.get("items", {}))
        each = f"({item})" if item.endswith(" or null") else item
        return f"{counts[low is not None, high is not None]} {each}"


def _left_out(schema: Schema) -> dict[str, str]:
    """Return the fields that may never be left out, or only with another in their place."""
    ways = [set(way["required"]) for way in schema.get("anyOf", ())]
    always = set(schema.get("required", ())).union(set.intersection(*ways) if ways else ())
    told = dict.fromkeys(always, "never")
    for way, other in pairwise(ways):
        stand_ins = " and ".join(f"`{field}`" for field in sorted(other - always))
        told |= dict.fromkeys(way - always, f"with {stand_ins}")
    return told


def _default(kind: Schema) -> str:
    value = kind.get("default")
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    return f"`{value}`" if isinstance(value, str | int | float) and value != "" else "yes"


def _examples(kind: Schema) -> str:
    for each in (kind, *kind.get("anyOf", ()), kind.get("items", {})):
        if isinstance(each, Mapping) and each.get("examples"):
            return ", ".join(f"`{_example(value)}`" for value in each["examples"])
    return ""


def _example(value: object) -> str:
    if isinstance(value, Mapping):
        told = (f'"{name}" = {_in_table(each)}' for name, each in value.items())
        return f"{{ {', '.join(told)} }}"
    return str(value)


def _in_table(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else f'"{value}"'


def _limits(kind: Schema) -> str:
    low, high = kind.get("minimum"), kind.get("maximum")
    above = kind.get("exclusiveMinimum")
    parts = [f"above {above:g}"] if above is not None else []
    if low is not None and high is not None and high < WIDEST:
        parts.append(f"{low:g} to {high:g}")
    elif low is not None:
        parts.append(f"{low:g} or more")
    elif high is not None:
        parts.append(f"at most {high:g}")
    return f" ({', '.join(parts)})" if parts else ""
