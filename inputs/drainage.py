"""[[schemes.drainage]] of a site file: one table type for each way to lower the water."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, model_validator

from wellring.inputs.quantities import (
    Conductivity,
    Diameter,
    Flow,
    Fraction,
    Length,
    Level,
    Offset,
)
from wellring.inputs.table import Name, Point, Table


class Ring(Table):
    """Points spread evenly along the excavation's outline, `offset` outside it."""

    offset: Offset
    count: Annotated[int, Field(ge=1, le=5000)] | None = None
    spacing: Length | None = None

    @model_validator(mode="after")
    def _count_or_spacing(self) -> Ring:
        return _count_or_spacing(self)


class Row(Table):
    """Points spread evenly along a line given by file or corners."""

    along: str | Annotated[tuple[Point, ...], Field(min_length=2)]
    count: Annotated[int, Field(ge=1, le=5000)] | None = None
    spacing: Length | None = None

    @model_validator(mode="after")
    def _count_or_spacing(self) -> Row:
        return _count_or_spacing(self)


def _count_or_spacing(table: Any) -> Any:
    if (table.count is None) == (table.spacing is None):
        raise ValueError("expected exactly one of count or spacing")
    return table


class Pump(Table):
    """What the pump of one point can do: a capacity, a rated head, or points of its curve."""

    capacity: Flow | None = None
    head: Length | None = None
    efficiency: Fraction | None = None
    curve: tuple[tuple[Flow, Length], ...] = ()


class Skin(Table):
    """A ring of other conductivity around a screen (gravel pack or clogged wall)."""

    thickness: Length
    k: Conductivity


class Placed(Table):
    """Where the points of a drainage method stand: a ring, a line, or single points."""

    name: str | None = None
    ring: Ring | None = None
    line: Row | None = None
    points: str | tuple[Point, ...] | None = None
    from_stage: Name | None = None
    until_stage: Name | None = None

    @model_validator(mode="after")
    def _one_place(self) -> Placed:
        if sum(place is not None for place in (self.ring, self.line, self.points)) != 1:
            raise ValueError("expected exactly one of ring, line or points")
        return self


class DeepWells(Placed):
    """method = "deep wells": screened wells with a pump each."""

    method: Literal["deep wells"]
    screen: tuple[Level, Level]
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
            raise ValueError("expected screen = [bottom, top] with the bottom below the top")
        if self.hold is None and self.rate is None:
            raise ValueError("expected hold (level kept in the well) or rate (flow of each well)")
        if self.hold is not None and self.hold < low:
            raise ValueError("expected hold at or above the screen's bottom")
        if self.skin is not None and self.efficiency is not None:
            raise ValueError("expected either skin or efficiency")
        return self


class OtherDrainage(Table):
    """A drainage method of the contract that this version does not model."""

    model_config = ConfigDict(frozen=True, extra="allow")
    method: Literal["wellpoints", "ejectors", "sump", "recharge wells"]


Drainage = Annotated[DeepWells | OtherDrainage, Field(discriminator="method")]
