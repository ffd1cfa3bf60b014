"""What does not fit once a site is on its grid: size of the grid, walls and points beyond it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.read_site import Site
from wellring.inputs.site.site import River
from wellring.model.grid.ground import Ground
from wellring.model.grid.layers import Layers
from wellring.model.grid.plan_grid import PlanGrid
from wellring.model.grid.walls import PlacedWall
from wellring.model.grid.water import DEFAULT_RIVER_WIDTH, NaturalLevels

MOST_PLAN_CELLS = 2_000_000
USUAL_CELLS = 300_000
"""Offered where a site asks for too many: solved in seconds to minutes."""
MOST_CELLS = 10_000_000
"""About 7 GB of the solver's memory."""
TOE_CELLS, TOE_ADVICE = 15, 20
"""Parts of the way under a toe that its first cell may be at most, and that are advised. Measured
at a sheet pile 2 m above the base of 20 m against the exact solution: default cells -2.36 % of the
flow, sublayer and cell of a twentieth of the way -1.48 % (tests/published/)."""
TIGHT = 0.01
"""Ground with less than this part of the vertical conductivity at a toe ends the way under it."""
PERVIOUS = 1e-7
"""Least vertical conductivity [m/s] of ground in which the flow under a toe is looked at."""


def check_extent(site: Site, distance: float, faults: FaultLog) -> None:
    """Refuse a grid that ends before the source of the water, `distance` [m] from the pit.

    Raises
    ------
    InputFaults : grid.extent is too small.
    """
    extent = site.description.grid.extent
    if extent is not None and extent <= distance:
        faults.add(
            site.file.name,
            "grid.extent",
            extent,
            f"an extent beyond the source distance of {distance:.0f} m",
            "Leave it out, or make water.source_distance smaller.",
        )
        faults.raise_if_any()


def check_size(site: Site, plan: PlanGrid, layers: Layers | None, faults: FaultLog) -> None:
    """Refuse a grid that no machine at hand would solve.

    Parameters
    ----------
    layers : None before they are cut: then the plan alone is judged.

    Raises
    ------
    InputFaults : the grid has too many cells.
    """
    rows, columns = plan.shape
    count = rows * columns
    most = MOST_PLAN_CELLS if layers is None else MOST_CELLS
    count *= 1 if layers is None else layers.present.shape[0]
    if count > most:
        where = "cells in plan" if layers is None else "cells"
        faults.add(
            site.file.name,
            "grid",
            f"{count / 1e6:.1f} million {where}",
            f"at most {most / 1e6:g} million",
            f"Set grid.cells, such as cells = {USUAL_CELLS:_}: all sizes are then enlarged alike "
            "until so many do, and a run reports what that costs in accuracy.",
        )
        faults.raise_if_any()


def check_placed(
    site: Site,
    plan: PlanGrid,
    ground: Ground,
    modelled: NDArray[np.bool_],
    walls: list[tuple[str, PlacedWall]],
    faults: FaultLog,
) -> None:
    """Find walls and points beyond the modelled ground, and toes that the grid is coarse for.

    Parameters
    ----------
    modelled : (n,) plan cells that are modelled.
    walls : (place in the site file, wall).
    """
    for place, wall in walls:
        inside = modelled[wall.faces.first] | modelled[wall.faces.second]
        if not inside.any():
            faults.add(
                site.file.name,
                f"{place}.line",
                wall.name,
                "a wall within the modelled ground",
                "Take the wall out, or make water.source_distance larger.",
            )
            continue
        floor = ground.layers.edges[-1][wall.faces.first[inside]]
        below = float((floor - wall.toe[inside]).max())
        if below > 0.01:
            faults.warn(
                f"{place}.toe lies up to {below:.2f} m below the model's floor: nothing flows "
                "under the wall there"
            )
        narrow = _coarse_way(ground, wall.faces.first[inside], wall.toe[inside])
        if narrow is not None:
            way, height = narrow
            faults.warn(
                f"{place}.toe leaves only {way:.1f} m of pervious ground above tight ground or the "
                f"model's floor, in cells {height:.2f} m high: the flow under the wall comes about "
                f"2.4 % too small. grid.sublayer and grid.cell of {way / TOE_ADVICE:.2g} m make it "
                "1.5 %; or take the wall into the tight ground"
            )
    named = site.description.points
    xy = site.crs.to_metres(np.array([[p.x, p.y] for p in named]).reshape(-1, 2))
    rows, columns = plan.cell_of(xy[:, 0], xy[:, 1])
    for point, row, column in zip(named, rows, columns, strict=True):
        if row < 0 or not modelled[row * plan.shape[1] + column]:
            faults.warn(f"point '{point.name}' lies outside the model: no level is told there")


