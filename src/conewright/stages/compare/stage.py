"""As found and every proposal side by side, in what matters for the choice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from conewright.job.builds.draws import DEFAULT_SAMPLES
from conewright.job.builds.job import Job
from conewright.job.builds.states.build import Build
from conewright.job.builds.states.value import Origin
from conewright.job.quantity.units import to_unit
from conewright.phrases import listed
from conewright.physics.basics import bands
from conewright.physics.basics.arrays import FloatArray
from conewright.stages.common.changes import moved_places, planned_job
from conewright.stages.common.circuit import Solver
from conewright.stages.common.conditioned import conditioned_draws
from conewright.stages.common.load import EASY, HARD, RadioLoad, overloaded, radio_load
from conewright.stages.compare.advice import Candidate, advice, advised
from conewright.stages.compare.wishes import beyond, points, seat_that_counts
from conewright.stages.compare.worth import Ends, dangers, risks
from conewright.stages.feed.stage import feed_answer
from conewright.stages.feed.supply import supply_cables
from conewright.stages.find.faults.chains import Atom
from conewright.stages.find.faults.entries import LOW_LOAD
from conewright.stages.find.faults.trade import in_owners_words
from conewright.stages.find.talk.inquiry import Inquiry, inquire
from conewright.stages.find.talk.mending import established, with_mending
from conewright.stages.fit.stage import fit
from conewright.stages.hear.heard import BuildSound, sound_of
from conewright.stages.hear.stage import hear_answer
from conewright.stages.hear.verdicts import FULL_DAY
from conewright.stages.outlay.holding import holding
from conewright.stages.outlay.reckoning import Outlay, outlay
from conewright.stages.report.assembly import Answer
from conewright.stages.report.data import Caution, Kind, Report, Severity, Verdict
from conewright.stages.report.having import NO_CHIP, may_have

__all__ = ["Compared", "compare", "compared"]


def compare(job: Job, *, samples: int = DEFAULT_SAMPLES) -> Report:
    """Set the vehicle as found and every proposal of a job side by side.

    Args:
        job: the job; its proposals are compared with the vehicle as found.
        samples: number of draws for the bands, a power of two.

    Returns:
        A report of stage `compare` whose subjects are the ids of the builds; the verdict of each
        build is the worst that feed, hear and fit have to say of it.

    Raises:
        BadInputError: the job has no seat, or no channel that drives a place.

    >>> import conewright as cw
    >>> report = cw.compare(cw.demo_job())
    >>> report.figure("put-right.hours").value, report.figure("slim-fronts.hours").value
    (1.5, 2.5)
    """
    return compared(job, samples=samples).report


@dataclass(frozen=True)
class Compared:
    """The builds of a job side by side.

    report: what is said of them. candidates: the builds, the vehicle as found first. mend_only: id
    of the plan that only mends, where nobody wrote it.
    """

    report: Report
    candidates: tuple[Candidate, ...]
    mend_only: str | None


def compared(job: Job, *, samples: int = DEFAULT_SAMPLES) -> Compared:
    """Return the comparison of `compare` with the builds behind it; arguments as there."""
    known = job.about.complaints or job.readings or job.findings
    inquiry = inquire(job.build()) if known else None
    job, mend_only = with_mending(job, {} if inquiry is None else inquiry.chances())
    found = job.build()
    builds = [found, *(job.build(proposal.id) for proposal in job.proposals)]
    solver = Solver(conditioned_draws(found, samples=samples), bands.fine_grid())
    answer = Answer("compare", found, None, solver.draws)
    sounds: list[BuildSound] = []
    candidates: list[Candidate] = []
    faults = established(job, {} if inquiry is None else inquiry.chances())
    cautions: dict[str, Caution] = {}
    for build in builds:
        reports = _reports(build, solver)
        # By their words: two rules may say the same of different stages.
        cautions |= {caution.text: caution for report in reports for caution in report.cautions}
        sounds.append(sound_of(build, solver))
        load, taken = radio_load(build, solver), outlay(build, solver=solver)
        if not candidates:
            faults = (*faults, *_too_low(load))
        candidate = _candidate(build, reports, sounds, load, taken, inquiry, faults)
        candidates.append(candidate)
        _worth_figures(answer, candidate)
        _radio_figures(answer, build, load)
        _cable_figure(answer, build, load)
        _seat_figures(answer, sounds[-1], sounds[0])
        _fit_figure(answer, build, reports[-1])
        _work_figures(answer, build, taken)
        answer.verdicts.extend(_said_of(build, reports))
        _worth_verdicts(answer, candidate)
        _hold_verdict(answer, build)
    _hearing(answer, sounds)
    said = [f'"{in_owners_words(each)}"' for each in job.about.complaints]
    trouble = listed(said) if said else "what was found"
    currency = job.about.currency or ""
    answer.sentence = _sentence(candidates, trouble, currency, mend_only)
    report = answer.report(headlines=_headlines(sounds))
    report = report.model_copy(update={"cautions": tuple(cautions.values())})
    return Compared(report, tuple(candidates), mend_only)


def _reports(build: Build, solver: Solver) -> tuple[Report, ...]:
    return (
        feed_answer(build, None, solver=solver, whole=False),
        hear_answer(build, None, solver=solver, whole=False),
        fit(build, whole=False),
    )


def _radio_figures(answer: Answer, build: Build, load: RadioLoad) -> None:
    live = [each.minimum_impedance for each in load.live.values()]
    answer.figure(
        build.id,
        "minimum_load",
        np.min(np.stack(np.broadcast_arrays(*live)), axis=0) if live else None,
        unit="ohm",
        label="lowest impedance of all channels",
        text=None if live else "nothing plays" if load.channels else "no load is known",
    )
    answer.figure(
        build.id,
        "rated_load",
        load.draws(build.head_unit.minimum_load),
        unit="ohm",
        label="lowest load the radio is rated for",
        origin=build.head_unit.minimum_load.origin,
    )
    for name, fraction, words in (
        ("chip_temperature", EASY, "loud music"),
        ("chip_temperature_hard", HARD, "pressed hard"),
    ):
        celsius = to_unit(load.chip_temperature(fraction), dimension="temperature", unit="degC")
        there = may_have(build, "output-chip")
        answer.figure(
            build.id,
            name,
            np.asarray(celsius) if there else None,
            unit="degC",
            label=f"the radio's chip, {words}",
            text=None if there else NO_CHIP,
        )


def _cable_figure(answer: Answer, build: Build, load: RadioLoad) -> None:
    """Add how warm the hottest supply cable gets, where a job has any."""
    runs = [cable.run for cable in supply_cables(load) if cable.run is not None]
    if not runs:
        return
    warm = np.broadcast_arrays(*(run.temperature(run.fuse) for run in runs))
    hottest = np.max(np.stack(warm), axis=0)
    answer.figure(
        build.id,
        "conductor_temperature",
        np.asarray(to_unit(hottest, dimension="temperature", unit="degC")),
        unit="degC",
        label="hottest supply cable as it lies, at its fuse's rating for good",
        origin=Origin.TYPICAL if hottest.size == 1 else None,
    )


def _seat_figures(answer: Answer, sound: BuildSound, before: BuildSound) -> None:
    build = sound.build
    quiet = sound.silent or before.silent
    for name, seat in sound.seats.items():
        was = before.seats[name]
        for figure, new, old, words in (
            ("overall_change", seat.overall, was.overall, "change of the programme's level"),
            ("bass_change", seat.bass, was.bass, "change from 40 to 100 Hz"),
            ("treble_change", seat.treble, was.treble, "change from 3.15 to 16 kHz"),
        ):
            answer.figure(
                build.id,
                f"{figure}_{name}",
                None if quiet else new - old,
                unit="dB",
                kind=Kind.CHANGE,
                label=f"{words} at {name}",
                text="one of the two is silent" if quiet else None,
            )
        answer.figure(
            build.id,
            f"max_clean_level_{name}",
            None if sound.silent else seat.clean_overall,
            unit="dB(A)",
            label=f"loudest clean programme at {name}",
            text="nothing plays" if sound.silent else None,
        )


def _fit_figure(answer: Answer, build: Build, fitted: Report) -> None:
    moved = moved_places(build.job, planned_job(build))
    odds = [
        figure.value
        for figure in fitted.figures
        if figure.subject in moved
        and figure.name in ("rear_odds", "front_odds")
        and figure.value is not None
    ]
    answer.figure(
        build.id,
        "fit_odds",
        max(odds) if odds else None,
        unit="",
        kind=Kind.ODDS,
        label="chance that some place is tighter than it should be",
        text=None if odds else "nothing to judge",
    )


def _work_figures(answer: Answer, build: Build, taken: Outlay) -> None:
    """Add money and hours, with the bands that the quote has."""
    total, hours = taken.total, taken.hours
    without = f"without {'; '.join(taken.unpriced)}" if taken.unpriced else None
    answer.figure(
        build.id,
        "cost",
        total.typical,
        unit=build.job.about.currency or "",
        kind=Kind.MONEY,
        label="work, parts and what is kept for surprises",
        origin=None if total.low == total.high else Origin.TYPICAL,
        band=(total.low, total.high),
        text=without,
    )
    held = holding(build)
    answer.figure(
        build.id,
        "hold_odds",
        None if held is None else held.chance.typical,
        unit="",
        kind=Kind.ODDS,
        label="chance that what it mends holds two years",
        origin=None if held is None else Origin.TYPICAL,
        band=None if held is None else (held.chance.low, held.chance.high),
        text="nothing is mended" if held is None else None,
    )
    answer.figure(
        build.id,
        "hours",
        hours.typical,
        unit="h",
        kind=Kind.TIME,
        label="work",
        origin=None if hours.low == hours.high else Origin.TYPICAL,
        band=(hours.low, hours.high),
        text=taken.told_hours or None,
    )


def _candidate(
    build: Build,
    reports: Sequence[Report],
    sounds: Sequence[BuildSound],
    load: RadioLoad,
    taken: Outlay,
    inquiry: Inquiry | None,
    faults: Sequence[str],
) -> Candidate:
    cost, hours = taken.total.typical, taken.hours.typical
    # Each fault is asked about several times.
    ends = cache(Ends(build, load))
    moved = moved_places(build.job, planned_job(build))
    return Candidate(
        build=build,
        cure=None if inquiry is None else inquiry.cure_odds(ends),
        helps=0.0 if inquiry is None else inquiry.help_odds(ends),
        points=points(build, _heard(sounds[-1], sounds[0])),
        cost=cost,
        hours=hours,
        hold=None if (held := holding(build)) is None else held.chance.typical,
        risks=risks(load, reports, moved),
        beyond=beyond(build, cost=cost, hours=hours, playing=sounds[-1].circuit.playing),
        taken=taken,
        cures=tuple(fault for fault in faults if ends(_atom(fault))),
        leaves=tuple(fault for fault in faults if not ends(_atom(fault))),
    )


def _too_low(load: RadioLoad) -> tuple[str, ...]:
    """Return each channel that loads its source below what that bears, as a fault."""
    return tuple(f"{LOW_LOAD}@{name}" for name in overloaded(load))


def _atom(id: str) -> Atom:
    name, _, at = id.partition("@")
    return Atom(name, at)


def _heard(sound: BuildSound, before: BuildSound) -> dict[str, float]:
    """Change of what is wished at the seat that counts, central values [dB]."""
    if sound.silent or before.silent:
        return {}
    seat = seat_that_counts(sound.build.job)
    now, was = sound.seats[seat], before.seats[seat]
    changed = {
        "bass": now.bass - was.bass,
        "loudness": now.clean_overall - was.clean_overall,
        "clarity": now.treble - was.treble,
    }
    return {name: float(np.ravel(draws)[0]) for name, draws in changed.items()}


def _worth_figures(answer: Answer, candidate: Candidate) -> None:
    for name, value, kind, label, without in (
        (
            "cure_odds",
            candidate.cure,
            Kind.ODDS,
            "chance that no cause of the complaint is left",
            "nobody complains",
        ),
        (
            "points",
            candidate.points,
            Kind.NUMBER,
            "of 100, what it gives of what was asked for",
            "nothing was asked for",
        ),
    ):
        text = without if value is None else None
        answer.figure(candidate.build.id, name, value, unit="", kind=kind, label=label, text=text)


def _worth_verdicts(answer: Answer, candidate: Candidate) -> None:
    """Say why a build is not to be taken, and of one that cures nothing that it does not."""
    build = candidate.build
    reasons = (*candidate.risks, *candidate.beyond)
    if reasons:
        told = f"Not to be taken: {'; '.join(reasons)}."
        answer.verdict(build.id, "risk", Severity.WARN, told, f"{build.id}.cure_odds")
    if candidate.idle:
        told = "It moves only what is not wrong: what was complained of is most likely there after."
        answer.verdict(build.id, "idle", Severity.WARN, told, f"{build.id}.cure_odds")


def _hold_verdict(answer: Answer, build: Build) -> None:
    """Say of each thing that a plan mends how likely it holds, and what comes back."""
    held = holding(build)
    if held is not None:
        told = " ".join(part.words for part in held.parts)
        answer.verdict(build.id, "holds", Severity.NOTE, told, f"{build.id}.hold_odds")


def _worst(build: Build, reports: Sequence[Report]) -> Verdict:
    """The most severe verdict on a build, under the build's own name; how loud it gets aside."""
    worst = max(
        (
            verdict
            for report in reports
            for verdict in report.verdicts
            if not verdict.id.endswith(HEARING)
        ),
        key=lambda verdict: verdict.severity.rank,
    )
    return _under(build, worst)


