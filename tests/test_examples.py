"""The examples in the docstrings of the public names do what they show."""

import doctest
import sys

import pytest

import conewright as cw
from conewright.stages.report.data import Series

# What opens pages stays there.
WITHOUT = {"__version__", "create_app", "serve"}
SHOWN = {name: getattr(cw, name) for name in sorted({*cw.__all__} - WITHOUT)} | {"Series": Series}


@pytest.mark.parametrize("name", SHOWN)
def test_the_examples_of_a_public_name_do_what_they_show(name: str) -> None:
    thing = SHOWN[name]
    finder = doctest.DocTestFinder(exclude_empty=True)
    examples = [
        found for found in finder.find(thing, name, sys.modules[thing.__module__]) if found.examples
    ]
    assert examples, f"{name} shows no example"
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
    told: list[str] = []
    for each in examples:
        runner.run(each, out=told.append)
    assert runner.summarize(verbose=False).failed == 0, "".join(told)
