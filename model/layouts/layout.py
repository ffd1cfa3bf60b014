"""From a site and one of its schemes to everything on a grid: the builder's main step."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LinearRing, LineString

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.read_site import Site
from wellring.inputs.site.drainage import Placed
from wellring.inputs.site.names import drainage_names, wall_names
from wellring.inputs.site.operations import Operations
from wellring.inputs.site.site import Scheme
from wellring.inputs.site.walls import Wall
from wellring.model.drainage import methods
from wellring.model.drainage.method import Placement
from wellring.model.drainage.placement import place_points
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.stage_rates import with_rates
from wellring.model.geology.strata import LayerSurfaces, Strata, build_strata
from wellring.model.geology.surface_checks import warn_of_excursions
from wellring.model.grid.clay_sublayers import clay_surfaces
from wellring.model.grid.faces import PlanFaces
from wellring.model.grid.grid_sizes import Fineness, formations, source_distance
from wellring.model.grid.ground import Ground, SoilValues, make_ground, soil_values
from wellring.model.grid.layers import Layers
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.grid.walls import PlacedWall, place_wall
from wellring.model.grid.water import (
    NaturalLevels,
    WaterBoundaries,
    natural_levels,
    water_boundaries,
)
from wellring.model.layouts.frame import Frame, make_frame
from wellring.model.layouts.layout_checks import (
    assumed_means,
    assumed_widths,
    check_extent,
    check_natural_level,
    check_placed,
    check_size,
)

Floats = NDArray[np.float64]


@dataclass
class Layout:
    """A site with one scheme on its grid; arrays over plan cells are (n,), over cells (nlay, n)."""

    site: Site
    scheme: Scheme
    plan: PlanGrid
    strata: Strata
    surfaces: LayerSurfaces
    ground: Ground
    soils: dict[str, SoilValues]
    levels: NaturalLevels
    water: WaterBoundaries
    inside: NDArray[np.bool_]
    rim: PlanFaces
    rim_factor: Floats
    walls: list[PlacedWall]
    points: list[GridPoint]
    point_stages: list[tuple[int, int]]
    """First and last stage (indices) in which each point works."""
    source_distance: float
    source_basis: str
    frame: Frame
    assumptions: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    @property
    def natural_heads(self) -> Floats:
        """Natural levels on all cells (nlay, n) [m], the first start heads."""
        x, y = (values.ravel() for values in self.plan.centres)
        return self.levels.on(x, y, self.ground.layers.unit, self.ground.soil_of_unit)


def scheme_walls(site: Site, number: int, scheme: Scheme) -> list[tuple[str, str, Wall]]:
    """(place in the site file, name, wall) of the walls that stand in a scheme."""
    own = scheme.walls is not None
    prefix = f"schemes.{number}.walls" if own else "walls"
    walls = scheme.walls if scheme.walls is not None else site.description.walls
    return [
        (f"{prefix}.{i}", name, wall)
        for i, (name, wall) in enumerate(zip(wall_names(walls), walls, strict=True))
    ]


def lay_out_schemes(site: Site, schemes: list[tuple[int, Scheme]]) -> list[Layout]:
    """A layout of each (index in the site file, scheme); errors as :func:`lay_out`."""
    layouts: list[Layout] = []
    for number, scheme in schemes:
        first = layouts[0].frame if layouts else None
        layouts.append(lay_out(site, scheme, number, strata_of=first))
    return layouts


def lay_out(
    site: Site,
    scheme: Scheme,
    number: int = 0,
    fineness: Fineness | None = None,
    frame: Frame | None = None,
    strata_of: Frame | None = None,
) -> Layout:
    """Put a site and one of its schemes on a grid.

    Parameters
    ----------
    number : index of the scheme in the site file (its geometries are found by it).
    fineness : sizes against the default.
    frame : of the layout of a case that differs in values alone, not in geometry; used where it
        was made for the same source distance.
    strata_of : frame of another scheme of the same site, whose strata are taken over.

    Raises
    ------
    InputFaults : something does not fit once it is on the ground (a well outside the model, a
        screen below the floor, a pit deeper than the model).
    """
    fineness = fineness or Fineness()
    faults = site.fault_log()
    file = site.file.name
    description = site.description
    soils = {
        name: soil_values(name, soil, description.site.show)
        for name, soil in description.soils.items()
    }
    known = frame or strata_of
    if known is not None:
        strata = known.strata
        for text in known.warnings:
            faults.warn(text)
    else:
        borings = description.borings
        strata = build_strata(
            site.logs, borings.surfaces, borings.base, faults, borings.realisation
        )
    faults.raise_if_any()
    strata_warnings = tuple(faults.warnings)
    levels = natural_levels(site)
    distance, basis = source_distance(site, strata, soils, levels)
    check_extent(site, distance, faults)
    distance *= fineness.farther
    walls = scheme_walls(site, number, scheme)
    lines = {place: _wall_line(site, place, wall) for place, _, wall in walls}
    _check_toes(site, walls, lines, faults)
    _check_extent(site, distance / fineness.farther, faults)
    places = _drainage_places(site, number, scheme, faults)
    soil_of_unit = tuple(unit.soil for unit in strata.units)
    if frame is not None and not _still_fits(frame, site, soil_of_unit, soils, distance):
        frame = None
    if frame is None:
        standing_walls = [(wall, lines[place]) for place, _, wall in walls if wall.holds_water]
        frame = make_frame(
            site, scheme, strata, soils, walls, standing_walls, places, distance, fineness, faults,
            strata_warnings,
        )  # fmt: skip
    plan, surfaces, layers, top = frame.plan, frame.surfaces, frame.layers, frame.top
    inside, modelled, rim, rim_factor = frame.inside, frame.modelled, frame.rim, frame.rim_factor
    check_size(site, plan, layers, faults)
    x, y = plan.centres
    warn_of_excursions(strata, surfaces, x.ravel(), y.ravel(), faults)
    _check_depth(site, layers, inside, top, faults)
    check_natural_level(site, levels, layers, inside, faults)
    ground = make_ground(layers, soil_of_unit, soils, plan.area.ravel(), modelled)
    stages = [stage.name for stage in description.excavation.stages]
    placed = [
        place_wall(
            plan,
            name,
            _toes_in_order(site, wall),
            lines[place],
            top,
            stages.index(wall.stage) if wall.stage else 0,
        )
        for place, name, wall in walls
        if wall.holds_water
    ]
    standing = [place for place, _, wall in walls if wall.holds_water]
    check_placed(site, plan, ground, modelled, list(zip(standing, placed, strict=True)), faults)
    points, when = _points(site, number, scheme, plan, ground, distance, stages, faults, file)
    faults.raise_if_any()
    water = water_boundaries(site, plan, ground, levels, frame.reachable, distance)
    assumptions = [text for values in soils.values() for text in values.assumptions]
    assumptions.append(f"water comes from {distance:.0f} m away: {basis}")
    enlarged = frame.fineness.coarser / fineness.coarser
    if enlarged > 1.0:
        assumptions.append(
            f"cells are {enlarged:.2f} times as large as by default in each direction, for at most "
            f"{description.grid.cells:,} cells (grid.cells); see the estimated discretisation error"
        )
    assumptions += assumed_widths(site)
    assumptions += assumed_means(site)
    return Layout(
        site=site,
        scheme=scheme,
        plan=plan,
        strata=strata,
        surfaces=surfaces,
        ground=ground,
        soils=soils,
        levels=levels,
        water=water,
        inside=inside,
        rim=rim,
        rim_factor=rim_factor,
        walls=placed,
        points=points,
        point_stages=when,
        source_distance=distance,
        source_basis=basis,
        frame=frame,
        assumptions=assumptions,
        warnings=list(faults.warnings),
    )


def _still_fits(
    frame: Frame,
    site: Site,
    soil_of_unit: tuple[str, ...],
    soils: dict[str, SoilValues],
    distance: float,
) -> bool:
    """Whether a frame's extent and sublayers are those of a case with these values."""
    if frame.distance != distance:
        return False
    inner = clay_surfaces(
        site.description, soil_of_unit, soils, frame.surfaces.levels, frame.fineness.coarser
    )
    return np.array_equal(inner, frame.inner)


