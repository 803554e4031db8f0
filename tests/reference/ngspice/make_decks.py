"""Write a deck for every circuit of circuits.toml; with `--run`, have ngspice solve them too.

    python tests/reference/ngspice/make_decks.py [--run]

Nothing of conewright is imported: holes, slits, grilles and coils are computed here a second
time, from the textbook formulas with scipy's Bessel functions, and the networks are left to
ngspice. What varies with frequency (a power-law coil, the friction in a hole) is a resistor and
an inductor set anew at each frequency, so that R + jwL is exact there.
"""

import argparse
import subprocess
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from scipy import integrate, special

HERE = Path(__file__).resolve().parent
# A cavity is a node without a path for direct current: 1e15 Pa s/m3 keeps the operating point
# solvable and is 1e-9 of any impedance in the network.
SHUNT = 1e15
# A break in a wire [ohm]: what hangs behind it keeps a path for direct current.
BREAK = 1e15
# With these the output stage gives nothing, or protects itself.
SILENT = ("channel-dead", "leg-to-chassis", "channel-offset", "amplifier-off")

Impedance = Callable[[float], complex]


@dataclass
class Deck:
    """A netlist, the elements to set at each frequency, and the vectors to write."""

    title: str
    air: dict[str, float]
    lines: list[str] = field(default_factory=list)
    varying: dict[str, Impedance] = field(default_factory=dict)
    columns: dict[str, str] = field(default_factory=dict)
    last_node: int = 0

    def node(self) -> str:
        self.last_node += 1
        return f"e{self.last_node}"

    def add(self, name: str, *words: object) -> None:
        texts = [repr(float(word)) if isinstance(word, float) else str(word) for word in words]
        self.lines.append(" ".join([name, *texts]))

    def add_varying(self, name: str, top: str, bottom: str, impedance: Impedance) -> None:
        """R + jwL from top to bottom, set at each frequency."""
        self.add(f"r_{name}", top, f"{name}_mid", 1.0)
        self.add(f"l_{name}", f"{name}_mid", bottom, 1.0)
        self.varying[name] = impedance

    def text(self, frequencies: list[float], result: str) -> str:
        control = ["set noaskquit", "set wr_singlescale", "set appendwrite", "set numdgt=15"]
        control.append(f'echo "frequency_hz {" ".join(self.columns)}" > {result}')
        for f in frequencies:
            for name, impedance in self.varying.items():
                value = impedance(f)
                control.append(f"alter r_{name} = {value.real!r}")
                control.append(f"alter l_{name} = {value.imag / (2 * np.pi * f)!r}")
            control.append(f"ac lin 1 {f!r} {f!r}")
            control.append(f"wrdata {result} {' '.join(self.columns.values())}")
            control.append("destroy all")
        rows = [f"* {self.title}", *self.lines, ".control", *control, "quit", ".endc", ".end"]
        return "\n".join(rows) + "\n"


# --- Formulas, a second time ------------------------------------------------------------------


def hole(air: dict[str, float], door: dict[str, Any], kind: str, c: float) -> Impedance:
    """n round holes: Z = [s rho t/(1 - 2 J1/(ka J0)) + s rho dl + s m'' + 2 Rs]/S + R."""
    rho, mu = air["density"], air["viscosity"]
    area, count, quality = (door[f"{kind}_{what}"] for what in ("area", "count", "q"))
    film = door["cover_mass"] if kind == "panel" else 0.0
    t, a = door["steel"], (area / (count * np.pi)) ** 0.5
    ends = (1.643 - 0.0722 / (1 + 10 * t / a)) * a
    loss = (((rho * (t + ends) + film) / area) / c) ** 0.5 / quality

    def impedance(f: float) -> complex:
        s = 2j * np.pi * f
        ka = np.sqrt(-s * rho / mu) * a
        ratio = special.jve(1, ka) / (ka * special.jve(0, ka))
        wall = 2 * np.sqrt(mu * rho * abs(s) / 2)
        plug = s * rho * t / (1 - 2 * ratio)
        return complex((plug + s * rho * ends + s * film + wall) / area + loss)

    return impedance


