"""What feed, hear and fit say of the findings that stand in a build."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conewright.stages.find.faults import trade
from conewright.stages.report.data import Severity

if TYPE_CHECKING:
    from conewright.job.builds.state import Build, FaultState
    from conewright.stages.report.assembly import Answer

__all__ = ["finding_verdicts"]

CONNECT_NOTHING = frozenset({"leg-to-chassis", "channel-offset", "pair-shorted"})
"""With one of these the output chip burns, or what is connected to it does."""


def finding_verdicts(answer: Answer) -> None:
    """Name every fault that stands in the build, and what puts it right."""
    for fault in answer.build.faults:
        stops = fault.fault in CONNECT_NOTHING
        answer.verdict(
            fault.at,
            fault.fault,
            Severity.STOP if stops else Severity.WARN,
            _words(answer.build, fault, stops=stops),
        )


def _words(build: Build, fault: FaultState, *, stops: bool) -> str:
    row = trade.fault(fault.fault)
    where = f"{fault.at}: {row.title}"
    if build.proposal is None:
        since = next(each.since for each in build.job.findings if each.id == fault.id)
        told = f"{where}, taken as found{f' by {since}' if since else ''}; this is with it."
    else:
        told = f"{where}, which this plan leaves as it is."
    care = " Connect nothing there until it is mended." if stops else ""
    return f"{told} {row.repair}{care}"
