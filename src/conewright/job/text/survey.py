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
from typing import NamedTuple

from conewright.errors import BadInputError, JobError
from conewright.job.document.document import WEIGHTS
from conewright.job.document.parts import UNUSED
from conewright.job.quantity.size import parse_size
from conewright.job.quantity.values import parse_quantity, with_unit
from conewright.job.text.editing import Refused, found_words, in_words
from conewright.job.text.parsing import kept_job

__all__ = [
    "AMPLIFIERS",
    "BODIES",
    "ERAS",
    "GROUNDS",
    "MUSTS",
    "OUTPUTS",
    "PLACES",
    "RADIO",
    "SEATS",
    "SIDES",
    "SYSTEMS",
    "WHERE",
    "WIRINGS",
    "WISHES",
    "Place",
    "answer_names",
    "survey_text",
]


@dataclass(frozen=True, slots=True)
class Place:
    """A pair of places where a vehicle may have loudspeakers, or a single one in the middle."""

    key: str
    label: str
    kind: str
    end: str
    size: str
    forward: float
    inward: float
    up: float
    tweeter: bool = False
    single: bool = False
    more: str = ""
    """What a place of this kind cannot do without, not measured."""

    @property
    def letters(self) -> tuple[str, ...]:
        """What tells its loudspeakers apart: `l` and `r`, or nothing where there is but one."""
        return ("",) if self.single else tuple(SIDES)


PLACES = (
    Place("door-front", "Front doors", "door", "front", "165 mm", 0.75, 0.0, 0.30),
    Place("pillar", "Front pillars", "pillar", "front", "25 mm", 1.00, 0.05, 0.95, tweeter=True),
    Place("dash", "On the dash", "dash", "front", "87 mm", 1.05, 0.20, 0.80),
    Place(
        *("dash-centre", "One, in the middle of the dash", "dash", "front", "4x6 in"),
        *(1.05, 0.0, 0.80),
        single=True,
    ),
    Place("door-rear", "Rear doors", "door", "rear", "130 mm", -0.20, 0.0, 0.30),
    Place("shelf", "Rear shelf or side panels", "shelf", "rear", "130 mm", -1.25, 0.20, 0.75),
    Place(
        *("shelf-centre", "One, in the middle of the rear shelf", "shelf", "rear", "6x9 in"),
        *(-1.25, 0.0, 0.75),
        single=True,
    ),
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
    Place(
        *("roof-open", "Boards under the roof, open behind", "open", "rear", "100 mm"),
        *(-0.40, 0.25, 1.15),
        more='mount = { baffle_width = "200 mm ± 60 mm", baffle_height = "200 mm ± 60 mm" }',
    ),
)
"""Sizes and positions are workshop experience, from memory; doors stand at half the width, and what
is said here is for a body of 2.5 m."""


ROOF = 1.20
"""Usual height of a roof's lining [m]; workshop experience, from memory."""


class Body(NamedTuple):
    """A body type: what it is called, and where its places are.

    width: half of it at the doors [m]; front, rear: how far what belongs to that end lies before
    where PLACES and SEATS have it [m]; roof: its height [m]; ear: of the driver, to the left and
    up [m].
    """

    label: str
    width: float
    front: float = 0.0
    rear: float = 0.0
    roof: float = ROOF
    ear: tuple[float, float] = (0.36, 1.05)


BODIES = {
    "compact": Body("Small car, hatchback", 0.66),
    "saloon": Body("Saloon", 0.70),
    "estate": Body("Estate", 0.70),
    "convertible": Body("Convertible", 0.68, rear=0.15, roof=1.10),
    "pickup-cab": Body("Pick-up, cab", 0.70),
    "van": Body("Van", 0.82, ear=(0.45, 1.05)),
    "minibus": Body("Minibus", 0.84, front=0.75, rear=-0.60, roof=1.50, ear=(0.45, 1.15)),
    "camper": Body("Camper van", 0.84, front=0.55, rear=-0.30, roof=1.70, ear=(0.45, 1.15)),
    "motorhome": Body("Motorhome", 1.02, front=1.40, rear=-0.90, roof=1.90, ear=(0.50, 1.15)),
    "work-cab": Body(
        "Cab of a tractor or work machine", 0.62, -0.45, 0.75, roof=1.50, ear=(0.0, 1.20)
    ),
    "other": Body("Something else", 0.70),
}
"""Workshop experience, from memory."""


