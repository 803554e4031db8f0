"""Changing a job: parts put in and taken out, `id.field` and its new value; it is a new job."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, TypeVar

from conewright.errors import JobError, Problem
from conewright.job.additions import Altered, altered, idle_problems, is_field, named_in
from conewright.job.document.document import Cavity, Document
from conewright.job.document.parts import Table
from conewright.job.document.paths import (
    Steps,
    fields_of,
    inside,
    known_names,
    path_text,
    show,
    table_at,
    table_within,
)
from conewright.job.document.problems import (
    MOST_PROBLEMS,
    Found,
    part_problems,
    schema_problems,
)
from conewright.job.document.references import (
    TARGET_LISTS,
    TARGET_TABLES,
    ids_of,
    reference_problems,
)
from conewright.job.plausible.limits import range_problems, sure_problems
from conewright.job.repairs import SWAP, changes_by, plan_problems, twin_of
from conewright.job.wildcards import has_wildcards, matches

__all__ = ["MOST_CHANGES", "Plan", "apply_plan", "apply_proposal", "changed_job", "whole_job"]

D = TypeVar("D", bound=Document)

LONGEST_KEY = 200
MOST_CHANGES = 10_000
"""Fields that all proposals of a job change together, each key over every part that it means."""
NOT_CHANGED = ("id",)
RADIO_MADE_FOR = tuple(("head_unit", name) for name in ("output", "system", "ground"))
# Fields that are about another one: when that one changes, their old values mean nothing.
ABOUT: Mapping[tuple[str, ...], tuple[tuple[str, ...], ...]] = {
    ("location", "cavity", "cover"): (("location", "cavity", "cover_mass"),),
    ("location", "driver"): (("location", "own"),),
    ("location", "kind"): (
        *(("location", "cavity", name) for name in Cavity.model_fields),
        *(
            ("location", "mount", name)
            for name in ("baffle_width", "baffle_height", "facing", "ring")
        ),
    ),
    ("head_unit", "name"): RADIO_MADE_FOR,
    ("head_unit", "price"): RADIO_MADE_FOR,
    ("vehicle", "system"): (("head_unit", "supply"),),
    **{
        ("converter", name): (("head_unit", "supply"),)
        for name in ("kind", "name", "output", "rated_current", "price")
    },
}


@dataclass(frozen=True, slots=True)
class Plan:
    """What is done to a job: parts taken out and put in, then fields changed.

    set_name: what its changed fields are called in an error. set: an id (a glob of ids, head_unit
    or vehicle), a field below it, and its new value as in a file: `"door-f?.mount.ring": True`.
    add: entries by the name of their list. remove: ids, or fields as id.field. repairs: each as
    repair@place. owner: what the plan is called in an error.
    """

    set_name: str
    set: Mapping[str, Any] = field(default_factory=dict)
    add: Mapping[str, Any] = field(default_factory=dict)
    remove: tuple[str, ...] = ()
    repairs: tuple[str, ...] = ()
    owner: str = ""

    def fields(self, job: Document | None) -> dict[str, Any]:
        """Return every field that changes, with those that are taken out, of a job as it stands."""
        repaired = {} if job is None else changes_by(job, self.repairs, GONE)
        return repaired | dict.fromkeys(filter(is_field, self.remove), GONE) | dict(self.set)

    def unswapped(self, job: Document) -> list[Problem]:
        """Return the places that are to be changed over and have none on the other side."""
        allowed = "it takes a place with another of its kind on the other side of the vehicle"
        return [
            Problem(f"{self.owner}.repairs", show(text), allowed)
            for text in self.repairs
            if text.startswith(f"{SWAP}@") and twin_of(job, text.partition("@")[2]) is None
        ]

    @property
    def alters(self) -> bool:
        """Whether whole parts come or go."""
        return bool(self.add) or not all(map(is_field, self.remove))


GONE = object()
"""The new value of a field that is taken out."""


@dataclass(frozen=True, slots=True)
class _Change:
    """One field of one part, the key that changes it and its new value."""

    key: str
    target: Steps
    path: tuple[str, ...]
    value: Any

    @property
    def steps(self) -> Steps:
        return (*self.target, *self.path)


def apply_plan(job: D, plan: Plan) -> D:
    """Return the job with a plan carried out.

    Args:
        job: the job as it stands.
        plan: where several of its keys meet in one field the last one counts.

    Raises:
        JobError: with a problem for each key that leads nowhere or whose value is refused.

    """
    changed, problems = changed_job(job, job.to_dict(), plan)
    if changed is None or problems:
        raise JobError(problems)
    return changed


def apply_proposal(job: D, name: str) -> D:
    """Return the job with one of its proposals carried out, once for all; raises JobError."""
    if name in job.carried_out:
        return job.carried_out[name]
    known = {proposal.id: proposal for proposal in job.proposals}
    if name not in known:
        raise JobError([Problem("proposal", show(name), known_names(name, known))])
    written, owner = known[name], f"proposal[{name}]"
    plan = Plan(f"{owner}.set", written.set, written.add, written.remove, written.repairs, owner)
    return job.carried_out.setdefault(name, apply_plan(job, plan))


def whole_job(raw: Mapping[str, Any], kind: type[D]) -> tuple[D | None, list[Found]]:
    """Return the document that plain values make, with all that is wrong but in the proposals."""
    found = schema_problems(raw, kind)
    refused = found if isinstance(found, list) else []
    crossed = [
        *range_problems(raw, known=refused),
        *reference_problems(raw),
        *sure_problems(raw),
        *plan_problems(raw),
    ]
    return (None, [*found, *crossed]) if isinstance(found, list) else (found, crossed)


def changed_job(
    job: D | None,
    raw: Mapping[str, Any],
    plan: Plan,
    *,
    known: Iterable[Problem] = (),
    most: int = MOST_CHANGES,
) -> tuple[D | None, list[Problem]]:
    """Return the job after a plan, and what is wrong with it beyond what was known.

    Only the parts that change are checked anew, and what parts say about each other.

    Args:
        job: as it stands, None where it is no job.
        raw: its plain values under the names of the file.
        plan: what is done to it.
        known: problems of the job as it stands.
        most: fields that may be changed; no more are looked at.

    """
    entries = altered(
        raw, add=plan.add, remove=plan.remove, owner=plan.owner, known=job is not None
    )
    if entries.problems:
        return None, list(entries.problems)
    planned, problems = _planned(entries.raw, plan.fields(job), plan.set_name, most)
    problems += [] if job is None else plan.unswapped(job)
    outdated = tuple(_outdated(entries.raw, planned))
    applied = _applied(entries.raw, planned, outdated)
    parts: dict[Steps, Table] = {}
    found: list[Found] = []
    touched = {change.target for change in planned} | {target for target, _ in outdated}
    for target in sorted(touched | set(entries.added), key=_order):
        part = part_problems(applied, target)
        if isinstance(part, list):
            found += part
        else:
            parts[target] = part
        found += range_problems(applied, target, known=found)
    refused = bool(found)
    # Plans were written for the job as it was; each is looked at by itself.
    found += reference_problems(
        {name: value for name, value in applied.items() if name != "proposal"}
    )
    old = set(known)
    news = (each for each in found if each.problem not in old)
    problems += [_blamed(each, planned, plan, entries) for each in islice(news, MOST_PROBLEMS)]
    if not problems:
        problems += idle_problems(applied, entries)
    changed = None if job is None or refused else _with_parts(job, parts, entries)
    return changed, list(dict.fromkeys(problems))


def _planned(
    raw: Mapping[str, Any], changes: Mapping[str, Any], name: str, most: int
) -> tuple[list[_Change], list[Problem]]:
    """Return every field that is to be changed, and the keys that lead nowhere or too far."""
    planned: list[_Change] = []
    problems: list[Problem] = []
    parts = _parts(raw)
    for key, value in changes.items():
        targets = _targets(parts, key)
        if isinstance(targets, str):
            problems.append(Problem(f"{name}.{show(key)}", show(value), targets))
        else:
            path = tuple(key.split(".")[1:])
            planned += [_Change(key, target, path, value) for target in targets]
        if len(planned) > most:
            allowed = f"at most {most} here, as all proposals together change {MOST_CHANGES}"
            return [], [*problems, Problem(name, f"more than {most} fields changed", allowed)]
    return planned, problems


def _order(target: Steps) -> tuple[int, Steps]:
    """Return what puts parts in the order that a job has them in."""
    table, *index = target
    return list(fields_of(Document)).index(str(table)), tuple(index)


def _with_parts(job: D, parts: Mapping[Steps, Table], entries: Altered) -> D:
    """Return a job with some parts replaced, all of them checked; it shares the others.

    Plans were written for the job as it was: one with other parts has none.
    """
    names = {info.alias or name: name for name, info in type(job).model_fields.items()}
    values: dict[str, Any] = {}
    for table, kept in entries.kept.items():
        old = getattr(job, names[table])
        values[names[table]] = tuple(old[index] for index in kept)
    for (step, *index), part in sorted(parts.items(), key=lambda each: _order(each[0])):
        name = names[str(step)]
        there = values.get(name, getattr(job, name))
        if not index:
            values[name] = part
        elif index[0] == len(there):
            values[name] = (*there, part)
        else:
            values[name] = tuple(part if [i] == index else each for i, each in enumerate(there))
    if entries.gone:
        told = entries.raw.get("job", {})
        lists = {name: tuple(told[name]) for name in ("complaints", "sure") if name in told}
        values["about"] = job.about.model_copy(update=lists)
    if entries.kept:
        values["proposals"] = ()
    return job.model_copy(update=values)


def _targets(parts: Mapping[str, Steps], key: str) -> list[Steps] | str:
    """Return the parts a key changes, or what would be allowed instead."""
    glob, dot, rest = key.partition(".")
    if not (glob and dot and rest) or len(key) > LONGEST_KEY:
        return "a key is an id, a dot and a field, like door-fl.mount.ring"
    matching = _meant(parts, glob)
    if not matching:
        return f"no part has such an id; {known_names(glob, parts)}"
    path = rest.split(".")
    # All parts of one list have the same fields.
    refusals = {steps[0]: _refusal(steps, path) for steps in matching}
    fitting = [steps for steps in matching if not refusals[steps[0]]]
    return fitting or refusals[matching[0][0]]


def _parts(raw: Mapping[str, Any]) -> dict[str, Steps]:
    """Return everything that can be changed, by its id."""
    parts: dict[str, Steps] = {table: (table,) for table in TARGET_TABLES}
    for table in TARGET_LISTS:
        for name, index in ids_of(raw, table).items():
            parts.setdefault(name, (table, index))
    return parts


def _meant(parts: Mapping[str, Steps], glob: str) -> list[Steps]:
    """Return the parts a key's first word means; the fixed tables are meant by name only."""
    if not has_wildcards(glob):
        return [parts[glob]] if glob in parts else []
    return [
        steps for name, steps in parts.items() if name not in TARGET_TABLES and matches(name, glob)
    ]


