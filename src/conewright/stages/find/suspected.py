"""What find suspects and nobody has taken as found: for the stages that show the vehicle without.

A stage reckons its answer once more with the suspected fault in, tells in its first sentence what
would be different, and keeps the number as a figure of its report.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, cast

from conewright.errors import BadInputError
from conewright.job.builds.building import SameJob, build_job, build_with
from conewright.job.document.fault_names import FAULTS, FaultName
from conewright.phrases import capital
from conewright.stages.find.faults import trade
from conewright.stages.find.talk.inquiry import inquire
from conewright.stages.report.data import Kind, Severity
from conewright.stages.report.words import odds

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.stages.find.faults.chains import Atom
    from conewright.stages.report.assembly import Answer
    from conewright.stages.report.data import Figure

__all__ = ["SAMPLES", "SUSPECTED", "Difference", "Suspicion", "suspicions", "tell"]

LEAST = 0.25
"""From these odds on a cause counts as suspected; workshop choice."""

MOST_TOLD = 2
"""So many suspicions stand in the first sentence, the likeliest ones; all have a verdict."""

SAMPLES = 64
"""Draws behind what would be different."""

SUSPECTED = "suspected"
"""Subject of the figures about what would be different."""


@dataclass(frozen=True, slots=True)
class Suspicion:
    """A cause that is likely, and that is not among the findings."""

    atom: Atom
    chance: float

    def put_into(self, build: Build) -> Build | None:
        """Return a build as it would be; None where it is the same, as its plan ends the fault.

        Its axes are those of both, so that both can be drawn alike.
        """
        other = build_with(build, cast(FaultName, self.atom.fault), self.atom.subject)
        if all(fault.id != self.atom.id for fault in other.faults):
            return None
        return replace(other, axes=tuple(sorted({*build.axes, *other.axes})))

    @property
    def words(self) -> str:
        """The fault as a clause: `the voice coil at door-fr is open`."""
        return trade.fault(self.atom.fault).if_so.replace("@", self.atom.subject)


@dataclass(frozen=True, slots=True)
class Difference:
    """What would be different: a figure of the answer with the fault in, and what is said of it."""

    figure: Figure
    words: str


def suspicions(build: Build) -> tuple[Suspicion, ...]:
    """Return what find suspects of a build's vehicle as found, the likeliest first.

    Nothing where nobody complains and nothing was read; what find cannot read, find says.
    """
    job = build.job
    return _suspicions(SameJob(job)) if job.about.complaints or job.readings else ()


@lru_cache(maxsize=8)
def _suspicions(same: SameJob) -> tuple[Suspicion, ...]:
    try:
        chances = inquire(build_job(same.job)).chances()
    except BadInputError:
        return ()
    taken = {finding.id for finding in same.job.findings if finding.state == "found"}
    ranked = sorted(chances.items(), key=lambda entry: (-entry[1], entry[0]))
    return tuple(
        Suspicion(atom, chance)
        for atom, chance in ranked
        if chance >= LEAST and atom.fault in FAULTS and atom.id not in taken
    )


def tell(answer: Answer, told: Sequence[tuple[Suspicion, Difference]]) -> None:
    """Add what would be different as figures and verdicts, and to the first sentence."""
    for suspicion, difference in told:
        _figures(answer, suspicion, difference)
    alike: dict[str, list[Suspicion]] = {}
    for suspicion, difference in told[:MOST_TOLD]:
        alike.setdefault(difference.words, []).append(suspicion)
    if clauses := [_clause(these, words) for words, these in alike.items()]:
        answer.sentence = f"{'; '.join([answer.sentence.removesuffix('.'), *clauses])}."


def _clause(these: Sequence[Suspicion], words: str) -> str:
    told = " or ".join(f"{each.words} (find: {odds(each.chance)})" for each in these)
    return f"if {told}, {words}"


def _figures(answer: Answer, suspicion: Suspicion, difference: Difference) -> None:
    atom, found = suspicion.atom, difference.figure
    label = f"{trade.fault(atom.fault).title} at {atom.subject}, by find"
    answer.figure(SUSPECTED, atom.id, suspicion.chance, unit="", kind=Kind.ODDS, label=label)
    name = f"{atom.id}.{found.id}"
    own = {"id": f"{SUSPECTED}.{name}", "subject": SUSPECTED, "name": name}
    label = f"{found.label}, {found.subject}, if {suspicion.words}"
    answer.take(found.model_copy(update={**own, "label": label}))
    answer.verdict(
        atom.subject,
        f"suspected-{atom.fault}",
        Severity.NOTE,
        f"{capital(_clause([suspicion], difference.words))}. Nobody has taken it as found: all "
        "else here is without it.",
        f"{SUSPECTED}.{atom.id}",
        f"{SUSPECTED}.{name}",
    )
