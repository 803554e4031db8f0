"""Readings written into a job file: the reading is there, and nothing else has changed."""

import json
import os
import stat
import tomllib
from itertools import accumulate, pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from conewright.errors import BadInputError, JobError
from conewright.job.document.document import Reading
from conewright.job.text.job_file import JobFile, open_job, put_back, write_text
from conewright.job.text.parsing import LARGEST_FILE, Format, load, loads
from conewright.job.text.readings import with_reading
from conewright.job.text.starter import demo_text, starter_text

SWEEP = {"resonance": "62 Hz", "at 100 Hz": "5.8 ohm"}
LAYOUTS = {
    "demo": demo_text(),
    "starter": starter_text(),
    "empty": "",
    "one line, no end": "a = 1",
    "nothing read yet": 'format = 1\n[job]\ntitle = "x"\n',
    "in two places": '[[reading]]\ntest = "a"\n\n# of b\n[b]\n[[reading]]\ntest = "c"\n# end',
    "own note": '[[reading]]\ntest = "a" # said twice\n# and wet\n\n# of b\n[b]\nx = 1\n',
    "note of the next": '[[reading]]\ntest = "a"\n# of b\n[b]\nx = 1\n',
    "sub-table": '[[reading]]\ntest = "a"\n[reading.value]\npeak = "9 ohm"\n\n# of c\n[c]\n',
    "margin": 'a = 1\n  [["reading"]]\n  # note\n  test = "a"\n[c]\n',
    "header in a value": '[["reading"]]\nvalue = """\n[[reading]]\n"""\n[c]\n',
    "in a text": 's = """\n[[reading]]\ntest = "x"\n"""\n[[ reading ]]\ntest = "b"\n[c]\n',
    "list": 'reading = [{test = "a"}]\n[c]\nx = [1]\n',
    "empty list": "reading = []\n[c]\nx = 1\n",
    "list in lines": 'reading = [\n  {test = "a"},\n  {test = "b]"}\n]\n[c]\nx = [1]\n',
    "list with comma": 'reading = [\n  {test = "a"}, # one ]\n  {test = "b"}, # two ]\n]\n',
    "list with note": 'reading = [\n  {test = "a"}, # one ]\n  {test = "b"} # two ]\n]\n',
    "windows": '[[reading]]\r\ntest = "a"\r\n\r\n# of b\r\n[b]\r\nx = 1\r\n',
}


def _with(text: str, value: Any = "2.2 ohm ± 0.1 ohm", format: Format = "toml") -> str:
    return with_reading(text, format, test="look", at="door-fl", value=value, beside=True)


def _is_put_in(old: str, new: str) -> bool:
    """Whether `new` is `old` with one piece put in somewhere."""
    alike = [one == other for one, other in zip(old, new, strict=False)]
    start = alike.index(False) if False in alike else len(old)
    return new.endswith(old[start:]) and len(old) < len(new)


@pytest.mark.parametrize("value", ["weaker", 3.5, SWEEP], ids=["word", "number", "sweep"])
@pytest.mark.parametrize("name", LAYOUTS)
def test_a_reading_is_put_in_and_not_one_other_character_changes(name: str, value: Any) -> None:
    old = LAYOUTS[name]
    new = _with(old, value)
    assert _is_put_in(old, new)
    entry = {"test": "look", "at": "door-fl", "value": value}
    before = tomllib.loads(old)
    assert tomllib.loads(new) == before | {"reading": [*before.get("reading", []), entry]}
    assert list(tomllib.loads(new)) == list(before | {"reading": 0})


def test_it_stands_where_a_person_would_put_it() -> None:
    block = '[[reading]]\ntest = "look"\nat = "door-fl"\nvalue = "weaker"\n'
    own = _with(LAYOUTS["own note"], "weaker")
    assert (
        own == f'[[reading]]\ntest = "a" # said twice\n# and wet\n\n{block}\n# of b\n[b]\nx = 1\n'
    )
    following = _with(LAYOUTS["note of the next"], "weaker")
    assert following == f'[[reading]]\ntest = "a"\n\n{block}\n# of b\n[b]\nx = 1\n'
    assert _with("", "weaker") == block
    margin = _with(LAYOUTS["margin"], "weaker")
    assert '  test = "a"\n\n  [[reading]]\n  test = "look"\n' in margin
    assert margin.endswith('  value = "weaker"\n\n[c]\n')
    assert '"inward"\n\n' + block + "\n[[finding]]" in _with(demo_text(), "weaker")


def test_lines_end_as_the_others_do() -> None:
    new = _with(LAYOUTS["windows"], "weaker")
    assert new.count("\r\n") == new.count("\n") == 11


@given(
    lines=st.lists(st.tuples(st.integers(0, 10_000), st.sampled_from(["", "# note", "  # x = ["]))),
    count=st.integers(1, 3),
)
@settings(max_examples=25)
def test_comments_and_blank_lines_anywhere_survive(
    lines: list[tuple[int, str]], count: int
) -> None:
    text = starter_text().splitlines(keepends=True)
    for place, line in lines:
        text.insert(place % (len(text) + 1), f"{line}\n")
    texts = list(accumulate(["".join(text), *map(str, range(count))], _with))
    assert all(_is_put_in(old, new) for old, new in pairwise(texts))
    old, new = loads(texts[0]), loads(texts[-1])
    added = tuple(Reading(test="look", at="door-fl", value=str(n)) for n in range(count))
    assert new == old.model_copy(update={"readings": (*old.readings, *added)})


