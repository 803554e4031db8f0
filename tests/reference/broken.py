"""Channels with something broken: jobs written from the book of circuits, solved by the project."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from conewright.job.builds.draws import Draws, draw
from conewright.job.builds.states.build import Build
from conewright.job.text.parsing import loads
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.stages.common.circuit import (
    LUMPED_BELOW,
    ChannelCircuit,
    Circuit,
    LocationCircuit,
    Solver,
)

FOLDER = Path(__file__).parent / "ngspice"
BOOK: dict[str, Any] = tomllib.loads((FOLDER / "circuits.toml").read_text(encoding="utf-8"))
FOUND = sorted(name for name, circuit in BOOK["circuits"].items() if "like" in circuit)
AMPLIFIED = sorted(BOOK["amplified"])
SOUND = sorted({BOOK["circuits"][name]["like"] for name in FOUND})

Columns = dict[str, ComplexArray]

SHEET_UNITS = {"re": "ohm", "fs": "Hz", "mms": "kg", "sd": "m2", "le": "H", "l2": "H", "r2": "ohm"}


@dataclass(frozen=True)
class Answer:
    """A channel as the project solves it, and the same under the columns of a deck."""

    build: Build
    channel: ChannelCircuit
    places: dict[str, LocationCircuit]
    columns: Columns
    heard: Columns


def read_result(path: Path) -> tuple[FloatArray, Columns]:
    """Frequency and named complex columns of a printed result."""
    head, *rows = path.read_text(encoding="utf-8").splitlines()
    table = np.array([[float(cell) for cell in row.split()] for row in rows])
    names = head.split()[1:]
    assert table.shape[1] == 1 + 2 * len(names)
    values = table[:, 1::2] + 1j * table[:, 2::2]
    return table[:, 0], {name: values[:, n] for n, name in enumerate(names)}


def door_of(name: str) -> dict[str, Any]:
    door = dict(BOOK["doors"][name])
    return {**door_of(door.pop("like")), **door} if "like" in door else door


def circuit_of(name: str) -> dict[str, Any]:
    circuit = BOOK["circuits"][name]
    return {**BOOK["circuits"][circuit["like"]], **circuit} if "like" in circuit else circuit


def solve_broken(name: str, frequency: FloatArray) -> Answer:
    """A channel of the book as the project's job, central values, per volt of the radio's EMF."""
    circuit = circuit_of(name)
    build = loads(_job(circuit), "toml").build()
    solved = Solver(draw(build.axes, samples=1), frequency).solve(build)
    heard = {
        unit: np.where(frequency <= LUMPED_BELOW, place.output[0], np.nan)
        for unit, place in solved.locations.items()
        if "door" in circuit["drivers"][unit]
    }
    columns = {column: drawn[0] for column, drawn in _columns(solved).items()}
    for unit in heard:
        flows = solved.locations[unit].flows
        columns |= {f"{unit}.{way}": flows[way] for way in ("grille", "edge")}
    return Answer(build, solved.channels["channel"], dict(solved.locations), columns, heard)


def solve_amplified(name: str, frequency: FloatArray) -> Columns:
    """A radio with an amplifier of the book as a job: its columns for each volt at the knob."""
    circuit = BOOK["amplified"][name]
    build = loads(_amplified_job(circuit), "toml").build()
    solved = Solver(draw(build.axes, samples=1), frequency).solve(build)
    columns = {}
    for unit, place in solved.locations.items():
        level = solved.channels[place.channel].settings[0]
        columns[f"{unit}.drive"] = level * place.drive[0]
        columns[f"{unit}.velocity"] = level * place.excursion[0] * 2j * np.pi * frequency
    for way in ("grille", "edge"):
        level = solved.channels["radio-out"].settings[0]
        columns[f"beside.{way}"] = level * solved.locations["beside"].flows[way]
    return columns


def intermittent(name: str, at: str, frequency: FloatArray, *, samples: int) -> Columns:
    """A channel of the book with a lead that comes and goes: a row a draw, the central first."""
    circuit = circuit_of(name) | {"fault": "lead-intermittent", "at": at}
    build = loads(_job(circuit), "toml").build()
    drawn = draw(build.axes, samples=samples)
    own = [axis == f"{at}.lead-intermittent.contact" for axis in drawn.axes]
    assert sum(own) == 1
    draws = Draws(drawn.axes, np.where(own, drawn.scores, 0.0))
    solved = Solver(draws, frequency).solve(build)
    return _columns(solved)


def _columns(solved: Circuit) -> Columns:
    """What the project solved under the columns of a deck, a row a draw; openings aside."""
    frequency, channel = solved.frequency, solved.channels["channel"]
    columns = {"source": -1.0 / (channel.plug_impedance + channel.source_resistance)}
    for unit, place in solved.locations.items():
        columns[f"{unit}.drive"] = place.drive
        columns[f"{unit}.velocity"] = place.excursion * 2j * np.pi * frequency
    return columns


def coaxial_columns(name: str, frequency: FloatArray) -> tuple[Circuit, Columns]:
    """A woofer and a dome of the book written as one coaxial driver, and its columns."""
    circuit = circuit_of(name)
    capacitor = circuit["parts"]["cap"]["farad"]
    one = {**circuit, "load": ["series", "source", "cable", "woofer"]}
    one["drivers"] = {"woofer": circuit["drivers"]["woofer"]}
    tweeter = f'[driver.tweeter]\ncapacitor = "{capacitor * 1e6:.12g} uF"\n'
    build = loads("\n".join((_job(one), tweeter)), "toml").build()
    solved = Solver(draw(build.axes, samples=1), frequency).solve(build)
    columns = {column: drawn[0] for column, drawn in _columns(solved).items()}
    return solved, {column.replace("woofer.tweeter", "dome"): c for column, c in columns.items()}


# --- The job ----------------------------------------------------------------------------------


def _job(circuit: dict[str, Any]) -> str:
    kind, source, cable, *rest = circuit["load"]
    assert (kind, source, cable) == ("series", "source", "cable")
    parts, units = circuit["parts"], circuit["drivers"]
    load = _load(["series", *rest] if len(rest) > 1 else rest[0], circuit)
    finding = (
        f'[[finding]]\nfault = "{circuit["fault"]}"\nat = "{circuit["at"]}"\n'
        if "fault" in circuit
        else ""
    )
    return "\n".join(
        (
            "format = 1",
            "[vehicle]",
            f'[head_unit]\nname = "radio"\noutput_resistance = "{parts["source"]["ohm"]} ohm"',
            '[[seat]]\nid = "driver"\near = ["0.2 m", "0.4 m", "1.1 m"]',
            f'[[channel]]\nid = "channel"\nload = "{load}"',
            f'cable = {{ resistance = "{parts["cable"]["ohm"]} ohm" }}',
            *(_location(unit, use) for unit, use in units.items()),
            *(_sheet(sheet) for sheet in sorted({use["sheet"] for use in units.values()})),
            finding,
        )
    )


def _amplified_job(circuit: dict[str, Any]) -> str:
    radio, unit, channels = circuit["radio"], circuit["amplifier"], circuit["channels"]
    used = {"beside": radio, **channels}
    return "\n".join(
        (
            "format = 1",
            "[vehicle]",
            f'[head_unit]\nname = "radio"\noutput_resistance = "{radio["ohm"]} ohm"',
            '[[seat]]\nid = "driver"\near = ["0.2 m", "0.4 m", "1.1 m"]',
            f'[[amplifier]]\nid = "amp"\ngain = "{unit["gain_db"]} dB"',
            _channel("radio-out", "beside", radio),
            *(
                _channel(f"{name}-out", _behind(name, each), each, of="radio-out")
                for name, each in channels.items()
            ),
            *(_location(name, use) for name, use in used.items()),
            *(_sheet(sheet) for sheet in sorted({use["sheet"] for use in used.values()})),
        )
    )


def _behind(name: str, channel: dict[str, Any]) -> str:
    return f"{channel['cap'] * 1e6:.12g} uF + {name}" if "cap" in channel else name


def _channel(id: str, load: str, channel: dict[str, Any], of: str = "") -> str:
    lines = [
        f'[[channel]]\nid = "{id}"\nload = "{load}"\ngain = "{channel["gain_db"]} dB"',
        f'cable = {{ resistance = "{channel["cable"]} ohm" }}',
        f'driven_by = "amp"\ninput = "{of}"' if of else "",
    ]
    for each in channel["filters"]:
        side = each["side"].replace("-", "_")
        lines += [
            f'{side} = "{each["corner"]} Hz"',
            f'{side}_slope = "{each["slope"]} dB/oct"\n{side}_kind = "{each["kind"]}"',
        ]
    return "\n".join(lines)


def _load(load: Any, circuit: dict[str, Any]) -> str:
    if isinstance(load, str):
        if load in circuit["drivers"]:
            return load
        (farad,) = circuit["parts"][load].values()
        return f"{farad * 1e6:.12g} uF"
    kind, *parts = load
    joined = (" + " if kind == "series" else " | ").join(_load(part, circuit) for part in parts)
    return f"({joined})"


def _location(unit: str, use: dict[str, str]) -> str:
    place = 'at = ["0.9 m", "0.8 m", "0.3 m"]'
    head = f'[[location]]\nid = "{unit}"\n{place}\ndriver = "{use["sheet"]}-type"'
    if "door" not in use:
        return f'{head}\nkind = "free"'
    door = door_of(use["door"])
    cover = 'cover = "none"'
    if door["cover_mass"]:
        cover = f'cover = "film"\ncover_mass = "{door["cover_mass"]} kg/m2"'
    return f"""{head}
kind = "door"
[location.mount]
ring = {str(door["ring"]).lower()}
steel = "{door["steel"]} m"
trim_gap = "{door["trim_gap"]} m"
[location.cavity]
volume = "{door["rear_volume"]} m3"
q = {door["rear_q"]}
drains = "{door["drain_area"]} m2"
drain_count = {door["drain_count"]}
panel_holes = "{door["panel_area"]} m2"
panel_hole_count = {door["panel_count"]}
{cover}
[location.trim]
volume = "{door["trim_volume"]} m3"
grille_area = "{door["grille_area"]} m2"
grille_extent = "{door["grille_extent"]} m2"
edge_gap = "{door["edge_area"]} m2"
"""


def _sheet(name: str) -> str:
    sheet = {"n": 1.0, **BOOK["drivers"][name]}
    if "l2" in sheet:
        del sheet["n"]
    lines = (
        f'{key} = "{value!r} {SHEET_UNITS[key]}"' if key in SHEET_UNITS else f"{key} = {value}"
        for key, value in sheet.items()
    )
    size = "25 mm" if sheet["sd"] < 20e-4 else "165 mm"
    return "\n".join((f'[[driver]]\nid = "{name}-type"\nsize = "{size}"', *lines))
