"""`conewright choose`: the best plan told, drawn, listed and written, and what cannot be asked."""

import json
from pathlib import Path

import pytest
from commands import run, starter_in

import conewright as cw
from conewright.stages.choose.finals.plan_answers import Choice
from conewright.store import Store

INVENTED = ("--catalogue", "invented")
MONEY = ("--money", "300", "--hours", "6")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep jobs and catalogues in a file of this test's own, and work in a folder of its own."""
    monkeypatch.setenv("CONEWRIGHT_STORE", f"sqlite:///{tmp_path / 'kept.sqlite'}")
    monkeypatch.chdir(tmp_path)
    starter_in(tmp_path)
    return tmp_path


def _said(*words: object, code: int = 0) -> str:
    done = run("choose", *words)
    assert done.code == code, done.err
    assert "Traceback" not in done.err
    return done.out if code == 0 else " ".join(done.err.split())


def _choice(*words: object) -> Choice:
    return Choice.model_validate(json.loads(_said("van.toml", *INVENTED, *words, "--json")))


def _value(choice: Choice, role: str) -> float:
    value = choice.plan_of(role).value
    assert value is not None
    return value


def test_the_best_plan_is_told_and_drawn() -> None:
    text = _said("van.toml", *INVENTED, *MONEY, "--picture", "choice.svg")
    assert text.startswith("CHOOSE: which parts, for this money?\n")
    assert "Parts: 204 of invented" in text
    assert "How it was proved" in text
    assert max(map(len, text.splitlines())) <= 80
    assert Path("choice.svg").read_text(encoding="utf-8").lstrip().startswith("<?xml")


def test_json_is_the_whole_answer_and_the_limits_hold() -> None:
    choice = _choice(*MONEY)
    best = choice.plan_of("best")
    assert best.money <= 300.0 + 1e-9
    assert best.hours <= 6.0 + 1e-9
    assert _value(choice, "best") >= _value(choice, "do-nothing")
    assert {figure.id for figure in choice.figures} >= {"best.value", "choice.proved_gap"}
    # What may not be changed is as it was.
    assert _value(_choice(*MONEY, "--may", "ring"), "best") <= _value(choice, "best") + 1e-6


def test_the_python_door_gives_the_same() -> None:
    job = cw.load("van.toml")
    choice = cw.choose(job, cw.offer("invented"), money=300.0, hours=6.0)
    told = _choice(*MONEY)
    assert (choice.plans, choice.front) == (told.plans, told.front)
    assert str(choice).startswith("CHOOSE: ")


def test_options_are_listed_and_chosen_among() -> None:
    listed = _said("van.toml", *INVENTED, *MONEY, "--list-options")
    assert all(isinstance(each, dict) for each in json.loads(listed))
    Path("options.json").write_text(listed, encoding="utf-8")
    again = _choice(*MONEY, "--options", "options.json")
    assert _value(again, "best") == pytest.approx(_value(_choice(*MONEY), "best"))


def test_plans_are_written_as_proposals_that_go_on_from_there() -> None:
    before = {proposal.id for proposal in cw.load("van.toml").proposals}
    text = _said("van.toml", *INVENTED, *MONEY, "--write", "2")
    assert "written: " in text
    assert text.endswith("Next: conewright compare van.toml\n")
    added = [each.id for each in cw.load("van.toml").proposals if each.id not in before]
    assert 1 <= len(added) <= 2
    assert run("fit", "van.toml", "--proposal", added[0]).code == 0


def test_with_json_only_json_is_on_standard_output() -> None:
    done = run("choose", "van.toml", *INVENTED, *MONEY, "--write", "1", "--json")
    assert Choice.model_validate(json.loads(done.out)).stage == "choose"
    assert "van.toml: proposal is written: " in " ".join(done.err.split())


def test_a_plan_goes_into_a_kept_job_as_its_next_revision() -> None:
    run("jobs", "--import", "van.toml")
    with Store.open() as store:
        kept = store.jobs()[0].name
    assert "written: " in _said(kept, *INVENTED, *MONEY, "--write", "1")
    with Store.open() as store:
        assert store.jobs()[0].revision == 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--money", "-5"), "--money: found -5; 0 or more is allowed"),
        (("--hours", "nan"), "--hours: found nan; 0 or more is allowed"),
        (("--lead-days", "-2"), "--lead-days: found -2; 0 or more is allowed"),
        (("--gap", "-1"), "--gap: found -1; 0 or more is allowed"),
        (("--may", "driver,wheel"), '--may: found "wheel"; allowed: driver, ring, cover'),
        (("--may", ""), '--may: found ""; allowed: driver'),
        (("--allow", "glue"), '--allow: found "glue"; allowed: cut'),
        (("--seat", "roof"), 'van.toml: --seat: found "roof"; known are '),
        (("--write", "0"), "'--write'"),
        (("--catalogue", "none"), "none: found no kept catalogue of that name"),
        (("--catalogue", "none.csv"), "none.csv: cannot be read"),
        (("--options", "none.json"), "none.json: cannot be read"),
        (("--list-options", "--write", "1"), "--list-options and --write; give one at a time"),
        (("--list-options", "--picture", "p.png"), "--list-options and --picture; give one"),
    ],
)
def test_what_cannot_be_asked_is_told_with_what_can(words: tuple[str, ...], said: str) -> None:
    before = Path("van.toml").read_bytes()
    assert said in _said("van.toml", *words, code=2)
    assert Path("van.toml").read_bytes() == before
