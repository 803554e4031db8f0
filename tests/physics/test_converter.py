"""A converter between supply and radio: the balance of power, and the limit of its current."""

import numpy as np
import pytest

from conewright.errors import OutOfRangeError
from conewright.physics.electrics.amplifier import supply_current
from conewright.physics.electrics.converter import input_current, peak_current_within


def test_power_in_is_power_out_over_the_efficiency() -> None:
    # closed form: 13.6 V x 5 A = 68 W; at 85 % 80 W, from 25 V 3.2 A
    taken = input_current(
        output_voltage=13.6, output_current=5.0, efficiency=0.85, input_voltage=25.0
    )
    assert taken == pytest.approx(3.2, rel=1e-12)
    assert 0.85 * 25.0 * taken == pytest.approx(13.6 * 5.0, rel=1e-12)


def test_a_step_up_takes_more_amperes_than_it_gives() -> None:
    # closed form: 13.6 V x 2 A / (0.8 x 6.3 V) = 5.397 A
    taken = input_current(
        output_voltage=13.6, output_current=2.0, efficiency=0.8, input_voltage=6.3
    )
    assert taken == pytest.approx(5.3968, rel=1e-4)


def test_nothing_drawn_takes_nothing_and_an_array_is_a_loop_of_scalars() -> None:
    currents = np.array([[0.0], [1.0], [4.0]])
    same = {"output_voltage": 13.6, "efficiency": 0.85, "input_voltage": 25.0}
    whole = input_current(output_current=currents, **same)
    one_by_one = [float(input_current(output_current=float(i), **same)) for i in currents[:, 0]]
    assert whole[:, 0] == pytest.approx(one_by_one)
    assert whole[0, 0] == 0.0


def test_the_peak_within_a_limit_draws_that_limit() -> None:
    # two routes: the mean current of a sine of that peak is the limit again (2/pi of the peak)
    peak = peak_current_within(limit=3.0, quiescent_current=0.2)
    assert peak == pytest.approx(4.3982, rel=1e-4)
    drawn = supply_current(peak_current=peak, channels=1, quiescent_current=0.2)
    assert drawn == pytest.approx(3.0, rel=1e-12)


def test_what_the_radio_takes_at_rest_may_be_all_there_is() -> None:
    assert peak_current_within(limit=0.1, quiescent_current=0.2) == 0.0
    assert np.isinf(peak_current_within(limit=np.inf, quiescent_current=0.2))


@pytest.mark.parametrize("wrong", ["output_voltage", "efficiency", "input_voltage"])
def test_nothing_is_no_voltage_and_no_efficiency(wrong: str) -> None:
    right = {"output_voltage": 13.6, "efficiency": 0.85, "input_voltage": 25.0}
    with pytest.raises(OutOfRangeError, match=f"{wrong} must be above zero, got 0"):
        input_current(output_current=1.0, **(right | {wrong: 0.0}))
    with pytest.raises(OutOfRangeError, match="must not be below zero"):
        input_current(output_current=-1.0, **right)
