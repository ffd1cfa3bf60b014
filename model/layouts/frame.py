"""What of a layout follows from shapes alone: strata, grid, layers, the pit's rim."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.read_site import Site
from wellring.inputs.site.site import Scheme
from wellring.inputs.site.walls import Wall
from wellring.model.geology.strata import LayerSurfaces, Strata
from wellring.model.grid.cell_target import COARSEST, least_factor
from wellring.model.grid.clay_sublayers import clay_surfaces
from wellring.model.grid.faces import PlanFaces, crossed_faces, face_midpoints, staircase_factor
from wellring.model.grid.grid_sizes import Fineness, layer_planes, size_plan
from wellring.model.grid.ground import SoilValues
from wellring.model.grid.layers import Layers, make_layers
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.grid.water import modelled_area
from wellring.model.layouts.layout_checks import check_size

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Frame:
    """What of a layout hangs on geometry alone, to be shared by cases of other soils or levels.

    `distance` is the source distance [m] it was made for; `top` the ground's level (n,) [m];
    `inner` (k, n) the surfaces that part clays followed in time [m].
    """

    distance: float
    fineness: Fineness
    """Sizes against the default, a target for the number of cells included."""
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
    wanted = _Wanted(site, scheme, strata, soils, [wall for _, _, wall in walls], standing, places)
    most = site.description.grid.cells
    if most is not None:
        near = distance / fineness.farther
        factor = least_factor(lambda coarser: wanted.count(near, Fineness(coarser)), most)
        if factor == float("inf"):
            faults.add(
                site.file.name,
                "grid.cells",
                most,
                f"at least {wanted.count(near, Fineness(COARSEST)):,} cells for this site",
                "Larger cells show nothing of the pit. Ask for more, or leave grid.cells out.",
            )
            faults.raise_if_any()
        fineness = replace(fineness, coarser=factor * fineness.coarser)
    plan = wanted.plan(distance, fineness)
    check_size(site, plan, None, faults)
    inside = plan.inside(site.outline).ravel()
    surfaces, top = _surfaces(site, strata, plan)
    inner = wanted.inner(surfaces, fineness)
    planes, required = wanted.planes(surfaces, fineness)
    layers = make_layers(surfaces.levels, planes, required, inner)
    modelled, reachable = modelled_area(site, plan, distance)
    rim = crossed_faces(plan, site.outline.exterior)
    # A notch narrower than a cell is crossed twice and lies within the pit on both sides.
    rim = rim.pick(inside[rim.first] != inside[rim.second])
    rim = rim.turned(~inside[rim.first])
    return Frame(
        distance=distance,
        fineness=fineness,
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


@dataclass(frozen=True)
class _Wanted:
    """What decides how a site is cut into cells, for any fineness."""

    site: Site
    scheme: Scheme
    strata: Strata
    soils: dict[str, SoilValues]
    walls: list[Wall]
    standing: list[tuple[Wall, LineString]]
    places: Floats

    def plan(self, distance: float, fineness: Fineness) -> PlanGrid:
        """The plan grid."""
        return size_plan(
            self.site,
            [wall for wall, _ in self.standing],
            [line for _, line in self.standing],
            self.strata.base_level,
            self.places,
            distance,
            fineness,
        )

    def planes(
        self, surfaces: LayerSurfaces, fineness: Fineness
    ) -> tuple[Floats, NDArray[np.bool_]]:
        """Level planes that cut the soils, and which are required."""
        low, high = float(surfaces.levels[-1].min()), float(surfaces.levels[0].max())
        return layer_planes(self.site, self.scheme, self.walls, low, high, fineness)

    def inner(self, surfaces: LayerSurfaces, fineness: Fineness) -> Floats:
        """Surfaces (k, n) that part clays followed in time [m]."""
        soil_of_unit = tuple(unit.soil for unit in self.strata.units)
        levels = surfaces.levels
        return clay_surfaces(
            self.site.description, soil_of_unit, self.soils, levels, fineness.coarser
        )

    @cached_property
    def rough(self) -> LayerSurfaces:
        """Surfaces at the pit's corners and the borings, for the number of layers."""
        xy = np.vstack(
            [
                np.asarray(self.site.outline.exterior.coords),
                [(boring.x, boring.y) for boring in self.site.logs.borings],
            ]
        )
        x, y = xy.T.copy()
        return self.strata.surfaces(x, y, self.site.ground.at(x, y))

    def count(self, distance: float, fineness: Fineness) -> int:
        """About how many cells (rows by columns by layers) the grid has."""
        rows, columns = self.plan(distance, fineness).shape
        layers = (
            self.planes(self.rough, fineness)[0].size + self.inner(self.rough, fineness).shape[0]
        )
        return rows * columns * (layers + self.rough.levels.shape[0] - 1)


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
