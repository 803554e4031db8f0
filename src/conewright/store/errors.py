"""What can go wrong with kept jobs.

StoreError             (ConewrightError)
├── NotFound           (KeyError)  no such job, revision or device
├── Conflict                       somebody else saved meanwhile; carries both sides
└── StoreUnavailable               the database cannot be reached, read or written just now
    └── Clash                      what was to be added does not go with what is there
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from conewright.errors import ConewrightError
from conewright.job.text.differences import compare
from conewright.store.texts import Read, here

if TYPE_CHECKING:
    from conewright.store.records import Saved

__all__ = ["Clash", "Conflict", "NotFound", "StoreError", "StoreUnavailable"]


class StoreError(ConewrightError):
    """Something is wrong with kept jobs."""


class NotFound(StoreError, KeyError):
    """There is no such job, revision or device."""

    # KeyError would show its message in quotes.
    __str__ = Exception.__str__


class StoreUnavailable(StoreError):
    """The database cannot be reached, read or written just now; what it holds is untouched."""


class Clash(StoreUnavailable):
    """What was to be added does not go with what is there; nothing was written."""


class Conflict(StoreError):
    """A change that started from a revision which is no longer the newest; nothing was written.

    before: the revision it started from.
    mine: the text that was to be saved; None where the job was to be deleted or brought back.
    theirs: the newest revision, saved by somebody else meanwhile.
    """

    def __init__(
        self, *, before: Saved, mine: str | None, theirs: Saved, read: Read = here
    ) -> None:
        self._read = read
        self.before = before
        self.mine = mine
        self.theirs = theirs
        super().__init__(before, mine, theirs)

    @property
    def base(self) -> int:
        """Number of the revision that the change started from."""
        return self.before.revision

    # Worked out when somebody looks: a program that just tries again never does.
    @cached_property
    def my_changes(self) -> tuple[str, ...]:
        """What the own side changed since then, in words."""
        return () if self.mine is None else self._read(compare, self.before.text, self.mine)

    @cached_property
    def their_changes(self) -> tuple[str, ...]:
        """What the other side changed since then, in words."""
        return self._read(compare, self.before.text, self.theirs.text)

    def __str__(self) -> str:
        """Show both sides."""
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
