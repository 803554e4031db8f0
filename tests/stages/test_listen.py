"""What listen says of recordings whose truth is known: levels, polarity, rattles, volts, coils."""

import numpy as np
import pytest
from recorded import RATE, high_pass, plain, recording
from scipy import signal

import conewright as cw
from conewright.errors import BadInputError
from conewright.physics.basics.arrays import FloatArray
from conewright.sound.played.stimuli import STIMULI
from conewright.stages.prove.recorded_tests import recorded_tests
from conewright.stages.prove.stage import DETAILS, listen
from conewright.stages.prove.written import with_heard
from conewright.stages.report.data import Report, Severity

BUILD = cw.demo_job().build()
SEAT = BUILD.seats[0].id


def _value(report: Report, id: str) -> float:
    value = report.figure(id).value
    assert value is not None
    return value


def _stops(report: Report) -> list[str]:
    return [each.text for each in report.verdicts if each.severity is Severity.STOP]


# --- Responses ----------------------------------------------------------------------------------


def test_the_difference_of_two_sides_is_that_of_their_filters() -> None:
    report = listen(recording("sides", right=high_pass(160.0)), at=SEAT, build=BUILD)
    assert not _stops(report)
    for band, centre in (("63hz", 63.1), ("160hz", 158.5), ("1000hz", 1000.0)):
        # closed form of the filter, mean power over the third octave
        frequency = np.geomspace(centre * 10**-0.05, centre * 10**0.05, 401)
        _, response = signal.freqz_sos(high_pass(160.0), frequency, fs=RATE)
        truth = 10 * np.log10(np.mean(np.abs(response) ** 2))
        assert _value(report, f"{SEAT}.side_difference_{band}") == pytest.approx(truth, abs=0.1)
    assert {each.id for each in report.series} >= {f"{SEAT}.left_level", f"{SEAT}.right_level"}


def test_takes_of_one_place_are_averaged_and_one_that_strays_is_left_out_by_name() -> None:
    takes = [recording("sweep-short", noise=3e-3, seed=n, file=f"{n}.wav") for n in (1, 2, 3)]
    odd = recording("sweep-short", left=high_pass(900.0), right=high_pass(900.0), file="odd.wav")
    report = listen(*takes, odd, at=SEAT, build=BUILD)
    (left_out,) = [each.text for each in report.verdicts if each.id == f"{SEAT}.takes"]
    assert "odd.wav" in left_out
    level = report.curve(f"{SEAT}.level")
    at_1k = int(np.argmin(np.abs(level.frequency - 1000.0)))
    # both channels of one signal, each halved: 0 dB
    assert level.value[at_1k] == pytest.approx(0.0, abs=0.1)
    assert level.low[at_1k] < level.value[at_1k] < level.high[at_1k]


def test_a_cone_close_to_the_phone_shows_the_harmonics_it_makes() -> None:
    # y = u + a2 u^2 + a3 u^3: a2 u/2 and a3 u^2/4 over the tone (trigonometric identities)
    samples = STIMULI["sweep"].samples()[0]
    heard = samples + 0.2 * samples**2 + 0.4 * samples**3
    report = listen(plain(heard, noise=1e-6, file="near.wav"), test="near-field", at="door-fl")
    peak = 0.96 * 10 ** (-12 / 20)
    truth = 20 * np.log10(0.2 * peak / 2)
    assert _value(report, "door-fl.distortion_2_400hz") == pytest.approx(truth, abs=0.5)
    truth = 20 * np.log10(0.4 * peak**2 / 4)
    assert _value(report, "door-fl.distortion_3_400hz") == pytest.approx(truth, abs=1.5)


# --- Polarity -----------------------------------------------------------------------------------


@pytest.mark.parametrize("sound", ["bass-short", "sides-short"])
@pytest.mark.parametrize("turned", [False, True])
def test_a_pair_turned_round_is_found_and_answers_the_bass_in_mono(
    sound: str, turned: bool
) -> None:
    # Both sides arrive by ways of their own, marks by the left alone so that they do not cancel.
    samples = STIMULI[sound].samples()
    marked = np.array([samples[0], samples[1]])
    for mark in (*STIMULI[sound].marks, *STIMULI[sound].stairs):
        marked[1, mark.start : mark.start + mark.wave.count] = 0.0
    sign = -0.8 if turned else 0.8
    heard = signal.sosfilt(high_pass(40.0), marked[0] + sign * np.roll(marked[1], 20))
    report = listen(plain(heard, file="pair.wav"), test="polarity", at="front", build=BUILD)
    odds = _value(report, "front.reversed_odds")
    assert (odds > 0.9) if turned else (odds < 0.1)
    (reading,) = report.heard
    assert (reading.test, reading.at) == ("mono-bass", "front")
    assert reading.value == ("weaker" if turned else "stronger")
    assert reading.odds is not None
    assert reading.odds["weaker"] == pytest.approx(odds)


