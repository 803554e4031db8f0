"""Every error this project raises on purpose.

ConewrightError
├── BadInputError      (ValueError)  what was written cannot be used; names the place
│   ├── QuantityError                a text that is no quantity of the wanted kind
│   ├── LoadError                    a load expression that does not parse; points at the character
│   └── JobError                     a job file with problems; carries all of them
├── OutOfRangeError    (ValueError)  a model was asked outside its range of validity
└── PlanRefusedError                 a plan of which no paper is made; carries every reason
"""

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = [
    "BadInputError",
    "ConewrightError",
    "JobError",
    "LoadError",
    "OutOfRangeError",
    "PlanRefusedError",
    "Problem",
    "QuantityError",
]


class ConewrightError(Exception):
    """Base of all errors raised on purpose."""


class BadInputError(ConewrightError, ValueError):
    """What was written cannot be used."""


class QuantityError(BadInputError):
    """A text that is not a quantity of the wanted kind."""


class LoadError(BadInputError):
    """A load expression that does not parse."""


class OutOfRangeError(ConewrightError, ValueError):
    """A model was asked outside its range of validity."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a job: where, what was found, what is allowed."""

    path: str
    found: str
    allowed: str

    def __str__(self) -> str:
        return f"{self.path}: found {self.found}; {self.allowed}"


class JobError(BadInputError):
    """A job that cannot be used; `problems` holds every one of them."""

    def __init__(self, problems: Sequence[Problem], *, file: str = "job") -> None:
        self.problems = tuple(problems)
        self.file = file
        super().__init__("\n".join(f"{file}: {problem}" for problem in self.problems))


class PlanRefusedError(ConewrightError):
    """A plan that may not go to the bench as it is; `reasons` holds every reason, in words."""

    def __init__(self, reasons: Sequence[str], *, plan: str) -> None:
        self.reasons = tuple(reasons)
        self.plan = plan
        super().__init__("\n".join(f"{plan}: no papers: {reason}" for reason in self.reasons))
