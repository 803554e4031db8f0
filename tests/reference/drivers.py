"""Air, drivers and their sound: how each reference value is computed."""

import numpy as np

from conewright.physics.acoustics.cabin import HALF_SPACE, monopole_pressure
from conewright.physics.basics.air import Air
from conewright.physics.basics.arrays import ComplexArray, Real
from conewright.physics.basics.levels import level
from conewright.physics.drivers.coil import Inductor
from conewright.physics.drivers.driver import (
    Driver,
    acoustic_mass_free,
    loaded,
    mechanical_impedance,
)
from conewright.physics.drivers.thiele_small import complete, sensitivity, total_q

from .checks import Computation, Inputs, air_of

# Names and units the sources write, in the names and units of a sheet.
SHEET = {
    "Re": ("re", 1.0), "fs": ("fs", 1.0), "fs_Hz": ("fs", 1.0),
    "Mms_kg": ("mms", 1.0), "Mms_g": ("mms", 1e-3),
    "Re_ohm": ("re", 1.0), "BL": ("bl", 1.0), "BL_Tm": ("bl", 1.0),
    "Sd_m2": ("sd", 1.0), "Sd_cm2": ("sd", 1e-4), "D_cm": ("diameter", 1e-2),
    "Qms": ("qms", 1.0), "Qes": ("qes", 1.0), "Vas_L": ("vas", 1e-3),
    "Rms": ("rms", 1.0), "Rms_Ns_per_m": ("rms", 1.0),
    "Cms_mm_per_N": ("cms", 1e-3), "Cms_um_per_N": ("cms", 1e-6), "Cms_m_per_N": ("cms", 1.0),
}  # fmt: skip


def _air(i: Inputs) -> Air:
    return air_of(i.get("rho", 1.2041), i.get("c", 343.21))


def _area(radius: float) -> Real:
    return complete({"diameter": 2.0 * radius}, air=air_of())["sd"]


def _baffled_air_mass(i: Inputs, sd: Real) -> Real:
    """Twice the air of a cone without a baffle."""
    return 2.0 * acoustic_mass_free(air=_air(i), sd=sd)


def _given(i: Inputs) -> dict[str, Real]:
    sheet: dict[str, Real] = {SHEET[n][0]: v * SHEET[n][1] for n, v in i.items() if n in SHEET}
    if "Mmd_kg" in i:
        sheet["sd"] = _area(i["a_m"])
        sheet["mms"] = i["Mmd_kg"] + _baffled_air_mass(i, sheet["sd"])
    return sheet


def from_sheet(target: str, names: str, scale: float = 1.0) -> Computation:
    """`target` from those figures of the row named, and no others, in units of 1/scale."""

    def compute(i: Inputs) -> Real:
        known = {name: value for name, value in _given(i).items() if name in names.split()}
        assert len(known) == len(names.split())
        assert target not in known
        return complete(known, air=_air(i))[target] * scale

    return compute


def _one_watt(i: Inputs, resistance: float | None = None) -> Real:
    eta0 = i["eta_pct"] / 100.0
    re = i.get("Re", 4.0)
    return sensitivity(eta0=eta0, re=re, air=air_of(), voltage=(resistance or re) ** 0.5)


def _woofer_one_watt(i: Inputs) -> Real:
    known = {n: v for n, v in _given(i).items() if n in {"fs", "cms", "diameter", "qes"}}
    eta0 = complete(known, air=air_of())["eta0"]
    return sensitivity(eta0=eta0, re=1.0, air=air_of(), voltage=1.0)


def _sensitivity_step(i: Inputs) -> Real:
    high = sensitivity(eta0=0.003, re=i["Re"], air=air_of())
    return high - sensitivity(eta0=0.003, re=i["Re"], air=air_of(), voltage=i["Zmin"] ** 0.5)


def _implied_qes(i: Inputs) -> Real:
    sheet = complete({n: v for n, v in _given(i).items() if n != "fs"}, air=air_of())
    return sheet["qes"]


def _exercise(i: Inputs) -> tuple[Driver, ComplexArray]:
    """Driver of the course exercise and its load as an acoustic impedance."""
    sd = _area(i["a_m"])
    driver = Driver(
        re=i["RE"],
        bl=i["B_T"] * i["l_m"],
        mms=i["m_kg"],
        cms=1.0 / i["s_N_per_m"],
        rms=i["Rm"],
        sd=sd,
        coil=Inductor(i["LE_H"]),
    )
    return driver, np.asarray((i["Rr"] + 1j * i["Xr"]) / sd**2)


