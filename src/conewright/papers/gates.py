"""What a plan must have before it goes to the bench: no paper is made without it."""

from __future__ import annotations

from conewright.errors import PlanRefusedError
from conewright.papers.answers import Answers
from conewright.papers.planned import planned_job
from conewright.papers.supply import unfused
from conewright.stages.care import restraint_gate
from conewright.stages.report import Severity
from conewright.stages.text import spoken_verdicts

__all__ = ["hold_gates", "reasons_against"]


def reasons_against(answers: Answers) -> tuple[str, ...]:
    """Return why no paper is made of a plan, each reason a sentence; none for a sound plan.

    Restraint parts that nobody has ruled out, parts that do not go in, a load that a radio does
    not bear, a supply cable without a fuse at its source end. The vehicle as found is no plan:
    nothing is opened or changed, nothing refused.
    """
    build = answers.build
    if build.proposal is None:
        return ()
    verdicts = (*restraint_gate(build), *answers.fit.verdicts, *answers.feed.verdicts)
    said = spoken_verdicts(verdict for verdict in verdicts if verdict.severity is Severity.STOP)
    refused = (unfused(cable) for cable in planned_job(build).feeds)
    fuses = (f"feed {r.subject}: {r.sentence} {r.nearest}" for r in refused if r is not None)
    return tuple(dict.fromkeys((*(text for _, text in said), *fuses)))


def hold_gates(answers: Answers) -> None:
    """Do nothing for a plan that may go to the bench.

    Raises:
        PlanRefusedError: it may not; with every reason.

    """
    reasons = reasons_against(answers)
    if reasons:
        raise PlanRefusedError(reasons, plan=answers.build.id)
