"""A jig that is simulated directly: divider, driver, recorder, hum and hiss, in the time domain.

Nothing of the project's model is used: the driver is Re, a coil of parts and a parallel resonant
circuit (R. H. Small, JAES 20(5), 1972), and the sweep and its inverse are written out here
(A. Farina, AES preprint 5093, 2000).
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Impedance = Callable[[Floats], Complexes]

RATE = 48_000.0
SCALE = 0.5
SWEEP = round(RATE * SCALE * np.log(1000.0))
LEAD = 96_000
SIZE = 1 << 19
FREQUENCY = np.fft.rfftfreq(SIZE, 1 / RATE)
RE, FS, QMS, QES = 3.2, 74.0, 4.2, 0.9


def parallel(a: Complexes, b: Complexes | float) -> Complexes:
    return np.asarray(a * b / (a + b))


COILS: dict[str, Callable[[Complexes], Complexes]] = {
    "inductor": lambda s: s * 0.4e-3,
    "shunted": lambda s: s * 0.15e-3 + parallel(s * 0.5e-3, 2.5),
    "power-law": lambda s: 0.006 * s**0.7,
    "twice-shunted": lambda s: s * 0.08e-3 + parallel(s * 0.2e-3, 8.0) + parallel(s * 0.6e-3, 1.5),
}


def driver(
    frequency: Floats, coil: str, *, fs: float = FS, qms: float = QMS, qes: float = QES
) -> Complexes:
    """Impedance in free air [ohm]."""
    s = 2j * np.pi * frequency
    moving = RE * qms / qes / (1 + 1j * qms * (frequency / fs - fs / frequency))
    return np.asarray(RE + COILS[coil](s.astype(complex)) + moving)


def resistor(value: float) -> Impedance:
    return lambda frequency: np.full(frequency.shape, value + 0j)


def sweep() -> Floats:
    """20 Hz to 20 kHz, faded, with silence before and after, shape (SIZE,)."""
    t = np.arange(SWEEP) / RATE
    x = np.sin(2 * np.pi * 20 * SCALE * np.expm1(t / SCALE))
    x[:4800] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(4800) / 4800)
    x[-480:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(480) / 480)
    whole = np.zeros(SIZE)
    whole[LEAD : LEAD + SWEEP] = x
    return whole


STIMULUS = sweep()
SPECTRUM = np.fft.rfft(STIMULUS)


@dataclass(frozen=True)
class Jig:
    """Parts of it. Levels of hum and hiss in volts rms on each input; the source gives 1 V."""

    resistor: float = 10.0
    source: float = 12.0
    lead: float = 0.08
    input: float = 10e3
    mismatch: complex = 1.031
    late: float = 3e-6
    hum: float = 0.0
    hiss: float = 0.0
    seed: int = 1
    gain: float = 1.0
    hum_frequency: float = 50.07
    multiples: dict[int, float] = field(default_factory=lambda: {1: 1.0, 3: 0.3, 5: 0.15, 9: 0.05})

    def voltages(self, frequency: Floats, load: Impedance | None) -> Complexes:
        """Before the resistor and behind it, over the source's, shape (2, F); None is one point."""
        if load is None:
            return np.ones((2, frequency.size), dtype=complex)
        behind = 1 / (1 / (load(frequency) + self.lead) + 1 / self.input)
        whole = self.source + self.resistor + behind
        return np.stack([(self.resistor + behind) / whole, behind / whole])

    def recorded(
        self, load: Impedance | None, *, played: Floats = STIMULUS, rate: float = RATE
    ) -> Floats:
        """Both inputs of the recorder, shape (2, N), for the source's own voltage."""
        size = 1 << int(np.ceil(np.log2(played.size + rate)))
        f = np.asarray(np.fft.rfftfreq(size, 1 / rate), dtype=np.float64)
        f[0] = f[1]
        volts = self.voltages(f, load) * np.fft.rfft(played, size) * self.gain
        # The recorder's own high-pass, and what its second input does otherwise.
        volts = volts / (1 + 3.0 / (1j * f))
        volts[1] *= self.mismatch * np.exp(-2j * np.pi * f * self.late)
        found = np.fft.irfft(volts, size)[:, : played.size]
        t = np.arange(played.size) / rate
        hum = sum(
            share * np.sin(2 * np.pi * k * self.hum_frequency * t + k)
            for k, share in self.multiples.items()
        )
        noise = np.random.default_rng(self.seed).standard_normal((2, played.size))
        both = np.array([[1.0], [0.7]])
        return np.asarray(found + np.sqrt(2) * self.hum * both * hum + self.hiss * noise)


def responses(recorded: Floats, *, early: int = 24_000) -> Floats:
    """Impulse responses of both inputs, tau = 0 at `early`, shape (2, N)."""
    held = recorded.copy()
    held[:, : LEAD - 1000] = 0.0
    last = LEAD + SWEEP + round(1.2 * RATE)
    held[:, last:] = 0.0
    held[:, last - 4800 : last] *= np.linspace(1.0, 0.0, 4800)
    power = np.abs(SPECTRUM) ** 2
    inside = (FREQUENCY > 16) & (FREQUENCY < 21e3)
    least = power[inside].min()
    inverse = np.conj(SPECTRUM) / (power + np.where(inside, 1e-5 * least, least))
    found = np.fft.irfft(np.fft.rfft(held, axis=-1) * inverse, SIZE, axis=-1)
    return np.asarray(np.roll(found, early, axis=-1)[:, : early + 60_000])


SILENCES = [(4800, LEAD - 4800), (LEAD + SWEEP + 72_000, LEAD + SWEEP + 200_000)]
EARLY = 24_000 / RATE
