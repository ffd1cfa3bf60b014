"""[[schemes.drainage]] of a site file: one table type for each way to lower the water."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from wellring.inputs.basics.quantities import (
    ClogFactor,
    Conductivity,
    Diameter,
    Flow,
    Fraction,
    Length,
    Level,
    LinearLoss,
    Offset,
    PointCount,
    Pressure,
    PumpPoint,
    Screen,
    SquareLoss,
    Temperature,
    WellFlows,
)
from wellring.inputs.basics.table import Line, Misfit, Name, Points, Table, Text


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
    """What the pump of one point can do: a capacity, a rated head, or points of its curve.

    With a head or a curve the flow also depends on the lift: from the water in the well to
    `discharge_level`, and what the pipes lose.
    """

    capacity: Flow | None = None
    head: Length | None = None
    """At which the pump gives its capacity."""
    efficiency: Fraction | None = None
    curve: tuple[PumpPoint, ...] = ()
    """Pairs of flow and head, flows rising and heads falling."""
    discharge_level: Level | None = None
    """Level to which the water is lifted; otherwise the ground at the well."""
    losses: Length | None = None
    """Head lost in riser and discharge pipe."""

    @model_validator(mode="after")
    def _consistent(self) -> Pump:
        if self.curve and (self.capacity is not None or self.head is not None):
            raise Misfit("either curve or capacity with head", "Take one out: both tell the flow.")
        pairs = list(pairwise(self.curve))
        falls = all(b[0] > a[0] and b[1] < a[1] for a, b in pairs)
        if self.curve and not (pairs and falls):
            raise Misfit(
                "two or more pairs [flow, head], flows rising and heads falling",
                "",
                "curve",
                [list(pair) for pair in self.curve],
            )
        lifts = self.discharge_level is not None or self.losses is not None
        if lifts and not self.curve and (self.capacity is None or self.head is None):
            raise Misfit(
                "a curve, or capacity with head",
                "Without them the lift changes nothing: add them, or take discharge_level and "
                "losses out.",
            )
        return self


class WellLoss(Table):
    """Loss s = b·Q + c·Q² between the ground at the borehole and the water in the well.

    From a step test the ground's own part of b must be taken out: the model computes it.
    """

    b: LinearLoss = 0.0
    c: SquareLoss = 0.0


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
    rates: dict[str, WellFlows] = Field(default={})
    """Flow asked by stage: of each well, or a list with one for each; 0, or a stage that is left
    out: they stand still. Beside hold, that is the level to which they may be drawn down."""
    pump: Pump | None = None
    skin: Skin | None = None
    efficiency: Fraction | None = None
    well_loss: WellLoss | None = None
    screen_diameter: Diameter | None = None
    """Of the screen within the filter; `diameter` is then the filter's."""
    filter_k: Conductivity | None = None
    """Of the filter between the screen and the borehole's wall."""

    @model_validator(mode="after")
    def _consistent(self) -> DeepWells:
        check_screen(self.screen)
        low = self.screen[0]
        if self.hold is None and self.rate is None and not self.rates:
            raise Misfit(
                "hold, rate or rates",
                "Add hold, the level kept in each well, or rate, the flow asked of each well.",
            )
        if self.rate is not None and self.rates:
            raise Misfit("either rate or rates", "Take one out: both tell the flow.", "rates")
        if self.hold is not None and self.hold < low:
            raise Misfit(
                f"a level at or above the screen's bottom ({low:g} m)",
                "A well cannot be drawn down below its screen.",
                "hold",
                self.hold,
            )
        filtered = self.screen_diameter is not None
        told = (self.skin is not None or filtered, self.efficiency, self.well_loss)
        if sum(bool(way) for way in told) > 1:
            raise Misfit(
                "only one of skin or filter, efficiency, and well_loss",
                "Take the others out: each tells the well's loss.",
            )
        if filtered != (self.filter_k is not None):
            raise Misfit("screen_diameter and filter_k together", "Add the one that lacks.")
        if self.screen_diameter is not None and self.screen_diameter >= self.diameter:
            raise Misfit(
                f"a diameter below that of the borehole ({self.diameter:g} m)",
                "The screen stands within its filter.",
                "screen_diameter",
                self.screen_diameter,
            )
        return self


