"""A convertible with a boxed woofer behind a seat: what a practitioner would say.

Written before the job was run:

- The box is the bass of this car. A 28 L woofer in 18 L rings near 36 sqrt(1 + 28/18) = 57 Hz and
  is not boomy; wadding softens the air by a fifth and is worth a decibel at most.
- With the top up the cabin helps, less than in a saloon, since cloth gives way. With the top down
  it does not help at all: at 40 Hz the same box is down by 10 dB and more, nobody can say it to a
  decibel, and no resonance of the cabin is to be told of. From 80 Hz on the doors play too, and the
  mean from 40 to 100 Hz loses less (first said: 8 dB; the doors were forgotten).
- A board in the place of the box is the worst that can be done: below 50 Hz the bass goes, the more
  the deeper, and no tool may praise it. At 63 Hz, where the box is past its resonance and the doors
  help, little changes (first said: 8 dB over the whole of the bass; that holds for 25 Hz).
- One channel drives the woofer through a coil: its load stays above what the radio is rated for.
- An amplifier for the woofer alone bears its 3.5 ohm and gives it some 110 W behind its cable. But
  4 mm2 of clad aluminium in a loom behind a fuse of 30 A is a fire: as good as 2.5 mm2 of copper.
  Feed, compare and the papers stop that, and name the metal; a thicker cable would do.
- A box has no drains, no panel holes, no ring and no glass behind it: nothing of the kind is asked.
"""

from pathlib import Path

import numpy as np
import pytest

import conewright as cw
from conewright.errors import PlanRefusedError
from conewright.papers.make import papers

JOB = cw.load(Path(__file__).parents[2] / "examples" / "convertible.toml")
UP = JOB.build()


def change(proposal: str, figure: str = "driver.bass_change") -> tuple[float, float, float]:
    found = cw.hear(JOB.build(proposal), UP).figure(figure)
    assert found.value is not None
    assert found.low is not None
    assert found.high is not None
    return found.low, found.value, found.high


def test_without_the_top_much_of_the_bass_is_gone_and_how_much_is_not_known_to_a_decibel() -> None:
    low, value, high = change("top-down")
    assert value < -4.0
    assert high < -1.0
    assert high - low > 4.0
    assert change("top-down", "driver.level_change_40hz")[1] < -10.0
    report = cw.hear(JOB.build("top-down"), UP)
    assert not [each for each in report.figures if each.name.startswith("cabin_mode")]
    assert "The top is down" in " ".join(each.text for each in report.verdicts)
    deep, upper = (report.figure(f"driver.level_change_{f}hz").value for f in ("40", "100"))
    assert deep is not None
    assert upper is not None
    assert deep < upper, "the deeper the more"


def test_a_cloth_top_is_said_to_give_way() -> None:
    texts = [each.text for each in cw.hear(UP).verdicts]
    assert any("cloth top gives way" in text for text in texts)


def test_wadding_is_worth_a_decibel_at_most() -> None:
    _, value, _ = change("wadding")
    assert abs(value) < 1.0


def test_a_board_in_the_place_of_the_box_throws_the_bass_away() -> None:
    assert change("board-instead")[2] < 0.0
    deep = [change("board-instead", f"driver.level_change_{f}hz")[1] for f in ("25", "40", "50")]
    assert deep[0] < -10.0
    assert deep[0] < deep[1] < deep[2] < -3.0
    down = cw.hear(JOB.build("board-instead"), UP)
    assert any("open behind" in each.text for each in down.verdicts)
    assert "board" not in cw.compare(JOB).answer


def test_the_woofer_rings_where_smalls_box_says() -> None:
    """36 Hz and 28 L in 18 L: 57 Hz by the book, and the air that it leaves out."""
    at = np.arange(45.0, 75.0, 0.5)
    real, imaginary = np.array(cw.feed(UP, at=at).curve("rear-left.impedance").y.values).T
    assert at[np.hypot(real, imaginary).argmax()] == pytest.approx(
        36.0 * np.sqrt(1 + 28.0 / 18.0), rel=0.05
    )


def test_the_radio_bears_what_hangs_on_it() -> None:
    feed = cw.feed(UP)
    for channel in ("front-left", "front-right", "rear-left"):
        least = feed.figure(f"{channel}.minimum_impedance").value
        assert least is not None
        assert least > 3.2, "80 % of 4 ohm, IEC 60268-5"
    assert not [each for each in feed.verdicts if each.severity.value == "stop"]


def test_the_amplifier_is_borne_by_its_load_and_stopped_by_its_cable() -> None:
    plan = JOB.build("own-amplifier")
    fed = cw.feed(plan)
    least, clean = (fed.figure(f"sub.{n}").value for n in ("minimum_impedance", "clean_power"))
    assert least is not None
    assert clean is not None
    assert least > 3.2
    assert 90.0 < clean < 150.0
    stops = {each.subject: each.text for each in fed.verdicts if each.severity.value == "stop"}
    assert stops.keys() == {"amplifier-cable"}
    assert "clad" in stops["amplifier-cable"]
    compared = cw.compare(JOB)
    assert "own-amplifier" not in compared.answer.partition(".")[0]
    assert any(
        each.subject == "own-amplifier" and each.severity.value == "stop" and "clad" in each.text
        for each in compared.verdicts
    )
    with pytest.raises(PlanRefusedError, match="clad"):
        papers(plan)


def test_what_a_box_does_not_have_is_not_asked_for() -> None:
    fills = [fill.path for fill in UP.fills if fill.path.startswith("box.")]
    assert not [path for path in fills if "panel" in path or "drain" in path or "trim" in path]
    found = cw.find(UP)
    assert not [each for each in found.figures if each.id.startswith("panel-open@box")]
    assert not [
        each
        for each in cw.fit(UP, whole=False).verdicts
        if "glass" in each.text and each.subject == "box"
    ]


@pytest.mark.slow
def test_the_board_is_drawn_and_one_too_small_is_refused(tmp_path: Path) -> None:
    """500 mm by 350 mm, an opening of 181 mm and eight holes on 196 mm: no paper without it."""
    made = cw.make(JOB.build("board-instead"), tmp_path)
    assert {"box-board.dxf", "box-board.svg"} <= {each.name for each in made.files}
    drawing = (tmp_path / "box-board.dxf").read_text(encoding="utf-8")
    assert drawing.count("CIRCLE") >= 9


@pytest.mark.slow
def test_all_papers_are_made(tmp_path: Path) -> None:
    for proposal in (None, "wadding", "board-instead"):
        build = JOB.build(proposal)
        made = cw.make(build, tmp_path / (proposal or "found"))
        assert made.files
