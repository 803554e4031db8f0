"""What the stages say of the findings that stand in a build, and of readings that cannot be so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from conewright.data_files import data_rows
from conewright.job.builds.standing import another_radio
from conewright.stages.common.changes import pairs_of, planned_job
from conewright.stages.common.conditioned import ReadDraws
from conewright.stages.common.together import has_twin
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import shared_returns
from conewright.stages.report.data import Severity
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from collections.abc import Iterable

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState, UnknownChannelState
    from conewright.job.builds.states.value import FaultState
    from conewright.stages.common.conditioned import Disagreement
    from conewright.stages.report.assembly import Answer

__all__ = [
    "budget_words",
    "disagreement_verdicts",
    "finding_verdicts",
    "reading_verdicts",
    "repair_words",
    "return_verdicts",
    "signal_verdicts",
]

FEWEST_DRAWS = 50
"""With fewer independent draws than this the bands are rough."""

CONNECT_NOTHING = frozenset({"leg-to-chassis", "channel-offset", "pair-shorted"})
"""With one of these the output chip burns, or what is connected to it does."""


def finding_verdicts(answer: Answer) -> None:
    """Name every fault that stands in the build, and what puts it right."""
    for fault in answer.build.faults:
        stops = fault.fault in CONNECT_NOTHING
        answer.verdict(
            fault.at,
            fault.fault,
            Severity.STOP if stops else Severity.WARN,
            _words(answer.build, fault, stops=stops),
        )


def _words(build: Build, fault: FaultState, *, stops: bool) -> str:
    row = trade.fault(fault.fault)
    where = f"{fault.at}: {row.title}"
    if build.proposal is None:
        since = next(each.since for each in build.job.findings if each.id == fault.id)
        told = f"{where}, taken as found{f' by {since}' if since else ''}; this is with it."
    else:
        told = f"{where}, which this plan leaves as it is."
    care = " Connect nothing there until it is mended." if stops else ""
    return f"{told} {repair_words(build, fault.fault, fault.at)}{care}"


OF_TWINS = {"the pair of drivers": "the driver", " on both sides": ""}
"""Words on the repair of one of a pair, and what is left of them where there is but one."""

SPEAKS_OF_TWIN = ("twin", "pair", "other side", "other front door")


def repair_words(build: Build, fault: str, at: str) -> str:
    """Return how a fault is put right; of a single loudspeaker without its twin."""
    text = trade.fault(fault).repair
    if has_twin(build, at):
        return text
    for words, alone in OF_TWINS.items():
        text = text.replace(words, alone)
    return text


def budget_words(build: Build, fault: str, at: str) -> str:
    """Return what to budget for besides, empty for what a single loudspeaker has no twin for."""
    text = trade.fault(fault).budget
    single = not has_twin(build, at)
    return "" if single and any(words in text for words in SPEAKS_OF_TWIN) else text


SIGNALS = {"sum": "the sum of left and right", "difference": "the difference of left and right"}


def signal_verdicts(answer: Answer) -> None:
    """Name the channels that play neither left nor right: no other radio has such an output."""
    replaced = another_radio(answer.build.planned)
    for channel in planned_job(answer.build).channels:
        signal = SIGNALS.get(channel.signal or "")
        if signal is None:
            continue
        care = (
            "The radio of this plan has no such output: keep what makes that signal between them, "
            "or leave it silent."
            if replaced
            else "A standard radio has no such output: whoever replaces this one keeps what makes "
            "that signal, or leaves it silent."
        )
        answer.verdict(
            channel.id,
            "signal",
            Severity.WARN if replaced else Severity.NOTE,
            f"{channel.id} plays {signal}. {care} Here it is reckoned as loud as the others.",
        )


def reading_verdicts(answer: Answer) -> None:
    """Name the readings that disagree with what is written, and say if the draws got few."""
    draws = answer.draws
    if not isinstance(draws, ReadDraws):
        return
    disagreement_verdicts(answer, draws.told)
    if draws.effective is not None and draws.effective < min(FEWEST_DRAWS, draws.samples / 2):
        answer.verdict(
            "vehicle",
            "readings",
            Severity.NOTE,
            f"The readings leave {draws.effective:.0f} independent draws of {draws.samples}: the "
            "bands are rough. Ask for more draws, or look whether a reading is right.",
        )


def disagreement_verdicts(answer: Answer, told: Iterable[Disagreement]) -> None:
    """Name each reading that cannot be so if what is written is, with the likeliest reasons."""
    for each in told:
        read = each.observation
        name = "-".join(part for part in (read.test, read.figure, "disagrees") if part)
        what = trade.test(read.test).title
        expected = number(each.expected, read.unit, spread=each.error)
        first, second, third = _reasons(each)
        answer.verdict(
            read.at,
            name,
            Severity.WARN,
            f"{read.at}: {what} reads {read.said}; by what is written it would be {expected} with "
            f"a standard error of {number(each.error, read.unit, spread=each.error)}, and that is "
            f"{abs(each.apart):.0f} of them away. Nothing is reckoned with it. Likeliest: {first}; "
            f"{second}; {third}. Read it again, or correct what is written.",
        )


def _reasons(each: Disagreement) -> tuple[str, str, str]:
    """Return the three likeliest reasons why a reading disagrees."""
    read = each.observation
    wanted = (read.test, read.figure, each.side)
    row = next(
        row
        for row in data_rows("stages.find", "reasons.csv")
        if (row["test"], row["figure"], row["side"]) == wanted
    )
    return row["first"], row["second"], row["third"]


SHARING = {
    "chassis": "its current comes back through the body",
    "shared": "its − is a wire that other loudspeakers use as well",
}


def return_verdicts(answer: Answer) -> None:
    """Stop loudspeakers that share their way back with others at a radio of bridge outputs."""
    build, shared = answer.build, shared_returns(answer.build)
    for channel in pairs_of(build):
        if channel.id in shared:
            answer.verdict(channel.id, "return", Severity.STOP, _on_bridge(build, channel))


def _on_bridge(build: Build, channel: ChannelState | UnknownChannelState) -> str:
    half = number(build.head_unit.supply.si / 2.0, "V", most=1)
    return (
        f"{channel.id}: {SHARING[channel.return_by or '']}, and this radio's outputs are bridges, "
        f"each leg at about {half}: joined, that lies across loudspeaker and output. It pops, hums "
        "or pushes the cone out, and one of them burns. Join nothing. What would do: a second wire "
        f'of its own to the loudspeaker ({channel.id}.return_by = "wire"), a radio with '
        "common-ground outputs, or an adapter that blocks d.c."
    )
