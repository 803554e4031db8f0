"""Choices of whole plans: worked out in processes of their own, and kept.

A choice depends on the text of the job, with its wishes and limits in it, on the catalogue and on
how it is searched; it is kept by these. It may take many seconds, and so has workers that nobody
waits for who asks anything else.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING

from conewright.catalogue.lists.listing import invented_catalogue
from conewright.catalogue.offer import Offer
from conewright.data_files import data_text
from conewright.stages.choose.finals.plan_answers import Choice
from conewright.store.errors import NotFound
from conewright.web.base.settings import Settings
from conewright.web.desk.cache import Kept
from conewright.web.desk.waiting import WaitingRoom
from conewright.web.desk.workers import Task, Workers, in_turn

if TYPE_CHECKING:
    from collections.abc import Callable

    from conewright.store import Store
    from conewright.web.desk.reading import Reading

__all__ = ["INVENTED", "ChoiceAnswer", "Choosing", "Manner", "Offered", "offered", "offers"]

INVENTED = "invented"
"""What the catalogue is called that comes with the program."""
VERSION = "@"
"""What stands between the name of a kept catalogue and its version."""


@dataclass(frozen=True, slots=True)
class Offered:
    """A catalogue to choose from, by what names it; `version` is None for the invented parts."""

    name: str
    version: int | None
    sha256: str
    parts: int

    @property
    def key(self) -> str:
        """The catalogue as an address names it: `invented`, or `wholesale@3`."""
        return self.name if self.version is None else f"{self.name}{VERSION}{self.version}"

    @property
    def words(self) -> str:
        """The catalogue as people read it."""
        told = "for trying out" if self.version is None else f"version {self.version}"
        return f"{self.name}, {told} ({self.parts:,} parts)"


@dataclass(frozen=True, slots=True)
class Manner:
    """How it is chosen, besides the wishes and limits that the job holds.

    unmeasured: whether parts go where nobody measured, to be measured first. sure: whether the
    limit of money holds at the high end. gap: points within which the best is proved. trust:
    whether figures that nobody measured get a spread by their source.
    """

    unmeasured: bool = False
    sure: bool = False
    gap: float = 0.0
    trust: bool = False


@dataclass(frozen=True, slots=True)
class ChoiceAnswer:
    """A choice, and the same as JSON with a tag that changes when the JSON does."""

    choice: Choice
    json: bytes
    etag: str


def offers(store: Store) -> tuple[Offered, ...]:
    """Return what can be chosen from: the newest of every kept catalogue, the invented parts."""
    kept = (Offered(note.name, note.number, note.sha256, note.parts) for note in store.catalogues())
    return (*kept, _named(_invented()))


def offered(store: Store, key: str) -> Offered:
    """Return a catalogue by its key; without a version it is the newest; raises NotFound."""
    name, _, number = key.partition(VERSION)
    if key == INVENTED:
        return _named(_invented())
    notes = store.catalogue_versions(name)
    if VERSION not in key:
        return Offered(notes[0].name, notes[0].number, notes[0].sha256, notes[0].parts)
    for note in notes:
        if str(note.number) == number:
            return Offered(note.name, note.number, note.sha256, note.parts)
    raise NotFound(f"{name}: found no version {number[:20]}; the newest is {notes[0].number}")


class Choosing:
    """Chooses whole plans, within a time and a memory, each choice once."""

    def __init__(self, settings: Settings, room: WaitingRoom) -> None:
        self._workers = Workers(
            most=settings.choosers,
            seconds=settings.choosing_seconds,
            memory=settings.computing_memory,
            load=_load,
        )
        # As that of reports, never shut down.
        self._line = ThreadPoolExecutor(settings.choosers, thread_name_prefix="choosing")
        self._room = room
        self._choices: Kept[ChoiceAnswer] = Kept(settings.kept_choices)

    def answer(self, store: Store, text: str, source: Offered, manner: Manner) -> ChoiceAnswer:
        """Return the choice for a job.

        Args:
            store: where the catalogue is kept.
            text: of the job in TOML, saved or not, with the wishes and limits that hold.
            source: the catalogue.
            manner: how it is chosen.

        Raises:
            BadInputError: the job cannot be used, or a limit.
            Refusal: it took too long or too much memory, or too many are asking.
            NotYet: the request that asks is to come again.

        """
        key = (sha256(text.encode()).digest(), source, manner)
        make: Callable[[], ChoiceAnswer] = in_turn(
            lambda: self.work_out(text, _offer(store, source), manner)
        )
        return self._choices.work_out(key, make, line=self._line, room=self._room)

    def work_out(self, text: str, offer: Offer, manner: Manner) -> ChoiceAnswer:
        """Return a choice that is not kept yet; raises as `answer`."""
        made: ChoiceAnswer = self._workers.run(Task(_chosen, (text, offer, manner), {}))
        return made

    def written(
        self, text: str, choice: Choice, plan_id: str, *, reading: Reading
    ) -> tuple[str, str]:
        """Return the text of a job with a plan of a choice as a proposal, and the id of that.

        Raises:
            BadInputError: the text has no place for it.
            Refusal: it took too long, or too many are asking.

        """
        return reading.run(_with_plan, text, choice, plan_id)

    def close(self) -> None:
        """End the workers."""
        self._workers.close()


@cache
def _invented() -> Offer:
    content = data_text("catalogue", "invented.csv").encode()
    return Offer(INVENTED, None, sha256(content).hexdigest(), invented_catalogue().compiled)


def _named(offer: Offer) -> Offered:
    return Offered(offer.name, offer.version, offer.sha256, len(offer.compiled))


def _offer(store: Store, source: Offered) -> Offer:
    if source.version is None:
        return _invented()
    kept = store.catalogue(source.name, source.version)
    return Offer(kept.note.name, kept.note.number, kept.note.sha256, kept.compiled)


def _with_plan(text: str, choice: Choice, plan_id: str) -> tuple[str, str]:
    from conewright.stages.choose.writing import (  # type: ignore[import-not-found,unused-ignore]
        text_with_plan,
    )

    made: tuple[str, str] = text_with_plan(text, "toml", choice, plan_id)
    return made


# --- In the worker ------------------------------------------------------------------------------


def _load() -> Callable[..., Choice]:
    """Return what chooses; to import it takes a second, which no question should wait for."""
    from conewright.stages.choose.stage import (  # type: ignore[import-not-found,unused-ignore]
        choose,
    )

    return choose  # type: ignore[no-any-return,unused-ignore]


def _chosen(text: str, offer: Offer, manner: Manner) -> ChoiceAnswer:
    """Return the choice for a job; its limits are passed on, so that none is taken otherwise."""
    from conewright.job.text.parsing import kept_job

    job = kept_job(text)
    wishes = job.wishes
    choice = _load()(
        job,
        offer,
        money=job.most_money,
        hours=wishes.hours,
        may=wishes.may,
        cut=wishes.cut,
        lead_days=wishes.lead_days,
        seat=wishes.seat,
        **asdict(manner),
    )
    json = choice.model_dump_json().encode()
    return ChoiceAnswer(choice, json, f'"{sha256(json).hexdigest()[:32]}"')
