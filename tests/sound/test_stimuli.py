"""Stimuli by their definitions, sample for sample, and at instants between samples."""

import hashlib
from itertools import combinations

import numpy as np
import pytest
from scipy.signal import chirp

from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played.stimuli import STIMULI, Core, Crawl, Stair

RATE = 48_000

# Published with the definition, computed by an independent generator: SHA-256 of the samples,
# 16 bit little-endian, interleaved; of one channel where both are alike.
HASHES = {
    "sweep": "bb5a1d6d34cb045e0db860eb06d1ff0c9ca3698295186c854101f988aa552c42",
    "sweep-short": "a6eac343d84b5a7eb7bbdb21f23ff8dbbf5833af4637038b9db3d64750fdf1e1",
    "sides": "2ae8f811bcbbf79df102008e975eeab8aacfa902464863e41d0aabf3c04f0df4",
    "sides-short": "de6a559b931ea7f46b3f571d8adc9eed281ead3ccd31a489cb02f0d1bcc79c9f",
}
# The same for lengths [samples] and distances of the marks [s].
LAYOUTS = {
    "sweep": (783_180, 14.56625),
    "sweep-short": (468_186, 8.003875),
    "sides": (1_311_960, 25.5825),
    "sides-short": (681_972, 12.45775),
    "bass": (1_992_000, 39.75),
    "bass-short": (840_000, 15.75),
    "crawl": (4_464_000, 91.25),
    "crawl-short": (720_000, 13.25),
    "pulses": (324_000, 5.0),
    "ladder": (590_400, 10.55),
    "ladder-1k": (590_400, 10.55),
    "knob": (684_000, None),
}


def steps(samples: FloatArray) -> FloatArray:
    return np.asarray(np.floor(32_767 * samples + 0.5))


def by_definition(growth: float, *, sides: bool) -> FloatArray:
    """A sweep file written down once more, part by part: shape (N,) or (2, N)."""
    a, t = 10 ** (-12 / 20), np.arange(12_000) / RATE
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(12_000) / 12_000)
    mark = a * window * np.sin(2 * np.pi * (400 * t + 5600 * t**2))

    def faded(wave: FloatArray, rise: int, fall: int) -> FloatArray:
        wave = wave.copy()
        wave[:rise] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(rise) / rise)
        wave[::-1][:fall] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(fall) / fall)
        return wave

    t = np.arange(19_200) / RATE
    chord = np.mean([np.sin(2 * np.pi * f * t) for f in (630, 1000, 1600)], axis=0)
    stair = np.concatenate([a * 10 ** (-6 * k / 20) * faded(chord, 480, 480) for k in range(3)])
    t = np.arange(round(48_000 * growth * np.log(1000))) / RATE
    sweep = 0.96 * np.sin(2 * np.pi * 20 * growth * (np.exp(t / growth) - 1))
    pilots = 0.02 * (np.sin(2 * np.pi * 630 * t) + np.sin(2 * np.pi * 1600 * t))
    core = a * (faded(sweep, 4800, 480) + faded(pilots, 480, 480))
    head = [np.zeros(48_000), mark, np.zeros(12_000), stair, np.zeros(19_200)]
    tail = [np.zeros(48_000), stair, np.zeros(12_000), mark, np.zeros(24_000)]
    if not sides:
        return np.concatenate([*head, core, *tail])
    gap, rest = np.zeros(48_000), np.zeros(core.size)
    left = np.concatenate([*head, core, gap, rest, *tail])
    return np.stack([left, np.concatenate([*head, rest, gap, core, *tail])])


@pytest.mark.parametrize("name", HASHES)
def test_a_sweep_is_its_definition_to_a_step_of_its_bits(name: str) -> None:
    found = STIMULI[name].samples()
    growth = 0.5 if name.endswith("short") else 1.45
    wanted = by_definition(growth, sides=name.startswith("sides"))
    one = wanted.ndim == 1
    assert np.abs(steps(found) - steps(wanted)).max() <= 1
    exact = steps(found[0] if one else found.T).astype("<i2")
    same = hashlib.sha256(exact.tobytes()).hexdigest() == HASHES[name]
    # Another library of mathematics may round a few samples the other way.
    assert same or np.mean(steps(found) != steps(wanted)) < 1e-4
    if one:
        np.testing.assert_array_equal(found[0], found[1])


@pytest.mark.parametrize("name", LAYOUTS)
def test_lengths_and_distances_are_as_laid_down(name: str) -> None:
    length, apart = LAYOUTS[name]
    stimulus = STIMULI[name]
    assert stimulus.length == length == stimulus.samples().shape[1]
    assert stimulus.marks_apart == (None if apart is None else pytest.approx(apart, abs=1e-9))


