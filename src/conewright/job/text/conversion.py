"""Jobs in JSON on their way in and out: what is kept is TOML."""

from __future__ import annotations

import json
from typing import Any

from conewright.errors import BadInputError
from conewright.job.text.parsing import job_text, kept_job

__all__ = ["json_from_toml", "toml_from_json"]


def toml_from_json(text: str) -> str:
    """Return a job written in JSON as TOML that reads as the same job.

    Raises:
        JobError: it is no job.
        BadInputError: it holds something that TOML has no words for.

    """
    import tomlkit

    given = job_text(text, "json")
    job = given.job
    written = tomlkit.dumps(_without_nulls(given.tables))
    if kept_job(written) != job:
        raise BadInputError("this JSON has no equal in TOML; save it as a .toml job file first")
    return written


def json_from_toml(text: str) -> str:
    """Return a job written in TOML as JSON: the same fields in their order; comments go."""
    return json.dumps(job_text(text).tables, indent=2, ensure_ascii=False, default=str) + "\n"


def _without_nulls(value: Any) -> Any:
    """Return plain values without the fields that are null: TOML leaves those out."""
    if isinstance(value, dict):
        return {name: _without_nulls(each) for name, each in value.items() if each is not None}
    if isinstance(value, list):
        return [_without_nulls(each) for each in value]
    return value
