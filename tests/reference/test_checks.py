"""Every reference value against the function that computes it."""

from fnmatch import fnmatchcase

import numpy as np
import pytest

from .checks import Check, Computation, read_checks
from .drivers import DRIVERS
from .electrics import ELECTRICS
from .faults import FAULTS
from .recordings import RECORDINGS
from .sound import SOUND

CHECKS = read_checks()
# Patterns of ids; a row must meet exactly one.
TABLE: dict[str, Computation] = DRIVERS | ELECTRICS | FAULTS | RECORDINGS | SOUND


def computations(check: Check) -> list[Computation]:
    return [compute for pattern, compute in TABLE.items() if fnmatchcase(check.id, pattern)]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.id)
def test_reference_value(check: Check) -> None:
    """Published, closed-form or recalled, as the row's source says; tolerance of the row."""
    found = float(np.asarray(computations(check)[0](check.inputs)))
    assert found == pytest.approx(check.expected, rel=0.0, abs=check.tolerance), check.quantity


def test_every_row_is_computed_by_exactly_one_function() -> None:
    assert {c.id: len(computations(c)) for c in CHECKS if len(computations(c)) != 1} == {}
    assert len({c.id for c in CHECKS}) == len(CHECKS)


def test_every_function_computes_a_row() -> None:
    idle = {p for p in TABLE if not any(fnmatchcase(check.id, p) for check in CHECKS)}
    assert idle == set()
    assert len(TABLE) == sum(map(len, (DRIVERS, ELECTRICS, FAULTS, RECORDINGS, SOUND)))


def test_every_row_names_its_source() -> None:
    assert [check.id for check in CHECKS if not check.source.strip()] == []


def test_no_check_passes_on_nothing() -> None:
    """A function that returned nought must fail, except where nought is the value."""
    zero = {check.id for check in CHECKS if abs(check.expected) <= check.tolerance}
    # levels at their reference point and sums that are flat by design
    assert zero == {
        "T5.S3_8",
        "T7.R2",
        "T7.R6",
        "T9.A1000",
    }
