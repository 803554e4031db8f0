"""The doors from Python: all there, light until used, reports that print and draw."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import conewright as cw

LIGHT = """
import sys
import conewright
print(*{"numpy", "pydantic", "scipy", "matplotlib"} & set(sys.modules))
job = conewright.demo_job()
conewright.feed(job.build())
print(*{"matplotlib"} & set(sys.modules))
"""


def test_nothing_slow_is_imported_until_a_door_is_used() -> None:
    done = subprocess.run([sys.executable, "-c", LIGHT], capture_output=True, text=True, check=True)
    assert done.stdout == "\n\n"


@pytest.mark.parametrize("name", cw.__all__)
def test_every_door_opens(name: str) -> None:
    assert getattr(cw, name) is not None
    assert name in dir(cw)


def test_an_unknown_door_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="module 'conewright' has no attribute 'fed'"):
        _ = vars(cw)["__getattr__"]("fed")


def test_the_version_is_that_of_the_project() -> None:
    project = (Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8")
    found = re.search(r'^version = "(.+)"$', project, re.MULTILINE)
    assert found is not None
    assert cw.__version__ == found[1]


def test_a_job_goes_through_all_doors() -> None:
    job = cw.loads(cw.starter_text())
    found, plan = job.build(), job.build("rings")
    report = cw.hear(plan, against=found)
    assert isinstance(report, cw.Report)
    assert str(report).startswith("HEAR: ")
    assert report.to_dict()["build"] == "rings"
    drawing = report.plot()
    assert drawing.get_figwidth() > 0
    # Read back from data, a report still prints and draws.
    again = cw.Report.model_validate(report.to_dict())
    assert str(again) == str(report)
    assert again.plot().get_figwidth() == drawing.get_figwidth()