def _refusal(target: Steps, path: list[str]) -> str:
    """Return why a field below a part cannot be changed; empty where it can."""
    if path[0] in NOT_CHANGED:
        return "an id stays as it is; change another field"
    table: type[Table] | None = table_at(Document, target)
    for step in path:
        fields = fields_of(table) if table else {}
        if step not in fields:
            return f'there is no field "{step}"; {known_names(step, fields)}'
        table = table_within(fields[step])
    return ""


def _applied(
    raw: Mapping[str, Any],
    planned: list[_Change],
    outdated: Iterable[tuple[Steps, tuple[str, ...]]],
) -> dict[str, Any]:
    """Return the tables with the changes made; the ones given stay as they are."""
    parts: dict[Steps, Any] = {change.target: inside(raw, *change.target) for change in planned}
    for target, path in outdated:
        parts[target] = _without(parts.get(target, inside(raw, *target)), path)
    for change in planned:
        part = parts[change.target]
        gone = change.value is GONE
        parts[change.target] = (
            _without(part, change.path) if gone else _put(part, change.path, change.value)
        )
    result = dict(raw)
    for name in {str(target[0]) for target in parts if len(target) > 1}:
        result[name] = list(raw[name])
    for (table, *index), part in parts.items():
        if index:
            result[str(table)][index[0]] = part
        else:
            result[str(table)] = part
    return result


