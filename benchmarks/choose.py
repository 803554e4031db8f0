"""Search for the best whole plan: a van with eight places, by parts and by limits.

One van has roofs into which no part of the catalogue goes: 2e10 plans of its parts for each way to
wire and filter them. In the other every place may get another driver.
"""

import multiprocessing
import resource
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from benchmarks.invented_parts import invented
from benchmarks.timing import Row
from conewright.catalogue.driver_columns import DriverColumns, driver_columns
from conewright.catalogue.lists.forms import table_of, written
from conewright.catalogue.lists.part_rows import read_catalogue
from conewright.catalogue.offer import Offer
from conewright.job.builds.job import Job
from conewright.job.text.parsing import loads
from conewright.stages.choose.engine.solve import Limits, Search
from conewright.stages.choose.mounted.prepared import Prepared
from conewright.stages.choose.space.gates import Allowed
from conewright.stages.choose.space.knobs import space_of

SIZES = (1_000, 3_000, 10_000, 30_000, 100_000)
"""Parts of catalogues that differ in nothing else."""

PARTS = 10_000
NINE = (
    *((100, 4), (150, 4), (200, 5), (250, 6), (300, 6)),
    *((350, 7), (400, 8), (500, 10), (800, 12)),
)
"""Limits of money and hours, all of them of one search."""

ONE = (300, 6)
GAP = 0.25
"""Points within which the best plan is proved, where that is enough."""

MAY = ("driver", "ring", "cover", "polarity", "wiring", "capacitor", "high-pass", "repair")
PLACES = {
    "door": ("door", ("1.05", "0.75", "0.35"), "as-built-165", "148 mm ± 1 mm", "80 mm ± 1 mm"),
    "pillar": ("pillar", ("1.25", "0.68", "0.95"), "dome-25", "46 mm ± 0.5 mm", "45 mm ± 2 mm"),
    "side": ("panel", ("-0.9", "0.78", "0.6"), "as-built-130", "118 mm ± 1 mm", "72 mm ± 2 mm"),
    "roof": ("roof", ("-1.7", "0.6", "1.4"), "as-built-100", "96 mm ± 1 mm", "65 mm ± 2 mm"),
}
"""Kind of the places on the left, where they are [m], driver, opening and depth behind it."""

SHALLOW = "12 mm ± 1 mm"
"""Depth of roofs into which nothing goes."""

DRIVERS = {"as-built-165": 165, "dome-25": 25, "as-built-130": 130, "as-built-100": 100}
CHANNELS = {
    "front-left": "door-l | (4.7 uF + pillar-l)",
    "front-right": "-door-r | (4.7 uF + pillar-r)",
    "rear-left": "side-l + roof-l",
    "rear-right": "side-r + roof-r",
}
HEAD = """
format = 1
[job]
title = "van with eight places"
opened = 2026-05-04
currency = "EUR"
hour_rate = 38
[wishes]
bass = "matters most"
loudness = "matters"
clarity = "matters"
reversible = "would be nice"
appearance = "would be nice"
[vehicle]
built = 2009
class = "van"
restraints = { curtain = "none", door_sensor = "none" }
[[seat]]
id = "driver"
ear = ["0.75 m", "0.45 m", "1.15 m"]
[head_unit]
name = "radio as fitted"
output = "bridge"
minimum_load = "4 ohm"
"""
Made = TypeVar("Made")


@dataclass(frozen=True)
class Van:
    """A van and a catalogue for it."""

    job: Job
    offer: Offer
    parts: DriverColumns


