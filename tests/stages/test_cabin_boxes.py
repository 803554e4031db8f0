"""Bands of what several loudspeakers do together, held against image sources.

Independent tool: pyroomacoustics 0.10, run by `python -m benchmarks.cabin_boxes --again`; the
truths it made are kept in reference/cabins/truths.csv, and docs/cabin.md has the whole table.
"""

from functools import cache

import pytest
from benchmarks.cabin_boxes import FIGURES, Share, judge, kept_truths


@cache
def some(known: str = "volume") -> dict[str, Share]:
    """Return the shares of twenty-five of the hundred boxes."""
    return judge(kept_truths(), known=known, every=4)


def test_bands_hold_the_truth_about_as_often_as_they_say() -> None:
    # Eight in ten, give or take what so few of them scatter.
    shares = some()
    assert set(shares) == set(FIGURES)
    for figure, share in shares.items():
        assert 0.70 < share.inside < 0.90, figure
    # A driver exchanged is as sharp as ever.
    assert shares["driver_exchanged"].error < 0.7
    assert 0.0 < shares["driver_exchanged"].width < 0.7


@pytest.mark.slow
def test_bands_hold_the_truth_in_all_boxes() -> None:
    shares = judge(kept_truths())
    assert {name: _rounded(share) for name, share in shares.items()} == {
        name: pytest.approx(0.80, abs=0.05) for name in FIGURES
    }


@pytest.mark.slow
def test_a_ruler_narrows_the_bands() -> None:
    volume, edges = some(), some("edges")
    for figure in ("seat_to_seat", "both_sides", "side_turned", "rears_turned"):
        assert edges[figure].width < 0.85 * volume[figure].width
        assert edges[figure].error < volume[figure].error


def _rounded(share: Share) -> float:
    return round(share.inside, 3)