def slit(air: dict[str, float], area: float, length: float, depth: float) -> Impedance:
    """Long gap: Z = s rho t/(h l (1 - tanh q/q))."""
    rho, mu = air["density"], air["viscosity"]

    def impedance(f: float) -> complex:
        s = 2j * np.pi * f
        q = area / length / 2 * np.sqrt(s * rho / mu)
        return complex(s * rho * depth / (area * (1 - np.tanh(q) / q)))

    return impedance


def grille(air: dict[str, float], door: dict[str, Any], sd: float) -> Impedance:
    """Air before the cone, plate of holes, air outside, cloth, radiation."""
    rho, c = air["density"], air["speed_of_sound"]
    area, extent = door["grille_area"], door["grille_extent"]
    e = (4 * min(area / extent, 0.75) / np.pi) ** 0.5
    psi = 1 - 1.13 * e - 0.09 * e**2 + 0.27 * e**3
    mass = rho * (2e-3 + 1.64 * 1.5e-3 * psi) / area
    mass += rho * door["trim_gap"] / ((sd + extent) / 2)
    mass += 8 * rho / (3 * np.pi**2 * (extent / np.pi) ** 0.5)

    def impedance(f: float) -> complex:
        w = 2 * np.pi * f
        resistance = door["grille_resistance"] / area + rho * w**2 / (2 * np.pi * c)
        return complex(resistance, w * mass)

    return impedance


def power_law(le: float, n: float) -> Impedance:
    """K (jw)^n with the size of le at 1 kHz."""
    k = 2000 * np.pi * le / (2000 * np.pi) ** n
    return lambda f: complex(k * (2j * np.pi * f) ** n)


# --- Netlists ---------------------------------------------------------------------------------


def add_coil(
    deck: Deck, name: str, sheet: dict[str, float], turns: float, top: str, bottom: str
) -> None:
    """Inductance of a coil of which a share of the turns is left: it goes with their square."""
    le = sheet["le"] * turns**2
    if "n" in sheet:
        deck.add_varying(f"{name}_coil", top, bottom, power_law(le, sheet["n"]))
    elif "l2" in sheet:
        deck.add(f"l_{name}_le", top, f"{name}_shunt", le)
        deck.add(f"l_{name}_l2", f"{name}_shunt", bottom, sheet["l2"] * turns**2)
        deck.add(f"r_{name}_r2", f"{name}_shunt", bottom, sheet["r2"] * turns**2)
    else:
        deck.add(f"l_{name}_le", top, bottom, le)


