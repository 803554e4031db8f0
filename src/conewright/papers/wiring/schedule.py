"""The wiring schedule: every wire at the radio, the joints behind it, and what proves each.

A colour is only what somebody saw. Pins of ISO 10487 stand where the job says that the vehicle has
those blocks; the usual colours of a radio's own leads are common practice, and marked so.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from conewright.data_files import data_rows
from conewright.job.builds.fills import plain_text
from conewright.job.builds.standing import another_radio
from conewright.job.builds.states.electrics import ChannelState
from conewright.job.builds.states.value import Origin
from conewright.papers.wiring.proofs import Proof, Proofs
from conewright.phrases import listed
from conewright.stages.common.changes import as_found, pairs_of, planned_job
from conewright.stages.common.nets import MINUS, PLUS, Joint, fed_by, joints, parts_of
from conewright.stages.find.faults.chains import chains_of
from conewright.stages.report.having import has_all, instead_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import CableState, UnusedChannelState
    from conewright.job.builds.states.value import Value
    from conewright.job.document.document import Document, Lead

__all__ = [
    "INSULATED",
    "Conductor",
    "Schedule",
    "SplicePoint",
    "corners",
    "has_usual_leads",
    "schedule",
]

SIGNS = {"plus": PLUS, "minus": MINUS}
LETTERS = {
    Origin.MEASURED: "M",
    Origin.SHEET: "S",
    Origin.TYPICAL: "T",
    Origin.ASSUMED: "A",
}
INSULATED = "nothing: its end insulated by itself"
"""Where a wire of an output goes that drives nothing."""

ISO_BLOCK_A = (
    *("battery", "switched", "ground", "antenna"),
    *("illumination", "mute", "speed", "reverse"),
)
USUAL_SUPPLY = ("battery", "switched", "ground", "illumination", "amplifier")


@dataclass(frozen=True, slots=True)
class Conductor:
    """One wire at the radio's plug.

    Attributes:
        group: id of its channel, or `supply`.
        pin, pin_source: as written down, or of ISO 10487; empty where unknown.
        colour: as seen on this vehicle, empty where nobody wrote one down.
        usual: colour of a new radio's own lead, common practice.
        size, length: with the letter of their origin behind a measure nobody took.
        goes_to: the ends it is joined to, and which way round.

    """

    group: str
    function: str
    title: str
    sign: str
    pin: str
    pin_source: str
    colour: str
    usual: str
    size: str
    length: str
    joint: str
    goes_to: str
    proof: Proof


@dataclass(frozen=True, slots=True)
class SplicePoint:
    """A joint inside a channel's load, away from the radio; `new` where this work makes it."""

    channel: str
    name: str
    ends: str
    new: bool


@dataclass(frozen=True, slots=True)
class Schedule:
    """All wires and joints, and what is to be said about them."""

    conductors: tuple[Conductor, ...]
    splices: tuple[SplicePoint, ...]
    notes: tuple[str, ...]
    unknown: tuple[str, ...]


def schedule(build: Build) -> Schedule:
    """Return the wiring schedule of a build.

    Args:
        build: the state of the vehicle that the papers are for.

    """
    job, proofs = planned_job(build), Proofs(build)
    pairs = [row for channel in build.channels for row in _pair(channel, build, job, proofs)]
    pairs += [row for channel in build.unused for row in _unused(channel, build, job, proofs)]
    return Schedule(
        conductors=(*pairs, *_supply(build, job, proofs)),
        splices=tuple(_splices(build)),
        notes=tuple(_notes(build, job)),
        unknown=tuple(channel.id for channel in build.unknown),
    )


def has_usual_leads(build: Build) -> bool:
    """Whether a radio comes in, or sits there, whose leads have the usual colours."""
    return another_radio(build.planned) or build.job.head_unit.connector is not None


def corners(build: Build) -> dict[str, str]:
    """Return the corner that each channel plays in, `front-left` and so on.

    By where its drivers sit; channels that share a corner, or sit in the middle, have none.
    """
    found = {
        channel.id: "" if channel.driven_by else _corner(channel, build)
        for channel in build.channels
    }
    taken = Counter(found.values())
    return {name: corner if taken[corner] == 1 else "" for name, corner in found.items()}


