"""What fit says in words, and the working behind its clearances."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor

from conewright.job.builds.state import LocationState, Origin, Value
from conewright.job.quantity.size import parse_size
from conewright.job.quantity.units import MM
from conewright.phrases import capital, listed
from conewright.stages.common.changes import moved_places, planned_job
from conewright.stages.common.screws import screws_agree
from conewright.stages.fit.margins import (
    EDGE_WANTED,
    FRONT,
    LAND_WANTED,
    REAR,
    SEAT_WANTED,
    Margin,
)
from conewright.stages.fit.sandwich import (
    WINDOW_KINDS,
    Sandwich,
    SpacerWindow,
)
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Figure, Severity
from conewright.stages.report.words import number, odds, with_band

__all__ = ["behind_verdicts", "fit_sentence", "fit_verdicts", "fit_working", "unjudged_verdicts"]


ADAPTER = 6e-3
"""Thinnest stiff adapter ring, of plastic; 12 mm of board [m]; workshop experience."""

GROUPS = {
    Severity.STOP: "does not go in",
    Severity.WARN: "doubtful",
    Severity.NOTE: "to be checked",
    Severity.GOOD: "goes in",
}


AS_A_DOOR = "steel to glass, window fully down, at three points; the gap to the trim; the opening"
TO_MEASURE = {
    "box": "how deep the box is inside, to its brace or back; the opening; the height in front",
    "open": "the opening in the board; from the board to the next thing behind, and in front",
    "boot-shelf": "from the shelf down to the next thing in the boot (torsion bar, hinge, luggage "
    "floor); the gap to the grille; the opening",
}
"""What decides whether a driver goes in, by the kind of place."""

KEPT_FREE = {
    "open": "nothing may close the back of the board: a seat or a bag against it makes a small box "
    "of it, which nobody reckoned with. Leave as much free behind as the cone is wide (common "
    "practice, no source).",
    "boot-shelf": "the boot is the air behind: luggage below the basket must not touch the cone or "
    "its lead. A cage or a cloth keeps it away (common practice, no source).",
}


def fit_verdicts(answer: Answer, sandwich: Sandwich, *, opened: bool) -> None:
    """Add the verdicts about one place.

    Args:
        answer: holds the figures of the place.
        sandwich: its clearances.
        opened: whether the plan changes the place; if not, what is there does fit somehow, and a
            typical frame is no reason for more than a note.

    """
    _behind(answer, sandwich, opened=opened)
    _in_front(answer, sandwich, opened=opened)
    _spacer(answer, sandwich, opened=opened)
    _hole(answer, sandwich, opened=opened)
    _screws(answer, sandwich)
    _oval(answer, sandwich)
    _change(answer, sandwich)


def behind_verdicts(answer: Answer, places: Iterable[LocationState]) -> None:
    """Say of the places whose back is open what has to stay behind them: air."""
    for kind, text in KEPT_FREE.items():
        names = [place for place in places if place.kind == kind]
        if names:
            told = listed([place.id for place in names])
            answer.verdict(names[0].id, "back", Severity.NOTE, f"{told}: {text}")


def unjudged_verdicts(answer: Answer, places: Iterable[LocationState]) -> None:
    """Add a note for each place that gets another driver though nothing was measured there."""
    for place in places:
        text = (
            f"{capital(place.name)} gets another driver and nothing was measured there: whether it "
            f"goes in is not judged. Measure {TO_MEASURE.get(place.kind, AS_A_DOOR)}."
        )
        answer.verdict(place.id, "unmeasured", Severity.NOTE, text)


def fit_sentence(answer: Answer, places: Iterable[LocationState]) -> None:
    """Add the answer in one sentence: what goes in and what does not."""
    groups: dict[Severity, list[str]] = {severity: [] for severity in GROUPS}
    for place in places:
        about = [f"{place.id}.{name}" for name in ("rear", "front", "spacer", "hole", "screws")]
        own = [verdict.severity for verdict in answer.verdicts if verdict.id in about]
        worst = max(own, key=_rank, default=None)
        if worst is not None:
            groups[worst].append(place.name)
    said = [f"{GROUPS[s]}: {', '.join(names)}" for s, names in groups.items() if names]
    build = answer.build
    if said:
        answer.sentence = f"{capital('; '.join(said))}."
    elif build.proposal is not None and not moved_places(build.job, planned_job(build)):
        answer.sentence = "This plan moves no loudspeaker: what sits in each place fits there."
    else:
        answer.sentence = "Nothing can be judged: no depth, gap or opening was measured anywhere."


def fit_working(answer: Answer, sandwich: Sandwich) -> None:
    """Add the working of the clearances and of the spacer window."""
    figures = _figures(answer, sandwich.place)
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


def _behind(answer: Answer, sandwich: Sandwich, *, opened: bool) -> None:
    place = sandwich.place
    figures = _figures(answer, place)
    rear, chance, touch = (figures[n] for n in ("rear_clearance", "rear_odds", "touch_odds"))
    if rear.value is None or chance.value is None or touch.value is None:
        if place.kind in WINDOW_KINDS:
            text = f"Room behind {place.driver.name} is {rear.text}."
            answer.verdict(place.id, "rear", Severity.NOTE, text, rear.id)
        return
    what = "the glass, window down" if place.kind in WINDOW_KINDS else "what is behind"
    points = len(sandwich.rear)
    where = f"at the tightest of {points} points" if points > 1 else "at the one point measured"
    room = f"{with_band(rear)} to {what}, {where}"
    if touch.value >= REAR.odds:
        severity = Severity.STOP
        text = f"{_meets(rear)} {what}: {with_band(rear)} {where}; touching: {odds(touch.value)}."
    elif chance.value >= REAR.odds:
        severity = Severity.WARN
        text = f"Tight behind: {room}; under {REAR.words}: {odds(chance.value)}. "
        text += f"Prove {REAR.words} with clay through full travel of the window, or take "
        text += "another spacer or driver."
    else:
        severity = Severity.GOOD
        text = f"Room behind: {room}; under {REAR.words}: {odds(chance.value)}."
    if not (place.driver.frame and _given(place.driver.frame.depth)):
        severity, text = _trusted(severity, text, opened=opened)
    answer.verdict(place.id, "rear", severity, text, rear.id, chance.id, touch.id)


def _in_front(answer: Answer, sandwich: Sandwich, *, opened: bool) -> None:
    place = sandwich.place
    figures = _figures(answer, place)
    front, chance = figures["front_clearance"], figures["front_odds"]
    touch = figures["front_touch_odds"]
    if front.value is None or chance.value is None or touch.value is None:
        if place.kind == "door" or (place.trim is not None and place.trim.present):
            text = f"Room in front of {place.driver.name} is {front.text}."
            answer.verdict(place.id, "front", Severity.NOTE, text, front.id)
        return
    room = f"{with_band(front)} to the trim, cone at full travel"
    if touch.value >= FRONT.odds:
        severity = Severity.STOP
        text = f"{_meets(front)} the trim: {with_band(front)}, cone at full travel; touching: "
        text += f"{odds(touch.value)}."
    elif chance.value >= FRONT.odds:
        severity = Severity.WARN
        text = f"Tight in front: {room}; under {FRONT.words}: {odds(chance.value)}. "
        text += f"Prove {FRONT.words} with clay between driver and trim, or take another spacer "
        text += "or driver."
    elif chance.value >= REAR.odds:
        severity = Severity.NOTE
        text = f"Room in front: {room}; under {FRONT.words}: {odds(chance.value)}: check with clay "
        text += "before the trim goes on for good."
    else:
        severity = Severity.GOOD
        text = f"Room in front: {room}; under {FRONT.words}: {odds(chance.value)}."
    if not (place.driver.frame and _given(place.driver.frame.front_height)):
        severity, text = _trusted(severity, text, opened=opened)
    answer.verdict(place.id, "front", severity, text, front.id, chance.id)


def _given(dimension: Value) -> bool:
    """Whether a dimension of the frame was measured or stands on its sheet."""
    return dimension.origin in (Origin.MEASURED, Origin.SHEET)


def _trusted(severity: Severity, text: str, *, opened: bool) -> tuple[Severity, str]:
    """Keep a verdict that rests on a typical frame between a note and a warning."""
    most = Severity.WARN if opened else Severity.NOTE
    kept = max(min(severity, most, key=_rank), Severity.NOTE, key=_rank)
    return kept, f"{text} That is for a typical frame of this size: measure the real one."


def _rank(severity: Severity) -> int:
    return severity.rank


def _spacer(answer: Answer, sandwich: Sandwich, *, opened: bool) -> None:
    place, window = sandwich.place, sandwich.window
    frame = place.driver.frame
    typical = frame is not None and not (_given(frame.depth) and _given(frame.front_height))
    if (window.low is None and window.high is None) or (typical and not opened):
        return
    if window.empty:
        severity, text = Severity.WARN, _no_spacer(window)
    else:
        fits = window.holds(spacer=place.mount.spacer.si)
        judged = window.low is not None and window.high is not None
        severity = Severity.GOOD if fits and judged else Severity.NOTE
        text = f"{_some_spacer(window)}; {_mm(place.mount.spacer.si)} is planned."
    if typical:
        severity, text = _trusted(severity, text, opened=opened)
    ids = (f"{place.id}.spacer_low", f"{place.id}.spacer_high")
    answer.verdict(place.id, "spacer", severity, text, *ids)


def _no_spacer(window: SpacerWindow) -> str:
    low, high = window.low or 0.0, window.high or 0.0
    if high <= 0.0:
        return "No spacer will do: even without one the trim is too near. Take a shallower driver."
    return (
        f"No spacer will do: the room behind asks for {_up(low)} or more, the trim allows "
        f"{_down(high)}. Take a shallower driver."
    )


def _some_spacer(window: SpacerWindow) -> str:
    low = _up(window.low or 0.0)
    if window.high is None:
        return f"A spacer of {low} or more does behind; the gap to the trim is not measured"
    high = _down(window.high)
    if window.low is None:
        return f"A spacer of {high} or less does in front; the depth behind is not measured"
    return (
        f"A spacer from {low} to {high} does on both sides"
        if window.low > 0.0
        else f"Any spacer up to {high} does on both sides"
    )


def _hole(answer: Answer, sandwich: Sandwich, *, opened: bool) -> None:
    place = sandwich.place
    figures = _figures(answer, place)
    enlarge, land = figures["enlarge"], figures["land_left"]
    frame, cutout = place.driver.frame, place.mount.cutout
    if cutout is None:
        return
    # Which dimension of the frame the verdict rests on: that one must not be a typical one.
    typical = not _given(frame.cutout if enlarge.value else frame.outer)
    if typical and not opened:
        return
    if enlarge.value:
        severity, left = _land_left(land)
        text = (
            f"The opening has to grow by {_plain(enlarge)} in diameter, from {_mm(cutout.si)} to "
            f"{_mm(frame.cutout.si)}; {left}. Never into a beam or a sensor's bracket."
        )
    elif frame.outer.si < cutout.si + 2 * SEAT_WANTED:
        severity = Severity.WARN
        text = (
            f"The opening of {_mm(cutout.si)} is too wide for a flange of {_mm(frame.outer.si)}: "
            f"{_adapter(sandwich)}"
        )
    else:
        return
    if typical:
        severity, text = _trusted(severity, text, opened=opened)
    answer.verdict(place.id, "hole", severity, text, enlarge.id, land.id)


def _land_left(land: Figure) -> tuple[Severity, str]:
    if land.value is None:
        return Severity.NOTE, f"the flat steel around it is {land.text}"
    left = f"{_plain(land)} of flat steel is left, {_mm(LAND_WANTED)} is wanted"
    if land.value <= 0.0:
        return Severity.STOP, left
    return (Severity.WARN if land.value < LAND_WANTED * MM else Severity.NOTE), left


def _screws(answer: Answer, sandwich: Sandwich) -> None:
    place, agree = sandwich.place, screws_agree(sandwich.place)
    figures = _figures(answer, place)
    match, edge = figures["screws_match"], figures["screw_edge"]
    if agree is None:
        return
    if agree:
        answer.verdict(place.id, "screws", Severity.GOOD, "The screw holes match.", match.id)
        return
    text = f"The screw holes do not match: {_adapter(sandwich)}"
    if edge.value is not None and edge.value < EDGE_WANTED * MM:
        text += (
            f" New holes would lie {_plain(edge)} from the edge of the opening; two screw "
            f"diameters are wanted, {_mm(EDGE_WANTED)} for a 4 mm screw."
        )
    answer.verdict(place.id, "screws", Severity.NOTE, text, match.id, edge.id)


def _adapter(sandwich: Sandwich) -> str:
    """Say that an adapter is needed, and whether the trim leaves room for it."""
    text = f"an adapter ring is needed, {_mm(ADAPTER)} of plastic or 12 mm of board at least"
    high = sandwich.window.high
    if high is None or high >= ADAPTER:
        return f"{text}; it counts as spacer."
    return f"{text}, and the trim allows {_down(max(high, 0.0))}: make it sit inside the opening."


def _oval(answer: Answer, sandwich: Sandwich) -> None:
    place = sandwich.place
    if place.driver.size and parse_size(place.driver.size).oval:
        text = "Oval frame: only the short axis is judged. Hold frame and opening together."
        answer.verdict(place.id, "oval", Severity.NOTE, text)


def _change(answer: Answer, sandwich: Sandwich) -> None:
    figures = _figures(answer, sandwich.place)
    if answer.against is None:
        return
    sides = {"rear_clearance_change": "behind", "front_clearance_change": "in front"}
    said = [
        f"{_plain(figures[name], absolute=True)} {'more' if value > 0.0 else 'less'} {side}"
        for name, side in sides.items()
        if name in figures and (value := figures[name].value)
    ]
    if said:
        ids = [figures[name].id for name in sides if name in figures]
        text = f"Against {answer.against.id}: {', '.join(said)}."
        answer.verdict(sandwich.place.id, "change", Severity.NOTE, text, *ids)


def _figures(answer: Answer, place: LocationState) -> dict[str, Figure]:
    return {figure.name: figure for figure in answer.figures if figure.subject == place.id}


def _meets(clearance: Figure) -> str:
    return "It meets" if (clearance.value or 0.0) <= 0.0 else "It may meet"


def _plain(figure: Figure, *, absolute: bool = False) -> str:
    value = figure.value or 0.0
    return number(round(abs(value) if absolute else value, 1), figure.unit)


def _mm(metres: float) -> str:
    return number(round(metres * MM, 1), "mm")


def _up(metres: float) -> str:
    """To the next tenth of a millimetre above; a hair of rounding is no tenth."""
    return number(ceil(metres * MM * 10 - 1e-6) / 10, "mm")


def _down(metres: float) -> str:
    return number(floor(metres * MM * 10 + 1e-6) / 10, "mm")
