"""Refusals say in a few words what was found, however large the array."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.basics.validity import (
    in_words,
    require_at_most,
    require_not_negative,
    require_positive,
)


def test_a_number_and_the_ends_of_an_array() -> None:
    assert in_words(-3.0) == "-3"
    assert in_words(np.array([[0.5]])) == "0.5"
    assert in_words(np.array([[2.0], [-1.0], [0.25]])) == "-1 to 2"


def test_refusals_name_the_argument_and_stay_short() -> None:
    many = np.linspace(-1.0, 1.0, 1000)
    with pytest.raises(OutOfRangeError, match=r"^area must be above zero, got -1 to 1$"):
        require_positive(length=1.0, area=many)
    with pytest.raises(OutOfRangeError, match=r"^loss must not be below zero, got nan$"):
        require_not_negative(loss=np.nan)
    with pytest.raises(OutOfRangeError, match=r"^area must be at most 2, got -1 to 3$"):
        require_at_most(2.0, area=np.array([-1.0, 3.0]))
    require_at_most(2.0, area=2.0)
    require_positive(length=np.inf)
    require_not_negative(loss=0.0)