class Sitting(NamedTuple):
    """A seat besides the driver's: what it is called, at which end, and where its ear is [m]."""

    label: str
    end: str
    forward: float
    left: float
    up: float


SEATS = {
    "passenger": Sitting("Front passenger", "front", 0.15, -0.36, 1.05),
    "rear-seat-left": Sitting("Rear seat, left", "rear", -0.70, 0.36, 1.05),
    "rear-seat-right": Sitting("Rear seat, right", "rear", -0.70, -0.36, 1.05),
    "second-row": Sitting("Second bench row, middle", "rear", -0.20, 0.0, 1.10),
    "third-row": Sitting("Third bench row, middle", "rear", -1.00, 0.0, 1.10),
    "dinette": Sitting("Dinette of a motorhome", "rear", -0.80, 0.55, 1.10),
}
"""Workshop experience, from memory."""

ERAS = {
    "mono": "Volume and tone, one loudspeaker or all alike (mono)",
    "stereo": "Knobs, with balance or fader (cassette)",
    "digital": "Buttons and a menu of settings (disc)",
    "connected": "Hands-free, a screen or data",
}
OUTPUTS = {"mono": "One", "stereo": "Two, left and right", "four": "Four"}
WIRINGS = {"usual": "As usual: each corner an output", "unknown": "Nobody knows yet"}
"""What kind of radio it is, how many outputs it has, and whether it is known what hangs there."""

SYSTEMS = {"6 V": "6 V", "12 V": "12 V", "24 V": "24 V"}
GROUNDS = {"negative": "Minus, as usual", "positive": "Plus"}
"""The vehicle's supply, and the pole of its battery that the body is joined to."""

AMPLIFIERS = {
    "line": "One, fed from the radio's line outputs",
    "outputs": "One, fed from its loudspeaker outputs",
}
"""Whether an amplifier was added, and where its signal comes from."""

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

CHOSEN: Mapping[str, Mapping[str, str]] = {
    "era": ERAS,
    "outputs": OUTPUTS,
    "wiring": WIRINGS,
    "amplifier": AMPLIFIERS,
    "system": SYSTEMS,
    "ground": GROUNDS,
}
"""What is answered with one of a few words."""

AMPLIFIER = "amplifier"
MONO, CENTRE = "mono", "centre"
"""Names of an output that plays left and right alike."""

TWEETER_CAPACITOR = "4.7 uF"
ENDS, GROUPS = ("front", "rear"), {"left": "the left", "right": "the right"}
OLD_FROM = 25
"""Loudspeakers of a vehicle of so many years are old rather than ageing [years]."""

TRUE_SPREAD = " ± 0.15 m"
"""Of a position that nobody measured: assumed, no source."""


