"""A report as plain text: what stands where, that it stays within its width, that it adds up."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conewright.job.builds.states.value import Origin
from conewright.stages.report.data import (
    Axis,
    Caution,
    Figure,
    FillNote,
    Kind,
    Narrowing,
    Report,
    Series,
    Severity,
    Verdict,
)
from conewright.views.cells import Column, Shown
from conewright.views.layout import paragraph, table
from conewright.views.numbers import summing
from conewright.views.text import as_text


def _figure(id: str, value: float | None, *, low: float | None = None, high: float | None = None,
            unit: str = "ohm", kind: Kind = Kind.NUMBER, origin: Origin = Origin.SHEET,
            frequency_hz: float | None = None, text: str | None = None) -> Figure:  # fmt: skip
    subject, name = id.split(".")
    return Figure(
        id=id, subject=subject, name=name, value=value, low=low, high=high, unit=unit,
        kind=kind, origin=origin, label=name.replace("_", " "), frequency_hz=frequency_hz,
        text=text,
    )  # fmt: skip


def _verdict(subject: str, severity: Severity, text: str) -> Verdict:
    return Verdict(id=f"{subject}.x", subject=subject, severity=severity, text=text)


FEED = Report(
    stage="feed",
    job="Two vans and a boat",
    build="put-right",
    title="right door turned round",
    against="as-found",
    answer="The hardest load is rear-left with 2.2 ohm.",
    figures=(
        _figure("rear-left.minimum_impedance", 2.24, low=2.16, high=2.32, frequency_hz=210.0),
        _figure("rear-left.plug_resistance", None, text="open"),
        _figure("rear-left.clean_power_change", 1.2, low=0.9, high=1.5, unit="dB",
                kind=Kind.CHANGE),
        _figure("door.power_share", 0.95, low=0.94, high=0.96, unit="", kind=Kind.SHARE,
                origin=Origin.TYPICAL),
        _figure("head_unit.chip_temperature", 139.0, low=132.0, high=143.0, unit="degC"),
    ),
    verdicts=(
        _verdict("head_unit", Severity.GOOD, "The chip stays cool."),
        _verdict("rear-left", Severity.STOP, "The load is too low."),
        _verdict("rear-right", Severity.STOP, "The load is too low."),
        _verdict("front", Severity.WARN, "front is loud."),
    ),
    narrowing=(
        Narrowing(path="budget.re", label="d.c. resistance, budget", origin=Origin.TYPICAL,
                  share=0.42, figure="rear-left.minimum_impedance"),
    ),
    cautions=(Caution(id="fuse", text="A fuse at the source.", source="s"),),
    fills=(
        FillNote(path="a.b", value="1", origin=Origin.TYPICAL, source="s"),
        FillNote(path="a.c", value="1", origin=Origin.ASSUMED, source="s"),
        FillNote(path="a.d", value="1", origin=Origin.ASSUMED, source="s"),
    ),
)  # fmt: skip


def test_a_report_prints_in_the_order_of_a_job_card() -> None:
    text = str(FEED)
    order = [
        "FEED: what does each channel drive",
        "Job: Two vans and a boat",
        "Build: put-right (right door turned round), against as-found",
        "The hardest load is rear-left",
        "\nchannel ",
        "\nradio ",
        "M measured, S sheet, T typical, A assumed",
        "What it means",
        "What to measure next",
        "Take care",
        "Not given, so filled in: 1 typical and 2 assumed values; `conewright check`",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert text.endswith("lists them.\n")


def test_figures_stand_with_origin_band_and_frequency() -> None:
    lines = str(FEED).splitlines()
    row = next(index for index, line in enumerate(lines) if line.startswith("rear-left  "))
    # Closed form: what the report holds, as a person would write it.
    assert lines[row].split() == ["rear-left", "2.24", "S", "open", "+1.2", "S"]
    assert lines[row + 1].split() == ["2.16", "to", "2.32", "+0.9", "to", "+1.5"]
    assert lines[row + 2].split() == ["at", "210", "Hz"]
    assert ["door", "95.0", "T"] in [line.split() for line in lines]
    assert "chip temperature  139 S  °C  132 to 143" in str(FEED)


def test_verdicts_come_worst_first_and_alike_ones_once() -> None:
    text = str(FEED)
    meaning = text[text.index("What it means") : text.index("What to measure")].splitlines()
    assert meaning[1:5] == [
        "■ stop rear-left, rear-right: The load is too low.",
        "▲ warn front is loud.",
        "● good The chip stays cool.",
        "",
    ]


def test_the_next_measurement_says_how_and_what_it_buys() -> None:
    text = " ".join(str(FEED).split())
    assert "1. d.c. resistance, budget (budget.re, so far typical): takes 42 % off the band" in text
    assert "How: meter at the driver's own terminals" in text


def test_a_short_repr_names_stage_builds_and_answer() -> None:
    assert repr(FEED) == (
        "<Report feed of put-right against as-found: The hardest load is rear-left with 2.2 ohm.>"
    )


def test_curves_at_few_frequencies_are_shown_as_numbers() -> None:
    x = Axis(name="frequency", unit="Hz", values=(20.0, 1000.0))
    curves = (
        Series(id="a.impedance", subject="a", x=x,
               y=Axis(name="impedance", unit="ohm", values=((3.0, 4.0), (0.0, -1.5)))),
        Series(id="s.limit", subject="s", x=x,
               y=Axis(name="limit", unit="", values=("travel", "volts"))),
        Series(id="s.level", subject="s", x=x,
               y=Axis(name="level", unit="dB", values=(-3.0, None))),
    )  # fmt: skip
    report = FEED.model_copy(update={"series": curves})
    # What comes back from JSON prints the same.
    for shown in (report, Report.model_validate_json(report.model_dump_json())):
        _check_points([line.split() for line in str(shown).splitlines()])


def _check_points(lines: list[list[str]]) -> None:
    assert ["curve", "20", "Hz", "1000", "Hz"] in lines
    # Closed form: |3 + 4j| = 5.
    assert ["a.impedance", "[ohm]", "5", "1.5"] in lines
    assert ["s.limit", "travel", "volts"] in lines
    # Nobody hears a hundredth of a decibel: every level has one decimal.
    assert ["s.level", "[dB]", "−3.0", "–"] in lines


@pytest.mark.parametrize("stage", ["feed", "hear", "fit", "compare", "prove"])
def test_a_report_without_figures_still_prints(stage: str) -> None:
    bare = Report(stage=stage, job="j", build="as-found", title="as found", answer="Nothing yet.")
    text = str(bare)
    assert "Nothing yet." in text
    assert "Build: as-found\n" in text or stage == "compare"
    assert "measured" not in text


@given(
    words=st.text(alphabet="ab -.|\N{MINUS SIGN}", max_size=300),
    name=st.text(alphabet="abc-", min_size=1, max_size=60),
    width=st.integers(40, 100),
)
def test_no_line_passes_the_width(words: str, name: str, width: int) -> None:
    figures = tuple(
        _figure(f"{name}.{figure}", value, low=-12345.0, high=12345.0, text=words)
        for figure, value in (
            ("minimum_impedance", -1.0),
            ("plug_resistance", None),
            ("clean_power", 12345.6),
            ("power_share", 1e6),
        )
    )
    report = FEED.model_copy(
        update={
            "job": words,
            "answer": words,
            "figures": figures,
            "verdicts": (_verdict(name, Severity.WARN, words),),
        }
    )
    assert max(map(len, as_text(report, width=width).splitlines())) <= width


def test_a_table_too_wide_goes_on_below_with_its_first_column() -> None:
    head = [("id",), ("one",), ("two",), ("three",)]
    rows = [[("a", "b"), ("1",), ("2", "22"), ("3",)]]
    assert table(head, rows, width=12) == [
        "id  one  two",
        "a     1    2",
        "b         22",
        "",
        "id  three",
        "a       3",
        "b",
    ]
    assert table(head, rows, width=19)[0] == "id  one  two  three"


def test_a_number_stays_with_its_unit_and_an_id_in_one_piece() -> None:
    assert paragraph("it is 12 ohm", width=9) == ["it is", "12 ohm"]
    assert paragraph("see front-left", width=12) == ["see", "front-left"]


@given(st.lists(st.floats(-40, 40), min_size=1, max_size=7))
def test_printed_parts_add_up_to_the_printed_total(parts: list[float]) -> None:
    total = sum(parts)
    texts, whole = summing(parts, total)
    numbers = [float(text.replace("\N{MINUS SIGN}", "-")) for text in (*texts, whole)]
    assert round(10 * sum(numbers[:-1])) == round(10 * numbers[-1])
    # Closed form: rounding moves nothing by more than one step of 0.1.
    assert abs(numbers[-1] - total) <= 0.05 + 1e-9
    for number, part in zip(numbers, parts, strict=False):
        assert abs(number - part) <= 0.15


def test_one_rounding_error_is_given_to_the_part_rounded_hardest() -> None:
    # Closed form: 0.04 + 0.04 + 1.0 = 1.08, printed 1.1; one of the small ones gives way.
    assert summing([0.04, 0.03, 1.0], 1.07) == (["+0.1", "0.0", "+1.0"], "+1.1")


@pytest.mark.parametrize(
    ("shown", "cell"),
    [
        ("band", ("24.0 S", "23.5 to 24.5")),
        ("origin", ("24.0 S",)),
        ("number", ("24.0",)),
        ("words", ("deep", "enough")),
        ("frequency", ("50",)),
    ],
)
def test_what_a_column_shows_of_a_figure(shown: Shown, cell: tuple[str, ...]) -> None:
    figure = _figure("a.b", 24.0, low=23.5, high=24.5, frequency_hz=50.0, text="deep enough")
    assert Column("b", "b", shown).cell(figure) == cell


@pytest.mark.parametrize(
    ("kind", "cell"), [(Kind.ODDS, ("certain",)), (Kind.YES, ("yes",)), (Kind.CHANGE, ("+1 S",))]
)
def test_odds_and_yes_go_without_an_origin(kind: Kind, cell: tuple[str, ...]) -> None:
    assert Column("b", "b").cell(_figure("a.b", 1.0, kind=kind)) == cell


def test_a_change_that_is_none_has_no_origin() -> None:
    assert Column("b", "b").cell(_figure("a.b", 0.0, kind=Kind.CHANGE)) == ("0",)


@pytest.mark.parametrize("value", [float("inf"), float("nan"), None])
def test_what_is_no_number_is_said_in_words(value: float | None) -> None:
    assert Column("b", "heading").cell(_figure("a.b", value, text="open: nothing there")) == (
        "open",
    )
    assert Column("b", "heading").cell(_figure("a.b", value)) == ("no answer",)
    assert Column("b", "heading").cell(None) == ("–",)


@pytest.mark.parametrize("high", [2.0, 2.0 + 1e-15, float("inf")])
def test_a_band_that_is_none_is_not_shown(high: float) -> None:
    assert Column("b", "b").cell(_figure("a.b", 2.0, low=2.0, high=high)) == ("2 S",)
