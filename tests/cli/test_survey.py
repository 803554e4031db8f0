"""`conewright new --answer`: the survey of the pages, from the command line."""

from pathlib import Path

import pytest
from commands import run

import conewright as cw


def test_answers_make_the_job_that_the_page_makes(tmp_path: Path) -> None:
    file = tmp_path / "saloon.toml"
    words = ("class=saloon", "era=mono", "place:dash-centre", "title=one = loud", "built=1972")
    done = run("new", file, *(part for word in words for part in ("--answer", word)))
    assert done.code == 0
    job = cw.load(file)
    assert (job.about.title, job.vehicle.class_) == ("one = loud", "saloon")
    assert [each.load for each in job.channels] == ["dash-centre"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("clas=saloon",), 'found "clas"; did you mean "class"?'),
        (("clas=saloon",), "place:dash-centre"),
        (("class=boat", "place:roof"), "--answer class: Choose the body type"),
        (("class=saloon",), "--answer places: Choose at least one place"),
        (("class=saloon", "place:roof", "size:roof=big"), "--answer size:roof:"),
    ],
)
def test_answers_that_cannot_be_used_are_named(
    words: tuple[str, ...], says: str, tmp_path: Path
) -> None:
    file = tmp_path / "job.toml"
    done = run("new", file, *(part for word in words for part in ("--answer", word)))
    assert done.code == 2
    assert says in " ".join(done.err.split())
    assert not file.exists()