def _wall_line(site: Site, place: str, wall: Wall) -> LineString:
    if wall.line == "outline":
        return LineString(site.outline.exterior.coords)
    shape = site.geometries[place]
    assert isinstance(shape, LineString)
    return shape


def _toes_in_order(site: Site, wall: Wall) -> Wall:
    """The wall with its toes in the order of the outline, which was turned anticlockwise."""
    corners = site.description.excavation.corners
    if wall.line != "outline" or not isinstance(wall.toe, tuple) or corners is None:
        return wall
    if LinearRing(corners).is_ccw:
        return wall
    ring = wall.toe[: len(site.outline.exterior.coords) - 1]
    return wall.model_copy(update={"toe": (ring[0], *ring[:0:-1])})


def _check_toes(
    site: Site,
    walls: list[tuple[str, str, Wall]],
    lines: dict[str, LineString],
    faults: FaultLog,
) -> None:
    for place, _, wall in walls:
        corners = len(lines[place].coords)
        ring = lines[place].is_closed
        if isinstance(wall.toe, tuple) and len(wall.toe) not in (corners, corners - ring):
            faults.add(
                site.file.name,
                f"{place}.toe",
                f"{len(wall.toe)} levels",
                f"one level, or one for each of the line's {corners - ring} corners",
            )
    faults.raise_if_any()


