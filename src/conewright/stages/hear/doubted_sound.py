"""What hear would answer if what find suspects were so: part of stage hear."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.find.suspected import SAMPLES, Difference, Suspicion, suspicions, tell
from conewright.stages.hear.verdicts import AUDIBLE
from conewright.stages.report.words import number, signed, with_band

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build
    from conewright.stages.hear.heard import BuildSound
    from conewright.stages.report.assembly import Answer
    from conewright.stages.report.data import Figure, Report

__all__ = ["suspected_sounds"]

TOLD = {
    "bass_change": "the bass (40 to 100 Hz)",
    "change_treble": "the treble",
    "level_change": "the whole programme",
    "max_clean_level_change": "the loudest clean programme",
}
"""The changes at a seat that are told of, in words; of equals the first."""

Asked = Callable[["Build", "Build", Solver], "Report"]


def suspected_sounds(answer: Answer, sound: BuildSound, ask: Asked) -> None:
    """Say what each suspected fault would change at the seats, or in a change that is shown.

    Args:
        answer: of the build as it is shown, all but finished.
        sound: of that build.
        ask: gives the answer for another build against another one.

    """
    told: list[tuple[Suspicion, Difference]] = []
    build, against = answer.build, answer.against
    for suspicion in suspicions(build):
        other = suspicion.put_into(build)
        before = None if against is None else suspicion.put_into(against)
        state = other or before
        if state is None:
            continue
        solver = Solver(conditioned_draws(state, samples=SAMPLES), sound.frequency)
        then = ask(other or build, build if against is None else before or against, solver)
        difference = _difference(answer, then)
        if difference is not None:
            told.append((suspicion, difference))
    tell(answer, told)


def _difference(answer: Answer, then: Report) -> Difference | None:
    """Return what is heard to be different most; None where nothing is."""
    quiet = next((figure for figure in then.figures if figure.text == "nothing plays"), None)
    if quiet is not None:
        return Difference(quiet, "nothing plays")
    changes = {figure.id: figure for figure in answer.figures}
    found = [each for each in then.figures if each.name in TOLD]
    if not found:
        level = next(figure for figure in then.figures if figure.name == "max_clean_level")
        return Difference(level, f"nothing plays in {then.against}")
    if answer.against is None:
        best = max(found, key=_heard)
        words = f"{TOLD[best.name]} at {best.subject} changes {_by(best)}"
        return Difference(best, words) if _heard(best) >= AUDIBLE else None
    both = [(each, changes[each.id]) for each in found if each.id in changes]
    best, shown = max(both, key=lambda pair: _apart(*pair))
    if _apart(best, shown) < AUDIBLE:
        return None
    return Difference(
        best, f"{TOLD[best.name]} at {best.subject} changes by {with_band(best)} instead"
    )


def _by(change: Figure) -> str:
    """Say how much; of a fault that comes and goes, how much at most."""
    if abs(change.value or 0.0) >= AUDIBLE:
        return f"by {with_band(change)}"
    most = max(change.low or 0.0, change.high or 0.0, key=abs)
    return f"by up to {signed(number(most, 'dB', spread=abs(most) / 2))} at times"


def _heard(figure: Figure) -> float:
    """Return how much a change is in the middle or on average [dB]."""
    return max(abs(each) for each in _middles(figure))


def _apart(one: Figure, other: Figure) -> float:
    """Return how far two changes are apart in the middle or on average [dB]."""
    return max(abs(a - b) for a, b in zip(_middles(one), _middles(other), strict=True))


def _middles(figure: Figure) -> Iterator[float]:
    """Yield a change and the middle of its band, which a fault that comes and goes moves."""
    value = figure.value or 0.0
    yield value
    low, high = figure.low, figure.high
    yield value if low is None or high is None else (low + high) / 2.0
