"""Reading job files: every kind of mistake, all of them in one go, and nothing but JobError."""

import json
import tomllib
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import JobError, Problem
from conewright.job.builds.job import Job
from conewright.job.text.parsing import LARGEST_FILE, from_dict, load, loads
from conewright.job.text.starter import demo_text, starter_text

DEMO: dict[str, Any] = tomllib.loads(demo_text())

LEAST = """
format = 1
head_unit = { name = "radio" }
channel = [{ id = "left", load = "door" }]
location = [{ id = "door", kind = "door", at = ["0 m", "0 m", "0 m"], driver = "woofer" }]
driver = [{ id = "woofer", size = "165 mm" }]
"""


def problems(raw: object) -> list[Problem]:
    with pytest.raises(JobError) as caught:
        from_dict(raw)  # type: ignore[arg-type]
    return list(caught.value.problems)


def changed(*steps: str | int, to: object) -> dict[str, Any]:
    """The demo job with one place changed; made where it was not there."""
    raw = deepcopy(DEMO)
    node: Any = raw
    for step in steps[:-1]:
        node = node.setdefault(step, {}) if isinstance(node, dict) else node[step]
    node[steps[-1]] = to
    return raw


def test_least_job_is_enough() -> None:
    job = loads(LEAST)
    wiring = job.channel("left").wiring
    assert wiring is not None
    assert wiring.locations == ("door",)
    assert job.vehicle.cabin_volume is None
    assert job.vehicle.restraints.door_sensor == "unknown"


