"""Figures of recorded tests, told by `listen`, against simulations whose truth is known.

`PYTHONPATH=tests:tests/sound python -m benchmarks.recorded_figures` prints the second table of
docs/prove.md, `--write` puts it there. Impedance: a jig that is simulated directly, played to by
the simulator of recordings; ladders: a hard ceiling in closed form; crawls: the simulator's own
rattles; calls: speech and noise that were added. Besides, how long a recording takes to analyse.
"""

from __future__ import annotations

import tracemalloc
from argparse import ArgumentParser
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy import fft, signal
from simulated_jig import COILS, Impedance, Jig, resistor

from benchmarks.timing import Row, best_seconds
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.recorded.analysis import analyse
from conewright.sound.recorded.recording import Recording
from conewright.stages.prove.stage import listen
from conewright.stages.report.data import Report
from simulator import noises
from simulator.chain import RecorderClock
from simulator.draw import random_crawl, random_recording
from simulator.files import RATE, played

__all__ = ["Line", "errors_line", "put", "run", "tables"]

PAGE = Path(__file__).resolve().parent.parent / "docs" / "prove.md"
JIGS, DRIVERS = 4, 4
LADDERS = 24
CRAWLS = 40
CALLS = 24

Line = tuple[str, ...]
Errors = dict[str, list[float]]


def errors_line(label: str, errors: Sequence[float], unit: str, wanted: str) -> Line:
    """A row: how many, rms, 95 % within, most, and what 95 % should be within."""
    size = np.abs(np.array(errors))
    if not size.size:
        return (label, "0", "-", "-", "-", wanted)
    rms = float(np.sqrt(np.mean(size**2)))
    within = float(np.quantile(size, 0.95))
    shown = (f"{value:.3g} {unit}".strip() for value in (rms, within, float(size.max())))
    return (label, str(size.size), *shown, wanted if wanted == "-" else f"{wanted} {unit}")


def tables(head: Sequence[str], lines: Iterable[Line]) -> Iterator[str]:
    """A table as Markdown."""
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for line in lines:
        yield "| " + " | ".join(line) + " |"


def put(name: str, lines: Sequence[str], page: Path = PAGE) -> None:
    """Write lines between the marks of that name on the page."""
    begin, end = f"<!-- {name} -->\n", f"<!-- end of {name} -->"
    before, rest = page.read_text().split(begin)
    _, after = rest.split(end)
    body = "\n".join(lines)
    page.write_text(f"{before}{begin}\n{body}\n\n{end}{after}")


def _recording(name: str, samples: FloatArray, rate: float) -> Recording:
    """A recording of 16 bit; its name stands for its hash."""
    fine = np.round(np.atleast_2d(samples) * 32768) / 32768
    return Recording(f"{name}.wav", fine, rate, name.encode().hex().zfill(64)[-64:])


def _value(report: Report, name: str) -> float:
    (figure,) = (each for each in report.figures if each.name == name)
    assert figure.value is not None
    return figure.value


# --- Impedance --------------------------------------------------------------------------------

CLOCK = RecorderClock(0.4, 70e-6, 48_000.0)


@cache
def _source(file: str) -> FloatArray:
    """What a player gives, at the recorder's instants, with a peak of 0.25 V."""
    samples = played(file).samples[0]
    return CLOCK.heard(*_spectrum(samples))


def _spectrum(samples: FloatArray) -> tuple[np.ndarray[tuple[int], np.dtype[np.complex128]], int]:
    size = fft.next_fast_len(samples.size + 2 * RATE, real=True)
    size += size % 2
    return np.asarray(fft.rfft(samples, size)), size


