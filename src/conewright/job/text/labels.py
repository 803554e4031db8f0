"""What a job can hold, field by field, as a form needs it: words, kind of value, where it stands.

Everything is read from the published schema of a job file, so that a form never falls behind the
document.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, Literal

from conewright.data_files import data_rows
from conewright.errors import BadInputError
from conewright.job.builds.job import Job
from conewright.job.document.lists import LISTS, TABLES, spoken
from conewright.job.document.paths import inside
from conewright.job.measurables import measurement
from conewright.job.quantity.values import with_unit
from conewright.job.text.parsing import LONGEST_LIST, job_text
from conewright.job.text.starter import job_schema
from conewright.phrases import capital

__all__ = [
    "PAGED_LISTS",
    "PAGED_TABLES",
    "Field",
    "Part",
    "field_at",
    "fields_of",
    "label_words",
    "part_of",
    "parts_of",
    "place_in_file",
    "plain_value",
    "text_of",
    "typed_tables",
    "written",
]

Kind = Literal[
    "quantity", "number", "text", "long", "choice", "yes-no", "list", "load", "count", "money",
    "day", "reference", "seat",
]  # fmt: skip

PAGED_TABLES = ("job", "wishes", "vehicle", "converter", "head_unit")
"""Tables of a job that have a form of their own."""

PAGED_LISTS = ("channel", "amplifier", "location", "driver", "seat")
"""Lists of a job whose entries have a form of their own."""

_AXES = {"x": "forward", "y": "to the left", "z": "up"}
_ENDS = {"floor": "worth nothing", "goal": "all that is wished"}
_LISTED = {"complaints", "sure"}
_LONG = {"notes", *_LISTED}


@dataclass(frozen=True, slots=True)
class Field:
    """One field of one part.

    path: as in proposals and reports: `door-fl.mount.cutout`, `head_unit.supply`, `driver.ear.x`.
    steps: from the part down to it; an int is a place in a list.
    """

    path: str
    steps: tuple[str | int, ...]
    label: str
    help: str
    kind: Kind
    group: str = ""
    dimension: str = ""
    choices: tuple[str, ...] = ()
    example: str = ""
    how: str = ""
    required: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """Something of a job that has a page: a table, or an entry of a list."""

    id: str
    kind: str
    title: str

    @property
    def what(self) -> str:
        """What kind of thing it is, as people say it."""
        return spoken(self.kind)


@cache
def label_words(of: str) -> Mapping[str, str]:
    """Return names of fields in a repairer's words, by the name or the path in the file.

    Args:
        of: `field` as a form has it, `group` of fields in a form, `change` in a sentence.

    """
    rows = data_rows("job.text", "labels.csv")
    return {row["name"]: row["words"] for row in rows if row["of"] == of}


def parts_of(job: Job) -> tuple[Part, ...]:
    """Return everything of a job that has fields of its own, in the order of a job file."""
    alone = {
        "job": "The job",
        "wishes": "What the owner asked for",
        "vehicle": "The vehicle",
        "converter": "Converter between vehicle and radio",
        "head_unit": job.head_unit.name,
    }
    return (
        *(Part(name, name, title) for name, title in alone.items()),
        *(Part(seat.id, "seat", seat.id) for seat in job.seats),
        *(Part(channel.id, "channel", channel.id) for channel in job.channels),
        *(Part(each.id, "amplifier", each.name or each.id) for each in job.amplifiers),
        *(Part(place.id, "location", place.name or place.id) for place in job.locations),
        *(Part(driver.id, "driver", driver.name or driver.id) for driver in job.drivers),
    )


def part_of(job: Job, id: str) -> Part:
    """Return the part of that id; raises KeyError."""
    for part in parts_of(job):
        if part.id == id:
            return part
    raise KeyError(id)


@lru_cache(maxsize=1024)
def fields_of(part: Part) -> tuple[Field, ...]:
    """Return the fields of a part, in the order of the document."""
    return tuple(
        Field(**{**_plain(field), "path": f"{part.id}.{field.path}"})
        for field in _fields(part.kind)
    )


def field_at(job: Job, path: str) -> Field:
    """Return the field at a path; one of a list is the whole list.

    Raises:
        BadInputError: there is no such field.

    """
    id, _, rest = path.partition(".")
    try:
        fields = fields_of(part_of(job, id))
    except KeyError:
        raise BadInputError(f"{path}: there is no part {id!r} in this job") from None
    for field in fields:
        if path == field.path or (field.kind == "list" and _is_entry(path, field.path)):
            return field
    raise BadInputError(f"{path}: there is no field {rest!r}")


def place_in_file(field: Field, part: Part) -> str:
    """Return the field as the problems of a job name it: `location[door-fl].mount.cutout`."""
    start = part.kind if part.kind in PAGED_TABLES else f"{part.kind}[{part.id}]"
    names = "".join(
        f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in field.steps
    )
    return f"{start}{names}"


def text_of(field: Field, part: Part, whole: Mapping[str, Any]) -> str:
    """Return what a field holds as it stands in a form; empty where it holds nothing.

    Args:
        field: one of the part's fields.
        part: the part.
        whole: the job as plain values, `like` expanded.

    """
    value = inside(_table_of(part, whole), *field.steps)
    return written(value, between="\n" if field.kind == "long" else "; ")


def written(value: object, *, between: str = "; ") -> str:
    """Return a plain value of a job file as it stands in a form; empty for none.

    Args:
        value: the value.
        between: what stands between the entries of a list.

    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return between.join(map(str, value))
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def plain_value(field: Field, text: str, *, like: str = "") -> object:
    """Return a form's text as the value that stands in a job file; None for nothing.

    A bare number takes the unit of what the field shows, `like`.
    What is no value of its kind stays as it was typed, for the document to refuse in words.
    """
    text = text.strip()
    if not text:
        return None
    if field.kind == "yes-no":
        return {"yes": True, "no": False}.get(text, text)
    if field.kind == "list" or field.steps[-1] in _LISTED:
        return [
            each for line in text.splitlines() for each in map(str.strip, line.split(";")) if each
        ]
    if field.kind in ("number", "count", "money"):
        return _number(text, whole=field.kind == "count")
    if field.kind == "quantity" and field.dimension:
        return with_unit(text, dimension=field.dimension, like=like)
    return text


