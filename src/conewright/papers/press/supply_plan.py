"""The supply plan: cables, fuses and battery as stage feed answers them, for sheet and labels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.job.builds.fills import plain_text
from conewright.stages.feed.supply_verdicts import fuse_in_words
from conewright.stages.report.data import Severity
from conewright.stages.report.words import without_band

if TYPE_CHECKING:
    from collections.abc import Mapping

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import FeedState
    from conewright.stages.report.data import Figure, Report, Verdict

__all__ = ["FeedPlan", "SupplyPlan", "said_of_cable", "supply"]


@dataclass(frozen=True, slots=True)
class FeedPlan:
    """A cable with a fuse that protects it; figures by name, each with an answer."""

    cable: FeedState
    figures: Mapping[str, Figure]
    verdicts: tuple[Verdict, ...]

    @property
    def rating(self) -> str:
        """Of its fuse."""
        return f"{self.value('fuse'):g} A"

    @property
    def colour(self) -> str:
        """Of its fuse; empty for one without."""
        return self.figures["fuse"].text or ""

    @property
    def size(self) -> str:
        """Cross-section as it was written down."""
        assert self.cable.size is not None
        return plain_text(self.cable.size.quantity)

    @property
    def metal(self) -> str:
        """In words."""
        return self.cable.metal.replace("-", " ")

    def value(self, name: str) -> float:
        """Return the central value of a figure; raise KeyError where it has none."""
        found = self.figures[name].value
        if found is None:
            raise KeyError(name)
        return found


@dataclass(frozen=True, slots=True)
class SupplyPlan:
    """Cables that are planned, what is said of those that are not, and the battery.

    `unwritten` says what is missing where the job writes down no cable to the radio at all; `drain`
    is None where the battery's capacity is not known.
    """

    feeds: tuple[FeedPlan, ...]
    refused: tuple[tuple[str, str], ...]
    unwritten: str
    drain: Verdict | None
    charge: Figure
    current: Figure
    notes: tuple[str, ...]


def supply(build: Build, report: Report) -> SupplyPlan:
    """Return the supply plan of a build, of which stage feed reports.

    A cable is planned where feed finds that its fuse protects it; of the others the plan has, by
    id, what feed says.
    """
    planned: list[FeedPlan] = []
    refused: list[tuple[str, str]] = []
    for cable in build.feeds:
        said = tuple(verdict for verdict in report.verdicts if verdict.subject == cable.id)
        if any(v.id == f"{cable.id}.protection" and v.severity is Severity.GOOD for v in said):
            figures = {each.name: each for each in report.figures if each.subject == cable.id}
            planned.append(FeedPlan(cable, figures, said))
        else:
            refused.append((cable.id, " ".join(map(said_of_cable, said))))
    to_radio = any(cable.to in ("radio", "converter") for cable in build.feeds)
    return SupplyPlan(
        feeds=tuple(planned),
        refused=tuple(refused),
        unwritten="" if to_radio else _unwritten(report),
        drain=next((each for each in report.verdicts if each.id == "vehicle.drain"), None),
        charge=report.figure("vehicle.battery_charge"),
        current=report.figure("vehicle.sleep_current"),
        notes=_notes(build),
    )


def said_of_cable(verdict: Verdict) -> str:
    """Return what is said of a cable where its name stands above: as a sentence without it."""
    text = verdict.text.removeprefix(f"{verdict.subject}: ")
    return f"{text[:1].upper()}{text[1:]}"


def _unwritten(report: Report) -> str:
    music = without_band(report.figure("head_unit.supply_current"))
    sine = without_band(report.figure("head_unit.supply_current_sine"))
    fuse = report.figure("head_unit.fuse")
    holds = fuse.text if fuse.value is None else f"{fuse_in_words(fuse.value)} holds that"
    return (
        "The radio's own feed is not planned: nobody wrote down its fuse at the source end. It is "
        f"asked for {music} with loud music and {sine} with a full tone "
        f"on all channels at once; {holds}. Leave the vehicle's fuse as it is, and write it down "
        "under [[feed]]."
    )


def _notes(build: Build) -> tuple[str, ...]:
    if not build.feeds:
        return ()
    return (
        "The fuse is sized for the cable and sits at its source end, whatever fuse the device has.",
        "Grommet at every hole in steel; ground to bare metal, painted afterwards, not shared.",
        "After ten minutes at a high level feel fuse holder and joints: warm is a fault.",
    )
