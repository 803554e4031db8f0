"""What is asked of a choice, as an address and a form carry it: catalogue, wishes, limits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from conewright.job.document.document import WEIGHTS
from conewright.job.text.editing import Refused, with_values
from conewright.job.text.labels import Part, fields_of, plain_value, written
from conewright.stages.compare.wishes import SPAN, UNASKED
from conewright.web.desk.choosing import INVENTED
from conewright.web.desk.waiting import once

if TYPE_CHECKING:
    from conewright.job.builds.job import Job
    from conewright.web.desk.reading import Reading

__all__ = [
    "FIELDS",
    "KNOBS",
    "WISHES",
    "Limits",
    "changed_wishes",
    "limits_in",
    "limits_of",
    "text_with",
]

KNOBS: Mapping[str, str] = {
    "driver": "Loudspeakers",
    "ring": "Rings that seal them to the trim",
    "cover": "Holes of a door covered",
    "polarity": "Which way round they are connected",
    "wiring": "In series or parallel",
    "capacitor": "Capacitors",
    "high-pass": "Bass filter of the radio",
    "radio": "The radio",
    "amplifier": "An amplifier added",
}
"""What may be changed, with the words for it."""

WISHES = tuple(SPAN)
YES, NO = "yes", "no"
BETWEEN = ","
"""What stands between several values of one name in an address."""
LEAST = next(iter(WEIGHTS))
FIELDS = ("money", "hours", "lead_days", "seat", *WISHES)
"""What an address carries as a text of its own, by its name in `[wishes]`."""
PATHS = {name: f"wishes.{name}" for name in (*FIELDS, "may", "cut")}


@dataclass(frozen=True, slots=True)
class Limits:
    """What is asked: texts as typed, one for each name of an address, and the catalogue's key.

    catalogue: key of the catalogue. wishes: by the name of a wish or limit, as typed. may: what
    may be changed. cut: whether panels may be cut. unmeasured: whether parts go where nobody
    measured.
    """

    catalogue: str
    wishes: Mapping[str, str]
    may: tuple[str, ...]
    cut: bool
    unmeasured: bool

    @property
    def query(self) -> dict[str, str]:
        """The limits as an address carries them, all of them, so that it says the same later."""
        return {
            "catalogue": self.catalogue,
            **{name: self.wishes.get(name, "") for name in FIELDS},
            "may": BETWEEN.join(self.may),
            "cut": YES if self.cut else NO,
            "unmeasured": YES if self.unmeasured else NO,
        }


def limits_of(job: Job, *, catalogue: str = INVENTED) -> Limits:
    """Return what a job asks for by itself; where it asks for nothing, what is usual stands in."""
    wishes = job.wishes
    words = {name: getattr(wishes, name) or LEAST for name in WISHES}
    if not wishes.weights:
        usual = {weight: word for word, weight in WEIGHTS.items()}
        words |= {name: usual[weight] for name, weight in UNASKED.items()}
    return Limits(
        catalogue=catalogue,
        wishes={
            "money": written(job.most_money),
            "hours": written(wishes.hours),
            "lead_days": written(wishes.lead_days),
            "seat": wishes.seat or job.seats[0].id if job.seats else "",
            **words,
        },
        may=tuple(KNOBS) if wishes.may is None else wishes.may,
        cut=bool(wishes.cut),
        unmeasured=False,
    )


def limits_in(pairs: Iterable[tuple[str, str]], known: Limits) -> Limits | None:
    """Return what an address or a form asks for; None where it asks for nothing.

    Args:
        pairs: its names and values; a name may come several times.
        known: what counts where it does not say.

    """
    given: dict[str, list[str]] = {}
    for name, value in pairs:
        if name in known.query:
            given.setdefault(name, []).append(value.strip())
    if not given:
        return None
    last = {name: values[-1] for name, values in given.items()}
    may = known.may
    if "may" in given:
        named = (each.strip() for value in given["may"] for each in value.split(BETWEEN))
        may = tuple(dict.fromkeys(filter(None, named)))
    return Limits(
        catalogue=last.get("catalogue") or known.catalogue,
        wishes={name: last.get(name, known.wishes[name]) for name in FIELDS},
        may=may,
        cut=last["cut"] == YES if "cut" in last else known.cut,
        unmeasured=last["unmeasured"] == YES if "unmeasured" in last else known.unmeasured,
    )


def changed_wishes(job: Job, limits: Limits) -> dict[str, object]:
    """Return the fields of `[wishes]`, by path, in which limits differ from what the job says."""
    own = limits_of(job).query
    fields = {field.path: field for field in fields_of(Part("wishes", "wishes", ""))}
    changed: dict[str, object] = {
        PATHS[name]: plain_value(fields[PATHS[name]], text)
        for name, text in limits.wishes.items()
        if text != own[name] or (name in WISHES and _put_in(job, name))
    }
    if set(limits.may) != set(own["may"].split(BETWEEN)):
        changed[PATHS["may"]] = _may(limits.may)
    if limits.cut != bool(job.wishes.cut):
        changed[PATHS["cut"]] = limits.cut
    return changed


def _put_in(job: Job, name: str) -> bool:
    """Whether a wish stands in a form that the job has not."""
    return not job.wishes.weights and name in UNASKED


def _may(knobs: tuple[str, ...]) -> list[str] | None:
    """Return what may be changed as a job file says it: nothing where it is anything."""
    if set(knobs) == set(KNOBS):
        return None
    order = list(KNOBS)
    return sorted(knobs, key=lambda knob: order.index(knob) if knob in order else len(order))


def text_with(text: str, job: Job, limits: Limits, reading: Reading) -> str:
    """Return the text of a job with what is asked in its wishes.

    Raises:
        Refused: it cannot be asked so; what is wrong is named as an address names it.
        Refusal: it took too long, or too many are asking.

    """
    if not limits.may:
        raise Refused({"may": "Nothing may be changed: choose what may."}, ())
    changed = changed_wishes(job, limits)
    if not changed:
        return text
    edit = partial(reading.run, with_values, text, changed)
    try:
        return once((text, str(changed)), edit)
    except Refused as refused:
        beside = {path.partition(".")[2]: words for path, words in refused.beside.items()}
        raise Refused(beside, refused.others) from None
