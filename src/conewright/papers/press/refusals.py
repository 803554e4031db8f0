"""What is not drawn or planned, said so that somebody can go on."""

from __future__ import annotations

from dataclasses import dataclass

from conewright.errors import ConewrightError

__all__ = ["Refusal", "RefusedError"]


@dataclass(frozen=True, slots=True)
class Refusal:
    """Something that is not drawn or planned: of which place or cable, which part, why, and the
    nearest thing that can be.
    """

    subject: str
    part: str
    sentence: str
    nearest: str

    def __str__(self) -> str:
        """Return both sentences."""
        return f"{self.sentence} {self.nearest}"


class RefusedError(ConewrightError):
    """Raised where a part cannot be made."""

    def __init__(self, refusal: Refusal) -> None:
        self.refusal = refusal
        super().__init__(str(refusal))
