"""The whole document: everything a repairer wrote down about one vehicle, frozen."""

from collections.abc import Iterable
from functools import cached_property
from typing import Annotated, Literal, Protocol, Self, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, JsonValue

from conewright.errors import BadInputError
from conewright.job.document.bench import Bench, Purchase, Sheet, Tool
from conewright.job.document.fault_names import FaultName
from conewright.job.document.fields import (
    Count,
    Day,
    Gain,
    Hash,
    Identifier,
    Money,
    ReadingOdds,
    ReadingValue,
    Text,
    When,
)
from conewright.job.document.parts import (
    Battery,
    Cable,
    Channel,
    Converter,
    HeadUnit,
    Place,
    Restraint,
    Restraints,
    Seat,
    Table,
    Thermal,
    Vehicle,
)
from conewright.job.document.places import (
    Cavity,
    Cover,
    DriverSheet,
    Frame,
    Kind,
    Location,
    Mount,
    Screws,
    Trim,
)
from conewright.job.document.wires import Amplifier, Feed, Lead
from conewright.job.quantity.size import Size

__all__ = [
    "WEIGHTS",
    "About",
    "Amplifier",
    "Battery",
    "Bench",
    "Cable",
    "Cavity",
    "Channel",
    "Converter",
    "Cover",
    "Document",
    "DriverSheet",
    "Feed",
    "Finding",
    "Frame",
    "Goals",
    "HeadUnit",
    "KeptRecording",
    "Kind",
    "Knob",
    "Lead",
    "Location",
    "Mount",
    "Place",
    "Proposal",
    "Purchase",
    "Reading",
    "Restraint",
    "Restraints",
    "Screws",
    "Seat",
    "Sheet",
    "Size",
    "Table",
    "Thermal",
    "Tool",
    "Trim",
    "Vehicle",
    "Wishes",
]


class About(Table):
    """What the job is about: the customer's side of it."""

    title: Text | None = Field(None, description="The job in one line.")
    opened: Day | None = Field(None, description="The day the job was taken in.")
    currency: Text | None = Field(None, description="Currency of every price in the file.")
    hour_rate: Money | None = Field(None, description="Price of one hour's work.")
    budget: Money | None = Field(None, description="What the owner wants to spend at most.")
    complaints: tuple[Text, ...] = Field(
        (),
        description="What the owner reports, each as words joined by hyphens, with the place "
        "behind an @: thin-after-change@front.",
    )
    sure: tuple[Text, ...] = Field(
        (),
        description="Unusual values that were looked at again and are so, by their paths: "
        "door-fl.mount.cutout. Each holds for its path, whatever stands there later.",
        examples=[["door-fl.mount.cutout"]],
    )
    notes: Text | None = Field(None, description="Anything else worth keeping.")


Weight = Literal["no matter", "would be nice", "matters", "matters most"]
Knob = Literal[
    "driver", "ring", "cover", "polarity", "wiring", "capacitor", "high-pass", "radio", "amplifier"
]


Must = Literal[
    "front sound",
    "rear sound",
    "chimes kept",
    "wheel buttons kept",
    "camera kept",
    "parking sounds kept",
    "factory amplifier kept",
    "antenna amplifier kept",
    "retained power kept",
    "alarm kept",
    "hands-free kept",
    "illumination kept",
    "vehicle settings kept",
    "noise cancelling kept",
]
"""What every plan must leave: sound at one end of the cabin, and what works through the radio."""


def _upward(span: tuple[Gain, Gain]) -> tuple[Gain, Gain]:
    if span[0].value >= span[1].value:
        raise BadInputError("what is worth nothing comes first, then what is all that is wished")
    return span


Span = Annotated[tuple[Gain, Gain], AfterValidator(_upward)]


class Goals(Table):
    """From which change on a wish is worth something, and from which on nothing more."""

    bass: Span | None = Field(
        None,
        description="Change of the level from 40 to 100 Hz that is worth nothing, -6 when left "
        "out, and the one that is all that is wished, 12 when left out [dB].",
    )
    loudness: Span | None = Field(
        None,
        description="Change of the loudest clean level that is worth nothing, -6 when left out, "
        "and the one that is all that is wished, 6 when left out [dB].",
    )
    clarity: Span | None = Field(
        None,
        description="Change of the level from 3 to 18 kHz that is worth nothing, -6 when left out, "
        "and the one that is all that is wished, 12 when left out [dB].",
    )