def add_driver(
    deck: Deck,
    name: str,
    sheet: dict[str, float],
    door: dict[str, Any] | None,
    ends: list[str],
    fault: dict[str, Any],
) -> None:
    """Coil, force and velocity: voltage is force and current is velocity on the moving side."""
    turns = fault.get("turns", 1.0)
    w, sd = 2 * np.pi * sheet["fs"], sheet["sd"]
    compliance = 1 / (w**2 * sheet["mms"])
    force_factor = (w * sheet["mms"] * sheet["re"] / sheet["qes"]) ** 0.5
    free_air = 8 / 3 * deck.air["density"] * (sd / np.pi) ** 1.5
    mass = sheet["mms"] - (free_air if door else 0.0)
    stiffness, bare, loss = (fault.get(what, 1.0) for what in ("stiffness", "mass", "loss"))
    force_factor *= turns
    entry = ends[0]
    if fault.get("name") in ("coil-open", "tweeter-open"):
        entry = f"{name}_lead"
        deck.add(f"r_{name}_break", ends[0], entry, BREAK)
    deck.add(f"v_{name}_i", entry, f"{name}_a", "dc 0")
    deck.add(f"r_{name}_re", f"{name}_a", f"{name}_b", sheet["re"] * turns)
    add_coil(deck, name, sheet, turns, f"{name}_b", f"{name}_c")
    deck.add(f"h_{name}_emf", f"{name}_c", ends[1], f"v_{name}_v", force_factor)
    deck.add(f"h_{name}_force", f"{name}_m1", 0, f"v_{name}_i", force_factor)
    deck.add(f"v_{name}_v", f"{name}_m1", f"{name}_m2", "dc 0")
    deck.add(f"r_{name}_rms", f"{name}_m2", f"{name}_m3", w * sheet["mms"] / sheet["qms"] * loss)
    deck.add(f"l_{name}_mass", f"{name}_m3", f"{name}_m4", mass * bare)
    deck.add(f"c_{name}_cms", f"{name}_m4", f"{name}_m5" if door else 0, compliance / stiffness)
    # A meter of gain 1: v(a, b) of a reversed driver would start at ground, which ngspice refuses.
    deck.add(f"e_{name}_drive", f"{name}_drive", 0, *ends, 1.0)
    deck.columns[f"{name}.drive"] = f"v({name}_drive)"
    deck.columns[f"{name}.velocity"] = f"i(v_{name}_v)"
    if door:
        deck.add(f"e_{name}_load", f"{name}_m5", 0, f"{name}_front", f"{name}_back", sd)
        deck.add(f"f_{name}_flow", f"{name}_back", f"{name}_front", f"v_{name}_v", sd)
        leak = {"area": fault["leak"], **fault["slit"]} if "leak" in fault else None
        if "box_volume" in door:
            add_box(deck, name, door, sd)
        elif "baffle_area" in door:
            add_board(deck, name, door["baffle_area"], sd)
        else:
            add_door(deck, name, door, sd, leak)


def add_door(
    deck: Deck, name: str, door: dict[str, Any], sd: float, leak: dict[str, float] | None
) -> None:
    """Voltage is pressure and current is volume velocity; ground is outside and the cabin.

    A leak runs from the air before the cone to the air of the cavity behind it.
    """
    air = deck.air
    stiff = air["density"] * air["speed_of_sound"] ** 2
    front = f"{name}_front"
    trim = f"{name}_trim" if door["ring"] else front
    volume = float(door.get("rear_volume", np.inf))
    enclosed = np.isfinite(volume)
    rear = f"{name}_rear" if enclosed else "0"
    behind = 8 * air["density"] / (3 * np.pi**2 * (sd / np.pi) ** 0.5)
    deck.add(f"l_{name}_behind", f"{name}_back", rear, behind)
    if enclosed:
        add_cavity(deck, name, door, volume / stiff)
    if door["ring"]:
        deck.add(f"c_{name}_front", front, 0, door["front_volume"] / stiff)
    over_boot = door.get("into_cabin", False)
    if over_boot:
        trim = front
    else:
        deck.add(f"c_{name}_trim", trim, 0, door["trim_volume"] / stiff)
    for node in sorted({front, trim, f"{name}_back"}):
        deck.add(f"r_{node}_dc", node, 0, SHUNT)
    if door["panel_area"] and not over_boot:
        deck.add_varying(f"{name}_panel", rear, trim, hole(air, door, "panel", volume / stiff))
    if leak:
        deck.add_varying(f"{name}_leak", front, rear, slit(air, **leak))
    outlets = {"grille": (front, grille(air, door, sd))}
    if door["edge_area"]:
        gap = slit(air, door["edge_area"], door["edge_length"], door["edge_depth"])
        outlets["edge"] = (trim, gap)
    if over_boot:
        outlets["panel"] = (rear, hole(air, door, "panel", volume / stiff))
    for kind, (node, impedance) in outlets.items():
        deck.add_varying(f"{name}_{kind}", node, f"{name}_{kind}_out", impedance)
        deck.add(f"v_{name}_{kind}", f"{name}_{kind}_out", 0, "dc 0")
        deck.columns[f"{name}.{kind}"] = f"i(v_{name}_{kind})"


