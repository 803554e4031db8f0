"""What a practitioner would answer, row by row of common_sense.csv, written before the search was.

A fault without a place stands for that fault anywhere: its odds are those of all its places
together where something leads, and the largest of them where something must stay low. `*` behind
a complaint stands for every corner in turn.
"""

import csv
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from conewright.job.text.parsing import loads
from conewright.job.text.survey import survey_text
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.talk.inquiry import Inquiry, inquire
from conewright.stages.find.talk.planning import Foresight

with (Path(__file__).parent / "common_sense.csv").open(encoding="utf-8", newline="") as file:
    CASES = tuple(csv.DictReader(file))

DOORS, CORNERS = ("door-front", "door-rear"), ("front-left", "front-right", "rear-left")
NEVER = 0.10
"""Odds of a low load that nothing but ignorance speaks for."""

MONO = """
format = 1
[job]
opened = 2026-05-04
[vehicle]
built = 1972
class = "saloon"
[head_unit]
name = "radio as built"
output = "common-ground"
[[channel]]
id = "radio"
load = "dash"
[[location]]
id = "dash"
kind = "dash"
at = ["1.0 m", "0.0 m", "0.8 m"]
driver = "oval"
[[driver]]
id = "oval"
size = "100 mm"
age = "ageing"
"""


def _survey(places: tuple[str, ...], more: str = "", built: str = "2008", **answers: str) -> str:
    given = {"class": "estate", "built": built, **answers} | {f"place:{p}": "on" for p in places}
    text = survey_text(given, today=date(2026, 5, 4), complaints=())
    return text.replace('name = "radio as fitted"', f'name = "radio as fitted"\n{more}')


def _known(front_left: str = "cone", rear_left: str = "door-rl") -> str:
    """Four doors of which the coils are written down, at a radio that is rated."""
    doors = {"fl": (0.9, 0.8), "fr": (0.9, -0.8), "rl": (-0.9, 0.8), "rr": (-0.9, -0.8)}
    lines = ['format = 1\n[job]\nopened = 2026-05-04\n[head_unit]\nname = "radio"']
    lines.append('minimum_load = "4 ohm"')
    for name, (x, y) in doors.items():
        load = rear_left if name == "rl" else f"door-{name}"
        lines.append(f'[[channel]]\nid = "{name}"\nload = "{load}"')
        driver = front_left if name == "fl" else "cone"
        lines.append(_place(f"door-{name}", "door", x, y, driver))
    if "second" in rear_left:
        lines.append(_place("second", "panel", -1.2, 0.8, "cone"))
    for driver, ohms in {"cone": "3.4 ohm", "small-coil": "1.7 ohm"}.items():
        lines.append(f'[[driver]]\nid = "{driver}"\nsize = "165 mm"\nage = "ageing"')
        lines.append(f're = "{ohms}"')
    return "\n".join(lines)


def _place(name: str, kind: str, x: float, y: float, driver: str) -> str:
    return (
        f'[[location]]\nid = "{name}"\nkind = "{kind}"\nat = ["{x} m", "{y} m", "0.3 m"]\n'
        f'driver = "{driver}"'
    )


VEHICLES = {
    "doors": _survey(DOORS),
    "tweeters": _survey((*DOORS, "pillar")),
    "van": _survey(("door-front", "roof"), **{"class": "van"}),
    "dash-shelf": _survey(("dash", "shelf"), built="1985"),
    "new-doors": _survey(DOORS).replace('age = "ageing"', 'age = "new"'),
    "rated-doors": _survey(DOORS, minimum_load="4 ohm"),
    "nothing-works-through-it": _survey(DOORS, "carries = []"),
    "sleeper": _survey(DOORS, 'sleep_current = "120 mA"'),
    "quiet": _survey(DOORS, 'sleep_current = "2 mA"'),
    "mono-1972": MONO,
    "known": _known(),
    "two-ohm": _known(front_left="small-coil"),
    "low": _known(rear_left="door-rl | second"),
}


def _corners() -> Iterator[tuple[dict[str, str], str]]:
    for case in CASES:
        corners = CORNERS if "@*" in case["complaints"] else ("",)
        for corner in corners:
            yield case, corner


