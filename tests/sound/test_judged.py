"""The analysis of recordings, judged by the simulator: few here, the rest in the benchmark.

The claims are those of the tables in docs/prove.md; truth in closed form by the simulator, which
shares nothing with the analysis.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from benchmarks import recorded_figures as figures
from benchmarks.simulated_recordings import EXPECTED, Judged, judge, judged

from simulator.draw import random_recording

PAGE = Path(__file__).resolve().parents[2] / "docs" / "prove.md"
CLEAN = (301, 305, 313, 321)
SPOILT = ("gain-control", "dropout", "moved", "clipped-hard", "truncated", "silence")


def rows(first: str) -> dict[str, list[str]]:
    """Rows of the page's table whose head begins so, by their first cell."""
    lines = PAGE.read_text().splitlines()
    begin = next(n for n, line in enumerate(lines) if line.startswith(f"| {first} |"))
    found = {}
    for line in lines[begin + 2 :]:
        if not line.startswith("|"):
            break
        name, *cells = (cell.strip() for cell in line.strip("|").split("|"))
        found[name] = cells
    return found


def most(name: str, table: str = "figure") -> float:
    """Largest error that the page claims."""
    return float(rows(table)[name][3].split()[0])


@cache
def clean() -> list[Judged]:
    return [judge(random_recording(each, file="sides-short", spoilt=())) for each in CLEAN]


def test_a_clean_recording_raises_no_false_alarm() -> None:
    # A box of image sources may ring for 0.2 s: that is no false alarm.
    for name, cells in rows("told without cause").items():
        assert cells[0].startswith("0 of ") or name == "long-decay"
    for each in clean():
        assert each.flags <= {"noisy", "long-decay", *each.noises}, each.seed


def test_its_figures_are_as_near_as_the_page_says() -> None:
    loud = np.concatenate([each.loud for each in clean()])
    assert loud.size > 80
    assert np.abs(loud).max() <= most("third octave over 25 dB SNR")
    skews = [each.skew for each in clean() if each.skew is not None]
    assert len(skews) == len(CLEAN)
    assert np.abs(skews).max() <= most("clock")
    for order in (2, 3):
        found = np.concatenate([each.harmonics[order - 2] for each in clean()])
        assert np.abs(found).max(initial=0.0) <= most(f"harmonic {order} over -45 dB")
    sure = [each.reversed for each in clean() if each.reversed is not None]
    assert all((odds > 0.5) == true for odds, true in sure)


@pytest.mark.parametrize("kind", SPOILT)
def test_what_spoils_a_recording_is_told(kind: str) -> None:
    drawn, told, held, passed, _ = rows("spoilt by")[kind]
    assert int(drawn) == int(told) + int(held) + int(passed)
    for seed in (401, 403):
        found = judge(random_recording(seed, file="sweep-short", spoilt=(kind,)))
        assert found.flags & EXPECTED[kind], seed


def test_other_figures_are_as_near_as_the_page_says() -> None:
    found = figures.clip_marks(range(2))
    assert np.abs(found["clip"]).max() <= most("clip mark", "test")
    assert np.abs(found["rout"]).max() <= most("output resistance", "test")
    gains = figures.call_gains(range(3))["gain"]
    assert np.abs(gains).max() <= most("gain of a call", "test")


@pytest.mark.slow
def test_what_the_benchmark_draws_is_judged_as_it_says() -> None:
    # Seeds that no threshold was chosen by.
    found = [judged(seed) for seed in range(1001, 1017, 2)]
    assert sum("dropout" in each.flags for each in found if each.clean) == 0
    assert all(not each.stopped for each in found if each.clean)