IN_WORDS = "`no matter`, `would be nice`, `matters` or `matters most`."


class Wishes(Table):
    """What the owner asked for, and what may be done for it."""

    seat: Identifier | None = Field(
        None, description="Id of the seat that counts; the first one when left out."
    )
    bass: Weight | None = Field(None, description=f"Bass: {IN_WORDS}")
    loudness: Weight | None = Field(None, description=f"How loud it plays cleanly: {IN_WORDS}")
    clarity: Weight | None = Field(None, description=f"Treble: {IN_WORDS}")
    reversible: Weight | None = Field(
        None, description=f"That it can be put back as it was: {IN_WORDS}"
    )
    appearance: Weight | None = Field(None, description=f"That it looks as before: {IN_WORDS}")
    hands_free: Weight | None = Field(
        None,
        description="Hands-free that works, as `head_unit.carries` says, and of another radio the "
        f"same of the proposal: {IN_WORDS}",
    )
    goals: Goals = Field(Goals(), description="Between what changes a wish gains its points.")
    money: Money | None = Field(None, description="Most that it may cost, in the job's currency.")
    hours: Money | None = Field(None, description="Most working time [h].")
    lead_days: Money | None = Field(
        None,
        description="Most days that a part may be on its way; nothing that is out of stock is "
        "waited for when left out.",
    )
    may: tuple[Knob, ...] | None = Field(
        None,
        description="What may be changed: `driver`, `ring`, `cover`, `polarity`, `wiring`, "
        "`capacitor`, `high-pass`, `radio`, `amplifier`; anything when left out.",
    )
    cut: bool | None = Field(None, description="Whether panels may be cut.")
    must: tuple[Must, ...] = Field(
        (),
        description="What every plan must leave, or it is not recommended: `front sound`, `rear "
        "sound` that something plays there; `camera kept` and the like (`chimes`, `wheel buttons`, "
        "`parking sounds`, `factory amplifier`, `antenna amplifier`, `retained power`, `alarm`, "
        "`hands-free`, `illumination`, `vehicle settings`, `noise cancelling`) that what works "
        "through the radio stays, or the proposal sets `head_unit.carries` with it.",
        examples=[["rear sound", "camera kept"]],
    )

    @property
    def weights(self) -> dict[str, int]:
        """What each wish weighs, 0 to 4, those of no weight left out."""
        words = {name: getattr(self, name) for name in WISHES}
        return {name: WEIGHTS[word] for name, word in words.items() if WEIGHTS.get(word, 0)}


WISHES = ("bass", "loudness", "clarity", "reversible", "appearance", "hands_free")
WEIGHTS = {"no matter": 0, "would be nice": 1, "matters": 2, "matters most": 4}
"""Points of the owner's words; workshop choice, no source."""


class Reading(Table):
    """What was measured, where, and what it said."""

    test: Identifier = Field(description="The test that was done, like pair-resistance.")
    at: Text = Field(
        description="Where: the id of a channel, location, driver or seat, head_unit, vehicle, or "
        "front, rear, left, right."
    )
    value: ReadingValue = Field(description="What it said: a value with its unit, or words.")
    recordings: tuple[Identifier, ...] = Field(
        (), alias="from", description="Ids of the recordings that it was taken from."
    )
    odds: ReadingOdds | None = Field(
        None,
        description="How well the recording goes with each answer in words, as weights: a rattle "
        "nine times as well as none. Left out where somebody read or heard it himself.",
    )