def _load(rng: np.random.Generator) -> tuple[Impedance, dict[str, float]]:
    """A driver of a random size behind one of the four kinds of coil."""
    u = rng.uniform
    re, fs, qms, qes = u(2.8, 4.0), u(45, 95), u(2.5, 6.0), u(0.5, 1.2)
    coil = COILS[str(rng.choice(list(COILS)))]

    def load(frequency: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
        s = (2j * np.pi * frequency).astype(complex)
        moving = re * qms / qes / (1 + 1j * qms * (frequency / fs - fs / frequency))
        return np.asarray(re + coil(s) + moving)

    return load, {"re": re, "fs": fs, "qms": qms, "qes": qes}


def two_channels(seeds: Iterable[int]) -> Errors:
    """Errors of Re, fs, Qms, Qes by two channels in hum and hiss [%]."""
    found: Errors = {}
    for seed in seeds:
        rng = np.random.default_rng([seed, 21])
        u, source = rng.uniform, _source("sweep-short")
        jig: dict[str, Any] = {
            "source": u(8.0, 30.0),
            "lead": u(0.03, 0.12),
            "mismatch": 1.0 + u(-0.03, 0.03),
            "hum": 0.25 * 10 ** (u(-60, -40) / 20),
            "hiss": 0.25 * 10 ** (u(-85, -72) / 20),
            "hum_frequency": u(49.9, 50.1),
        }
        calibration = [
            _jigged(f"{seed}-{name}", Jig(**jig, seed=3 * seed + n), load, source)
            for n, (name, load) in enumerate((("through", None), ("leads", resistor(0.0))))
        ]
        for n in range(DRIVERS):
            load, truth = _load(rng)
            heard = _jigged(f"{seed}-{n}", Jig(**jig, seed=100 * seed + n), load, source)
            _add(found, [heard, *calibration], truth, {"input": "10 kohm"})
    return found


def one_channel(seeds: Iterable[int]) -> Errors:
    """Errors by one channel whose volume drifts by up to 0.05 dB [%]."""
    found: Errors = {}
    for seed in seeds:
        rng = np.random.default_rng([seed, 22])
        source = _source("sweep-short")
        more: dict[str, Any] = {
            "source": rng.uniform(8.0, 30.0),
            "lead": 0.0,
            "input": 1e9,
            "hiss": 3e-5,
        }
        for n in range(DRIVERS):
            load, truth = _load(rng)
            three = []
            for k, (name, each) in enumerate(
                (("open", resistor(1e9)), ("known", resistor(10.0)), ("driver", load))
            ):
                gain = 10 ** (rng.uniform(-0.05, 0.05) / 20) if k else 1.0
                jig = Jig(**more, gain=gain, mismatch=1.0, late=0.0, seed=100 * seed + 3 * n + k)
                both = _jigged(f"{seed}-{n}-{name}", jig, each, source)
                three.append(_recording(f"{seed}-{n}-{name}", both.samples[1], both.rate))
            _add(found, three, truth, {})
    return found


def _jigged(name: str, jig: Jig, load: Impedance | None, source: FloatArray) -> Recording:
    return _recording(name, jig.recorded(load, played=source, rate=CLOCK.rate), CLOCK.rate)


def _add(
    found: Errors, heard: Sequence[Recording], truth: Mapping[str, float], more: Mapping[str, str]
) -> None:
    report = listen(
        *heard, test="impedance-sweep", at="bench", details={"resistor": "10 ohm", **more}
    )
    names = {figure.name for figure in report.figures}
    if "qms" not in names:
        found.setdefault("outlined", []).append(1.0)
        return
    for figure, true in truth.items():
        found.setdefault(figure, []).append(100.0 * (_value(report, figure) / true - 1.0))


# --- A channel --------------------------------------------------------------------------------


def clip_marks(seeds: Iterable[int]) -> Errors:
    """Errors of clip marks [dB] and of output resistances [ohm], to hard ceilings."""
    found: Errors = {"clip": [], "rout": []}
    for seed in seeds:
        rng = np.random.default_rng([seed, 23])
        u = rng.uniform
        name, load, rout = "ladder" if seed % 2 else "ladder-1k", u(3.8, 8.2), u(0.05, 0.9)
        clock = RecorderClock(u(0.1, 1.0), u(-150e-6, 150e-6), float(rng.choice([44.1e3, 48e3])))
        ceiling, noise = u(-14.0, -1.5), 10 ** (u(-92, -78) / 20)
        open_, loaded = (
            _ladder(f"{seed}-{k}", name, clock, ceiling - 0.5 * k, gain, noise, rng)
            for k, gain in enumerate((1.0, load / (load + rout)))
        )
        details = {"load": f"{load:.6f} ohm", "divider": "12"}
        report = listen(open_, loaded, test="channel-output", at="fl", details=details)
        # closed form: H3 is 40 dB down 0.381179 dB over the ceiling
        found["clip"].append(_value(report, "clip_level") - (ceiling + 0.381179))
        found["rout"].append(_value(report, "output_resistance") - rout)
    return found


def _ladder(
    title: str,
    name: str,
    clock: RecorderClock,
    ceiling: float,
    gain: float,
    noise: float,
    rng: np.random.Generator,
) -> Recording:
    top = 10 ** (ceiling / 20)
    bent = 0.9 * gain * np.clip(played(name).samples[0], -top, top)
    heard = clock.heard(*_spectrum(bent))
    return _recording(title, heard + noise * rng.normal(size=heard.size), clock.rate)


# --- Rattles and calls ------------------------------------------------------------------------


def rattles(seeds: Iterable[int]) -> Errors:
    """Of crawls, every other one with a rattle: missed, false, errors of its edges [Hz, %]."""
    found: Errors = {"missed": [], "false": [], "edges": [], "strongest": [], "shares": []}
    for seed in seeds:
        heard = random_crawl(1000 + seed, rattling=seed % 2 == 0)
        report = listen(
            _recording(f"crawl-{seed}", heard.samples, heard.rate), test="rattle-crawl", at="door"
        )
        count = int(_value(report, "rattles"))
        if not heard.truth.rattles:
            found["false"].append(float(count > 0))
            continue
        found["missed"].append(float(count == 0))
        if count != 1:
            continue
        (true,) = heard.truth.rattles
        for key, name in (("edges", "low"), ("strongest", "strongest"), ("edges", "high")):
            off = _value(report, f"rattle_1_{name}") - getattr(true, name)
            found[key].append(off)
            found["shares"].append(100.0 * off / getattr(true, name))
    return found


def call_gains(seeds: Iterable[int]) -> Errors:
    """Errors of the gain of a call with speech that is made [dB]."""
    found: Errors = {"gain": []}
    for seed in seeds:
        rng = np.random.default_rng([seed, 24])
        rate = float(rng.choice([8_000.0, 16_000.0]))
        before = rng.uniform(4.0, 12.0)
        after = before + rng.uniform(0.0, 10.0)
        speech = noises.like_speech(np.random.default_rng(seed), round(20 * rate), rate=rate)
        one, other = (
            _recording(f"call-{seed}-{k}", _called(rng, speech, rate, snr), rate)
            for k, snr in enumerate((before, after))
        )
        report = listen(one, other, test="call-recording")
        found["gain"].append(_value(report, "call_snr_gain") - (after - before))
    return found


def _called(rng: np.random.Generator, speech: FloatArray, rate: float, snr: float) -> FloatArray:
    """Speech in the noise of a car, powers from 300 to 3400 Hz apart by so much [dB]."""
    noise = noises.shaped(rng, speech.size, rate=rate, slope=-2.0)
    band = signal.butter(4, (300.0, 3400.0), "bandpass", fs=rate, output="sos")
    sizes = [np.std(signal.sosfilt(band, each)) for each in (speech, noise)]
    return np.asarray(0.03 * (speech / sizes[0] + 10 ** (-snr / 20) * noise / sizes[1]))


# --- Tables -----------------------------------------------------------------------------------


def lines() -> Iterator[Line]:
    """Rows of the table."""
    for label, found, wanted in (
        ("two channels", two_channels(range(JIGS)), ("0.1", "0.02", "0.3", "0.3")),
        ("one channel", one_channel(range(JIGS)), ("1", "0.1", "1", "1")),
    ):
        for name, limit in zip(("re", "fs", "qms", "qes"), wanted, strict=True):
            title = {"re": "Re", "fs": "fs", "qms": "Qms", "qes": "Qes"}[name]
            yield errors_line(f"{title}, {label}", found.get(name, []), "%", limit)
        if "outlined" in found:
            yield (f"no fit, {label}", str(len(found["outlined"])), "", "", "", "")
    found = clip_marks(range(LADDERS))
    yield errors_line("clip mark", found["clip"], "dB", "0.02")
    yield errors_line("output resistance", found["rout"], "ohm", "0.01")
    found = rattles(range(CRAWLS))
    yield errors_line("rattle, strongest", found["strongest"], "Hz", "4")
    yield errors_line("rattle, edges", found["edges"], "Hz", "4")
    yield errors_line("rattle, all three", found["shares"], "%", "-")
    for name, key in (("missed", "missed"), ("without cause", "false")):
        yield (f"rattle {name}", f"{sum(found[key]):.0f} of {len(found[key])}", "", "", "", "0")
    yield errors_line("gain of a call", call_gains(range(CALLS))["gain"], "dB", "1.5")


def run() -> Iterator[Row]:
    """How long a recording of some 30 s takes, against a bare transform of its length."""
    heard = random_recording(0, file="sides", spoilt=())
    recording = _recording("sides", heard.samples, heard.rate)
    bare = best_seconds(lambda: fft.rfft(recording.samples[0]), repeats=5)
    whole = best_seconds(lambda: analyse(recording), repeats=3)
    tracemalloc.start()
    analyse(recording)
    most = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    length = f"{recording.seconds:.0f} s at {recording.rate / 1000:g} kHz"
    yield Row(f"a transform of {length}", bare)
    yield Row("the analysis of it", whole, f"{whole / bare:.0f} transforms, {most:.0f} MB")


def main() -> None:
    """Print or write the table."""
    parser = ArgumentParser(description=__doc__)
    parser.add_argument("--write", action="store_true")
    head = ("test", "values", "rms", "95 % within", "most", "wanted (95 %)")
    made = list(tables(head, lines()))
    if parser.parse_args().write:
        put("figures", made)
    print(*made, sep="\n")


if __name__ == "__main__":
    main()
