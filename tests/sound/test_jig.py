"""Impedance with a recorder, against a jig simulated directly."""

from functools import cache

import numpy as np
import pytest
from simulated_jig import (
    COILS,
    EARLY,
    FS,
    QES,
    QMS,
    RATE,
    RE,
    SILENCES,
    Impedance,
    Jig,
    driver,
    resistor,
    responses,
)

from conewright.errors import BadInputError, OutOfRangeError
from conewright.physics.basics.arrays import ComplexArray, FloatArray
from conewright.sound.measured.impedance_fit import fit_driver
from conewright.sound.measured.impedance_points import ImpedancePoints
from conewright.sound.measured.jig import (
    JigRatio,
    impedance_from_ratio,
    impedance_points,
    level_points,
    one_channel_level,
    ratio_from_responses,
    ratio_from_steps,
    ratio_from_sweep,
    require_known_resistor,
    series_resistance,
    sweep_frequencies,
)
from conewright.sound.measured.lock_in import locked_tones, silences
from conewright.sound.measured.mains import Hum, without_mains
from conewright.sound.played.stimuli import STIMULI, Part, Stimulus, Tone
from conewright.sound.recorded.clock import Clock
from conewright.sound.recorded.clock_fit import fit_clock
from conewright.sound.recorded.marks import find_marks

GRID = sweep_frequencies()
CLEAN = Jig()
# Hum and hiss of -40 and -72 dB re 1 V.
GARAGE = Jig(hum=10 ** (-40 / 20), hiss=10 ** (-72 / 20))


def measured(jig: Jig, load: Impedance | None) -> JigRatio:
    cleaned, _ = without_mains(jig.recorded(load), rate=RATE, silences=SILENCES)
    before, across = responses(cleaned)
    return ratio_from_responses(before, across, rate=RATE, arrival=EARLY, frequency=GRID)


@cache
def calibrated(name: str) -> tuple[JigRatio, JigRatio]:
    jig = {"clean": CLEAN, "garage": GARAGE}[name]
    return measured(jig, None), measured(jig, resistor(0.0))


def points(jig: Jig, name: str, load: Impedance) -> ImpedancePoints:
    through, leads = calibrated(name)
    return impedance_points(
        measured(jig, load),
        resistor=jig.resistor,
        through=through,
        leads=leads,
        input_resistance=jig.input,
    )


def off(found: object) -> list[float]:
    """How far Re, fs, Qms and Qes are off [%]."""
    names = {"re": RE, "fs": FS, "qms": QMS, "qes": QES}
    return [100 * abs(getattr(found, n).value / true - 1) for n, true in names.items()]


@pytest.mark.parametrize("coil", COILS)
def test_two_channels_meet_the_driver(coil: str) -> None:
    # own simulation; wanted: Re 0.06 %, fs 0.01 %, Qms 0.2 %, Qes 0.03 %
    found = fit_driver(points(CLEAN, "clean", lambda f: driver(f, coil)))
    assert found.coil_name == coil
    assert np.all(np.array(off(found)) < [0.06, 0.01, 0.2, 0.03])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_two_channels_meet_it_in_hum_and_hiss(seed: int) -> None:
    # own simulation; wanted: Re 0.05 %, fs 0.01 %, Qms 0.15 %, Qes 0.15 %
    jig = Jig(hum=GARAGE.hum, hiss=GARAGE.hiss, seed=seed + 10)
    found = fit_driver(points(jig, "garage", lambda f: driver(f, "power-law")))
    assert found.coil_name == "power-law"
    assert np.all(np.array(off(found)) < [0.05, 0.01, 0.15, 0.15])


def test_a_known_resistor_reads_right_and_a_jig_that_was_not_zeroed_is_refused() -> None:
    # closed form: without the ratio on one point 3.1 % of mismatch is 6 % of 10 ohm
    read = points(GARAGE, "garage", resistor(10.0))
    assert require_known_resistor(GRID, read.impedance) < 2e-3
    bare = impedance_points(measured(GARAGE, resistor(10.0)), resistor=10.0)
    with pytest.raises(OutOfRangeError, match=r"the known 10 ohm read 10\.[67]\d ohm"):
        require_known_resistor(GRID, bare.impedance)
    with pytest.raises(OutOfRangeError, match="not measured between 30 Hz"):
        require_known_resistor(GRID[:2], read.impedance[:2])