def _corner(channel: ChannelState, build: Build) -> str:
    places = [build.location(name).at for name, _ in channel.polarity]
    forward = sum(at[0].si for at in places)
    left = sum(at[1].si for at in places)
    if not places or left == 0.0:
        return ""
    return f"{'front' if forward >= 0.0 else 'rear'}-{'left' if left > 0.0 else 'right'}"


# --- The two wires of a pair --------------------------------------------------------------------


def _pair(
    channel: ChannelState, build: Build, job: Document, proofs: Proofs
) -> Iterator[Conductor]:
    ends = {joint.name: joint for joint in joints(channel)}
    # A corner names pins and colours of the radio's plug; what an amplifier drives has none there.
    corner = corners(build)[channel.id] if channel.driven_by is None else ""
    written = _written_proof(channel.id, job)
    for function, sign in SIGNS.items():
        proof = proofs.pair(channel, written) if sign == PLUS else proofs.polarity(channel)
        yield _wire(channel, function, corner, job, goes_to=_goes_to(ends[sign]), proof=proof)


def _unused(
    channel: UnusedChannelState, build: Build, job: Document, proofs: Proofs
) -> Iterator[Conductor]:
    """The two wires of an output that drives nothing, or feeds the inputs of amplifiers."""
    written = _written_proof(channel.id, job)
    fed = listed([each.name for each in fed_by(build, channel.id)])
    proof = proofs.fed(written) if fed else proofs.unused(written)
    for function in SIGNS:
        goes_to = f"input of {fed}, {SIGNS[function]}" if fed else INSULATED
        yield _wire(channel, function, "", job, goes_to=goes_to, proof=proof)


def _written_proof(channel: str, job: Document) -> str | None:
    leads = (lead for lead in job.leads if lead.channel == channel)
    return next((lead.proof for lead in leads if lead.proof), None)


def _wire(
    channel: ChannelState | UnusedChannelState,
    function: str,
    corner: str,
    job: Document,
    *,
    goes_to: str,
    proof: Proof,
) -> Conductor:
    """One wire of a pair."""
    same = (each for each in job.leads if (each.channel, each.function) == (channel.id, function))
    lead, sign = next(same, None), SIGNS[function]
    pin, source = _pin(lead, function, corner, job)
    unit = channel.driven_by if isinstance(channel, ChannelState) else None
    return Conductor(
        group=channel.id,
        function=function,
        title=f"{channel.id} {sign}",
        sign=sign,
        pin=pin,
        pin_source=source,
        colour=(lead and lead.colour) or "",
        usual=_usual_colour(function, corner) if unit is None else "",
        size=_size(lead, channel.cable),
        length=_length(lead, channel.cable),
        joint=(lead and lead.joint) or "",
        goes_to=goes_to if unit is None else f"{goes_to}, from {unit}",
        proof=proof,
    )


def _goes_to(joint: Joint) -> str:
    turned = [end.text for end in joint.ends if end.part.turned]
    return f"{joint.text} (turned round: {', '.join(turned)})" if turned else joint.text


def _size(lead: Lead | None, cable: CableState) -> str:
    if lead is not None and lead.size is not None:
        return plain_text(lead.size)
    return _lettered(cable.size)


def _length(lead: Lead | None, cable: CableState) -> str:
    if lead is not None and lead.length is not None:
        return plain_text(lead.length)
    if cable.resistance is not None:
        return f"loop {plain_text(cable.resistance.quantity)}"
    return _lettered(cable.length)


def _lettered(value: Value | None) -> str:
    if value is None:
        return ""
    text = plain_text(value.quantity)
    return text if value.origin is Origin.MEASURED else f"{text} {LETTERS[value.origin]}"


# --- Supply and control wires ------------------------------------------------------------------


def _supply(build: Build, job: Document, proofs: Proofs) -> Iterator[Conductor]:
    """Wires written down, then those that the plug usually has and nobody wrote down."""
    leads = [lead for lead in job.leads if lead.channel is None]
    for lead in leads:
        yield _control(lead.function, lead, job, proofs)
    needs = instead_of("papers")
    standard = ISO_BLOCK_A if job.head_unit.connector == "iso-10487" else USUAL_SUPPLY
    for function in standard:
        known = any(lead.function == function for lead in leads)
        if not known and has_all(build, needs.get(("lead_proofs", function), ("", ""))[0]):
            yield _control(function, None, job, proofs)


