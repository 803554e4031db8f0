"""What Python shows of its answers: HTML in the words of the text, short reprs, arrays, frames."""

import sys
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import conewright as cw
from conewright import shown
from conewright.job.builds.draws import draw
from conewright.papers.press.manifest import Entry
from conewright.stages.report.data import Axis, Report, Series
from conewright.views.html import as_html
from conewright.views.layout import Paragraph, Section, Table
from conewright.views.text import as_text

JOB = cw.demo_job()
FOUND, PLAN = JOB.build(), JOB.build("put-right")
REPORTS = {
    "find": cw.find(FOUND),
    "feed": cw.feed(PLAN, FOUND, at=np.array([20.0, 1000.0])),
    "hear": cw.hear(PLAN, against=FOUND),
    "fit": cw.fit(JOB.build("larger-fronts")),
    "compare": cw.compare(JOB),
}
MANIFEST = cw.Manifest(
    job="van",
    plan="put-right: rings",
    revision="1",
    paper="A4",
    files=(
        Entry(
            name="parts.pdf",
            purpose="parts and a quote",
            use="print",
            size_mm=(210.0, 297.0),
            bytes=1,
            sha256="0",
        ),
    ),
    notes=("The steel is thin.",),
)
NO_END = {"br"}


class _Page(HTMLParser):
    """Reads a piece of HTML: its words, its tags; refuses what is not closed in order."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: Counter[str] = Counter()
        self.attributes: set[str] = set()
        self._open: list[str] = []
        self.feed(page)
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        self.attributes |= {name for name, _ in attrs}
        if tag not in NO_END:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self._open:
            self.words.append(data)


def _letters(text: str) -> Counter[str]:
    """Return how often each character stands in a text, blanks and backticks aside."""
    return Counter("".join(text.replace("`", "").split()))


def _page(thing: object) -> _Page:
    page = shown.shown(thing, "html")
    assert isinstance(page, str)
    return _Page(page)


# --- HTML ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("stage", REPORTS)
def test_a_notebook_shows_the_words_and_numbers_of_the_text(stage: str) -> None:
    report = REPORTS[stage]
    page = _page(report)
    # So wide that no table goes on below with its first column again.
    assert _letters("".join(page.words)) == _letters(as_text(report, width=500))
    assert page.tags["table"] >= 1
    assert report.answer in page.words


@pytest.mark.parametrize("thing", [JOB, PLAN], ids=["job", "build"])
def test_jobs_and_builds_show_the_words_of_their_text(thing: cw.Job | cw.Build) -> None:
    assert _letters("".join(_page(thing).words)) == _letters(str(thing))


def test_a_job_shows_its_channels_its_places_and_its_plans() -> None:
    text = str(JOB)
    assert "front-right  -door-fr | (4.7 uF + pillar-fr)" in text
    assert "door-fl    front left door: budget-130" in text
    assert "put-right-patched  the same, and the door panel holes patched" in text
    assert max(map(len, text.splitlines())) <= 80


def test_a_build_shows_what_was_filled_in() -> None:
    page = " ".join(_page(FOUND).words)
    assert "Build: as-found (as found)" in page
    assert "Filled in: " in page
    assert all(fill.path.partition(".")[2] in page for fill in FOUND.fills)


def test_a_manifest_shows_each_file_with_what_it_is_for() -> None:
    page = _page(MANIFEST)
    assert page.words[:3] == [
        "Papers of put-right: rings, A4",
        "To print, at 100 % and not fitted to the page",
        "parts.pdf, 210 x 297 mm",
    ]
    assert " parts and a quote" in page.words
    assert str(MANIFEST).splitlines()[1:3] == ["  parts.pdf, 210 x 297 mm", "    parts and a quote"]
    assert str(MANIFEST).endswith("To know\n\N{WHITE CIRCLE} The steel is thin.\n")


@given(st.text(alphabet="<>&\"'`ab /=", max_size=60))
def test_whatever_a_job_says_is_text(words: str) -> None:
    sections = (
        Section(words, (Paragraph(words, first=words), Table([(words,)], [[(words, words)]]))),
        Section("", (Table([("a",), ("b",)], [[(words,), (words, words)]], note=words),)),
    )
    page = _Page(as_html(sections))
    assert set(page.tags) <= {
        *("div", "style", "section", "h4", "p", "b", "code", "br", "small"),
        *("table", "thead", "tbody", "tr", "th", "td"),
    }
    assert page.attributes <= {"class", "scope"}


def test_a_piece_of_html_asks_nothing_of_anywhere_outside() -> None:
    page = shown.shown(REPORTS["hear"], "html")
    assert not any(mark in page for mark in ("http", "url(", "@import", "<script", "<link"))


def test_a_table_reads_with_its_heads() -> None:
    table = Table([("place",), ("load", "[ohm]")], [[("rear",), ("2.2 T", "2.1 to 2.3")]])
    page = as_html([Section("", (table,))])
    assert '<th scope="col">load<br>[ohm]</th>' in page
    assert '<th scope="row">rear</th><td>2.2 T<br><small>2.1 to 2.3</small></td>' in page


# --- Short reprs ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("thing", "told"),
    [
        (
            JOB,
            "<Job Mobile library van: thin bass up front, rear cuts out on warm days: 4 channels",
        ),
        (PLAN, "<Build put-right: 4 channels, 8 locations, 2 seats; "),
        (draw(FOUND.axes), f"<Draws: 256 of {len(FOUND.axes)} axes>"),
        (MANIFEST, "<Manifest of put-right: rings: 1 file, 0 not made>"),
        (REPORTS["hear"].series[0], "<Series driver."),
        (REPORTS["hear"].series[0].x, "<Axis frequency [Hz]: "),
    ],
)
def test_a_repr_is_one_line_that_says_what_it_is(thing: object, told: str) -> None:
    assert repr(thing).startswith(told)
    assert len(repr(thing)) <= 160
    assert "\n" not in repr(thing)


def test_without_its_views_a_thing_still_prints(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shown, "_VIEWS", {})
    assert str(JOB) == repr(JOB)
    assert JOB._repr_html_() is None
    with pytest.raises(LookupError, match=r"import conewright\.pictures"):
        REPORTS["hear"].plot()


# --- Arrays --------------------------------------------------------------------------------------


def _series(values: tuple[object, ...], *, low: tuple[float, ...] | None = None) -> Series:
    return Series(
        id="a.b",
        subject="a",
        x=Axis(name="frequency", unit="Hz", values=tuple(range(len(values)))),
        y=Axis(name="b", unit="ohm", values=values, low=low, high=low),
    )


def _reread(series: Series) -> Series:
    return Series.model_validate_json(series.model_dump_json())


@pytest.mark.parametrize("read", [lambda series: series, _reread], ids=["made", "reread"])
def test_a_series_has_its_values_as_arrays(read: object) -> None:
    assert callable(read)
    real = read(_series((1.0, None), low=(0.5, 0.25)))
    assert real.frequency.tolist() == [0.0, 1.0]
    assert real.value.dtype == float
    assert (real.value[0], np.isnan(real.value[1])) == (1.0, True)
    assert (real.low.tolist(), real.high.tolist(), real.unit) == ([0.5, 0.25], [0.5, 0.25], "ohm")
    pairs = read(_series(((3.0, 4.0), (0.0, -1.5))))
    # closed form: |3 + 4j| = 5
    assert np.abs(pairs.value).tolist() == [5.0, 1.5]
    assert pairs.value[1] == -1.5j
    assert np.isnan(pairs.low).all()
    assert read(_series(("travel", "volts"))).value.tolist() == ["travel", "volts"]


def test_the_arrays_of_an_answer_are_its_lists() -> None:
    report = REPORTS["feed"]
    curve = report.curve("rear-left.impedance")
    assert curve.frequency.tolist() == [20.0, 1000.0]
    assert curve.value.tolist() == [complex(*pair) for pair in curve.y.values]
    assert (curve.low <= np.abs(curve.value)).all()
    assert (curve.high >= np.abs(curve.value)).all()


# --- Frames --------------------------------------------------------------------------------------


def test_figures_make_a_frame() -> None:
    report = REPORTS["feed"]
    frame = report.to_frame()
    assert list(frame.index) == [figure.id for figure in report.figures]
    load = report.figure("rear-left.minimum_impedance")
    row = frame.loc[load.id]
    assert (row["value"], row["low"], row["high"], row["unit"]) == (
        *(load.value, load.low, load.high, load.unit),
    )
    assert frame["value"].dtype == float


def test_a_series_makes_a_frame() -> None:
    curve = REPORTS["feed"].curve("rear-left.impedance")
    frame = curve.to_frame()
    assert list(frame.columns) == ["frequency", "value", "low", "high", "unit"]
    assert frame["value"].tolist() == curve.value.tolist()
    assert set(frame["unit"]) == {"ohm"}


def test_without_pandas_a_frame_says_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(cw.BadInputError, match="found no pandas; `pip install pandas`"):
        REPORTS["feed"].to_frame()


def test_a_report_that_was_read_back_shows_the_same(tmp_path: Path) -> None:
    file = tmp_path / "report.json"
    file.write_text(REPORTS["find"].model_dump_json(), encoding="utf-8")
    again = Report.model_validate_json(file.read_text("utf-8"))
    assert shown.shown(again, "html") == shown.shown(REPORTS["find"], "html")