WRONG = [
    # where, what is put there, path of the problem, found, part of what is allowed
    (("format",), 2, "format", "2", "the number 1"),
    (("format",), True, "format", "true", "the number 1"),
    (("format",), 1.0, "format", "1.0", "the number 1"),
    (("colour",), "red", "colour", "a field that is not known", "known here: format, job"),
    (("vehicle", "cabin_volum"), "3 m3", "vehicle.cabin_volum", "a field that is not known",
     'did you mean "cabin_volume"?'),
    (("seats",), [], "seats", "a field that is not known", 'did you mean "seat"?'),
    (("vehicle", "class_"), "van", "vehicle.class_", "a field that is not known", '"class"?'),
    (("vehicle", "class"), "bus", "vehicle.class", '"bus"', "one of compact, saloon, estate"),
    (("vehicle", "cabin_volume"), 7.5, "vehicle.cabin_volume", "7.5", "in quotes with a unit"),
    (("vehicle", "cabin_volume"), "7.5", "vehicle.cabin_volume", '"7.5"', "unit is missing"),
    (("vehicle", "cabin_volume"), "7.5 m2", "vehicle.cabin_volume", '"7.5 m2"', "a volume"),
    (("vehicle", "cabin_volume"), None, "vehicle.battery", None, ""),
    (("vehicle", "built"), "2009", "vehicle.built", '"2009"', "a whole number"),
    (("vehicle", "built"), 1066, "vehicle.built", "1066", "1900 to 2100"),
    (("vehicle", "battery"), "70 Ah", "vehicle.battery", '"70 Ah"', "a table of fields"),
    (("job", "opened"), 20260302, "job.opened", "20260302", "a day is wanted"),
    (("job", "opened"), "2026-02-30", "job.opened", '"2026-02-30"', "a day is wanted"),
    (("job", "budget"), "180", "job.budget", '"180"', "a plain number"),
    (("job", "budget"), -1, "job.budget", "-1", "at least 0"),
    (("job", "title"), 7, "job.title", "7", "a text in quotes"),
    (("job", "title"), "", "job.title", '""', "must not be empty"),
    (("job", "complaints"), "thin", "job.complaints", '"thin"', "a list in [ ]"),
    (("job", "complaints"), ["thin@frunt"], "job.complaints[1]", '"thin@frunt"', '"front"?'),
    (("seat", 0, "ear"), ["0 m", "1 m"], "seat[driver].ear", "a list of 2", "three lengths"),
    (("seat", 0, "ear", 1), "1", "seat[driver].ear[2]", '"1"', "unit is missing"),
    (("seat", 0, "id"), "head_unit", "seat[head_unit].id", '"head_unit"', "this word is taken"),
    (("seat", 0, "id"), "door-fl", "location[door-fl].id", '"door-fl"', "seat[1] has it"),
    (("seat", 0, "id"), "a b", "seat[1].id", '"a b"', "a short name is wanted"),
    (("head_unit",), "radio", "head_unit", '"radio"', "a table of fields"),
    (("head_unit", "output"), "bridged", "head_unit.output", '"bridged"', "bridge, common"),
    (("channel",), [], "channel", "a list of 0", "a list of at least 1"),
    (("channel", 1, "id"), "front-left", "channel[front-left].id", '"front-left"',
     "channel[1] has it"),
    (("channel", 0, "load"), "door-f | 4 ohm", "channel[front-left].load", '"door-f | 4 ohm"',
     'did you mean "door-fr"?'),
    (("channel", 0, "load"), "door-fl | (", "channel[front-left].load", '"door-fl | ("',
     "^ character"),
    (("channel", 0, "load"), "door-fl | side-rl", "channel[rear-left].load",
     '"side-rl | roof-rl"', "side-rl hangs on channel[1] already"),
    (("channel", 0, "cable", "resistance"), "0.2 ohm", "channel[front-left].cable", "a table",
     "not both"),
    (("location", 0, "driver"), "budget-13", "location[door-fl].driver", '"budget-13"',
     'did you mean "budget-130"?'),
    (("location", 0, "kind"), "boot", "location[door-fl].kind", '"boot"', "one of door, panel"),
    (("location", 0, "mount", "cut_out"), "1 mm", "location[door-fl].mount.cut_out",
     "a field that is not known", '"cutout"?'),
    (("location", 0, "mount", "ring"), "true", "location[door-fl].mount.ring", '"true"',
     "true or false is wanted"),
    (("location", 0, "mount", "ring"), 1, "location[door-fl].mount.ring", "1", "true or false"),
    (("location", 0, "mount", "glass_depth"), "60 mm", "location[door-fl].mount.glass_depth",
     '"60 mm"', "a list in [ ]"),
    (("location", 0, "mount", "glass_depth"), [], "location[door-fl].mount.glass_depth",
     "a list of 0", "a list of at least 1"),
    (("location", 0, "mount", "glass_depth"), ["60"], "location[door-fl].mount.glass_depth[1]",
     '"60"', "unit is missing"),
    (("location", 0, "cavity", "cover"), "foil", "location[door-fl].cavity.cover", '"foil"',
     "one of none, film, patch"),
    (("location", 1, "like"), "dor-fl", "location[door-fr].like", '"dor-fl"',
     'did you mean "door-fl"?'),
    (("location", 1, "like"), 7, "location[door-fr].like", "7", "the id of another location"),
    (("location", 1, "like"), "door-fr", "location[door-fr].like", '"door-fr"',
     "not itself like this one"),
    (("driver", 0, "re"), "-3 ohm", "driver[budget-130].re", '"-3 ohm"', "above zero"),
    (("driver", 0, "qes"), True, "driver[budget-130].qes", "true", "a number is wanted"),
    (("driver", 0, "price"), float("nan"), "driver[budget-130].price", "NaN", "number"),
    (("reading", 0, "at"), "frnt", "reading[1].at", '"frnt"', 'did you mean "front"?'),
    (("reading", 0, "value"), True, "reading[1].value", "true", "a text or a number"),
    (("reading", 0, "test"), "mono bass", "reading[1].test", '"mono bass"', "a short name"),
    (("proposal", 1, "id"), "put-right", "proposal[put-right].id", '"put-right"',
     "proposal[1] has it"),
    (("proposal", 0, "id"), "as-found", "proposal[as-found].id", '"as-found"', "is taken"),
    (("proposal", 0, "hours"), -1, "proposal[put-right].hours", "-1", "at least 0"),
    (("proposal", 0, "set"), ["x"], "proposal[put-right].set", "a list of 1", "a table"),
]  # fmt: skip


@pytest.mark.parametrize(("steps", "value", "path", "found", "allowed"), WRONG)
def test_one_mistake(
    steps: tuple[str | int, ...], value: object, path: str, found: str | None, allowed: str
) -> None:
    raw = changed(*steps, to=value)
    if found is None:
        assert from_dict(raw).vehicle.cabin_volume is None
        return
    told = [problem for problem in problems(raw) if problem.path == path]
    assert [problem.found for problem in told] == [found]
    assert allowed in told[0].allowed


