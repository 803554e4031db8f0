"""Every drawing of a build, and what cannot be drawn with the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from conewright.job.builds.states.build import Build
from conewright.job.builds.states.location import LocationState, OpenState
from conewright.job.document.parts import AS_FOUND
from conewright.papers.drawing.geometry import MM, Drawing, bounds_of
from conewright.papers.drawing.kerf import cutter_for
from conewright.papers.templates.adapter import adapter, ring_of
from conewright.papers.templates.board import board_drawing
from conewright.papers.templates.nesting import sheet_drawings
from conewright.papers.templates.new_opening import new_opening
from conewright.papers.templates.panel import is_seated, panel_cut, panel_drawing
from conewright.papers.templates.patch import patch_drawing, patch_of, patch_sheet, patches_apart
from conewright.papers.templates.sites import Site, floored, site_of
from conewright.papers.templates.soft_ring import soft_ring
from conewright.papers.templates.undrawn import Undrawn, UndrawnError
from conewright.phrases import capital
from conewright.stages.common.changes import HOLED, as_found, opened_places, removed_places
from conewright.stages.common.screws import screws_agree
from conewright.stages.fit.sandwich import SpacerWindow
from conewright.stages.fit.stage import spacer_windows
from conewright.stages.outlay.stock import Stack, Stock, made_of, stacks, stock_of, usual_stock

__all__ = ["Templates", "drawings"]

PLANNED = 0.3
"""A stack is the spacer of the plan within this [mm]; common practice, no source."""

THICKEST = 40.0
"""No spacer is thicker than this where nobody measured the room in front [mm]."""


@dataclass(frozen=True, slots=True)
class Templates:
    """The drawings of a build.

    Attributes:
        drawings: each part of each place, then the stock sheets with their parts laid out.
        refusals: what cannot be made.
        notes: what holds for all of them.

    """

    drawings: tuple[Drawing, ...]
    refusals: tuple[Undrawn, ...]
    notes: tuple[str, ...]


@dataclass
class _Bench:
    """What is at hand for a build, and what has been drawn and refused so far."""

    build: Build
    sheets: tuple[Stock, ...]
    drawings: list[Drawing] = field(default_factory=list)
    refusals: list[Undrawn] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def attempt(self, make: Callable[[], Iterator[Drawing]]) -> bool:
        """Add what can be drawn; keep the refusal of the first that cannot, and say whether all
        could be.
        """
        try:
            self.drawings.extend(make())
        except UndrawnError as error:
            self.refusals.append(error.undrawn)
            return False
        return True


def drawings(build: Build) -> Templates:
    """Return every template of the places that a build changes.

    What cannot be made is refused with the reason and the nearest thing that can; the rest is
    drawn all the same.
    """
    bench = _Bench(build, stock_of(build.job))
    found = {place.id: place for place in as_found(build).locations}
    left = [place for place in opened_places(build) if place not in removed_places(build)]
    windows = spacer_windows(build) if left else {}
    for place in left:
        window = windows.get(place.id, SpacerWindow(None, None))
        if place.id in found or place.mount.opening == "there":
            _place(bench, place, found.get(place.id), window)
        else:
            _new_place(bench, place)
    sheets, too_large = sheet_drawings(bench.drawings, bench.sheets)
    if build.id == AS_FOUND:
        bench.notes.append("The vehicle as found: nothing is cut. Choose a proposal.")
    if any(drawing.cut_from for drawing in bench.drawings) and not build.job.sheets:
        bench.notes.append("The job lists no [[sheet]]: parts are built from usual stock sheets.")
    notes = tuple(dict.fromkeys(bench.notes))
    return Templates((*bench.drawings, *sheets), (*bench.refusals, *too_large), notes)


# --- Underneath ---------------------------------------------------------------------------------


def _place(
    bench: _Bench, place: LocationState, found: LocationState | None, window: SpacerWindow
) -> None:
    """Draw what one place needs: what carries the driver, what seals its front, the patches.

    `found` is None for a place that only the plan has, in an opening that is there.
    """
    if isinstance(place.back, OpenState):
        was = None if found is None else found.back
        if place.back != was and place.back.sides is not None:
            cutter = cutter_for(bench.build.job.bench, "board")
            bench.attempt(lambda: iter((board_drawing(place, cutter=cutter),)))
        return
    spacer = MM * place.mount.spacer.si
    anew, ringed = found is None or _carried_anew(place, found), found and found.mount.ring
    before, seated = len(bench.drawings), True
    if anew:
        seated = bench.attempt(lambda: _seat(bench, place, found or place, window))
        rings = (each.thickness_mm for each in bench.drawings[before:] if each.cut_from)
        spacer = next((each for each in rings if each is not None), spacer)
    sealed_anew = anew and place.trim is not None and place.trim.present
    if seated and place.mount.ring and (sealed_anew or not ringed):
        cutter = cutter_for(bench.build.job.bench, "foam")
        bench.attempt(
            lambda: iter((soft_ring(place, spacer_mm=spacer, sheets=bench.sheets, cutter=cutter),))
        )
    covers = [each.cavity.cover if each and each.cavity else "none" for each in (found, place)]
    if covers[1] == "patch" and covers[0] != "patch":
        bench.attempt(lambda: _patches(bench, place, rim=_rim(bench.drawings[before:])))


def _new_place(bench: _Bench, place: LocationState) -> None:
    """Draw what a place needs that only the plan has: its opening, what seals its front."""
    if isinstance(place.back, OpenState) and place.back.sides is not None:
        _place(bench, place, None, SpacerWindow(None, None))
        return
    if place.kind not in HOLED:
        bench.notes.append(f"{capital(place.name)}: a cup or a body of its own, nothing is cut.")
        return
    cutter = cutter_for(bench.build.job.bench, "panel")
    cut = bench.attempt(lambda: iter((new_opening(place, cutter=cutter),)))
    if cut and place.mount.ring:
        spacer, foam = MM * place.mount.spacer.si, cutter_for(bench.build.job.bench, "foam")
        bench.attempt(
            lambda: iter((soft_ring(place, spacer_mm=spacer, sheets=bench.sheets, cutter=foam),))
        )


def _rim(drawings: Sequence[Drawing]) -> float:
    """Return how far the rings of a place reach from its middle [mm]; 0 for none."""
    cuts = [bounds_of(each.on("cut")) for each in drawings if each.cut_from]
    return max((abs(end) for bounds in cuts for end in bounds), default=0.0)


def _carried_anew(place: LocationState, found: LocationState) -> bool:
    """Whether the driver sits otherwise than it was found."""
    return (
        place.driver.id != found.driver.id
        or place.mount.spacer.si != found.mount.spacer.si
        or place.mount.cutout != found.mount.cutout
        or _screws(place) != _screws(found)
    )


def _screws(place: LocationState) -> tuple[object, ...]:
    """Return the screws of a mount, to be compared: a plan that changes them drills them."""
    mount = place.mount
    circle = None if mount.screw_circle is None else mount.screw_circle.si
    return mount.screw_count, circle, mount.holes.angle, mount.holes.places


def _seat(
    bench: _Bench, place: LocationState, found: LocationState, window: SpacerWindow
) -> Iterator[Drawing]:
    """Yield what carries the driver: the opening, a ring, or new holes in the steel."""
    site = site_of(place, found=found.mount)
    if not site.holes:
        raise site.refused(
            "template",
            f"{site.title}: driver[{place.driver.id}].frame.screws is not given.",
            "Count the screws of the flange and measure their circle.",
        )
    if not site.old_holes:
        raise site.refused(
            "template",
            f"{site.title}: location[{place.id}].mount.screws is not given.",
            "Count the screws of the opening and measure their circle.",
        )
    agree = bool(screws_agree(replace(place, mount=found.mount)))
    raised = place.mount.spacer.si > 0.0 or (window.low or 0.0) > 0.0
    if agree and is_seated(site) and not raised:
        cutter = cutter_for(bench.build.job.bench, "panel")
        done = panel_cut(site, same_holes=True, own_screws=True)
        if done.enlarge:
            yield panel_drawing(site, done, cutter=cutter)
        return
    if _screws(place) != _screws(found) and not raised:
        yield _drilled(bench, site)
        return
    done = panel_cut(site, same_holes=False, own_screws=False)
    try:
        made = _ring(bench, site, window, through=agree)
    except UndrawnError as refused:
        if raised:
            raise
        yield _on_steel(bench, site, refused)
        return
    if done.enlarge:
        yield panel_drawing(site, done, cutter=cutter_for(bench.build.job.bench, "panel"))
    yield made


def _drilled(bench: _Bench, site: Site) -> Drawing:
    """Return the template of new holes in the steel, for the thickest screws that it takes."""
    cutter = cutter_for(bench.build.job.bench, "panel")

    def drilled(site: Site) -> Drawing:
        return panel_drawing(
            site, panel_cut(site, same_holes=False, own_screws=True), cutter=cutter
        )

    return _first(partial(drilled, each) for each in site.screws)


def _on_steel(bench: _Bench, site: Site, refused: UndrawnError) -> Drawing:
    """Return the template of new holes in the steel, the nearest thing to a ring that is refused;
    raises UndrawnError for the ring where this cannot be made either.
    """
    try:
        drawing = _drilled(bench, site)
    except UndrawnError:
        raise refused from None
    bench.refusals.append(refused.undrawn)
    bench.notes.append(f"{site.title}: instead of a ring, new holes are drilled in the steel.")
    return drawing


def _first(tries: Iterator[Callable[[], Drawing]]) -> Drawing:
    """Return what the first try makes that is not refused; raises the refusal of the first."""
    refused: UndrawnError | None = None
    for make in tries:
        try:
            return make()
        except UndrawnError as error:
            refused = refused or error
    assert refused is not None
    raise refused


def _ring(bench: _Bench, site: Site, window: SpacerWindow, *, through: bool) -> Drawing:
    """Return the ring of the thinnest sheets that can be made, for the thickest screws."""
    stiff = not through or not is_seated(site)
    cutter = cutter_for(bench.build.job.bench, "board")

    def ring(stack: Stack, each: Site) -> Drawing:
        held = each.in_(edge_diameters=made_of(stack.layers[0].material).edge_diameters)
        return adapter(each, ring_of(held, through=through), stack=stack, cutter=cutter)

    found = _stacks(bench, site, window, stiff=stiff)
    drawing = _first(partial(ring, stack, each) for stack in found for each in site.screws)
    if not site.place.mount.spacer.si:
        thick = drawing.thickness_mm
        bench.notes.append(
            f"{site.title}: the plan reckons with no spacer, and {thick:g} mm are drawn: "
            f'write {site.place.id}.mount.spacer = "{thick:g} mm" into it and look at '
            "fit and hear again."
        )
    return drawing


def _stacks(bench: _Bench, site: Site, window: SpacerWindow, *, stiff: bool) -> list[Stack]:
    """Return the sheets of a ring, the fewest and thinnest of each material first: as thick as the
    plan says, else such as leave room enough.
    """
    planned = MM * site.place.mount.spacer.si
    low = MM * (window.low or 0.0)
    high = THICKEST if window.high is None else MM * window.high
    least, most = (planned - PLANNED, planned + PLANNED) if planned else (low, high)
    rigid = _rigid(bench.sheets)
    found = stacks(rigid, least=least, most=most, stiff=stiff)
    if found:
        first = {stack.layers[0].material: stack for stack in reversed(found)}
        return [stack for stack in found if stack is first[stack.layers[0].material]]
    wanted = f"{planned:g} mm as planned" if planned else f"{low:.1f} to {floored(high):.1f} mm"
    if window.empty and not planned:
        wanted = (
            f"{low:.1f} mm or more behind and {floored(max(high, 0.0)):.1f} mm or less in front"
        )
    sentence = (
        f"{site.title}: no ring is drawn: it wants {wanted}"
        f"{', and stiff enough to carry the driver' if stiff else ''}; the sheets at hand do not "
        "stack to that."
    )
    nearest = _other_ring(rigid, site, low, high, stiff=stiff)
    if nearest is None:
        nearest = _nearest_stack(rigid, least, most, stiff=stiff)
    raise site.refused("adapter", sentence, nearest)


def _rigid(sheets: Sequence[Stock]) -> list[Stock]:
    return [each for each in sheets if made_of(each.material).adapter_mm is not None]


def _other_ring(
    rigid: list[Stock], site: Site, low: float, high: float, *, stiff: bool
) -> str | None:
    """Say which ring leaves room on both sides though it is not the one planned: of the sheets at
    hand, else of the usual ones; None where there is none.
    """
    for sheets, at_hand in ((rigid, True), (_rigid(usual_stock()), False)):
        found = stacks(sheets, least=low, most=high, stiff=stiff)
        if found:
            ring = found[0]
            get = "" if at_hand else "Get the sheet for it: "
            return (
                f"{get}{ring.words} does, {low:.1f} to {floored(high):.1f} mm leave room enough: "
                f'write {site.place.id}.mount.spacer = "{ring.thickness:g} mm".'
            )
    return None


def _nearest_stack(sheets: list[Stock], least: float, most: float, *, stiff: bool) -> str:
    """Say which stack comes nearest, and by how much it misses."""
    every = stacks(sheets, least=0.0, most=THICKEST, stiff=stiff)
    if not every:
        return "List a [[sheet]] of a rigid material."
    missed = {stack: max(least - stack.thickness, stack.thickness - most) for stack in every}
    best = min(every, key=lambda stack: round(missed[stack], 6))
    side = "thin" if best.thickness < least else "thick"
    return (
        f"The nearest is {best.words}, {missed[best]:.1f} mm too {side}: take a shallower driver "
        "or one with a lower front."
    )


def _patches(bench: _Bench, place: LocationState, *, rim: float) -> Iterator[Drawing]:
    cavity = place.cavity
    assert cavity is not None
    if not cavity.openings:
        raise UndrawnError(_unknown_openings(place))
    sheet = patch_sheet(place, bench.sheets)
    cutter = cutter_for(bench.build.job.bench, "board")
    patches = []
    for number in range(1, len(cavity.openings) + 1):
        try:
            patches.append(patch_of(place, number, rim=rim))
        except UndrawnError as error:
            bench.refusals.append(error.undrawn)
    patches_apart(place, patches)
    for patch in patches:
        yield patch_drawing(place, patch, sheet=sheet, cutter=cutter)


def _unknown_openings(place: LocationState) -> Undrawn:
    cavity = place.cavity
    assert cavity is not None
    square_cm = 1e4 * cavity.panel_holes.si
    return Undrawn(
        place.id,
        "patch",
        f"{capital(place.name)}: no patch is drawn: of the openings only the "
        f"area is known, {square_cm:.0f} cm² all together.",
        f"Measure each: location[{place.id}].cavity.panel_openings, and what must stay clear: "
        "keep_clear.",
    )
