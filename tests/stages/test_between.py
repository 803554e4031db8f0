"""Third octaves across nulls and resonances, against a grid ten times finer."""

from functools import cache

import numpy as np
import pytest
from workbench import channel, job, location

import conewright as cw
from conewright.job.builds.states.build import Build
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.hear.heard import BuildSound, sound_of

# Ten points for each of the standard grid, the same ends.
FINE = np.asarray(1000.0 * bands.OCTAVE_RATIO ** (np.arange(-710, 551) / 120.0))
SAMPLES = 64


def random_job(seed: int) -> Build:
    """Two to four loudspeakers of any kind anywhere in a cabin of any class, one turned round."""
    random = np.random.default_rng(seed)
    body = random.choice(["compact", "saloon", "estate", "convertible", "pickup-cab", "van"])
    half, tables = {"pickup-cab": 0.6, "van": 1.3}.get(str(body), 0.9), []
    for n in range(int(random.integers(2, 5))):
        x, y, z = random.uniform((-half, -0.6, 0.2), (half, 0.6, 1.0))
        kind = str(random.choice(["door", "dash", "shelf"]))
        at = f'["{x:.2f} m", "{y:.2f} m", "{z:.2f} m"]'
        driver = str(random.choice(["F165", "R165", "P77"]))
        tables.append(location(f"at{n}", driver, kind=kind, at=at))
        tables.append(channel(f"channel{n}", f"-at{n}" if n == 1 else f"at{n}"))
    return job(*tables, vehicle=f'class = "{body}"').build()


def demo(proposal: str | None) -> Build:
    return cw.demo_job().build(proposal)


@cache
def both(name: str) -> tuple[BuildSound, BuildSound]:
    """The sound of a build on the standard grid, and on the fine one."""
    build = random_job(int(name)) if name.isdigit() else demo(None if name == "found" else name)
    draws = conditioned_draws(build, samples=SAMPLES)
    coarse, fine = (sound_of(build, Solver(draws, grid)) for grid in (bands.fine_grid(), FINE))
    return coarse, fine


def levels(name: str) -> list[tuple[FloatArray, FloatArray]]:
    """Third octaves of every seat, quiet and at the ceiling: as told, and on the fine grid."""
    coarse, fine = both(name)
    found = []
    for seat, told in coarse.seats.items():
        heard = fine.seats[seat].heard
        found.append((told.thirds, heard.thirds()))
        found.append((told.clean_thirds, heard.thirds(fine.ceiling.emf)))
    return found


NAMES = ["found", "put-right", *map(str, range(6))]


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_third_octaves_hold_to_a_twentieth_of_a_decibel(name: str) -> None:
    # limit: the same equations on ten times as many points
    for told, true in levels(name):
        assert np.abs(told[0] - true[0]).max() < 0.05
        # The draws get fewer points; of 64 a single one may set an end of a band.
        ends = [np.quantile(each[1:], (0.1, 0.5, 0.9), axis=0) for each in (told, true)]
        assert np.sqrt(np.mean((ends[0] - ends[1]) ** 2)) < 0.08
        assert np.mean(np.abs(told - true) > 0.2) < 0.03


def test_the_standard_grid_alone_misses_the_demos_dips() -> None:
    # own snapshot of the size of the fault: some 0.8 dB at 125 Hz for the driver's seat, and that
    # the points between are what mends it
    coarse, fine = both("found")
    heard, true = coarse.seats["driver"].heard, fine.seats["driver"].heard.thirds()
    assert np.abs(heard.thirds()[0] - true[0]).max() > 0.3


def test_nothing_that_spreads_and_no_cabin_make_no_difference() -> None:
    """Outdoors there is no resonance to miss: told and fine agree, of one draw as of many."""
    woofer = location("woofer", "R165", kind="box", more='cavity = { volume = "15 L" }')
    build = job(
        woofer, channel("rear", "woofer"), vehicle='class = "convertible"\ntop = "down"'
    ).build()
    for samples in (1, SAMPLES):
        draws = conditioned_draws(build, samples=samples)
        told, true = (
            sound_of(build, Solver(draws, grid)).seats["driver"]
            for grid in (bands.fine_grid(), FINE)
        )
        assert told.thirds.shape == (1 + samples, 31)
        assert told.thirds[0] == pytest.approx(true.heard.thirds()[0], abs=0.05)