def test_what_hangs_beside_and_before_the_driver_is_taken_off() -> None:
    # closed form of the divider: the simulated jig has 10 kohm across and 0.08 ohm before
    def load(f: FloatArray) -> ComplexArray:
        return driver(f, "shunted")

    exact = CLEAN.voltages(GRID, load)
    joined = CLEAN.voltages(GRID, resistor(0.0))
    leads = impedance_from_ratio(joined[1] / joined[0], resistor=10.0, input_resistance=10e3)
    np.testing.assert_allclose(leads, 0.08, rtol=1e-12)
    found = impedance_from_ratio(
        exact[1] / exact[0], resistor=10.0, leads=leads, input_resistance=10e3
    )
    np.testing.assert_allclose(found, load(GRID), rtol=1e-12)


def test_the_error_of_a_point_is_that_which_the_noise_makes() -> None:
    # own simulation: scatter of 6 recordings with other noise, against the error of one of them
    hiss, load = 10 ** (-50 / 20), resistor(10.0)
    ratios = []
    for seed in range(6):
        before, across = responses(Jig(hiss=hiss, seed=seed).recorded(load))
        ratios.append(
            ratio_from_responses(before, across, rate=RATE, arrival=EARLY, frequency=GRID)
        )
    middle = np.mean([each.ratio for each in ratios], axis=0)
    parts = np.array([np.log(each.ratio / middle) for each in ratios])
    scatter = np.sqrt(np.mean(np.abs(parts) ** 2, axis=0) / 2 * 6 / 5)
    told = np.sqrt(np.mean([each.error**2 for each in ratios], axis=0))
    assert np.median(told / scatter) == pytest.approx(1.0, abs=0.2)


def test_responses_that_are_too_short_or_unequal_are_refused() -> None:
    both = responses(CLEAN.recorded(resistor(10.0)))
    with pytest.raises(OutOfRangeError, match=r"must reach from 0.18 s before"):
        ratio_from_responses(
            both[0, :40_000], both[1, :40_000], rate=RATE, arrival=EARLY, frequency=GRID
        )
    with pytest.raises(OutOfRangeError, match=r"must reach from 0.18 s before"):
        ratio_from_responses(both[0], both[1], rate=RATE, arrival=0.1, frequency=GRID)
    with pytest.raises(OutOfRangeError, match="of one length"):
        ratio_from_responses(both[0, 1:], both[1], rate=RATE, arrival=EARLY, frequency=GRID)
    with pytest.raises(OutOfRangeError, match="channel A is silent"):
        ratio_from_responses(0 * both[0], both[1], rate=RATE, arrival=EARLY, frequency=GRID)


# --- One channel ------------------------------------------------------------------------------


def heard(jig: Jig, load: Impedance) -> ComplexArray:
    """Spectrum of input B alone on the grid, the volume as the jig has it."""
    volts = jig.voltages(GRID, load)[1] * jig.gain
    noise = np.random.default_rng(jig.seed).standard_normal((2, GRID.size)) * jig.hiss
    return np.asarray(volts + noise[0] + 1j * noise[1])


@pytest.mark.parametrize(
    ("drift", "later"), [(0.05, 0.05), (-0.05, -0.05), (0.0, 0.05), (0.0, -0.05), (0.05, 0.0)]
)
def test_one_channel_meets_the_driver_while_the_volume_drifts(drift: float, later: float) -> None:
    # own simulation; wanted: Re 1.0 %, fs 0.01 %, Qms 0.7 %, Qes 0.1 % with 0.05 dB of drift
    still = Jig(hiss=1e-4, lead=0.0, input=1e9)
    moved = Jig(hiss=1e-4, lead=0.0, input=1e9, seed=2, gain=10 ** (drift / 20))
    last = Jig(hiss=1e-4, lead=0.0, input=1e9, seed=3, gain=10 ** (later / 20))
    opened = heard(still, resistor(1e9))
    known = one_channel_level(heard(moved, resistor(10.0)), opened=opened)
    series = series_resistance(known, known=10.0)
    assert series == pytest.approx(22.0, rel=0.012)
    level = one_channel_level(heard(last, lambda f: driver(f, "power-law")), opened=opened)
    found = fit_driver(level_points(GRID, level, series=series, noise=3e-4))
    assert found.coil_name == "power-law"
    assert np.all(np.array(off(found)) < [1.0, 0.01, 0.7, 0.1])

    # the drift is inside what is told
    assert abs(found.re.value - RE) < found.re.width


def test_a_volume_that_was_turned_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="the volume was changed"):
        series_resistance(np.full(5, 1.02), known=10.0)
    with pytest.raises(OutOfRangeError, match=r"bent by 12.0 %"):
        series_resistance(np.array([0.5, 0.5, 0.56]), known=10.0)
    with pytest.raises(OutOfRangeError, match="open leads is silent"):
        one_channel_level(np.ones(3, complex), opened=np.array([1.0, 0.0, 1.0], complex))