def test_two_cones_close_to_the_phone_tell_polarity_whatever_the_phone_turns() -> None:
    cone = high_pass(70.0)
    for phone in (1.0, -1.0):
        heard = [
            plain(sign * phone * signal.sosfilt(cone, STIMULI["pulses"].samples()[0]), file=name)
            for sign, name in ((1.0, "left.wav"), (-1.0, "right.wav"))
        ]
        report = listen(*heard, test="near-field", at="front", build=BUILD)
        assert _value(report, "front.reversed_odds") > 0.95


def test_two_sounds_are_no_pair() -> None:
    with pytest.raises(BadInputError, match="the same sound is wanted on both sides"):
        listen(recording("sweep-short"), recording("pulses"), test="near-field", at="front")


# --- Rattles ------------------------------------------------------------------------------------


def _rattling(*, low: float, high: float, size: float, seed: int = 1) -> FloatArray:
    """A crawl with a burst of treble once a cycle from low to high [Hz]."""
    samples = STIMULI["crawl-short"].samples()[0]
    time = (np.arange(samples.size) - 84_000) / RATE
    growth = 12.0 / np.log(10.0)
    phase = 2 * np.pi * 30.0 * growth * np.expm1(time / growth)
    frequency = 30.0 * np.exp(time / growth)
    struck = (frequency > low) & (frequency < high) & (np.mod(phase, 2 * np.pi) < 0.5)
    hiss = np.random.default_rng(seed).normal(0.0, size, samples.size)
    band = signal.butter(2, [2000.0, 6000.0], "band", fs=RATE, output="sos")
    return np.asarray(samples + signal.sosfilt(band, hiss * struck))


def test_a_rattle_is_told_with_where_it_is_strongest_and_answers_the_slow_tone() -> None:
    report = listen(plain(_rattling(low=90.0, high=130.0, size=0.1), file="c.wav"), at="door-fl")
    assert _value(report, "door-fl.rattles") == 1.0
    assert _value(report, "door-fl.rattle_1_low") == pytest.approx(90.0, abs=6.0)
    assert _value(report, "door-fl.rattle_1_high") == pytest.approx(130.0, abs=6.0)
    (reading,) = report.heard
    assert (reading.test, reading.value) == ("slow-bass", "rasp")


def test_a_hand_on_the_trim_tells_trim_from_driver() -> None:
    free = plain(_rattling(low=90.0, high=130.0, size=0.1), file="free.wav")
    for size, word in ((0.0, "changes"), (0.09, "no change")):
        pressed = plain(_rattling(low=90.0, high=130.0, size=size, seed=2), seed=2, file="p.wav")
        report = listen(free, pressed, at="door-fl", build=BUILD)
        answers = {each.test: each.value for each in report.heard}
        assert answers == {"slow-bass": "rasp", "press-trim": word}


def test_no_rattle_is_an_answer_that_half_volume_could_undo() -> None:
    report = listen(recording("crawl-short", side="left"), at="door-fl", build=BUILD)
    (reading,) = report.heard
    assert reading.value == "clean"
    assert reading.odds == {"rasp": 1.0, "clean": 9.0}


# --- Channels -----------------------------------------------------------------------------------


def _clipped(ceiling: float) -> FloatArray:
    return np.asarray(np.clip(STIMULI["ladder"].samples()[0], -ceiling, ceiling))


def test_a_ladder_tells_where_a_hard_ceiling_is_and_the_clean_volts() -> None:
    ceiling = 10 ** (-6.3 / 20)
    report = listen(
        plain(_clipped(ceiling), noise=1e-5, file="ladder.wav"),
        at="rear-left",
        build=BUILD,
        details={"volts": "4 V", "step": "21"},
    )
    # The mark is where the third harmonic is 40 dB down: 0.381 dB over the ceiling (closed form).
    assert _value(report, "rear-left.clip_level") == pytest.approx(-6.3 + 0.381, abs=0.05)
    # Step 21 is 10 dB below full scale and was metered with 4 V.
    volts = 4.0 * 10 ** ((10.0 - 6.3 + 0.381) / 20)
    assert _value(report, "rear-left.clean_volts") == pytest.approx(volts, rel=0.02)


