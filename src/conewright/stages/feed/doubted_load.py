"""What feed would answer if what find suspects were so: part of stage feed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from conewright.phrases import listed
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.damage import OPEN_FROM
from conewright.stages.find.suspected import SAMPLES, Difference, Suspicion, suspicions, tell
from conewright.stages.report.words import with_band, without_band

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.stages.common.load import RadioLoad
    from conewright.stages.report.assembly import Answer
    from conewright.stages.report.data import Figure, Report

__all__ = ["suspected_loads"]

NOTICED = 0.05
"""What changes by a smaller share is not spoken of."""

AT_TIMES = 1.25
"""A band that reaches higher by this factor is that of a fault that comes and goes."""

Asked = Callable[["Build", Solver], "Report"]


def suspected_loads(answer: Answer, load: RadioLoad, ask: Asked) -> None:
    """Say what each suspected fault would change in what the channels drive and the radio takes.

    Args:
        answer: of the build as it is shown, all but finished.
        load: of that build.
        ask: gives the answer for another build.

    """
    told: list[tuple[Suspicion, Difference]] = []
    for suspicion in suspicions(answer.build):
        other = suspicion.put_into(answer.build)
        if other is None:
            continue
        solver = Solver(conditioned_draws(other, samples=SAMPLES), load.circuit.frequency)
        difference = next(_differences(answer, load, ask(other, solver)), None)
        if difference is not None:
            told.append((suspicion, difference))
    tell(answer, told)


def _differences(answer: Answer, load: RadioLoad, then: Report) -> Iterator[Difference]:
    """Yield what is different then, what matters most first."""
    yield from _silenced(answer, load, then)
    for name in load.live:
        was, now = answer[f"{name}.minimum_impedance"], then.figure(f"{name}.minimum_impedance")
        if now.high is not None and now.high >= OPEN_FROM:
            yield Difference(now, f"the {without_band(was)} of {name} become no load at times")
        elif _changes(was, now):
            yield Difference(now, f"the {without_band(was)} of {name} become {with_band(now)}")
    for name in load.live:
        for figure, words in (("clean_power", ""), ("clean_power_all", ", all channels at once")):
            was, now = answer[f"{name}.{figure}"], then.figure(f"{name}.{figure}")
            if _changes(was, now):
                told = f"{name} gives {with_band(now)} clean instead of {without_band(was)}{words}"
                yield Difference(now, told)
    for figure, words in (
        ("days_to_no_start", "it no longer starts after {now} with the key off, not {was}"),
        ("sleep_current", "the vehicle draws {now} asleep instead of {was}"),
    ):
        was, now = answer[f"vehicle.{figure}"], then.figure(f"vehicle.{figure}")
        if _changes(was, now):
            yield Difference(now, words.format(was=without_band(was), now=with_band(now)))


def _silenced(answer: Answer, load: RadioLoad, then: Report) -> Iterator[Difference]:
    """Yield what plays no more: all, or one channel with what becomes of its load."""
    gone = [name for name in load.live if then.figure(f"{name}.clean_power").value is None]
    if not gone:
        return
    impedance, power = (
        then.figure(f"{gone[0]}.{name}") for name in ("minimum_impedance", "clean_power")
    )
    was = answer[impedance.id]
    if len(gone) == len(load.live):
        yield Difference(power, "nothing plays")
    elif len(gone) > 1:
        yield Difference(power, f"{listed(gone)} play nothing")
    elif impedance.value is None:
        yield Difference(impedance, f"the {without_band(was)} of {gone[0]} become no load")
    elif _changes(was, impedance):
        told = (
            f"the {without_band(was)} of {gone[0]} become {with_band(impedance)}, and nothing plays"
        )
        yield Difference(impedance, f"{told} there")
    else:
        given = without_band(answer[power.id])
        yield Difference(power, f"{gone[0]} plays nothing, where it gives {given} clean now")


def _changes(was: Figure, now: Figure) -> bool:
    """Whether a figure moves by more than nobody would notice, or does so at times."""
    if was.value is None or now.value is None:
        return False
    moved = abs(now.value - was.value) > NOTICED * abs(was.value)
    return moved or (now.high or 0.0) > AT_TIMES * max(was.value, was.high or 0.0)