def add_box(deck: Deck, name: str, box: dict[str, Any], sd: float) -> None:
    """Closed box: the air on the cone, the radiation ahead, the spring of air behind."""
    rho, c = deck.air["density"], deck.air["speed_of_sound"]
    spring = box["fill_gain"] * box["box_volume"] / (rho * c**2)
    carried = 8 * rho / (3 * np.pi**2 * (sd / np.pi) ** 0.5)
    deck.add_varying(
        f"{name}_ahead",
        f"{name}_front",
        f"{name}_out",
        lambda f: complex(rho * (2 * np.pi * f) ** 2 / (2 * np.pi * c), 2 * np.pi * f * carried),
    )
    deck.add(f"v_{name}_out", f"{name}_out", 0, "dc 0")
    deck.columns[f"{name}.out"] = f"i(v_{name}_out)"
    deck.add(f"l_{name}_behind", f"{name}_back", f"{name}_box", carried)
    lossy = "quality" in box
    deck.add(f"c_{name}_box", f"{name}_box", f"{name}_loss" if lossy else 0, spring)
    if lossy:
        loss = 1 / (2 * np.pi * 80 * spring * box["quality"])
        deck.add(f"r_{name}_loss", f"{name}_loss", 0, loss)
    deck.add(f"r_{name}_box_dc", f"{name}_box", 0, SHUNT)


def add_board(deck: Deck, name: str, area: float, sd: float) -> None:
    """Thin round board, open behind: the air that swings from its front to its back.

    Its mass by quadrature of h(t)^2 over the board, h the half chord sum of Copson's method.
    """
    a, radius = (sd / np.pi) ** 0.5, (area / np.pi) ** 0.5
    beyond, _ = integrate.quad(lambda t: (t - (t * t - a * a) ** 0.5) ** 2, a, radius)
    mass = 8 * deck.air["density"] * (a**3 / 3 + beyond) / sd**2
    deck.add(f"v_{name}_out", f"{name}_front", f"{name}_round", "dc 0")
    deck.columns[f"{name}.out"] = f"i(v_{name}_out)"
    deck.add(f"l_{name}_round", f"{name}_round", f"{name}_back", mass)
    deck.add(f"r_{name}_round_dc", f"{name}_back", 0, SHUNT)


def add_cavity(deck: Deck, name: str, door: dict[str, Any], c: float) -> None:
    quality = door.get("rear_q")
    deck.add(f"c_{name}_rear", f"{name}_rear", f"{name}_fill" if quality else 0, c)
    if quality:
        deck.add(f"r_{name}_fill", f"{name}_fill", 0, 1 / (2 * np.pi * 80 * c * quality))
    deck.add(f"r_{name}_rear_dc", f"{name}_rear", 0, SHUNT)
    if door["drain_area"]:
        deck.add_varying(f"{name}_drain", f"{name}_rear", "0", hole(deck.air, door, "drain", c))


def add_part(deck: Deck, name: str, part: dict[str, float], top: str, bottom: str) -> None:
    """Resistance, inductance and capacitance of one part, in series, each where given."""
    given = [(key, part[word]) for key, word in zip("rlc", PART_WORDS, strict=True) if word in part]
    inner = [deck.node() for _ in given[1:]]
    for (key, value), start, end in zip(given, [top, *inner], [*inner, bottom], strict=True):
        deck.add(f"{key}_{name}", start, end, value)


PART_WORDS = ("ohm", "henry", "farad")


def leaf_ends(deck: Deck, load: Any, top: str, bottom: str) -> Iterator[tuple[str, list[str]]]:
    """Every leaf of the nested load with the nodes it lies between."""
    if isinstance(load, str):
        yield load, [top, bottom]
        return
    kind, *parts = load
    if kind == "parallel":
        for part in parts:
            yield from leaf_ends(deck, part, top, bottom)
        return
    inner = [deck.node() for _ in parts[1:]]
    for part, start, end in zip(parts, [top, *inner], [*inner, bottom], strict=True):
        yield from leaf_ends(deck, part, start, end)


def door_of(book: dict[str, Any], name: str) -> dict[str, Any]:
    door = dict(book["doors"][name])
    return {**door_of(book, door.pop("like")), **door} if "like" in door else door


