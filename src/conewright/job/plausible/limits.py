"""What cannot be, whatever the rest of a job says: refused like a value that cannot be read."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from conewright.errors import Problem
from conewright.job.document.paths import Steps, inside, nearest, path_text, show
from conewright.job.document.problems import MOST_PROBLEMS, Found
from conewright.job.plausible.doubts import other_currencies
from conewright.job.plausible.ranges import field_of, measured, path_of, range_of, ranges

__all__ = ["range_problems", "sure_problems"]

SURE = ("job", "sure")


def range_problems(
    raw: Mapping[str, Any], at: Steps = (), *, known: Sequence[Found] = ()
) -> list[Found]:
    """Return every number that no vehicle has, its spread included.

    Args: raw: the tables of a file, `like` already expanded; at: steps to the part that is looked
    at, none for the whole file; known: problems of fields, whose values are refused already.
    """
    refused = {each.steps for each in known}
    found: dict[Steps, Found] = {}
    for each in measured(raw, at, impossible=True):
        if each.steps in refused:
            continue
        spread = ", with the whole of its spread" if len(each.values) > 1 else ""
        allowed = f"{each.range.told[0]} is possible here{spread}"
        problem = Problem(path_text(each.steps, raw), show(each.written), allowed)
        found.setdefault(each.steps, Found(each.steps, problem))
        if len(found) == MOST_PROBLEMS:
            break
    return list(found.values())


def sure_problems(raw: Mapping[str, Any]) -> list[Found]:
    """Return the entries of `sure` that name no number of the job, and no currency."""
    entries = inside(raw, *SURE)
    if not isinstance(entries, list):
        return []
    paid = {doubt.path for doubt in other_currencies(raw)}
    told = ((index, path) for index, path in enumerate(entries) if isinstance(path, str))
    return [
        Found(
            (*SURE, index), Problem(path_text((*SURE, index), raw), show(path), _known(path, raw))
        )
        for index, path in told
        if path not in paid and range_of(path, raw) is None
    ]


def _known(path: str, raw: Mapping[str, Any]) -> str:
    """Return what leads from a wrong path to a right one."""
    wanted = "it takes the path of a number in the job, like door-fl.mount.cutout"
    paths = [*_paths_like(path, raw), *(path_of(each.steps, raw) for each in measured(raw))]
    close = nearest(path, dict.fromkeys(paths))
    return wanted if close is None else f'{wanted}; did you mean "{close}"?'


def _paths_like(path: str, raw: Mapping[str, Any]) -> Iterator[str]:
    """Yield the paths of the part that a path begins with."""
    head = path.partition(".")[0]
    table = (field_of(head, raw) or "").partition(".")[0]
    for field in ranges() if table else ():
        if field.startswith(f"{table}."):
            yield head + field.removeprefix(table)
