"""How a benchmark is timed and what it reports."""

import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["Row", "best_seconds"]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the report; `seconds` is None where there was nothing to time."""

    what: str
    seconds: float | None
    remark: str = ""


def best_seconds(work: Callable[[], object], *, repeats: int) -> float:
    """Shortest of several runs: the one that other programs disturbed least.

    Args:
        work: what to time.
        repeats: runs that count; one more goes ahead of them to warm up.

    Returns:
        Wall time [s].
    """
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)
