"""The electrical half of the document: vehicle, seats, head unit and its channels."""

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from conewright.data_files import data_rows
from conewright.errors import BadInputError
from conewright.job.document.fields import (
    Area,
    Charge,
    Conductor,
    Current,
    Frequency,
    Gain,
    Identifier,
    Length,
    Money,
    Number,
    Position,
    PositiveCurrent,
    PositiveResistance,
    Power,
    Resistance,
    Temperature,
    Text,
    ThermalResistance,
    Voltage,
    Volume,
)
from conewright.job.quantity.expression import Load, parse_load
from conewright.physics.electrics.filters import LINKWITZ_RILEY, FilterKind

__all__ = [
    "AS_FOUND",
    "LINE",
    "RADIO",
    "UNKNOWN",
    "UNUSED",
    "YEARS",
    "Battery",
    "Cable",
    "Carried",
    "Channel",
    "Converter",
    "Era",
    "HeadUnit",
    "Place",
    "Restraint",
    "Restraints",
    "ReturnBy",
    "Seat",
    "System",
    "Table",
    "Thermal",
    "Vehicle",
    "eras_without",
    "has_part",
    "nominal_volts",
    "of_year",
]

Body = Literal[
    "compact", "saloon", "estate", "convertible", "pickup-cab", "van", "minibus", "camper",
    "motorhome", "work-cab", "other",
]  # fmt: skip
"""Body types; `work-cab` is that of a tractor or another machine."""
Era = Literal["mono", "stereo", "digital", "connected"]
YEARS: Mapping[Era, int] = {"mono": 1970, "stereo": 1985, "digital": 2002, "connected": 2014}
"""Years in the middle of the eras of radios; workshop experience, from memory."""
Signal = Literal["own", "sum", "difference"]
Place = tuple[Position, Position, Position]
Restraint = Literal["none", "impact", "pressure", "unknown"]
System = Literal["6 V", "12 V", "24 V"]
ReturnBy = Literal["wire", "chassis", "shared"]
Carried = Literal[
    "chimes",
    "wheel-buttons",
    "camera",
    "parking-sounds",
    "factory-amplifier",
    "antenna-amplifier",
    "retained-power",
    "alarm",
    "hands-free",
    "illumination",
    "vehicle-settings",
    "noise-cancelling",
]
"""What of a vehicle may work through its radio, and go silent with it."""


def _off(value: object) -> object:
    """Return None for a filter that is switched off."""
    return None if value == "off" else value


AS_FOUND = "as-found"
"""The id of the vehicle without any proposal."""

UNKNOWN = "unknown"
"""A load that nobody knows yet; readings at the plug tell what hangs there."""

UNUSED = "none"
"""The load of an output that drives nothing."""

RADIO = "radio"
"""What drives a channel that no amplifier drives."""

LINE = "line"
"""The input of an amplifier's channel that comes from the radio's line outputs."""


def _readable_load(text: str) -> str:
    """Return a load that can be read, or a word for one unknown or for none; raises LoadError."""
    if text not in (UNKNOWN, UNUSED):
        parse_load(text)
    return text


LoadText = Annotated[Text, AfterValidator(_readable_load)]
Corner = Annotated[Frequency | None, BeforeValidator(_off)]
Slope = Literal["6 dB/oct", "12 dB/oct", "18 dB/oct", "24 dB/oct"]


def nominal_volts(system: str) -> float:
    """Return the volts that a supply system is called after [V]."""
    return float(system.split()[0])


def of_year(part: str, year: int | None) -> bool:
    """Whether what is of a year can have a part; all of what is of any year.

    Raises: KeyError for a part that the table of years does not have.
    """
    since = int(_parts_of_years()[part]["since"])
    return year is None or year >= since


def has_part(part: str) -> str:
    """Return what a part of the table of years belongs to: `vehicle` or `radio`."""
    return _parts_of_years()[part]["of"]


def eras_without(part: str) -> tuple[Era, ...]:
    """Return the eras whose radios do not have a part."""
    return tuple(era for era, year in YEARS.items() if not of_year(part, year))


@cache
def _parts_of_years() -> Mapping[str, Mapping[str, str]]:
    return {row["part"]: row for row in data_rows("job", "eras.csv")}


class Table(BaseModel):
    """A table of the job file: frozen, and closed to fields it does not know."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, validate_by_name=True, validate_by_alias=True
    )

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain JSON values under the names of the file; reads back equal."""
        return self.model_dump(mode="json", by_alias=True, exclude_unset=True)


