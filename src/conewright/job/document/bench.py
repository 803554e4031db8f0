"""What stands in the workshop: stock sheets to cut parts from, and the tools that cut them."""

from typing import Literal, Self

from pydantic import Field, model_validator

from conewright.errors import BadInputError
from conewright.job.document.fields import Gap, Length, Money, Text
from conewright.job.document.parts import Table

__all__ = ["Bench", "Material", "Sheet", "Tool", "ToolKind"]

ToolKind = Literal["knife", "hole-saw", "jigsaw", "laser", "router"]
Material = Literal["plastic", "plywood", "fibreboard", "aluminium", "steel", "butyl", "foam"]


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