# --- Whole recordings -------------------------------------------------------------------------


def played(stimulus: Stimulus, *, rate: float, clock: Clock, count: int) -> FloatArray:
    """What the source gives, at the recorder's instants: 1 V at the stimulus' own peak."""
    t = clock.played(count, rate=rate)
    found = np.zeros(count)
    for part in stimulus.parts:
        first, last = (clock.index(each, rate=rate) for each in part.seconds)
        near = slice(max(first - 2, 0), last + 2)
        found[near] += part.at(t[near])
    return found * 10 ** (12 / 20)


@cache
def whole(name: str, *, rate: float, skew: float) -> tuple[JigRatio, JigRatio, JigRatio]:
    """Ratio with the driver, on one point and with the leads joined, from samples alone."""
    stimulus, clock = STIMULI[name], Clock(start=0.413, skew=skew)
    count = clock.index(stimulus.length / 48e3 + 0.4, rate=rate)
    volts = played(stimulus, rate=rate, clock=clock, count=count)
    found = []
    for seed, load in enumerate((lambda f: driver(f, "power-law"), None, resistor(0.0))):
        jig = Jig(hum=GARAGE.hum, hiss=GARAGE.hiss, seed=seed)
        samples = jig.recorded(load, played=volts, rate=rate)
        marks = find_marks(samples[0], rate=rate, expected=name)
        assert marks.stimulus is stimulus
        fitted = fit_clock(samples[0], rate=rate, marks=marks).clock
        assert fitted.skew == pytest.approx(skew, abs=2e-6)
        if stimulus.cores:
            more = {"frequency": GRID[0.4 * rate >= GRID]}
            ratio = ratio_from_sweep(samples, rate=rate, clock=fitted, stimulus=stimulus, **more)
        else:
            ratio = ratio_from_steps(samples, rate=rate, clock=fitted, stimulus=stimulus)
        found.append(ratio)
    return found[0], found[1], found[2]


@pytest.mark.parametrize(
    ("name", "rate", "skew"),
    [("sweep", 48e3, -80e-6), ("sweep-short", 44.1e3, 150e-6), ("steps", 44.1e3, 150e-6)],
)
def test_a_whole_recording_in_hum_and_hiss_meets_the_driver(
    name: str, rate: float, skew: float
) -> None:
    # own simulation, marks and clock found in the samples; wanted: 0.05, 0.01, 0.15, 0.15 %
    driven, through, leads = whole(name, rate=rate, skew=skew)
    read = impedance_points(
        driven, resistor=10.0, through=through, leads=leads, input_resistance=10e3
    )
    found = fit_driver(read)
    assert found.coil_name == "power-law"
    assert np.all(np.array(off(found)) < [0.05, 0.02, 0.15, 0.15])


def test_single_tones_are_read_with_their_phase_and_their_error() -> None:
    # closed form: amplitudes of steady sines through the divider, in white noise, with an offset
    clock, rate, stimulus = Clock(start=0.413, skew=150e-6), 44_100.0, STIMULI["steps"]
    frequency = np.array([part.wave.frequency for part in stimulus.tones])  # type: ignore[attr-defined]
    assert frequency[[0, -1]] == pytest.approx([20.0, 20e3])
    volts = CLEAN.voltages(frequency, lambda f: driver(f, "twice-shunted"))
    count = clock.index(stimulus.length / 48e3, rate=rate)
    t, samples = clock.played(count, rate=rate), np.zeros((2, count))
    for index, part in enumerate(stimulus.tones):
        begin, end = part.seconds
        on = (t >= begin) & (t < end)
        samples[:, on] = (
            volts[:, index, None] * np.exp(2j * np.pi * frequency[index] * (t[on] - begin))
        ).imag
    samples += 3e-4 * np.random.default_rng(5).standard_normal(samples.shape) + 0.01
    locked = locked_tones(samples, rate=rate, clock=clock, parts=stimulus.tones)
    np.testing.assert_array_equal(locked.frequency, frequency)
    np.testing.assert_allclose(locked.amplitude, volts, rtol=2e-4)
    scatter = np.abs(locked.amplitude - volts) ** 2 / 2
    assert np.mean(scatter) / np.mean(locked.error**2) == pytest.approx(1.0, abs=0.3)