def run() -> Iterator[Row]:
    """Time what is done once for a catalogue, then a search under nine limits, then by parts."""
    for shallow in (True, False):
        told = "nothing goes into roofs" if shallow else "all places"
        ready, seconds = _timed(lambda: _ready(_van(PARTS, shallow=shallow)))  # noqa: B023
        yield Row(f"{PARTS} parts, {told}, what goes in", seconds)
        _, seconds = _timed(lambda: ready.mounted)  # noqa: B023
        options = sum(map(len, ready.space.places))
        yield Row("all of them in four places and their twins", seconds, f"{options} options")
        search, seconds = _timed(lambda: _with_cells(Search(ready)))  # noqa: B023
        remark = f"{ready.space.plans:.1e} plans"
        yield Row("numbers of all options, work of all cells", seconds, remark)
        for money, hours in NINE:
            checked = search.tally.checked
            limits = Limits(money, hours)
            found, seconds = _timed(lambda: search.best(limits))  # noqa: B023
            remark = "nothing" if found is None else f"{found.value:.2f} points"
            if found is not None and search.proved_within(found, limits) > 0.0:
                remark += f", proved to within {search.proved_within(found, limits):.1f}"
            remark += f", {search.tally.checked - checked} plans worked out"
            yield Row(f"within {money} and {hours} h", seconds, remark)
    first = 0.0
    for size in SIZES:
        # In a process of its own, so that its memory is its own.
        spawned = multiprocessing.get_context("spawn")
        with ProcessPoolExecutor(1, mp_context=spawned) as processes:
            seconds, points, megabytes = processes.submit(_searched, _van(size)).result()
        first = first or seconds
        told = f"{seconds / first:.1f} times {SIZES[0]} parts, {points:.2f} points, {megabytes} MB"
        yield Row(f"{size} parts, within {GAP} points", seconds, told)


def _searched(van: Van) -> tuple[float, float, int]:
    """Time a search from a catalogue that is open [s], with its points and its memory [MB]."""
    found, seconds = _timed(lambda: Search(_ready(van), gap=GAP).best(Limits(*ONE)))
    return seconds, 0.0 if found is None else found.value, _megabytes()


def _with_cells(search: Search) -> Search:
    """A search of which nothing but the limits is left to be told."""
    search.best(Limits(0.0, 0.0))
    return search


def _timed(work: Callable[[], Made]) -> tuple[Made, float]:
    """What some work makes, and the time of the processor that it takes [s]: once, since what is
    made is kept."""
    start = time.process_time()
    made = work()
    return made, time.process_time() - start


def _megabytes() -> int:
    """Return the most memory that this process took, not what started it."""
    status = Path("/proc/self/status")
    if status.exists():
        lines = status.read_text(encoding="utf-8").splitlines()
        return int(next(line.split()[1] for line in lines if line.startswith("VmHWM"))) // 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def _ready(van: Van) -> Prepared:
    allowed = Allowed(money=True, currency="EUR")
    space = space_of(van.job, van.offer, van.parts, established=(), allowed=allowed, may=MAY)
    return Prepared(space, van.parts, "driver")


def _van(parts: int, *, shallow: bool = False) -> Van:
    compiled = read_catalogue(table_of(written(invented(parts), ending=".csv"), file="a.csv"))
    offer = Offer("invented", None, "0" * 64, compiled.compiled)
    channels = (
        f'[[channel]]\nid = "{name}"\nload = "{load}"\n'
        f'cable = {{ length = "{"2.5" if "front" in name else "5"} m", size = "0.75 mm2" }}'
        for name, load in CHANNELS.items()
    )
    drivers = (
        f'[[driver]]\nid = "{name}"\nsize = "{size} mm"\nage = "ageing"\nrated_impedance = "4 ohm"'
        for name, size in DRIVERS.items()
    )
    places = (_place(name, left=left, shallow=shallow) for name in PLACES for left in (True, False))
    job = loads("\n".join([HEAD, *channels, *places, *drivers]), "toml")
    return Van(job, offer, driver_columns(offer.compiled))


def _place(name: str, *, left: bool, shallow: bool) -> str:
    kind, (x, y, z), driver, cutout, depth = PLACES[name]
    depth = SHALLOW if shallow and name == "roof" else depth
    at = f'at = ["{x} m", "{y if left else "-" + y} m", "{z} m"]'
    if not left:
        return f'[[location]]\nid = "{name}-r"\nlike = "{name}-l"\n{at}'
    mount = f'{{ cutout = "{cutout}", glass_depth = ["{depth}"], trim_gap = "30 mm ± 1.5 mm" }}'
    lines = [f'id = "{name}-l"', f'kind = "{kind}"', at, f'driver = "{driver}"', f"mount = {mount}"]
    if kind != "pillar":
        lines.append('trim = { grille_area = "80 cm2" }')
    if kind in ("door", "panel"):
        lines.append('cavity = { volume = "30 L", panel_holes = "40 cm2" }')
    return "\n".join(["[[location]]", *lines])
