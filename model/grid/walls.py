"""Walls: which hold water back, how much they leak, and where they stand in the grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from wellring.inputs.site.walls import Wall
from wellring.model.grid.faces import PlanFaces, crossed_faces, face_midpoints, staircase_factor
from wellring.model.grid.plan_grid import PlanGrid

Floats = NDArray[np.float64]

DEFAULT_JOINT_RESISTANCE = 3e-7
"""ρ of plain interlocks [m/s]: the middle of 1e-8 (sealed) to 1e-6 (plain); value from memory."""
DEFAULT_PILE_WIDTH = 0.6
"""Width of one pile between joints [m] (common practice, no source)."""
DEFAULT_BODY = {"secant pile": (5e-8, 0.8), "slurry": (5e-9, 0.8)}
"""(k [m/s], thickness [m]) of walls with a body, joints included; value from memory."""


@dataclass(frozen=True)
class Leakage:
    """How a wall leaks: flow per area and head difference [1/s], and where that comes from."""

    conductance: float
    basis: str
    assumed: bool


def wall_leakage(wall: Wall) -> Leakage:
    """Leakage of an intact wall per unit area and unit head difference.

    Sheet pile: ρ/b with the inverse joint resistance ρ [m/s] and pile width b [m], from
    q = ρ·Δp/γw per length of joint (EN 12063). Body walls: k/thickness [1/s].

    Raises
    ------
    ValueError : the wall's kind holds no water.
    """
    if not wall.holds_water:
        raise ValueError(f"a wall of kind '{wall.kind}' holds soil but not water")
    if wall.k is not None and wall.thickness is not None:
        return Leakage(wall.k / wall.thickness, f"k {wall.k:.1e} m/s, {wall.thickness:g} m", False)
    if wall.kind == "sheet pile":
        rho = wall.joint_resistance or DEFAULT_JOINT_RESISTANCE
        width = wall.pile_width or DEFAULT_PILE_WIDTH
        basis = f"ρ {rho:.1e} m/s per joint, a joint every {width:g} m (EN 12063)"
        return Leakage(rho / width, basis, wall.joint_resistance is None)
    if wall.joint_resistance is not None:
        width = wall.pile_width or DEFAULT_PILE_WIDTH
        basis = f"ρ {wall.joint_resistance:.1e} m/s per joint, a joint every {width:g} m"
        return Leakage(wall.joint_resistance / width, basis, False)
    k, thickness = DEFAULT_BODY[wall.kind]
    return Leakage(k / thickness, f"k {k:.1e} m/s, {thickness:g} m", True)


@dataclass(frozen=True)
class PlacedWall:
    """A water-holding wall on the grid: its plan faces with toe, top and leakage, all (m,)."""

    name: str
    wall: Wall
    line: LineString
    faces: PlanFaces
    toe: Floats
    top: Floats
    conductance: Floats
    """Flow per face area and head difference [1/s], staircase and windows included."""
    from_stage: int


def place_wall(
    grid: PlanGrid, name: str, wall: Wall, line: LineString, ground: Floats, from_stage: int
) -> PlacedWall:
    """Put a wall on the grid.

    Parameters
    ----------
    line : the wall's line in site coordinates; toe levels given as a list belong to its corners
        and run straight between them.
    ground : (nrow·ncol,) ground levels, the wall's top where none is given.
    from_stage : index of the first stage in which the wall stands.

    Raises
    ------
    ValueError : the wall's kind holds no water.
    """
    faces = crossed_faces(grid, line)
    x, y = face_midpoints(grid, faces)
    along = shapely.line_locate_point(line, shapely.points(x, y))
    if isinstance(wall.toe, tuple):
        corners = shapely.line_locate_point(line, shapely.points(np.asarray(line.coords)))
        corners[-1] = line.length
        toe = np.interp(along, corners, wall.toe_at_corners(corners.size))
    else:
        toe = np.full(len(faces), wall.toe)
    higher = np.maximum(ground[faces.first], ground[faces.second])
    top = higher if wall.top is None else np.full(len(faces), wall.top)
    conductance = wall_leakage(wall).conductance * staircase_factor(grid, line, x, y)
    for window in wall.windows:
        conductance *= 1.0 + (window.factor - 1.0) * window.shares(along, line.length)
    return PlacedWall(name, wall, line, faces, toe, top, conductance, from_stage)


@dataclass(frozen=True)
class WallCells:
    """A wall's faces cell by cell: nodes on both sides and conductance per area, all (m,)."""

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    area: Floats
    conductance: Floats
    face: NDArray[np.intp]
    """Index into the wall's plan faces."""


def wall_cells(placed: PlacedWall, edges: Floats, present: NDArray[np.bool_]) -> WallCells:
    """The cells that face each other across a wall, between its toe and its top.

    Parameters
    ----------
    edges : (nlay+1, n) layer boundaries [m].
    present : (nlay, n) cells that exist (not pinched out).
    """
    n = edges.shape[1]
    mid = 0.5 * (edges[1:] + edges[:-1])
    thickness = edges[:-1] - edges[1:]
    a, b = placed.faces.first, placed.faces.second
    level = 0.5 * (mid[:, a] + mid[:, b])
    stands = (level > placed.toe) & (level < placed.top) & present[:, a] & present[:, b]
    layer, face = np.nonzero(stands)
    height = 0.5 * (thickness[:, a] + thickness[:, b])[layer, face]
    return WallCells(
        layer * n + a[face],
        layer * n + b[face],
        height * placed.faces.width[face],
        placed.conductance[face],
        face,
    )
