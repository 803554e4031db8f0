"""The survey that starts a job: the few questions a first answer needs, and the job they make.

What is not answered is left out, for the typical values to fill, or stands in the job with a
spread that says how little is known of it. Positions are those usual for the body type.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from conewright.errors import BadInputError, JobError
from conewright.job.document.document import WEIGHTS
from conewright.job.quantity.size import parse_size
from conewright.job.quantity.values import parse_quantity, with_unit
from conewright.job.text.editing import Refused, found_words, in_words
from conewright.job.text.parsing import kept_job

__all__ = ["BODIES", "MUSTS", "PLACES", "RADIO", "SIDES", "WHERE", "WISHES", "Place", "survey_text"]


@dataclass(frozen=True, slots=True)
class Place:
    """A pair of places where a vehicle may have loudspeakers."""

    key: str
    label: str
    kind: str
    end: str
    size: str
    forward: float
    inward: float
    up: float
    tweeter: bool = False
    more: str = ""
    """What a place of this kind cannot do without, not measured."""


PLACES = (
    Place("door-front", "Front doors", "door", "front", "165 mm", 0.75, 0.0, 0.30),
    Place("pillar", "Front pillars", "pillar", "front", "25 mm", 1.00, 0.05, 0.95, tweeter=True),
    Place("dash", "On the dash", "dash", "front", "87 mm", 1.05, 0.20, 0.80),
    Place("door-rear", "Rear doors", "door", "rear", "130 mm", -0.20, 0.0, 0.30),
    Place("shelf", "Rear shelf or side panels", "shelf", "rear", "130 mm", -1.25, 0.20, 0.75),
    Place(
        *("boot-shelf", "Rear shelf, open to the boot", "boot-shelf", "rear", "165 mm"),
        *(-1.10, 0.25, 0.75),
    ),
    Place(
        *("box", "Closed boxes at the rear", "box", "rear", "165 mm", -0.85, 0.25, 0.40),
        more='cavity = { volume = "8..15..30 L" }',
    ),
    Place(
        *("open", "Boards at the rear, open behind", "open", "rear", "165 mm", -0.95, 0.20, 0.60),
        more='mount = { baffle_width = "300 mm ± 80 mm", baffle_height = "250 mm ± 80 mm" }',
    ),
    Place("roof", "In the roof", "roof", "rear", "100 mm", -0.60, 0.25, 1.20),
)
"""Sizes and positions are workshop experience, from memory; doors stand at half the width."""

BODIES = {
    "compact": ("Small car, hatchback", 0.66),
    "saloon": ("Saloon", 0.70),
    "estate": ("Estate", 0.70),
    "convertible": ("Convertible", 0.68),
    "pickup-cab": ("Pick-up, cab", 0.70),
    "van": ("Van", 0.82),
    "other": ("Something else", 0.70),
}
"""Body types, and half the width at the doors [m]: workshop experience, from memory."""

SIDES = {"l": ("left", 1), "r": ("right", -1)}
RADIO = {
    "supply": ("13.8 V", "voltage"),
    "minimum_load": ("4 ohm", "resistance"),
    "advertised_power": ("50 W", "power"),
}
"""What may be known of the radio, an example of each and its dimension; the first two are usual."""

WISHES = {
    "bass": "More bass",
    "loudness": "Louder without distortion",
    "hands_free": "Hands-free that works",
}
"""What the owner is asked whether it matters, with the words for it."""

MUSTS = {
    "rear sound": "Sound at the rear",
    "camera kept": "The camera",
    "wheel buttons kept": "The buttons at the wheel",
    "parking sounds kept": "The parking sounds",
    "hands-free kept": "Hands-free",
}
"""What the owner is asked whether it must be left, with the words for it."""

EAR, EARS = "0.36 m", {"van": "0.45 m"}
"""How far to the left the driver's head is: workshop experience, from memory."""

TWEETER_CAPACITOR = "4.7 uF"
ENDS, GROUPS = ("front", "rear"), {"left": "the left", "right": "the right"}
TRUE_SPREAD = " ± 0.15 m"
"""Of a position that nobody measured: assumed, no source."""


def survey_text(answers: Mapping[str, str], *, today: date, complaints: Collection[str]) -> str:
    """Return the text of the job that a survey makes.

    Args:
        answers: `class`, `title`, `built`, `notes`, the fields of RADIO, `place:<key>` and
            `size:<key>` of PLACES, `complaint:<id>` and `where:<id>` of WHERE, `must:<key>` of
            MUSTS, all as typed.
        today: the day the job is taken in.
        complaints: ids of all that an owner may report, in their order.

    Raises:
        Refused: with words beside every answer that cannot be used.

    """
    typed = {name: value.strip() for name, value in answers.items() if value.strip()}
    given = {name: _with_unit(name, value) for name, value in typed.items()}
    _hold_answers(given)
    text = "\n".join(_lines(given, today, complaints))
    try:
        kept_job(text).build()
    except JobError as error:
        raise _refused(error, given) from None
    return text


