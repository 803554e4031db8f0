"""What a plan takes as the job has it written: hours, material, and new drivers by the pair."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from math import ceil

from conewright.job.document.document import Document, Proposal

__all__ = ["NewDriver", "Outlay", "outlay_of"]


@dataclass(frozen=True, slots=True)
class NewDriver:
    """A driver that a plan fits anew: in how many places, and the price of two of it."""

    id: str
    count: int
    pair_price: float | None

    @property
    def pairs(self) -> int:
        """How many pairs must be bought."""
        return ceil(self.count / 2)


@dataclass(frozen=True, slots=True)
class Outlay:
    """What a plan takes, in hours and in the currency of the job; None for what nobody wrote.

    Attributes:
        hours: of work.
        hour_rate: price of one.
        material: besides the drivers' own prices.
        drivers: that are newly fitted.

    """

    hours: float | None
    hour_rate: float | None
    material: float | None
    drivers: tuple[NewDriver, ...]

    @property
    def cost(self) -> float:
        """Work, material and new drivers, as far as there are prices."""
        work = (self.hours or 0.0) * (self.hour_rate or 0.0)
        parts = sum((each.pair_price or 0.0) * each.pairs for each in self.drivers)
        return work + (self.material or 0.0) + parts

    @property
    def unpriced(self) -> tuple[str, ...]:
        """What the cost leaves out for want of a price: drivers, and the hour."""
        missing = [each.id for each in self.drivers if each.pair_price is None]
        hour = self.hours and self.hour_rate is None
        return (*missing, "job.hour_rate") if hour else tuple(missing)


def outlay_of(job: Document, changed: Document, proposal: Proposal | None) -> Outlay:
    """Return what a proposal takes; the vehicle as found takes nothing.

    Args:
        job: as it is written.
        changed: the job with the proposal carried out.
        proposal: None for the vehicle as found.

    """
    pairs = zip(job.locations, changed.locations, strict=True)
    counts = Counter(new.driver for old, new in pairs if new.driver != old.driver)
    return Outlay(
        hours=None if proposal is None else proposal.hours,
        hour_rate=job.about.hour_rate,
        material=None if proposal is None else proposal.extra_cost,
        drivers=tuple(
            NewDriver(name, count, changed.driver(name).price) for name, count in counts.items()
        ),
    )
