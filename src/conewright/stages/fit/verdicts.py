"""What fit says in words, and the working behind its clearances."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor

import numpy as np

from conewright.job.builds.states.location import LocationState
from conewright.job.builds.states.value import Value
from conewright.job.quantity.units import MM
from conewright.phrases import capital, listed
from conewright.stages.common.changes import half_measured, moved_places, planned_job
from conewright.stages.common.screws import screws_agree
from conewright.stages.fit.margins import (
    EDGE_WANTED,
    FRONT,
    LAND_WANTED,
    REAR,
    SEAT_WANTED,
)
from conewright.stages.fit.proved import Proved, is_given
from conewright.stages.fit.sandwich import Sandwich, SpacerWindow
from conewright.stages.fit.ways import another_driver, ring_that_does, way_in
from conewright.stages.outlay.stock import Stock, made_of, stock_of
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Figure, Severity
from conewright.stages.report.having import WINDOW_KINDS
from conewright.stages.report.words import number, odds, with_band

__all__ = [
    "behind_verdicts",
    "fit_sentence",
    "fit_verdicts",
    "proof_verdicts",
    "sitting_verdict",
    "unjudged_verdicts",
]


TOLD = 0.1
"""A depth that what sits there moves by less is not spoken of [mm]."""

GROUPS = {
    Severity.STOP: "does not go in",
    Severity.WARN: "doubtful",
    Severity.NOTE: "to be checked",
    Severity.GOOD: "goes in",
}


FREE_BEHIND = "how far it is free behind"
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


def fit_verdicts(
    answer: Answer, sandwich: Sandwich, found: LocationState | None, *, opened: bool
) -> None:
    """Add the verdicts about one place.

    Args:
        answer: holds the figures of the place.
        sandwich: its clearances.
        found: the place as it was found; None for one that is new.
        opened: whether the plan changes the place; if not, what is there does fit somehow, and a
            typical frame is no reason for more than a note.

    """
    _behind(answer, sandwich, found, opened=opened)
    _in_front(answer, sandwich, opened=opened)
    _spacer(answer, sandwich, opened=opened)
    _hole(answer, sandwich, opened=opened)
    _screws(answer, sandwich)
    _oval(answer, sandwich)
    _change(answer, sandwich)


def sitting_verdict(answer: Answer, sandwich: Sandwich) -> None:
    """Say of a driver that was found in its place that it goes in: it is there."""
    place, figures = sandwich.place, _figures(answer, sandwich.place)
    room = [
        f"{with_band(figures[name])} {side}"
        for name, side in (("rear_clearance", "behind"), ("front_clearance", "in front"))
        if figures[name].value is not None
    ]
    told = f" What was measured leaves it {' and '.join(room)}." if room else ""
    if not is_given(place.driver.frame.depth):
        told = ""
    text = f"{place.driver.name} sits there: proof that it goes in.{told}"
    answer.verdict(place.id, "sits", Severity.GOOD, capital(text))


def proof_verdicts(answer: Answer, proved: Iterable[Proved], *, moved: bool) -> None:
    """Say what the driver that was found in a place proves of the room there, or that it cannot be
    as it was measured.

    Args:
        answer: holds the draws after that proof.
        proved: of one place.
        moved: whether something else comes in there, which that room is for.

    """
    for side in dict.fromkeys(each.side for each in proved):
        here = [each for each in proved if each.side == side]
        place, least = here[0].place, _mm(here[0].limit)
        wrong = [each for each in here if not each.agrees]
        if wrong:
            read = listed([_mm(each.value.si) for each in wrong])
            text = (
                f"Measured {side} were {read}, and {place.driver.name}, which sits there, takes "
                f"{least}: one of the two is wrong. Measure again."
            )
            answer.verdict(place.id, f"disproved_{side.split()[-1]}", Severity.WARN, text)
        told = [taken for each in here if (taken := _narrowed(answer, each))]
        if told and moved:
            text = (
                f"{capital(place.driver.name)} has been in there, so that there are {least} {side} "
                f"at least: {listed(told)}."
            )
            answer.verdict(place.id, f"proved_{side.split()[-1]}", Severity.NOTE, text)


def _narrowed(answer: Answer, proved: Proved) -> str:
    """Say as what a measured depth is taken after what was proved; nothing where it stays."""
    if not proved.agrees:
        return ""
    now, was = MM * answer.draws(proved.value), _mm(proved.value.si)
    middle = float(now[0, 0])
    if abs(middle - MM * proved.value.si) < TOLD:
        return ""
    low, high = (f"{float(np.quantile(now[1:], end)):.1f}" for end in (0.1, 0.9))
    return f"{was} as measured is taken as {middle:.1f} mm ({low} to {high})"


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
            f"goes in is not judged. Measure {_to_measure(place)}."
        )
        answer.verdict(place.id, "unmeasured", Severity.NOTE, text)


def _to_measure(place: LocationState) -> str:
    """Return what decides whether a driver goes in."""
    if place.kind in TO_MEASURE:
        return TO_MEASURE[place.kind]
    door = place.kind in WINDOW_KINDS
    behind = "steel to glass, window fully down, at three points" if door else FREE_BEHIND
    return f"{behind}; the gap to the trim; the opening"


def fit_sentence(answer: Answer, places: Iterable[LocationState]) -> None:
    """Add the answer in one sentence: what goes in and what does not."""
    groups: dict[Severity, list[str]] = {severity: [] for severity in GROUPS}
    sitting: list[str] = []
    for place in places:
        about = [f"{place.id}.{name}" for name in ("rear", "front", "spacer", "hole", "screws")]
        own = [verdict.severity for verdict in answer.verdicts if verdict.id in about]
        worst = max(own, key=_rank, default=None)
        if worst is not None:
            groups[worst].append(place.name)
        elif any(verdict.id == f"{place.id}.sits" for verdict in answer.verdicts):
            sitting.append(place.name)
    said = [f"{GROUPS[s]}: {', '.join(names)}" for s, names in groups.items() if names]
    if sitting:
        said.append(f"goes in, since it sits there already: {', '.join(sitting)}")
    build = answer.build
    if said:
        answer.sentence = f"{capital('; '.join(said))}."
    elif build.proposal is not None and not moved_places(build.job, planned_job(build)):
        answer.sentence = "This plan moves no loudspeaker: what sits in each place fits there."
    else:
        answer.sentence = "Nothing can be judged: no depth, gap or opening was measured anywhere."


def _behind(
    answer: Answer, sandwich: Sandwich, found: LocationState | None, *, opened: bool
) -> None:
    place = sandwich.place
    figures = _figures(answer, place)
    rear, chance, touch = (figures[n] for n in ("rear_clearance", "rear_odds", "touch_odds"))
    if rear.value is None or chance.value is None or touch.value is None:
        less = _less_behind(place, found)
        if less:
            answer.verdict(place.id, "rear", Severity.GOOD, less)
        elif place.kind in WINDOW_KINDS:
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
        text += _way(answer, sandwich)
    elif chance.value >= REAR.odds:
        severity = Severity.WARN
        text = f"Tight behind: {room}; under {REAR.words}: {odds(chance.value)}. "
        through = " through full travel of the window" if place.kind in WINDOW_KINDS else ""
        text += f"Prove {REAR.words} with clay{through}.{_way(answer, sandwich)}"
    else:
        severity = Severity.GOOD
        text = f"Room behind: {room}; under {REAR.words}: {odds(chance.value)}."
    if not is_given(place.driver.frame.depth):
        severity, text = _trusted(severity, text, opened=opened)
    answer.verdict(place.id, "rear", severity, text, rear.id, chance.id, touch.id)


def _less_behind(place: LocationState, found: LocationState | None) -> str:
    """Say that a driver takes less behind the steel than the one that sits there, where it does."""
    if found is None:
        return ""
    depths = (place.driver.frame.depth, found.driver.frame.depth)
    now, then = (p.driver.frame.depth.si - p.mount.spacer.si for p in (place, found))
    if now > then or not all(map(is_given, depths)):
        return ""
    less = f"{_mm(then - now)} less" if then > now else "No more"
    return f"{less} behind the steel than {found.driver.name}, which sits there: it goes in."


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
        text += f"{odds(touch.value)}.{_way(answer, sandwich)}"
    elif chance.value >= FRONT.odds:
        severity = Severity.WARN
        text = f"Tight in front: {room}; under {FRONT.words}: {odds(chance.value)}. "
        text += f"Prove {FRONT.words} with clay between driver and trim.{_way(answer, sandwich)}"
    elif chance.value >= REAR.odds:
        severity = Severity.NOTE
        text = f"Room in front: {room}; under {FRONT.words}: {odds(chance.value)}: check with clay "
        text += "before the trim goes on for good."
    else:
        severity = Severity.GOOD
        text = f"Room in front: {room}; under {FRONT.words}: {odds(chance.value)}."
    if not is_given(place.driver.frame.front_height):
        severity, text = _trusted(severity, text, opened=opened)
    answer.verdict(place.id, "front", severity, text, front.id, chance.id)


def _way(answer: Answer, sandwich: Sandwich) -> str:
    """Return the first mend that works, as a sentence after another one; nothing where no spacer
    would do, of which the verdict on the spacer tells.
    """
    if sandwich.window.empty:
        return ""
    stiff = screws_agree(sandwich.place) is False
    said = way_in(sandwich, stock_of(answer.build.job), stiff=stiff)
    return f" {said}" if said else ""


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
    typical = frame is not None and not (is_given(frame.depth) and is_given(frame.front_height))
    if (window.low is None and window.high is None) or (typical and not opened):
        return
    if window.empty:
        severity, text = (
            Severity.WARN,
            " ".join((_no_spacer(window), another_driver(sandwich, stock_of(answer.build.job)))),
        )
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
        return "No spacer will do: even without one the trim is too near."
    return (
        f"No spacer will do: the room behind asks for {_up(low)} or more, the trim allows "
        f"{_down(high)}."
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
    hole = place.mount.axes or (cutout, cutout)
    # Which dimension of the frame the verdict rests on: that one must not be a typical one.
    typical = not all(map(is_given, frame.axes if enlarge.value else frame.flange_axes))
    if typical and not opened:
        return
    if enlarge.value:
        severity, left = _land_left(land)
        how = "along one axis" if _is_oval(place) else "in diameter"
        wide = [max(needs.si, has.si) for needs, has in zip(frame.axes, hole, strict=True)]
        text = (
            f"The opening has to grow by {_plain(enlarge)} {how}, from {_by(hole)} to "
            f"{_by_metres(*wide)}; {left}. Never into a beam or a sensor's bracket."
        )
    elif _too_wide(place):
        severity = Severity.WARN
        text = (
            f"The opening of {_by(hole)} is too wide for a flange of {_by(frame.flange_axes)}: "
            f"{_adapter(answer, sandwich)}"
        )
    else:
        return
    if typical:
        severity, text = _trusted(severity, text, opened=opened)
    answer.verdict(place.id, "hole", severity, text, enlarge.id, land.id)


def _is_oval(place: LocationState) -> bool:
    return place.driver.frame.cutout_long is not None or place.mount.cutout_long is not None


def _too_wide(place: LocationState) -> bool:
    """Whether the flange leaves too little of itself on the steel, along either axis."""
    hole, flange = place.mount.axes, place.driver.frame.flange_axes
    if hole is None:
        return False
    both = list(zip(flange, hole, strict=True))
    known = both[:1] if half_measured(place) else both
    return any(lies.si < open_.si + 2 * SEAT_WANTED for lies, open_ in known)


def _by(axes: tuple[Value, Value]) -> str:
    return _by_metres(*(axis.si for axis in axes))


def _by_metres(short: float, long: float) -> str:
    """Say an opening: its diameter, or both axes of an oval."""
    return _mm(short) if short == long else f"{number(round(short * MM, 1))} x {_mm(long)}"


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
    text = f"The screw holes do not match: {_adapter(answer, sandwich)}"
    if edge.value is not None and edge.value < EDGE_WANTED * MM:
        text += (
            f" New holes would lie {_plain(edge)} from the edge of the opening; two screw "
            f"diameters are wanted, {_mm(EDGE_WANTED)} for a 4 mm screw."
        )
    answer.verdict(place.id, "screws", Severity.NOTE, text, match.id, edge.id)


def _adapter(answer: Answer, sandwich: Sandwich) -> str:
    """Say that an adapter is needed, which one does, and what is left with it."""
    sheets, planned = stock_of(answer.build.job), sandwich.place.mount.spacer.si
    ring = ring_that_does(sandwich, sheets, stiff=True)
    if planned > 0.0 and sandwich.window.holds(spacer=planned):
        return f"an adapter ring is needed: the spacer of {_mm(planned)} that is planned is it."
    if ring is not None:
        return (
            "an adapter ring is needed, and counts as spacer. "
            f"{way_in(sandwich, sheets, stiff=True)}"
        )
    high = sandwich.window.high
    least = min((f for f in map(_stiff_from, sheets) if f is not None), default=None)
    if least is None:
        return "an adapter ring is needed, and no sheet at hand makes one."
    allows = "" if high is None else f", and the trim allows {_down(max(high, 0.0))}"
    return (
        f"an adapter ring is needed, of {_mm(least / MM)} at least{allows}: make it sit inside the "
        "opening."
    )


def _stiff_from(sheet: Stock) -> float | None:
    """Return from which thickness on a sheet's material makes a stiff ring [mm]; None for none."""
    return made_of(sheet.material).adapter_mm


def _oval(answer: Answer, sandwich: Sandwich) -> None:
    place = sandwich.place
    if place.mount.cutout is not None and half_measured(place):
        text = (
            "Oval frame: of frame or opening only the short axis is known, so that alone is "
            f"judged. Measure the long one, too ({place.id}.mount.cutout_long, and frame."
            "cutout_long of the driver)."
        )
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