def _outdated(
    raw: Mapping[str, Any], planned: list[_Change]
) -> Iterator[tuple[Steps, tuple[str, ...]]]:
    """Yield the fields, by part and path, whose meaning is gone with what they were about."""
    changed = {change.steps for change in planned}
    for change in planned:
        table = str(change.target[0])
        if inside(raw, *change.steps) == change.value:
            continue
        for owner, *path in ABOUT.get((table, *change.path), ()):
            # What is about a field of an entry is in the same entry.
            target = change.target if owner == table else (owner,)
            if (*target, *path) not in changed:
                yield target, tuple(path)


def _put(node: Any, path: tuple[str, ...], value: object) -> Any:
    """Return a copy of plain values with one of them replaced; absent tables are made."""
    if not path:
        return value
    table = dict(node) if isinstance(node, dict) else {}
    table[path[0]] = _put(table.get(path[0]), path[1:], value)
    return table


def _without(node: Any, path: tuple[str, ...]) -> Any:
    """Return a copy of plain values without the field at the end of a path."""
    holder = inside(node, *path[:-1])
    if not isinstance(holder, dict):
        return node
    return _put(node, path[:-1], {key: each for key, each in holder.items() if key != path[-1]})


def _blamed(found: Found, planned: list[_Change], plan: Plan, entries: Altered) -> Problem:
    """Return a problem of the changed job under what brought it: a key, an entry, what is gone."""
    problem = found.problem
    for change in planned:
        if change.steps == found.steps:
            return Problem(_key_path(change, plan), problem.found, problem.allowed)
    written = entries.added.get(found.steps[:2])
    if written is not None:
        rest = path_text(found.steps[2:], inside(entries.raw, *found.steps[:2]))
        path = f"{written}.{rest}" if found.steps[2:] else written
        return Problem(path, problem.found, problem.allowed)
    allowed = f"then {problem.path} is {problem.found}; {problem.allowed}"
    for change in planned:
        shared = min(len(change.steps), len(found.steps))
        if change.steps[:shared] == found.steps[:shared]:
            return Problem(_key_path(change, plan), show(change.value), allowed)
    gone = named_in(problem.found, entries.gone)
    if gone is not None:
        return Problem(f"{plan.owner}.remove", show(gone), allowed)
    return Problem(plan.owner if plan.alters else plan.set_name, "these changes together", allowed)


def _key_path(change: _Change, plan: Plan) -> str:
    """Return where a key stands: among the fields that change, or what is taken out."""
    if change.value is GONE:
        return f"{plan.owner}.remove.{show(change.key)}"
    return f"{plan.set_name}.{show(change.key)}"
