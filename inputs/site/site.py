"""The site description: every table of a site file as an immutable, checked type (SI inside).

These types say what a site file may contain; :mod:`wellring.inputs.read_site` reads one and
gathers what is wrong with it. Quantities are read with :func:`wellring.inputs.basics.units.to_si`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from wellring.inputs.basics.quantities import (
    Azimuth,
    BedConductance,
    CellCount,
    CellSize,
    Clearance,
    Compressibility,
    CompressionIndex,
    Conductivity,
    Consolidation,
    Coordinate,
    Day,
    Duration,
    Gradient,
    GrainSize,
    Growth,
    Length,
    Level,
    LevelOrFile,
    Modulus,
    Overconsolidation,
    Pressure,
    RateOrFile,
    Realisation,
    RecompressionIndex,
    Rotation,
    StorageOrAuto,
    UnitWeight,
    VoidRatio,
    Yield,
)
from wellring.inputs.basics.table import (
    Corners,
    Files,
    Flag,
    Line,
    Misfit,
    Name,
    Point,
    Polygon,
    Table,
    Text,
    TextByText,
    Texts,
)
from wellring.inputs.site.assessment import Assessment
from wellring.inputs.site.drainage import Drainage
from wellring.inputs.site.match_plan import MatchPlan
from wellring.inputs.site.neighbours import Neighbour
from wellring.inputs.site.operations import Operations
from wellring.inputs.site.soil_tables import hazen_conductivity
from wellring.inputs.site.stability import Stability
from wellring.inputs.site.vary_plan import VaryPlan
from wellring.inputs.site.walls import Wall


class SiteTable(Table):
    """[site]: name, coordinate reference system, ground surface, shown units."""

    name: Name
    crs: Text
    ground: LevelOrFile
    show: Literal["metric", "us"] = "metric"
    invented: Flag = False
    notes: Text = ""


class Borings(Table):
    """[borings]: the log files, how surfaces are drawn between them, and the model's floor."""

    files: Files
    surfaces: Literal["kriging", "linear", "nearest"] = "kriging"
    base: Level | None = None
    realisation: Realisation = 0
    """0: the kriged surfaces; 1, 2 …: one way the ground may run between the borings."""
    codes: TextByText = Field(default={})
    """Log's geology code (or description) → soil of this file."""

    @model_validator(mode="after")
    def _kriged(self) -> Borings:
        if self.realisation and self.surfaces != "kriging":
            remedy = "Other surfaces have no measure of what may scatter about them."
            raise Misfit('surfaces = "kriging" beside realisation', remedy, "surfaces")
        return self


class Compression(Table):
    """Stiffness of a soil: exactly one of mv, e_oed or (cc, e0); cv for consolidation in time.

    Beside cc: cr for reloading, and ocr or pop (preconsolidation over present stress) [Pa].
    """

    mv: Compressibility | None = None
    e_oed: Modulus | None = None
    cc: CompressionIndex | None = None
    cr: RecompressionIndex | None = None
    e0: VoidRatio | None = None
    ocr: Overconsolidation | None = None
    pop: Pressure | None = None
    cv: Consolidation | None = None

    @model_validator(mode="after")
    def _one_law(self) -> Compression:
        self.require_one("mv", "e_oed", "cc")
        if self.cc is not None and self.e0 is None:
            raise Misfit("e0 beside cc", "Add e0, the void ratio, such as e0 = 1.1.")
        if self.ocr is not None and self.pop is not None:
            raise Misfit("ocr or pop, not both", "Both say what the soil has borne before.", "pop")
        return self


class Soil(Table):
    """[soils.NAME]: hydraulic and mechanical properties of one soil of the logs.

    kh may be left out where d10 (grain size) is given: Hazen's formula then estimates it.
    """

    kh: Conductivity | None = None
    kv: Conductivity | None = None
    d10: GrainSize | None = None
    sy: Yield | None = None
    ss: StorageOrAuto | None = None
    weight: UnitWeight | None = None
    porosity: Yield | None = None
    """Effective porosity, in which water moves; for travel paths alone."""
    compression: Compression | None = None

    @model_validator(mode="after")
    def _has_conductivity(self) -> Soil:
        if self.kh is None and self.d10 is None:
            raise Misfit(
                "kh or d10",
                "Add kh, the hydraulic conductivity, or d10, a grain size to estimate it from.",
            )
        if self.ss == "auto" and self.compression is None:
            raise Misfit(
                'a compression table beside ss = "auto"',
                "Add compression = { mv = … }, or give ss as a number.",
                "ss",
                "auto",
            )
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
    toward: Azimuth
    """Direction the level falls, degrees clockwise from grid north."""


class River(Table):
    """kind = "river": exchange with the ground through a bed of limited conductance."""

    kind: Literal["river"]
    name: Text = "river"
    line: Line | None = None
    polygon: Polygon | None = None
    stage: LevelOrFile
    bed_conductance: BedConductance
    width: Length | None = None
    bed: Level | None = None
    """Level of the bed; below it the ground no longer pulls more water. Default: none."""

    @model_validator(mode="after")
    def _one_shape(self) -> River:
        self.require_one("line", "polygon")
        if isinstance(self.stage, float) and self.bed is not None and self.bed > self.stage:
            raise Misfit(f"a bed not above the stage ({self.stage:g} m)", "", "bed", self.bed)
        return self


