"""Stimuli, clock, deconvolution, bands and takes: how each reference value is computed."""

from functools import cache

import numpy as np

from conewright.physics.basics.arrays import FloatArray
from conewright.physics.basics.bands import band_centres, band_edges
from conewright.physics.basics.levels import amplitude_decibel, decibel
from conewright.sound.played.stimuli import STIMULI, Core, Crawl
from conewright.sound.recorded.clock import Clock, tone_amplitudes
from conewright.sound.recorded.clock_fit import fit_clock
from conewright.sound.recorded.deconvolution import deconvolve
from conewright.sound.recorded.marks import find_marks
from conewright.sound.recorded.takes import student_factor
from conewright.sound.recorded.third_octaves import BandLevels, band_power
from direct import recorded

from .checks import Computation, Inputs

RATE = 48_000
PEAK = 10 ** (-12 / 20)


@cache
def _steps(name: str) -> FloatArray:
    return np.asarray(np.floor(32_767 * STIMULI[name].samples()[0] + 0.5))


def _apart(name: str) -> float:
    return STIMULI[name].marks_apart or 0.0


@cache
def _sweep(growth: float) -> FloatArray:
    core = Core(growth)
    return core.sweep(np.arange(core.count, dtype=np.float64)) / (0.96 * PEAK)


def _power(growth: float, frequency: float) -> float:
    """|X|^2 of a sweep [s2], mean over its third octave."""
    count = 1 << 20
    power = np.abs(np.fft.rfft(_sweep(growth), count) / RATE) ** 2
    # f |X|^2 is flat, so its mean tells |X|^2 at the frequency itself.
    flat = band_power(power * np.fft.rfftfreq(count, 1 / RATE), step=RATE / count)
    return float(flat[_band(frequency)] / frequency)


def _band(frequency: float) -> int:
    return int(np.argmin(np.abs(np.log(band_centres() / frequency))))


def _one_sample_late(_: Inputs) -> float:
    """Skew by marks that are a sample further apart [ppm]."""
    samples = np.insert(recorded("sweep", paths=((0.0, 1.0),)), round(13.2 * RATE), 0.0)
    marks = find_marks(samples, rate=RATE)
    return 1e6 * fit_clock(samples, rate=RATE, marks=marks).by_marks


def _ambiguity(i: Inputs) -> float:
    """Skew at which a tone is turned half round between the stairs [ppm]."""
    first, second = (stair.seconds[0] for stair in STIMULI["sweep"].stairs)
    return 1e6 / (2 * i["f"] * (second - first))


def _high_pass(i: Inputs) -> float:
    """Level of a second-order high-pass, from a sweep and what it became [dB]."""
    stimulus = STIMULI["sweep"]
    s = 1j * np.fft.rfftfreq(2 * stimulus.length, 1 / RATE) / i["fc"]
    response = s**2 / (1 + s / i["Q"] + s**2)
    spectrum = np.fft.rfft(stimulus.samples()[0], 2 * stimulus.length) * response
    heard = np.fft.irfft(spectrum)[: stimulus.length]
    impulse = deconvolve(heard, rate=RATE, clock=Clock(0.0), part=stimulus.cores[0])
    level = amplitude_decibel(np.abs(impulse.linear()))
    return float(np.interp(i["f"], impulse.frequency, level))


def _second_harmonic(i: Inputs) -> float:
    """Second harmonic over the fundamental of a bent sine [dB]."""
    u = i["u"] * np.sin(2 * np.pi * 200.0 * np.arange(RATE) / RATE)
    bent = u + i["a2"] * u**2 + i["a3"] * u**3
    tones = np.array([200.0, 400.0])
    one, two = tone_amplitudes(
        bent, rate=RATE, clock=Clock(0.0), begin=0.1, seconds=0.5, frequency=tones
    )
    return float(amplitude_decibel(np.abs(two / one)))


def _slope(slope: float) -> float:
    """What a third octave reads high on a slope [dB per octave / 6]."""
    step = 0.05
    frequency = np.arange(0, 1200, step)
    level = band_power((frequency / 1000.0) ** (2 * slope), step=step)
    return float(decibel(level[_band(1000.0)]))


def _widened(snr: float) -> float:
    return float(BandLevels(np.full(31, snr), np.zeros(31)).widened[10])


def _sweep_at(t: float) -> float:
    return float(Core(1.45).sweep(np.array([t * RATE]))[0] / (0.96 * PEAK))


RECORDINGS: dict[str, Computation] = {
    "P1.N1": lambda i: Core(i["L"]).count,
    "P1.N3": lambda _: STIMULI["sweep"].length,
    "P1.N4": lambda _: STIMULI["sides"].length,
    "P1.M1": lambda _: _apart("sweep"),
    "P1.M2": lambda _: _apart("sides"),
    "P1.S*": lambda i: _steps("sweep")[int(i["n"])],
    "P1.H*": lambda i: _steps("sweep-short")[int(i["n"])],
    "P1.C1": lambda i: _sweep_at(i["t"]),
    "P1.K1": lambda i: Crawl(round(i["T"] * RATE)).frequency(np.array(i["t"])),
    "P2.L2": lambda i: Core(i["L"]).lead(2),
    "P2.L3": lambda i: Core(i["L"]).lead(3),
    "P2.T1": lambda i: Core(i["L"]).time_of(i["f"]),
    "P2.X*": lambda i: np.sqrt(_power(i["L"], i["f"])),
    "P2.D1": lambda i: 1e-3 * i["skew_ppm"] * Core(i["L"]).time_of(20_000.0),
    "P2.D2": _one_sample_late,
    "P2.D4": _ambiguity,
    "P2.F1": _high_pass,
    "P2.P2": _second_harmonic,
    "P3.E*.lower": lambda i: band_edges()[_band(i["nominal"])],
    "P3.E*.upper": lambda i: band_edges()[_band(i["nominal"]) + 1],
    "P3.T1": lambda _: _slope(1.0),
    "P3.T2": lambda _: _slope(2.0),
    "P3.W1": lambda i: student_factor(int(i["takes"])),
    "P3.W2": lambda i: student_factor(int(i["takes"]), int(i["others"])),
    "P3.B1": lambda i: _widened(i["snr_db"]),
    "P3.S1": lambda i: decibel(_power(i["L1"], 1000.0) / _power(i["L2"], 1000.0)),
}
