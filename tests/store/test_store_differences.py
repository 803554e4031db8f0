"""What changed, in words: every changed field is named, and nothing else is."""

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
import tomlkit
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from small_texts import small_job

from conewright import JobError, demo_text, loads
from conewright.job.text.differences import LAYOUT_ONLY, compare, in_a_note

DEMO = demo_text()
TELLS_APART = {
    ("reading", "test"),
    ("reading", "at"),
    ("sheet", "material"),
    ("sheet", "thickness"),
}
READING = '[[reading]]\ntest = "cell-pulse"\nat = "door-fr"\nvalue = "inward"\n'
ROOF = 'id = "roof-rr"\nname = "rear right roof lining"'


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'land = "20 mm"',
            'land = "18 mm"',
            ["rear left side panel, rear right side panel: land 20 mm → 18 mm"],
        ),
        (
            'at = ["0.95 m", "-0.82 m", "0.35 m"]',
            'at = ["0.95 m", "-0.8 m", "0.35 m"]',
            ["front right door: position 0.95 m, -0.82 m, 0.35 m → 0.95 m, -0.8 m, 0.35 m"],
        ),
        ("budget = 180\n", "", ["job: budget 180 taken out"]),
        ('name = "25 mm dome, as built"\n', "", ["driver old-tweeter: name 25 mm dome, as built"]),
        ("price = 84", "price = 84.5", ["driver deep-165: price 84 → 84.5"]),
        (
            'capacity = "70 Ah", health = 0.7',
            'capacity = "70 Ah", health = 0.6',
            ["vehicle: battery health 0.7 → 0.6"],
        ),
        ('dash = "50 degC"', 'dash = "55 degC"', ["radio: thermal dash 50 degC → 55 degC"]),
        (
            'load = "-door-fr | (4.7 uF + pillar-fr)"',
            'load = "door-fr | (4.7 uF + pillar-fr)"',
            ["channel front-right: load -door-fr | (4.7 uF + pillar-fr) → door-fr | (4.7 uF + pil"],
        ),
        ('value = "inward"', 'value = "outward"', ["reading cell-pulse at door-fr: inward → outw"]),
        (READING, "", ["reading cell-pulse at door-fr: taken out: inward"]),
        (
            'thickness = "6 mm"\nsize = ["600 mm"',
            'thickness = "6 mm"\nsize = ["900 mm"',
            ["sheet fibreboard at 6 mm: size 600 mm, 400 mm → 900 mm, 400 mm"],
        ),
        (
            READING,
            READING + READING.replace("inward", "outward"),
            ["reading cell-pulse at door-fr (no. 2): added: outward"],
        ),
        (
            '"door-f?.driver" = "slim-130"\n"door-f?.mount.ring" = true',
            '"door-f?.driver" = "slim-130"\n"door-f?.mount.ring" = false',
            ["proposal slim-fronts: door-f?.mount.ring yes → no"],
        ),
        ('id = "larger-fronts"', 'id = "huge"', ["proposal larger-fronts: taken out", "huge: add"]),
        (ROOF, ROOF.replace("right", "left"), ["rear right roof lining: name rear right roof li"]),
        ("# A job file", "# The job file", [LAYOUT_ONLY]),
        ('"120 mm"', '"120 mm"', []),
    ],
)
def test_a_change_is_told_in_words(old: str, new: str, said: list[str]) -> None:
    changes = compare(DEMO, DEMO.replace(old, new, 1))
    assert len(changes) == len(said)
    assert [told for told in said if not any(told in change for change in changes)] == []


def test_a_place_that_comes_or_goes_is_told_by_its_name() -> None:
    tables = tomllib.loads(DEMO)
    del tables["location"][-1]
    tables["channel"][-1]["load"] = "side-rr"
    for proposal in tables["proposal"]:
        proposal["set"].pop("rear-right.load", None)
    shorter = tomlkit.dumps(tables)
    assert "rear right roof lining: taken out" in compare(DEMO, shorter)
    assert "rear right roof lining: added" in compare(shorter, DEMO)
    assert "channel rear-right: load side-rr | roof-rr → side-rr" in compare(DEMO, shorter)


def test_wires_and_cables_are_told_by_what_they_do() -> None:
    lead = '[[lead]]\nchannel = "rear-left"\nfunction = "plus"\ncolour = "green"\n'
    live = '[[lead]]\nfunction = "battery"\n'
    cable = '[[feed]]\nid = "amplifier-feed"\nto = "amplifier"\nfuse = "30 A"\n'
    wired = DEMO.replace("[[reading]]", f"{lead}{live}{cable}\n[[reading]]", 1)
    assert compare(DEMO, wired) == (
        "wire plus at rear-left, wire battery, cable amplifier-feed: added",
    )
    assert compare(wired, wired.replace('"green"', '"grey"').replace("30 A", "20 A")) == (
        "wire plus at rear-left: colour green → grey",
        "cable amplifier-feed: fuse 30 A → 20 A",
    )