class Battery(Table):
    """The starter battery."""

    capacity: Charge | None = Field(None, description="Capacity printed on the battery [Ah].")
    health: Number | None = Field(
        None, description="Part of that capacity it still holds, 0 to 1, by a battery tester."
    )
    rest_voltage: Voltage | None = Field(
        None, description="Voltage at the posts after hours at rest, engine and consumers off [V]."
    )


class Restraints(Table):
    """Which restraint parts sit where trims come off; `unknown` is treated with full care."""

    curtain: Restraint = Field(
        "unknown", description="Side curtain behind pillar and roof trims: none when not fitted."
    )
    door_sensor: Restraint = Field(
        "unknown",
        description="Side-impact sensor in the doors: `pressure` reads the air inside the door.",
    )


OPEN_BODIES = ("convertible", "pickup-cab", "other")
"""Body types that may have a top that comes off."""


class Vehicle(Table):
    """The vehicle on the bench."""

    name: Text | None = Field(None, description="What the vehicle is called in the workshop.")
    built: int | None = Field(None, strict=True, description="Year it was built.")
    class_: Body | None = Field(
        None, alias="class", description="Body type: picks the typical cabin."
    )
    cabin_volume: Volume | None = Field(
        None, description="Air in the cabin, load space included where it is open [m3]."
    )
    cabin_length: Length | None = Field(
        None, description="Inside of the cabin from windscreen to back, load space included [m]."
    )
    cabin_width: Length | None = Field(
        None, description="Inside of the cabin from trim to trim, at the height of the elbows [m]."
    )
    cabin_height: Length | None = Field(
        None, description="Inside of the cabin from the floor to the roof lining [m]."
    )
    windows: Literal["closed", "open"] | None = Field(
        None, description="Whether windows are open while listening; left out: closed."
    )
    window_area: Area | None = Field(
        None, description="Openings of all open windows and roof vents together [m2]."
    )
    top: Literal["up", "down"] | None = Field(
        None,
        description="Top of a vehicle that can be driven open, while listening: `up` (of cloth) or "
        "`down`; left out: up.",
    )
    temperature: Temperature | None = Field(
        None, description="Air temperature in the cabin while listening [degC]."
    )
    system: System | None = Field(
        None, description="Nominal voltage of its supply system; 12 V where nobody says otherwise."
    )
    ground: Literal["negative", "positive"] | None = Field(
        None,
        description="Pole of the battery that the body is joined to; negative where nobody says "
        "otherwise.",
    )
    battery: Battery = Field(Battery(), description="The starter battery.")
    restraints: Restraints = Field(
        Restraints(), description="Restraint parts near doors and trims."
    )

    @model_validator(mode="after")
    def _opens_as_told(self) -> Self:
        if self.windows == "closed" and self.window_area is not None and self.window_area.value:
            raise BadInputError(
                "windows that are closed have no window_area: leave one of them out"
            )
        if self.top is not None and self.class_ not in OPEN_BODIES:
            raise BadInputError(
                f"a top is of a body that can be driven open: class is one of "
                f"{', '.join(OPEN_BODIES)}, not {self.class_ or 'left out'}"
            )
        return self


class Converter(Table):
    """What stands between the vehicle's supply and the radio; with none of its fields, none."""

    kind: Literal["none", "step-down", "step-up", "isolated"] | None = Field(
        None,
        description="`step-down`: gives less than it takes. `step-up`: gives more. `isolated`: its "
        "output shares no pole with its input, so that it may also give more. `none`: taken out. "
        "Step-down where the other fields are given and this one is not.",
    )
    name: Text | None = Field(None, description="What it is called in the workshop.")
    output: Voltage | None = Field(None, description="At its output, the radio on [V].")
    rated_current: PositiveCurrent | None = Field(
        None,
        description="The most it gives for good, on its output side: what is printed there for "
        "continuous use, not its peak [A].",
    )
    efficiency: Number | None = Field(
        None, description="Power it gives over power it takes, 0 to 1, well loaded."
    )
    idle_current: Current | None = Field(
        None,
        description="What it takes by itself from the battery with the radio asleep; 0 mA where "
        "the key switches its input [A].",
    )
    price: Money | None = Field(
        None,
        description="Price of it, in the currency of the job; a proposal that sets it buys one.",
    )


class Seat(Table):
    """A place to listen from."""

    id: Identifier = Field(description="Short name of the seat, used in reports.")
    ear: Place = Field(
        description="Middle of the head: x forward, y left, z up, from the centre of the cabin "
        "floor (axes of ISO 8855) [m]."
    )