def test_open_and_loaded_ladders_tell_the_output_resistance() -> None:
    opened = plain(_clipped(0.9), noise=1e-6, file="open.wav")
    loaded = plain(_clipped(0.9) * 4.0 / 4.25, noise=1e-6, file="loaded.wav")
    report = listen(opened, loaded, at="rear-left", build=BUILD, details={"load": "4 ohm"})
    assert _value(report, "rear-left.output_resistance") == pytest.approx(0.25, abs=0.01)
    with pytest.raises(BadInputError, match="want the ohms of the load"):
        listen(opened, loaded, at="rear-left", build=BUILD)


def test_both_leads_touched_at_once_tell_half_a_volt() -> None:
    time = np.arange(RATE) / RATE
    decay = np.where(time > 0.4, np.exp(-2 * np.pi * 3.0 * (time - 0.4)), 0.0)
    legs = np.array([7.4, 6.5])[:, None] / 12.0 * decay / 1.2
    touched = plain(2.0 * legs, noise=1e-5, file="touch.wav")
    details = {"full-scale": "1.2 V", "divider": "12"}
    report = listen(touched, test="pair-offset", at="rear-left", build=BUILD, details=details)
    assert _value(report, "rear-left.touch_offset") == pytest.approx(0.9, abs=0.1)
    assert _stops(report) == ["More than 0.5 V across the pair: connect no loudspeaker to it."]
    (reading,) = report.heard
    assert str(reading.value).startswith("0.9")


# --- Drivers ------------------------------------------------------------------------------------


def _jig(impedance: FloatArray, file: str) -> cw.Recording:
    """A sweep before 10 ohm, and what is left of it behind them."""
    samples = np.pad(STIMULI["sweep-short"].samples()[0], (0, 48_000))
    spectrum = np.fft.rfft(samples)
    across = np.fft.irfft(spectrum * impedance / (impedance + 10.0), samples.size)
    return plain(np.stack([samples, across]), noise=1e-5, file=file)


def _driver(*, re: float, fs: float, qms: float, qes: float) -> FloatArray:
    """Closed form (R. H. Small, JAES 20(5), 1972) with 0.3 mH."""
    size = STIMULI["sweep-short"].length + 48_000
    frequency = np.fft.rfftfreq(size, 1 / RATE)
    frequency[0] = 1e-3
    moving = re * qms / qes / (1 + 1j * qms * (frequency / fs - fs / frequency))
    return np.asarray(re + 2j * np.pi * frequency * 0.3e-3 + moving)


def test_a_driver_on_the_bench_is_found_and_is_no_reading_of_the_vehicle() -> None:
    driver = BUILD.job.drivers[0].id
    z = _driver(re=3.3, fs=71.0, qms=4.4, qes=0.8)
    report = listen(_jig(z, "jig.wav"), test="impedance-sweep", at=driver, build=BUILD)
    for name, truth, within in (("re", 3.3, 0.01), ("fs", 71.0, 0.005), ("qms", 4.4, 0.02)):
        found = report.figure(f"{driver}.{name}")
        assert found.value == pytest.approx(truth, rel=within)
        assert found.low is not None
        assert found.high is not None
        assert found.low < truth < found.high
    assert report.heard == ()
    assert [each.path.partition(".")[2] for each in report.values] == ["re", "fs", "qms", "qes"]
    assert any("compared on one point" in each.text for each in report.verdicts)


def test_what_was_measured_on_the_bench_takes_the_place_of_the_sheet() -> None:
    sheeted = next(each.id for each in BUILD.job.drivers if each.fs is not None)
    sound = _jig(_driver(re=3.3, fs=71.0, qms=4.4, qes=0.8), "jig.wav")
    report = listen(sound, test="impedance-sweep", at=sheeted, build=BUILD)
    told = {each.path.partition(".")[2]: each for each in report.values}
    assert told["fs"].found
    assert any("the job says" in each.text for each in report.verdicts)
    text = with_heard(cw.demo_text(), "toml", report=report, recordings=[sound], at=sheeted)
    sheet = cw.loads(text).driver(sheeted)
    assert sheet.fs is not None
    assert sheet.fs.value == pytest.approx(71.0, rel=0.005)
    assert sheet.fs.spread == "plus-minus"
    assert sheet.qts is None
    assert cw.loads(text).recordings[0].at == sheeted