def circuit_of(book: dict[str, Any], name: str) -> dict[str, Any]:
    circuit = book["circuits"][name]
    return {**book["circuits"][circuit["like"]], **circuit} if "like" in circuit else circuit


def add_channel_fault(deck: Deck, fault: str, sizes: dict[str, Any]) -> str:
    """What is wrong at the radio's end of the cable; returns the node that the load begins at."""
    if fault == "joint-corroded":
        deck.add("r_joint", "plug", "joint", sizes["series"])
        return "joint"
    if fault == "wire-broken":
        deck.add("r_break", "plug", "joint", BREAK)
        return "joint"
    return "plug"


def make_deck(book: dict[str, Any], name: str) -> str:
    """Text of the deck of one circuit."""
    circuit = circuit_of(book, name)
    fault, at = circuit.get("fault", ""), circuit.get("at")
    sizes = {"name": fault, **book["faults"].get(fault, {}), "slit": book["leak"]}
    what = f"{fault} at {at}: {circuit['what']}" if fault else circuit["what"]
    deck = Deck(title=what, air=book["air"])
    deck.add("v_source", "plug", 0, "dc 0 ac 0" if fault in SILENT else "dc 0 ac 1")
    deck.columns["source"] = "i(v_source)"
    start = add_channel_fault(deck, fault, sizes)
    for leaf, ends in leaf_ends(deck, circuit["load"], start, "0"):
        if leaf in circuit["drivers"]:
            use = circuit["drivers"][leaf]
            here = sizes if leaf == at else {}
            turned = bool(use.get("reversed")) != (here.get("name") == "reversed")
            door = door_of(book, use["door"]) if "door" in use else None
            if door and "holes" in here:
                door |= {"panel_area": here["holes"], "cover_mass": 0.0}
            sheet = book["drivers"][use["sheet"]]
            add_driver(deck, leaf, sheet, door, ends[::-1] if turned else ends, here)
        else:
            part = circuit["parts"][leaf]
            if fault == "capacitor-dried" and "farad" in part:
                part = {"ohm": sizes["series"], "farad": part["farad"] * sizes["left"]}
            add_part(deck, leaf, part, *ends)
            if fault == "pair-shorted" and leaf == "cable":
                # Where the cable ends its two wires touch; a source of 0 V is no ohm at all.
                deck.add("v_touch", ends[1], 0, "dc 0")
    return deck.text(book["frequencies"][circuit["frequencies"]], f"{name}.txt")


# --- An amplifier ---------------------------------------------------------------------------------

QUALITIES = {
    ("butterworth", 12): (2**-0.5,),
    ("butterworth", 18): (1.0,),
    ("butterworth", 24): (0.541196100146197, 1.306562964876377),
    ("linkwitz-riley", 12): (0.5,),
    ("linkwitz-riley", 24): (2**-0.5, 2**-0.5),
}
"""Q of each second-order section, from the tables of filters."""
RESISTOR = 600.0


def add_filter(deck: Deck, name: str, node: str, each: dict[str, Any]) -> str:
    """Add a filter behind a stage of gain 1 for each section; return the node it ends at."""
    w, high = 2 * np.pi * each["corner"], each["side"] == "high-pass"
    for q in QUALITIES.get((each["kind"], each["slope"]), ()):
        node = _buffered(deck, f"{name}_b{deck.last_node}", node)
        out = deck.node()
        # Q = R sqrt(C/L), w^2 = 1/(L C)
        henry, farad = RESISTOR / (q * w), q / (RESISTOR * w)
        ahead, across = ("c", "l") if high else ("l", "c")
        values = {"c": farad, "l": henry}
        deck.add(f"{ahead}_{name}_{out}", node, out, values[ahead])
        deck.add(f"{across}_{name}_{out}x", out, 0, values[across])
        deck.add(f"r_{name}_{out}", out, 0, RESISTOR)
        node = out
    if each["slope"] in (6, 18):
        node = _buffered(deck, f"{name}_b{deck.last_node}", node)
        out = deck.node()
        farad = 1 / (RESISTOR * w)
        first, second = ("c", "r") if high else ("r", "c")
        values = {"c": farad, "r": RESISTOR}
        deck.add(f"{first}_{name}_{out}", node, out, values[first])
        deck.add(f"{second}_{name}_{out}x", out, 0, values[second])
        node = out
    return node


