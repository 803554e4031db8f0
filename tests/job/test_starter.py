"""What comes with the package: the starter and demo files, and the schema, which all agree."""

import re
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from datetime import date
from typing import Any

import pytest

from conewright.job.builds.job import Job
from conewright.job.quantity.values import parse_quantity
from conewright.job.text.parsing import loads
from conewright.job.text.starter import demo_text, job_schema, starter_text

SCHEMA = job_schema()
TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,),
    "array": (list,),
    "string": (str,),
    "integer": (int,),
    "number": (int, float),
    "boolean": (bool,),
    "null": (type(None),),
}


def plain(raw: Any) -> Any:
    """TOML values as JSON ones: a day is a text."""
    if isinstance(raw, dict):
        return {key: plain(value) for key, value in raw.items()}
    if isinstance(raw, list):
        return [plain(value) for value in raw]
    return raw.isoformat() if isinstance(raw, date) else raw


def refusals(value: Any, schema: dict[str, Any]) -> list[str]:
    """What the schema refuses in a value; the keywords our schema uses, no more."""
    if "$ref" in schema:
        schema = SCHEMA["$defs"][schema["$ref"].removeprefix("#/$defs/")] | {
            key: each for key, each in schema.items() if key != "$ref"
        }
    found = list(_type_refusals(value, schema))
    if "anyOf" in schema and all(refusals(value, each) for each in schema["anyOf"]):
        found.append(f"anyOf: {value!r}")
    if isinstance(value, dict):
        found += _object_refusals(value, schema)
    if isinstance(value, list):
        found += _array_refusals(value, schema)
    return found


def _type_refusals(value: Any, schema: dict[str, Any]) -> Iterator[str]:
    kinds = schema.get("type", [])
    allowed = [kinds] if isinstance(kinds, str) else kinds
    types = tuple(each for kind in allowed for each in TYPES[kind])
    if types and (not isinstance(value, types) or (isinstance(value, bool) and bool not in types)):
        yield f"type: {value!r}"
    elif value not in schema.get("enum", [value]) or value != schema.get("const", value):
        yield f"choice: {value!r}"
    elif isinstance(value, str) and not re.search(schema.get("pattern", ""), value):
        yield f"pattern: {value!r}"
    elif isinstance(value, int | float) and not (
        schema.get("minimum", value) <= value <= schema.get("maximum", value)
        and value > schema.get("exclusiveMinimum", -1e99)
    ):
        yield f"range: {value!r}"


def _object_refusals(value: dict[str, Any], schema: dict[str, Any]) -> Iterator[str]:
    properties = schema.get("properties", {})
    yield from (f"required: {name}" for name in schema.get("required", []) if name not in value)
    for name, each in value.items():
        if name in properties:
            yield from refusals(each, properties[name])
        elif schema.get("additionalProperties") is False:
            yield f"unknown: {name}"


def _array_refusals(value: list[Any], schema: dict[str, Any]) -> Iterator[str]:
    first = schema.get("prefixItems", [])
    least, most = schema.get("minItems", 0), schema.get("maxItems", len(value))
    if not least <= len(value) <= most:
        yield f"length: {len(value)}"
    for index, each in enumerate(value):
        yield from refusals(each, first[index] if index < len(first) else schema.get("items", {}))


def fields() -> Iterator[tuple[str, dict[str, Any]]]:
    """Every field of every table of the schema."""
    for table, schema in {"Job": SCHEMA, **SCHEMA["$defs"]}.items():
        for name, field in schema.get("properties", {}).items():
            yield f"{table}.{name}", field


FILES = pytest.mark.parametrize("text", [starter_text(), demo_text()], ids=["starter", "demo"])


@FILES
def test_packaged_files_read(text: str) -> None:
    job = loads(text)
    assert job.proposals
    for proposal in job.proposals:
        assert job.with_proposal(proposal.id) != job


@FILES
def test_schema_accepts_packaged_files(text: str) -> None:
    raw = plain(tomllib.loads(text))
    assert refusals(raw, SCHEMA) == []
    assert refusals(loads(text).to_dict(), SCHEMA) == []


