"""Writing what one starts from: a job from the survey, a shop's own tables, the test sounds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from shlex import quote

from conewright.cli.base.files import folder, write_texts
from conewright.errors import BadInputError
from conewright.job.document.paths import known_names
from conewright.job.text.editing import Refused
from conewright.job.text.survey import answer_names, survey_text
from conewright.phrases import listed
from conewright.stages.find.faults.shop import VARIABLE
from conewright.stages.find.faults.trade import table_texts, words_of_complaints

__all__ = ["surveyed", "write_sounds", "write_tables"]

WIDTH, INDENT = 80, "  "


def surveyed(answers: Sequence[str]) -> str:
    """Return the text of the job that answers to the survey make.

    Args: answers: each as `name=text`; a name alone is ticked.
    Raises: BadInputError: an answer that nobody asks for, or that cannot be used.
    """
    complaints = tuple(words_of_complaints())
    given = {name: text if equals else "on" for name, equals, text in map(_parted, answers)}
    known = answer_names(complaints)
    for name in given:
        if name not in known:
            raise BadInputError(
                f'--answer: found "{name}"; {known_names(name, known)}\nThe survey asks for: '
                f"{', '.join(known)}"
            )
    try:
        return survey_text(given, today=date.today(), complaints=complaints)
    except Refused as refused:
        told = [f"--answer {name}: {text}" for name, text in refused.beside.items()]
        raise BadInputError("\n".join([*told, *refused.others])) from None


def _parted(answer: str) -> tuple[str, str, str]:
    name, equals, text = answer.partition("=")
    return name.strip(), equals, text


def write_tables(place: Path, *, force: bool) -> str:
    """Write every table into a folder; returns what to do with them.

    Raises:
        BadInputError: a file is there already and not forced, or cannot be written.

    """
    out = folder(place)
    write_texts({out / name: text for name, text in table_texts().items()}, force=force)
    return (
        f"{out} holds the tables. Put your own counts in and delete the files that stay as they\n"
        f"are, then: export {VARIABLE}={quote(str(out.resolve()))}\n"
    )


def write_sounds(
    place: Path, *, only: str | None, side: str, loudspeakers_unplugged: bool, force: bool
) -> str:
    """Write the test sounds into a folder; returns what each is for and how loud it may be.

    Raises:
        BadInputError: as `sounds`.

    """
    from conewright.sound.played.sounds import SOUNDS, UNPLUGGED
    from conewright.sound.played.wav import sounds
    from conewright.views.layout import paragraph

    *_, card = sounds(
        place,
        only=only,
        side=side,
        loudspeakers_unplugged=loudspeakers_unplugged,
        force=force,
    )
    texts = [line for line in card.read_text(encoding="utf-8").splitlines() if line]
    if only is None and not loudspeakers_unplugged:
        left = [sound.name for sound in SOUNDS.values() if sound.unplugged]
        texts.append(f"Not written: {listed(left)}. {UNPLUGGED} Then: --loudspeakers-unplugged")
    folded = (paragraph(text, width=WIDTH, rest=INDENT) for text in (*texts, f"Folder: {place}"))
    return "".join(f"{line}\n" for lines in folded for line in lines)
