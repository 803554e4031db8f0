"""The electrical half of the document: vehicle, seats, head unit and its channels."""

from typing import Annotated, Any, Literal, Self

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from conewright.errors import BadInputError
from conewright.job.document.fields import (
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

__all__ = [
    "AS_FOUND",
    "ERAS_WITHOUT_MENU",
    "UNKNOWN",
    "Battery",
    "Cable",
    "Carried",
    "Channel",
    "Era",
    "HeadUnit",
    "Place",
    "Restraint",
    "Restraints",
    "Seat",
    "Table",
    "Thermal",
    "Vehicle",
]

Body = Literal[
    "compact", "saloon", "estate", "convertible", "pickup-cab", "van", "minibus", "camper",
    "motorhome", "work-cab", "other",
]  # fmt: skip
"""Body types; `work-cab` is that of a tractor or another machine."""
Era = Literal["mono", "stereo", "digital", "connected"]
ERAS_WITHOUT_MENU: tuple[Era, ...] = ("mono", "stereo")
"""Eras of radios that have knobs alone: no filter can be set."""
Signal = Literal["own", "sum", "difference"]
Place = tuple[Position, Position, Position]
Restraint = Literal["none", "impact", "pressure", "unknown"]
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
    """Return None for a high-pass that is switched off."""
    return None if value == "off" else value


UNKNOWN = "unknown"
AS_FOUND = "as-found"
"""The id of the vehicle without any proposal."""
"""A load that nobody knows yet; readings at the plug tell what hangs there."""


def _readable_load(text: str) -> str:
    """Return a load that can be read, or the word for one that nobody knows; raises LoadError."""
    if text != UNKNOWN:
        parse_load(text)
    return text


LoadText = Annotated[Text, AfterValidator(_readable_load)]
HighPass = Annotated[Frequency | None, BeforeValidator(_off)]


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
    temperature: Temperature | None = Field(
        None, description="Air temperature in the cabin while listening [degC]."
    )
    battery: Battery = Field(Battery(), description="The starter battery.")
    restraints: Restraints = Field(
        Restraints(), description="Restraint parts near doors and trims."
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
    """One output pair of the radio and everything that hangs on it."""

    id: Identifier = Field(description="Short name of the channel, like front-left.")
    cable: Cable = Field(Cable(), description="The pair from the radio plug to the first branch.")
    load: LoadText = Field(
        description="What the pair drives: `|` parallel, `+` series, parentheses, `-name` a "
        "reversed driver, a part by value (`4.7 uF`, `0.33 mH`, `2 ohm`), "
        "`wire(1.2 m, 0.5 mm2)`. Names are location ids. `unknown` where nobody knows yet. "
        "In a proposal a minus put in, or left out, turns the leads of that driver over: one that "
        "was found reversed is put right by either.",
        examples=["door-fl | (4.7 uF + pillar-fl)"],
    )
    signal: Signal | None = Field(
        None,
        description="What it plays: its `own` side when left out; the `sum` of left and right, as "
        "a centre loudspeaker; their `difference`, as a surround one.",
    )
    gain: Gain | None = Field(
        None, description="Level of this channel against the others, fader and balance [dB]."
    )
    high_pass: HighPass = Field(
        None, description="Corner of the radio's high-pass for this channel, -3 dB, or off [Hz]."
    )
    high_pass_slope: Literal["6 dB/oct", "12 dB/oct", "18 dB/oct", "24 dB/oct"] | None = Field(
        None, description="Slope of that high-pass."
    )

    @property
    def wiring(self) -> Load | None:
        """Return what the pair drives, read into its tree; None where nobody knows."""
        return None if self.load == UNKNOWN else parse_load(self.load)

    @model_validator(mode="after")
    def _slope_has_corner(self) -> Self:
        if self.high_pass_slope is not None and "high_pass" not in self.model_fields_set:
            raise BadInputError("a high_pass_slope needs a high_pass beside it")
        return self