@pytest.mark.parametrize(
    "steps",
    [
        ("format",), ("head_unit",), ("head_unit", "name"), ("channel",), ("location",),
        ("driver",), ("channel", 0, "id"), ("channel", 0, "load"), ("location", 0, "id"),
        ("location", 0, "kind"), ("location", 0, "at"), ("location", 0, "driver"),
        ("driver", 0, "id"), ("seat", 0, "ear"), ("reading", 0, "at"), ("proposal", 0, "id"),
    ],
)  # fmt: skip
def test_required(steps: tuple[str | int, ...]) -> None:
    raw = deepcopy(DEMO)
    node: Any = raw
    for step in steps[:-1]:
        node = node[step]
    del node[steps[-1]]
    lacking = [each for each in problems(raw) if each.path.endswith(str(steps[-1]))]
    assert [each.found for each in lacking] == ["nothing"]
    assert lacking[0].allowed.startswith("it is required: ")
    assert len(lacking[0].allowed) > len("it is required: ")


def test_all_mistakes_are_told_at_once() -> None:
    raw = changed("colour", to="red")
    raw["vehicle"]["class"] = "bus"
    raw["head_unit"]["supply"] = 13.8
    raw["channel"][0]["load"] = "door-xx"
    raw["location"][4]["mount"]["ring"] = "yes"
    raw["location"][4]["driver"] = "old-10"
    raw["driver"][3]["fs"] = "78 mm"
    raw["reading"][1]["at"] = "nowhere"
    raw["proposal"][0]["set"]["door-f?.mount.rings"] = True
    raw["proposal"][1]["set"]["door-f?.cavity.cover"] = "foil"
    assert {each.path for each in problems(raw)} == {
        "colour",
        "vehicle.class",
        "head_unit.supply",
        "channel[front-left].load",
        "location[side-rl].mount.ring",
        "location[side-rl].driver",
        "driver[slim-130].fs",
        "reading[2].at",
        'proposal[put-right].set."door-f?.mount.rings"',
        'proposal[put-right-patched].set."door-f?.cavity.cover"',
    }


def test_a_copied_mistake_is_told_once() -> None:
    raw = changed("location", 0, "mount", "cutout", to="122")
    raw["location"][0]["driver"] = "none-such"
    paths = [each.path for each in problems(raw)]
    assert paths == ["location[door-fl].mount.cutout", "location[door-fl].driver"]


def test_a_copy_may_be_wrong_on_its_own() -> None:
    raw = changed("location", 1, "mount", to={"cutout": "122"})
    assert [each.path for each in problems(raw)] == ["location[door-fr].mount.cutout"]


def test_likeness_in_a_circle() -> None:
    raw = changed("location", 0, "like", to="door-fr")
    paths = [each.path for each in problems(raw)]
    assert paths[:2] == ["location[door-fl].like", "location[door-fr].like"]


def test_likeness_in_a_chain() -> None:
    raw = changed("location", 0, "name", to="first")
    third = {"id": "third", "like": "door-fr", "cavity": {"volume": "30 L"}}
    raw["location"].insert(0, third)
    job = from_dict(raw)
    assert job.location("third").name is None
    assert job.location("third").at == job.location("door-fr").at
    assert job.location("third").cavity.drains == job.location("door-fl").cavity.drains
    volume = job.location("third").cavity.volume
    assert volume is not None
    assert volume.value == pytest.approx(0.030)


def test_front_left_is_a_place_without_a_channel_of_that_name() -> None:
    text = LEAST + 'reading = [{ test = "push", at = "front-left", value = 1.5 }]'
    assert loads(text).readings[0].value == 1.5


# The text itself


