"""What find says in words: causes with their evidence, what is ruled out, stops and conflicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from conewright.phrases import capital, listed
from conewright.stages.find.faults import trade
from conewright.stages.find.faults.chains import VEHICLE, Atom
from conewright.stages.find.faults.entries import LOW_LOAD, SAG
from conewright.stages.find.faults.told import budget_words, repair_words
from conewright.stages.find.odds.evidence import ChainEvidence
from conewright.stages.find.talk.inquiry import Inquiry, Taken
from conewright.stages.find.talk.planning import CERTAIN
from conewright.stages.report.assembly import Answer
from conewright.stages.report.care import reading_gate
from conewright.stages.report.data import ReadingCard, Severity
from conewright.stages.report.words import number, odds

__all__ = ["aside_verdict", "cause_verdicts", "conflict_verdicts", "find_sentence", "stop_verdicts"]

WORTH_SAYING = 0.05
"""Causes at least this likely get a sentence of their own."""

RULED_OUT = 0.002
"""Below these odds a fault that somebody had reason to suspect is ruled out."""

SPEAKS = 1.5
"""A reading speaks for or against a cause from this ratio of chances on."""

SURPRISING = 0.02
"""A reading that fits this much worse than it could, given all others, is in conflict with them."""

STOPS = 0.2
"""Work stops from these odds on of a fault that burns what is connected; workshop choice."""

NO_DRIVER = frozenset({"channel-offset", "leg-to-chassis"})
"""Faults with which no loudspeaker may be connected."""


def cause_verdicts(answer: Answer, inquiry: Inquiry, chances: Mapping[Atom, float]) -> None:
    """Say of each likely cause what speaks for and against it, and what it makes likely next."""
    ranked = sorted(chances.items(), key=lambda entry: (-entry[1], entry[0]))
    for atom, chance in ranked:
        if chance < WORTH_SAYING:
            break
        severity = Severity.WARN if chance >= CERTAIN else Severity.NOTE
        answer.verdict(
            "cause",
            atom.id,
            severity,
            _cause_text(atom, chance, inquiry),
            f"cause.{atom.id}",
        )
        _twin(answer, atom, chance)
    _ruled_out(answer, inquiry, chances)


def stop_verdicts(answer: Answer, inquiry: Inquiry, chances: Mapping[Atom, float]) -> None:
    """Say where work stops: an offset, a leg on the chassis, a door nobody has asked about."""
    for atom, chance in chances.items():
        if atom.fault in NO_DRIVER and chance >= STOPS:
            fault = trade.fault(atom.fault)
            answer.verdict(
                atom.subject,
                f"stop-{atom.fault}",
                Severity.STOP,
                f"Stop at {atom.subject}: {fault.title} ({odds(chance)}). Radio off, fuse out; "
                "connect no loudspeaker to it. Test every other channel before one is used.",
                f"cause.{atom.id}",
            )
    closed = [
        place
        for place in answer.build.locations
        if ("trim", place.id) not in inquiry.opened.keys and place.kind in ("door", "pillar")
    ]
    answer.verdicts.extend(reading_gate(answer.build, closed))


def conflict_verdicts(answer: Answer, inquiry: Inquiry) -> None:
    """Name readings that the others do not let expect."""
    for reading in inquiry.taken:
        chance = inquiry.chance_of(reading)
        if chance < SURPRISING:
            answer.verdict(
                "conflict",
                reading.question.id,
                Severity.WARN,
                _conflict_text(reading, inquiry),
            )


def _conflict_text(reading: Taken, inquiry: Inquiry) -> str:
    other = inquiry.at_odds(reading)
    if other is None:
        healthy = inquiry.case.healthy_words(reading.question)
        return (
            f"{_quoted(reading)}, which neither a sound vehicle reads ({healthy}) nor a usual "
            "fault explains: take it again, and look at the meter's range and leads first."
        )
    return (
        f"{_quoted(reading)}, and {_quoted(other)}: the two do not agree. Take both again, one may "
        "be a slip, and look for a second fault or one that comes and goes."
    )


def aside_verdict(answer: Answer, inquiry: Inquiry) -> None:
    """Name the complaints that the odds leave out, where there are too many."""
    aside = inquiry.model.aside
    if aside:
        answer.verdict(
            "vehicle",
            "complaints-aside",
            Severity.WARN,
            f"Too many different complaints to reckon with: the odds rest on the "
            f"{len(inquiry.model.complaints)} that tell most, without {listed(aside)}.",
        )


def find_sentence(
    inquiry: Inquiry, chances: Mapping[Atom, float], cards: Sequence[ReadingCard]
) -> str:
    """Say in one sentence what is found and what to do next."""
    known = [atom for chain in inquiry.case.chains for atom in chain.known]
    found = [atom for atom, chance in chances.items() if chance >= CERTAIN]
    found.sort(key=lambda atom: (-chances[atom], atom))
    parts = []
    if found:
        named = [f"{trade.fault(atom.fault).title} at {atom.subject}" for atom in found]
        parts.append(f"Found: {listed(named)}.")
    rest = [atom for atom in chances if atom not in found and atom not in known]
    if rest:
        best = max(rest, key=lambda atom: chances[atom])
        likely = f"{trade.fault(best.fault).title} at {best.subject}"
        lead = "Next in line is" if found else "Nothing is certain yet; most likely is"
        parts.append(f"{lead} {likely}, {odds(chances[best])}.")
    if cards:
        card = cards[0]
        parts.append(
            f"The next reading worth taking: {card.title} at {card.subject}, "
            f"{number(card.minutes, 'min')}."
        )
    return " ".join(parts) or "Nothing is known to be wrong, and nothing is left to read."


def _cause_text(atom: Atom, chance: float, inquiry: Inquiry) -> str:
    fault = trade.fault(atom.fault)
    place = "" if atom.subject == VEHICLE else f" at {atom.subject}"
    findings = inquiry.case.build.job.findings
    taken = next((each for each in findings if (each.id, each.state) == (atom.id, "found")), None)
    text = f"{capital(fault.title)}{place}: {odds(chance)}."
    if taken is not None:
        since = f" by {taken.since}" if taken.since else ""
        text = f"{capital(fault.title)}{place}: taken as found{since}; a plan can mend it."
    computed = inquiry.low_load.get(atom.subject)
    if atom.fault == LOW_LOAD and computed is not None:
        text += f" Computed from the wiring that is written down ({number(100 * computed)} %)."
    converter = inquiry.case.build.converter
    if atom.fault == SAG and converter is not None and computed:
        gives = number(converter.rated_current.si, "A")
        text += (
            f" The converter gives {gives} for good, and music pressed hard asks for more "
            f"({number(100 * computed)} %): it folds back or cuts out before any part is at fault. "
            "A converter that gives what feed says the radio asks for ends that."
        )
    lines = [(reading, _ratio(reading, atom, inquiry)) for reading in inquiry.taken]
    told_for = [f"{_quoted(r)} ({_times(x)})" for r, x in lines if x >= SPEAKS]
    against = [f"{_quoted(r)} ({_times(1 / x)})" for r, x in lines if x <= 1 / SPEAKS]
    if told_for:
        text += f" For it: {listed(told_for)}."
    if against:
        text += f" Against it: {listed(against)}."
    repair = repair_words(inquiry.case.build, atom.fault, atom.subject)
    return f"{text} {repair}" if chance >= CERTAIN else text


def _twin(answer: Answer, atom: Atom, chance: float) -> None:
    budget = budget_words(answer.build, atom.fault, atom.subject)
    if chance >= CERTAIN and budget:
        answer.verdict("budget", atom.id, Severity.NOTE, f"{atom.subject}: {budget}")


def _ruled_out(answer: Answer, inquiry: Inquiry, chances: Mapping[Atom, float]) -> None:
    """Name the faults of the corners that were tested which can be left alone now."""
    before = inquiry.chances(inquiry.after(()))
    gone = [
        f"{trade.fault(atom.fault).title} at {atom.subject}"
        for atom, chance in sorted(chances.items())
        if chance < RULED_OUT and before[atom] > 5 * max(chance, 1e-12)
    ]
    if gone:
        answer.verdict("cause", "ruled-out", Severity.GOOD, f"Ruled out: {listed(gone)}.")


def _ratio(reading: Taken, atom: Atom, inquiry: Inquiry) -> float:
    """How much likelier a reading is with one fault alone than with none."""
    evidence = reading.evidence
    if evidence is None:
        return 1.0
    chains = inquiry.case.chains
    if isinstance(evidence, ChainEvidence):
        chain = chains[evidence.chain]
        table = evidence.table
        if atom in chain.atoms:
            state = 1 + chain.atoms.index(atom)
            column = (state, 0) if evidence.chain == 0 else (0, state)
            return float(table[column] / table[0, 0])
        if atom in chains[0].atoms:
            return float(table[1 + chains[0].atoms.index(atom), 0] / table[0, 0])
        return 1.0
    sides = ((evidence.left, evidence.left_class, 0), (evidence.right, evidence.right_class, 1))
    for number_, classes, axis in sides:
        if atom in chains[number_].atoms:
            state = 1 + chains[number_].atoms.index(atom)
            table = evidence.table if axis == 0 else evidence.table.T
            other = evidence.right_class[0] if axis == 0 else evidence.left_class[0]
            return float(table[classes[state], other] / table[classes[0], other])
    return 1.0


def _quoted(reading: Taken) -> str:
    return f"{reading.question.test} at {reading.question.subject} said {reading.said}"


def _times(ratio: float) -> str:
    return f"{number(min(ratio, 1000.0), spread=max(ratio / 2, 0.1))} to 1"
