"""How big cells are: in plan at the pit, along boundaries, in depth, and how far the model goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from wellring.inputs.read_site import Site
from wellring.inputs.site.drainage import Placed
from wellring.inputs.site.site import FixedHead, NoFlow, Scheme
from wellring.inputs.site.walls import Wall
from wellring.model.geology.strata import Strata
from wellring.model.grid.graded import Key
from wellring.model.grid.ground import SoilValues
from wellring.model.grid.layers import choose_planes
from wellring.model.grid.plan_grid import HeadLine, PlanChoices, PlanGrid, make_plan_grid
from wellring.model.grid.point_rows import point_rows
from wellring.model.grid.water import NaturalLevels

Floats = NDArray[np.float64]

CELL = 1.0
"""Largest default plan cell at the pit's edge and walls [m]."""
GROWTH = 1.3
ACROSS = 20
"""The default cell is this part of the pit's narrow side, where that is below :data:`CELL`. In a
trench of 6 m with sheet piles and a sump 40, 20, 10 and 6 cells across gave a flow 0.2, 0.2, 0.4
and 0.6 % below that of 67 (tests/bench/long_sites.py). A small floor over deep ground asks for
more than a trench: 12 are 1 % worse than 20, and 40 no better (tests/published/)."""
WALL_PARTS, FLOOR_PARTS = 40, 40
"""Parts of the pit's narrow side that cells at the walls water flows under, and sublayers at the
last floor, may be at most. With 20 at the walls the flow under a pile is 2.3 % too small in
place of 2; with 20 at the floor the flow into a small floor over deep ground 1 % smaller."""
AWAY_PARTS = 15
"""Cells at a boundary are this part of its distance from the pit."""
FAR_PARTS = 25
"""The largest plan cell is this part of the source distance: MODFLOW 6 takes the wetted thickness
of the upstream cell, which overstates the flow by ΣΔh²/(H² − h²) over the cells' steps Δh."""
SUBLAYER = 0.5
"""Default sublayer at formation, toes and screen ends [m]."""
LAYER_GROWTH = 1.6
TOE_PARTS = 40
"""The finest cells at a toe are this part of the water's narrowest way around it: the toe's depth
below the last floor, or the ground below it. A toe leaves an error in proportion to its cells:
with this part the flow under a pile is within 2 % of the exact solutions (tests/published/)."""
FINEST_TOE, FINEST_WALL = 0.2, 0.7
"""The smallest default height [m] of a cell at a toe and width [m] at a wall. Ways around a toe
narrower than 8 m get fewer than :data:`TOE_PARTS` cells, and an error that grows: 2 m below a floor
2.3 % too little flow and 5 % too little exit gradient. Cells of a quarter of these halve it, but
spread as flat layers over the whole model, which makes the solver slow."""
LARGEST_LAYERS = 10
"""The thickest sublayer is this part of the modelled depth."""


@dataclass(frozen=True)
class Fineness:
    """How fine a layout is against the default: 2 doubles every size (for error estimates)."""

    coarser: float = 1.0
    farther: float = 1.0
    """Factor on the source distance."""


def formations(site: Site) -> list[float]:
    """Formation level of each stage [m], carried on where a stage names none."""
    found: list[float] = []
    for stage in site.description.excavation.stages:
        found.append(stage.formation if stage.formation is not None else found[-1])
    return found


def source_distance(
    site: Site, strata: Strata, soils: dict[str, SoilValues], levels: NaturalLevels
) -> tuple[float, str]:
    """Distance of the water's source from the pit's edge [m] and where that comes from."""
    given = site.description.water.source_distance
    if given is not None:
        return given, "given in the site file"
    centre = site.outline.centroid
    x, y = np.array([centre.x]), np.array([centre.y])
    column = strata.surfaces(x, y, site.ground.at(x, y)).levels[:, 0]
    thickness = -np.diff(column)
    k = np.array([soils[unit.soil].kh for unit in strata.units])
    mean_k = float((k * thickness).sum() / max(thickness.sum(), 1e-9))
    natural = float(levels.general.at(x, y)[0])
    pit = site.description.excavation
    fall = max(natural - (min(formations(site)) - pit.clearance), 1.0)
    distance = float(np.clip(3000 * fall * np.sqrt(mean_k), 50.0, 5000.0))
    return distance, (
        f"ASSUMED by Sichardt's empirical R = 3000·s·√k with s {fall:.1f} m and the mean k "
        f"{mean_k:.1e} m/s at the pit; give water.source_distance when you know better"
    )