@pytest.mark.parametrize(
    ("text", "kind", "path", "found"),
    [
        ("a = ", "toml", "end of document", "Invalid value"),
        ("a = 1\nb == 2", "toml", "line 2, column ", "Invalid value"),
        ("a = 1\na = 2", "toml", "", "Cannot overwrite a value"),
        ('{"a": ', "json", "line 1, column 7", "Expecting value"),
        ('{"a": 1, "a": 2}', "json", "file", 'the name "a" twice'),
        ('{"a": NaN}', "json", "file", "NaN, which is no JSON number"),
        ("[]", "json", "file", "a list of 0"),
        ("3", "json", "file", "3"),
        ("a = " + "9" * 5000, "toml", "line 1, column 5", "a number without end"),
        ('{"a": ' + "9" * 5000 + "}", "json", "line 1, column 7", "a number without end"),
        ("a = " + "[" * 100_000, "toml", "line 1, column 105", "tables in tables without end"),
        ("[" * 100_000, "json", "line 1, column 101", "tables in tables without end"),
        ("a = " + "[" * 50 + "]" * 50, "toml", "a[1][1][1][1][1][1][1][1][1]", "a list of 1"),
        ("a = [" + "1," * 300 + "]", "toml", "a", "a list of 300"),
    ],
)
def test_text_that_is_no_job(text: str, kind: Any, path: str, found: str) -> None:
    with pytest.raises(JobError) as caught:
        loads(text, kind, file="van")
    assert caught.value.file == "van"
    assert caught.value.problems[0].path.startswith(path)
    assert found in caught.value.problems[0].found


def test_load_by_ending(tmp_path: Path) -> None:
    job = loads(demo_text())
    (tmp_path / "van.TOML").write_text(demo_text(), encoding="utf-8")
    (tmp_path / "van.json").write_text(json.dumps(job.to_dict()), encoding="utf-8-sig")
    assert load(tmp_path / "van.TOML") == job
    assert load(str(tmp_path / "van.json")) == job


@pytest.mark.parametrize(
    ("name", "content", "found"),
    [
        ("none.toml", None, "No such file"),
        ("job.txt", b"", 'a name ending in ".txt"'),
        ("job", b"", "a name without an ending"),
        ("binary.toml", bytes(range(256)), "bytes that are no text (at byte 129)"),
        ("large.toml", b"#" * (LARGEST_FILE + 1), "a larger file"),
        ("empty.toml", b"", "nothing"),
    ],
)
def test_files_that_cannot_be_read(
    tmp_path: Path, name: str, content: bytes | None, found: str
) -> None:
    file = tmp_path / name
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(JobError) as caught:
        load(file)
    assert caught.value.file == str(file)
    assert found in caught.value.problems[0].found


def test_a_folder_is_no_job(tmp_path: Path) -> None:
    (tmp_path / "job.toml").mkdir()
    with pytest.raises(JobError, match="nothing that can be read"):
        load(tmp_path / "job.toml")


def test_nul_in_the_path_is_no_job() -> None:
    with pytest.raises(JobError, match="nothing that can be read"):
        load("job\0.toml")


def test_message_names_file_path_found_and_allowed() -> None:
    with pytest.raises(JobError) as caught:
        from_dict(changed("vehicle", "class", to="bus"), file="van.toml")
    assert str(caught.value) == (
        'van.toml: vehicle.class: found "bus"; '
        "one of compact, saloon, estate, convertible, pickup-cab, van, other is wanted"
    )


def test_messages_hold_no_control_characters() -> None:
    raw = changed("vehicle", "\x1b[2J", to="\x1b[2J")
    raw["vehicle"]["class"] = "\x1b[31m\ud800"
    for problem in problems(raw):
        assert str(problem).isprintable()
        str(problem).encode("utf-8")


@pytest.mark.parametrize("part", ["a", '"a"', "'a'", "a ", "1"])
def test_a_key_without_end_is_refused_at_once(part: str) -> None:
    # The parser's time goes with the square of the parts: this one would take it hours.
    with pytest.raises(JobError, match="very many parts"):
        loads(f"{LEAST}\n{'.'.join([part] * 200_000)} = 1\n")


def test_full_stops_in_texts_are_no_parts_of_keys() -> None:
    leader = "." * 5000
    job = loads(f'{LEAST}\n# {leader}\n[job]\nnotes = "{leader[:1900]}{"word. " * 16}"\n')
    assert job.about.notes is not None
    assert job.about.notes.startswith("...")


def test_a_flood_of_mistakes_is_cut_short() -> None:
    raw = changed("driver", to=[{"id": f"d{i}", "re": 3, "fs": 4} for i in range(150)])
    told = [each for each in problems(raw) if each.path.startswith(("driver", "file"))]
    assert len(told) == 201
    assert told[-1] == Problem("file", "100 more problems", "mend these first")


