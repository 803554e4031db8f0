"""Listen: recordings in, what they are, what spoils them, the figures of a test."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from conewright.errors import BadInputError, OutOfRangeError
from conewright.job.builds.states.build import Build
from conewright.job.document.paths import known_names
from conewright.job.document.references import GROUPS
from conewright.job.quantity.values import parse_quantity
from conewright.phrases import listed
from conewright.sound.measured.curves import Curve, read_curve
from conewright.sound.recorded.analysis import Take, analyse
from conewright.sound.recorded.place import place_change, place_flag
from conewright.sound.recorded.recording import Recording
from conewright.sound.recorded.recording_files import read_recording
from conewright.stages.find.faults.chains import chains_of
from conewright.stages.prove.calls import calls, echoes
from conewright.stages.prove.draft import Details, Draft
from conewright.stages.prove.impedances import impedance, impedance_of_curve
from conewright.stages.prove.on_bench import added_mass, known_resistor, known_volume, twins
from conewright.stages.prove.outputs import ladders, offset, volume_steps
from conewright.stages.prove.pairs import near_fields, pair
from conewright.stages.prove.rattling import rattles
from conewright.stages.prove.recorded_tests import RecordedTest, recorded_test, test_of
from conewright.stages.prove.responses import distortion, responses, treble
from conewright.stages.report.data import Report, Severity

__all__ = ["CURVES", "DETAILS", "heard_in", "is_usable", "listen", "places_for", "recording"]

CURVES = (".txt", ".csv", ".s1p")
"""Endings that curves most often have."""

SOUNDS = (
    *(".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".m4a", ".mp4", ".aac"),
    *(".3gp", ".webm", ".aif", ".aiff", ".au", ".caf", ".w64", ".rf64"),
)
"""Endings of sounds, those that cannot be read among them; of any other ending it is a curve."""

DETAILS: Mapping[str, tuple[str, str]] = {
    "resistor": ("resistance", "resistor of the jig, or the known one"),
    "input": ("resistance", "resistance of the recorder's input"),
    "volts": ("voltage", "volts that a meter read at one step"),
    "step": ("", "that step, counted from 1"),
    "load": ("resistance", "what hung on the channel"),
    "divider": ("", "volts of a leg over the recorder's"),
    "full-scale": ("voltage", "volts at the recorder's input for its full scale"),
    "coil": ("resistance", "the coil by an ohm-meter, leads taken off"),
    "top": ("resistance", "of a divider, from the leg to the node"),
    "bottom": ("resistance", "of a divider, from the node to the recorder's ground"),
    "mass": ("mass", "stuck on the cone"),
    "volume": ("volume", "net, of the box"),
    "area": ("area", "of the cone"),
    "mouth-before": ("length", "from the mouth to the microphone before"),
    "mouth-after": ("length", "from the mouth to the microphone after"),
}
"""What no recording tells: the dimension of each, and what it is."""

_FIELDS = {
    "volts": "metered",
    "full-scale": "full_scale",
    "coil": "re",
    "mouth-before": "mouth_before",
    "mouth-after": "mouth_after",
}

LEVELS = (
    *("side-response", "near-field", "rattle-crawl", "impedance-sweep"),
    *("added-mass", "known-volume", "twins", "known-resistor"),
)
"""Tests whose figures are levels or distortion: what clips is of no use to them."""

Heard = Recording | Curve


def recording(source: str | Path | bytes, *, name: str | None = None) -> Recording:
    """Read a recording.

    Args:
        source: a file, or what is in one: WAV, FLAC, Ogg or MP3.
        name: of the file, where its bytes are given.

    Returns:
        Its samples, shape (channels, N), with rate, name and SHA-256.

    Raises:
        BadInputError: no such file, no sound that can be read, or one beyond the limits: 15 min,
            200 MB, 8 channels, 8 kHz at least.

    >>> import conewright as cw
    >>> cw.recording(b"no sound", name="take.wav")
    Traceback (most recent call last):
        ...
    conewright.errors.BadInputError: take.wav: ...
    """
    return read_recording(source, name=name)


def listen(
    *sounds: Heard | str | Path,
    test: str | None = None,
    at: str | None = None,
    build: Build | None = None,
    details: Mapping[str, str] | None = None,
) -> Report:
    """Say what recordings hold: what they are of, what spoils them, and the figures of their test.

    Args:
        sounds: recordings, or curves that were measured elsewhere, or their files, in the order
            that the test asks for.
        test: that they were made for; where it is left out, the one that their sound is most often
            played for.
        at: where: a place, channel, seat or pair (`front`, `rear`), or a driver on the bench.
        build: the vehicle they were made in, if there is a job of it.
        details: what no recording tells, each by its name in `DETAILS`, with its unit.

    Returns:
        The report; what cannot be used has a verdict that stops, with the reason, and no figures.

    Raises:
        BadInputError: a file that cannot be read, a test or place that nobody knows, or recordings
            that do not go together.

    >>> import conewright as cw
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     files = cw.sounds(folder, only="crawl-short", side="left")
    ...     report = cw.listen(files[0], at="door-fl")
    >>> report.answer
    'crawl-short, ... Nothing rattles in this crawl.'
    """
    if not sounds:
        raise BadInputError("listen: found no recording; one or more are wanted")
    heard = [_read(each) if isinstance(each, str | Path) else each for each in sounds]
    curves = [each for each in heard if isinstance(each, Curve)]
    recordings = [each for each in heard if isinstance(each, Recording)]
    told = _details(details or {})
    if curves:
        return _of_curves(curves, recordings, test=test, at=at, build=build, details=told)
    wanted = None if test is None else recorded_test(test)
    if wanted is not None and not wanted.sounds:
        return _without_marks(wanted, recordings, at=at, build=build, details=told)
    takes = [_take(each, wanted) for each in recordings]
    wanted = wanted or _test_of(takes)
    draft = Draft(_place(at, wanted, build), build, told)
    usable = _told(draft, takes, wanted)
    if wanted is None or not usable:
        draft.sentences.append("Nothing can be read from it as it is.")
    else:
        _hold_count(wanted, recordings)
        _tell(draft, wanted, takes)
    test = "" if wanted is None else wanted.id
    return draft.report(names=[each.name for each in recordings], test=test)


def is_usable(report: Report) -> bool:
    """Whether recordings can be used for what they were made for."""
    return all(verdict.severity is not Severity.STOP for verdict in report.verdicts)


def heard_in(source: bytes | str | Path, *, name: str) -> Heard:
    """Read a recording, or a curve that was measured elsewhere, as its name says.

    Args:
        source: a file, or what is in one.
        name: of the file as it came.

    Raises:
        BadInputError: it is neither.
        OSError: the file of a curve cannot be read.

    """
    suffix = Path(name).suffix.lower()
    if not suffix or suffix in SOUNDS:
        return read_recording(source, name=name)
    data = source if isinstance(source, bytes) else Path(source).read_bytes()
    return read_curve(data, name=name)


def _read(file: str | Path) -> Heard:
    path = Path(file)
    try:
        return heard_in(path, name=path.name)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror or error})") from error


def _details(given: Mapping[str, str]) -> Details:
    found: dict[str, float | int] = {}
    for name, text in given.items():
        if name not in DETAILS:
            raise BadInputError(f'with: found "{name}"; {known_names(name, DETAILS)}')
        dimension, _ = DETAILS[name]
        field = _FIELDS.get(name, name)
        try:
            if name == "step":
                found[field] = int(text)
            elif dimension:
                found[field] = parse_quantity(text, dimension=dimension, positive=True).value
            else:
                found[field] = float(text)
        except ValueError as error:
            raise BadInputError(f'with {name}: found "{text}"; {error}') from None
        if not found[field] > 0.0:
            raise BadInputError(f'with {name}: found "{text}"; more than 0 is wanted')
    return Details(**found)  # type: ignore[arg-type]


# --- What it is, and what spoils it ---------------------------------------------------------------


def _take(recording: Recording, wanted: RecordedTest | None) -> Take:
    """Analyse a recording; where it is none of the test's sounds, say which was wanted."""
    if wanted is not None and "knob" in wanted.sounds:
        return analyse(recording, expected="knob")
    take = analyse(recording)
    if wanted is None or take.stimulus is None or take.stimulus.name in wanted.sounds:
        return take
    return analyse(recording, expected=wanted.sounds[0])


