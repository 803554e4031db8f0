"""The 100 mm bars on a printed template: what they measure, and whether that can be mended."""

from __future__ import annotations

from math import isfinite

from conewright.errors import BadInputError

__all__ = ["BAR_MM", "MOST_OFF_MM", "Bars", "measured_bars"]

BAR_MM = 100.0
MOST_OFF_MM = 0.5
"""What a bar may be off on a print that is cut from; common practice, no source."""
FARTHEST_MM = 15.0
"""A bar further off than this was not printed from this template."""
LARGEST_DIFFERENCE_MM = 0.5
"""Both directions may differ by this much; beyond it circles come out as ovals."""

Bars = tuple[float, float]
"""Length of the bar across and of the bar down the page [mm]."""


def measured_bars(text: str | float | None) -> Bars | None:
    """Return what the printed bars measure, across and down; None where nobody measured.

    Args:
        text: one number for both, or "across,down" [mm].

    Raises:
        BadInputError: no number, a bar far from 100 mm, or two that differ by more than 0.5 mm.

    """
    if text is None or text == "":
        return None
    written = str(text).split(",")
    if len(written) > 2 or (len(written) == 2 and _is_fraction(written[1])):
        raise BadInputError(
            f'bar_measured: found "{text}"; allowed: one length in mm with a decimal point, such '
            "as 97.0, or two with a comma between them, such as 97.0,97.2"
        )
    parts = [_length(part) for part in written]
    across, down = parts[0], parts[-1]
    if abs(across - down) > LARGEST_DIFFERENCE_MM:
        raise BadInputError(
            f"bar_measured: found {across:g} mm across and {down:g} mm down; they may differ by "
            f"{LARGEST_DIFFERENCE_MM:g} mm: a printer that stretches one way makes ovals of "
            "circles, use another one"
        )
    return across, down


def _is_fraction(text: str) -> bool:
    """Whether what stands behind a comma is no bar but the decimals of one: 97,0."""
    digits = text.strip().removesuffix("mm").strip()
    return digits.isdecimal() and len(digits) < 3 and int(digits) < BAR_MM - FARTHEST_MM


def _length(text: str) -> float:
    low, high = BAR_MM - FARTHEST_MM, BAR_MM + FARTHEST_MM
    allowed = f"allowed: a length from {low:g} to {high:g} mm, such as 97.0"
    try:
        length = float(text.strip().removesuffix("mm"))
    except ValueError:
        raise BadInputError(f'bar_measured: found "{text.strip()}"; {allowed}') from None
    if not isfinite(length) or not low <= length <= high:
        raise BadInputError(f'bar_measured: found "{text.strip()}"; {allowed}')
    return length
