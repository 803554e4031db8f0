"""Figures of a report as plain numbers."""

from conewright.stages.report.data import Figure


def band(figure: Figure) -> tuple[float, float, float]:
    """Low end, value and high end of a figure that has all three."""
    assert figure.low is not None
    assert figure.value is not None
    assert figure.high is not None
    return figure.low, figure.value, figure.high