def _test_of(takes: Sequence[Take]) -> RecordedTest | None:
    names = {take.stimulus.name for take in takes if take.stimulus is not None}
    tests = {each.id: each for name in names if (each := test_of(name)) is not None}
    if len(tests) > 1:
        raise BadInputError(
            f"listen: found recordings of {listed(sorted(names))}, which belong to "
            f"{listed(sorted(tests))}; say which test they are for"
        )
    return next(iter(tests.values()), None)


def _told(draft: Draft, takes: Sequence[Take], wanted: RecordedTest | None) -> bool:
    """Tell what each recording is and what spoils it; whether all of them may be used."""
    levels = wanted is None or wanted.id in LEVELS
    several = len(takes) > 1
    for number, take in enumerate(takes, start=1):
        subject = f"recording-{number}" if several else "recording"
        for flag in take.flags:
            stops = flag.severity == "stop" or (levels and flag.severity == "levels")
            severity = Severity.STOP if stops else Severity.NOTE
            name = f"{take.recording.name}: " if several else ""
            draft.verdict(flag.name, severity, f"{name}{_sentence(flag.words)}", subject=subject)
        _figures(draft, take, subject)
        if take.stimulus is not None and not several:
            draft.sentences.append(
                f"{take.stimulus.name}, {take.recording.seconds:.1f} s at "
                f"{take.recording.rate:g} Hz."
            )
    reasons = [v.text for v in draft.verdicts if v.severity is Severity.STOP]
    draft.sentences[:0] = reasons[:1]
    return all(take.level_usable if levels else take.usable for take in takes)


