"""What is at hand and what is bought: stock sheets, the tools that cut them, parts of a list."""

from typing import Literal, Self

from pydantic import Field, model_validator

from conewright.errors import BadInputError
from conewright.job.document.fields import Gap, Length, Money, PositiveNumber, Text
from conewright.job.document.parts import Table

__all__ = [
    "Bench",
    "Material",
    "PartKind",
    "Per",
    "Purchase",
    "Sheet",
    "Tool",
    "ToolKind",
    "is_other_currency",
]

ToolKind = Literal["knife", "hole-saw", "jigsaw", "laser", "router"]
Material = Literal["plastic", "plywood", "fibreboard", "aluminium", "steel", "butyl", "foam"]
PartKind = Literal[
    "driver", "ring", "patch", "capacitor", "cable", "amplifier", "radio", "repair", "fuse", "film",
    "adapter",
]  # fmt: skip
"""What a part of a catalogue can be."""
Per = Literal["pair", "piece", "metre", "kg"]
"""What a catalogue's price is for."""


class Sheet(Table):
    """A stock sheet that parts are cut from."""

    material: Material = Field(
        description="`plastic`, `plywood`, `fibreboard`, `aluminium` for adapters and spacers; "
        "`steel`, `aluminium`, `plastic`, `butyl` for patches; `foam` for sealing rings."
    )
    thickness: Length = Field(description="Thickness of the sheet [mm].")
    size: tuple[Length, Length] = Field(description="Width and height of the sheet [mm].")
    name: Text | None = Field(None, description="What the sheet is called on paper.")
    price: Money | None = Field(None, description="Price of one sheet, in the job's currency.")


class Tool(Table):
    """A tool that cuts."""

    kind: ToolKind = Field(description="`knife`, `hole-saw`, `jigsaw`, `laser` or `router`.")
    kerf: Gap | None = Field(
        None, description="Width of what it takes away: blade, beam or cutter [mm]."
    )
    saws: tuple[Length, ...] | None = Field(
        None, description="Diameters of the hole saws at hand, by their teeth [mm]."
    )

    @model_validator(mode="after")
    def _saws_are_of_a_hole_saw(self) -> Self:
        if self.saws is not None and self.kind != "hole-saw":
            raise BadInputError("saws belong to a hole-saw, no other tool has them")
        return self


class Bench(Table):
    """Which tool cuts what."""

    panel: Tool | None = Field(None, description="What opens the steel or trim of the vehicle.")
    board: Tool | None = Field(None, description="What cuts adapters, spacers and patches.")
    foam: Tool | None = Field(None, description="What cuts soft sealing rings.")


class Purchase(Table):
    """A part that is bought for a plan, as the list that it was chosen from has it."""

    part: Text = Field(
        description="Supplier and part number, as the list has them.",
        examples=["Supplier 3 C-4.7-A"],
    )
    kind: PartKind = Field(
        description="What it is. `ring`, `patch`, `film`, `capacitor`, `cable`, `fuse`, `adapter`: "
        "its price stands in the place of the usual one of what it serves for. `repair`: its price "
        "stands for the material of a repair. `driver`, `radio`, `amplifier`: what is written as "
        "the price of that driver, radio or amplifier counts, and this one where none is."
    )
    name: Text = Field(
        description="What it is called on paper. A value in it (4.7 uF, 4 mm2, 30 A, 600 cm2) says "
        "what it serves for."
    )
    count: PositiveNumber = Field(
        description="How many of what the price is for: pairs, pieces, metres, kilograms.",
        examples=[2],
    )
    price: Money | None = Field(
        None, description="Price of one pair, piece, metre or kilogram, as a rule."
    )
    price_low: Money | None = Field(
        None, description="The low end of that price; the price itself when left out."
    )
    price_high: Money | None = Field(
        None, description="The high end of that price; the price itself when left out."
    )
    per: Per = Field("piece", description="What the price is for.")
    currency: Text | None = Field(
        None,
        description="Currency of the price; that of the job when left out. A price in another one "
        "is told and not added up.",
    )

    @model_validator(mode="after")
    def _prices_rise(self) -> Self:
        if self.price is None and (self.price_low, self.price_high) != (None, None):
            raise BadInputError("price_low and price_high are the ends of a price: give it as well")
        ends = [each for each in (self.price_low, self.price, self.price_high) if each is not None]
        if ends != sorted(ends):
            raise BadInputError("the ends of a price lie round it: price_low, price, price_high")
        return self


def is_other_currency(paid: str | None, own: str | None) -> bool:
    """Whether a price is in another currency than that of a job; either may be left out."""
    return None not in (paid, own) and str(paid).strip().upper() != str(own).strip().upper()