def _with_unit(name: str, text: str) -> str:
    """Return an answer with the unit of the example that its field shows, where it has none."""
    if name in RADIO:
        example, dimension = RADIO[name]
        return with_unit(text, dimension=dimension, like=example)
    return f"{text} mm" if name.startswith("size:") and text.isdecimal() else text


def _refused(error: JobError, given: Mapping[str, str]) -> Refused:
    """Return the problems of a job beside the answers that they came from."""
    sizes = {f"driver[{_driver_id(place)}].size": f"size:{place.key}" for place in PLACES}
    beside, others = {}, []
    for problem in error.problems:
        name = sizes.get(problem.path, "")
        if name in given:
            beside[name] = f'Found "{given[name]}": no loudspeaker of that size is known here.'
        else:
            others.append(in_words(str(problem)))
    return Refused(beside, tuple(others))


# --- Checking -----------------------------------------------------------------------------------


def _hold_answers(given: Mapping[str, str]) -> None:
    beside, others = dict(_wrong(given)), tuple(_nowhere(given))
    if beside or others:
        raise Refused(beside, others)


def _wrong(given: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield the name of each answer that cannot be used, with what is wanted."""
    if given.get("class") not in BODIES:
        yield "class", "Choose the body type that comes nearest; it picks the typical cabin."
    if not _places(given):
        yield "places", "Choose at least one place that has loudspeakers."
    for name in (f"size:{place.key}" for place in PLACES):
        if name in given:
            try:
                parse_size(given[name])
            except BadInputError as error:
                yield name, found_words(f'"{given[name]}"', str(error))
    for name, (_, dimension) in RADIO.items():
        if name in given and (problem := _refusal(given[name], dimension)):
            yield name, problem
    for name in WISHES:
        if name in given and given[name] not in WEIGHTS:
            yield name, f'Found "{given[name]}": one of {", ".join(WEIGHTS)} is wanted.'
    if "money" in given and _money(given["money"]) is None:
        yield "money", f'Found "{given["money"]}": an amount like 180 is wanted.'
    built = given.get("built", "")
    if built and not (built.isascii() and built.isdecimal() and 1900 <= int(built) <= 2100):
        yield "built", f'Found "{built}": a year like 2009 is wanted.'


def _nowhere(given: Mapping[str, str]) -> Iterator[str]:
    """Yield what is wrong with complaints of loudspeakers that are not there."""
    there = {_id(place, letter) for place in _places(given) for letter in SIDES}
    names = {_id(place, letter) for place in PLACES for letter in SIDES}
    for name, where in given.items():
        told = name.startswith("where:") and f"complaint:{name[6:]}" in given
        if told and where in names - there:
            yield (
                f"Something is wrong at one place, {WHERE[where]}, but no loudspeakers were chosen "
                "there: choose them above, or another place."
            )


def _money(text: str) -> float | None:
    """Return an amount, with a decimal comma or point; None for what is none."""
    found = re.fullmatch(r"[0-9]{1,7}(?:[.,][0-9]{1,2})?", text)
    return float(text.replace(",", ".")) if found else None


def _places(given: Mapping[str, str]) -> list[Place]:
    """Return the places that are ticked, or whose size somebody gave."""
    return [
        place for place in PLACES if f"place:{place.key}" in given or f"size:{place.key}" in given
    ]


def _refusal(text: str, dimension: str) -> str:
    try:
        parse_quantity(text, dimension=dimension, positive=True)
    except BadInputError as error:
        return found_words(f'"{text}"', str(error))
    return ""


# --- Writing ------------------------------------------------------------------------------------


def _lines(given: Mapping[str, str], today: date, complaints: Collection[str]) -> Iterator[str]:
    body, width = given["class"], BODIES[given["class"]][1]
    places = _places(given)
    yield "# Started from the survey. What nobody said is filled with typical values, and every"
    yield "# answer says which of them it leans on. Replace them by what you measure."
    yield "format = 1"
    yield from _about(given, body, today, complaints)
    yield from _wishes(given)
    yield from ("", "[vehicle]")
    if "built" in given:
        yield f"built = {int(given['built'])}"
    yield f'class = "{body}"'
    yield from ("", "[[seat]]", 'id = "driver"')
    ear = (f"{each}{TRUE_SPREAD}" for each in ("0.15 m", EARS.get(body, EAR), "1.05 m"))
    yield f"ear = [{', '.join(map(_text, ear))}]  # typical, not measured"
    yield from ("", "[head_unit]", 'name = "radio as fitted"')
    yield from (f"{name} = {_text(given[name])}" for name in RADIO if name in given)
    for end in ENDS:
        yield from _channels(end, [place for place in places if place.end == end])
    for place in places:
        yield from _locations(place, width)
    for place in places:
        yield from _driver(place, given)
    yield ""


def _wishes(given: Mapping[str, str]) -> Iterator[str]:
    money = _money(given.get("money", ""))
    said = [f"{name} = {_text(given[name])}" for name in WISHES if name in given]
    said += [] if money is None else [f"money = {money:g}"]
    must = [_text(name) for name in MUSTS if f"must:{name}" in given]
    said += [f"must = [{', '.join(must)}]"] if must else []
    if said:
        yield from ("", "[wishes]", *said)


def _about(
    given: Mapping[str, str], body: str, today: date, complaints: Collection[str]
) -> Iterator[str]:
    yield from ("", "[job]")
    title = given.get("title") or f"{BODIES[body][0]}, taken in on {today.isoformat()}"
    yield f"title = {_text(title)}"
    yield f"opened = {today.isoformat()}"
    said = [
        f"{name}@{where}" if (where := given.get(f"where:{name}")) in WHERE else name
        for name in complaints
        if f"complaint:{name}" in given
    ]
    if said:
        yield f"complaints = [{', '.join(map(_text, said))}]"
    if "notes" in given:
        yield f"notes = {_text(given['notes'])}"


def _channels(end: str, places: list[Place]) -> Iterator[str]:
    """Yield the two channels of one end; places that share them hang in parallel."""
    if not places:
        return
    for letter, (side, _) in SIDES.items():
        parts = [_branch(place, letter, alone=len(places) == 1) for place in places]
        yield from ("", "[[channel]]", f'id = "{end}-{side}"')
        note = "  # assumed: read the pair at the radio plug" if len(places) > 1 else ""
        yield f'load = "{" | ".join(parts)}"{note}'


def _branch(place: Place, letter: str, *, alone: bool) -> str:
    """Return a place as it hangs on its channel: a tweeter beside others behind its capacitor."""
    id = _id(place, letter)
    if not place.tweeter:
        return id
    series = f"{TWEETER_CAPACITOR} + {id}"
    return series if alone else f"({series})"


def _locations(place: Place, width: float) -> Iterator[str]:
    for letter, (side, sign) in SIDES.items():
        across = sign * (width - place.inward)
        yield from ("", "[[location]]", f'id = "{_id(place, letter)}"')
        yield f'name = "{_name(place, side)}"'
        if letter == "l":
            yield f'kind = "{place.kind}"'
            yield f'driver = "{_driver_id(place)}"'
            if place.more:
                yield f"{place.more}  # usual, not measured"
        else:
            yield f'like = "{_id(place, "l")}"'
        at = (f"{each:.2f} m{TRUE_SPREAD}" for each in (place.forward, across, place.up))
        yield f"at = [{', '.join(map(_text, at))}]  # typical, not measured"


def _driver(place: Place, given: Mapping[str, str]) -> Iterator[str]:
    size = given.get(f"size:{place.key}")
    yield from ("", "[[driver]]", f'id = "{_driver_id(place)}"')
    yield f'name = "{place.label.lower()}, as found"'
    note = "" if size else "  # typical for this place, not measured"
    yield f"size = {_text(size or place.size)}{note}"
    yield 'age = "ageing"'


def _id(place: Place, letter: str) -> str:
    return f"{place.key}-{letter}"


def _driver_id(place: Place) -> str:
    return f"fitted-{place.key}"


def _name(place: Place, side: str) -> str:
    words = {
        "door-front": f"front {side} door",
        "pillar": f"front {side} pillar",
        "dash": f"dash, {side}",
        "door-rear": f"rear {side} door",
        "shelf": f"rear shelf, {side}",
        "boot-shelf": f"shelf over the boot, {side}",
        "box": f"box at the rear, {side}",
        "open": f"board at the rear, {side}",
        "roof": f"roof, {side}",
    }
    return words[place.key]


def _where() -> Iterator[tuple[str, str]]:
    """Yield what an owner may point at, wide places before narrow ones, and the words for it."""
    for end in ENDS:
        yield end, f"the {end}"
    yield from GROUPS.items()
    for end in ENDS:
        for side, _ in SIDES.values():
            yield f"{end}-{side}", f"{end} {side}"
    for place in PLACES:
        for letter, (side, _) in SIDES.items():
            yield _id(place, letter), _name(place, side)


WHERE = dict(_where())
"""What an owner may point at: an end, a side, a corner, or one loudspeaker; with words for it."""


def _text(value: Iterable[str] | str) -> str:
    """Return a text as TOML writes it; the escapes of a JSON text are those of TOML as well."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
