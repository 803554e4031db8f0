"""Plans of an answer written into the text of a job, with the drivers that they fit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from conewright.errors import BadInputError
from conewright.job.text.editing import with_entry
from conewright.job.text.parsing import Format, kept_job
from conewright.phrases import counted
from conewright.stages.choose.finals.plan_answers import DO_NOTHING, FIX_ONLY

if TYPE_CHECKING:
    from conewright.stages.choose.finals.plan_answers import Choice, PlanAnswer

__all__ = ["text_with_plan", "text_with_plans"]

WRITTEN = "choice"
"""What plans are called in a job; counted on where that is taken."""


def text_with_plans(text: str, format: Format, choice: Choice, count: int) -> str:
    """Return the text of a job with the first plans of an answer as proposals.

    Args:
        text: of the job.
        format: of the text.
        choice: the answer.
        count: how many, from 1 on; those that change nothing or are written already are not
            counted.

    Raises:
        BadInputError: there are not so many, or the text has no place for them.

    """
    plans = [plan for plan in choice.plans if _is_new(plan)]
    if not 1 <= count <= len(plans):
        raise BadInputError(
            f"write: found {count}; the answer has {counted(len(plans), 'plan')} to write"
        )
    for plan in plans[:count]:
        text, _ = text_with_plan(text, format, choice, plan.id)
    return text


def text_with_plan(text: str, format: Format, choice: Choice, plan_id: str) -> tuple[str, str]:
    """Return the text of a job with one plan of an answer as a proposal, and the id of that.

    Raises:
        BadInputError: the answer has no such plan, it cannot be written, or the text has no place.

    """
    try:
        plan = choice.plan_of(plan_id)
    except KeyError as error:
        raise BadInputError(f"plan: {error.args[0]}") from error
    if not plan.proposal:
        raise BadInputError(f"plan: {plan_id} is no plan of the search; there is nothing to write")
    job = kept_job(text, format)
    taken = {proposal.id for proposal in job.proposals}
    names = (WRITTEN if n == 1 else f"{WRITTEN}-{n}" for n in range(1, len(taken) + 2))
    name = next(each for each in names if each not in taken)
    there = {driver.id for driver in job.drivers}
    entries = [("driver", each) for each in plan.drivers if each["id"] not in there]
    entries.append(("proposal", {**plan.proposal, "id": name}))
    for kind, entry in entries:
        text = _with(text, format, kind, entry)
    kept_job(text, format)
    return text, name


def _with(text: str, format: Format, kind: str, entry: Mapping[str, Any]) -> str:
    """Return a text with one entry more in a list."""
    if format == "json":
        tables = json.loads(text)
        tables.setdefault(kind, []).append(dict(entry))
        return json.dumps(tables, indent=2, ensure_ascii=False) + "\n"
    return with_entry(text, kind, entry)


def _is_new(plan: PlanAnswer) -> bool:
    changes = {"set", "mends", "repairs", "add"} & plan.proposal.keys()
    return bool(changes) and plan.id not in (DO_NOTHING, FIX_ONLY)
