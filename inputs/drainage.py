"""[[schemes.drainage]] of a site file: one table type for each way to lower the water."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, model_validator

from wellring.inputs.quantities import (
    Conductivity,
    Diameter,
    Flow,
    Fraction,
    Length,
    Level,
    Offset,
    PointCount,
    PumpPoint,
    Screen,
)
from wellring.inputs.table import Line, Misfit, Name, Points, Table, Text


class Ring(Table):
    """Points spread evenly along the excavation's outline, `offset` outside it."""

    offset: Offset
    count: PointCount | None = None
    spacing: Length | None = None

    @model_validator(mode="after")
    def _count_or_spacing(self) -> Ring:
        self.require_one("count", "spacing")
        return self


class Row(Table):
    """Points spread evenly along a line given by file or corners."""

    along: Line
    count: PointCount | None = None
    spacing: Length | None = None

    @model_validator(mode="after")
    def _count_or_spacing(self) -> Row:
        self.require_one("count", "spacing")
        return self


class Pump(Table):
    """What the pump of one point can do: a capacity, a rated head, or points of its curve."""

    capacity: Flow | None = None
    head: Length | None = None
    efficiency: Fraction | None = None
    curve: tuple[PumpPoint, ...] = ()


class Skin(Table):
    """A ring of other conductivity around a screen (gravel pack or clogged wall)."""

    thickness: Length
    k: Conductivity


class Placed(Table):
    """Where the points of a drainage method stand: a ring, a line, or single points."""

    name: Text | None = None
    ring: Ring | None = None
    line: Row | None = None
    points: Points | None = None
    from_stage: Name | None = None
    until_stage: Name | None = None

    @model_validator(mode="after")
    def _one_place(self) -> Placed:
        self.require_one("ring", "line", "points")
        return self


class DeepWells(Placed):
    """method = "deep wells": screened wells with a pump each."""

    method: Literal["deep wells"]
    screen: Screen
    """Bottom and top level of the screen."""
    diameter: Diameter
    hold: Level | None = None
    """Level held in the well, as far as pump and screen allow."""
    rate: Flow | None = None
    """Flow asked of each well, as far as its level allows."""
    pump: Pump | None = None
    skin: Skin | None = None
    efficiency: Fraction | None = None

    @model_validator(mode="after")
    def _consistent(self) -> DeepWells:
        low, high = self.screen
        if low >= high:
            remedy = "Levels are elevations in the site's datum, not depths."
            raise Misfit(
                "[bottom, top] with the bottom below the top", remedy, "screen", [low, high]
            )
        if self.hold is None and self.rate is None:
            raise Misfit(
                "hold or rate",
                "Add hold, the level kept in each well, or rate, the flow asked of each well.",
            )
        if self.hold is not None and self.hold < low:
            raise Misfit(
                f"a level at or above the screen's bottom ({low:g} m)",
                "A well cannot be drawn down below its screen.",
                "hold",
                self.hold,
            )
        if self.skin is not None and self.efficiency is not None:
            raise Misfit("either skin or efficiency", "Take one out: both tell the well's loss.")
        return self


class OtherDrainage(Table):
    """A drainage method of the contract that this version does not model."""

    model_config = ConfigDict(frozen=True, extra="allow")
    method: Literal["wellpoints", "ejectors", "sump", "recharge wells"]


Drainage = Annotated[DeepWells | OtherDrainage, Field(discriminator="method")]
