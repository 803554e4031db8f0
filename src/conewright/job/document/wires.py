"""What the repairer wrote down about wires and amplifiers, and the cables that feed them."""

from typing import Literal, Self

from pydantic import Field, model_validator

from conewright.errors import BadInputError
from conewright.job.document.fields import (
    Conductor,
    Current,
    Gain,
    Gap,
    Identifier,
    Length,
    Money,
    Number,
    PositiveCurrent,
    PositiveResistance,
    Power,
    Resistance,
    Temperature,
    Text,
    Voltage,
)
from conewright.job.document.parts import Table

__all__ = ["Amplifier", "Feed", "Joint", "Lead", "LeadFunction", "Metal"]

LeadFunction = Literal[
    "plus",
    "minus",
    "battery",
    "switched",
    "ground",
    "illumination",
    "amplifier",
    "antenna",
    "mute",
    "speed",
    "reverse",
    "data",
]
Joint = Literal["plug", "adapter", "crimp", "solder", "screw"]
Metal = Literal["copper", "clad-aluminium"]
OF_A_PAIR = ("plus", "minus")


class Lead(Table):
    """One wire at the radio, as it was seen and as it was proved."""

    channel: Identifier | None = Field(
        None, description="Channel whose pair it belongs to; none for supply and control wires."
    )
    function: LeadFunction = Field(
        description="What the wire does: `plus` or `minus` of a pair, `battery` (always live), "
        "`switched` (by the ignition), `ground`, `illumination`, `amplifier` (its turn-on), "
        "`antenna`, `mute`, `speed`, `reverse`, `data`."
    )
    pin: Text | None = Field(None, description="Pin at the radio's plug, as marked there: B5.")
    colour: Text | None = Field(
        None,
        description="Colour seen on this vehicle, main colour first: white/black. It proves "
        "nothing by itself.",
    )
    size: Conductor | None = Field(
        None,
        description="Copper cross-section or gauge; of the channel's cable where not given "
        "[mm2 or AWG].",
    )
    length: Length | None = Field(
        None, description="One way along the loom; of the channel's cable where not given [m]."
    )
    joint: Joint | None = Field(
        None, description="How it is joined on: `plug`, `adapter`, `crimp`, `solder`, `screw`."
    )
    proof: Text | None = Field(
        None, description="What its proof reading said on this vehicle: 12.4 V, or 3.6 ohm."
    )

    @model_validator(mode="after")
    def _pair_has_channel(self) -> Self:
        if (self.function in OF_A_PAIR) != (self.channel is not None):
            raise BadInputError(
                "a wire of a pair (plus, minus) names its channel, every other wire names none"
            )
        return self


class Amplifier(Table):
    """An amplifier between the radio and some loudspeakers; its outputs are channels."""

    id: Identifier = Field(description="Short name of the amplifier, like boot-amplifier.")
    name: Text | None = Field(None, description="What it is called in the workshop.")
    class_: Literal["AB", "D"] | None = Field(
        None,
        alias="class",
        description="`AB`, or `D` for one that switches; AB when left out, the warmer.",
    )
    clean_power: Power | None = Field(
        None, description="Clean power of one channel into `clean_load`, or else `clean_volts` [W]."
    )
    clean_volts: Voltage | None = Field(
        None, description="Clean rms volts of one channel into `clean_load`, read on a meter [V]."
    )
    clean_load: PositiveResistance | None = Field(
        None, description="What clean power or volts are given for; 4 ohm when left out [ohm]."
    )
    minimum_load: PositiveResistance | None = Field(
        None, description="Lowest rated impedance that one of its channels bears [ohm]."
    )
    gain: Gain | None = Field(None, description="Output volts over input volts as it is set [dB].")
    inputs: Literal["floating", "chassis"] | None = Field(
        None,
        description="Its inputs at loudspeaker level: `floating`, or `chassis` where the minus of "
        "each is joined to its ground.",
    )
    feed: Identifier | None = Field(
        None, description="Id of the supply cable that feeds it; two amplifiers may share one."
    )
    fuse: PositiveCurrent | None = Field(
        None, description="The sum of the fuses in its own case [A]."
    )
    feed_resistance: Resistance | None = Field(
        None,
        description="Feed and ground together: drop at its terminals per ampere; of its cable "
        "where not given [ohm].",
    )
    quiescent_current: Current | None = Field(
        None, description="Supply current switched on, nothing played [A]."
    )
    efficiency: Number | None = Field(
        None, description="Of a full sine: power given over power taken, 0 to 1."
    )
    price: Money | None = Field(
        None,
        description="Price of this amplifier, in the currency of the job; a proposal that sets it "
        "buys one.",
    )

    @model_validator(mode="after")
    def _one_rating(self) -> Self:
        if self.clean_power is not None and self.clean_volts is not None:
            raise BadInputError("give clean_power or clean_volts, not both: one follows from it")
        return self


class Feed(Table):
    """One supply cable, from the battery or a fuse box to the radio or an added amplifier."""

    id: Identifier = Field(description="Short name of the cable, like amplifier-feed.")
    to: Literal["radio", "amplifier", "converter"] = Field(description="What it feeds.")
    current: PositiveCurrent | None = Field(
        None,
        description="The most it is asked for: the sum of an amplifier's own fuses; of the radio "
        "and of a converter computed where not given [A].",
    )
    fuse: PositiveCurrent | None = Field(
        None, description="Rating of the fuse at the source end [A]."
    )
    fuse_distance: Gap | None = Field(
        None, description="Along the cable from battery or fuse box to that fuse [mm]."
    )
    length: Length | None = Field(None, description="One way along its route [m].")
    size: Conductor | None = Field(
        None, description="Cross-section of the metal, or gauge, of one conductor [mm2 or AWG]."
    )
    metal: Metal | None = Field(
        None,
        description="`copper`, or `clad-aluminium`: a scraped strand that shows silver under red.",
    )
    route: Literal["free", "bundled"] | None = Field(
        None, description="`free`: alone in air. `bundled`: in a loom, conduit or under carpet."
    )
    ambient: Temperature | None = Field(
        None, description="Air along its warmest stretch, on a hot day [degC]."
    )
    insulation: Temperature | None = Field(
        None, description="Temperature that its insulation is rated for [degC]."
    )
    return_by: Literal["chassis", "cable"] | None = Field(
        None, description="How the current comes back: through the body, or a cable of this kind."
    )
    price: Money | None = Field(
        None,
        description="Price of the amplifier that it feeds, in the currency of the job; a proposal "
        "that sets it buys one.",
    )
