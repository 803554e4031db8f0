"""Which faults a build ends, and why one must not be recommended."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from conewright.data_files import data_rows
from conewright.job.builds.standing import cured
from conewright.job.wildcards import matches
from conewright.stages.common.changes import planned_job
from conewright.stages.common.load import EASY, RadioLoad, overloaded
from conewright.stages.find.faults.chains import shared_returns
from conewright.stages.find.faults.entries import LOW_LOAD, SAG, SHARED_RETURN
from conewright.stages.find.odds.prior import starved_odds
from conewright.stages.fit.margins import FRONT, REAR
from conewright.stages.report.data import Severity
from conewright.stages.report.having import may_have

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from conewright.job.builds.states.build import Build
    from conewright.stages.find.faults.chains import Atom
    from conewright.stages.report.data import Report, Verdict

__all__ = ["Ends", "dangers", "risks"]


LIKELY_STARVED = 0.5
"""A converter that is likelier than this to give too little ends no sagging supply."""


@dataclass(frozen=True)
class Ends:
    """Which faults a build ends: by its changes, by what it says it mends, by what it loads."""

    build: Build
    load: RadioLoad

    def __call__(self, atom: Atom) -> bool:
        """Return whether a fault is there no more in this build."""
        build = self.build
        if build.proposal is None:
            return False
        if atom.fault == LOW_LOAD:
            return atom.subject not in overloaded(self.load)
        if atom.fault == SHARED_RETURN:
            return atom.subject not in shared_returns(build)
        if atom.fault == SAG and starved_odds(self.load) > LIKELY_STARVED:
            return False
        return cured(
            atom.fault,
            atom.subject,
            proposal=build.job.proposal(build.proposal),
            job=build.job,
            changed=planned_job(build),
            paths=build.planned,
        )


def dangers(reports: Sequence[Report]) -> tuple[Verdict, ...]:
    """Return what the stages say of fire and damage in a build, the warnings and the stops.

    Args: reports: of feed, hear and fit.
    """
    return tuple(
        verdict
        for report in reports
        for verdict in report.verdicts
        if verdict.severity.rank >= Severity.WARN.rank and _is_danger(verdict)
    )


@cache
def _dangers() -> tuple[str, ...]:
    return tuple(row["verdict"] for row in data_rows("stages.compare", "dangers.csv"))


def _is_danger(verdict: Verdict) -> bool:
    name = verdict.id.removeprefix(f"{verdict.subject}.")
    return any(matches(name, pattern) for pattern in _dangers())


def risks(load: RadioLoad, reports: Sequence[Report], moved: Iterable[str]) -> tuple[str, ...]:
    """Return why a build must not be recommended, in a repairer's words; nothing where it may.

    Args:
        load: what its radio drives.
        reports: of feed, hear and fit.
        moved: ids of the places where something else is fitted.

    """
    found = [
        f"stopped, since {_first_sentence(verdict.text)}"
        for report in reports
        for verdict in report.verdicts
        if verdict.severity is Severity.STOP
    ]
    found += [
        f"{name} falls below what {'the radio' if unit is None else unit.state.name} bears"
        for name in overloaded(load)
        for unit in [load.amplifier_of(name)]
    ]
    hot = float(np.ravel(load.chip_temperature(EASY))[0])
    if hot > load.build.head_unit.limit.si and may_have(load.build, "output-chip"):
        found.append("its chip would protect itself with loud music")
    places = frozenset(moved)
    found += [
        f"{figure.subject} is likely too tight"
        for report in reports
        for figure in report.figures
        if figure.subject in places
        and (limit := LIMITS.get(figure.name)) is not None
        and (figure.value or 0.0) > limit
    ]
    return tuple(dict.fromkeys(found))


def _first_sentence(text: str) -> str:
    """Return the first sentence of a verdict as the end of another one."""
    first = text.partition(". ")[0].rstrip(".")
    return f"{first[:1].lower()}{first[1:]}" if first[1:2].islower() else first


LIMITS = {"rear_odds": REAR.odds, "front_odds": FRONT.odds}
"""Chance of being too tight, by the figure of fit, beyond which a plan is not recommended."""