def _coarse_way(
    ground: Ground, plan: NDArray[np.intp], toe: NDArray[np.float64]
) -> tuple[float, float] | None:
    """The narrowest way [m] under toes that has too few cells, and the height [m] of the first.

    Parameters
    ----------
    plan, toe : (m,) plan cells beside the wall and levels of its toe there [m].
    """
    edges, active, kv = ground.layers.edges[:, plan], ground.active[:, plan], ground.kv[:, plan]
    column = np.arange(plan.size)
    below = active & (edges[:-1] <= toe + 1e-6)
    first = np.argmax(below, axis=0)
    around = kv[first, column]
    tight = below & (kv < TIGHT * around)
    end = np.where(tight.any(axis=0), edges[:-1][np.argmax(tight, axis=0), column], edges[-1])
    way, height = toe - end, ground.layers.thickness[first, column]
    coarse = below.any(axis=0) & (around > PERVIOUS) & (way > 0.1) & (height > way / TOE_CELLS)
    if not coarse.any():
        return None
    narrowest = int(np.argmin(np.where(coarse, way, np.inf)))
    return float(way[narrowest]), float(height[narrowest])


def check_natural_level(
    site: Site, levels: NaturalLevels, layers: Layers, inside: NDArray[np.bool_], faults: FaultLog
) -> None:
    """Refuse natural water below the model's floor, and ask about water above the ground.

    Parameters
    ----------
    inside : (n,) plan cells of the pit.

    Raises
    ------
    InputFaults : there is no water in the model.
    """
    water = site.description.water
    key = next(k for k in ("level", "plane", "piezometers") if getattr(water, k) is not None)
    centre = site.outline.centroid
    x, y = np.array([centre.x]), np.array([centre.y])
    ground = float(site.ground.at(x, y)[0])
    found = {soil: float(plane.at(x, y)[0]) for soil, plane in levels.by_soil.items()}
    if site.piezometers is None or not found:
        # Over readings of several aquifers the general level is a mean that stands nowhere.
        found[""] = float(levels.general.at(x, y)[0])
    level = max(found.values())
    floor = float(layers.edges[-1][inside].min()) if inside.any() else -np.inf
    if level <= floor:
        faults.add(
            site.file.name,
            f"water.{key}",
            f"{level:.2f} m at the pit",
            f"a level above the model's floor ({floor:.2f} m)",
            "Below it there is no water to lower. Levels are elevations, not depths.",
        )
        faults.raise_if_any()
    for soil, level in found.items():
        if level > ground + 0.01:
            where = f" in {soil}" if soil else ""
            faults.warn(
                f"the natural water level at the pit{where} is {level:.2f} m, "
                f"{level - ground:.2f} m above the ground: artesian, or a slip of the datum?"
            )


def assumed_widths(site: Site) -> list[str]:
    """What is assumed of rivers given by a line without a width, in words."""
    return [
        f"{boundary.name} {index + 1}: {DEFAULT_RIVER_WIDTH:g} m wide (no width given)"
        for index, boundary in enumerate(site.description.water.boundary)
        if isinstance(boundary, River) and boundary.line is not None and boundary.width is None
    ]


def assumed_means(site: Site) -> list[str]:
    """What natural and steady states take for boundaries that change in time."""
    found = []
    for index, boundary in enumerate(site.description.water.boundary):
        series = site.series.get(f"water.boundary.{index}")
        if series is not None:
            mean = f"{series.usual:.2f} m" if not series.holds else f"{series.usual:.2e} m/s"
            found.append(
                f"steady states take the mean of {series.file} for '{boundary.name}': {mean}"
            )
    return found
