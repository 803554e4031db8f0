"""Samples in blocks."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.arrays import ComplexArray
from conewright.physics.blocks import BLOCK_VALUES, in_blocks
from conewright.physics.laplace import laplace

FREQUENCY = np.geomspace(10.0, 1e4, 4096)
ROWS = BLOCK_VALUES // FREQUENCY.size
MASS = np.linspace(1.0, 2.0, 5 * ROWS + 3)[:, None]


def work(rows: slice) -> tuple[ComplexArray, ComplexArray]:
    s = laplace(FREQUENCY)
    return s * MASS[rows], 1.0 / (1.0 + s * MASS[rows])


@pytest.mark.parametrize("threads", [1, 2, 5])
@pytest.mark.parametrize("samples", [1, ROWS - 1, ROWS, ROWS + 1, MASS.shape[0]])
def test_blocks_are_the_whole(samples: int, threads: int) -> None:
    # invariant: the same numbers, bit for bit, in the same order
    got = in_blocks(work, samples=samples, frequencies=FREQUENCY.size, threads=threads)
    for part, whole in zip(got, work(slice(0, samples)), strict=True):
        np.testing.assert_array_equal(part, whole)


def test_every_block_is_asked_for_once() -> None:
    asked: list[tuple[int, int]] = []

    def note(rows: slice) -> tuple[ComplexArray]:
        asked.append((rows.start, rows.stop))
        return (np.zeros((rows.stop - rows.start, FREQUENCY.size), dtype=np.complex128),)

    in_blocks(note, samples=2 * ROWS + 1, frequencies=FREQUENCY.size)
    assert sorted(asked) == [(0, ROWS), (ROWS, 2 * ROWS), (2 * ROWS, 2 * ROWS + 1)]


def test_what_a_block_raises_is_passed_on() -> None:
    def fail(rows: slice) -> tuple[ComplexArray, ComplexArray]:
        if rows.start:
            raise OutOfRangeError(f"row {rows.start}")
        return work(rows)

    with pytest.raises(OutOfRangeError, match=f"row {ROWS}"):
        in_blocks(fail, samples=MASS.shape[0], frequencies=FREQUENCY.size)


def test_nothing_to_do_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="samples must be above zero"):
        in_blocks(work, samples=0, frequencies=FREQUENCY.size)
