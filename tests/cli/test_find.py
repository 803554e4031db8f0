"""`conewright find`: the answer, and the dialogue that writes readings into the job file."""

import io
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from commands import Done, run, starter_in

import conewright as cw
from conewright.cli.commands import find as dialogue
from conewright.job.builds.states.build import Build
from conewright.stages.report.data import Severity, Verdict
from conewright.views.text import as_text

SOLO = "corner-solo@front-right"
TO_SOLO = ("other", SOLO)
"""What is typed to be asked for a reading whichever is proposed."""

_known: dict[str, cw.Report] = {}


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the same job be answered once for all tests."""
    real = cw.find

    def once(build: Build) -> cw.Report:
        key = build.job.model_dump_json()
        if key not in _known:
            _known[key] = real(build)
        return _known[key]

    monkeypatch.setattr(dialogue, "find", once)


@pytest.fixture
def van(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file of a short name: a long one would be broken over two lines."""
    monkeypatch.chdir(tmp_path)
    return starter_in(Path())


def _ask(van: Path, monkeypatch: pytest.MonkeyPatch, *lines: str) -> Done:
    """Hold a dialogue in which these lines are typed, and then nothing more."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
    done = run("find", van, "--ask")
    assert max(map(len, done.out.splitlines())) <= 80
    return done


def _readings(van: Path) -> list[tuple[str, str, object]]:
    """The readings that were added to those of the starter."""
    return [(entry.test, entry.at, entry.value) for entry in cw.load(van).readings[1:]]


def _flat(text: str) -> str:
    return " ".join(text.split())


# --- The answer -------------------------------------------------------------------------------


def test_the_answer_is_readable_and_has_everything(van: Path) -> None:
    done = run("find", van)
    text = _flat(done.out)
    report = cw.find(cw.load(van).build())
    assert done.code == 0
    assert done.out == str(report)
    assert done.out.startswith("FIND: what is wrong, and which reading to take next?")
    assert max(map(len, done.out.splitlines())) <= 80
    assert f"surround rotted or torn door-fl {report.figures[0].value:.0%}" in text.replace(
        " %", "%"
    )
    card = report.readings[0]
    for part in (card.how, card.equipment, f"Healthy {card.healthy}", f"! {card.cautions[0]}"):
        assert part in text
    for outlook in card.answers:
        assert re.search(rf"- {outlook.word} +{100 * outlook.chance:.0f} % ", text)
    assert f"The plan: {report.figure('plan.minutes').value:.0f} min expected" in text
    assert "Ruled out: " in text
    assert "Bands hold" not in text
    assert "conflict" not in text


@pytest.mark.parametrize("width", [40, 60, 100])
def test_no_line_is_longer_than_asked_for(width: int) -> None:
    """The demo has odds of wiring too here, and longer names than the starter."""
    text = cw.demo_text().replace('load = "side-rr | roof-rr"', 'load = "unknown"', 1)
    told = as_text(cw.find(cw.loads(text).build()), width=width)
    assert max(map(len, told.splitlines())) <= width
    assert "what hangs there" in told


def test_json_is_the_report_and_a_picture_is_drawn(van: Path, tmp_path: Path) -> None:
    picture = tmp_path / "odds.svg"
    done = run("find", van, "--json", "--picture", picture)
    assert done.code == 0
    assert json.loads(done.out) == cw.find(cw.load(van).build()).to_dict()
    assert picture.read_bytes().startswith(b"<?xml")


def test_what_nobody_knows_is_told_with_its_odds(van: Path) -> None:
    text = van.read_text(encoding="utf-8").replace('load = "door-fl"', 'load = "unknown"')
    van.write_text(text, encoding="utf-8")
    report = cw.find(cw.load(van).build())
    best = next(figure for figure in report.figures if figure.subject == "wiring")
    said = _flat(run("find", van).out)
    assert "what hangs there channel odds in words" in said
    assert f"{best.label} front-left {100 * (best.value or 0.0):.0f} %" in said


def test_a_job_that_find_cannot_read_is_refused_by_name(van: Path) -> None:
    text = van.read_text(encoding="utf-8").replace("buzz-one-corner", "buzzes")
    van.write_text(text, encoding="utf-8")
    for words in ([], ["--ask"]):
        done = run("find", van, *words)
        assert (done.code, done.out) == (2, "")
        assert f'{van}: "buzzes" is no complaint' in _flat(done.err)


# --- The dialogue -----------------------------------------------------------------------------


def test_an_answer_is_asked_for_written_and_weighed(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = cw.find(cw.load(van).build())
    card = before.readings[0]
    answer = card.answers[-1]
    done = _ask(van, monkeypatch, answer.word, "stop")
    text = _flat(done.out)
    assert (done.code, done.err) == (0, "")
    assert _readings(van) == [(card.test, card.subject, answer.word)]
    assert f"at {card.subject}, {card.minutes:g} min How {card.how} With {card.equipment}" in text
    assert re.search(rf"(?:\d|-) {answer.word} +{100 * answer.chance:.0f} % ", text)
    assert f"> {answer.word} Written: {card.test} at {card.subject}: {answer.word}." in text
    after = cw.find(cw.load(van).build())
    for figure in after.figures[:3]:
        old = before.figure(figure.id).value or 0.0
        new = figure.value or 0.0
        assert f"{100 * new:.0f} % {figure.label} (was {100 * old:.0f} %)" in text
    assert f"{van.name}: 1 reading written." in text
    assert text.endswith(_flat(after.answer))


def test_the_readme_shows_what_is_asked(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    found = re.search(r"```text\n(Slow bass tone at door-fl.*?)```", readme, re.DOTALL)
    assert found is not None
    done = _ask(van, monkeypatch, "other", "slow-bass@door-fl", "rasp", "stop")
    asked, answered = found[1].split("  ...\n")
    assert asked in done.out
    assert answered in done.out


def test_the_file_keeps_all_that_stood_there(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = van.read_text(encoding="utf-8").splitlines()
    _ask(van, monkeypatch, *TO_SOLO, "equal", "skip")
    new = van.read_text(encoding="utf-8").splitlines()
    assert [line for line in new if line not in old] != []
    rest = iter(new)
    assert all(line in rest for line in old)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("2", "weaker"),
        ("weak", "weaker"),
        ("EQUAL", "equal"),
        ("skip", "not conclusive"),
        ("Not conclusive", "not conclusive"),
    ],
)
def test_a_word_can_be_numbered_begun_or_withheld(
    van: Path, monkeypatch: pytest.MonkeyPatch, typed: str, value: str
) -> None:
    _ask(van, monkeypatch, *TO_SOLO, typed)
    assert _readings(van) == [("corner-solo", "front-right", value)]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("4", "found 4; allowed are 1 to 3"),
        ("s", 'found "s", which may be silent or skip or stop'),
        ("loud", 'found "loud"; allowed is one of: silent, weaker, equal; or say skip, other'),
        ("", "found nothing; allowed are silent, weaker, equal, skip"),
        ("3.4 ohm", 'found "3.4 ohm"; allowed is one of: silent, weaker, equal'),
    ],
)
def test_what_is_no_answer_is_asked_again(
    van: Path, monkeypatch: pytest.MonkeyPatch, typed: str, said: str
) -> None:
    done = _ask(van, monkeypatch, *TO_SOLO, typed, "weaker")
    assert said in _flat(done.out)
    assert done.code == 0
    assert _readings(van) == [("corner-solo", "front-right", "weaker")]


def test_another_reading_is_chosen_by_number_or_by_name(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = cw.find(cw.load(van).build())
    numeric = next(n for n, card in enumerate(report.readings, 1) if card.unit == "V")
    card = report.readings[numeric - 1]
    done = _ask(
        van, monkeypatch, "other", str(numeric), "0.2", "other", "look@door-fl", "torn", "stop"
    )
    text = _flat(done.out)
    for place, entry in enumerate(report.readings, start=1):
        assert f"{place} {entry.title} at {entry.subject}, {entry.minutes:g} min" in text
    assert f"Healthy {card.healthy}" in text
    assert "Say a number (in V if you name no unit)" in text
    assert f"{card.subject}: 0.2 V (taken in V, as no unit was named)." in text
    assert "A look at the driver at door-fl, 34 min, 30 of them to get there" in text
    assert "Say 1 torn surround, 2 loose cap" in text
    assert _readings(van) == [
        (card.test, card.subject, "0.2 V"),
        ("look", "door-fl", "torn surround"),
    ]


def test_a_reading_that_cannot_be_taken_is_refused_before_it_is_taken(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = _ask(
        van, monkeypatch, "other", "9", "lok@door-fl", "look", "look@door-xx", "look@vehicle", ""
    )
    text = _flat(done.out)
    assert "found 9; allowed are 1 to 8" in text
    assert '"lok" is no test; did you mean "look"?' in text
    assert 'found "look"; allowed is a number of the list, or a test and its place' in text
    assert 'reading[2].at: found "door-xx"; it takes a place in the job; did you mean' in text
    assert "look is done at a channel or a driver, not at the vehicle" in text
    best = cw.find(cw.load(van).build()).readings[0]
    assert text.count(f"How {best.how}") == 2
    assert _readings(van) == []


def test_the_last_reading_is_taken_back_byte_for_byte(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = van.read_bytes()
    done = _ask(van, monkeypatch, "undo", *TO_SOLO, "weaker", "undo", "stop")
    text = _flat(done.out)
    assert van.read_bytes() == content
    assert "Nothing was written in this sitting" in text
    assert "Taken back: corner-solo at front-right: weaker." in text
    assert f"{van.name}: nothing was written." in text
    best = cw.find(cw.load(van).build()).readings[0]
    assert text.count(f"How {best.how}") >= 3


def test_at_85_percent_it_is_enough_but_one_may_go_on_or_back(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = _ask(
        van, monkeypatch, "other", "look@door-fl", "torn", "x", "undo", "other", "look@door-fl",
        "torn surround", "more", "skip", "",
    )  # fmt: skip
    text = _flat(done.out)
    enough = "A cause is as good as certain. Say take or stop or undo or more."
    assert text.count(enough) == 3
    assert f"{enough} > x Say one of: take, stop, undo, more." in text
    assert [value for _, _, value in _readings(van)] == ["torn surround", "not conclusive"]
    end = text[text.index("2 readings written.") :]
    assert re.search(r"▲ warn Surround rotted or torn at door-fl: about \d+ in \d+", end)
    assert "○ note door-fl: Budget for its twin on the other side" in end
    assert "The next reading worth taking" not in end


class Typed:
    """Standard input on which things happen between the lines."""

    def __init__(self, lines: Iterator[str]) -> None:
        self.lines = lines

    def isatty(self) -> bool:
        return False

    def readline(self) -> str:
        return next(self.lines, "")


def test_breaking_off_leaves_the_file_whole(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaking_off() -> Iterator[str]:
        yield "skip\n"
        raise KeyboardInterrupt

    monkeypatch.setattr(sys, "stdin", Typed(breaking_off()))
    done = run("find", van, "--ask")
    assert (done.code, done.err) == (0, "")
    assert "1 reading written." in _flat(done.out)
    assert [value for _, _, value in _readings(van)] == ["not conclusive"]


def test_a_file_somebody_else_changed_is_not_written_over(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    theirs = van.read_text(encoding="utf-8") + "# theirs\n"

    def meanwhile() -> Iterator[str]:
        van.write_text(theirs, encoding="utf-8")
        yield "skip\n"

    monkeypatch.setattr(sys, "stdin", Typed(meanwhile()))
    done = run("find", van, "--ask")
    assert done.code == 2
    assert f"{van}: found it changed by somebody else meanwhile" in _flat(done.err)
    assert van.read_text(encoding="utf-8") == theirs
    assert [path.name for path in van.parent.iterdir()] == [van.name]


def test_an_answer_that_find_refuses_is_taken_back(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = van.read_bytes()
    weigh = cw.find

    def refuse(build: Build) -> cw.Report:
        if len(build.job.readings) > 1:
            raise cw.BadInputError("reading[2]: no such thing")
        return weigh(build)

    monkeypatch.setattr(dialogue, "find", refuse)
    done = _ask(van, monkeypatch, "skip", "stop")
    assert "Taken back, it cannot be used: reading[2]: no such thing." in _flat(done.out)
    assert van.read_bytes() == content


def test_a_stop_is_said_as_soon_as_a_reading_gives_it(
    van: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    weigh = cw.find
    stop = Verdict(
        id="front-left.stop-channel-offset",
        subject="front-left",
        severity=Severity.STOP,
        text="Stop at front-left: fuse out.",
    )

    def dangerous(build: Build) -> cw.Report:
        report = weigh(build)
        more = (stop,) if len(build.job.readings) > 1 else ()
        return report.model_copy(update={"verdicts": (*report.verdicts, *more)})

    monkeypatch.setattr(dialogue, "find", dangerous)
    text = _flat(_ask(van, monkeypatch, "skip", "skip", "stop").out)
    told = [place.start() for place in re.finditer("■ stop Stop at front-left", text)]
    assert len(told) == 2
    assert text.index("Written: ") < told[0] < text.rindex("How ")
    assert text.index("2 readings written.") < told[1]
    assert text.index("▲ warn Before opening") < text.index("How ")


def test_nothing_worth_taking_ends_it(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    report = cw.find(cw.load(van).build())
    figures = tuple(figure for figure in report.figures if figure.id != "plan.chance")
    exhausted = report.model_copy(update={"readings": (), "plan": (), "figures": figures})
    monkeypatch.setattr(dialogue, "find", lambda _: exhausted)
    done = _ask(van, monkeypatch, "more", "stop")
    text = _flat(done.out)
    assert "No reading that is left tells enough to be worth its minutes." in text
    assert "Say one of: stop, undo." in text
    assert done.code == 0


def test_asking_goes_with_no_other_way_of_answering(van: Path) -> None:
    done = run("find", van, "--ask", "--json")
    assert (done.code, done.out) == (2, "")
    assert "--ask" in done.err


def test_a_line_that_is_no_text_is_refused(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"\xff\xfe\n"), "utf-8"))
    done = run("find", van, "--ask")
    assert done.code == 2
    assert "standard input: found bytes that are no text" in done.err


def test_a_json_job_is_asked_about_too(van: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = van.with_suffix(".json")
    file.write_text(cw.load(van).model_dump_json(by_alias=True, exclude_unset=True), "utf-8")
    done = _ask(file, monkeypatch, *TO_SOLO, "weaker", "stop")
    assert done.code == 0
    assert _readings(file) == [("corner-solo", "front-right", "weaker")]
