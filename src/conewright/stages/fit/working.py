"""The working behind the clearances of fit, and behind the spacers that do."""

from __future__ import annotations

from collections.abc import Iterable

from conewright.job.builds.states.value import Value
from conewright.job.quantity.units import MM
from conewright.stages.fit.margins import FRONT, REAR, Margin
from conewright.stages.fit.sandwich import Sandwich
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Figure
from conewright.stages.report.words import number

__all__ = ["fit_working"]


def fit_working(answer: Answer, sandwich: Sandwich) -> None:
    """Add the working of the clearances and of the spacer window."""
    figures = {each.name: each for each in answer.figures if each.subject == sandwich.place.id}
    place, frame = sandwich.place, sandwich.place.driver.frame
    spacer = _mm(place.mount.spacer.si)
    if sandwich.rear:
        point = figures[f"glass_depth_{sandwich.tightest + 1}"]
        play = _mm(float(sandwich.play[0, 0]))
        answer.work(
            figures["rear_clearance"].id,
            "depth behind + spacer − depth of the driver − play of the glass",
            f"{_plain(point)} + {spacer} − {_mm(frame.depth.si)} − {play}"
            f" = {_plain(figures['rear_clearance'])}",
            "geometry; play of the glass half normal, sigma 1 mm, from memory",
            *(value.path for value in sandwich.rear_inputs),
        )
        _work_odds(answer, figures["rear_odds"], sandwich.rear_inputs, "behind", REAR)
    if sandwich.front is not None:
        travel = _mm(float(sandwich.travel[0, 0]))
        answer.work(
            figures["front_clearance"].id,
            "gap to the trim − spacer − height of the front − (mechanical travel + 1 mm)",
            f"{_plain(figures['trim_gap'])} − {spacer} − {_mm(frame.front_height.si)} − {travel}"
            f" = {_plain(figures['front_clearance'])}",
            "geometry; mechanical travel 0.75 to 1.4 times Xmax, from memory",
            *(value.path for value in sandwich.front_inputs),
        )
        _work_odds(answer, figures["front_odds"], sandwich.front_inputs, "in front", FRONT)
    _work_window(answer, sandwich)


def _work_odds(
    answer: Answer, figure: Figure, inputs: Iterable[Value], where: str, margin: Margin
) -> None:
    samples = answer.draws.samples
    answer.work(
        figure.id,
        f"share of draws with less than {margin.words} {where}",
        f"{round((figure.value or 0.0) * samples)} of {samples} draws",
        "sampling of the spreads",
        *(value.path for value in inputs),
    )


def _work_window(answer: Answer, sandwich: Sandwich) -> None:
    window = sandwich.window
    low = "not known" if window.low is None else _mm(window.low)
    high = "not known" if window.high is None else _mm(window.high)
    answer.work(
        f"{sandwich.place.id}.spacer_low",
        f"thinnest: chance of less than {REAR.words} behind is {REAR.odds:.0%}; thickest: "
        f"chance of less than {FRONT.words} in front is {FRONT.odds:.0%}",
        f"at least {low}, at most {high}",
        "margins and accepted odds by common practice, no source",
        *dict.fromkeys(v.path for v in (*sandwich.rear_inputs, *sandwich.front_inputs)),
    )


def _plain(figure: Figure) -> str:
    return number(round(figure.value or 0.0, 1), figure.unit)


def _mm(metres: float) -> str:
    return number(round(metres * MM, 1), "mm")
