"""What of a layout follows from shapes alone: strata, grid, layers, the pit's rim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString

from wellring.inputs.faults import FaultLog
from wellring.inputs.read_site import Site
from wellring.inputs.site import Scheme
from wellring.inputs.walls import Wall
from wellring.model.clay_sublayers import clay_surfaces
from wellring.model.faces import PlanFaces, crossed_faces, face_midpoints, staircase_factor
from wellring.model.grid_sizes import Fineness, size_layers, size_plan
from wellring.model.ground import SoilValues
from wellring.model.layers import Layers
from wellring.model.layout_checks import check_size
from wellring.model.plan_grid import PlanGrid
from wellring.model.strata import LayerSurfaces, Strata
from wellring.model.water import modelled_area

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Frame:
    """What of a layout hangs on geometry alone, to be shared by cases of other soils or levels.

    `distance` is the source distance [m] it was made for; `top` the ground's level (n,) [m];
    `inner` (k, n) the surfaces that part clays followed in time [m].
    """

    distance: float
    strata: Strata
    plan: PlanGrid
    surfaces: LayerSurfaces
    top: Floats
    layers: Layers
    inner: Floats
    inside: NDArray[np.bool_]
    modelled: NDArray[np.bool_]
    reachable: NDArray[np.bool_]
    rim: PlanFaces
    rim_factor: Floats
    warnings: tuple[str, ...]
    """Of the strata."""


def make_frame(
    site: Site,
    scheme: Scheme,
    strata: Strata,
    soils: dict[str, SoilValues],
    walls: list[tuple[str, str, Wall]],
    standing: list[tuple[Wall, LineString]],
    places: Floats,
    distance: float,
    fineness: Fineness,
    faults: FaultLog,
    warnings: tuple[str, ...],
) -> Frame:
    """The grid and all that follows from shapes on it; `standing` are the walls that hold water."""
    plan = size_plan(
        site,
        [wall for wall, _ in standing],
        [line for _, line in standing],
        strata.base_level,
        places,
        distance,
        fineness,
    )
    check_size(site, plan, None, faults)
    inside = plan.inside(site.outline).ravel()
    surfaces, top = _surfaces(site, strata, plan)
    soil_of_unit = tuple(unit.soil for unit in strata.units)
    inner = clay_surfaces(site.description, soil_of_unit, soils, surfaces.levels, fineness.coarser)
    layers = size_layers(site, scheme, [wall for _, _, wall in walls], surfaces, fineness, inner)
    modelled, reachable = modelled_area(site, plan, distance)
    rim = crossed_faces(plan, site.outline.exterior)
    # A notch narrower than a cell is crossed twice and lies within the pit on both sides.
    rim = rim.pick(inside[rim.first] != inside[rim.second])
    rim = rim.turned(~inside[rim.first])
    return Frame(
        distance=distance,
        strata=strata,
        plan=plan,
        surfaces=surfaces,
        top=top,
        layers=layers,
        inner=inner,
        inside=inside,
        modelled=modelled,
        reachable=reachable,
        rim=rim,
        rim_factor=staircase_factor(plan, site.outline.exterior, *face_midpoints(plan, rim)),
        warnings=warnings,
    )


def _surfaces(site: Site, strata: Strata, plan: PlanGrid) -> tuple[LayerSurfaces, Floats]:
    """Layer surfaces on plan cells; cells with a boring get it as logged."""
    x, y = (values.ravel().copy() for values in plan.centres)
    ground = site.ground.at(x, y)
    for boring in site.logs.borings:
        row, column = (int(i[0]) for i in plan.cell_of(np.array([boring.x]), np.array([boring.y])))
        if row >= 0:
            cell = row * plan.shape[1] + column
            x[cell], y[cell], ground[cell] = boring.x, boring.y, boring.ground
    return strata.surfaces(x, y, ground), ground