@pytest.mark.parametrize(
    ("steps", "value", "refusal"),
    [
        (("format",), 2, "choice"),
        (("colour",), "red", "unknown"),
        (("head_unit", "supply"), 13.8, "anyOf"),
        (("vehicle", "class"), "bus", "anyOf"),
        (("location", 0, "mount", "cut_out"), "1 mm", "unknown"),
        (("location", 0, "mount", "ring"), "yes", "anyOf"),
        (("location", 0, "at"), ["1 m"], "length"),
        (("location", 1, "like"), 7, "type"),
        (("driver", 0, "qes"), True, "anyOf"),
        (("channel", 0, "id"), "a b", "pattern"),
        (("channel",), [], "length"),
    ],
)
def test_schema_refuses_what_the_reader_refuses(
    steps: tuple[str | int, ...], value: object, refusal: str
) -> None:
    raw = deepcopy(plain(tomllib.loads(demo_text())))
    node: Any = raw
    for step in steps[:-1]:
        node = node[step]
    node[steps[-1]] = value
    assert [each.partition(":")[0] for each in refusals(raw, SCHEMA)] == [refusal]


def test_schema_wants_what_the_reader_wants() -> None:
    assert SCHEMA["required"] == ["format", "head_unit", "channel", "location", "driver"]
    location = SCHEMA["$defs"]["Location"]
    assert location["anyOf"] == [
        {"required": ["id", "kind", "at", "driver"]},
        {"required": ["id", "like"]},
    ]
    assert SCHEMA["$defs"]["HeadUnit"]["required"] == ["name"]
    assert SCHEMA["$defs"]["Channel"]["required"] == ["id", "load"]


def test_every_field_is_described() -> None:
    # A field described in the words of its table leaves them to the table.
    tables = {
        f"#/$defs/{name}": table.get("description", "") for name, table in SCHEMA["$defs"].items()
    }
    texts = {
        name: field.get("description", tables.get(field.get("$ref", ""), ""))
        for name, field in fields()
    }
    assert [name for name, text in texts.items() if not text.endswith(".")] == []


def test_quantities_say_their_unit() -> None:
    measured = {
        name: field["description"]
        for name, field in fields()
        if "x-dimension" in str(field) or "Position" in str(field)
    }
    assert len(measured) > 50
    assert [name for name, text in measured.items() if not re.search(r"\[.+\]\.$", text)] == []


def test_examples_of_the_schema_are_read() -> None:
    def walk(node: Any) -> Iterator[tuple[str, str]]:
        if isinstance(node, dict):
            if "x-dimension" in node:
                yield from ((node["x-dimension"], each) for each in node["examples"])
            node = list(node.values())
        for each in node if isinstance(node, list) else ():
            yield from walk(each)

    examples = set(walk(SCHEMA))
    assert len(examples) > 25
    for dimension, text in examples:
        assert parse_quantity(text, dimension=dimension).dimension == dimension


def test_starter_explains_itself() -> None:
    text = starter_text()
    lines = text.splitlines()
    assert max(map(len, lines)) <= 160
    assert sum("#" in line for line in lines) > 40
    for word in ("unit", "±", "window fully DOWN", "like", "in series", "restraint"):
        assert word in text


def test_what_the_starter_leaves_to_uncomment_is_read() -> None:
    """The lines that are commented out stand for fields that exist."""
    text = starter_text()
    for line in re.findall(r"^# (\w+ = .+)$", text, flags=re.MULTILINE):
        name = line.partition(" ")[0]
        if name != "cable":
            text = text.replace(f"# {line}", line)
    job = loads(text)
    channel = job.channel("front-left")
    assert channel.high_pass is not None
    assert channel.high_pass_slope == "12 dB/oct"
    assert job.head_unit.feed_resistance is not None
    swapped = text.replace(
        'cable = { length = "3.5 m", size = "0.5 mm2" }   #',
        'cable = { resistance = "0.28 ohm" } #',
    )
    resistance = loads(swapped).channel("front-left").cable.resistance
    assert resistance is not None
    assert resistance.value == 0.28


def test_schema_is_of_this_document() -> None:
    assert set(SCHEMA["properties"]) == {
        info.alias or name for name, info in Job.model_fields.items()
    }
