"""The ways to mend what was found, side by side: price, minutes, and how long each holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.job.document.document import Proposal
from conewright.job.repairs import Repair, repairs_of
from conewright.stages.find.talk.inquiry import inquire
from conewright.stages.find.talk.mending import established
from conewright.stages.outlay.amounts import Amount, together
from conewright.stages.outlay.reckoning import outlay
from conewright.stages.outlay.steps import total_minutes
from conewright.stages.report.words import number, odds

if TYPE_CHECKING:
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build

__all__ = ["WayToMend", "ways_to_mend"]


@dataclass(frozen=True, slots=True)
class WayToMend:
    """One way to deal with a fault that was found.

    Attributes:
        repair: as a plan names it, repair@place.
        fault: as fault@place.
        title: in words.
        usual: whether it is done where nothing else is chosen.
        parts: price of what it uses up, in the job's currency.
        minutes: of its own steps, with the trim off and on, without what every job takes.
        holds: chance that it holds two years.
        back: what comes back where it does not.

    """

    repair: str
    fault: str
    title: str
    usual: bool
    parts: Amount
    minutes: Amount
    holds: Amount
    back: str

    @property
    def words(self) -> str:
        """All of it in a sentence."""
        cost, time = (
            f"{number(each.typical, unit)} ({number(each.low)} to {number(each.high)})"
            for each, unit in ((self.parts, ""), (self.minutes, "min"))
        )
        return (
            f"{self.repair}: {self.title}; parts {cost}, {time}, holds two years with "
            f"{odds(self.holds.typical)}; else {self.back}"
        )


def ways_to_mend(job: Job) -> tuple[WayToMend, ...]:
    """Return every way to deal with each fault that was found, or is certain: price, time, odds.

    Args: job: with findings, or readings that make a fault certain.
    Returns: the usual way of a fault first, leaving it as it is last; none for faults that are
    mended in one way only.

    >>> import conewright as cw
    >>> job = cw.demo_job().with_finding("surround-torn", "door-fl")
    >>> [(way.repair, way.holds.typical) for way in cw.ways_to_mend(job)]
    [('re-edge@door-fl', 0.9), ('used@door-fl', 0.4), ('new@door-fl', 0.98), ('keep@door-fl', 0.15)]
    """
    faults = established(job, inquire(job.build()).chances())
    asked = [
        (repair, fault, f"{repair.name}@{at}")
        for fault in faults
        for name, _, at in (fault.partition("@"),)
        for repair in repairs_of(name)
    ]
    plans = tuple(
        Proposal(id=f"way-{index}", repairs=(repair,)) for index, (_, _, repair) in enumerate(asked)
    )
    tried = job.model_copy(update={"proposals": plans})
    return tuple(_way(tried.build(plan.id), *each) for plan, each in zip(plans, asked, strict=True))


def _way(build: Build, repair: Repair, fault: str, words: str) -> WayToMend:
    taken = outlay(build)
    steps = (step for step in taken.steps if step.kind != ALWAYS)
    return WayToMend(
        repair=words,
        fault=fault,
        title=repair.title,
        usual=repair.usual,
        parts=together(line.cost for line in taken.lines if line.kind in BOUGHT),
        minutes=total_minutes(tuple(steps)),
        holds=Amount(*repair.holds),
        back=repair.back,
    )


ALWAYS = "always"
BOUGHT = ("driver", "radio", "material")
