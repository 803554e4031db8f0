"""What a plan must have before it goes to the bench: no paper is made without it."""

from __future__ import annotations

from collections.abc import Iterator

from conewright.errors import PlanRefusedError
from conewright.papers.press.answers import Answers
from conewright.stages.report.care import restraint_gate
from conewright.stages.report.data import Report, Severity, Verdict
from conewright.views.text import spoken_verdicts

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
    verdicts = (*restraint_gate(build), *_with_way_out(answers.fit), *answers.feed.verdicts)
    said = spoken_verdicts(verdict for verdict in verdicts if verdict.severity is Severity.STOP)
    return tuple(dict.fromkeys(text for _, text in said))


def _with_way_out(report: Report) -> Iterator[Verdict]:
    """Yield the verdicts of fit; a stop at a place says as well which spacer would do, if any."""
    spacers = {v.subject: v.text for v in report.verdicts if v.id == f"{v.subject}.spacer"}
    for verdict in report.verdicts:
        way_out = spacers.get(verdict.subject)
        if verdict.severity is Severity.STOP and way_out is not None:
            yield verdict.model_copy(update={"text": f"{verdict.text} {way_out}"})
        else:
            yield verdict


def hold_gates(answers: Answers) -> None:
    """Do nothing for a plan that may go to the bench.

    Raises:
        PlanRefusedError: it may not; with every reason.

    """
    reasons = reasons_against(answers)
    if reasons:
        raise PlanRefusedError(reasons, plan=answers.build.id)
