"""A hundred boxes of air: does the band of `hear` hold what image sources say?

`python -m benchmarks.cabin_boxes` judges today's bands by the truths that are kept beside the
tests; `--again` works the truths out anew (needs pyroomacoustics, some ten minutes). Truth: image
sources up to order 90 at 4 kHz (Allen and Berkley 1979), its high-pass off; order 120 moves no
third octave by more than 0.02 dB.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from conewright.job.builds.draws import draw
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin
from conewright.job.text.parsing import loads
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.stages.common.circuit import Circuit, Solver
from conewright.stages.hear.listening import heard_at, third_octave_levels
from conewright.stages.report.data import Kind, Outcome, figures

__all__ = ["FIGURES", "Share", "boxes", "judge", "kept_truths"]

KEPT = Path(__file__).resolve().parent.parent / "tests" / "reference" / "cabins"
RATE, ORDER, C = 4000, 90, 343.21
BANDS = [n for n, f in enumerate(bands.band_centres()) if 39.0 < f < 205.0]
NAMES = tuple(bands.NOMINAL_BANDS[n] for n in BANDS)

Range = tuple[float, float]
CLASSES: Mapping[str, tuple[Range, Range, Range]] = {
    "compact": ((2.0, 2.5), (1.3, 1.5), (1.0, 1.25)),
    "saloon": ((2.2, 2.8), (1.3, 1.55), (1.0, 1.25)),
    "estate": ((2.6, 3.4), (1.35, 1.6), (1.05, 1.3)),
    "van": ((3.0, 4.5), (1.5, 1.9), (1.4, 1.9)),
    "other": ((2.0, 4.5), (1.3, 1.9), (1.0, 1.9)),
}
"""Length, width and height of the boxes [m]: assumed, within what cabins are."""

FIGURES: Mapping[str, str] = {
    "seat_to_seat": "one side at one seat against another",
    "both_sides": "both sides against one",
    "side_turned": "one side turned round",
    "rears_turned": "fronts against rears turned round",
    "driver_exchanged": "a driver exchanged",
}

ONE, BOTH, OPPOSED = (1, 0, 0, 0), (1, 1, 0, 0), (1, -1, 0, 0)
ALL, REARS_TURNED = (1, 1, 1, 1), (1, 1, -1, -1)
PLACES = ("fl", "fr", "rl", "rr")

# re, fs, qms, qes, mms, sd, le, of two invented 165 mm drivers.
DRIVERS: Mapping[str, tuple[float, ...]] = {
    "one": (3.4, 70.0, 5.0, 1.25, 9.5e-3, 124e-4, 0.35e-3),
    "two": (3.4, 62.0, 5.0, 0.72, 15e-3, 130e-4, 0.5e-3),
}

Spot = tuple[float, float, float]


@dataclass(frozen=True)
class BoxOfAir:
    """A box, with places from the middle of its floor, as a tape finds them [m]."""

    kind: str
    size: Spot
    absorption: float
    sources: tuple[Spot, ...]
    ears: tuple[Spot, ...]


@dataclass(frozen=True)
class Share:
    """How the bands of one figure did: share of truths inside, rms error and median width [dB]."""

    inside: float
    error: float
    width: float
    count: int


def boxes(count: int = 100, *, seed: int = 2024) -> Iterator[BoxOfAir]:
    """Yield boxes of the classes in turn, with doors or dash in front, one to three seats."""
    rng = np.random.default_rng(seed)
    u = rng.uniform

    def pair(x: float, y: float, z: float) -> list[Spot]:
        return [(x, y, z), (x, -y, z)]

    for number in range(count):
        kind = list(CLASSES)[number % len(CLASSES)]
        length, width, height = (float(u(*each)) for each in CLASSES[kind])
        absorption = float(u(0.12, 0.35))
        front = rng.choice(["door", "dash"], p=[0.75, 0.25])
        rear = rng.choice(["door", "shelf", "roof"])
        if front == "door":
            sources = pair(u(0.1, 0.38) * length, width / 2 - u(0.02, 0.06), u(0.25, 0.45))
        else:
            x = 0.5 * length - u(0.03, 0.08)
            sources = pair(x, u(0.25, 0.42) * width, u(0.6, 0.8) * height)
        if rear == "door":
            sources += pair(-u(0.1, 0.38) * length, width / 2 - u(0.02, 0.06), u(0.25, 0.5))
        elif rear == "shelf":
            x = -(0.5 * length - u(0.05, 0.15))
            sources += pair(x, u(0.2, 0.4) * width, u(0.5, 0.75) * height)
        else:
            x = -u(0.1, 0.4) * length
            sources += pair(x, u(0.2, 0.4) * width, height - u(0.02, 0.05))
        seats = [
            (u(-0.02, 0.18) * length, 0.25 * width, height - u(0.12, 0.25)),
            (u(-0.02, 0.18) * length, -0.25 * width, height - u(0.12, 0.25)),
            (-u(0.2, 0.36) * length, u(-0.25, 0.25) * width, height - u(0.15, 0.3)),
        ]
        ears = seats[: 1 + number % 3] if number % 3 else seats
        size = (length, width, height)
        yield BoxOfAir(kind, size, absorption, tuple(sources), tuple(ears))


# --- The truth ----------------------------------------------------------------------------------


def truths(box: BoxOfAir) -> Iterator[tuple[int, str, FloatArray]]:
    """Yield seat, figure and its level in each third octave [dB], by image sources."""
    steps = np.arange(-233, -104, dtype=np.float64)
    grid: FloatArray = np.power(10.0, 3.0 + 0.3 * steps / 48.0)
    grid = grid[(grid > 33.0) & (grid < 230.0)]
    answers = _image_sources(box, grid)

    def level(seat: int, signs: Sequence[int], driver: str = "one") -> FloatArray:
        flow = 2j * np.pi * grid * _flow(grid, driver)
        summed = sum(sign * answers[seat][n] for n, sign in enumerate(signs))
        return _third_octaves(np.abs(summed * flow) ** 2, grid)

    last = len(box.ears) - 1
    if last:
        yield 0, "seat_to_seat", level(0, ONE) - level(last, ONE)
    for seat in range(len(box.ears)):
        yield seat, "both_sides", level(seat, BOTH) - level(seat, ONE)
        yield seat, "side_turned", level(seat, OPPOSED) - level(seat, BOTH)
        yield seat, "rears_turned", level(seat, REARS_TURNED) - level(seat, ALL)
        yield seat, "driver_exchanged", level(seat, ONE, "two") - level(seat, ONE)


def _image_sources(box: BoxOfAir, grid: FloatArray) -> list[list[ComplexArray]]:
    """Transfer from every source to every ear, by seat and place; its scale cancels."""
    import pyroomacoustics as pra

    pra.constants.set("rir_hpf_enable", False)
    pra.constants.set("c", C)
    room = pra.ShoeBox(box.size, fs=RATE, materials=pra.Material(box.absorption), max_order=ORDER)
    corner = np.array([box.size[0] / 2, box.size[1] / 2, 0.0])
    for source in box.sources:
        room.add_source(np.array(source) + corner)
    room.add_microphone_array(np.array([np.array(ear) + corner for ear in box.ears]).T)
    room.compute_rir()
    return [[_spectrum(response, grid) for response in row] for row in room.rir]


def _spectrum(response: FloatArray, grid: FloatArray) -> ComplexArray:
    turns = np.exp(-2j * np.pi * np.outer(grid, np.arange(len(response))) / RATE)
    return np.asarray(turns @ response)


def _flow(f: FloatArray, driver: str) -> ComplexArray:
    """Sd v per volt of a free driver behind 0.1 ohm, from its sheet in closed form."""
    re, fs, qms, qes, mms, sd, le = DRIVERS[driver]
    w, ws = 2 * np.pi * f, 2 * np.pi * fs
    bl = np.sqrt(ws * mms * re / qes)
    zm = ws * mms / qms + 1j * w * mms + ws**2 * mms / (1j * w)
    ze = re + 0.1 + 2 * np.pi * 1000 * le * (1j * f / 1000) ** 0.7
    return np.asarray(sd * bl / (ze * zm + bl**2))


def _third_octaves(squared: FloatArray, grid: FloatArray) -> FloatArray:
    edges, found = bands.band_edges(), []
    for band in BANDS:
        inside = (grid >= 0.999 * edges[band]) & (grid <= 1.001 * edges[band + 1])
        found.append(10 * np.log10(np.trapezoid(squared[inside], np.log(grid[inside]))))
    return np.array(found)


def kept_truths() -> dict[tuple[int, int, str], FloatArray]:
    """Return the truths kept beside the tests, by box, seat and figure."""
    with (KEPT / "truths.csv").open(newline="", encoding="utf-8") as file:
        return {
            (int(row["box"]), int(row["seat"]), row["figure"]): np.array(
                [float(row[name]) for name in NAMES]
            )
            for row in csv.DictReader(file)
        }


def write_truths() -> None:
    """Work out all truths and keep them."""
    KEPT.mkdir(parents=True, exist_ok=True)
    with (KEPT / "truths.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(("box", "seat", "figure", *NAMES))
        for number, box in enumerate(boxes()):
            for seat, figure, levels in truths(box):
                rows.writerow((number, seat, figure, *(f"{each:.2f}" for each in levels)))


# --- What hear says -----------------------------------------------------------------------------


def job_text(box: BoxOfAir, known: str, rng: np.random.Generator) -> str:
    """Return the job that a repairer writes of a box, places by a tape good to 5 cm.

    Args: known: `volume`, read within 12 %, or `edges`, read within 3 cm; rng: his errors.
    """

    def read(value: float, margin: float, unit: str) -> str:
        wrong = value + margin / 1.96 * rng.standard_normal()
        return f'"{wrong:.3f} {unit} ± {margin:.3f} {unit}"'

    def at(spot: Spot) -> str:
        return f"[{', '.join(read(each, 0.05, 'm') for each in spot)}]"

    length, width, height = box.size
    lines = ["format = 1", "[vehicle]", f'class = "{box.kind}"']
    if known == "volume":
        volume = length * width * height
        lines.append(f"cabin_volume = {read(volume, 0.12 * volume, 'm3')}")
    else:
        for name, edge in zip(("length", "width", "height"), box.size, strict=True):
            lines.append(f"cabin_{name} = {read(edge, 0.03, 'm')}")
    lines += ["[head_unit]", 'name = "bench"', 'output_resistance = "0.1 ohm"']
    for number, ear in enumerate(box.ears):
        lines += ["[[seat]]", f'id = "seat-{number}"', f"ear = {at(ear)}"]
    for name, source in zip(PLACES, box.sources, strict=True):
        lines += ["[[location]]", f'id = "{name}"', 'kind = "dash"', f"at = {at(source)}"]
        lines += ['driver = "one"', "[[channel]]", f'id = "{name}-out"', f'load = "{name}"']
        lines += ['cable = { resistance = "0 ohm" }']
    for name, (re, fs, qms, qes, mms, sd, le) in DRIVERS.items():
        lines += ["[[driver]]", f'id = "{name}"', 'size = "165 mm"', f'fs = "{fs} Hz"']
        lines += [f're = "{re} ohm"', f"qms = {qms}", f"qes = {qes}", f'mms = "{1e3 * mms} g"']
        lines += [f'sd = "{1e4 * sd} cm2"', f'le = "{1e3 * le} mH"']
    lines += ["[[proposal]]", 'id = "other"', "[proposal.set]", '"fl.driver" = "two"']
    return "\n".join(lines) + "\n"


class _Told:
    """What hear tells of one box."""

    def __init__(self, text: str) -> None:
        job = loads(text)
        self._build, self._other = job.build(), job.build("other")
        self._solver = Solver(draw(self._build.axes), bands.fine_grid())

    def change(self, seat: int, figure: str, last: int) -> FloatArray:
        """Draws of a figure in each third octave [dB], shape (1 + samples, bands)."""
        if figure == "seat_to_seat":
            return self._level(0, ONE) - self._level(last, ONE)
        if figure == "both_sides":
            return self._level(seat, BOTH) - self._level(seat, ONE)
        if figure == "side_turned":
            return self._level(seat, OPPOSED) - self._level(seat, BOTH)
        if figure == "rears_turned":
            return self._level(seat, REARS_TURNED) - self._level(seat, ALL)
        return self._level(seat, ONE, self._other) - self._level(seat, ONE)

    def _level(self, seat: int, signs: Sequence[int], build: Build | None = None) -> FloatArray:
        build = build or self._build
        circuit = _only(self._solver.solve(build), signs)
        heard = heard_at(build.seats[seat], build=build, circuit=circuit, cabin=self._solver.cabin)
        return third_octave_levels(heard.squared, heard.frequency)[:, BANDS]


def _only(circuit: Circuit, signs: Sequence[int]) -> Circuit:
    """Return a circuit of which only some places play, as they are or turned round."""
    playing = {
        name: replace(circuit.locations[name], output=sign * circuit.locations[name].output)
        for name, sign in zip(PLACES, signs, strict=True)
        if sign
    }
    return replace(circuit, locations=playing)


def judge(
    kept: Mapping[tuple[int, int, str], FloatArray],
    *,
    known: str = "volume",
    every: int = 1,
    seed: int = 7,
) -> dict[str, Share]:
    """Hold the bands of every so many boxes against their truths, by figure."""
    rng = np.random.default_rng(seed)
    rows: dict[str, list[tuple[FloatArray, ...]]] = {name: [] for name in FIGURES}
    for number, box in enumerate(boxes()):
        text = job_text(box, known, rng)
        if number % every:
            continue
        told = _Told(text)
        for (owner, seat, figure), truth in kept.items():
            if owner == number:
                draws = told.change(seat, figure, len(box.ears) - 1)
                rows[figure].append((truth, *_band(draws)))
    return {figure: _share(entries) for figure, entries in rows.items()}


def _band(draws: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Value, low and high end in each band, as a report prints them."""
    outcomes = [
        Outcome("box", str(n), column, "dB", Kind.CHANGE, "", None, None, None)
        for n, column in enumerate(draws.T)
    ]
    made: list[Any] = figures(outcomes, [Origin.ASSUMED] * len(outcomes))
    value, low, high = (
        np.array([getattr(f, key) for f in made]) for key in ("value", "low", "high")
    )
    return value, low, high


def _share(entries: Sequence[tuple[FloatArray, ...]]) -> Share:
    truth, value, low, high = (np.array(part) for part in zip(*entries, strict=True))
    return Share(
        inside=float(np.mean((truth >= low) & (truth <= high))),
        error=float(np.sqrt(np.mean((value - truth) ** 2))),
        width=float(np.median(high - low)),
        count=truth.size,
    )


def main() -> None:
    """Print a table for each thing a repairer may have measured."""
    if "--again" in sys.argv[1:]:
        write_truths()
    kept = kept_truths()
    for known in ("volume", "edges"):
        print(f"known: {known}, places within 5 cm")
        for figure, share in judge(kept, known=known).items():
            print(
                f"  {FIGURES[figure]:<40} {100 * share.inside:5.1f} % inside  "
                f"{share.error:5.2f} dB rms  {share.width:4.1f} dB wide  of {share.count}"
            )


if __name__ == "__main__":
    main()