def test_an_impedance_in_a_door_becomes_the_reading_that_find_takes() -> None:
    z = _driver(re=3.3, fs=71.0, qms=4.4, qes=0.8)
    through = _jig(np.full(z.shape, 1e12 + 0j), "through.wav")
    report = listen(_jig(z, "jig.wav"), through, test="impedance-sweep", at="door-fl", build=BUILD)
    (reading,) = report.heard
    assert isinstance(reading.value, dict)
    value = reading.value
    assert float(value["resonance"].split()[0]) == pytest.approx(71.0, rel=0.02)
    assert float(value["coil"].split()[0]) == pytest.approx(3.3, rel=0.02)
    job = cw.demo_job().with_reading("impedance-sweep", "door-fl", value)
    assert cw.find(job.build()).readings


def _bench(report: Report, *, name: str, truth: float, within: float) -> None:
    found = report.figure(f"{BENCH}.{name}")
    assert found.value == pytest.approx(truth, rel=within)
    assert found.low is not None
    assert found.high is not None
    assert found.low < truth < found.high


BENCH = BUILD.job.drivers[0].id


def test_a_mass_on_the_cone_tells_how_much_it_moves_and_how_stiff_it_hangs() -> None:
    # fm = fs sqrt(M/(M + m)); Qms and Qes grow as the square root of the mass (Small 1972)
    mms, added, sd = 9e-3, 10e-3, 84e-4
    grown = np.sqrt((mms + added) / mms)
    alone = _jig(_driver(re=3.3, fs=71.0, qms=4.4, qes=0.8), "alone.wav")
    loaded = _jig(_driver(re=3.3, fs=71.0 / grown, qms=4.4 * grown, qes=0.8 * grown), "loaded.wav")
    details = {"mass": "10 g", "area": "84 cm2"}
    report = listen(alone, loaded, test="added-mass", at=BENCH, build=BUILD, details=details)
    _bench(report, name="mms", truth=9.0, within=0.01)
    compliance = 1 / ((2 * np.pi * 71.0) ** 2 * mms)
    # rho c^2 of air at 20 degC: 141.8 kPa (handbook value, from memory)
    _bench(report, name="vas", truth=1e3 * 141.8e3 * sd**2 * compliance, within=0.01)
    with pytest.raises(BadInputError, match="this test wants it: mass=10 g"):
        listen(alone, loaded, test="added-mass", at=BENCH, build=BUILD)


def test_a_box_of_known_volume_tells_the_same_air() -> None:
    # Vas/Vb = (fc Qec)/(fs Qes) - 1 (Small 1972), both growing as the square root
    grown = np.sqrt(1 + 8.0 / 12.0)
    alone = _jig(_driver(re=3.3, fs=71.0, qms=4.4, qes=0.8), "alone.wav")
    boxed = _jig(_driver(re=3.3, fs=71.0 * grown, qms=4.4 * grown, qes=0.8 * grown), "boxed.wav")
    report = listen(
        alone, boxed, test="known-volume", at=BENCH, build=BUILD, details={"volume": "12 L"}
    )
    _bench(report, name="vas", truth=8.0, within=0.01)


def test_twins_are_told_apart_beyond_what_twins_differ() -> None:
    left = _jig(_driver(re=3.3, fs=71.0, qms=4.4, qes=0.8), "left.wav")
    for fs, verdict in ((73.0, Severity.GOOD), (90.0, Severity.WARN)):
        right = _jig(_driver(re=3.3, fs=fs, qms=4.4, qes=0.8), f"{fs}.wav")
        report = listen(left, right, test="twins", at="front", build=BUILD)
        (said,) = [each for each in report.verdicts if each.id == "front.twins"]
        assert said.severity is verdict
        assert _value(report, "front.resonance_over_twin") == pytest.approx(
            100 * (71.0 / fs - 1), abs=0.2
        )


def test_a_jig_must_read_a_known_resistor() -> None:
    size = _driver(re=1.0, fs=50.0, qms=1.0, qes=1.0).shape
    good = _jig(np.full(size, 10.0 + 0j), "ten.wav")
    report = listen(good, test="known-resistor")
    assert _value(report, "vehicle.resistor_off") < 0.1
    wrong = _jig(np.full(size, 10.4 + 0j), "off.wav")
    with pytest.raises(BadInputError, match="within 1 % is allowed"):
        listen(wrong, test="known-resistor")


