"""Mending alone: the plan that ends what was found and changes nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conewright.job.document.document import Proposal
from conewright.stages.find.talk.inquiry import inquire
from conewright.stages.find.talk.mending import established, named

if TYPE_CHECKING:
    from conewright.job.builds.job import Job

__all__ = ["with_mending"]


def with_mending(job: Job) -> tuple[Job, str | None]:
    """Return the job with the plan that only mends, and the id of that, where nobody wrote it.

    None where nothing is established that could be mended, or a plan of the job does just that.
    """
    chances = inquire(job.build()).chances() if job.about.complaints or job.readings else {}
    faults = established(job, chances)
    written = any(not plan.set and set(plan.mends) >= set(faults) for plan in job.proposals)
    if not faults or written:
        return job, None
    plan = named(job, faults)
    only = Proposal(id=plan.id, name=plan.name, mends=plan.mends)
    return job.model_copy(update={"proposals": (*job.proposals, only)}), plan.id