def test_the_distance_of_the_marks_tells_every_file_but_the_ladders_two() -> None:
    apart = {n: s.marks_apart for n, s in STIMULI.items() if s.marks_apart and n != "ladder-1k"}
    for one, other in combinations(apart.values(), 2):
        assert abs(np.log(one / other)) > 0.05


@pytest.mark.parametrize("name", STIMULI)
def test_parts_evaluated_between_samples_are_the_band_limited_sound(name: str) -> None:
    # Closed form: a band-limited wave at half a sample is its transform turned by pi f / rate.
    for part in (*STIMULI[name].marks[:1], *STIMULI[name].stairs[:1], *STIMULI[name].tones[30:31]):
        k = np.arange(-2000, part.wave.count + 2000)
        spectrum = np.fft.rfft(part.wave.at(k.astype(np.float64)))
        turn = np.exp(1j * np.pi * np.fft.rfftfreq(k.size))
        between = np.fft.irfft(spectrum * turn, k.size)
        # A fade has no sharp end of its band.
        assert np.abs(part.at((k + part.start + 0.5) / RATE) - between).max() < 2e-4
        assert np.all(part.wave.at(np.array([-5e6, -1.0, part.wave.count + 0.5, 9e6])) == 0.0)


def test_sides_and_bass_play_one_side_after_the_other() -> None:
    sides = STIMULI["sides"]
    left, right = sides.samples()
    first, second = sides.cores
    for part, playing, silent in ((first, left, right), (second, right, left)):
        place = slice(part.start, part.start + part.wave.count)
        assert np.abs(silent[place]).max() == 0.0
        assert np.abs(playing[place]).max() > 0.24
    left, right = STIMULI["bass"].samples()
    for number, part in enumerate(STIMULI["bass"].tones):
        place = slice(part.start, part.start + part.wave.count)
        loud = [
            round(float(np.abs(each[place]).max() / 10 ** (-12 / 20))) for each in (left, right)
        ]
        assert loud == [[1, 0], [0, 1], [1, 1], [1, 1]][number % 4]
        if number % 4 >= 2:
            np.testing.assert_array_equal(left[place], (1, -1)[number % 4 - 2] * right[place])


def test_the_core_is_a_logarithmic_chirp() -> None:
    # Independent tool: scipy.signal.chirp, logarithmic, half a turn behind a cosine's quarter.
    core = Core(1.45)
    t = np.arange(10_000, core.count - 1000, 7) / RATE
    last = core.count / RATE
    stop = 20.0 * np.exp(last / 1.45)
    wanted = chirp(t, f0=20.0, t1=last, f1=stop, method="logarithmic", phi=-90.0)
    found = core.sweep(t * RATE) / (0.96 * 10 ** (-12 / 20))
    np.testing.assert_allclose(found, wanted, rtol=0, atol=1e-8)
    crawl = Crawl(90 * RATE)
    t = np.arange(2000, 90 * RATE - 2000, 11) / RATE
    wanted = chirp(t, f0=30.0, t1=90.0, f1=300.0, method="logarithmic", phi=-90.0)
    np.testing.assert_allclose(crawl.at(t * RATE) * 10 ** (18 / 20), wanted, rtol=0, atol=1e-8)


def test_ladder_and_knob_reach_full_scale_and_steps_last_twelve_periods() -> None:
    levels = [part.wave.level for part in STIMULI["ladder"].tones]  # type: ignore[attr-defined]
    assert levels == list(range(-30, 1))
    for name in ("ladder", "ladder-1k", "knob"):
        assert np.abs(STIMULI[name].samples()).max() == pytest.approx(1.0, abs=1e-6)
    for k, part in enumerate(STIMULI["steps"].tones):
        frequency = 20.0 * 10 ** (k / 20)
        assert part.wave.count / RATE * frequency >= 12.0 - 1e-9
        assert part.wave.count >= RATE // 2


def test_the_first_step_of_a_stair_is_six_decibel_over_the_second() -> None:
    # Definition: rms of three tones of a third each, at -12, -18 and -24 dBFS.
    stair = Stair()
    for step in range(3):
        k = np.arange(step * 19_200 + 600, step * 19_200 + 600 + 14_400, dtype=np.float64)
        rms = 10 * np.log10(np.mean(stair.at(k) ** 2))
        assert rms == pytest.approx(-12 - 6 * step - 10 * np.log10(6), abs=0.01)
