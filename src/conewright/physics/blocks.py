"""Many samples in blocks that fit the processor's cache."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Final

import numpy as np

from conewright.physics.arrays import ComplexArray
from conewright.physics.validity import require_positive

__all__ = ["BLOCK_VALUES", "in_blocks"]

BLOCK_VALUES: Final = 49_152
"""Complex values of one array of a block: three quarters of a megabyte."""


def in_blocks(
    work: Callable[[slice], tuple[ComplexArray, ...]],
    *,
    samples: int,
    frequencies: int,
    threads: int = 2,
) -> tuple[ComplexArray, ...]:
    """Results of a calculation over many samples, done block by block.

    Args:
        work: for a slice of the samples, its results, each of shape (rows, F). It is called from
            several threads at once and must not change anything outside itself.
        samples: number of samples, above 0.
        frequencies: F, by which the size of a block is chosen.
        threads: threads that share the blocks; numpy computes outside the interpreter's lock.

    Returns:
        The results of all samples, each of shape (samples, F); the same numbers as
        `work(slice(0, samples))` gives, in half the time for large arrays.

    Raises:
        OutOfRangeError: no samples, no frequencies or no threads.
    """
    require_positive(samples=samples, frequencies=frequencies, threads=threads)
    rows = max(1, BLOCK_VALUES // frequencies)
    spans = [slice(start, min(start + rows, samples)) for start in range(0, samples, rows)]
    first = work(spans[0])
    wholes = tuple(np.empty((samples, *part.shape[1:]), dtype=part.dtype) for part in first)

    def keep(span: slice, parts: tuple[ComplexArray, ...]) -> None:
        for whole, part in zip(wholes, parts, strict=True):
            whole[span] = part

    keep(spans[0], first)
    with ThreadPoolExecutor(threads) as pool:
        for _ in pool.map(lambda span: keep(span, work(span)), spans[1:]):
            pass  # taking the results passes on what a block raised
    return wholes
