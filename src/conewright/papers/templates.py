"""Every drawing of a build, and what cannot be drawn with the reason."""

from __future__ import annotations

from dataclasses import dataclass

from conewright.papers.geometry import Drawing

__all__ = ["Refusal", "Templates"]


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something that is not drawn: which place or part, why, and the nearest thing that can be."""

    subject: str
    sentence: str
    nearest: str


@dataclass(frozen=True, slots=True)
class Templates:
    """The drawings of a build.

    Attributes:
        drawings: each part of each place, then the stock sheets with their parts laid out.
        refusals: what cannot be made.
        notes: what holds for all of them.

    """

    drawings: tuple[Drawing, ...]
    refusals: tuple[Refusal, ...]
    notes: tuple[str, ...]
