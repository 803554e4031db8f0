"""Bring the sound of an ageing vehicle back: what drives what, what is heard, what fits.

    import conewright as cw

    job = cw.load("van.toml")
    build = job.build("put-right")
    print(cw.hear(build, against=job.build()))

Nothing at all is imported until one of these names is used.
"""

from __future__ import annotations

# As type checkers know it; typing is one of the slow ones.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from conewright.catalogue.offer import Offer
    from conewright.errors import (
        BadInputError,
        ConewrightError,
        JobError,
        LoadError,
        OutOfRangeError,
        PlanRefusedError,
        Problem,
        QuantityError,
    )
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build
    from conewright.job.text.parsing import load, loads
    from conewright.job.text.starter import demo_job, demo_text, job_schema, starter_text
    from conewright.papers.make import make
    from conewright.papers.press.manifest import Manifest
    from conewright.sound.played.wav import Played, sounds, stimulus
    from conewright.sound.recorded.recording import Recording
    from conewright.stages.choose.finals.plan_answers import Choice
    from conewright.stages.choose.stage import choose
    from conewright.stages.compare.cures import ways_to_mend
    from conewright.stages.compare.stage import compare
    from conewright.stages.feed.stage import feed
    from conewright.stages.find.stage import find
    from conewright.stages.find.talk.mending import mend
    from conewright.stages.fit.stage import fit
    from conewright.stages.hear.stage import hear
    from conewright.stages.outlay.reckoning import outlay
    from conewright.stages.prove.stage import listen, recording
    from conewright.stages.report.data import Report
    from conewright.store import offer
    from conewright.version import __version__
    from conewright.web.app import create_app
    from conewright.web.serve import serve

__all__ = [
    "BadInputError",
    "Build",
    "Choice",
    "ConewrightError",
    "Job",
    "JobError",
    "LoadError",
    "Manifest",
    "Offer",
    "OutOfRangeError",
    "PlanRefusedError",
    "Played",
    "Problem",
    "QuantityError",
    "Recording",
    "Report",
    "__version__",
    "choose",
    "compare",
    "create_app",
    "demo_job",
    "demo_text",
    "feed",
    "find",
    "fit",
    "hear",
    "job_schema",
    "listen",
    "load",
    "loads",
    "make",
    "mend",
    "offer",
    "outlay",
    "recording",
    "serve",
    "sounds",
    "starter_text",
    "stimulus",
    "ways_to_mend",
]


if not TYPE_CHECKING:

    def __getattr__(name: str) -> Any:
        """Import the doors of the house when the first of them is used (PEP 562)."""
        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        open_doors = {
            "__version__": _version,
            "create_app": _pages,
            "serve": _pages,
            **dict.fromkeys(("Played", "sounds", "stimulus"), _sounds),
            **dict.fromkeys(("Choice", "Offer", "choose", "offer"), _choosing),
        }
        globals().update(_refusals())
        if name not in globals():
            globals().update(open_doors.get(name, _doors)())
        return globals()[name]


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


def _refusals() -> dict[str, Any]:
    """Import what everything refuses with."""
    from conewright import errors

    return {name: vars(errors)[name] for name in errors.__all__}


def _doors() -> dict[str, Any]:
    """Import what does the work, and the views of what it gives."""
    from conewright.job.builds.job import Job
    from conewright.job.builds.states.build import Build
    from conewright.job.text.parsing import load, loads
    from conewright.job.text.starter import demo_job, demo_text, job_schema, starter_text
    from conewright.papers.make import make
    from conewright.papers.press.manifest import Manifest

    # Views of what is given here, which say so when they are imported.
    from conewright.papers.press.overview import manifest_as_text  # noqa: F401
    from conewright.pictures import draw  # noqa: F401
    from conewright.sound.recorded.recording import Recording
    from conewright.stages.compare.cures import ways_to_mend
    from conewright.stages.compare.stage import compare
    from conewright.stages.feed.stage import feed
    from conewright.stages.find.stage import find
    from conewright.stages.find.talk.mending import mend
    from conewright.stages.fit.stage import fit
    from conewright.stages.hear.stage import hear
    from conewright.stages.outlay.reckoning import outlay
    from conewright.stages.prove.stage import listen, recording
    from conewright.stages.report.data import Report

    classes = (Build, Job, Manifest, Recording, Report)
    stages = (compare, feed, find, fit, hear, listen, make, mend, outlay, recording, ways_to_mend)
    texts = (demo_job, demo_text, job_schema, load, loads, starter_text)
    return {door.__name__: door for door in (*classes, *stages, *texts)}


def _choosing() -> dict[str, Any]:
    """Import what chooses, and the store of the catalogues that it chooses from."""
    from conewright.catalogue.offer import Offer
    from conewright.stages.choose.finals.plan_answers import Choice
    from conewright.stages.choose.stage import choose
    from conewright.store import offer

    return {**_doors(), "Choice": Choice, "Offer": Offer, "choose": choose, "offer": offer}


def _sounds() -> dict[str, Any]:
    """Import the test sounds, which no stage needs."""
    from conewright.sound.played.wav import Played, sounds, stimulus

    return {"Played": Played, "sounds": sounds, "stimulus": stimulus}


def _pages() -> dict[str, Any]:
    """Import the server, which nothing else needs."""
    from conewright.web.app import create_app
    from conewright.web.serve import serve

    return {"create_app": create_app, "serve": serve}


def _version() -> dict[str, str]:
    from conewright.version import __version__

    return {"__version__": __version__}
