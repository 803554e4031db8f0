"""What measures what: the values of a job that somebody can measure, and how."""

from __future__ import annotations

from functools import cache, lru_cache

from conewright.data_files import data_rows
from conewright.job.wildcards import matches

__all__ = ["measurement"]


@lru_cache(maxsize=4096)
def measurement(path: str) -> tuple[str, str] | None:
    """Return what a value is called and how it is measured; None where nobody can measure it."""
    return next(
        ((label, how) for field, label, how in _measurables() if _is_field(path, field)), None
    )


def _is_field(path: str, field: str) -> bool:
    """Whether a path ends in a field's name, which may hold wildcards."""
    return matches(path, field) or matches(path, f"*.{field}")


@cache
def _measurables() -> tuple[tuple[str, str, str], ...]:
    rows = data_rows("job", "measurables.csv")
    return tuple((row["field"], row["label"], row["how"]) for row in rows)
