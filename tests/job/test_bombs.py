"""Texts and patterns made to cost much: each is answered or refused for little."""

import difflib
import json
import tomllib
import tracemalloc
from collections.abc import Iterable, Iterator
from fnmatch import fnmatchcase
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from conewright.errors import JobError
from conewright.job.document.paths import MOST_COMPARED
from conewright.job.text.bounds import LONGEST_KEY, MOST_LINES, MOST_PIECES, excess
from conewright.job.text.parsing import LARGEST_FILE, Format, loads
from conewright.job.text.readings import with_reading, without_reading
from conewright.job.text.starter import demo_text, starter_text
from conewright.job.wildcards import matches

MOST_MEMORY = 100_000_000
"""Bytes that any text may take to be read; a key of 24,000 parts once took 2.3 GB."""


def whole(piece: str) -> str:
    """Return a text as long as may be read, all of it one piece again and again."""
    return piece * ((LARGEST_FILE - 100) // len(piece))


BOMBS: dict[str, tuple[str, Format]] = {
    "stops behind quotes": ('"=".' * 24_000 + "a=1", "toml"),
    "stops behind one quote": ("'#'." * 24_000 + "a=1", "toml"),
    "stops in a header": ("[" + '"]".' * 24_000 + "a]", "toml"),
    "names": ("{" + ",".join(f'"a{i}":1' for i in range(24_000)) + ',"a7":1}', "json"),
    "deep keys": ("\n".join(f"{'k.' * 97}k{i}=1" for i in range(500)), "toml"),
    "deep headers": ("\n".join(f"[{f'k{i}.' * 97}a]" for i in range(500)), "toml"),
    "short headers": ("\n".join(f"[a{i}.b.c.d.e.f.g.h.i]" for i in range(5_000)), "toml"),
    "deep lists": ("a=[" + ("[" * 98 + "]" * 98 + ",") * 240 + "]", "toml"),
    "deep objects": ("[" + ('{"a":' * 98 + "1" + "}" * 98 + ",") * 240 + "1]", "json"),
    "values": ("a=[" + whole("1,") + "]", "toml"),
    "tables": ("a=[" + "{}," * 24_000 + "]", "toml"),
    "entries": ("[[a]]\n" * 20_000, "toml"),
    "letters in hexadecimal": ("a=0x" + whole("f"), "toml"),
    "digits": ("a=1" + whole("_1"), "toml"),
    "line ends": (whole("\n"), "toml"),
    "notes": (whole("#\n"), "toml"),
    "blanks": (whole(" "), "toml"),
    "quotes": (whole('"'), "toml"),
    "long quotes": ('a="""' + whole('""x') + '"""', "toml"),
    "escapes": ('a="' + whole("\\n") + '"', "toml"),
    "escaped line ends": ('a="""' + "\\\n" * (MOST_LINES - 1) + '"""', "toml"),
    "a name": ('"' + whole("x") + '"=1', "toml"),
    "letters by number": ('{"a":"' + whole("\\u0041") + '"}', "json"),
    "brackets": (whole("["), "json"),
}  # fmt: skip


@pytest.mark.parametrize("name", BOMBS)
def test_a_text_costs_little_memory_whatever_stands_in_it(name: str) -> None:
    text, format = BOMBS[name]
    tracemalloc.start()
    try:
        with pytest.raises(JobError) as caught:
            loads(text, format)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MOST_MEMORY
    assert len(caught.value.problems) <= 301
    assert all(len(str(problem)) < 2000 for problem in caught.value.problems)


@pytest.mark.parametrize(
    ("text", "format", "told"),
    [
        ("a = 1\n" + "b." * 101 + "c = 1", "toml", "line 2, column 202: found a key of very many"),
        ("a = [\n" + "1," * MOST_PIECES, "toml", "line 2, column 99998: found very many names"),
        ("\n" * (MOST_LINES + 1), "toml", "file: found very many lines"),
        ("a = 1\nb =  0x" + "f" * 1001, "toml", "line 2, column 6: found a number without end"),
        ('{"a":\n' + "[" * 101, "json", "line 2, column 100: found tables in tables"),
    ],
)
def test_what_is_too_much_is_told_with_its_place(text: str, format: Format, told: str) -> None:
    with pytest.raises(JobError, match=f"^job: {told}.*; (at most|numbers have)"):
        loads(text, format)


# What a key's part, and what stands above it, may look like; the parser itself is the judge.
WORDS = st.text(alphabet="ab=.,#'\"[]{}\\ \n", max_size=6)
QUOTED = WORDS.map(lambda word: json.dumps(word))
LITERAL = WORDS.map(lambda word: "'" + word.replace("'", "").replace("\n", "") + "'")
LONG = WORDS.map(lambda word: '"""' + word.replace("\\", "\\\\").replace('"', '\\"') + '"""')
RAW = WORDS.map(lambda word: "'''" + word.replace("'", "") + "'''")
NOTE = WORDS.map(lambda word: f"1 # {word}".replace("\n", ""))
NUMBER = st.sampled_from(["1.5", "[1.5, [2.5]]", "07:30:00.5", "{x.y = 1}"])
VALUES = st.lists(st.one_of(QUOTED, LITERAL, LONG, RAW, NOTE, NUMBER), max_size=8)
PARTS = st.lists(st.one_of(QUOTED, LITERAL, st.just("a")), min_size=1, max_size=5)


@given(VALUES, PARTS)
@example(['"""a"""""', "'''b'''''"], ['"="', "'#'"])
def test_a_long_key_is_seen_behind_anything_and_a_shorter_one_is_let_pass(
    values: list[str], parts: list[str]
) -> None:
    above = "".join(f"v{number} = {value}\n" for number, value in enumerate(values))
    key = ".".join((parts * (LONGEST_KEY + 1))[: LONGEST_KEY + 1])
    # independent tool: tomllib reads what the count lets pass, so both agree where quotes end
    assert "v0" in tomllib.loads(above) or not values
    depth, table = 0, tomllib.loads(f"{above}[z]\n{key} = 1\n")["z"]
    while isinstance(table, dict):
        depth, table = depth + 1, next(iter(table.values()))
    assert depth == LONGEST_KEY + 1
    assert excess(f"{above}[z]\n{key} = 1\n") is None
    problem = excess(f"{above}[z]\n{key}.a = 1\n")
    assert problem is not None
    assert problem.found == "a key of very many parts"


def test_a_full_job_is_far_from_every_limit() -> None:
    assert excess(demo_text() * 40) is None
    assert excess(demo_text(), most=100) is not None


class Name(str):
    """A name that counts how often any is compared with another."""

    looks = 0
    __hash__ = str.__hash__

    def __eq__(self, other: object) -> bool:
        Name.looks += 1
        return super().__eq__(other)


def test_a_name_given_twice_is_found_by_looking_at_each_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pairs = [*((Name(f"a{i}"), 1) for i in range(10_000)), (Name("a9999"), 1)]
    monkeypatch.setattr(json, "loads", lambda _, **hooks: hooks["object_pairs_hook"](pairs))
    with pytest.raises(JobError, match='the name "a9999" twice'):
        loads("{}", "json")
    assert 0 < Name.looks < 20_000


# --- Wildcards ----------------------------------------------------------------------------------


@given(st.text(alphabet="ab-.", max_size=12), st.text(alphabet="ab-.*?", max_size=10))
def test_wildcards_mean_what_they_mean_elsewhere(name: str, pattern: str) -> None:
    # independent tool: the standard library's matcher of file names
    assert matches(name, pattern) == fnmatchcase(name, pattern)


def test_brackets_are_no_wildcards() -> None:
    assert matches("door-[a]", "door-[a]*")
    assert not matches("door-a", "door-[a]*")


class Letters(str):
    """A name that counts how many of its letters are looked at."""

    looks = 0

    def __iter__(self) -> Iterator[str]:
        for letter in super().__iter__():
            self.looks += 1
            yield letter


@pytest.mark.parametrize("stars", [1, 60, 10_000])
@pytest.mark.parametrize("piece", ["*a", "*", "a*?", "*aa", "?*"])
def test_no_letter_is_looked_at_twice_whatever_the_pattern(piece: str, stars: int) -> None:
    name = Letters("a" * 3_000 + "ba")
    matches(name, piece * stars + "*ca")
    assert name.looks <= len(name)


def places(count: int) -> str:
    like = tomllib.loads(starter_text())["location"][0]["id"]
    return starter_text() + "".join(
        f'[[location]]\nid = "{"a" * 50}{i}"\nlike = "{like}"\n' for i in range(count)
    )


def proposals(count: int, keys: list[str], value: str = "true") -> str:
    table = "".join(f'"{key}" = {value}\n' for key in keys)
    return "".join(f'[[proposal]]\nid = "q{i}"\n[proposal.set]\n{table}' for i in range(count))


def test_sixty_stars_in_each_of_two_hundred_keys_are_answered() -> None:
    text = places(190) + proposals(1, [f"{'*a' * 60}{i:x}b.name" for i in range(198)])
    with pytest.raises(JobError, match="no part has such an id"):
        loads(text)


def test_what_all_proposals_change_has_a_limit_told_by_its_place() -> None:
    text = places(190) + proposals(100, ["a*.mount.ring"])
    with pytest.raises(JobError) as caught:
        loads(text)
    assert str(caught.value.problems[0]) == (
        "proposal[q0].set: found more than 98 fields changed; "
        "at most 98 here, as all proposals together change 10000"
    )
    assert loads(places(90) + proposals(100, ["a*.mount.ring"])).proposal("q99")


def test_names_are_compared_for_the_problems_that_are_told_and_no_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compared = []
    real = difflib.get_close_matches

    def counting(*args: Any, **more: Any) -> list[str]:
        compared.append(args[0])
        return real(*args, **more)

    monkeypatch.setattr(difflib, "get_close_matches", counting)
    text = places(20) + proposals(150, [f"zz{i}.name" for i in range(150)])
    with pytest.raises(JobError) as caught:
        loads(text)
    assert len(compared) <= len(caught.value.problems) <= 301
    assert caught.value.problems[-1].found == "more problems"


def test_letters_are_compared_up_to_a_limit_and_names_still_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looks: list[int] = []
    real = difflib.get_close_matches

    def counting(name: str, known: Iterable[str], **more: Any) -> list[str]:
        looks.append(len(name) * sum(map(len, known)))
        return real(name, known, **more)

    monkeypatch.setattr(difflib, "get_close_matches", counting)
    like = "".join(
        f'[[location]]\nid = "{"ab" * 25}{i}"\nlike = "{"ab" * 25}x{i}"\n' for i in range(190)
    )
    with pytest.raises(JobError) as caught:
        loads(starter_text() + like)
    told = [each.allowed for each in caught.value.problems if each.path.endswith(".like")]
    assert len(told) == 190
    assert sum("did you mean" in each for each in told) > 0
    assert sum("known here: " in each for each in told) > 100
    # without a limit it would be 190 names with 191 others, each of 50 letters
    assert 0 < sum(looks) <= MOST_COMPARED
    # the next text has all of it again
    with pytest.raises(JobError, match='did you mean "format"'):
        loads(starter_text().replace("format = 1", "formta = 1"))


# --- Readings -----------------------------------------------------------------------------------

FIRST = tomllib.loads(starter_text())["location"][0]["id"]
NOTES = {
    "a list and line ends": "reading = [" + "\n" * 1900,
    "lists": "reading = [\n]\n" * 140,
    "headers": "[[reading]]\n" * 160,
    "headers and brackets": "[[reading]]\n]\n[\n" * 100,
}


def noted(note: str) -> str:
    lines = [line for line in starter_text().split("\n") if not line.startswith("notes")]
    return "\n".join(lines).replace("[job]\n", f"[job]\nnotes = '''{note}'''\n")


@pytest.mark.parametrize("name", NOTES)
@pytest.mark.parametrize("ends", [0, MOST_LINES - 3_000])
def test_a_reading_is_put_in_and_taken_back_for_few_parses(
    name: str, ends: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = noted(NOTES[name]) + "\n" * ends
    before = tomllib.loads(text)
    parsed: list[int] = []
    real = tomllib.loads

    def counting(text: str) -> dict[str, Any]:
        parsed.append(len(text))
        return real(text)

    monkeypatch.setattr(tomllib, "loads", counting)
    new = with_reading(text, "toml", test="look", at=FIRST, value="weaker")
    assert real(new)["reading"][-1]["value"] == "weaker"
    assert real(without_reading(new)) == before
    # of each kind of place, going in and coming out, and the text itself
    assert sum(parsed) < 12_000_000 + 20 * len(text)


@settings(max_examples=40)
@given(
    st.sampled_from(
        ["[", "]", "\n", " \n", "#\n", "reading = [", "[[reading]]\n", "=", "\t", "\r\n"]
    ),
    st.integers(1, 1900),
)
def test_a_note_of_anything_repeated_keeps_its_readings(piece: str, times: int) -> None:
    text = noted((piece * times)[:1900])
    new = with_reading(text, "toml", test="look", at=FIRST, value="weaker")
    assert tomllib.loads(without_reading(new)) == tomllib.loads(text)