def _check_extent(site: Site, distance: float, faults: FaultLog) -> None:
    extent = site.description.grid.extent
    if extent is not None and extent <= distance and site.description.water.edge == "fixed head":
        faults.add(
            site.file.name,
            "grid.extent",
            extent,
            f"more than the source distance ({distance:g} m)",
            "Beyond the grid nothing gives water; leave grid.extent out.",
        )
    faults.raise_if_any()


def _drainage_places(site: Site, number: int, scheme: Scheme, faults: FaultLog) -> Floats:
    """Plan positions (n, 2) of all drainage points of a scheme."""
    found = [np.zeros((0, 2))]
    for index, drainage in enumerate(scheme.drainage):
        place = f"schemes.{number}.drainage.{index}"
        if isinstance(drainage, Placed):
            try:
                found.append(place_points(drainage, site.outline, site.geometries.get(place)))
            except ValueError as error:
                faults.add(
                    site.file.name,
                    f"{place}.ring.offset",
                    drainage.ring.offset if drainage.ring else None,
                    "a ring that leaves some of the pit inside it",
                    f"{error}.",
                )
    faults.raise_if_any()
    return np.vstack(found)


def _check_depth(
    site: Site, layers: Layers, inside: NDArray[np.bool_], top: Floats, faults: FaultLog
) -> None:
    deepest = min(formations(site))
    floor = float(layers.edges[-1][inside].max()) if inside.any() else np.inf
    if deepest <= floor + 0.1:
        faults.add(
            site.file.name,
            "borings.base",
            site.description.borings.base,
            f"a model floor below the deepest formation ({deepest:g} m); it lies at {floor:.2f} m",
            "Give borings.base well below the dig, or deeper borings.",
        )
    if inside.any() and formations(site)[0] > float(top[inside].max()) + 1e-6:
        faults.add(
            site.file.name,
            "excavation.stages.0.formation",
            formations(site)[0],
            f"a level below the ground ({top[inside].max():.2f} m at most over the pit)",
            "Levels are elevations in the site's datum, not depths.",
        )
    faults.raise_if_any()


def _points(
    site: Site,
    number: int,
    scheme: Scheme,
    plan: PlanGrid,
    ground: Ground,
    distance: float,
    stages: list[str],
    faults: FaultLog,
    file: str,
) -> tuple[list[GridPoint], list[tuple[int, int]]]:
    points: list[GridPoint] = []
    when: list[tuple[int, int]] = []
    known = methods()
    labels = drainage_names(scheme.drainage)
    for index, drainage in enumerate(scheme.drainage):
        method = known[type(drainage)]
        place = f"schemes.{number}.drainage.{index}"
        label = labels[index]
        placement = Placement(
            label,
            site.outline,
            site.geometries.get(place),
            plan,
            ground,
            distance,
            tuple(formations(site)),
            site.description.operations or Operations(),
        )
        try:
            made = method.points(drainage, placement)
        except ValueError as error:
            faults.add(
                file,
                f"{place}.screen",
                list(getattr(drainage, "screen", ())),
                f"screens in modelled ground, which ends {distance:.0f} m from the pit",
                f"{error}.",
            )
            continue
        for note in method.notes(drainage, placement):
            faults.warn(note)
        for outside in method.warnings(drainage, placement, made):
            faults.warn(outside)
        made = with_rates(drainage, made, stages, file, place, faults)
        begins, ends = getattr(drainage, "from_stage", None), getattr(drainage, "until_stage", None)
        first = stages.index(begins) if begins else 0
        last = stages.index(ends) if ends else len(stages) - 1
        points += made
        when += [(first, last)] * len(made)
    kh = ground.kh.reshape(-1)
    for point in points:  # after all are made: two tables may place wells in the same cell
        kh[point.node] = np.maximum(kh[point.node], point.opening * point.screen_k)
    return points, when


def stage_start(layout: Layout, heads: Floats | None) -> Floats:
    """Start heads (nlay, nrow, ncol): those of the stage before, natural where it has none."""
    natural = layout.natural_heads
    if heads is not None:
        before = heads.reshape(natural.shape)
        natural = np.where(np.abs(before) < 1e20, before, natural)
    return natural.reshape(-1, *layout.plan.shape)
