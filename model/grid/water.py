"""Natural water: levels of the aquifers, the distant edge, rivers, held levels, recharge."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from wellring.inputs.measured.piezometers import LevelPlane
from wellring.inputs.measured.series import Series
from wellring.inputs.read_site import Site
from wellring.inputs.site.site import FixedHead, NoFlow, Plane, Recharge, River
from wellring.model.grid.faces import PlanFaces, all_faces, barriers_reached, crossed_faces
from wellring.model.grid.ground import Ground
from wellring.model.grid.plan_grid import PlanGrid

Floats = NDArray[np.float64]
Nodes = NDArray[np.intp]

DEFAULT_RIVER_WIDTH = 10.0
"""Width of a river given as a line without one [m] (an assumption that is printed)."""


@dataclass(frozen=True)
class NaturalLevels:
    """Water levels before the work: one plane for all ground and others for single soils."""

    general: LevelPlane
    by_soil: dict[str, LevelPlane]

    def of_soil(self, soil: str) -> LevelPlane:
        """The plane that holds in `soil`."""
        return self.by_soil.get(soil, self.general)

    def on(self, x: Floats, y: Floats, unit: NDArray, soil_of_unit: tuple[str, ...]) -> Floats:
        """Levels [m] at points (n,) for unit indices (…, n)."""
        planes = np.stack([self.of_soil(soil).at(x, y) for soil in soil_of_unit])
        return np.take_along_axis(
            planes, np.asarray(unit, np.intp).reshape(-1, x.size), axis=0
        ).reshape(unit.shape)


def natural_levels(site: Site) -> NaturalLevels:
    """The natural levels as the site file gives them."""
    water = site.description.water
    by_soil: dict[str, LevelPlane] = {}
    if site.piezometers is not None:
        general = site.piezometers.level_function(None)
        for soil in site.description.soils:
            if soil in site.piezometers.soils:
                by_soil[soil] = site.piezometers.level_function(soil)
    elif water.plane is not None:
        general = LevelPlane.from_table(water.plane, site.crs)
    else:
        assert water.level is not None
        general = LevelPlane.constant(water.level)
    for soil, level in water.levels.items():
        by_soil[soil] = (
            LevelPlane.from_table(level, site.crs)
            if isinstance(level, Plane)
            else LevelPlane.constant(level)
        )
    return NaturalLevels(general, by_soil)


@dataclass(frozen=True)
class HeadDependent:
    """Exchange with a level outside the model: node, level [m], conductance [m²/s], all (m,).

    `floor` is the level below which the ground pulls no more (a river's bed), or None.
    """

    name: str
    kind: str
    node: Nodes
    level: Floats
    conductance: Floats
    floor: Floats | None = None
    series: Series | None = None
    """Its level in time, the same in all cells; `level` is then the mean."""


@dataclass(frozen=True)
class HeldLevel:
    """Cells whose head is given: node and level [m], both (m,); in time by `series`."""

    name: str
    node: Nodes
    level: Floats
    series: Series | None = None


@dataclass(frozen=True)
class WaterBoundaries:
    """All natural boundaries on the grid; `recharge` is (n,) in m/s over plan cells.

    `rains` are the parts of it that change in time: plan cells (m,) and their rate. `recharge`
    holds their means too.
    """

    exchanges: list[HeadDependent] = field(default_factory=list)
    held: list[HeldLevel] = field(default_factory=list)
    recharge: Floats | None = None
    rains: list[tuple[Nodes, Series]] = field(default_factory=list)


def modelled_area(
    site: Site, grid: PlanGrid, source_distance: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Plan cells (n,) that are modelled, and those merely inside the no-flow edges.

    The modelled area ends `source_distance` from the pit's edge and at no-flow edges.
    """
    distance = grid.distance_to(site.outline).ravel()
    everywhere = np.ones(distance.size, bool)
    lines = [
        site.geometries[f"water.boundary.{index}"]
        for index, boundary in enumerate(site.description.water.boundary)
        if isinstance(boundary, NoFlow)
    ]
    reachable = everywhere
    if lines:
        closed = [crossed_faces(grid, line) for line in lines]
        shut = PlanFaces(
            np.concatenate([part.first for part in closed]),
            np.concatenate([part.second for part in closed]),
            np.concatenate([part.width for part in closed]),
            np.concatenate([part.gaps for part in closed]),
        )
        reachable = barriers_reached(grid, shut, distance <= distance.min() + 1e-9)
    return reachable & (distance < source_distance), reachable


def water_boundaries(
    site: Site,
    grid: PlanGrid,
    ground: Ground,
    levels: NaturalLevels,
    reachable: NDArray[np.bool_],
    source_distance: float,
) -> WaterBoundaries:
    """Put the distant edge and every [[water.boundary]] on the grid.

    Parameters
    ----------
    reachable : (nrow·ncol,) plan cells inside the no-flow edges.
    source_distance : distance from the pit's edge at which the natural level is held [m].
    """
    water = WaterBoundaries()
    if site.description.water.edge == "fixed head":
        edge = _distant_edge(site, grid, ground, levels, reachable, source_distance)
        if edge.node.size:
            water.exchanges.append(edge)
    recharge = np.zeros(ground.area.size)
    for index, boundary in enumerate(site.description.water.boundary):
        place = f"water.boundary.{index}"
        shape, series = site.geometries.get(place), site.series.get(place)
        name = f"{boundary.name} {index + 1}"
        if isinstance(boundary, River) and shape is not None:
            water.exchanges.append(_river(name, boundary, shape, series, grid, ground))
        elif isinstance(boundary, FixedHead) and shape is not None:
            water.held.append(_fixed_head(name, boundary, shape, series, grid, ground))
        elif isinstance(boundary, Recharge):
            where = grid.inside(shape).ravel() if shape is not None else True
            rate = float(boundary.rate) if series is None else series.usual
            recharge = recharge + np.where(where, rate, 0.0)
            if series is not None:
                everywhere = np.ones(recharge.size, bool)
                water.rains.append((np.flatnonzero(where & everywhere), series))
    return WaterBoundaries(
        [item for item in water.exchanges if item.node.size],
        _without_repeats([item for item in water.held if item.node.size]),
        recharge if recharge.any() else None,
        water.rains,
    )


def _distant_edge(
    site: Site,
    grid: PlanGrid,
    ground: Ground,
    levels: NaturalLevels,
    reachable: NDArray[np.bool_],
    source_distance: float,
) -> HeadDependent:
    """Natural levels held exactly at the source distance, not at the nearest cell centre.

    On each face between a modelled cell and one beyond the distance, the level is held where the
    distance is reached between the two centres; the conductance follows from that length.
    """
    distance = grid.distance_to(site.outline).ravel()
    faces = all_faces(grid)
    modelled = reachable & (distance < source_distance)
    flip = modelled[faces.second] & ~modelled[faces.first]
    faces = faces.turned(flip)
    crossing = modelled[faces.first] & ~modelled[faces.second] & reachable[faces.second]
    faces = faces.pick(crossing)
    a, b = faces.first, faces.second
    share = np.clip((source_distance - distance[a]) / (distance[b] - distance[a]), 0.05, 1.0)
    length = share * faces.gaps.sum(axis=1)
    x, y = (values.ravel() for values in grid.centres)
    at_x, at_y = x[a] + share * (x[b] - x[a]), y[a] + share * (y[b] - y[a])
    level = levels.on(at_x, at_y, ground.layers.unit[:, a], ground.soil_of_unit)
    bottom, top = ground.layers.edges[1:][:, a], ground.layers.edges[:-1][:, a]
    wet = np.clip(level, bottom, top) - bottom
    layer, face = np.nonzero(ground.active[:, a] & (wet > 1e-3))
    node = layer * ground.area.size + a[face]
    conductance = ground.kh.reshape(-1)[node] * wet[layer, face] * faces.width[face] / length[face]
    return HeadDependent("distant edge", "edge", node, level[layer, face], conductance)


def _river(
    name: str,
    river: River,
    shape: BaseGeometry,
    series: Series | None,
    grid: PlanGrid,
    ground: Ground,
) -> HeadDependent:
    """A river on the top cells: bed resistance in series with half the cell below it."""
    if river.polygon is not None:
        wetted = np.where(grid.inside(shape), grid.area, 0.0).ravel()
    else:
        width = river.width or DEFAULT_RIVER_WIDTH
        wetted = np.minimum(grid.length_in_cells(shape) * width, grid.area).ravel()
    stage = float(river.stage) if series is None else series.usual
    least = stage if series is None else min(series.value)
    plan = np.flatnonzero((wetted > 0) & ground.active.any(axis=0))
    lowest = river.bed if river.bed is not None else least
    holds = ground.active[:, plan] & (ground.layers.edges[1:][:, plan] < lowest - 0.01)
    some = holds.any(axis=0)
    plan, layer = plan[some], np.argmax(holds, axis=0)[some]
    node = layer * ground.area.size + plan
    half = 0.5 * ground.layers.thickness[layer, plan] / ground.kv.reshape(-1)[node]
    conductance = wetted[plan] / (1.0 / river.bed_conductance + half)
    floor = None if river.bed is None else np.full(plan.size, float(river.bed))
    return HeadDependent(name, "river", node, np.full(plan.size, stage), conductance, floor, series)


def _fixed_head(
    name: str,
    boundary: FixedHead,
    shape: BaseGeometry,
    series: Series | None,
    grid: PlanGrid,
    ground: Ground,
) -> HeldLevel:
    """Cells under a line or polygon whose head is held, in all soils or in those named."""
    if boundary.polygon is not None:
        plan = np.flatnonzero(grid.inside(shape).ravel())
    else:
        plan = np.flatnonzero(grid.length_in_cells(shape).ravel() > 0)
    head = float(boundary.head) if series is None else series.usual
    least = head if series is None else min(series.value)
    chosen = ground.cells_of(boundary.soils)[:, plan]
    layer, column = np.nonzero(chosen & (ground.layers.edges[1:][:, plan] < least - 1e-3))
    node = layer * ground.area.size + plan[column]
    return HeldLevel(name, node, np.full(node.size, head), series)


def _without_repeats(held: list[HeldLevel]) -> list[HeldLevel]:
    """A cell can hold one level only: the boundary named first in the site file has it."""
    seen = np.zeros(0, np.intp)
    kept: list[HeldLevel] = []
    for item in held:
        new = ~np.isin(item.node, seen)
        kept.append(HeldLevel(item.name, item.node[new], item.level[new], item.series))
        seen = np.concatenate([seen, item.node])
    return kept