class KeptRecording(Table):
    """A recording that was made in this vehicle; its file is kept beside the jobs."""

    id: Identifier = Field(description="Short name of the recording.")
    file: Text = Field(description="Name of the file as it came.")
    sha256: Hash = Field(description="SHA-256 of the file, which tells it from all others.")
    test: Identifier = Field(description="The test it was made for, like side-response.")
    at: Text = Field(description="Where: the id of a place, channel or seat, or vehicle.")
    side: Literal["left", "right", "both", "opposed"] | None = Field(
        None, description="Which side played; `opposed`: both, the right one turned round."
    )
    when: When | None = Field(
        None, description="`before` or `after` the work, or the day it was made."
    )
    take: Count | None = Field(None, description="Which of several takes it is.")
    volume: Text | None = Field(None, description="Where the volume stood.")
    details: Annotated[dict[Identifier, Text], Field(max_length=20)] | None = Field(
        None,
        description="What no recording tells, by its name: the resistor of a jig, volts that a "
        "meter read.",
        examples=[{"resistor": "10 ohm"}],
    )
    note: Text | None = Field(None, description="Anything else worth keeping.")


class Finding(Table):
    """A fault that is taken as established, or one that has been mended since."""

    fault: FaultName = Field(description="The fault, like coil-open.")
    at: Text = Field(
        description="Where: the id of the place, or of the channel, or vehicle, as the fault asks."
    )
    state: Literal["found", "mended"] = Field(
        "found", description="Whether it is there, or has been mended."
    )
    since: Text | None = Field(
        None, description="The reading it was taken from, test@place, or words."
    )
    note: Text | None = Field(None, description="Anything else worth keeping.")

    @property
    def id(self) -> str:
        """`fault@place`."""
        return f"{self.fault}@{self.at}"


class Proposal(Table):
    """One way to put it right: what to change, and what that takes."""

    id: Identifier = Field(description="Short name of the proposal.")
    name: Text | None = Field(None, description="What is done, in one line.")
    hours: Money | None = Field(
        None, description="Working time [h]; where not given, what the steps of the work add up to."
    )
    extra_cost: Money | None = Field(
        None,
        description="Material besides the drivers' own prices, in the currency of the job; where "
        "what changes comes to more, that counts.",
    )
    mends: tuple[Text, ...] = Field(
        (),
        description="Faults that the work puts right besides those that its changes end, each as "
        "fault@place: wire-broken@front-left.",
    )
    repairs: tuple[Text, ...] = Field(
        (),
        description="Repairs that are chosen, each as repair@place: `re-edge` (a new surround), "
        "`reglue` (cap or spider), `new-lead` (to the coil), `clean-gap`, `used` (a used original "
        "fitted), `new` (another of its size and ohms), `swap` (left and right changed over), "
        "`keep` (left as it is and watched). Each ends what it is for.",
        examples=[["re-edge@door-fl", "reglue@door-fr"]],
    )
    remove: tuple[Text, ...] = Field(
        (),
        description="What is taken out: the id of a place, a channel, a driver or a supply cable; "
        "a wire as function@channel, plus@front-left; one field as id.field. What was read, found "
        "and written of wires there goes with it.",
        examples=[["roof-c", "amplifier-feed.fuse"]],
    )
    catalogue: Text | None = Field(
        None,
        description="The list that its parts were chosen from, with what tells its version.",
        examples=["invented, version 2, sha256 0123456789ab"],
    )
    buy: Annotated[tuple[Purchase, ...], Field(max_length=200)] = Field(
        (),
        description="Parts of a list that are bought for it, each as `[[proposal.buy]]`.",
    )
    add: dict[str, tuple[dict[str, JsonValue], ...]] = Field(
        default_factory=dict,
        description="What is put in: entries of the job's own lists, each written as there, a "
        "place in `[[proposal.add.location]]`; `like` copies a place of the job or of the plan.",
    )
    set: dict[str, JsonValue] = Field(
        default_factory=dict,
        description="What changes: `id.field` and its new value; the id may hold the wildcards "
        "`*` and `?`. It is done last, and may speak of what is added.",
        examples=[{"door-f?.mount.ring": True, "front-right.load": "door-fr"}],
    )


class Named(Protocol):
    """Anything with an id."""

    @property
    def id(self) -> str:
        """Return the short name."""


N = TypeVar("N", bound=Named)


def _named(parts: Iterable[N], name: str) -> N:
    """Return the part of that id; raises KeyError."""
    for part in parts:
        if part.id == name:
            return part
    raise KeyError(name)