# Whatever is done to a good file, nothing but JobError comes out

JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=12),
    st.sampled_from(
        ["1 mm", "-3 ohm", "door-fl", "door-fl | door-fr", "1..2..3 L", "none", "like", "*"]
    ),
    st.lists(st.text(max_size=3), max_size=3),
    st.dictionaries(st.text(max_size=6), st.none() | st.text(max_size=3), max_size=3),
    st.just([{}]),
)
KEYS = st.one_of(
    st.text(max_size=8),
    st.sampled_from(["id", "like", "set", "load", "mount", "*.mount.ring", "[.x", "?.cable"]),
)


def spots(node: Any, found: list[tuple[Any, Any]] | None = None) -> list[tuple[Any, Any]]:
    """Every place in plain values, as its holder and its key there."""
    found = [] if found is None else found
    entries = node.items() if isinstance(node, dict) else enumerate(node)
    for key, value in list(entries):
        found.append((node, key))
        if isinstance(value, dict | list):
            spots(value, found)
    return found


def _drop(holder: Any, key: Any, _: object, __: str) -> None:
    del holder[key]


def _replace(holder: Any, key: Any, junk: object, _: str) -> None:
    holder[key] = deepcopy(junk)


def _add(holder: Any, _: Any, junk: object, name: str) -> None:
    if isinstance(holder, dict):
        holder[name] = deepcopy(junk)
    else:
        holder.append(deepcopy(junk))


def _double(holder: Any, key: Any, _: object, name: str) -> None:
    if isinstance(holder, dict):
        holder[name] = deepcopy(holder[key])
    else:
        holder.append(deepcopy(holder[key]))


MUTATIONS: list[Callable[[Any, Any, object, str], None]] = [_drop, _replace, _add, _double]


def outcome(raw: Any) -> Job | list[Problem]:
    """A job, or the problems of it."""
    try:
        return from_dict(raw)
    except JobError as error:
        return list(error.problems)


@settings(max_examples=250)
@given(
    steps=st.lists(
        st.tuples(st.integers(0, 10**6), st.sampled_from(MUTATIONS), JUNK, KEYS),
        min_size=1,
        max_size=4,
    )
)
def test_mutations_raise_nothing_else(steps: list[tuple[int, Any, object, str]]) -> None:
    raw = deepcopy(DEMO)
    for index, mutation, junk, name in steps:
        places = spots(raw)
        holder, key = places[index % len(places)]
        mutation(holder, key, junk, name)
    made = outcome(raw)
    if isinstance(made, Job):
        assert from_dict(made.to_dict()) == made
    else:
        assert made
        assert all(problem.path and problem.found for problem in made)
        "".join(map(str, made)).encode("utf-8")


@settings(max_examples=200)
@given(text=st.text(max_size=60), kind=st.sampled_from(["toml", "json"]))
def test_any_text_raises_nothing_else(text: str, kind: Any) -> None:
    with pytest.raises(JobError):
        loads(text, kind)


@settings(max_examples=100)
@given(content=st.binary(max_size=40))
def test_any_bytes_raise_nothing_else(content: bytes, tmp_path_factory: Any) -> None:
    file = tmp_path_factory.mktemp("bytes") / "job.toml"
    file.write_bytes(content)
    with pytest.raises(JobError):
        load(file)


@settings(max_examples=200)
@given(st.recursive(JUNK, lambda inner: st.dictionaries(KEYS, inner, max_size=4)))
def test_any_values_raise_nothing_else(raw: Any) -> None:
    with pytest.raises(JobError):
        from_dict(raw)


def test_a_list_in_the_place_of_a_wires_function_is_refused_in_words() -> None:
    lead = '[[lead]]\nchannel = "front"\nfunction = ["plus", "minus"]\ncolour = "red"\n'
    with pytest.raises(JobError, match=r"lead\[1\]\.function: found a list of 2; one of plus"):
        loads(f"{LEAST}\n{lead}")


def test_a_name_that_cannot_be_seen_is_suggested_to_nobody() -> None:
    text = starter_text().replace('id = "door-fl"', 'id = "door\\u001b[31m-fl"')
    with pytest.raises(JobError) as caught:
        loads(text)
    told = str(caught.value)
    assert 'found "door-fl"; it takes the id of another location' in told
    assert "\x1b" not in told
