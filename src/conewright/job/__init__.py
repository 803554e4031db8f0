"""What the repairer knows: quantities, the job document, typical values, and the resolved build.

The names below are imported when first used, so that a command that needs no document starts
without one.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from conewright.job.build import build_job
    from conewright.job.document import Job
    from conewright.job.draws import Draws, draw
    from conewright.job.quantity import Quantity, format_quantity, parse_quantity
    from conewright.job.reading import from_dict, load, loads
    from conewright.job.state import Build, Fill, Origin, Value

__all__ = [
    "Build",
    "Draws",
    "Fill",
    "Job",
    "Origin",
    "Quantity",
    "Value",
    "build_job",
    "draw",
    "format_quantity",
    "from_dict",
    "load",
    "loads",
    "parse_quantity",
]


def __getattr__(name: str) -> object:
    """Import a public name from the module it lives in; raises AttributeError for any other."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    import conewright.job.build as build
    import conewright.job.document as document
    import conewright.job.draws as draws
    import conewright.job.quantity as quantity
    import conewright.job.reading as reading
    import conewright.job.state as state

    homes = (build, document, draws, quantity, reading, state)
    return next(vars(home)[name] for home in homes if name in home.__all__)
