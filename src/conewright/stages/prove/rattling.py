"""Rattles of a crawl, free and with a hand on the trim."""

from __future__ import annotations

from collections.abc import Sequence

from conewright.phrases import listed
from conewright.sound.measured.bursts import (
    Crawl,
    Rattle,
    crawl_bursts,
    free_against_pressed,
    likely_parts,
)
from conewright.sound.played.stimuli import Crawl as CrawlingTone
from conewright.sound.recorded.analysis import Take
from conewright.stages.prove.draft import Draft
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

__all__ = ["rattles"]

RASP, CLEAN = {"rasp": 20.0, "clean": 1.0}, {"rasp": 1.0, "clean": 9.0}
"""Weights of the two answers: simulated crawls had none missed and none false in 24; a quiet one
may still hide what half volume would bring out. Assumed."""


def rattles(draft: Draft, takes: Sequence[Take]) -> None:
    """Tell of the rattles in one crawl, or in two, free and pressed."""
    crawls = [_crawl(take) for take in takes]
    free, shas = crawls[0], [take.recording.sha256 for take in takes]
    draft.curve(
        "excess", free.frequency, free.excess, quantity="treble over the silence", unit="dB"
    )
    draft.figure("rattles", float(len(free.rattles)), unit="", label="rattles in the crawl")
    for place, rattle in enumerate(free.rattles, start=1):
        _told(draft, place, rattle)
    if not free.rattles:
        draft.sentences.append("Nothing rattles in this crawl.")
        words = "No rattle at this volume. Nothing at half volume is what counts: turn it up so far"
        draft.verdict("rattles", Severity.GOOD, f"{words}.", "rattles")
        draft.reading("slow-bass", "clean", shas[:1], odds=CLEAN)
        return
    worst = max(free.rattles, key=lambda each: each.excess)
    where = f"{worst.low:.0f} to {worst.high:.0f} Hz, strongest at {worst.strongest:.0f} Hz"
    draft.sentences.append(f"It rattles from {where}.")
    draft.verdict("rattles", Severity.WARN, f"A rattle from {where}.{_parts(worst)}", "rattles")
    draft.reading("slow-bass", "rasp", shas[:1], odds=RASP)
    if len(crawls) == 2:
        _pressed(draft, free, crawls[1], shas)


def _crawl(take: Take) -> Crawl:
    assert take.stimulus is not None
    assert take.clock is not None
    part = next(each for each in take.stimulus.parts if isinstance(each.wave, CrawlingTone))
    begin, end = part.seconds
    return crawl_bursts(
        take.recording.samples[take.channel],
        rate=take.recording.rate,
        clock=take.clock.clock,
        begin=begin,
        seconds=end - begin,
    )


def _told(draft: Draft, place: int, rattle: Rattle) -> None:
    for name, words in (
        ("low", "where rattle {} begins"),
        ("strongest", "where rattle {} is strongest"),
        ("high", "where rattle {} ends"),
    ):
        value = getattr(rattle, name)
        draft.figure(
            f"rattle_{place}_{name}",
            value,
            unit="Hz",
            label=words.format(place),
            spread=rattle.spread * value,
        )
    draft.figure(
        f"rattle_{place}_excess", rattle.excess, unit="dB", label=f"rattle {place} over the silence"
    )


def _parts(rattle: Rattle) -> str:
    """Say which parts most often rattle there: where to press first, and no more."""
    parts = likely_parts(rattle)
    if not parts:
        return ""
    told = [f"{each.part} ({each.odds:.0%})".replace("%", " %") for each in parts]
    return f" Most often that is {listed(told)}: press there first."


def _pressed(draft: Draft, free: Crawl, pressed: Crawl, shas: Sequence[str]) -> None:
    found = free_against_pressed(free=free, pressed=pressed)
    draft.figure(
        "fall_when_pressed", found.fall, unit="dB", label="what a hand takes off the rattle"
    )
    fall = number(abs(found.fall), "dB")
    if found.source == "not-conclusive":
        hidden = "noise in the second crawl hides it" if found.masked else f"it changes by {fall}"
        draft.verdict(
            "pressed",
            Severity.NOTE,
            f"Pressed or not cannot be told apart: {hidden}. Take both again, as quiet as it gets.",
            "fall_when_pressed",
        )
        return
    trim = found.source == "trim"
    what = "the trim or what is clipped to it" if trim else "the driver, or something in the door"
    draft.verdict(
        "pressed", Severity.WARN, f"Under a hand it falls by {fall}: {what}.", "fall_when_pressed"
    )
    draft.sentences.append(f"A hand on the trim says: {what}.")
    odds = {"changes": found.odds, "no change": 1.0 - found.odds}
    draft.reading("press-trim", max(odds, key=lambda word: odds[word]), shas, odds=odds)
