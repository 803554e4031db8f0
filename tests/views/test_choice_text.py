"""What choose answers, as plain text and in a notebook: plans side by side, other money, proof."""

import pytest

from conewright.stages.report.data import Kind
from conewright.views.html import report_as_html
from conewright.views.numbers import many
from conewright.views.text import as_text
from invented_choice import BEST, CHEAPER, NOTHING, PLANS, choice, choice_figure


def _words(text: str) -> str:
    return " ".join(text.split())


def _row(text: str, title: str) -> list[str]:
    (line,) = [line for line in text.splitlines() if line.startswith(title)]
    return line.removeprefix(title).split()


def test_it_is_said_in_the_order_of_a_job_card() -> None:
    text = str(choice())
    order = [
        "CHOOSE: which parts, for this money?",
        "Job: Mobile library van",
        "Parts: 2,252 of shop, version 2, sha256 0123456789ab",
        "For 277 EUR and 4.7 h",
        "\npoints of 100 ",
        "\nwhat less money buys ",
        "\nwhat fewer hours do ",
        "\nplans of the job ",
        "those of money hold 90 %",
        "What goes in: best",
        "What goes in: recommended",
        "What breaks a limit",
        "What it means",
        "What more money buys",
        "Measure first, or buy?",
        "What does not go in",
        "How it was proved",
        "Take care",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_points_of_each_wish_stand_side_by_side_and_add_up() -> None:
    text = str(choice())
    assert _row(text, "points of 100") == ["best", "recommended", "do", "nothing", "fix", "only"]
    rows = ("bass ", "loudness ", "clarity ", "reversible ", "appearance ")
    bass = next(line.split()[1:] for line in text.splitlines() if line.startswith("bass  "))
    assert bass == ["23.6", "22.1", "13.3", "17.8"]
    columns = zip(
        *(
            map(float, next(x.split()[1:] for x in text.splitlines() if x.startswith(row)))
            for row in rows
        ),
        strict=True,
    )
    total = [float(each) for each in _row(text, "all together")]
    # Closed form: what is printed adds up as printed.
    assert [round(sum(column), 1) for column in columns] == total
    assert _row(text, "at the careful ends") == ["66.0", "67.5", "50.0", "52.0"]


def test_money_has_the_ends_of_a_quote_and_nothing_costs_nothing() -> None:
    lines = str(choice()).splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith("money [EUR]"))
    assert lines[place].split() == ["money", "[EUR]", "277", "214", "0", "94"]
    assert lines[place + 1].split() == ["231", "to", "338", "172", "to", "262", "62", "to", "152"]
    assert _row(str(choice()), "hours of work") == ["4.7", "3.9", "0", "1.5"]


def test_what_goes_in_is_told_with_parts_and_why_the_best_is_not_recommended() -> None:
    words = _words(str(choice()))
    assert (
        "What goes in: best door-f? new woofers 130 mm with rings (2 supplier-3-130-a, 2 ring-130)"
    ) in words
    assert "Not recommended: at the far end of the prices it costs 338 EUR" in words
    assert "do nothing: the rear channels load the radio with 2.2 ohm" in words


def test_one_plan_in_two_roles_stands_once() -> None:
    both = BEST.model_copy(update={"roles": ("best", "recommended", "front-1"), "why_not": None})
    text = str(choice(both, NOTHING))
    assert "What goes in: best and recommended" in text
    assert "Not recommended" not in text
    assert "fix only" not in text
    idle = NOTHING.model_copy(update={"roles": ("best", "recommended", "do-nothing", "fix-only")})
    words = _words(str(choice(idle)))
    assert "What goes in: best, recommended, do nothing and fix only nothing is changed" in words
    assert "Left as it is: one driver connected the wrong way round at door-fr" in words


def test_less_and_more_money_are_told_with_what_they_buy() -> None:
    words = _words(str(choice()))
    assert "new woofers without rings, rear pairs in series 148 3.1 66.4" in words
    assert "20 EUR more: nothing better." in words
    assert (
        "50 EUR more: 2.7 points: as the best, with new loudspeakers at the sides "
        "(341 EUR, 5.6 h)." in words
    )
    assert "put-right: right door turned round, rings 94 1.5 57.8" in words
    near = CHEAPER.model_copy(update={"id": "near-1", "roles": ("near-1",)})
    assert "nearly as good" in str(choice(BEST, near))


def test_rejected_parts_are_counted_by_reason_and_three_of_each_are_told() -> None:
    text = str(choice())
    assert "Ruled out of 2,252 parts, by reason:\n1,321 too deep behind\n" in text
    assert "  supplier-3-165-b at door-fl: 63 mm deep, and 51.8 mm go in\n" in text
    assert "supplier-4-165-b" not in text
    plans = choice_figure(
        "choice.plans_rejected_heat", 2.5e6, kind=Kind.COUNT, label="heat the chip too much"
    )
    assert "Of whole plans: 2.5 million heat the chip too much." in str(choice(figures=(plans,)))


def test_the_proof_is_one_line_and_names_its_gap() -> None:
    report = choice()
    assert report.search is not None
    said = (
        "Of 440 billion plans from 13,717 options, 1,494 were worked out exactly; no other one "
        "can be worth more than 76.3 points (1.3 s)."
    )
    assert said in _words(str(report))
    search = report.search.model_copy(update={"gap": 0.25, "bound": 76.6})
    words = _words(str(report.model_copy(update={"search": search})))
    assert "so the best is proved to within 0.25 points" in words
    whole = report.search.model_copy(update={"bound": None})
    assert "no other one can be worth more (1.3 s)" in _words(
        str(report.model_copy(update={"search": whole}))
    )


def test_a_silent_vehicle_has_no_points_but_costs_and_hours() -> None:
    silent = BEST.model_copy(update={"value": None, "careful_value": None, "points": {}})
    text = str(choice(silent))
    assert _row(text, "all together") == ["–"]
    assert "277" in text


def test_without_any_plan_it_still_says_why() -> None:
    empty = choice().model_copy(update={"plans": (), "front": (), "search": None})
    text = str(empty)
    assert "points of 100" not in text
    assert "How it was proved" not in text
    assert "What does not go in" in text


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_no_line_is_longer_than_it_may_be(width: int) -> None:
    text = as_text(choice(), width=width)
    assert max(map(len, text.splitlines())) <= width


def test_a_notebook_and_json_hold_the_same() -> None:
    report = choice()
    page = report_as_html(report)
    assert "<td>277<br><small>231 to 338</small></td>" in page
    assert "<h4>What goes in: best</h4>" in page
    data = report.to_dict()
    assert type(report).model_validate(data) == report
    assert [each["id"] for each in data["plans"]] == [each.id for each in PLANS]
    assert data["front"][0]["plan"] == "best"
    assert data["search"]["plans"] == 4.4e11
    assert "<h4>What goes in: fix only</h4>" in page


# Closed form: as a person would write it.
@pytest.mark.parametrize(
    ("count", "said"),
    [
        (0, "0"),
        (999, "999"),
        (1321, "1,321"),
        (999_999, "999,999"),
        (1e6, "1 million"),
        (4.4e11, "440 billion"),
        (2.53e12, "2.53 trillion"),
        (3e20, "more than 1000 trillion"),
    ],
)
def test_large_numbers_are_said_in_words(count: float, said: str) -> None:
    assert many(count) == said