def _exercise_mass(i: Inputs) -> float:
    return i["m_kg"] + i["Xr"] / (2.0 * np.pi * i["f_Hz"])


def _exercise_reactance(i: Inputs) -> Real:
    driver, load = _exercise(i)
    own = mechanical_impedance(driver=driver, frequency=np.array([i["f_Hz"]]))
    return float((own + load * np.asarray(driver.sd) ** 2)[0].imag)


def _exercise_power(i: Inputs) -> float:
    driver, load = _exercise(i)
    f = np.array([i["f_Hz"]])
    done = loaded(driver=driver, acoustic_load=load, frequency=f)
    return float(np.abs(2.0 * done.impedance * done.velocity_per_volt)[0] ** 2 * i["Rr"])


def _exercise_efficiency(i: Inputs) -> Real:
    driver, load = _exercise(i)
    f = np.array([i["f_Hz"]])
    done = loaded(driver=driver, acoustic_load=load, frequency=f)
    return 100.0 * _exercise_power(i) / (2.0**2 * float(done.impedance[0].real))


def _exercise_resonance(i: Inputs) -> Real:
    cms = 1.0 / i["s_N_per_m"]
    return complete({"mms": _exercise_mass(i), "cms": cms}, air=air_of())["fs"]


def _peak_impedance(i: Inputs) -> float:
    """Of the whole circuit at resonance, the coil without inductance."""
    names = {"fs", "mms", "re", "bl", "qms", "sd"}
    sheet = complete({n: v for n, v in _given(i).items() if n in names}, air=_air(i))
    constants = {name: sheet[name] for name in ("re", "bl", "mms", "cms", "rms", "sd")}
    driver = Driver(**constants, coil=Inductor(0.0))
    done = loaded(driver=driver, acoustic_load=0j, frequency=np.array([i["fs_Hz"]]))
    return float(np.abs(done.impedance[0]))


def _pressure_of_travel(
    i: Inputs, travel: float, frequency: float, distance: float, solid_angle: float = HALF_SPACE
) -> float:
    f = np.array([frequency])
    pressure = monopole_pressure(
        air=_air(i),
        volume_velocity=2j * np.pi * f * travel * i["Sd_cm2"] * 1e-4,
        distance=distance,
        solid_angle=solid_angle,
        frequency=f,
    )
    return float(np.abs(pressure[0]))


def _travel(i: Inputs, solid_angle: float) -> float:
    """Travel for a level [mm]: that of 1 mm, scaled."""
    found = _pressure_of_travel(i, 1e-3, i["f"], i["r"], solid_angle)
    return float(10.0 ** ((i["Lp"] - float(level(found))) / 20.0))


def _travel_of_an_octave(_: Inputs) -> float:
    low, high = (_pressure_of_travel({"Sd_cm2": 133.0}, 1e-3, f, 1.0) for f in (50.0, 100.0))
    return high / low


def _level_of_travel(i: Inputs) -> Real:
    return float(level(_pressure_of_travel(i, i["Xmax_mm"] * 1e-3 / 2**0.5, i["f"], 1.0)))


def _area_of_air_mass(i: Inputs) -> Real:
    of_one_square_metre = _baffled_air_mass(i, 1.0)
    return (i["air_load_g"] * 1e-3 / of_one_square_metre) ** (2.0 / 3.0) * 1e4


