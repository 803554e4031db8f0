"""Which papers were made, what each is for, and what to do with it."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from conewright.phrases import counted
from conewright.shown import Shown
from conewright.stages.outlay.amounts import Amount

__all__ = ["MANIFEST", "Entry", "Manifest", "PaperFile", "Sum", "Use"]

MANIFEST = "manifest.json"
Use = Literal["print", "send out", "keep"]
"""Print it oneself, give it to a shop, or keep it beside the others."""


@dataclass(frozen=True, slots=True)
class PaperFile:
    """One file, not yet written: its name, what it is for, its size on paper, its bytes."""

    name: str
    purpose: str
    use: Use
    size_mm: tuple[float, float] | None
    content: bytes


class _Data(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Entry(_Data):
    """One file as the manifest has it; `size_mm` is width and height of a page or a drawing."""

    name: str = Field(description="Name of the file.")
    purpose: str = Field(description="What is on it.")
    use: Use = Field(description="What to do with it.")
    size_mm: tuple[float, float] | None = Field(
        description="Width and height of its page or drawing [mm]."
    )
    bytes: int = Field(description="Its length.")
    sha256: str = Field(description="Its SHA-256, in hexadecimal.")

    @classmethod
    def of(cls, paper: PaperFile) -> Entry:
        """Return the entry of a file."""
        size = paper.size_mm and (round(paper.size_mm[0], 3), round(paper.size_mm[1], 3))
        return cls(
            name=paper.name,
            purpose=paper.purpose,
            use=paper.use,
            size_mm=size,
            bytes=len(paper.content),
            sha256=sha256(paper.content).hexdigest(),
        )


class Sum(_Data):
    """Hours or money of the plan; nine in ten lie between low and high."""

    low: float = Field(description="Low end.")
    typical: float = Field(description="As a rule.")
    high: float = Field(description="High end.")
    unit: str = Field(description="`h`, or the currency.")

    @classmethod
    def of(cls, amount: Amount, unit: str) -> Sum:
        """Return an amount in its unit, to a hundredth."""
        low, typical, high = (round(each, 2) for each in (amount.low, amount.typical, amount.high))
        return cls(low=low, typical=typical, high=high, unit=unit)


class Manifest(Shown, _Data):
    """All files of one plan, what could not be made, and what to know about them."""

    job: str = Field(description="What the job is about.")
    plan: str = Field(description="Id of the plan and its name.")
    revision: str = Field(description="The revision of the job, or its fingerprint.")
    paper: str = Field(description="What it is printed on.")
    hours: Sum | None = Field(None, description="Hours of work, as on the quote.")
    cost: Sum | None = Field(None, description="Total of the quote.")
    files: tuple[Entry, ...] = Field(description="The files, in their order.")
    refusals: tuple[str, ...] = Field((), description="What could not be made, with the reason.")
    notes: tuple[str, ...] = Field((), description="What there is to know.")

    def __repr__(self) -> str:
        """Return of what it is, and of how many files."""
        files = counted(len(self.files), "file")
        return f"<Manifest of {self.plan}: {files}, {len(self.refusals)} not made>"

    def used(self, use: Use) -> tuple[Entry, ...]:
        """Return the files of one use, in their order.

        >>> import conewright as cw
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     papers = cw.make(cw.demo_job().build("slim-fronts"), folder, only="parts")
        >>> [entry.name for entry in papers.used("print")]
        ['parts.pdf']
        """
        return tuple(entry for entry in self.files if entry.use == use)

    def to_dict(self) -> dict[str, Any]:
        """Return the manifest as plain data."""
        return self.model_dump(mode="json")

    def to_json(self) -> str:
        """Return the manifest as it is written beside the files."""
        return self.model_dump_json(indent=2) + "\n"
