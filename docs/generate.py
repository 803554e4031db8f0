"""Writes the pages that follow the code and its tables: `python -m docs.generate`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import conewright as cw
from conewright.data_files import data_rows
from conewright.job.plausible.ranges import ranges
from docs.dependencies import dependencies_page
from docs.http_operations import http_page
from docs.markdown import paragraph, table
from docs.python_names import python_page
from docs.rooms import rooms_page
from docs.schemas import Tables, objects, title_of
from docs.security import security_page

__all__ = ["PAGES", "written"]

FOLDER = Path(__file__).resolve().parent
MADE = "<!-- Written by `make reference`; what is changed here is lost. -->"


def job_file_page() -> Iterator[str]:
    """Yield the page of the job file."""
    schema = cw.job_schema()
    definitions = schema["$defs"]
    tables = Tables(definitions, {}, asked=True)
    yield from ("# The job file, field by field", "")
    yield paragraph(
        "TOML or JSON; `conewright check --schema` prints the JSON Schema that this page follows. "
        "A value with a unit is a text and may carry a spread: `3.4 ohm ± 0.2 ohm` (95 % sure that "
        "it lies within), `60..80 Hz` (5 % and 95 %), `60..70..90 Hz` (with a typical value)."
    )
    yield from ("", "## The file", "", *tables.section(schema))
    for name, paths in objects(schema, definitions).items():
        yield from (f"## {title_of(name)}", "", f"At {', '.join(map(_header, paths))}.", "")
        yield from tables.section(definitions[name])


def _header(path: str) -> str:
    """Return the head of a table as it stands in a TOML file."""
    name = path.replace("[]", "")
    return f"`[[{name}]]`" if path.endswith("[]") else f"`[{name}]`"


def report_page() -> Iterator[str]:
    """Yield the page of the report."""
    schema = cw.Report.model_json_schema(mode="serialization")
    definitions = schema["$defs"]
    tables = Tables(definitions, {}, asked=False)
    yield from ("# The report", "")
    yield paragraph(
        "What `--json` prints, the API gives and `report.to_dict()` returns. Ids and fields are "
        "added, never renamed. What is no finite number is null. Levels are in dB re 20 µPa, "
        "complex values pairs of real and imaginary part, times in minutes."
    )
    yield from ("", "## Report", "", *tables.section(schema))
    for name in objects(schema, definitions):
        yield from (f"## {title_of(name)}", "", *tables.section(definitions[name]))
    yield from _choice(schema)


def _choice(report: Mapping[str, Any]) -> Iterator[str]:
    """Yield what the answer of choose has beside a report."""
    schema = cw.Choice.model_json_schema(mode="serialization")
    beside = schema["properties"].keys() - report["properties"].keys()
    schema["properties"] = {k: v for k, v in schema["properties"].items() if k in beside}
    definitions = schema["$defs"]
    tables = Tables(definitions, {}, asked=False)
    yield from ("## Choice", "", *tables.section(schema))
    for name in objects(schema, definitions):
        yield from (f"## {title_of(name)}", "", *tables.section(definitions[name]))


def ranges_page() -> Iterator[str]:
    """Yield the page of what the values of a job can be."""
    yield from ("# What the values of a job can be", "")
    yield paragraph(
        "A value beyond what is possible is refused, with the whole of its spread, in the job and "
        "in what a proposal sets. One beyond what is likely is asked back by its central value: "
        "the job stays valid, and `sure` of the table `[job]` takes the path of a value that is "
        "so, like `door-fl.mount.cutout`. An entry holds for its path, whatever stands there later."
    )
    rows = ((f"`{each.field}`", *each.told, paragraph(each.source)) for each in ranges().values())
    yield from ("", *table(("field", "possible", "likely", "source"), rows), "")
    yield from ("## One value beside another", "")
    yield paragraph(
        "Asked back as well: the first value times the second to the power given, both in SI "
        "units, outside the likely ends. The driver of a place is the one fitted there."
    )
    columns = ("field", "against", "from", "power", "likely_low", "likely_high", "source")
    beside = (
        (
            f"`{row['field']}`",
            f"`{row['against']}`",
            *(paragraph(row[name]) for name in columns[2:]),
        )
        for row in data_rows("job.plausible", "relations.csv")
    )
    heads = ("value", "beside", "at least", "power", "likely from", "to", "source")
    yield from ("", *table(heads, beside), "")


PAGES: dict[str, Callable[[], Iterator[str]]] = {
    "dependencies.md": dependencies_page,
    "reference/http.md": http_page,
    "reference/job-file.md": job_file_page,
    "reference/python.md": python_page,
    "reference/ranges.md": ranges_page,
    "reference/report.md": report_page,
    "reference/rooms.md": rooms_page,
    "security.md": security_page,
}


def written(name: str) -> str:
    """Return one of the pages as it is to stand among the others."""
    return "\n".join([MADE, "", *PAGES[name]()]).rstrip() + "\n"


if __name__ == "__main__":
    for name in PAGES:
        (FOLDER / name).write_text(written(name), encoding="utf-8")