def _figures(draft: Draft, take: Take, subject: str) -> None:
    draft.figure("peak", take.peak, unit="dBFS", label="highest sample", subject=subject)
    if take.clock is None:
        return
    clock = take.clock.clock
    draft.figure(
        "start", clock.start, unit="s", label="where the sound begins in it", subject=subject
    )
    draft.figure(
        "clock_skew",
        1e6 * clock.skew,
        unit="ppm",
        label="how much longer a second is on the recorder",
        subject=subject,
    )
    if take.clock.missing:
        draft.figure(
            "missing",
            1e3 * take.clock.missing,
            unit="ms",
            label="what is missing in it",
            subject=subject,
        )


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


# --- The figures of a test ------------------------------------------------------------------------


def _hold_count(wanted: RecordedTest, recordings: Sequence[Recording]) -> None:
    count = len(recordings)
    if not wanted.fewest <= count <= wanted.most:
        allowed = (
            str(wanted.most)
            if wanted.fewest == wanted.most
            else (f"{wanted.fewest} to {wanted.most}")
        )
        order = f": {wanted.order}" if wanted.order else ""
        raise BadInputError(f"{wanted.id}: found {count} recordings; it takes {allowed}{order}")
    if len({each.sha256 for each in recordings}) < count:
        raise BadInputError(f"{wanted.id}: found the same recording twice")


def _tell(draft: Draft, wanted: RecordedTest, takes: Sequence[Take]) -> None:
    try:
        if wanted.id == "near-field":
            _near(draft, takes)
        else:
            _SAID[wanted.id](draft, takes)
    except OutOfRangeError as error:
        raise BadInputError(f"{wanted.id}: {error}") from None


