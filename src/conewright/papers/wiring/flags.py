"""Flags to print and wrap round each pair, at the radio and at each driver; the fuse's label."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from textwrap import shorten
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from conewright.errors import BadInputError
from conewright.papers.press.head import head
from conewright.papers.press.typeset import Paper, typeset
from conewright.papers.wiring.schedule import Conductor, Schedule, schedule
from conewright.phrases import listed
from conewright.stages.common.nets import MINUS, PLUS, fed_by, parts_of
from conewright.stages.report.words import number

if TYPE_CHECKING:
    from collections.abc import Iterator

    from conewright.job.builds.states.build import Build
    from conewright.job.builds.states.electrics import ChannelState
    from conewright.papers.press.answers import Answers
    from conewright.papers.press.supply_plan import FeedPlan

__all__ = ["Flag", "Flags", "FuseLabel", "flag_sheet", "has_flags", "labels", "square_code"]

TITLE = "Flags"
CODE_FILE = "code.svg"
LONGEST_ADDRESS = 200
LONGEST_WIRE = 36
"""Letters of a wire that a flag has room for."""


@dataclass(frozen=True, slots=True)
class Flag:
    """What is written on a flag: whose pair, its two wires, what proves it, what to mind."""

    title: str
    plus: str
    minus: str
    check: str
    mind: str = ""


@dataclass(frozen=True, slots=True)
class FuseLabel:
    """What sticks beside a fuse; every line has its unit."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Flags:
    """All flags of a plan: at the radio's plug, at the drivers, and the labels of the fuses."""

    pairs: tuple[Flag, ...]
    drivers: tuple[Flag, ...]
    fuses: tuple[FuseLabel, ...]


def has_flags(answers: Answers) -> bool:
    """Whether a plan has any; none where nobody knows yet what hangs on any output."""
    build = answers.build
    return bool(build.channels or build.unused or answers.supply.feeds)


def labels(answers: Answers) -> Flags:
    """Return the flags of a plan."""
    build, plan = answers.build, schedule(answers.build)
    return Flags(
        pairs=(
            *(_pair(channel.id, plan) for channel in build.channels),
            *(_pair(each.id, plan, mind=_end(each.id, build)) for each in build.unused),
        ),
        drivers=tuple(flag for channel in build.channels for flag in _drivers(channel)),
        fuses=tuple(_fuse(cable) for cable in answers.supply.feeds),
    )


def flag_sheet(
    answers: Answers,
    *,
    paper: Paper = "A4",
    revision: str | None = None,
    address: str | None = None,
) -> bytes:
    """Return the sheet of flags as a PDF; the same job gives the same bytes.

    Args:
        answers: what the stages say of the plan.
        paper: what it is printed on.
        revision: as the keeper of the job calls it; a fingerprint of the job when None.
        address: of the job's page, where it is served: on each flag as a square code.

    Raises:
        BadInputError: the address is none.

    """
    flags = labels(answers)
    files = {} if address is None else {CODE_FILE: square_code(address)}
    data: dict[str, Any] = {
        "head": head(answers.build, TITLE, revision=revision),
        "code": CODE_FILE if address is not None else None,
        "address": address or "",
        **asdict(flags),
    }
    return typeset("flags.typ", data, files=files, paper=paper)


def square_code(address: str) -> str:
    """Return the square code of a web address as SVG, with its quiet zone (ISO/IEC 18004).

    Raises:
        BadInputError: no web address, or one that is too long for a small label.

    """
    import segno

    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.netloc or len(address) > LONGEST_ADDRESS:
        raise BadInputError(
            f'address: found "{address[:60]}"; allowed is a web address of up to '
            f"{LONGEST_ADDRESS} letters, like https://192.168.1.20:8443/jobs/7"
        )
    return str(segno.make(address, error="m", micro=False).svg_inline(border=4))


def _pair(channel: str, plan: Schedule, mind: str = "") -> Flag:
    wires = {row.sign: row for row in plan.conductors if row.group == channel}
    return Flag(
        title=channel,
        plus=_wire(wires[PLUS]),
        minus=_wire(wires[MINUS]),
        check=wires[PLUS].proof.expected,
        mind=mind,
    )


def _end(channel: str, build: Build) -> str:
    fed = listed([each.id for each in fed_by(build, channel)])
    return f"to {fed}" if fed else "UNUSED: insulate"


def _wire(row: Conductor) -> str:
    """Pin and colour of a wire; a colour whose wire is not proved carries a question mark."""
    pin = f"pin {row.pin}" if row.pin else ""
    words = ", ".join(word for word in (pin, row.colour) if word)
    seen_only = row.colour and row.proof.state != "proved"
    return shorten(words, LONGEST_WIRE, placeholder=" …") + (" ?" if seen_only else "")


def _drivers(channel: ChannelState) -> Iterator[Flag]:
    """Yield the flag of each driver: where its own + and − terminals go."""
    for part in parts_of(channel):
        if part.kind == "driver":
            plus, minus = part.upper, part.lower
            if part.turned:
                plus, minus = minus, plus
            mind = "TURNED on purpose" if part.turned else ""
            yield Flag(part.key, _to(plus), _to(minus), channel.id, mind)


def _to(joint: str) -> str:
    return f"to the pair's {joint}" if joint in (PLUS, MINUS) else f"to joint {joint}"


def _fuse(plan: FeedPlan) -> FuseLabel:
    cable = plan.cable
    assert cable.length is not None
    lies = "conductor_temperature" if cable.route == "free" else "conductor_temperature_bundled"
    return FuseLabel(
        title=f"FUSE {plan.rating} {plan.colour}".rstrip(),
        lines=(
            f"{cable.id}: {plan.size} {plan.metal}",
            f"{number(cable.length.si, 'm')} one way, {cable.route}",
            f"fuse {plan.value('fuse_distance'):.0f} mm from the source",
            f"drop {plan.value('drop'):.2f} V at {plan.rating}",
            f"{plan.value(f'{lies}_most'):.0f} °C at most at {plan.rating}",
            "never a larger fuse",
        ),
    )
