"""What can go wrong with kept jobs.

StoreError             (ConewrightError)
├── NotFound           (KeyError)  no such job, revision or device
├── Conflict                       somebody else saved meanwhile; carries both sides
└── StoreUnavailable               the database cannot be reached, read or written just now
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from conewright.errors import ConewrightError

if TYPE_CHECKING:
    from conewright.store.records import Saved

__all__ = ["Conflict", "NotFound", "StoreError", "StoreUnavailable"]


class StoreError(ConewrightError):
    """Something is wrong with kept jobs."""


class NotFound(StoreError, KeyError):
    """There is no such job, revision or device."""

    # KeyError would show its message in quotes.
    __str__ = Exception.__str__


class StoreUnavailable(StoreError):
    """The database cannot be reached, read or written just now; what it holds is untouched."""


class Conflict(StoreError):
    """A save that started from a revision which is no longer the newest; nothing was written.

    base: number of the revision it started from.
    mine: the text that was to be saved; None where the job was to be deleted or brought back.
    theirs: the newest revision, saved by somebody else meanwhile.
    my_changes: what the own side changed since base, in words.
    their_changes: what the other side changed since base, in words.
    """

    def __init__(
        self,
        *,
        base: int,
        mine: str | None,
        theirs: Saved,
        my_changes: Sequence[str],
        their_changes: Sequence[str],
    ) -> None:
        self.base = base
        self.mine = mine
        self.theirs = theirs
        self.my_changes = tuple(my_changes)
        self.their_changes = tuple(their_changes)
        super().__init__(self._in_words())

    def _in_words(self) -> str:
        did = "deleted it" if self.theirs.deleted else "saved it"
        return "\n".join(
            [
                f"{self.theirs.job_id}: {self.theirs.who} {did} meanwhile as revision "
                f"{self.theirs.revision}; yours started from revision {self.base} and was not "
                "saved. Both are kept as they are: look at the two and save again",
                *(f"  theirs: {change}" for change in self.their_changes),
                *(f"  yours: {change}" for change in self.my_changes),
            ]
        )