class Thermal(Table):
    """How the output chip gets rid of its heat."""

    junction_to_dash: ThermalResistance | None = Field(
        None, description="Thermal resistance from chip to the air behind the dash [K/W]."
    )
    dash: Temperature | None = Field(
        None, description="Air behind the dash on a warm day, measured beside the radio [degC]."
    )
    limit: Temperature | None = Field(
        None, description="Chip temperature at which it folds back or cuts out [degC]."
    )


class HeadUnit(Table):
    """The radio: what it can give, what feeds it, and how warm it may get."""

    name: Text = Field(description="What the radio is called in the workshop.")
    era: Era | None = Field(
        None,
        description="What it can do: `mono` volume and tone, one output; `stereo` knobs for "
        "balance and fader, too; `digital` a menu of settings; `connected` hands-free and data "
        "besides. What it has not cannot be set, and cannot fail.",
    )
    output: Literal["bridge", "common-ground"] | None = Field(
        None,
        description="`bridge`: both legs of a pair sit at about half the supply. `common-ground`: "
        "one leg is chassis.",
    )
    system: System | None = Field(
        None,
        description="Supply that the radio is made for; 12 V where nobody says otherwise. With a "
        "new name or price in a proposal, that of the old radio holds no more.",
    )
    ground: Literal["negative", "positive", "either"] | None = Field(
        None,
        description="Pole that its case is joined to: `negative` as a rule, `either` where it can "
        "be changed over. With a new name or price in a proposal, that of the old radio holds no "
        "more.",
    )
    code: Literal["none", "at-hand", "missing"] | None = Field(
        None,
        description="Whether the radio asks for a code after the battery was off: `none` where it "
        "does not, `at-hand` where somebody has written it down and tried it, `missing`.",
    )
    supply: Voltage | None = Field(
        None, description="At the radio plug, engine running, radio on [V]."
    )
    feed_resistance: Resistance | None = Field(
        None,
        description="Feed and ground wires together: drop at the plug per ampere drawn [ohm].",
    )
    output_resistance: Resistance | None = Field(
        None,
        description="Small-signal resistance at the radio's plug: "
        "R_load (V_open / V_load - 1) [ohm].",
    )
    clip_loss: Resistance | None = Field(
        None, description="Extra loss of the output stage at the point of clipping [ohm]."
    )
    line_volts: Voltage | None = Field(
        None,
        description="Of its line outputs, rms, at the volume at which its loudspeaker outputs just "
        "clip [V].",
    )
    peak_current: PositiveCurrent | None = Field(
        None, description="Repetitive peak current of one output, from the chip's data [A]."
    )
    minimum_load: PositiveResistance | None = Field(
        None, description="Lowest rated impedance printed on the radio or in its manual [ohm]."
    )
    advertised_power: Power | None = Field(
        None, description="Power per channel printed on the box or the front [W]."
    )
    quiescent_current: Current | None = Field(
        None, description="Supply current of the radio switched on, volume at nothing [A]."
    )
    sleep_current: Current | None = Field(
        None, description="Supply current with the key out, after the vehicle went to sleep [A]."
    )
    price: Money | None = Field(
        None,
        description="Price of this radio, in the currency of the job; a proposal that sets it buys "
        "one.",
    )
    connector: Literal["iso-10487", "other"] | None = Field(
        None,
        description="The plug it came with: `iso-10487` for the two blocks of that standard.",
    )
    carries: tuple[Carried, ...] | None = Field(
        None,
        description="What else of the vehicle works through this radio, found out before it is "
        "taken out; an empty list where nothing does.",
    )
    thermal: Thermal = Field(Thermal(), description="How the output chip gets rid of its heat.")


