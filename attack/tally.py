"""What an attack counts, how long it may go on, and where what it found is kept."""

import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from conewright.errors import ConewrightError

__all__ = ["KEPT_EACH", "Limits", "Tally", "kind_of"]

KEPT_EACH = 3
"""Inputs that are kept of finds of one kind."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How much an attack does: so many tries, and no more seconds than these."""

    target: int
    seconds: float
    began: float = field(default_factory=time.monotonic)

    @property
    def left(self) -> float:
        """Seconds that are left; none are below zero."""
        return max(0.0, self.began + self.seconds - time.monotonic())

    def begun(self) -> "Limits":
        """Return the same limits from now on: what a part needs first to begin does not count."""
        return Limits(self.target, self.seconds)

    def share(self, of_target: float, of_seconds: float) -> "Limits":
        """Return the limits of a part that begins now: shares of the target and of what is left."""
        return Limits(max(1, round(self.target * of_target)), self.left * of_seconds)


@dataclass
class Tally:
    """Tries of one part, how each ended, and what should not have been.

    Attributes:
        part: name of the part.
        seed: of all its chance; the same seed tries the same.
        folder: where the inputs of finds are kept.

    """

    part: str
    seed: int
    folder: Path
    refused: int = 0
    answered: int = 0
    finds: Counter[str] = field(default_factory=Counter)
    kept: list[Path] = field(default_factory=list)

    @property
    def tried(self) -> int:
        """How many tries there were."""
        return self.refused + self.answered + self.finds.total()

    def find(self, kind: str, given: object, told: str = "") -> None:
        """Count something that should not have been, and keep what it was given."""
        self.finds[kind] += 1
        if self.finds[kind] > KEPT_EACH:
            return
        self.folder.mkdir(parents=True, exist_ok=True)
        place = self.folder / f"{self.part}-{self.seed}-{len(self.kept) + 1}"
        content = given if isinstance(given, bytes) else str(given).encode("utf-8", "surrogatepass")
        place.with_suffix(".input").write_bytes(content)
        said = f"{kind}\nseed {self.seed}\n\n{told}\n"
        place.with_suffix(".txt").write_text(said, encoding="utf-8", errors="backslashreplace")
        self.kept.append(place.with_suffix(".input"))

    def call(self, work: Callable[[], object], given: object, *, wrong: str = "") -> None:
        """Try something that may return or refuse in words; anything else is a find.

        Args:
            work: what is tried.
            given: what it was given, kept with a find.
            wrong: why an answer is a find, where none may come.

        """
        try:
            work()
        except ConewrightError as error:
            self.refuse(error, given)
        except Exception as error:
            self.find(kind_of(error), given, traceback.format_exc())
        else:
            if wrong:
                self.find(wrong, given)
            else:
                self.answered += 1

    def refuse(self, error: ConewrightError, given: object) -> None:
        """Count a refusal, which has words that can be printed."""
        words = str(error)
        if not words.strip() or "Traceback" in words:
            self.find(f"{type(error).__name__} without words", given, words)
        else:
            self.refused += 1

    def add(self, other: "Tally") -> None:
        """Count what another process tried for this part."""
        self.refused += other.refused
        self.answered += other.answered
        self.finds += other.finds
        self.kept += other.kept


def kind_of(error: BaseException) -> str:
    """Return an error as a kind of find: what it is, and where it was raised."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__} in {Path(last.filename).name}:{last.name}"