# --- Calls --------------------------------------------------------------------------------------


def _call(noise: float, seed: int) -> FloatArray:
    """Bursts of speech-like noise with pauses, in noise."""
    draw = np.random.default_rng(seed)
    band = signal.butter(2, [300.0, 3400.0], "band", fs=RATE, output="sos")
    spoken = np.repeat(np.tile([1.0, 0.0], 10), RATE // 2)
    voice = np.random.default_rng(7).normal(0.0, 1.0, spoken.size) * spoken
    heard = 0.2 * voice + draw.normal(0.0, noise, spoken.size)
    return np.asarray(signal.sosfilt(band, heard))


def test_a_microphone_that_moves_nearer_gains_what_was_expected() -> None:
    calls = [
        plain(_call(noise, seed), noise=1e-6, file=f"{seed}.wav")
        for noise, seed in ((0.06, 1), (0.02, 2))
    ]
    details = {"mouth-before": "90 cm", "mouth-after": "30 cm"}
    report = listen(*calls, test="call-recording", build=BUILD, details=details)
    # 20 log(0.9/0.3) (inverse distance)
    assert _value(report, "vehicle.call_snr_gain_expected") == pytest.approx(9.542, abs=0.01)
    assert _value(report, "vehicle.call_snr_gain") == pytest.approx(9.54, abs=1.5)


def test_what_comes_back_of_a_call_is_told_with_its_delay() -> None:
    sent = _call(1e-4, 3)
    returned = 0.05 * np.roll(sent, round(0.12 * RATE))
    report = listen(
        plain(sent, noise=1e-6, file="sent.wav"),
        plain(returned, noise=1e-6, file="back.wav"),
        test="echo",
        build=BUILD,
    )
    assert _value(report, "vehicle.echo_delay") == pytest.approx(0.12, abs=0.001)
    assert _value(report, "vehicle.echo_level") == pytest.approx(20 * np.log10(0.05), abs=0.2)


# --- What cannot be used ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sound", "said"),
    [
        (plain(np.zeros(RATE), noise=0.1, file="noise.wav"), "no test sound in this recording"),
        (plain(np.zeros(RATE), noise=0.0, file="silence.wav"), "no test sound in this recording"),
        (recording("sides-short"), "This is sides-short, not crawl"),
    ],
    ids=["music", "silence", "another"],
)
def test_what_is_no_recording_of_the_sound_is_said_first(sound: cw.Recording, said: str) -> None:
    report = listen(sound, test="rattle-crawl", at="door-fl", build=BUILD)
    (stop,) = _stops(report)
    assert said in stop
    assert said in report.answer
    assert report.heard == ()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"test": "rattles"}, 'as: found "rattles"'),
        ({"at": "door-xl"}, 'at: found "door-xl"; did you mean'),
        ({"details": {"resistance": "10 ohm"}}, 'with: found "resistance"'),
        ({"details": {"load": "4 V"}}, 'with load: found "4 V"'),
        ({"details": {"step": "many"}}, 'with step: found "many"'),
        ({"details": {"load": "-4 ohm"}}, 'with load: found "-4 ohm"'),
    ],
)
def test_what_is_asked_wrongly_is_named(given: dict[str, object], said: str) -> None:
    with pytest.raises(BadInputError) as raised:
        listen(recording("crawl-short", side="left"), **{"build": BUILD, **given})  # type: ignore[arg-type]
    assert said in str(raised.value)


def test_as_many_recordings_as_the_test_takes_and_none_twice() -> None:
    one = recording("crawl-short", side="left")
    with pytest.raises(BadInputError, match="it takes 1 to 2: free, then with a hand"):
        listen(one, one, one, at="door-fl")
    with pytest.raises(BadInputError, match="the same recording twice"):
        listen(one, one, at="door-fl")
    with pytest.raises(BadInputError, match="say which test they are for"):
        listen(one, recording("sides-short"), at="door-fl")
    with pytest.raises(BadInputError, match="found no recording"):
        listen()


def test_every_test_and_detail_is_told_in_words() -> None:
    for test in recorded_tests().values():
        assert test.title
        assert test.at
        assert 1 <= test.fewest <= test.most
        assert all(sound in STIMULI for sound in test.sounds)
    assert all(words for _, words in DETAILS.values())
