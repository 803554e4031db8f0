"""The plan in order of work: steps with tools, minutes and the cautions that apply to each.

The steps are rows of a data file; `when` says for which kind of change a row is done, and `each`
whether once for the job or at every place, channel or cable. What mends a fault is a kind too.
What has changed is told by the build, the vehicle as found and the list of faults that a proposal
mends, never by its words.
"""

from __future__ import annotations

from dataclasses import dataclass

from conewright.data_files import data_rows
from conewright.job.builds.states.build import Build
from conewright.phrases import listed
from conewright.stages.common.changes import Changes, removed_places
from conewright.stages.outlay.amounts import Amount, amount_of, in_step
from conewright.stages.report.having import has_all, instead_of

__all__ = ["MINUTES_PER_HOUR", "Step", "total_minutes", "work_steps"]

MINUTES_PER_HOUR = 60.0


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work: what, where, how, with what, how long, what to mind.

    `kind` is that of the change it is done for, `always` for none. `subjects` are the ids of the
    places, channels or supply cables it is done at, none for the whole job; `expect` names what
    the sheet says about what to find there; `minutes` are those when all goes well, as a rule, and
    when it does not.
    """

    id: str
    kind: str
    title: str
    where: str
    how: str
    tools: tuple[str, ...]
    minutes: Amount
    cautions: tuple[str, ...]
    subjects: tuple[str, ...]
    expect: str
    source: str


def work_steps(build: Build, changed: Changes) -> tuple[Step, ...]:
    """Return what is to be done from the vehicle as found to a build, in order of work.

    Args:
        build: the plan; the vehicle as found leaves the readings and the hand-over.
        changed: what it changes.

    """
    found = (_step(build, changed, row) for row in data_rows("stages.outlay", "work.csv"))
    return tuple(step for step in found if step is not None)


def total_minutes(steps: tuple[Step, ...]) -> Amount:
    """Return the time of all steps together: the sums of lows, of typicals and of highs [min]."""
    return in_step(step.minutes for step in steps)


def _step(build: Build, changed: Changes, row: dict[str, str]) -> Step | None:
    """Return a row as a step of this build, None where it is not done."""
    when = row["when"]
    done_at = () if when == "always" else changed.at(when)
    if when != "always" and not done_at:
        return None
    subjects = () if row["each"] == "job" else done_at
    names = {place.id: place.name for place in (*build.locations, *removed_places(build))}
    return Step(
        id=row["step"],
        kind=when,
        title=row["title"],
        where=listed([names.get(subject, subject) for subject in subjects]) if subjects else "",
        how=_how(build, row, subjects),
        tools=tuple(row["tools"].split("; ")),
        minutes=_minutes(row, max(len(subjects), 1)),
        cautions=tuple(row["cautions"].split()),
        subjects=subjects,
        expect=row["expect"],
        source=row["source"],
    )


def _how(build: Build, row: dict[str, str], subjects: tuple[str, ...]) -> str:
    """Return how a step is done in this vehicle: without what it cannot have."""
    needs, instead = instead_of("stages.outlay").get(("work", row["step"]), ("", ""))
    return row["how"] if has_all(build, needs, subjects) else instead


def _minutes(row: dict[str, str], times: int) -> Amount:
    """Return the time of a step done at several places: the first takes longer."""
    others = (amount_of(row["again"]) for _ in range(times - 1))
    return in_step([amount_of(row["minutes"]), *others])
