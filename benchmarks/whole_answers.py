"""Whole answers: the demo job compared with full bands, and the command's first word."""

import subprocess
import sys
from collections.abc import Iterator
from itertools import count

from benchmarks.timing import Row, best_seconds

__all__ = ["run"]


def run() -> Iterator[Row]:
    """Time the answers a repairer waits for, each against the cheapest thing of its kind."""
    yield from _job()
    yield from _compare()
    yield from _find()
    yield from _papers()
    yield from _help()


def _job() -> Iterator[Row]:
    import tomllib

    import conewright
    from conewright.job.text.editing import with_values
    from conewright.job.text.parsing import loads
    from conewright.job.text.starter import demo_text

    widths = count(1)

    def change() -> object:
        # Another value each time: a text that was read before is not read again.
        return with_values(demo_text(), {"door-fl.mount.cutout": f"120.{next(widths):04d} mm"})

    parsed = best_seconds(lambda: tomllib.loads(demo_text()), repeats=5)
    read = best_seconds(lambda: loads(demo_text()), repeats=5)
    built = best_seconds(lambda: conewright.demo_job().build(), repeats=5)
    changed = best_seconds(change, repeats=5)
    yield Row("load, demo job with its four proposals", read, f"{read / parsed:.1f} x its parsing")
    yield Row("load and first build, five builds", built, f"{built / read:.1f} x its load")
    yield Row("one field changed in the text, checked", changed, f"{changed / read:.1f} x its load")


def _compare() -> Iterator[Row]:
    import conewright
    from conewright.stages.compare.stage import compare
    from conewright.stages.feed.stage import feed
    from conewright.stages.hear.stage import hear

    def heard() -> object:
        job = conewright.demo_job()
        return hear(job.build("put-right"), job.build())

    def one() -> object:
        return feed(conewright.demo_job().build())

    def all_builds() -> object:
        return compare(conewright.demo_job())

    single, whole = best_seconds(one, repeats=3), best_seconds(all_builds, repeats=3)
    change = best_seconds(heard, repeats=3)
    yield Row("feed, demo job as found", single)
    # Feed knows no cabin: against it the cost of one shows.
    yield Row("hear, one plan against as found", change, f"{change / single:.1f} x feed")
    yield Row("compare, demo job, five builds, full bands", whole, f"{whole / single:.1f} x feed")


def _find() -> Iterator[Row]:
    import conewright
    from conewright.stages.find.stage import find

    plain = best_seconds(lambda: conewright.demo_job().build(), repeats=3)
    whole = best_seconds(lambda: find(conewright.demo_job().build()), repeats=3)
    yield Row("find, demo job, looking two steps ahead", whole, f"{whole / plain:.0f} x its build")


def _papers() -> Iterator[Row]:
    import conewright
    from conewright.papers.make import papers
    from conewright.papers.press.answers import Answers

    def ask() -> object:
        answers = Answers(conewright.demo_job().build("slim-fronts"))
        return answers.find, answers.fit, answers.feed, answers.hear

    asked = best_seconds(ask, repeats=3)
    whole = best_seconds(lambda: papers(conewright.demo_job().build("slim-fronts")), repeats=3)
    yield Row("all papers, demo job, slim-fronts", whole, f"{whole / asked:.1f} x its four answers")


def _help() -> Iterator[Row]:
    def start(*words: str) -> float:
        command = [sys.executable, *words]
        return best_seconds(
            lambda: subprocess.run(command, check=True, capture_output=True), repeats=5
        )

    bare, asked = start("-c", "pass"), start("-m", "conewright", "--help")
    yield Row("python, doing nothing", bare)
    yield Row("conewright --help", asked, f"{asked / bare:.1f} x python")