DRIVERS: dict[str, Computation] = {
    "T1.C1": lambda i: Air(temperature=273.15 + i["t_C"]).speed_of_sound,
    "T1.C2": lambda i: Air(temperature=273.15 + i["t_C"], pressure=i["p_Pa"]).density,
    "T1.C3": lambda i: _air(i).characteristic_impedance,
    "T1.C[56]": lambda i: Air(temperature=273.15 + i["t_C"]).speed_of_sound,
    "T1.C7": lambda i: sensitivity(eta0=1.0, re=1.0, air=_air(i), voltage=1.0),
    "T1.X1": from_sheet("cms", "fs mms", 1e3),
    "T1.X2": from_sheet("qes", "fs mms re bl"),
    "T1.X3": from_sheet("qts", "fs mms re bl qms"),
    "T1.X4": from_sheet("vas", "fs mms sd", 1e3),
    "T1.X5": from_sheet("eta0", "fs mms sd re bl qms", 100.0),
    "T1.X7": from_sheet("sensitivity", "fs mms sd re bl"),
    "T1.X8": _peak_impedance,
    "T1.X9": from_sheet("eta0", "mms sd re bl", 100.0),
    "T1.X10": lambda i: complete(
        dict.fromkeys(("bl", "sd", "mms", "re"), 1.0), air=Air(temperature=273.15 + i["t_C"])
    )["eta0"],
    "T1.W01.a": lambda i: _area(i["a_m"]) * 1e4,
    "T1.W01.b": lambda i: _given(i)["mms"] * 1e3,
    "T1.W01.c": from_sheet("fs", "mms cms"),
    "T1.W01.d": from_sheet("qes", "mms cms bl re"),
    "T1.W01.e": from_sheet("qms", "mms cms rms"),
    "T1.W01.f": from_sheet("qts", "mms cms rms bl re"),
    "T1.W01.g": from_sheet("vas", "cms sd", 1e3),
    "T1.W01.h": from_sheet("eta0", "mms cms sd bl re", 100.0),
    "T1.W03.a": from_sheet("qes", "fs mms bl re"),
    "T1.W03.b": from_sheet("qms", "fs mms rms"),
    "T1.W03.c": from_sheet("qts", "fs mms rms bl re"),
    "T1.W03.g": _one_watt,
    "T1.W03.h": lambda i: _one_watt(i, i["Zn"]),
    "T1.W03.i": lambda i: complete(
        {"mms": i["Mms_g"] * 1e-3, "cms": 1e-3 / i["Kms_N_per_mm"]}, air=air_of()
    )["fs"],
    "T1.W04.a": from_sheet("qes", "fs mms bl re"),
    "T1.W04.b": from_sheet("qms", "fs mms rms"),
    "T1.W04.c": from_sheet("qts", "fs mms rms bl re"),
    "T1.W04.d": from_sheet("fs", "mms cms"),
    "T1.W04.e": from_sheet("eta0", "fs mms bl re vas", 100.0),
    "T1.W06.a": from_sheet("fs", "mms cms"),
    "T1.W06.b": from_sheet("qms", "fs mms rms"),
    "T1.W06.c": from_sheet("qes", "fs mms bl re"),
    "T1.W06.d": lambda i: total_q(qms=i["Qms"], qes=i["Qes"]),
    "T1.W06.e": from_sheet("vas", "cms sd", 1e3),
    "T1.W06.f": from_sheet("eta0", "fs qes vas", 100.0),
    "T1.W06.g": _one_watt,
    "T1.W08.a": from_sheet("fs", "mms cms"),
    "T1.W08.b": from_sheet("qes", "fs mms bl re"),
    "T1.W08.c": from_sheet("vas", "cms diameter", 1e3),
    "T1.W08.d": _sensitivity_step,
    "T1.W08.e": _woofer_one_watt,
    "T1.W09.a": from_sheet("fs", "mms cms"),
    "T1.W09.b": from_sheet("qms", "fs mms rms"),
    "T1.W09.c": from_sheet("qes", "fs mms bl re"),
    # the sheet's own rounded figures: from mass and force factor it would be 0.388
    "T1.W09.d": lambda _: total_q(qms=2.33, qes=0.46),
    "T1.W11.[adf]": from_sheet("fs", "mms cms"),
    "T1.W11.c": _implied_qes,
    "T1.W11.e": from_sheet("vas", "cms sd", 1e3),
    "T1.W12.a": _exercise_resonance,
    "T1.W12.b": _exercise_reactance,
    "T1.W12.c": _exercise_power,
    "T1.W12.d": _exercise_efficiency,
    "T1.W17.a": lambda i: total_q(qms=i["Qms"], qes=i["Qes"]),
    "T1.W17.[bc]": from_sheet("eta0", "fs qes vas", 100.0),
    "T2.W3.a": lambda i: _travel(i, 2.0 * HALF_SPACE),
    "T2.W3.c": lambda i: _travel(i, HALF_SPACE),
    "T2.W4.a": lambda i: _travel(i, HALF_SPACE) * 2**0.5,
    "T2.W4.b": _travel_of_an_octave,
    "T2.W4.c": _level_of_travel,
    "T2.W5.a": lambda i: _baffled_air_mass(i, _area(i["a_m"])) * 1e3,
    "T2.W5.b": lambda i: _baffled_air_mass(i, i["Sd_cm2"] * 1e-4) * 1e3,
    "T2.W5.d": _area_of_air_mass,
}