@given(st.text(min_size=1, max_size=20))
def test_any_text_is_written_exactly_or_not_at_all(said: str) -> None:
    try:
        new = _with("", said)
    except BadInputError:
        # TOML writes no character of control but the tabulator, in no way that JSON knows too.
        assert "\x7f" in said
    else:
        assert tomllib.loads(new)["reading"][0]["value"] == said
    written = _with("{}", said, "json")
    assert json.loads(written)["reading"][0]["value"] == said


def test_json_keeps_order_and_margin() -> None:
    raw = {"format": 1, "job": {"title": "Lieferwagen für Bücher"}, "reading": [], "vehicle": {}}
    new = _with(json.dumps(raw, indent=4), "weaker", "json")
    entry = {"test": "look", "at": "door-fl", "value": "weaker"}
    assert json.loads(new) == raw | {"reading": [entry]}
    assert list(json.loads(new)) == list(raw)
    assert '\n    "job": {\n        "title": "Lieferwagen für Bücher"' in new
    assert _with("{}", SWEEP, "json").startswith('{\n  "reading": [\n    {\n')


@pytest.mark.parametrize(("text", "format"), [("a = = 1", "toml"), ("{", "json"), ("1", "json")])
def test_what_is_no_job_is_refused(text: str, format: Format) -> None:
    with pytest.raises(BadInputError, match="the text of a job file is wanted"):
        _with(text, "weaker", format)


# --- Files ------------------------------------------------------------------------------------


@pytest.fixture
def van(tmp_path: Path) -> Path:
    file = tmp_path / "van.toml"
    file.write_text(starter_text(), encoding="utf-8", newline="")
    return file


def _write(file: JobFile, at: str = "door-fl") -> JobFile:
    return write_text(
        file, with_reading(file.text, file.format, test="look", at=at, value="nothing")
    )


def _alone(van: Path) -> bool:
    return [path.name for path in van.parent.iterdir()] == [van.name]


def test_a_reading_is_in_the_file_and_in_the_job(van: Path) -> None:
    before = open_job(van)
    after = _write(before)
    assert van.read_bytes() == after.content == _with(before.text, "nothing").encode()
    assert after.job == load(van)
    assert after.job.readings == (
        *before.job.readings,
        Reading(test="look", at="door-fl", value="nothing"),
    )
    assert _alone(van)


def test_what_was_before_is_put_back_byte_for_byte(van: Path) -> None:
    content = b"\xef\xbb\xbf" + van.read_bytes().replace(b"\n", b"\r\n")
    van.write_bytes(content)
    before = open_job(van)
    after = _write(before)
    assert after.content.startswith(b"\xef\xbb\xbf#")
    assert after.content.count(b"\n") == after.content.count(b"\r\n") > content.count(b"\n")
    assert put_back(after, before).content == van.read_bytes() == content


def test_a_json_job_can_be_written(van: Path) -> None:
    file = van.with_suffix(".json")
    raw = tomllib.loads(starter_text())
    file.write_text(json.dumps(raw, default=str), encoding="utf-8")
    assert _write(open_job(file)).job == load(file)
    assert len(load(file).readings) == len(load(van).readings) + 1


def test_rights_and_links_stay(van: Path) -> None:
    van.chmod(0o640)
    link = van.with_name("link.toml")
    link.symlink_to(van)
    _write(open_job(link))
    assert link.is_symlink()
    assert len(load(van).readings) == 2
    assert stat.S_IMODE(van.stat().st_mode) == 0o640


@pytest.mark.parametrize("content", [b"format = 1\n", None], ids=["changed", "gone"])
def test_what_somebody_else_did_is_not_written_over(van: Path, content: bytes | None) -> None:
    before = open_job(van)
    after = _write(before)
    if content is None:
        van.unlink()
    else:
        van.write_bytes(content)
    said = r"van\.toml: found it changed by somebody else"
    with pytest.raises(BadInputError, match=said):
        _write(after)
    with pytest.raises(BadInputError, match=said):
        put_back(after, before)
    assert (van.read_bytes() if van.exists() else None) == content
    assert list(van.parent.glob(".*")) == []


def test_a_reading_of_nowhere_leaves_the_file_alone(van: Path) -> None:
    before = open_job(van)
    with pytest.raises(JobError, match=r"van\.toml: reading\[2\]\.at: found \"nowhere\"; it takes"):
        _write(before, at="nowhere")
    assert van.read_bytes() == before.content
    assert _alone(van)


def test_a_file_that_would_grow_too_large_to_be_read_is_left_alone(van: Path) -> None:
    text = starter_text()
    van.write_text(text + "#" * (LARGEST_FILE - len(text.encode()) - 1) + "\n", encoding="utf-8")
    before = open_job(van)
    with pytest.raises(JobError, match="a larger file"):
        _write(before)
    assert van.read_bytes() == before.content


def test_a_crash_while_writing_leaves_the_file_whole(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = open_job(van)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    for step in ("fsync", "replace"):
        with monkeypatch.context() as patched:
            patched.setattr(os, step, full)
            with pytest.raises(BadInputError, match=r"cannot be written \(No space left"):
                _write(before)
        assert van.read_bytes() == before.content
        assert _alone(van)


def test_a_folder_that_takes_no_file_is_named(van: Path) -> None:
    before = open_job(van)
    moved = van.parent.rename(van.parent.with_name("elsewhere"))
    with pytest.raises(BadInputError, match=r"van\.toml: cannot be written"):
        _write(before)
    assert (moved / "van.toml").read_bytes() == before.content


def test_a_file_that_cannot_be_read_is_refused_as_everywhere(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="No such file"):
        open_job(tmp_path / "none.toml")
    with pytest.raises(JobError, match=r"ends in \.toml or \.json"):
        open_job(tmp_path)