def _version(value: object) -> object:
    """Return the version of the file format; raises BadInputError for any other than 1."""
    if value != 1 or not isinstance(value, int) or isinstance(value, bool):
        raise BadInputError("the number 1 is wanted: no other version of the format is known")
    return value


Version = Annotated[Literal[1], BeforeValidator(_version)]


class Document(Table):
    """A job file: one vehicle on the bench, as found, with proposals to put it right."""

    format: Version = Field(description="Version of this file format: 1.")
    about: About = Field(About(), alias="job", description="What the job is about.")
    wishes: Wishes = Field(Wishes(), description="What the owner asked for.")
    vehicle: Vehicle = Field(Vehicle(), description="The vehicle on the bench.")
    seats: tuple[Seat, ...] = Field((), alias="seat", description="Places to listen from.")
    converter: Converter = Field(
        Converter(), description="What stands between the vehicle's supply and the radio."
    )
    head_unit: HeadUnit = Field(description="The radio.")
    channels: tuple[Channel, ...] = Field(
        alias="channel",
        min_length=1,
        description="The output pairs of the radio and of the amplifiers.",
    )
    amplifiers: tuple[Amplifier, ...] = Field(
        (),
        alias="amplifier",
        description="Amplifiers between the radio and some channels.",
    )
    locations: tuple[Location, ...] = Field(
        alias="location", min_length=1, description="The places drivers sit in."
    )
    drivers: tuple[DriverSheet, ...] = Field(
        alias="driver", min_length=1, description="Drivers fitted, and drivers one might fit."
    )
    leads: tuple[Lead, ...] = Field(
        (), alias="lead", description="Wires at the radio, as they were seen and proved."
    )
    feeds: tuple[Feed, ...] = Field(
        (), alias="feed", description="Cables that feed the radio or an added amplifier."
    )
    readings: tuple[Reading, ...] = Field(
        (), alias="reading", description="What was measured, where, and what it said."
    )
    recordings: tuple[KeptRecording, ...] = Field(
        (), alias="recording", description="Recordings that readings were taken from."
    )
    findings: tuple[Finding, ...] = Field(
        (), alias="finding", description="Faults that are taken as established."
    )
    sheets: Annotated[tuple[Sheet, ...], Field(max_length=40)] = Field(
        (), alias="sheet", description="Stock sheets at hand to cut parts from."
    )
    bench: Bench = Field(Bench(), description="The tools that cut.")
    proposals: tuple[Proposal, ...] = Field(
        (), alias="proposal", description="Ways to put it right."
    )

    def seat(self, name: str) -> Seat:
        """Return the seat of that id; raises KeyError."""
        return _named(self.seats, name)

    def channel(self, name: str) -> Channel:
        """Return the channel of that id; raises KeyError."""
        return _named(self.channels, name)

    def location(self, name: str) -> Location:
        """Return the location of that id; raises KeyError."""
        return _named(self.locations, name)

    def driver(self, name: str) -> DriverSheet:
        """Return the driver of that id; raises KeyError."""
        return _named(self.drivers, name)

    def recording(self, name: str) -> KeptRecording:
        """Return the recording of that id; raises KeyError."""
        return _named(self.recordings, name)

    def proposal(self, name: str) -> Proposal:
        """Return the proposal of that id; raises KeyError."""
        return _named(self.proposals, name)

    @property
    def most_money(self) -> float | None:
        """What the owner wants to spend at most: his wish, else the budget of the job."""
        return self.about.budget if self.wishes.money is None else self.wishes.money

    def last_reading(self, test: str, at: str) -> Reading | None:
        """Return the latest reading of a test at a place, None where none was taken."""
        found = (each for each in reversed(self.readings) if (each.test, each.at) == (test, at))
        return next(found, None)

    @cached_property
    def carried_out(self) -> dict[str, Self]:
        """The job with a proposal carried out, by its id, as far as that was asked for."""
        return {}

    def __copy__(self) -> Self:
        """Return a copy, which may be changed: nothing is carried out in it yet."""
        copied = super().__copy__()
        copied.__dict__.pop("carried_out", None)
        return copied
