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
from functools import partial

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
    """Base of all errors raised on purpose.

    >>> import conewright as cw
    >>> issubclass(cw.JobError, cw.ConewrightError), issubclass(cw.JobError, ValueError)
    (True, True)
    """


class BadInputError(ConewrightError, ValueError):
    """What was written cannot be used.

    >>> import conewright as cw
    >>> cw.make(cw.demo_job().build("put-right"), "bench", only="cake")
    Traceback (most recent call last):
        ...
    conewright.errors.BadInputError: only: found "cake"; allowed: sheet, templates, wiring, parts
    """


class QuantityError(BadInputError):
    """A text that is not a quantity of the wanted kind.

    >>> from conewright.job.quantity.values import parse_quantity
    >>> parse_quantity("3.4", dimension="resistance")
    Traceback (most recent call last):
        ...
    conewright.errors.QuantityError: the unit is missing; a resistance is written like 3.4 ohm, ...
    """


class LoadError(BadInputError):
    """A load expression that does not parse.

    >>> from conewright.job.quantity.expression import parse_load
    >>> parse_load("door-fl | (pillar-fl")
    Traceback (most recent call last):
        ...
    conewright.errors.LoadError: this ( is never closed
      door-fl | (pillar-fl
                ^ character 11
    ...
    """


class OutOfRangeError(ConewrightError, ValueError):
    """A model was asked outside its range of validity.

    >>> import conewright as cw
    >>> cw.feed(cw.demo_job().build(), samples=100)
    Traceback (most recent call last):
        ...
    conewright.errors.OutOfRangeError: samples is 100; a power of two is wanted, like 256
    """


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a job: where, what was found, what is allowed.

    >>> import conewright as cw
    >>> print(cw.Problem("door-fl.mount.cutout", '"wide"', "a length is wanted"))
    door-fl.mount.cutout: found "wide"; a length is wanted
    """

    path: str
    found: str
    allowed: str

    def __str__(self) -> str:
        return f"{self.path}: found {self.found}; {self.allowed}"


class JobError(BadInputError):
    """A job that cannot be used; `problems` holds every one of them.

    >>> import conewright as cw
    >>> try:
    ...     cw.loads("format = 1")
    ... except cw.JobError as error:
    ...     print([problem.path for problem in error.problems])
    ['head_unit', 'channel', 'location', 'driver']
    """

    def __init__(self, problems: Sequence[Problem], *, file: str = "job") -> None:
        self.problems = tuple(problems)
        self.file = file
        super().__init__("\n".join(f"{file}: {problem}" for problem in self.problems))

    def __reduce__(self) -> tuple[object, ...]:
        """Let it pass from one process to another."""
        return partial(type(self), file=self.file), (self.problems,)


class PlanRefusedError(ConewrightError):
    """A plan that may not go to the bench as it is; `reasons` holds every reason, in words.

    >>> import conewright as cw
    >>> try:
    ...     cw.make(cw.demo_job().build("larger-fronts"), "bench")
    ... except cw.PlanRefusedError as error:
    ...     print(error.plan, len(error.reasons))
    larger-fronts 1
    """

    def __init__(self, reasons: Sequence[str], *, plan: str) -> None:
        self.reasons = tuple(reasons)
        self.plan = plan
        super().__init__("\n".join(f"{plan}: no papers: {reason}" for reason in self.reasons))
