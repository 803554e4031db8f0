"""Door circuit: two drivers, a capacitor, a door with holes; 1,000 samples x 512 frequencies.

Results: impedance at the plug and the volume velocity of both drivers into the cabin.
"""

import shutil
import subprocess
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.door_channel import FREQUENCY, SAMPLES, TWEETER, Drawn, draw, solve
from benchmarks.ngspice_deck import EXACT_AT, RESULT, deck_text
from benchmarks.timing import Row, best_seconds

AIM_SECONDS = 0.060
AIM_RATIO = 40.0


def floor_seconds() -> float:
    """One complex division over an array of the same size."""
    random = np.random.default_rng(1)
    shape = (SAMPLES, FREQUENCY.size)
    top = random.standard_normal(shape) + 1j * random.standard_normal(shape)
    bottom = top[::-1] + 3.0
    out = np.empty_like(top)
    return best_seconds(lambda: np.divide(top, bottom, out=out), repeats=20)


def ngspice_run(drawn: Drawn, program: str) -> tuple[float, float]:
    """Wall time of all samples in one process [s], and how far it is from the project [1]."""
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "channel.cir"
        deck.write_text(deck_text(drawn), encoding="utf-8")
        start = time.perf_counter()
        subprocess.run([program, "-b", deck.name], cwd=folder, check=True, capture_output=True)
        seconds = time.perf_counter() - start
        table = np.loadtxt(Path(folder) / RESULT)
    np.testing.assert_allclose(table[:, 0], FREQUENCY, rtol=1e-9)
    source, velocity, grille, edge = (table[:, 1::2] + 1j * table[:, 2::2])[EXACT_AT]
    theirs = np.array([-1.0 / source, grille + edge, velocity * TWEETER.sd])
    ours = np.array([part[0, EXACT_AT] for part in solve(drawn, slice(0, 1))])
    return seconds, float(np.max(np.abs(theirs / ours - 1.0)))


def run() -> list[Row]:
    """Time the project, ngspice and the floor in one run."""
    drawn = draw()
    floor = floor_seconds()
    rows = [Row("one numpy complex divide (floor)", floor)]
    best = best_seconds(partial(solve, drawn, slice(None)), repeats=9)
    rows.append(Row("conewright", best, f"{best / floor:.0f} x the floor"))
    program = shutil.which("ngspice")
    if program is None:
        rows.append(Row("ngspice", None, "not installed"))
        return rows
    seconds, apart = ngspice_run(drawn, program)
    remark = f"all samples in one process; same to {apart:.0e} where its elements are exact"
    rows.append(Row("ngspice", seconds, remark))
    ratio = seconds / best
    aims = f"aims: {AIM_RATIO:.0f} x, {1e3 * AIM_SECONDS:.0f} ms"
    rows.append(Row(f"conewright is {ratio:.0f} x as fast as ngspice", best, aims))
    return rows
