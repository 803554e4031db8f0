"""A catalogue to choose from: its columns, and what names it, so that a plan can say so later."""

from __future__ import annotations

from dataclasses import dataclass

from conewright.catalogue.compiled import Compiled

__all__ = ["Offer"]


@dataclass(frozen=True)
class Offer:
    """Parts that can be bought.

    Attributes:
        name: of the catalogue.
        version: in the store; None for a file, and for the parts that come with the program.
        sha256: of its content.
        compiled: its columns.

    >>> import conewright as cw
    >>> cw.offer("invented").words.partition(" ")[0]
    'invented,'
    """

    name: str
    version: int | None
    sha256: str
    compiled: Compiled

    @property
    def words(self) -> str:
        """What a plan and a quote remember it by: `invented, version 2, sha256 0123456789ab`."""
        number = "" if self.version is None else f", version {self.version}"
        return f"{self.name}{number}, sha256 {self.sha256[:12]}"