def test_places_of_the_same_name_are_told_apart() -> None:
    twins = DEMO.replace('"rear right roof lining"', '"rear left roof lining"')
    moved = twins.replace('["-1.30 m", "-0.55 m", "1.85 m"]', '["-1.30 m", "-0.5 m", "1.85 m"]')
    (change,) = compare(twins, moved)
    assert change.startswith("rear left roof lining (roof-rr): position ")


def test_long_texts_that_differ_behind_their_start_are_told_all_the_same() -> None:
    notes = "Fronts were changed two years ago; roof speakers were added for story time."
    (change,) = compare(DEMO, DEMO.replace(notes, notes.replace("story time", "a fair")))
    assert change.startswith("job: notes changed further on: Fronts were changed")
    assert len(change) < 120


def test_a_note_holds_a_few_changes_and_counts_the_others() -> None:
    assert in_a_note(()) == "nothing changed"
    assert in_a_note(["a", "b"]) == "a; b"
    assert in_a_note(list("abcdefgh")) == "a; b; c; d; e; f; and 2 more"


def test_a_text_that_is_no_toml_is_refused_with_its_place() -> None:
    with pytest.raises(JobError, match="line 1, column 10"):
        compare(small_job(), "format = = 1")


# --- Every field --------------------------------------------------------------------------------

Steps = tuple[str | int, ...]


def _leaves(value: Any, steps: Steps = ()) -> Iterator[tuple[Steps, Any]]:
    if isinstance(value, dict):
        for name, each in value.items():
            yield from _leaves(each, (*steps, name))
    elif isinstance(value, list):
        for index, each in enumerate(value):
            yield from _leaves(each, (*steps, index))
    else:
        yield steps, value


LEAVES = list(_leaves(tomllib.loads(DEMO)))
# What a field is called where that is not its own name.
CALLED = {"at": "position", "cutout": "cut-out", "re": "Re"}
CALLED |= {"qes": "Qes", "qms": "Qms", "vas": "Vas", "sd": "Sd", "le": "Le"}


def _changed(value: Any, factor: float) -> Any:
    """Return another value of the same kind."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + round(10 * factor)
    if isinstance(value, float):
        return round(value * factor, 6)
    if isinstance(value, str):
        number, *rest = value.split(" ", 1)
        try:
            return " ".join([f"{float(number) * factor:.6g}", *rest])
        except ValueError:
            return f"{value}{'x' * round(5 * factor)}"
    return value.replace(year=value.year + round(10 * factor))


def _with(steps: Steps, value: Any) -> str:
    tables = tomllib.loads(DEMO)
    node: Any = tables
    for step in steps[:-1]:
        node = node[step]
    node[steps[-1]] = value
    return tomlkit.dumps(tables)


@settings(max_examples=60)
@given(leaf=st.sampled_from(LEAVES), factor=st.floats(0.6, 1.6))
def test_any_field_that_changes_is_named(leaf: tuple[Steps, Any], factor: float) -> None:
    steps, value = leaf
    new = _changed(value, factor)
    assume(new != value)
    text = _with(steps, new)
    try:
        job = loads(text)
    except JobError:
        assume(False)
    assume(job != loads(DEMO))
    changes = compare(DEMO, text)
    field = [step for step in steps if isinstance(step, str)][-1]
    if field == "id" or (steps[0], field) in TELLS_APART:
        # Another id is another thing: one goes, one comes.
        assert len(changes) == 2
    elif steps[0] == "reading":
        assert changes[0].startswith("reading ")
    else:
        word = CALLED.get(field, field if "." in field else field.replace("_", " "))
        assert changes
        assert all(f" {word} " in change for change in changes)
    assert LAYOUT_ONLY not in changes


@given(st.sampled_from([DEMO, small_job(), small_job(cutout="1..2..3 mm")]))
def test_a_text_does_not_differ_from_itself(text: str) -> None:
    assert compare(text, text) == ()


@settings(max_examples=20)
@given(st.data())
def test_another_layout_of_the_same_values_is_called_so(data: st.DataObject) -> None:
    tables = tomllib.loads(DEMO)
    for name in ("seat", "channel", "location", "driver", "proposal"):
        tables[name] = data.draw(st.permutations(tables[name]))
    order = data.draw(st.permutations(list(tables)))
    other = tomlkit.dumps({name: tables[name] for name in order})
    assert compare(DEMO, other) == (LAYOUT_ONLY,)
    assert compare(other, DEMO) == (LAYOUT_ONLY,)
