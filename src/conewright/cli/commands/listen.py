"""Playing and listening: one test sound as a file, and what recordings hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from conewright.cli.base.case import answer, naming
from conewright.cli.base.console import say
from conewright.cli.base.files import read_bytes
from conewright.cli.base.kept import open_job, write_text
from conewright.errors import BadInputError
from conewright.job.builds.states.build import Build
from conewright.job.text.job_file import JobFile
from conewright.phrases import listed
from conewright.sound.measured.curves import Curve
from conewright.sound.recorded.recording import Recording
from conewright.stages.find.checked import hold_entries
from conewright.stages.prove.stage import heard_in, is_usable, listen
from conewright.stages.prove.written import with_heard
from conewright.stages.report.data import Report
from conewright.views.layout import paragraph

__all__ = ["heard", "play"]

WIDTH = 80


def play(name: str, *, side: str, out: Path | None, unplugged: bool, force: bool) -> str:
    """Write one test sound into a file; return what is said of it.

    Raises:
        BadInputError: no such sound or side of it, nobody said that loudspeakers are unplugged
            where it reaches full scale, or the file cannot be written.

    """
    from conewright.sound.played.sounds import LIMIT, SOUNDS
    from conewright.sound.played.wav import file_name, wav_bytes
    from conewright.whole_file import write_new, write_whole

    content = wav_bytes(name, side=side, loudspeakers_unplugged=unplugged)
    file = out or Path(file_name(name, side))
    (write_whole if force else write_new)({file: content})
    sound = SOUNDS[name]
    told = (
        f"{file}: {sound.title}, {sound.length}, peak {sound.peak:g} dB of full scale.",
        sound.heard,
        f"Loudest: {sound.safe}",
        LIMIT,
    )
    return "\n".join(line for text in told for line in paragraph(text, width=WIDTH)) + "\n"


def heard(
    files: Sequence[Path],
    *,
    test: str | None,
    at: str | None,
    job: Path | None,
    details: Sequence[str],
    when: str,
    keep: bool,
    json: bool,
    picture: Path | None,
) -> bool:
    """Print what recordings hold; return whether all of them can be used.

    Raises:
        BadInputError: a file, a test, a place or a detail cannot be used.

    """
    if keep and (job is None or at is None):
        raise BadInputError("listen: found --keep; it wants --job JOB and --at ID with it")
    if when and not keep:
        raise BadInputError("listen: found --when; it goes with --keep only")
    opened = None if job is None else open_job(job)
    build = _built(opened)
    sounds = [heard_in(read_bytes(file), name=file.name) for file in files]
    known = _parted(details)
    report = listen(*sounds, test=test, at=at, build=build, details=known)
    usable = is_usable(report)
    answer(report, json=json, picture=picture)
    if keep and usable:
        assert opened is not None
        assert at is not None
        _keep(opened, files, sounds, report, at=at, when=when, details=known, json=json)
    return usable


def _built(opened: JobFile | None) -> Build | None:
    if opened is None:
        return None
    with naming(opened.path):
        return opened.job.build()


def _parted(details: Sequence[str]) -> Mapping[str, str]:
    """Return details by name; raises BadInputError for one without an equals sign."""
    found = {}
    for text in details:
        name, equals, value = text.partition("=")
        if not (name and equals and value):
            raise BadInputError(f'with: found "{text}"; name=value is wanted, resistor=10 ohm')
        found[name.strip()] = value.strip()
    return found


def _keep(
    opened: JobFile,
    files: Sequence[Path],
    sounds: Sequence[Recording | Curve],
    report: Report,
    *,
    at: str,
    when: str,
    details: Mapping[str, str],
    json: bool,
) -> None:
    """Write recordings and readings into a job, and keep the files beside the jobs."""
    from conewright.job.text.parsing import loads
    from conewright.store.recordings import Recordings

    text = with_heard(
        opened.text,
        opened.format,
        report=report,
        recordings=sounds,
        at=at,
        when=when,
        details=details,
    )
    with naming(opened.path):
        hold_entries(opened.job, loads(text, format=opened.format))
    kept = Recordings.beside()
    for file in files:
        kept.keep(read_bytes(file))
    write_text(opened, text)
    if not json:
        made = [*(f"{each.test}@{each.at}" for each in report.heard)]
        made += [each.path for each in report.values]
        told = listed(made) or "no reading"
        say(f"{opened.path}: kept with {told}. The files are in {kept.folder}.\n")