def _near(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell of one cone, or of the left and the right one of a pair."""
    sides = [draft.at] if len(takes) == 1 else [f"{draft.at}-{side}" for side in ("left", "right")]
    near_fields(draft, takes, sides)
    for take, subject in zip(takes, sides, strict=True):
        if take.impulses:
            distortion(draft, take, subject=subject)
            if len(takes) == 1 and _is_tweeter(draft):
                treble(draft, take, at=draft.at)
    if len(takes) == 2:
        pair(draft, takes)
    else:
        draft.sentences.append("The sign of one cone says something beside the other one's only.")


def _is_tweeter(draft: Draft) -> bool:
    """Whether a tweeter sits at the place; without a job nobody can say that none does."""
    if draft.build is None:
        return True
    chains = chains_of(draft.build)
    return any(chain.tweeter is not None and chain.tweeter.id == draft.at for chain in chains)


def _responses(draft: Draft, takes: Sequence[Take]) -> None:
    first, *others = takes
    for other in others:
        if _recorder(other) != _recorder(first):
            text = (
                f"{other.recording.name}: another rate or kind of file than "
                f"{first.recording.name}. If that is another phone, its own response is in the "
                "difference: two phones never meet in one difference."
            )
            draft.verdict("other-recorder", Severity.NOTE, text)
        flag = None
        if len(first.impulses) == len(other.impulses):
            flag = place_flag(place_change(first.impulses, other.impulses))
        if flag is not None:
            text = f"{other.recording.name}: {flag.words}."
            draft.verdict(flag.name, Severity.NOTE, text)
    responses(draft, takes)


def _recorder(take: Take) -> tuple[float, int, bool]:
    """What shows that recordings are not of one recorder at one setting."""
    recording = take.recording
    return recording.rate, len(recording.samples), recording.lossy


_SAID: Mapping[str, Callable[[Draft, Sequence[Take]], None]] = {
    "side-response": _responses,
    "bass-phases": pair,
    "polarity": pair,
    "rattle-crawl": rattles,
    "channel-output": ladders,
    "volume-steps": volume_steps,
    "impedance-sweep": impedance,
    "added-mass": added_mass,
    "known-volume": known_volume,
    "twins": twins,
    "known-resistor": known_resistor,
}

_SAID_BARE: Mapping[str, Callable[[Draft, Sequence[Recording]], None]] = {
    "call-recording": calls,
    "echo": echoes,
    "pair-offset": offset,
}


def _without_marks(
    wanted: RecordedTest,
    recordings: Sequence[Recording],
    *,
    at: str | None,
    build: Build | None,
    details: Details,
) -> Report:
    """Tell of recordings in which no sound of ours plays."""
    _hold_count(wanted, recordings)
    draft = Draft(_place(at, wanted, build), build, details)
    _SAID_BARE[wanted.id](draft, recordings)
    return draft.report(names=[each.name for each in recordings], test=wanted.id)


def _of_curves(
    curves: Sequence[Curve],
    recordings: Sequence[Recording],
    *,
    test: str | None,
    at: str | None,
    build: Build | None,
    details: Details,
) -> Report:
    """Tell of one curve that was measured elsewhere."""
    if len(curves) > 1 or recordings:
        raise BadInputError(
            f"listen: found {len(curves) + len(recordings)} files, a curve among them; a curve "
            "comes alone"
        )
    (curve,) = curves
    kind = {"impedance": "impedance-sweep", "level": "side-response"}[curve.kind]
    wanted = recorded_test(test or kind)
    draft = Draft(_place(at, wanted, build), build, details)
    draft.sentences.append(f"A curve of {curve.frequency.size} points, taken as {curve.kind}.")
    draft.verdict("curve", Severity.NOTE, _sentence(f"{curve.name}: {curve.reason}"))
    if wanted.id == "impedance-sweep":
        try:
            impedance_of_curve(draft, curve)
        except OutOfRangeError as error:
            raise BadInputError(f"{curve.name}: {error}") from None
    elif wanted.id == "side-response":
        draft.curve("level", curve.frequency, curve.magnitude, quantity="level", unit="dB")
    else:
        raise BadInputError(
            f'as: found "{wanted.id}" for a curve; impedance-sweep or side-response is allowed'
        )
    return draft.report(names=[curve.name], test=wanted.id)


def _place(at: str | None, wanted: RecordedTest | None, build: Build | None) -> str:
    """Return where a test was done; raises BadInputError for a place that the job does not have."""
    kinds = wanted.at if wanted is not None else ()
    if at is None:
        return "vehicle" if kinds == ("vehicle",) else "recording"
    if build is None:
        return at
    names = places_for(wanted, build)
    if at not in names:
        raise BadInputError(f'at: found "{at}"; {known_names(at, names)}')
    return at


def places_for(wanted: RecordedTest | None, build: Build) -> list[str]:
    """Return where a test can be done in a vehicle; without a test, every place there is."""
    known = {
        "seat": [seat.id for seat in build.seats],
        "location": [*(p.id for p in build.locations), *(d.id for d in build.job.drivers)],
        "channel": [channel.id for channel in build.channels],
        "pair": ["front", "rear"],
        "vehicle": ["vehicle"],
    }
    kinds = wanted.at if wanted is not None else ()
    return [name for kind in kinds for name in known[kind]] or [
        *(name for each in known.values() for name in each),
        *GROUPS,
    ]
