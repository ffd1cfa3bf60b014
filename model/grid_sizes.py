"""How big cells are: in plan at the pit, along boundaries, in depth, and how far the model goes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from wellring.inputs.drainage import Placed
from wellring.inputs.read_site import Site
from wellring.inputs.site import FixedHead, NoFlow, Scheme
from wellring.inputs.walls import Wall
from wellring.model.graded import Key
from wellring.model.ground import SoilValues
from wellring.model.layers import Layers, choose_planes, make_layers
from wellring.model.plan_grid import HeadLine, PlanChoices, PlanGrid, make_plan_grid
from wellring.model.strata import LayerSurfaces, Strata
from wellring.model.water import NaturalLevels

Floats = NDArray[np.float64]

CELL = 1.0
"""Largest default plan cell at the pit's edge and walls [m]; a fortieth of a narrow pit's width."""
GROWTH = 1.3
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
    cell = wanted.cell or float(np.clip(_narrow_side(site) / 40, 0.2, CELL))
    cell *= fineness.coarser
    growth = (wanted.growth or GROWTH) ** fineness.coarser
    largest = (wanted.largest or max(distance / FAR_PARTS, 2 * cell)) * fineness.coarser
    extent = distance + 2 * largest
    named = np.array([[p.x, p.y] for p in site.description.points]).reshape(-1, 2)
    named = site.crs.to_metres(named)
    points = np.vstack([places, named])
    head_lines = []
    for index, boundary in enumerate(site.description.water.boundary):
        shape = site.geometries.get(f"water.boundary.{index}")
        if isinstance(boundary, FixedHead | NoFlow) and shape is not None:
            away = max(float(site.outline.distance(shape)), 4 * cell)
            head_lines.append(
                HeadLine(
                    shape,
                    float(np.clip(away / 15, cell, largest)),
                    centred=isinstance(boundary, FixedHead),
                )
            )
    wall_cell = cell
    if wanted.cell is None:
        wall_cell = min(
            cell, max(2.5 * toe_size(site, walls, base), FINEST_WALL) * fineness.coarser
        )
    well_cell = float(np.clip(_spacing(places) / 6, 2 * cell, 5 * cell))
    near = [place for place in points if site.outline.distance(shapely.Point(place)) < distance]
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
        head_lines,
    )


def _narrow_side(site: Site) -> float:
    """Width [m] of the narrowest rectangle around the pit."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(site.outline))
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).min())


def _spacing(places: Floats) -> float:
    """Median distance [m] from a point to its nearest neighbour; 0 for fewer than two."""
    if len(places) < 2:
        return 0.0
    from scipy.spatial import KDTree

    return float(np.median(KDTree(places).query(places, k=2)[0][:, 1]))


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


def size_layers(
    site: Site,
    scheme: Scheme,
    walls: list[Wall],
    surfaces: LayerSurfaces,
    fineness: Fineness,
    inner: Floats | None = None,
) -> Layers:
    """Cut the soils' surfaces into model layers, fine at the last floor, toes and screen ends.

    Above the last floor only the stages' formations are cut: sublayers there would run dry and
    cost much without changing the answer. `inner` (k, n) are further surfaces inside soils [m].
    """
    low, high = float(surfaces.levels[-1].min()), float(surfaces.levels[0].max())
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
    side = _narrow_side(site)
    below = [floors[0] - toe for toe in toes if toe < floors[0] - 0.1]
    fine = site.description.grid.sublayer or float(
        np.clip(min([*(part / 8 for part in [*below, floors[0] - low]), side / 40]), 0.1, SUBLAYER)
    )
    fine *= fineness.coarser
    at_toe = min(fine, toe_size(site, walls, low) * fineness.coarser)
    growth = LAYER_GROWTH**fineness.coarser
    largest = max((high - low) / LARGEST_LAYERS, fine) * fineness.coarser
    keys = [Key(floors[0], floors[0], fine), *(Key(toe, toe, at_toe) for toe in toes)]
    keys += [Key(end, end, 2 * fine) for end in screens]
    cuts = [*floors, *toes, *screens, *tops]
    planes, required = choose_planes(cuts, keys, low, high, growth, largest)
    return make_layers(surfaces.levels, planes, required, inner)
