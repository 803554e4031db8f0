"""What of the vehicle works through its radio, and may fall silent with another one: to sign."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from conewright.data_files import data_rows
from conewright.stages.common.changes import as_found
from conewright.stages.report.having import may_have

if TYPE_CHECKING:
    from conewright.job.builds.states.build import Build

__all__ = ["Loss", "Losses", "losses"]

Known = Literal["carried", "not carried", "not looked at"]


@dataclass(frozen=True, slots=True)
class Loss:
    """One function: what is lost with the radio, how to find out, how it is kept."""

    id: str
    title: str
    known: Known
    lost: str
    find_out: str
    keep: str
    source: str


@dataclass(frozen=True, slots=True)
class Losses:
    """The list to sign; `radio_changes` is false where the radio stays as it was found."""

    radio_changes: bool
    rows: tuple[Loss, ...]


def losses(build: Build) -> Losses:
    """Return what the radio as found carries, as far as the job says.

    Args:
        build: the plan; the radio changes where it names another one than was found.

    """
    carried = build.job.head_unit.carries
    return Losses(
        radio_changes=build.head_unit.name != as_found(build).head_unit.name,
        rows=tuple(
            Loss(
                id=row["id"],
                title=row["title"],
                known=_known(row["id"], carried),
                lost=row["lost"],
                find_out=row["find_out"],
                keep=row["keep"],
                source=row["source"],
            )
            for row in data_rows("papers", "losses.csv")
            if may_have(as_found(build), row["id"])
        ),
    )


def _known(name: str, carried: tuple[str, ...] | None) -> Known:
    if carried is None:
        return "not looked at"
    return "carried" if name in carried else "not carried"