def typed_tables(text: str) -> dict[str, Any]:
    """Return what stands in the text of a job, in TOML, each value as it was typed."""
    return dict(job_text(text).tables)


# --- Underneath ---------------------------------------------------------------------------------


def _is_entry(path: str, of: str) -> bool:
    """Whether a path is that of a list's first entry, second, and so on, as far as lists go."""
    number = path.removeprefix(f"{of}.")
    plain = number.isascii() and number.isdecimal() and len(number) < 4
    return path.startswith(f"{of}.") and plain and 1 <= int(number) <= LONGEST_LIST


def _plain(field: Field) -> dict[str, Any]:
    return {name: getattr(field, name) for name in Field.__slots__}


def _table_of(part: Part, whole: Mapping[str, Any]) -> object:
    if part.kind in PAGED_TABLES:
        return whole.get(part.kind, {})
    entries = whole.get(part.kind, [])
    return next((entry for entry in entries if entry.get("id") == part.id), {})


def _number(text: str, *, whole: bool) -> object:
    plain = text.replace(",", ".") if re.fullmatch(r"-?\d+,\d+", text) else text
    try:
        number = float(plain)
    except ValueError:
        return text
    if number.is_integer() and (whole or "." not in plain):
        return int(number)
    return number


@cache
def _fields(kind: str) -> tuple[Field, ...]:
    table = TABLES[kind] if kind in TABLES else LISTS[kind].entry
    return tuple(_walk(table.__name__, (), required=True))


def _walk(table: str, above: tuple[str, ...], *, required: bool) -> Iterator[Field]:
    definition = _definitions()[table]
    for name, info in definition["properties"].items():
        if name in ("id", "like"):
            continue
        steps = (*above, name)
        target = info.get("$ref") or next(
            (each["$ref"] for each in info.get("anyOf", ()) if "$ref" in each), None
        )
        needed = required and name in definition.get("required", ())
        if target:
            yield from _walk(target.rsplit("/", 1)[1], steps, required=False)
        elif "prefixItems" in (shape := _shape(info)):
            yield from _listed_values(steps, shape, required="prefixItems" in info)
        else:
            yield _field(steps, info, required=needed)


def _listed_values(
    steps: tuple[str, ...], shape: Mapping[str, Any], *, required: bool
) -> Iterator[Field]:
    """Yield a field for each value of a position, or of a goal."""
    items = shape["prefixItems"]
    names = _AXES if len(items) == len(_AXES) else _ENDS
    for index, (name, item) in enumerate(zip(names, items, strict=True)):
        path = ".".join((*steps, name))
        yield Field(
            path=path,
            steps=(*steps, index),
            label=label_words("field").get(path, f"{steps[-1]}, {names[name]}"),
            help="" if index else _in_words(shape.get("description", "")),
            kind="quantity",
            group=label_words("group").get(steps[0], ""),
            dimension=item["x-dimension"],
            example="0.95 m" if names is _AXES else "6 dB",
            required=required,
        )


def _field(steps: tuple[str, ...], info: Mapping[str, Any], *, required: bool) -> Field:
    path = ".".join(steps)
    shape = _shape(info)
    kind = _kind(steps[-1], shape)
    inner = shape.get("items", shape)
    known = measurement(path if len(steps) > 1 else f"x.{path}")
    examples = shape.get("examples") or inner.get("examples") or [""]
    return Field(
        path=path,
        steps=steps,
        label=label_words("field").get(path) or _label(steps[-1], known),
        help=_in_words(info.get("description", "")),
        kind=kind,
        group=label_words("group").get(steps[0], "") if len(steps) > 1 else "",
        dimension=inner.get("x-dimension", ""),
        choices=tuple(shape.get("enum", ())),
        example=str(examples[0]),
        how=known[1] if known else "",
        required=required,
    )


def _shape(info: Mapping[str, Any]) -> dict[str, Any]:
    """Return the schema of a value without the null that an optional field also allows."""
    options = [each for each in info.get("anyOf", ()) if each.get("type") != "null"]
    if len(options) == 1:
        return {**info, **options[0]}
    return dict(info)


def _kind(name: str, shape: Mapping[str, Any]) -> Kind:
    fixed: dict[str, Kind] = {"load": "load", "driver": "reference", "seat": "seat"}
    if name in fixed:
        return fixed[name]
    if name in _LONG:
        return "long"
    if "enum" in shape:
        return "choice"
    plain: dict[Any, Kind] = {
        "boolean": "yes-no",
        "integer": "count",
        "number": "money",
        "array": "list",
    }
    kind = shape.get("type")
    if kind in plain:
        return plain[kind]
    if kind == "string":
        if shape.get("format") == "date":
            return "day"
        return "quantity" if "x-dimension" in shape or name == "size" else "text"
    return "number"


def _label(name: str, known: tuple[str, str] | None) -> str:
    words = known[0] if known else name.replace("_", " ")
    return capital(words)


def _in_words(description: str) -> str:
    return description.replace("`", "")


@cache
def _definitions() -> Mapping[str, Any]:
    definitions: dict[str, Any] = job_schema()["$defs"]
    return definitions