def _control(function: str, lead: Lead | None, job: Document, proofs: Proofs) -> Conductor:
    row = next(row for row in data_rows("papers", "lead_proofs.csv") if row["function"] == function)
    pin, source = _pin(lead, function, "", job)
    return Conductor(
        group="supply",
        function=function,
        title=proofs.title(function, row["title"]),
        sign="",
        pin=pin,
        pin_source=source,
        colour=(lead and lead.colour) or "",
        usual=_usual_colour(function, ""),
        size=plain_text(lead.size) if lead and lead.size else "",
        length=plain_text(lead.length) if lead and lead.length else "",
        joint=(lead and lead.joint) or "",
        goes_to="",
        proof=proofs.lead(function, lead.proof if lead else None),
    )


def _pin(lead: Lead | None, function: str, corner: str, job: Document) -> tuple[str, str]:
    """The pin written down, else that of the standard where the vehicle has its blocks."""
    if lead is not None and lead.pin is not None:
        return lead.pin, "as written"
    if job.head_unit.connector == "iso-10487" and (function not in SIGNS or corner):
        for row in data_rows("papers", "iso10487.csv"):
            if (row["function"], row["corner"]) == (function, corner):
                return row["pin"], row["source"]
    return "", ""


def _usual_colour(function: str, corner: str) -> str:
    for row in data_rows("papers", "lead_colours.csv"):
        if (row["function"], row["corner"]) == (function, corner):
            return row["colour"]
    return ""


# --- Joints and notes ----------------------------------------------------------------------------


def _splices(build: Build) -> Iterator[SplicePoint]:
    """Joints where more than one end meets, but for a single driver on its own pair."""
    before = {channel.id: channel for channel in as_found(build).channels}
    for channel in build.channels:
        old = before.get(channel.id)
        known = {joint.text for joint in joints(old)} if old else set()
        for joint in joints(channel):
            if len(joint.ends) > 1 or joint.text not in known:
                yield SplicePoint(channel.id, joint.name, joint.text, joint.text not in known)


def _notes(build: Build, job: Document) -> Iterator[str]:
    yield (
        "A colour proves nothing: it differs by maker, by model year and by the last hand that was "
        "here. A wire is what its proof reading says."
    )
    if has_usual_leads(build):
        yield (
            "Usual colours are those of a new radio's own leads, by common practice; a vehicle's "
            "own loom follows its maker."
        )
    if job.head_unit.connector == "iso-10487":
        yield (
            "Pins by ISO 10487, blocks A and B; pins A2, B1, B2, B4 and B8 from memory. Some "
            "makers change A4 and A7 over: prove both before the radio is plugged in."
        )
    if build.head_unit.output == "common-ground":
        yield (
            "This radio has common-ground outputs: − wires may share one return. Such a loom never "
            "meets a bridge output: that puts half the supply across the loudspeaker. New pairs, "
            "or an adapter that blocks d.c."
        )
    returned = [each.id for each in pairs_of(build) if each.return_by in ("chassis", "shared")]
    if returned:
        yield (
            f"No wire of its own comes back from {listed(returned)}: none of them is joined to a "
            "bridge output before one is laid."
        )
    if build.vehicle.ground == "positive":
        yield (
            "The body of this vehicle is battery plus: readings against bare metal are below zero, "
            "and the fuse sits in the minus lead."
        )
    if build.converter is not None:
        yield (
            f"The radio hangs on a converter ({build.converter.name}): both its feeds come from "
            "there, none from the vehicle's own wires."
        )
    for unit in build.amplifiers:
        fed = [each.input for each in build.channels if each.driven_by == unit.id and each.input]
        names = sorted({each.channel for each in fed if each.channel})
        line = "its line inputs" if any(each.channel is None for each in fed) else ""
        told = listed([*names, *([line] if line else [])])
        yield (
            f"{unit.name} stands between the radio and "
            f"{listed([each.id for each in build.channels if each.driven_by == unit.id])}: fed by "
            f"{told}, switched on by its own turn-on wire. Pairs that say so start at its plug."
        )
    if any(part.turned for channel in build.channels for part in parts_of(channel)):
        yield "Where a driver is turned round on purpose, its flag says so."
    if any(chain.channel is not None and chain.woofer is None for chain in chains_of(build)):
        yield "Behind a capacitor an ohm-meter reads open: prove such a pair by its sound."