def _said_of(build: Build, reports: Sequence[Report]) -> tuple[Verdict, ...]:
    """The most severe verdict on a build, and everything said of fire and damage in it."""
    worst = _worst(build, reports)
    said = (_under(build, verdict) for verdict in dangers(reports))
    return (worst, *(verdict for verdict in said if verdict.id != worst.id))


def _under(build: Build, verdict: Verdict) -> Verdict:
    return verdict.model_copy(update={"id": f"{build.id}.{verdict.id}", "subject": build.id})


HEARING = ".hearing"
"""What is said of loud listening: a note of every plan alike."""


def _hearing(answer: Answer, sounds: Sequence[BuildSound]) -> None:
    loud = [
        float(np.ravel(seat.hearing_time)[0])
        for sound in sounds
        if not sound.silent
        for seat in sound.seats.values()
    ]
    if loud and min(loud) < FULL_DAY:
        answer.verdict(
            "vehicle",
            "hearing",
            Severity.NOTE,
            "As loud as they go, these builds fill a day's noise dose sooner than a day lasts: "
            "hear says after how long.",
        )


def _headlines(sounds: Sequence[BuildSound]) -> dict[str, FloatArray]:
    """The bass of every proposal at the first seat, which is what a plan is chosen by."""
    found = sounds[0]
    seat = next(iter(found.seats))
    if len(sounds) == 1:
        return {f"{found.build.id}.max_clean_level_{seat}": found.seats[seat].clean_overall}
    return {
        f"{sound.build.id}.bass_change_{seat}": sound.seats[seat].bass - found.seats[seat].bass
        for sound in sounds[1:]
    }


def _sentence(
    candidates: Sequence[Candidate], trouble: str, currency: str, mend_only: str | None
) -> str:
    """Say which plan to take; the one that only mends, where nobody wrote it, is offered."""
    if len(candidates) == 1:
        return "There is no proposal in this job yet: write one to see what it would change."
    best = advised(candidates)
    told = advice(candidates, best, trouble=trouble, currency=currency)
    if mend_only and best is not None and best.build.id == mend_only:
        told += " It is not written down yet: a button of the pages does, or find --plan."
    return told