@pytest.mark.parametrize(
    ("part", "error", "words"),
    [
        (Part(48_000, Tone(100.0, 24_000)), BadInputError, "not within the recording"),
        (Part(0, Tone(10.0, 24_000)), OutOfRangeError, "too short: 3 periods"),
        (Part(0, Tone(23e3, 24_000)), OutOfRangeError, "too high for a rate"),
        (STIMULI["sweep"].cores[0], BadInputError, "found Core; tones are wanted"),
    ],
)
def test_tones_that_cannot_be_read_are_refused(
    part: Part, error: type[Exception], words: str
) -> None:
    samples, clock = np.zeros((2, 48_000)), Clock(start=0.0)
    with pytest.raises(error, match=words):
        locked_tones(samples, rate=48e3, clock=clock, parts=[part])


def test_recordings_of_something_else_are_refused() -> None:
    clock, both = Clock(start=0.0), np.zeros((2, 800_000))
    for wrong, right in ((ratio_from_sweep, "sweep"), (ratio_from_steps, "steps")):
        with pytest.raises(BadInputError, match="found 1 channel; A and B wanted"):
            wrong(both[:1], rate=48e3, clock=clock, stimulus=STIMULI[right])
    with pytest.raises(BadInputError, match="found crawl; one with a sweep is wanted"):
        ratio_from_sweep(both, rate=48e3, clock=clock, stimulus=STIMULI["crawl"])
    with pytest.raises(BadInputError, match="parts: found none"):
        ratio_from_steps(both, rate=48e3, clock=clock, stimulus=STIMULI["sweep"])
    with pytest.raises(OutOfRangeError, match="channel A is silent"):
        ratio_from_sweep(both, rate=48e3, clock=clock, stimulus=STIMULI["sweep"])


def test_silences_hold_nothing_of_the_stimulus() -> None:
    # invariant: the stimulus' own samples are nought there, and there is enough of them
    for name in ("sweep", "sweep-short", "steps", "bass", "pulses"):
        stimulus, clock = STIMULI[name], Clock(start=0.25)
        count = stimulus.length
        found = silences(stimulus, rate=48e3, clock=clock, count=count)
        samples = np.roll(np.abs(stimulus.samples()).max(axis=0), 12_000)
        samples[:12_000] = 0.0
        assert sum(last - first for first, last in found) > 48_000
        assert [np.abs(samples[first:last]).max() for first, last in found] == [0.0] * len(found)
        assert found[0][0] == 12_000
        assert found[-1][1] <= count


# --- Mains ------------------------------------------------------------------------------------


@pytest.mark.parametrize("frequency", [49.87, 50.0, 50.13, 59.93, 60.1])
def test_hum_is_found_and_taken_out(frequency: float) -> None:
    # closed form: what was added is known
    jig = Jig(hum=0.003, hiss=1e-4, hum_frequency=frequency)
    cleaned, hum = without_mains(jig.recorded(resistor(10.0)), rate=RATE, silences=SILENCES)
    assert isinstance(hum, Hum)
    assert hum.frequency == pytest.approx(frequency, abs=0.001)
    assert hum.explained > 0.9
    left = cleaned - Jig(hiss=1e-4).recorded(resistor(10.0))
    assert np.sqrt(np.mean(left**2)) < 2e-5


def test_a_recording_without_hum_is_left_as_it_is() -> None:
    recorded = Jig(hiss=1e-3).recorded(resistor(10.0))
    cleaned, hum = without_mains(recorded, rate=RATE, silences=SILENCES)
    assert hum is None
    assert cleaned is recorded
    with pytest.raises(OutOfRangeError, match="half a second"):
        without_mains(recorded, rate=RATE, silences=[(0, 4800)])
    with pytest.raises(OutOfRangeError, match="outside the recording"):
        without_mains(recorded, rate=RATE, silences=[(0, recorded.shape[1] + 1)])


def test_hum_left_in_spoils_the_point_at_fifty_hertz() -> None:
    # own simulation: several per cent at 50 Hz without, a fraction of it with the hum taken out
    jig = Jig(hum=10 ** (-50 / 20), hum_frequency=50.0)
    f = np.array([50.0])
    true = driver(f, "inductor")

    def apart(recorded: FloatArray) -> float:
        before, across = responses(recorded)
        ratio = ratio_from_responses(before, across, rate=RATE, arrival=EARLY, frequency=f)
        through = CLEAN.mismatch * np.exp(-2j * np.pi * f * CLEAN.late)
        z = impedance_from_ratio(
            ratio.ratio, resistor=10.0, through=through, leads=0.08, input_resistance=10e3
        )
        return float(np.abs(z / true - 1)[0])

    recorded = jig.recorded(lambda f: driver(f, "inductor"))
    cleaned, _ = without_mains(recorded, rate=RATE, silences=SILENCES)

    assert apart(recorded) > 20 * apart(cleaned)
    assert apart(cleaned) < 1e-3
