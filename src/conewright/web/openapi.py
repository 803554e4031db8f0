"""The published description of the API."""

from __future__ import annotations

from typing import Any

from conewright.job.starter import job_schema

__all__ = ["with_job_schema"]

COMPONENTS = "#/components/schemas/"


def with_job_schema(document: dict[str, Any]) -> dict[str, Any]:
    """Return an OpenAPI document with the JSON Schema of a job among its components.

    What a job is made of gets names of its own, `Job.Seat` and so on: a report has parts too.
    """
    schema = _renamed(job_schema())
    parts = schema.pop("$defs")
    del schema["$schema"]
    own = {"Job": schema} | {f"Job.{name}": part for name, part in parts.items()}
    components = document.setdefault("components", {}).setdefault("schemas", {})
    components.update(own)
    return document


def _renamed(node: Any) -> Any:
    """Return a schema whose references lead to the components."""
    if isinstance(node, dict):
        return {
            name: _target(value) if name == "$ref" else _renamed(value)
            for name, value in node.items()
        }
    if isinstance(node, list):
        return [_renamed(each) for each in node]
    return node


def _target(reference: str) -> str:
    return reference.replace("#/$defs/", f"{COMPONENTS}Job.")