def size_plan(
    site: Site,
    walls: list[Wall],
    lines: list[LineString],
    base: float,
    places: Floats,
    distance: float,
    fineness: Fineness,
) -> PlanGrid:
    """The plan grid of a scheme.

    Parameters
    ----------
    walls, lines : the walls and their lines.
    base : level of the model's floor [m].
    places : (n, 2) drainage points.
    distance : source distance [m]; the grid reaches a little beyond it.
    """
    wanted = site.description.grid
    cell = wanted.cell or float(np.clip(_narrow_side(site) / ACROSS, 0.2, CELL))
    cell *= fineness.coarser
    growth = (wanted.growth or GROWTH) ** fineness.coarser
    largest = (wanted.largest or max(distance / FAR_PARTS, 2 * cell)) * fineness.coarser
    extent = distance + 2 * largest
    named = np.array([[p.x, p.y] for p in site.description.points]).reshape(-1, 2)
    named = site.crs.to_metres(named)
    rows = point_rows(places, CELL * fineness.coarser)
    wall_cell = cell
    if wanted.cell is None:
        widest = max(2.5 * toe_size(site, walls, base), FINEST_WALL)
        if widest < 2.5 * SUBLAYER:  # water flows around a toe
            widest = float(np.clip(_narrow_side(site) / WALL_PARTS, 0.2, widest))
        wall_cell = min(cell, widest * fineness.coarser)
    well_cell = float(np.clip(rows.single_spacing / 6, 2 * cell, 5 * cell))
    row_cell = np.maximum(rows.spacing * fineness.coarser, cell)
    near = [
        place
        for place in np.vstack([rows.single, named])
        if site.outline.distance(shapely.Point(place)) < distance
    ]
    return make_plan_grid(
        site.outline,
        lines,
        np.array(near).reshape(-1, 2),
        PlanChoices(
            cell,
            wall_cell,
            well_cell,
            growth,
            largest,
            wanted.extent * fineness.farther if wanted.extent else extent,
            None if wanted.rotation is None else float(np.radians(wanted.rotation)),
        ),
        _head_lines(site, cell, largest, fineness),
        (rows.dense, row_cell),
    )


def _head_lines(site: Site, cell: float, largest: float, fineness: Fineness) -> list[HeadLine]:
    """Boundaries that the grid meets, with cells that grow with the distance from the pit."""

    def size_at(piece: BaseGeometry) -> float:
        away = float(site.outline.distance(piece))
        return float(np.clip(away * fineness.coarser / AWAY_PARTS, cell, largest))

    found = []
    for index, boundary in enumerate(site.description.water.boundary):
        shape = site.geometries.get(f"water.boundary.{index}")
        if isinstance(boundary, FixedHead | NoFlow) and shape is not None:
            centred = isinstance(boundary, FixedHead) and not isinstance(shape, Polygon)
            rings = [shape.exterior, *shape.interiors] if isinstance(shape, Polygon) else [shape]
            found += [HeadLine(ring, size_at, centred) for ring in rings]
    return found


def _narrow_side(site: Site) -> float:
    """Width [m] of the narrowest rectangle around the pit."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(site.outline))
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).min())


def toe_size(site: Site, walls: list[Wall], base: float) -> float:
    """Height [m] of the cells at the toes of walls that hold water, over a floor at `base` [m]."""
    floor = min(formations(site))
    ways = [
        min(abs(floor - toe), toe - base)
        for wall in walls
        if wall.holds_water
        for toe in wall.toes
        if toe > base + 0.1
    ]
    return float(np.clip(min(ways, default=np.inf) / TOE_PARTS, FINEST_TOE, SUBLAYER))


def layer_planes(
    site: Site,
    scheme: Scheme,
    walls: list[Wall],
    low: float,
    high: float,
    fineness: Fineness,
) -> tuple[Floats, NDArray[np.bool_]]:
    """Level planes that cut soils into model layers: fine at the last floor, toes, screen ends.

    Above the last floor only the stages' formations are cut: sublayers there would run dry and
    cost much without changing the answer.

    Parameters
    ----------
    low, high : levels [m] between which planes are wanted: the floor and the highest ground.

    Returns
    -------
    (planes, required) : as :func:`wellring.model.grid.layers.choose_planes`.
    """
    floors = sorted(set(formations(site)))
    barriers = [wall for wall in walls if wall.holds_water]
    toes = sorted({toe for wall in barriers for toe in wall.toes})
    tops = [wall.top for wall in barriers if wall.top is not None]
    screens = sorted(
        {
            end
            for drainage in scheme.drainage
            if isinstance(drainage, Placed)
            for end in getattr(drainage, "screen", ())
        }
    )
    below = [floors[0] - toe for toe in toes if toe < floors[0] - 0.1]
    given = site.description.grid.sublayer
    at_screen = given or float(
        np.clip(min(part / 8 for part in [*below, floors[0] - low]), 0.1, SUBLAYER)
    )
    fine = given or float(np.clip(_narrow_side(site) / FLOOR_PARTS, 0.1, at_screen))
    at_screen, fine = at_screen * fineness.coarser, fine * fineness.coarser
    at_toe = min(fine, toe_size(site, walls, low) * fineness.coarser)
    growth = LAYER_GROWTH**fineness.coarser
    largest = max((high - low) / LARGEST_LAYERS, fine) * fineness.coarser
    keys = [Key(floors[0], floors[0], fine), *(Key(toe, toe, at_toe) for toe in toes)]
    keys += [Key(end, end, 2 * at_screen) for end in screens]
    cuts = [*floors, *toes, *screens, *tops]
    return choose_planes(cuts, keys, low, high, growth, largest)
