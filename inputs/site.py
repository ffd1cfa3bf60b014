"""The site description: every table of a site file as an immutable, checked type (SI inside).

These types say what a site file may contain; :mod:`wellring.inputs.read_site` reads one and
gathers what is wrong with it. Quantities are read with :func:`wellring.inputs.units.to_si`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from wellring.inputs.soil_tables import hazen_conductivity
from wellring.inputs.units import to_si


def _quantity(unit: str, **bounds: float) -> Any:
    """An annotated float read from a number (SI) or text with a unit, within `bounds`."""
    return Annotated[float, BeforeValidator(lambda value: to_si(value, unit)), Field(**bounds)]


def _quantity_or_file(unit: str, low: float, high: float) -> Any:
    """As :func:`_quantity`, but text that is no quantity is kept as a file's name."""

    def read(value: Any) -> Any:
        try:
            number = to_si(value, unit)
        except ValueError:
            if isinstance(value, str) and value.strip():
                return value
            raise
        if not low <= number <= high:
            raise ValueError(f"expected a value from {low:g} to {high:g} {unit}")
        return number

    return Annotated[float | str, BeforeValidator(read)]


Level = _quantity("m", ge=-2000, le=9000)
LevelOrFile = _quantity_or_file("m", -2000, 9000)
Length = _quantity("m", gt=0, le=1e5)
Offset = _quantity("m", ge=-1e3, le=1e3)
Conductivity = _quantity("m/s", ge=1e-14, le=1)
Flow = _quantity("m3/s", gt=0, le=100)
Fraction = _quantity("1", gt=0, le=1)
Ratio = _quantity("1", gt=0, le=1e4)
Pressure = _quantity("Pa", ge=0, le=1e9)
UnitWeight = _quantity("N/m3", ge=5e3, le=4e4)
Days = Annotated[float, Field(ge=-3650, le=36500)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Point = tuple[float, float]


class Table(BaseModel):
    """Base of all tables: immutable, unknown keys refused, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class SiteTable(Table):
    """[site]: name, coordinate reference system, ground surface, shown units."""

    name: Name
    crs: str
    ground: LevelOrFile
    show: Literal["metric", "us"] = "metric"
    invented: bool = False
    notes: str = ""


class Borings(Table):
    """[borings]: the log files, how surfaces are drawn between them, and the model's floor."""

    files: Annotated[tuple[str, ...], Field(min_length=1)]
    surfaces: Literal["kriging", "linear", "nearest"] = "kriging"
    base: Level | None = None
    codes: dict[str, str] = {}
    """Log's geology code (or description) → soil of this file."""


class Compression(Table):
    """Stiffness of a soil: exactly one of mv, e_oed or (cc, e0); cv for consolidation in time."""

    mv: _quantity("1/Pa", gt=0, le=1e-4) | None = None  # type: ignore[valid-type]
    e_oed: _quantity("Pa", gt=1e4, le=1e12) | None = None  # type: ignore[valid-type]
    cc: Annotated[float, Field(gt=0, le=20)] | None = None
    cr: Annotated[float, Field(gt=0, le=5)] | None = None
    e0: Annotated[float, Field(gt=0, le=20)] | None = None
    ocr: Annotated[float, Field(ge=1, le=100)] | None = None
    cv: _quantity("m2/s", gt=0, le=1) | None = None  # type: ignore[valid-type]

    @model_validator(mode="after")
    def _one_law(self) -> Compression:
        laws = [self.mv is not None, self.e_oed is not None, self.cc is not None]
        if sum(laws) != 1:
            raise ValueError("expected exactly one of mv, e_oed or cc (with e0)")
        if self.cc is not None and self.e0 is None:
            raise ValueError("expected e0 beside cc")
        return self


class Soil(Table):
    """[soils.NAME]: hydraulic and mechanical properties of one soil of the logs.

    kh may be left out where d10 (grain size) is given: Hazen's formula then estimates it.
    """

    kh: Conductivity | None = None
    kv: Conductivity | None = None
    d10: _quantity("m", ge=1e-7, le=0.1) | None = None  # type: ignore[valid-type]
    sy: Annotated[float, Field(gt=0, le=0.6)] | None = None
    ss: Literal["auto"] | _quantity("1/m", gt=1e-9, le=1) | None = None  # type: ignore[valid-type]
    weight: UnitWeight | None = None
    compression: Compression | None = None

    @model_validator(mode="after")
    def _has_conductivity(self) -> Soil:
        if self.kh is None and self.d10 is None:
            raise ValueError("expected kh (hydraulic conductivity), or d10 to estimate it from")
        if self.ss == "auto" and self.compression is None:
            raise ValueError('expected a compression table beside ss = "auto"')
        return self

    @property
    def horizontal_k(self) -> float:
        """Horizontal hydraulic conductivity [m/s]: kh, else Hazen's estimate from d10."""
        return self.kh if self.kh is not None else hazen_conductivity(self.d10 or 0.0)


class Plane(Table):
    """A sloping water level: `level` at `point`, falling by `gradient` toward an azimuth."""

    point: Point
    level: Level
    gradient: _quantity("1", ge=0, le=1)  # type: ignore[valid-type]
    toward: Annotated[float, Field(ge=0, le=360)]
    """Direction the level falls, degrees clockwise from grid north."""


class River(Table):
    """kind = "river": exchange with the ground through a bed of limited conductance."""

    kind: Literal["river"]
    name: str = "river"
    line: str | tuple[Point, ...] | None = None
    polygon: str | tuple[Point, ...] | None = None
    stage: LevelOrFile
    bed_conductance: _quantity("1/s", gt=0, le=1e3)  # type: ignore[valid-type]
    width: Length | None = None
    bed: Level | None = None
    """Level of the bed; below it the ground no longer pulls more water. Default: none."""

    @model_validator(mode="after")
    def _one_shape(self) -> River:
        return _line_or_polygon(self)


class FixedHead(Table):
    """kind = "fixed_head": water level held along a line or over a polygon, full depth or soils."""

    kind: Literal["fixed_head"]
    name: str = "fixed head"
    line: str | tuple[Point, ...] | None = None
    polygon: str | tuple[Point, ...] | None = None
    head: LevelOrFile
    soils: tuple[str, ...] | None = None

    @model_validator(mode="after")
    def _one_shape(self) -> FixedHead:
        return _line_or_polygon(self)


class NoFlow(Table):
    """kind = "no_flow": an impervious edge; the ground beyond it (seen from the pit) is left out."""

    kind: Literal["no_flow"]
    name: str = "no flow"
    line: str | tuple[Point, ...]


class Recharge(Table):
    """kind = "recharge": water arriving at the water table, everywhere or over a polygon."""

    kind: Literal["recharge"]
    name: str = "recharge"
    polygon: str | tuple[Point, ...] | None = None
    rate: _quantity_or_file("m/s", 0, 1e-4)  # type: ignore[valid-type]


Boundary = Annotated[River | FixedHead | NoFlow | Recharge, Field(discriminator="kind")]


def _line_or_polygon(table: Any) -> Any:
    if (table.line is None) == (table.polygon is None):
        raise ValueError("expected exactly one of line or polygon")
    return table


class Water(Table):
    """[water]: natural water levels, how far away the water comes from, and boundaries."""

    level: Level | None = None
    plane: Plane | None = None
    piezometers: str | None = None
    levels: dict[str, Level | Plane] = {}
    """Level or plane of single aquifers, by soil; overrides the general one there."""
    source_distance: Length | None = None
    """Distance from the pit's edge at which the natural levels still hold [m]."""
    edge: Literal["fixed head", "no flow"] = "fixed head"
    boundary: tuple[Boundary, ...] = ()

    @model_validator(mode="after")
    def _one_level(self) -> Water:
        given = [self.level is not None, self.plane is not None, self.piezometers is not None]
        if sum(given) != 1:
            raise ValueError("expected exactly one of level, plane or piezometers")
        return self


class Slab(Table):
    """A cast slab or structure: what holds it down when the pumps stop."""

    weight: Pressure
    tension: Pressure = 0.0


class Stage(Table):
    """[[excavation.stages]]: one state of the dig. Formation is carried on where left out."""

    name: Name
    day: Days | None = None
    formation: Level | None = None
    lasts: Annotated[float, Field(gt=0, le=36500)] | None = None
    slab: Slab | None = None


class Excavation(Table):
    """[excavation]: the outline in plan, the clearance and the stages."""

    outline: str | None = None
    corners: Annotated[tuple[Point, ...], Field(min_length=3)] | None = None
    clearance: _quantity("m", ge=0, le=10) = 0.5  # type: ignore[valid-type]
    stages: Annotated[tuple[Stage, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _consistent(self) -> Excavation:
        if (self.outline is None) == (self.corners is None):
            raise ValueError("expected exactly one of outline or corners")
        if self.stages[0].formation is None:
            raise ValueError("expected a formation level in the first stage")
        names = [stage.name for stage in self.stages]
        if len(set(names)) != len(names):
            raise ValueError("expected stage names that differ")
        days = [stage.day for stage in self.stages if stage.day is not None]
        if days != sorted(days):
            raise ValueError("expected stages in order of their days")
        return self


WallKind = Literal[
    "sheet pile",
    "secant pile",
    "slurry",
    "soldier pile and lagging",
    "timber sheeting",
    "trench box",
    "none",
]


class WallWindow(Table):
    """A stretch of bad joints: from/to along the wall line [m], leaking `factor` times more."""

    start: _quantity("m", ge=0, le=1e5)  # type: ignore[valid-type]
    end: _quantity("m", gt=0, le=1e5)  # type: ignore[valid-type]
    factor: Ratio


class Wall(Table):
    """[[walls]]: one wall along the excavation or a line of its own."""

    kind: WallKind
    name: str | None = None
    line: str | tuple[Point, ...] = "outline"
    toe: Level | tuple[Level, ...] | None = None
    top: Level | None = None
    joint_resistance: _quantity("m/s", gt=0, le=1) | None = None  # type: ignore[valid-type]
    """Inverse joint resistance ρ of EN 12063 [m/s]."""
    pile_width: Length | None = None
    k: Conductivity | None = None
    thickness: Length | None = None
    stage: Name | None = None
    windows: tuple[WallWindow, ...] = ()

    @property
    def holds_water(self) -> bool:
        """Whether this kind of wall is a barrier to water."""
        return self.kind in ("sheet pile", "secant pile", "slurry")

    @model_validator(mode="after")
    def _has_toe(self) -> Wall:
        if self.holds_water and self.toe is None:
            raise ValueError("expected toe (level of the wall's lower end)")
        if (self.k is None) != (self.thickness is None):
            raise ValueError("expected k and thickness together")
        if self.k is not None and self.joint_resistance is not None:
            raise ValueError("expected either joint_resistance or k with thickness")
        return self


class Limits(Table):
    """What a neighbour may be asked to bear."""

    settlement: _quantity("m", gt=0, le=10) | None = None  # type: ignore[valid-type]
    slope: _quantity("1", gt=0, le=1) | None = None  # type: ignore[valid-type]
    drawdown: _quantity("m", gt=0, le=200) | None = None  # type: ignore[valid-type]


class Neighbour(Table):
    """[[neighbours]]: a vector layer of things that the work may affect."""

    file: str
    kind: Literal["building", "utility", "well", "surface_water", "wetland"]
    name: str | None = None
    attributes: dict[str, str] = {}
    limit: Limits = Limits()


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
    diameter: _quantity("m", ge=0.02, le=3)  # type: ignore[valid-type]
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


class Scheme(Table):
    """[[schemes]]: one alternative way to lower the water."""

    name: Name
    drainage: tuple[Drainage, ...] = ()
    walls: tuple[Wall, ...] | None = None
    """Walls of this scheme instead of the site's own."""


class GridChoices(Table):
    """[grid]: what the user wants otherwise than the tool would choose."""

    cell: _quantity("m", ge=0.02, le=100) | None = None  # type: ignore[valid-type]
    growth: Annotated[float, Field(ge=1.02, le=2)] | None = None
    largest: Length | None = None
    sublayer: _quantity("m", ge=0.02, le=100) | None = None  # type: ignore[valid-type]
    extent: Length | None = None
    rotation: Annotated[float, Field(ge=-360, le=360)] | None = None
    """Azimuth of the grid's columns, degrees anticlockwise from grid east."""


class NamedPoint(Table):
    """[[points]]: a place whose heads are reported."""

    name: Name
    x: float
    y: float
    level: Level | None = None


class Operations(Table):
    """[operations]: what running the scheme costs."""

    currency: str | None = None
    wage: Annotated[float, Field(ge=0)] | None = None
    night_rate: Annotated[float, Field(ge=1)] | None = None
    overtime_rate: Annotated[float, Field(ge=1)] | None = None
    shift_hours: Annotated[float, Field(gt=0, le=24)] | None = None
    pumps_per_operator: Annotated[int, Field(ge=1)] | None = None
    power_price: Annotated[float, Field(ge=0)] | None = None
    pump_hire: Annotated[float, Field(ge=0)] | None = None
    discharge_fee: Annotated[float, Field(ge=0)] | None = None
    discharge_limit: Flow | None = None


class SiteDescription(Table):
    """A whole site file."""

    site: SiteTable
    borings: Borings
    soils: Annotated[dict[str, Soil], Field(min_length=1)]
    water: Water
    excavation: Excavation
    walls: tuple[Wall, ...] = ()
    neighbours: tuple[Neighbour, ...] = ()
    schemes: tuple[Scheme, ...] = ()
    grid: GridChoices = GridChoices()
    points: tuple[NamedPoint, ...] = ()
    operations: Operations | None = None