def _buffered(deck: Deck, name: str, node: str, gain: float = 1.0) -> str:
    out = deck.node()
    deck.add(f"e_{name}", out, 0, node, 0, gain)
    return out


def add_stage(deck: Deck, name: str, node: str, stage: dict[str, Any], more_db: float) -> str:
    """Add the gain and the filters of a channel; return the node of its EMF."""
    for number, each in enumerate(stage["filters"]):
        node = add_filter(deck, f"{name}{number}", node, each)
    return _buffered(deck, f"{name}_out", node, 10 ** ((stage["gain_db"] + more_db) / 20))


def make_amplified(book: dict[str, Any], name: str) -> str:
    """Text of the deck of a radio and an amplifier; the source is the EMF at the volume knob."""
    circuit = book["amplified"][name]
    radio, unit = circuit["radio"], circuit["amplifier"]
    deck = Deck(title=circuit["what"], air=book["air"])
    deck.add("v_knob", "knob", 0, "dc 0 ac 1")
    emf = add_stage(deck, "radio", "knob", radio, 0.0)
    deck.add("r_radio", emf, "plug", radio["ohm"])
    deck.add("r_beside", "plug", "beside_top", radio["cable"])
    door = door_of(book, radio["door"])
    add_driver(deck, "beside", book["drivers"][radio["sheet"]], door, ["beside_top", "0"], {})
    for channel, each in circuit["channels"].items():
        emf = add_stage(deck, channel, "plug", each, unit["gain_db"])
        deck.add(f"r_{channel}_amp", emf, f"{channel}_cable", unit["ohm"])
        deck.add(f"r_{channel}_cable", f"{channel}_cable", f"{channel}_far", each["cable"])
        start = f"{channel}_far"
        if "cap" in each:
            deck.add(f"c_{channel}_cap", start, f"{channel}_top", each["cap"])
            start = f"{channel}_top"
        add_driver(deck, channel, book["drivers"][each["sheet"]], None, [start, "0"], {})
    return deck.text(book["frequencies"][circuit["frequencies"]], f"{name}.txt")


# --- A jig ----------------------------------------------------------------------------------------


def make_jig(book: dict[str, Any], name: str) -> str:
    """Text of the deck of a driver behind a resistor; the source is 1 V."""
    jig = book["jigs"][name]
    deck = Deck(title=jig["what"], air=book["air"])
    deck.add("v_source", "start", 0, "dc 0 ac 1")
    deck.add("r_source", "start", "before", jig["source"])
    deck.add("r_known", "before", "across", jig["resistor"])
    deck.add("r_input", "across", 0, jig["input"])
    deck.add("r_leads", "across", "far", jig["leads"])
    door = door_of(book, jig["door"]) if "door" in jig else None
    add_driver(deck, "driver", book["drivers"][jig["sheet"]], door, ["far", "0"], {})
    deck.columns = {"before": "v(before)", "across": "v(across)"}
    return deck.text(book["frequencies"][jig["frequencies"]], f"{name}.txt")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--run", action="store_true", help="solve the decks with ngspice as well")
    run = parser.parse_args().run
    book = tomllib.loads((HERE / "circuits.toml").read_text(encoding="utf-8"))
    made = dict.fromkeys(book["circuits"], make_deck)
    made |= dict.fromkeys(book["amplified"], make_amplified)
    made |= dict.fromkeys(book["jigs"], make_jig)
    for name, make in made.items():
        deck = HERE / f"{name}.cir"
        deck.write_text(make(book, name), encoding="utf-8")
        if run:
            subprocess.run(["ngspice", "-b", deck.name], cwd=HERE, check=True, capture_output=True)


if __name__ == "__main__":
    main()