class FixedHead(Table):
    """kind = "fixed_head": water level held along a line or over a polygon, full depth or soils."""

    kind: Literal["fixed_head"]
    name: Text = "fixed head"
    line: Line | None = None
    polygon: Polygon | None = None
    head: LevelOrFile
    soils: Texts | None = None

    @model_validator(mode="after")
    def _one_shape(self) -> FixedHead:
        self.require_one("line", "polygon")
        return self


class NoFlow(Table):
    """kind = "no_flow": an impervious edge; ground beyond it, seen from the pit, is left out."""

    kind: Literal["no_flow"]
    name: Text = "no flow"
    line: Line


class Recharge(Table):
    """kind = "recharge": water arriving at the water table, everywhere or over a polygon."""

    kind: Literal["recharge"]
    name: Text = "recharge"
    polygon: Polygon | None = None
    rate: RateOrFile


Boundary = Annotated[River | FixedHead | NoFlow | Recharge, Field(discriminator="kind")]


def _level_or_plane(value: Any) -> str:
    return "a plane" if isinstance(value, Mapping | Plane) else "a level"


LevelOrPlane = Annotated[
    Annotated[Level, Tag("a level")] | Annotated[Plane, Tag("a plane")],
    Discriminator(_level_or_plane),
]


class Water(Table):
    """[water]: natural water levels, how far away the water comes from, and boundaries."""

    level: Level | None = None
    plane: Plane | None = None
    piezometers: Text | None = None
    levels: dict[str, LevelOrPlane] = Field(default={})
    """Level or plane of single aquifers, by soil; overrides the general one there."""
    source_distance: Length | None = None
    """Distance from the pit's edge at which the natural levels still hold [m]."""
    edge: Literal["fixed head", "no flow"] = "fixed head"
    boundary: tuple[Boundary, ...] = ()

    @model_validator(mode="after")
    def _one_level(self) -> Water:
        self.require_one("level", "plane", "piezometers")
        return self


class Slab(Table):
    """A cast slab or structure, its underside at formation: what holds it down.

    A later stage without a slab keeps the one before; another tells all that stands by then.
    """

    weight: Pressure
    """Weight of all that is built [Pa over the floor]."""
    tension: Pressure = 0.0
    """Characteristic resistance of tension piles [Pa over the floor]."""


class Stage(Table):
    """[[excavation.stages]]: one state of the dig. Formation is carried on where left out."""

    name: Name
    day: Day | None = None
    formation: Level | None = None
    lasts: Duration | None = None
    slab: Slab | None = None


class Excavation(Table):
    """[excavation]: the outline in plan, the clearance and the stages."""

    outline: Text | None = None
    corners: Corners | None = None
    clearance: Clearance = 0.5
    stages: Annotated[tuple[Stage, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _consistent(self) -> Excavation:
        self.require_one("outline", "corners")
        if self.stages[0].formation is None:
            raise Misfit(
                "a formation level in the first stage", "Add formation = 1.0, say.", "stages.0"
            )
        return self


class Scheme(Table):
    """[[schemes]]: one alternative way to lower the water."""

    name: Name
    drainage: tuple[Drainage, ...] = ()
    walls: tuple[Wall, ...] | None = None
    """Walls of this scheme instead of the site's own."""


class GridChoices(Table):
    """[grid]: what the user wants otherwise than the tool would choose."""

    cells: CellCount | None = None
    """At most about so many cells: where the sizes give more, all are enlarged alike."""
    cell: CellSize | None = None
    growth: Growth | None = None
    largest: Length | None = None
    sublayer: CellSize | None = None
    extent: Length | None = None
    rotation: Rotation | None = None
    """Azimuth of the grid's columns, degrees anticlockwise from grid east."""


class NamedPoint(Table):
    """[[points]]: a place whose heads are reported."""

    name: Name
    x: Coordinate
    y: Coordinate
    level: Level | None = None


class Time(Table):
    """[time]: follow the dig day by day too; every stage then needs its day."""

    pumping_starts: Day | None = None
    """Day on which the pumps start; the first stage's day where left out."""
    first_step: Duration = 0.02
    """First time step after every change [days]."""
    step_growth: Growth = 1.15
    """Each step is so many times as long as the one before. What is left of a drawdown a day after
    pumping stopped comes 3.8 % too high with 1.2, 2.9 % with 1.15, 1.7 % with 1.1."""
    longest_step: Duration | None = None
    """[days]; a twentieth of each stretch of time between changes where left out."""


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
    time: Time | None = None
    assessment: Assessment = Assessment()
    stability: Stability = Stability()
    operations: Operations | None = None
    vary: VaryPlan | None = None
    match: MatchPlan | None = None
