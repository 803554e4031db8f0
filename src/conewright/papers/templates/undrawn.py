"""What is not drawn, said so that somebody can go on."""

from __future__ import annotations

from dataclasses import dataclass

from conewright.errors import ConewrightError

__all__ = ["Undrawn", "UndrawnError"]


@dataclass(frozen=True, slots=True)
class Undrawn:
    """A part that is not drawn: of which place, which part, why, and the nearest thing that can
    be.
    """

    subject: str
    part: str
    sentence: str
    nearest: str

    def __str__(self) -> str:
        """Return both sentences."""
        return f"{self.sentence} {self.nearest}"


class UndrawnError(ConewrightError):
    """Raised where a part cannot be made."""

    def __init__(self, undrawn: Undrawn) -> None:
        self.undrawn = undrawn
        super().__init__(str(undrawn))