@cache
def asked(vehicle: str, complaints: str, readings: str) -> Inquiry:
    told = ", ".join(f'"{text}"' for text in _parts(complaints))
    text = VEHICLES[vehicle].replace("[job]\n", f"[job]\ncomplaints = [{told}]\n", 1)
    text = text.replace("complaints = []\n", "")
    for entry in _parts(readings):
        question, _, said = entry.partition("=")
        test, _, at = question.partition("@")
        text += f'\n[[reading]]\ntest = "{test}"\nat = "{at}"\nvalue = "{said}"\n'
    return inquire(loads(text, "toml").build())


def _parts(cell: str) -> list[str]:
    return [part.strip() for part in cell.split(";") if part.strip()]


def _together(chances: dict[Atom, float]) -> dict[str, float]:
    total: dict[str, float] = {}
    for atom, chance in chances.items():
        total[atom.fault] = total.get(atom.fault, 0.0) + chance
    return total


def _ranked(chances: dict[str, float]) -> list[str]:
    return sorted(chances, key=lambda name: -chances[name])


def _largest(name: str, chances: dict[Atom, float]) -> float:
    held = [chance for atom, chance in chances.items() if name in (atom.id, atom.fault)]
    return max(held, default=0.0)


@pytest.mark.parametrize(
    ("case", "corner"),
    [pytest.param(c, at, id=f"{c['case']} {at}".strip()) for c, at in _corners()],
)
def test_as_a_practitioner_would_answer(case: dict[str, str], corner: str) -> None:
    inquiry = asked(case["vehicle"], case["complaints"].replace("*", corner), case["readings"])
    known = {atom for chain in inquiry.case.chains for atom in chain.known}
    chances = inquiry.chances()
    open_ = {atom: chance for atom, chance in chances.items() if atom not in known}
    by_place = _ranked({atom.id: chance for atom, chance in open_.items()})
    by_kind = _ranked(_together(open_))
    names = _parts(case["first"])
    if names:
        first = (by_place if "@" in names[0] else by_kind)[0]
        computed = {atom.id for atom in known}
        assert first in names or computed & set(names), (first, by_place[:5])
    count, _, near = case["near"].partition(" ")
    for name in _parts(near):
        ranked = by_place if "@" in name else by_kind
        assert name in ranked[: int(count)], (name, ranked[:6])
    for entry in _parts(case["low"]):
        name, _, most = entry.rpartition(" ")
        assert 100.0 * _largest(name, chances) <= float(most), (name, _largest(name, chances))
    for entry in _parts(case["high"]):
        name, _, least = entry.rpartition(" ")
        assert 100.0 * _largest(name, chances) >= float(least), (name, _largest(name, chances))
    for name in _parts(case["absent"]):
        assert name not in {atom.fault for atom in chances}
    questions = {question.test for question in Foresight(inquiry.case).questions}
    assert not questions & set(_parts(case["not_asked"]))


def test_every_row_asks_for_what_there_is() -> None:
    assert len(CASES) >= 40
    assert len({case["case"] for case in CASES}) == len(CASES)
    for case in CASES:
        assert case["vehicle"] in VEHICLES
        assert case["source"] == "common practice, no source"
        cells = [case["first"], case["near"].partition(" ")[2], case["absent"]]
        for name in (name for cell in cells for name in _parts(cell)):
            assert trade.fault(name.partition("@")[0]).id == name.partition("@")[0]
        for entry in (*_parts(case["low"]), *_parts(case["high"])):
            assert trade.fault(entry.rpartition(" ")[0].partition("@")[0])
        for test in _parts(case["not_asked"]):
            assert trade.test(test).id == test


@pytest.mark.parametrize("complaint", [complaint.id for complaint in trade.complaints()])
@pytest.mark.parametrize("vehicle", ["doors", "tweeters", "van", "dash-shelf"])
def test_no_load_is_low_from_ignorance_alone(vehicle: str, complaint: str) -> None:
    # Common practice, no source: a driver whose ohms nobody knows is no reason to suspect its ohms.
    for corner in ("", "@front", "@right", *(f"@{corner}" for corner in CORNERS)):
        chances = asked(vehicle, f"{complaint}{corner}", "").chances()
        assert _largest("load-too-low", chances) <= NEVER, corner
