"""The same channel as an ngspice deck that solves every sample in one process.

In the simulator's favour: a power-law coil, wall friction and radiation are fixed resistors and
inductors, exact at one frequency only (setting them anew at each frequency would cost it 512
analyses per sample), no operating point is sought, few vectors are kept and none is written but
those of the first sample, which show that it is the same circuit.
"""

from collections.abc import Iterator

import numpy as np

from benchmarks.door_channel import (
    AIR,
    CAPACITANCE,
    DOOR,
    ESR,
    FREQUENCY,
    POINTS_PER_DECADE,
    SAMPLES,
    SOURCE,
    TWEETER,
    WOOFER,
    Drawn,
)
from conewright.physics.acoustics.door import FILL_FREQUENCY
from conewright.physics.acoustics.openings import (
    grille_admittance,
    holes_admittance,
    radiation_mass,
    slit_admittance,
)
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.physics.drivers.coil import coil_impedance
from conewright.physics.drivers.driver import Driver, piston_radius

EXACT_AT = 240
"""Index of the frequency at which the fixed elements are exact."""

RESULT = "first_sample.txt"
VECTORS = "i(v_source) i(v_tweeter_v) i(v_grille) i(v_edge)"

Element = tuple[str, FloatArray]


def series_elements(name: str, impedance: ComplexArray) -> Iterator[Element]:
    """R and L that equal an impedance at the frequency of EXACT_AT."""
    yield f"r_{name}", impedance.real
    yield f"l_{name}", impedance.imag / (2 * np.pi * FREQUENCY[EXACT_AT])


def door_elements(drawn: Drawn) -> Iterator[Element]:
    """Elements of the door that vary from sample to sample."""
    door = {**DOOR, **drawn["door"]}
    f = FREQUENCY[EXACT_AT : EXACT_AT + 1]
    stiff = AIR.bulk_modulus
    c = np.asarray(door["rear_volume"] / stiff)
    yield "c_rear", c
    yield "r_fill", 1 / (2 * np.pi * FILL_FREQUENCY * c * door["rear_q"])
    yield "c_trim", np.asarray(door["trim_volume"] / stiff)
    for kind, film in (("drain", 0.0), ("panel", door["cover_mass"])):
        holes = holes_admittance(
            area=door[f"{kind}_area"],
            count=door[f"{kind}_count"],
            thickness=door["steel"],
            air=AIR,
            frequency=f,
            film=film,
            compliance=c,
            quality=door[f"{kind}_q"],
        )
        yield from series_elements(kind, 1.0 / holes)
    grille = grille_admittance(
        area=door["grille_area"],
        extent=door["grille_extent"],
        gap=door["trim_gap"],
        resistance=door["grille_resistance"],
        sd=door["sd"],
        air=AIR,
        frequency=f,
    )
    yield from series_elements("grille", 1.0 / grille)
    edge = slit_admittance(area=door["edge_area"], length=2.5, depth=0.03, air=AIR, frequency=f)
    yield from series_elements("edge", 1.0 / edge)


def driver_elements(name: str, drawn: Drawn) -> Iterator[Element]:
    """Elements of a driver that vary from sample to sample."""
    yield f"r_{name}_re", drawn[name]["re"]
    yield f"@h_{name}_emf[gain]", drawn[name]["bl"]
    yield f"@h_{name}_force[gain]", drawn[name]["bl"]
    yield f"l_{name}_mass", drawn[name]["mms"]
    yield f"c_{name}_cms", drawn[name]["cms"]


def driver_lines(name: str, driver: Driver, top: str) -> Iterator[str]:
    """Netlist of a driver from `top` to ground; its mechanical loop ends at NAME_m5."""
    coil = coil_impedance(coil=driver.coil, frequency=FREQUENCY[EXACT_AT])
    henry = coil.imag / (2 * np.pi * FREQUENCY[EXACT_AT])
    yield f"r_{name}_re {top} {name}_a {driver.re}"
    yield f"r_{name}_coil {name}_a {name}_b {coil.real}"
    yield f"l_{name}_coil {name}_b {name}_c {henry}"
    yield f"v_{name}_i {name}_c {name}_d dc 0"
    yield f"h_{name}_emf {name}_d 0 v_{name}_v {driver.bl}"
    yield f"h_{name}_force {name}_m1 0 v_{name}_i {driver.bl}"
    yield f"v_{name}_v {name}_m1 {name}_m2 dc 0"
    yield f"r_{name}_rms {name}_m2 {name}_m3 {driver.rms}"
    yield f"l_{name}_mass {name}_m3 {name}_m4 {driver.mms}"
    yield f"c_{name}_cms {name}_m4 {name}_m5 {driver.cms}"


def netlist() -> Iterator[str]:
    """The circuit with placeholders where a sample sets the value."""
    behind = radiation_mass(radius=piston_radius(sd=WOOFER.sd), air=AIR)
    yield "v_source plug 0 dc 0 ac 1"
    yield f"r_source plug top {SOURCE}"
    yield f"c_cap top cap_mid {CAPACITANCE}"
    yield f"r_esr cap_mid high {ESR}"
    yield from driver_lines("woofer", WOOFER, "top")
    yield from driver_lines("tweeter", TWEETER, "high")
    yield "v_tweeter_end tweeter_m5 0 dc 0"
    yield f"e_load woofer_m5 0 front back {WOOFER.sd}"
    yield f"f_flow back front v_woofer_v {WOOFER.sd}"
    yield f"l_behind back rear {behind}"
    yield "c_rear rear fill 1"
    yield "r_fill fill 0 1"
    yield f"c_front front 0 {DOOR['front_volume'] / AIR.bulk_modulus}"
    yield "c_trim trim 0 1"
    ways = {"drain": "rear 0", "panel": "rear trim", "grille": "front gout", "edge": "trim eout"}
    for name, ends in ways.items():
        start, end = ends.split()
        yield f"r_{name} {start} {name}_mid 1"
        yield f"l_{name} {name}_mid {end} 1"
    yield "v_grille gout 0 dc 0"
    yield "v_edge eout 0 dc 0"


def deck_text(drawn: Drawn) -> str:
    """The whole deck: netlist, then for each sample its values and one sweep."""
    elements = [
        *driver_elements("woofer", drawn),
        *driver_elements("tweeter", drawn),
        *door_elements(drawn),
    ]
    sweep = f"ac dec {POINTS_PER_DECADE} {float(FREQUENCY[0])} {float(FREQUENCY[-1])}"
    control = ["set noaskquit", "set wr_singlescale", "set numdgt=15", f"save {VECTORS}"]
    for sample in range(SAMPLES):
        control += [f"alter {name} = {float(value[sample, 0])}" for name, value in elements]
        control.append(sweep)
        if sample == 0:
            control.append(f"wrdata {RESULT} {VECTORS}")
        control.append("destroy all")
    lines = ["* one channel", *netlist(), ".options noopac", ".control", *control, "quit"]
    return "\n".join([*lines, ".endc", ".end", ""])
