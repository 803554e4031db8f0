"""Drawing for pages keeps no more files open however many threads ask for it."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest

import conewright as cw
from conewright.web.frame.picture import outline, written

OPEN_FILES = Path("/proc/self/fd")


def letters_open() -> int:
    """Return how many files of letters this process holds open."""
    named = [each.readlink() for each in OPEN_FILES.iterdir() if each.is_symlink()]
    return sum(each.suffix == ".ttf" for each in named)


@pytest.mark.skipif(not OPEN_FILES.exists(), reason="needs a list of the open files")
def test_the_files_of_letters_are_opened_once_for_all_threads() -> None:
    report = cw.feed(cw.loads(cw.starter_text()).build())
    written(report, key="first", narrow=False)
    outline(report, key="first", narrow=True)
    before = letters_open()
    together = Barrier(6)

    def draw(number: int) -> str:
        together.wait()
        outline(report, key=number, narrow=True)
        return written(report, key=number, narrow=False)

    with ThreadPoolExecutor(6) as pool:
        drawn = set(pool.map(draw, range(6)))
        assert letters_open() == before
    assert len(drawn) == 1
