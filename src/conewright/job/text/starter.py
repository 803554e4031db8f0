"""What comes with the package: a starter file, the demo job, and the schema of a job file."""

from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from conewright.data_files import data_text
from conewright.job.additions import PLANNED_LISTS
from conewright.job.builds.job import Job
from conewright.job.document.lists import LISTS
from conewright.job.text.parsing import loads

__all__ = ["demo_job", "demo_text", "job_schema", "starter_text"]


def starter_text() -> str:
    """Return a commented job file of a small invented vehicle, to be overwritten by one's own.

    >>> import conewright as cw
    >>> cw.starter_text().splitlines()[0]
    '# A job file: one vehicle on the bench. ...'
    """
    return data_text("job.text", "starter.toml")


def demo_text() -> str:
    """Return the job file of the demo.

    >>> import conewright as cw
    >>> cw.loads(cw.demo_text()) == cw.demo_job()
    True
    """
    return data_text("job.text", "library-van.toml")


def demo_job() -> Job:
    """Return the demo: an invented library van with thin bass and a radio that cuts out.

    >>> import conewright as cw
    >>> cw.demo_job().about.title
    'Mobile library van: thin bass up front, rear cuts out on warm days'
    """
    return loads(demo_text(), file="library-van.toml")


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a job file, under the names of the file.

    >>> import conewright as cw
    >>> cw.job_schema()["required"]
    ['format', 'head_unit', 'channel', 'location', 'driver']
    """
    schema = Job.model_json_schema(by_alias=True)
    _let_like_stand_in(schema["$defs"]["Location"])
    _say_what_may_be_added(schema["$defs"]["Proposal"]["properties"]["add"])
    return {
        "$schema": GenerateJsonSchema.schema_dialect,
        **schema,
        "title": "conewright job, format 1",
    }


def _say_what_may_be_added(add: dict[str, Any]) -> None:
    """Let the entries that a plan adds be those of the job's own lists."""
    add["properties"] = {
        name: {"type": "array", "items": {"$ref": f"#/$defs/{LISTS[name].entry.__name__}"}}
        for name in PLANNED_LISTS
    }
    add["additionalProperties"] = False


def _let_like_stand_in(location: dict[str, Any]) -> None:
    """Let a location name another one in place of what it would have to say itself."""
    location["properties"]["like"] = {
        "type": "string",
        "description": "The id of another location: all but its id and name is copied from there, "
        "then the fields given here count instead.",
    }
    required = location.pop("required")
    location["anyOf"] = [{"required": required}, {"required": ["id", "like"]}]