class Wellpoints(Placed):
    """method = "wellpoints": suction points on a header; several tables make several tiers."""

    method: Literal["wellpoints"]
    header: Level
    """Level of the header pipe: the air pushes water up to it, no higher."""
    screen: Screen
    diameter: Diameter = 0.15
    """Of the filter around the point [m]."""
    lift: Length | None = None
    """Practical lift below the header; otherwise from altitude, temperature and losses."""
    altitude: Level = 0.0
    """Of the site above sea level [m]."""
    temperature: Temperature = 10.0
    losses: Length | None = None
    capacity: Flow | None = None
    """The most one point gives."""
    pump_capacity: Flow | None = None
    """The most the pumps of this header give together."""
    points_per_pump: PointCount = 60
    vacuum: bool = False
    skin: Skin | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Wellpoints:
        check_screen(self.screen)
        if self.header <= self.screen[0]:
            raise Misfit(
                f"a level above the screen's bottom ({self.screen[0]:g} m)",
                "The header lies above the points it draws from.",
                "header",
                self.header,
            )
        if self.lift is not None and self.losses is not None:
            raise Misfit("either lift or losses", "Take one out: both tell the practical lift.")
        return self


class Ejectors(Placed):
    """method = "ejectors": wells drawn by jets that one station feeds with water."""

    method: Literal["ejectors"]
    screen: Screen
    nozzle: Level
    """Level of the nozzles, to which the water can be drawn down."""
    outlet: Level
    """Level to which the return is lifted."""
    supply_pressure: Pressure
    diameter: Diameter = 0.15
    nozzle_flow: Flow | None = None
    efficiency: Fraction | None = None
    capacity: Flow | None = None
    """The most one ejector draws; otherwise from pressure, lift and efficiency."""
    points_per_station: PointCount = 40
    pump_efficiency: Fraction | None = None
    skin: Skin | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Ejectors:
        check_screen(self.screen)
        if self.outlet <= self.nozzle:
            raise Misfit(
                f"a level above the nozzles ({self.nozzle:g} m)",
                "The return is lifted from the nozzles up to the outlet.",
                "outlet",
                self.outlet,
            )
        if self.supply_pressure <= 0:
            raise Misfit("a pressure above zero", "", "supply_pressure", self.supply_pressure)
        return self


class Sump(Table):
    """method = "sump": the floor drains to low points, from where the water is pumped."""

    method: Literal["sump"]
    name: Text | None = None
    pump_capacity: Flow | None = None
    """The most its pumps give together."""


class RechargeWells(Placed):
    """method = "recharge wells": wells that give water back to the ground."""

    method: Literal["recharge wells"]
    screen: Screen
    diameter: Diameter
    head_limit: Level
    """Level to which the water in a well may rise."""
    rate: Flow | None = None
    """Flow given to each well."""
    share: Fraction | None = None
    """Share of what the scheme discharges that all wells of this table return together."""
    clogging: ClogFactor = 1.0
    """How many times harder a clogged screen is to enter than a clean one."""

    @model_validator(mode="after")
    def _consistent(self) -> RechargeWells:
        check_screen(self.screen)
        self.require_one("rate", "share")
        if self.head_limit <= self.screen[0]:
            raise Misfit(
                f"a level above the screen's bottom ({self.screen[0]:g} m)",
                "Water enters the ground from a well that is filled above its screen.",
                "head_limit",
                self.head_limit,
            )
        return self


class RechargeTrench(Placed):
    """method = "recharge trench": a trench filled with gravel that gives water to the ground."""

    method: Literal["recharge trench"]
    bottom: Level
    width: Length
    head_limit: Level
    """Level to which the water in the trench may rise."""
    rate: Flow | None = None
    """Flow given to the whole trench."""
    share: Fraction | None = None
    """Share of what the scheme discharges that the trench returns."""
    clogging: ClogFactor = 1.0
    """How many times harder a clogged wall is to enter than a clean one."""

    @model_validator(mode="after")
    def _consistent(self) -> RechargeTrench:
        self.require_one("rate", "share")
        if self.points is not None:
            raise Misfit("a line or a ring", "A trench is no single point.", "points")
        if self.width <= 0:
            raise Misfit("a width above zero", "", "width", self.width)
        if self.head_limit <= self.bottom:
            raise Misfit(
                f"a level above the trench's bottom ({self.bottom:g} m)",
                "Water enters the ground from a trench that is filled.",
                "head_limit",
                self.head_limit,
            )
        return self


class ReliefWells(Placed):
    """method = "relief wells": passive wells that flow at the floor of the dig."""

    method: Literal["relief wells"]
    screen: Screen
    diameter: Diameter
    skin: Skin | None = None

    @model_validator(mode="after")
    def _consistent(self) -> ReliefWells:
        check_screen(self.screen)
        return self


def check_screen(screen: tuple[float, float]) -> None:
    """Refuse a screen whose bottom does not lie below its top."""
    low, high = screen
    if low >= high:
        remedy = "Levels are elevations in the site's datum, not depths."
        raise Misfit("[bottom, top] with the bottom below the top", remedy, "screen", [low, high])


Drainage = Annotated[
    DeepWells | Wellpoints | Ejectors | Sump | RechargeWells | RechargeTrench | ReliefWells,
    Field(discriminator="method"),
]