class Cable(Table):
    """The pair from the radio plug to the first branch: length and size, or its resistance."""

    length: Length | None = Field(
        None, description="One way along the loom, radio plug to driver [m]."
    )
    size: Conductor | None = Field(
        None, description="Copper cross-section or gauge of one wire of the pair [mm2 or AWG]."
    )
    resistance: Resistance | None = Field(
        None,
        description="Out and back together, measured with the far end shorted and the meter zeroed "
        "[ohm].",
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.resistance is not None and (self.length, self.size) != (None, None):
            raise BadInputError("give the cable's length and size, or its resistance, not both")
        return self


class Channel(Table):
    """One output pair of the radio or of an amplifier, and everything that hangs on it."""

    id: Identifier = Field(description="Short name of the channel, like front-left.")
    cable: Cable = Field(Cable(), description="The pair from the radio plug to the first branch.")
    load: LoadText = Field(
        description="What the pair drives: `|` parallel, `+` series, parentheses, `-name` a "
        "reversed driver, a part by value (`4.7 uF`, `0.33 mH`, `2 ohm`), after it the "
        "rating printed on it where somebody read it (`4.7 uF 63 V`, `0.33 mH 3 A`, `2 ohm 10 W`), "
        "`wire(1.2 m, 0.5 mm2)`. Names are location ids. `unknown` where nobody knows yet, "
        "`none` where nothing hangs on the output. "
        "In a proposal a minus put in, or left out, turns the leads of that driver over: one that "
        "was found reversed is put right by either.",
        examples=["door-fl | (4.7 uF + pillar-fl)"],
    )
    return_by: ReturnBy | None = Field(
        None,
        description="How its current comes back to the radio: `wire`, one of its own, open to the "
        "chassis; `chassis`, through the body; `shared`, a wire that other channels use as well. "
        "The last two are those of a common-ground radio and never meet a bridge output.",
    )
    signal: Signal | None = Field(
        None,
        description="What it plays: its `own` side when left out; the `sum` of left and right, as "
        "a centre loudspeaker; their `difference`, as a surround one.",
    )
    gain: Gain | None = Field(
        None, description="Level of this channel against the others, fader and balance [dB]."
    )
    driven_by: Identifier | None = Field(
        None,
        description="Id of the amplifier that drives it, or `radio`; the radio when left out.",
    )
    input: Identifier | None = Field(
        None,
        description="Of a channel that an amplifier drives: id of the radio's channel that it is "
        "fed from at loudspeaker level, or `line` for the radio's line outputs.",
    )
    high_pass: Corner = Field(
        None,
        description="Corner of the high-pass for this channel, in what drives it, -3 dB, or off "
        "[Hz].",
    )
    high_pass_slope: Slope | None = Field(None, description="Slope of that high-pass.")
    high_pass_kind: FilterKind | None = Field(
        None,
        description="`butterworth`, -3 dB at its corner, or `linkwitz-riley`, -6 dB there and of "
        "12 or 24 dB/oct; butterworth when left out.",
    )
    low_pass: Corner = Field(
        None,
        description="Corner of the low-pass for this channel, in what drives it, -3 dB, or off "
        "[Hz].",
    )
    low_pass_slope: Slope | None = Field(None, description="Slope of that low-pass.")
    low_pass_kind: FilterKind | None = Field(
        None, description="Kind of that low-pass, as of the high-pass."
    )

    @property
    def wiring(self) -> Load | None:
        """Return what the pair drives, read into its tree; None where nobody knows, or nothing."""
        return None if self.load in (UNKNOWN, UNUSED) else parse_load(self.load)

    @property
    def amplifier(self) -> str | None:
        """Id of the amplifier that drives it, None for the radio."""
        return None if self.driven_by == RADIO else self.driven_by

    @model_validator(mode="after")
    def _filters_are_whole(self) -> Self:
        for side in ("high_pass", "low_pass"):
            slope, kind = getattr(self, f"{side}_slope"), getattr(self, f"{side}_kind")
            for name, word in (("slope", slope), ("kind", kind)):
                if word is not None and side not in self.model_fields_set:
                    raise BadInputError(f"a {side}_{name} needs a {side} beside it")
            if kind == LINKWITZ_RILEY and slope in ("6 dB/oct", "18 dB/oct"):
                raise BadInputError(f"a linkwitz-riley filter has 12 or 24 dB/oct, not {slope}")
        return self

    @model_validator(mode="after")
    def _something_passes(self) -> Self:
        high, low = self.high_pass, self.low_pass
        if high is not None and low is not None and low.value <= high.value:
            raise BadInputError(
                f"the low_pass of {low.value:g} Hz is not above the high_pass of "
                f"{high.value:g} Hz: nothing passes between them"
            )
        return self

    @model_validator(mode="after")
    def _amplifier_is_fed(self) -> Self:
        if self.amplifier is not None and self.input is None:
            raise BadInputError(
                "a channel that an amplifier drives says where its signal comes from: input is the "
                f"id of a radio channel, or {LINE}"
            )
        if self.driven_by is None and self.input is not None:
            raise BadInputError("an input belongs to a channel that has driven_by, an amplifier")
        return self
