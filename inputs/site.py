"""The site description: every table of a site file as an immutable, checked type (SI inside).

These types say what a site file may contain; :mod:`wellring.inputs.read_site` reads one and
gathers what is wrong with it. Quantities are read with :func:`wellring.inputs.units.to_si`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from wellring.inputs.drainage import Drainage
from wellring.inputs.quantities import (
    BedConductance,
    CellSize,
    Clearance,
    Compressibility,
    Conductivity,
    Consolidation,
    DrawdownLimit,
    Flow,
    Gradient,
    GrainSize,
    Length,
    Level,
    LevelOrFile,
    Modulus,
    Pressure,
    RateOrFile,
    SettlementLimit,
    SlopeLimit,
    Storage,
    UnitWeight,
)
from wellring.inputs.soil_tables import hazen_conductivity
from wellring.inputs.table import Days, Name, Point, Table
from wellring.inputs.walls import Wall


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
    codes: dict[str, str] = Field(default={})
    """Log's geology code (or description) → soil of this file."""


class Compression(Table):
    """Stiffness of a soil: exactly one of mv, e_oed or (cc, e0); cv for consolidation in time."""

    mv: Compressibility | None = None
    e_oed: Modulus | None = None
    cc: Annotated[float, Field(gt=0, le=20)] | None = None
    cr: Annotated[float, Field(gt=0, le=5)] | None = None
    e0: Annotated[float, Field(gt=0, le=20)] | None = None
    ocr: Annotated[float, Field(ge=1, le=100)] | None = None
    cv: Consolidation | None = None

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
    d10: GrainSize | None = None
    sy: Annotated[float, Field(gt=0, le=0.6)] | None = None
    ss: Literal["auto"] | Storage | None = None
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
    gradient: Gradient
    toward: Annotated[float, Field(ge=0, le=360)]
    """Direction the level falls, degrees clockwise from grid north."""


class River(Table):
    """kind = "river": exchange with the ground through a bed of limited conductance."""

    kind: Literal["river"]
    name: str = "river"
    line: str | tuple[Point, ...] | None = None
    polygon: str | tuple[Point, ...] | None = None
    stage: LevelOrFile
    bed_conductance: BedConductance
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
    """kind = "no_flow": an impervious edge; ground beyond it, seen from the pit, is left out."""

    kind: Literal["no_flow"]
    name: str = "no flow"
    line: str | tuple[Point, ...]


class Recharge(Table):
    """kind = "recharge": water arriving at the water table, everywhere or over a polygon."""

    kind: Literal["recharge"]
    name: str = "recharge"
    polygon: str | tuple[Point, ...] | None = None
    rate: RateOrFile


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
    levels: dict[str, Level | Plane] = Field(default={})
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
    clearance: Clearance = 0.5
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


class Limits(Table):
    """What a neighbour may be asked to bear."""

    settlement: SettlementLimit | None = None
    slope: SlopeLimit | None = None
    drawdown: DrawdownLimit | None = None


class Neighbour(Table):
    """[[neighbours]]: a vector layer of things that the work may affect."""

    file: str
    kind: Literal["building", "utility", "well", "surface_water", "wetland"]
    name: str | None = None
    attributes: dict[str, str] = Field(default={})
    limit: Limits = Limits()


class Scheme(Table):
    """[[schemes]]: one alternative way to lower the water."""

    name: Name
    drainage: tuple[Drainage, ...] = ()
    walls: tuple[Wall, ...] | None = None
    """Walls of this scheme instead of the site's own."""


class GridChoices(Table):
    """[grid]: what the user wants otherwise than the tool would choose."""

    cell: CellSize | None = None
    growth: Annotated[float, Field(ge=1.02, le=2)] | None = None
    largest: Length | None = None
    sublayer: CellSize | None = None
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
