"""The public Python names: signatures, docstrings, and what each class holds."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from pydantic import BaseModel

import conewright as cw
from conewright.stages.outlay.amounts import Amount
from conewright.stages.outlay.reckoning import Outlay
from conewright.stages.report.data import Series
from docs.markdown import docstring, paragraph, table

__all__ = ["python_page"]

GROUPS = {
    "Jobs": ("load", "loads", "demo_job", "demo_text", "starter_text", "job_schema", "Job"),
    "Builds": ("Build",),
    "Answers": ("find", "feed", "hear", "fit", "compare", "Report", "Series"),
    "Choosing": ("choose", "Choice", "offer", "Offer"),
    "Money and hours": ("outlay", "Outlay", "Amount"),
    "Repairs": ("mend", "ways_to_mend"),
    "Papers": ("make", "Manifest"),
    "Sounds and recordings": ("sounds", "stimulus", "Played", "recording", "Recording", "listen"),
    "Pages": ("serve", "create_app"),
    "Errors": (
        "ConewrightError",
        "BadInputError",
        "QuantityError",
        "LoadError",
        "JobError",
        "Problem",
        "OutOfRangeError",
        "PlanRefusedError",
    ),
}
ELSEWHERE = {
    "Job": "Its fields are those of [the job file](job-file.md); lists have their names in the "
    "plural: `job.locations`.",
    "Report": "Its fields are those of [the report](report.md).",
    "Choice": "It is a [report](report.md) with `plans`, `front`, `rejected`, `catalogue` and "
    "`search` beside it.",
    "Series": "Its fields are those of [a series](report.md#series).",
}
RETURNED: dict[str, type] = {"Series": Series, "Outlay": Outlay, "Amount": Amount}
"""What is met only as an answer to the names above it."""
MODULES_OF_A_NAME = re.compile(r"\b(?:\w+\.)+(?=\w)")


def python_page() -> Iterator[str]:
    """Yield the page of the public Python names."""
    yield from ("# Python", "", "```python", "import conewright as cw", "```", "")
    yield paragraph(
        "These names are all there is to rely on; `cw.__version__` is the version. Nothing slow is "
        "imported before one of them is used. Jobs, builds, reports and manifests print as text "
        "and show themselves in a notebook."
    )
    yield ""
    for title, names in GROUPS.items():
        yield from (f"## {title}", "")
        for name in names:
            thing = RETURNED.get(name) or getattr(cw, name)
            yield from (f"### {name}", "")
            yield from _class(name, thing) if inspect.isclass(thing) else _function(name, thing)


def _function(name: str, function: Callable[..., object]) -> Iterator[str]:
    yield from ("```python", f"{name}{_signature(function)}", "```", "")
    yield from docstring(inspect.getdoc(function) or "")


def _class(name: str, kind: type) -> Iterator[str]:
    if issubclass(kind, Exception):
        bases = " and ".join(f"`{base.__name__}`" for base in kind.__bases__)
        yield from (f"An error, raised as a kind of {bases}.", "")
    yield from docstring(inspect.getdoc(kind) or "")
    if name in ELSEWHERE:
        yield from (ELSEWHERE[name], "")
    else:
        yield from _fields(kind)
    for member, value in _members(kind).items():
        if not member.startswith("_"):
            yield from _member(member, value)


def _members(kind: type) -> dict[str, object]:
    """Return what a class has of ours, its own last; what is told of another one is left out."""
    told = {name for names in GROUPS.values() for name in names} - {kind.__name__}
    bases = [base for base in reversed(kind.__mro__) if base.__module__.startswith("conewright")]
    ours = [base for base in bases if base.__name__ not in told]
    return {name: value for base in ours for name, value in vars(base).items()}


def _fields(kind: type) -> Iterator[str]:
    found: dict[str, Any] = {}
    if issubclass(kind, BaseModel):
        found = {name: field.annotation for name, field in kind.model_fields.items()}
    elif is_dataclass(kind):
        found = {field.name: field.type for field in fields(kind)}
    if found:
        rows = ((f"`{name}`", f"`{_annotation(type_)}`") for name, type_ in found.items())
        yield from (*table(("field", "type"), rows), "")


def _member(name: str, value: object) -> Iterator[str]:
    if isinstance(value, property):
        yield from (f"#### .{name}", "", *docstring(inspect.getdoc(value) or ""))
    elif inspect.isfunction(value):
        yield from (f"#### .{name}", "")
        yield from ("```python", f"{name}{_signature(value, bound=True)}", "```", "")
        yield from docstring(inspect.getdoc(value) or "")


def _signature(function: Callable[..., object], *, bound: bool = False) -> str:
    signature = inspect.signature(function)
    parameters = list(signature.parameters.values())[1 if bound else 0 :]
    shown = [
        inspect.Parameter(each.name, each.kind, default=_Shown.of(each.default))
        if each.annotation is each.empty
        else each.replace(
            annotation=_Shown(_annotation(each.annotation)), default=_Shown.of(each.default)
        )
        for each in parameters
    ]
    text = str(signature.replace(parameters=shown, return_annotation=signature.empty))
    return f"{text} -> {_annotation(signature.return_annotation)}"


class _Shown:
    """Something that is written in a signature as it is given here."""

    def __init__(self, text: str) -> None:
        self.text = text

    @classmethod
    def of(cls, value: object) -> Any:
        """Return a default as it is written; a function by its name."""
        if value is inspect.Parameter.empty:
            return value
        return cls(
            value.__name__ if callable(value) and hasattr(value, "__name__") else repr(value)
        )

    def __repr__(self) -> str:
        return self.text


def _annotation(kind: object) -> str:
    text = kind if isinstance(kind, str) else inspect.formatannotation(kind)
    return MODULES_OF_A_NAME.sub("", text).replace("NoneType", "None").replace("'", '"')
