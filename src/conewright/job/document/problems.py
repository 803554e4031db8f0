"""What the document refuses, as problems in a repairer's words."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from conewright.errors import Problem
from conewright.job.document.document import Document
from conewright.job.document.parts import Table
from conewright.job.document.paths import (
    Steps,
    fields_of,
    inside,
    known_names,
    path_text,
    show,
    table_at,
)

__all__ = ["MOST_PROBLEMS", "Found", "part_problems", "schema_problems"]

T = TypeVar("T", bound=Table)

MOST_PROBLEMS = 200

_IDENTIFIER = "a short name is wanted: letters, digits, _ and single hyphens, a letter first"
_WANTED = {
    "string_type": "a text in quotes is wanted",
    "string_unicode": "a text of valid characters is wanted",
    "string_too_short": "the text must not be empty",
    "string_too_long": "a text of at most {max_length} characters is wanted",
    "string_pattern_mismatch": _IDENTIFIER,
    "bool_type": "true or false is wanted, without quotes",
    "int_type": "a whole number is wanted, without quotes",
    "float_type": "a plain number is wanted, without quotes or unit",
    "finite_number": "a finite number is wanted",
    "greater_than": "a number above {gt} is wanted",
    "greater_than_equal": "a number of at least {ge} is wanted",
    "less_than_equal": "a number of at most {le} is wanted",
    "model_type": "a table of fields is wanted",
    "dict_type": "a table of fields is wanted",
    "tuple_type": "a list in [ ] is wanted",
    "too_short": "a list of at least {min_length} is wanted",
    "too_long": "a list of at most {max_length} is wanted",
}
_THREE = "three lengths are wanted: x, y and z"
_TWO = "two levels are wanted: what is worth nothing, and what is all that is wished"
_CHOICE = re.compile(r"'([^']*)'|(?<![\w'])(\d+)(?![\w'])")


@dataclass(frozen=True, slots=True)
class Found:
    """A problem and the steps to the place in plain values where it was found."""

    steps: Steps
    problem: Problem
    missing: bool = False


D = TypeVar("D", bound=Document)


def schema_problems(raw: Mapping[str, Any], kind: type[D]) -> D | list[Found]:
    """Return the document that plain values make, or every field it refuses.

    Args: raw: the tables of a file, `like` already expanded; kind: what is to be made of them.
    """
    return _checked(kind, raw, ())


def part_problems(raw: Mapping[str, Any], at: Steps) -> Table | list[Found]:
    """Return the part of a job that stands there, or every field it refuses.

    Args: raw: the tables of a whole file; at: steps to the part, like ("location", 2).
    """
    table = table_at(Document, at)
    assert table is not None
    return _checked(table, raw, at)


def _checked(table: type[T], raw: Mapping[str, Any], at: Steps) -> T | list[Found]:
    try:
        return table.model_validate(inside(raw, *at), by_alias=True, by_name=False)
    except ValidationError as error:
        details = [each for each in error.errors(include_url=False) if not _is_echo(each)]
    found = [_found(detail, (*at, *detail["loc"]), raw) for detail in details[:MOST_PROBLEMS]]
    if len(details) > MOST_PROBLEMS:
        more = Problem("file", f"{len(details) - MOST_PROBLEMS} more problems", "mend these first")
        found.append(Found((), more))
    return list(dict.fromkeys(found))


def _is_echo(detail: ErrorDetails) -> bool:
    """Whether a list counts as too short only because its entries were refused."""
    least = detail.get("ctx", {}).get("min_length", 0)
    return detail["type"] == "too_short" and len(detail["input"]) >= least


def _found(detail: ErrorDetails, steps: Steps, raw: Mapping[str, Any]) -> Found:
    """Return one of pydantic's error records in our own words."""
    kind: str = detail["type"]
    missing = kind == "missing"
    if missing and isinstance(steps[-1], int):
        steps = steps[:-1]
        short = _TWO if "goals" in steps else _THREE
        return Found(steps, Problem(path_text(steps, raw), show(inside(raw, *steps)), short))
    found = "nothing" if missing else show(detail["input"])
    if kind == "extra_forbidden":
        found = "a field that is not known"
    return Found(steps, Problem(path_text(steps, raw), found, _allowed(detail, steps)), missing)


def _allowed(detail: ErrorDetails, steps: Steps) -> str:
    kind: str = detail["type"]
    context: dict[str, Any] = detail.get("ctx", {})
    if kind == "missing":
        return f"it is required: {_description(steps)}"
    if kind == "extra_forbidden":
        table = table_at(Document, steps[:-1])
        return known_names(steps[-1], fields_of(table) if table else ())
    if kind == "literal_error":
        choices = [text or number for text, number in _CHOICE.findall(context["expected"])]
        return f"one of {', '.join(choices)} is wanted"
    if kind == "value_error":
        return str(context["error"])
    return _WANTED[kind].format(**context) if kind in _WANTED else detail["msg"]


def _description(steps: Steps) -> str:
    """Return what a field is for."""
    table = table_at(Document, steps[:-1])
    infos = table.model_fields.items() if table else ()
    texts = (info.description for name, info in infos if (info.alias or name) == steps[-1])
    return next((text for text in texts if text), "no more is known of it")
