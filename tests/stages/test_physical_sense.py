"""Whatever a job may hold, no stage tells a figure that no vehicle has."""

from math import exp, isfinite, log
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from conewright.errors import ConewrightError
from conewright.job.builds.states.build import Build
from conewright.job.plausible.ranges import Range, ranges
from conewright.job.quantity.units import to_unit
from conewright.job.text.parsing import from_dict, loads
from conewright.job.text.starter import starter_text
from conewright.stages.feed.stage import feed
from conewright.stages.fit.stage import fit
from conewright.stages.hear.stage import hear
from conewright.stages.report.data import Report

# Copper melts at 1085 degC; the loudest whisper to the loudest horn lies within 250 dB.
MOST = {"degC": 1090.0, "dB": 250.0, "dB(A)": 200.0, "V": 120.0, "A": 1500.0, "W": 1e5}

VARIED = sorted(
    field
    for field in ranges()
    if field.startswith(("vehicle.", "head_unit.", "channel.cable.", "channel.gain", "driver.x"))
    and field not in ("vehicle.built", "channel.cable.resistance")
)


def within(each: Range, share: float) -> str | float:
    """A value at a share of what is possible, along the logarithm where there is one."""
    low, high = each.possible
    least = max(low, 1e-3 * high)
    si = exp(log(least) + share * log(high / least)) if low >= 0.0 else low + share * (high - low)
    if not each.dimension:
        return si
    return f"{to_unit(si, dimension=each.dimension, unit=each.unit):.6f} {each.unit}".strip()


def built(shares: dict[str, float]) -> Build:
    raw: dict[str, Any] = loads(starter_text()).to_dict()
    raw["proposal"] = []
    for field, share in shares.items():
        table, *names = field.split(".")
        parts = raw[table] if isinstance(raw.get(table), list) else [raw.setdefault(table, {})]
        for node in parts:
            for name in names[:-1]:
                node = node.setdefault(name, {})
            node[names[-1]] = within(ranges()[field], share)
    return from_dict(raw).build()


def hold(report: Report) -> None:
    for figure in report.figures:
        for value in (figure.value, figure.low, figure.high):
            assert value is None or isfinite(value)
            assert value is None or abs(value) <= MOST.get(figure.unit, 1e9), figure.id


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.dictionaries(st.sampled_from(VARIED), st.floats(0.01, 0.99), min_size=4, max_size=12))
def test_no_figure_is_beyond_physical_sense(shares: dict[str, float]) -> None:
    try:
        build = built(shares)
    except ConewrightError:
        assume(False)
    for report in (feed(build, samples=16), hear(build, samples=16), fit(build)):
        hold(report)


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_a_chip_is_never_told_hotter_than_any_is(share: float) -> None:
    shares = {"head_unit.supply": 1.0, "head_unit.peak_current": 1.0, "head_unit.thermal.dash": 1.0}
    build = built({**shares, "head_unit.thermal.junction_to_dash": share})
    report = feed(build, samples=16)
    hold(report)
    (chip,) = [each for each in report.figures if each.id == "head_unit.chip_temperature"]
    assert chip.value is not None
    assert chip.value <= 300.0
    if share:
        assert "more than 300 °C" in report.answer
