"""The analysis of recordings, judged by the simulator: few here, the rest in the benchmark."""

import numpy as np
import pytest
from benchmarks.simulated_recordings import judge

from simulator.draw import random_recording


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_a_clean_recording_gives_its_clock_and_its_levels(seed: int) -> None:
    # Simulated: random cabins, phones, clocks within 200 ppm, drivers, noise; truth in closed form.
    found = judge(random_recording(seed, spoilt=()))
    assert not found.stopped
    assert found.skew is not None
    assert abs(found.skew) < 0.5
    assert len(found.apart) > 20
    errors = np.abs(found.apart)
    assert np.sqrt(np.mean(errors**2)) < 0.15
    assert errors.max() < 1.0


@pytest.mark.slow
@pytest.mark.parametrize(
    ("spoilt", "flags"),
    [
        ("dropout", {"dropout"}),
        ("repeat", {"dropout"}),
        ("clipped-hard", {"clipped"}),
        ("gain-control", {"gain-control", "noise-suppression"}),
        ("truncated", {"truncated", "no-marks"}),
        ("music", {"no-marks"}),
        ("silence", {"no-marks"}),
    ],
)
def test_what_spoils_a_recording_is_told(spoilt: str, flags: set[str]) -> None:
    for seed in (50, 51):
        found = judge(random_recording(seed, file="sweep-short", spoilt=(spoilt,)))
        assert found.flags & flags, seed