def survey_text(answers: Mapping[str, str], *, today: date, complaints: Collection[str]) -> str:
    """Return the text of the job that a survey makes.

    Args:
        answers: `class`, `title`, `built`, `notes`, `era`, `outputs`, `wiring`, `system`,
            `ground`, `amplifier`, the fields of RADIO, `place:<key>`, `size:<key>`,
            `coaxial:<key>` and `amplified:<key>` of PLACES, `seat:<key>` of SEATS,
            `complaint:<id>` and `where:<id>` of WHERE, `must:<key>` of MUSTS, all as typed.
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


def answer_names(complaints: Collection[str]) -> tuple[str, ...]:
    """Return every name that an answer can have; those with a colon are of a table or ticked."""
    plain = ("class", "title", "notes", "built", *CHOSEN, "money")
    keyed = {
        "place": [place.key for place in PLACES],
        "size": [place.key for place in PLACES],
        "coaxial": [place.key for place in PLACES if not place.tweeter],
        "amplified": [place.key for place in PLACES],
        "seat": list(SEATS),
        "complaint": list(complaints),
        "where": list(complaints),
        "must": list(MUSTS),
    }
    listed = (f"{kind}:{key}" for kind, keys in keyed.items() for key in keys)
    return (*plain, *RADIO, *WISHES, *listed)


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
    for name, known in CHOSEN.items():
        if name in given and given[name] not in known:
            yield name, f'Found "{given[name]}": one of {", ".join(known)} is wanted.'
    if given.get("era") == "mono" and given.get("outputs", "mono") != "mono":
        yield "outputs", "A mono radio has one output; choose that, or another kind of radio."
    if any(name.startswith("amplified:") for name in given) and "amplifier" not in given:
        yield "amplifier", "Say where the amplifier's signal comes from."
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
    there = {_id(place, letter) for place in _places(given) for letter in place.letters}
    names = {_id(place, letter) for place in PLACES for letter in place.letters}
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
        place
        for place in PLACES
        if any(f"{said}:{place.key}" in given for said in ("place", "size", "coaxial", "amplified"))
    ]


def _refusal(text: str, dimension: str) -> str:
    try:
        parse_quantity(text, dimension=dimension, positive=True)
    except BadInputError as error:
        return found_words(f'"{text}"', str(error))
    return ""


# --- Writing ------------------------------------------------------------------------------------


def _lines(given: Mapping[str, str], today: date, complaints: Collection[str]) -> Iterator[str]:
    body, places = BODIES[given["class"]], _places(given)
    yield "# Started from the survey. What nobody said is filled with typical values, and every"
    yield "# answer says which of them it leans on. Replace them by what you measure."
    yield "format = 1"
    yield from _about(given, today, complaints)
    yield from _wishes(given)
    yield from ("", "[vehicle]")
    if "built" in given:
        yield f"built = {int(given['built'])}"
    yield f'class = "{given["class"]}"'
    yield from (f"{name} = {_text(given[name])}" for name in ("system", "ground") if name in given)
    yield from _seats(given, body)
    yield from ("", "[head_unit]", 'name = "radio as fitted"')
    yield from (f"{name} = {_text(given[name])}" for name in ("era", *RADIO) if name in given)
    if "amplifier" in given:
        yield from ("", "[[amplifier]]", f'id = "{AMPLIFIER}"', 'name = "amplifier as fitted"')
    yield from _channels(given, places)
    for place in places:
        yield from _locations(place, body)
    for place in places:
        yield from _driver(place, given, today)
    yield ""


def _seats(given: Mapping[str, str], body: Body) -> Iterator[str]:
    left, up = body.ear
    ears = {"driver": (0.15 + body.front, left, up)}
    for key, seat in SEATS.items():
        if f"seat:{key}" in given:
            ears[key] = (seat.forward + _shift(body, seat.end), seat.left, seat.up)
    for key, ear in ears.items():
        yield from ("", "[[seat]]", f'id = "{key}"')
        yield f"ear = [{_spread_out(ear)}]  # typical, not measured"


def _shift(body: Body, end: str) -> float:
    return body.front if end == "front" else body.rear


def _spread_out(at: Iterable[float]) -> str:
    """Return a place that nobody measured."""
    return ", ".join(_text(f"{each:.2f} m{TRUE_SPREAD}") for each in at)


def _wishes(given: Mapping[str, str]) -> Iterator[str]:
    money = _money(given.get("money", ""))
    said = [f"{name} = {_text(given[name])}" for name in WISHES if name in given]
    said += [] if money is None else [f"money = {money:g}"]
    must = [_text(name) for name in MUSTS if f"must:{name}" in given]
    said += [f"must = [{', '.join(must)}]"] if must else []
    if said:
        yield from ("", "[wishes]", *said)


def _about(given: Mapping[str, str], today: date, complaints: Collection[str]) -> Iterator[str]:
    yield from ("", "[job]")
    title = given.get("title") or f"{BODIES[given['class']].label}, taken in on {today.isoformat()}"
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


Drives = list[tuple[Place, str]]


def _channels(given: Mapping[str, str], places: list[Place]) -> Iterator[str]:
    """Yield the outputs of the radio; places that share one hang in parallel."""
    behind = _amplified(given, places)
    for name, drives in _outputs(given, places).items():
        yield from ("", "[[channel]]", f'id = "{name}"')
        yield from _load(given, [each for each in drives if each[0] not in behind])
        if name == CENTRE:
            yield 'signal = "sum"  # of left and right, as a single loudspeaker in the middle plays'
        if amplified := [each for each in drives if each[0] in behind]:
            fed = "line" if given["amplifier"] == "line" else name
            yield from ("", "[[channel]]", f'id = "{name}-{AMPLIFIER}"')
            yield from (f'driven_by = "{AMPLIFIER}"', f'input = "{fed}"')
            yield from _load(given, amplified)


def _amplified(given: Mapping[str, str], places: list[Place]) -> list[Place]:
    """Return the places that an amplifier drives: those that are ticked, all where none is."""
    if "amplifier" not in given:
        return []
    return [place for place in places if f"amplified:{place.key}" in given] or places


def _load(given: Mapping[str, str], drives: Drives) -> Iterator[str]:
    parts = [_branch(place, letter, alone=len(drives) == 1) for place, letter in drives]
    note = "  # assumed: read the pair at its plug" if len(parts) > 1 else ""
    if not parts:
        yield f'load = "{UNUSED}"'
    elif given.get("wiring") == "unknown":
        yield 'load = "unknown"'
    else:
        yield f'load = "{" | ".join(parts)}"{note}'


def _outputs(given: Mapping[str, str], places: list[Place]) -> dict[str, Drives]:
    """Return what each output of the radio drives, by its name."""
    pairs = [place for place in places if not place.single]
    middle: Drives = [(place, "") for place in places if place.single]
    mono = "mono" if given.get("era") == "mono" or not pairs else "four"
    kind = given.get("outputs", mono)
    if kind == "mono":
        return {MONO: [*((p, letter) for p in pairs for letter in p.letters), *middle]}
    ends = {"": pairs} if kind == "stereo" else _ends(pairs, every="outputs" in given)
    found: dict[str, Drives] = {
        f"{end}{side}": [(place, letter) for place in here]
        for end, here in ends.items()
        for letter, (side, _) in SIDES.items()
    }
    return found | ({CENTRE: middle} if middle else {})


def _ends(pairs: list[Place], *, every: bool) -> dict[str, list[Place]]:
    """Return the places of each end; one without any only where its outputs are known to be."""
    ends = {f"{end}-": [place for place in pairs if place.end == end] for end in ENDS}
    return {end: here for end, here in ends.items() if here or every}


def _branch(place: Place, letter: str, *, alone: bool) -> str:
    """Return a place as it hangs on its channel: a tweeter beside others behind its capacitor."""
    id = _id(place, letter)
    if not place.tweeter:
        return id
    series = f"{TWEETER_CAPACITOR} + {id}"
    return series if alone else f"({series})"


def _locations(place: Place, body: Body) -> Iterator[str]:
    for letter in place.letters:
        side, sign = SIDES.get(letter, ("", 0))
        yield from ("", "[[location]]", f'id = "{_id(place, letter)}"')
        yield f'name = "{_name(place, side)}"'
        if letter != "r":
            yield f'kind = "{place.kind}"'
            yield f'driver = "{_driver_id(place)}"'
            if place.more:
                yield f"{place.more}  # usual, not measured"
        else:
            yield f'like = "{_id(place, "l")}"'
        forward = place.forward + _shift(body, place.end)
        # Those at the roof are given for one of the usual height.
        up = place.up + (body.roof - ROOF if place.key.startswith("roof") else 0.0)
        at = _spread_out((forward, sign * (body.width - place.inward), up))
        yield f"at = [{at}]  # typical, not measured"


def _driver(place: Place, given: Mapping[str, str], today: date) -> Iterator[str]:
    size, built = given.get(f"size:{place.key}"), int(given.get("built", today.year))
    yield from ("", "[[driver]]", f'id = "{_driver_id(place)}"')
    called = _name(place, "") if place.single else place.label.lower()
    yield f'name = "{called}, as found"'
    note = "" if size else "  # typical for this place, not measured"
    yield f"size = {_text(size or place.size)}{note}"
    yield f'age = "{"old" if today.year - built >= OLD_FROM else "ageing"}"'
    if f"coaxial:{place.key}" in given and not place.tweeter:
        yield "tweeter = {}  # of a coaxial loudspeaker, on its frame"


def _id(place: Place, letter: str) -> str:
    return f"{place.key}-{letter}" if letter else place.key


def _driver_id(place: Place) -> str:
    return f"fitted-{place.key}"


def _name(place: Place, side: str) -> str:
    words = {
        "door-front": f"front {side} door",
        "pillar": f"front {side} pillar",
        "dash": f"dash, {side}",
        "dash-centre": "middle of the dash",
        "shelf-centre": "middle of the rear shelf",
        "door-rear": f"rear {side} door",
        "shelf": f"rear shelf, {side}",
        "boot-shelf": f"shelf over the boot, {side}",
        "box": f"box at the rear, {side}",
        "open": f"board at the rear, {side}",
        "roof": f"roof, {side}",
        "roof-open": f"board under the roof, {side}",
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
        for letter in place.letters:
            yield _id(place, letter), _name(place, SIDES.get(letter, ("", 0))[0])


WHERE = dict(_where())
"""What an owner may point at: an end, a side, a corner, or one loudspeaker; with words for it."""


def _text(value: Iterable[str] | str) -> str:
    """Return a text as TOML writes it; the escapes of a JSON text are those of TOML as well."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
