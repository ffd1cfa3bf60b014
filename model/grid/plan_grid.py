"""The grid in plan: rotated to the pit, fine at its edges, walls and wells, coarse far off.

Arrays over plan cells have the shape (nrow, ncol) of MODFLOW's DIS: row 0 is the row of largest
local y, column 0 of smallest local x. Local axes are the site's axes turned by `rotation`
(anticlockwise, radians) about `origin`, the lower left corner of the grid.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from wellring.model.grid.graded import Key, graded_edges, merged_lines
from wellring.model.grid.point_rows import ROW_OF

Floats = NDArray[np.float64]

_ALIGNED_DEGREES = 0.5
"""An edge of the pit within this angle of a grid axis gets a grid line exactly on it."""

_NUDGE = np.array([1.0e-6, 1.618e-6])
"""How far lines are moved [m] before their lengths in cells are taken."""


@dataclass(frozen=True)
class PlanGrid:
    """A rectilinear grid in plan.

    Parameters
    ----------
    x_edges : (ncol+1,) local x of the column edges, ascending [m], from 0.
    y_edges : (nrow+1,) local y of the row edges, descending [m], to 0.
    origin : site coordinates of the lower left corner [m].
    rotation : angle of local x from site x, anticlockwise [rad].
    """

    x_edges: Floats
    y_edges: Floats
    origin: tuple[float, float]
    rotation: float

    @property
    def shape(self) -> tuple[int, int]:
        """(nrow, ncol)."""
        return self.y_edges.size - 1, self.x_edges.size - 1

    @property
    def delr(self) -> Floats:
        """Column widths (ncol,) [m]."""
        return np.diff(self.x_edges)

    @property
    def delc(self) -> Floats:
        """Row heights (nrow,) [m]."""
        return -np.diff(self.y_edges)

    @property
    def area(self) -> Floats:
        """Cell areas (nrow, ncol) [m²]."""
        return self.delc[:, None] * self.delr[None, :]

    @property
    def local_centres(self) -> tuple[Floats, Floats]:
        """Local x (ncol,) and y (nrow,) of the cell centres [m]."""
        x = 0.5 * (self.x_edges[1:] + self.x_edges[:-1])
        y = 0.5 * (self.y_edges[1:] + self.y_edges[:-1])
        return x, y

    @property
    def centres(self) -> tuple[Floats, Floats]:
        """Site x and y (nrow, ncol) of the cell centres [m]."""
        x, y = self.local_centres
        grid_x, grid_y = np.meshgrid(x, y)
        return self.to_site(grid_x, grid_y)

    def to_site(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Local to site coordinates (any shape) [m]."""
        cos, sin = np.cos(self.rotation), np.sin(self.rotation)
        return self.origin[0] + cos * x - sin * y, self.origin[1] + sin * x + cos * y

    def to_local(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Site to local coordinates (any shape) [m]."""
        cos, sin = np.cos(self.rotation), np.sin(self.rotation)
        dx, dy = np.asarray(x) - self.origin[0], np.asarray(y) - self.origin[1]
        return cos * dx + sin * dy, -sin * dx + cos * dy

    def local_geometry(self, geometry: BaseGeometry) -> BaseGeometry:
        """A site geometry in local coordinates."""
        return shapely.transform(
            geometry, lambda xy: np.column_stack(self.to_local(xy[:, 0], xy[:, 1]))
        )

    def cell_of(self, x: Floats, y: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """(row, column) of the cells that hold site points (n,); −1 outside the grid."""
        local_x, local_y = self.to_local(np.asarray(x, float), np.asarray(y, float))
        column = np.searchsorted(self.x_edges, local_x, side="right") - 1
        row = np.searchsorted(-self.y_edges, -local_y, side="right") - 1
        nrow, ncol = self.shape
        outside = (column < 0) | (column >= ncol) | (row < 0) | (row >= nrow)
        return np.where(outside, -1, row), np.where(outside, -1, column)

    def inside(self, polygon: BaseGeometry) -> NDArray[np.bool_]:
        """Mask (nrow, ncol) of cells whose centre lies in a site polygon."""
        local = self.local_geometry(polygon)
        x, y = self.local_centres
        grid_x, grid_y = np.meshgrid(x, y)
        shapely.prepare(local)
        return shapely.contains_xy(local, grid_x, grid_y)

    def distance_to(self, geometry: BaseGeometry) -> Floats:
        """Distance (nrow, ncol) of the cell centres from a site geometry [m]."""
        x, y = self.centres
        return shapely.distance(shapely.points(x, y), geometry)

    def length_in_cells(self, line: BaseGeometry) -> Floats:
        """Length (nrow, ncol) of a site line inside each cell [m]."""
        # Moved a little, so that a line on a grid line is in the cells of one side only.
        local = shapely.transform(self.local_geometry(line), lambda xy: xy + _NUDGE)
        lengths = np.zeros(self.shape)
        rows, columns = self._window(local)
        if rows.size and columns.size:
            boxes = shapely.box(
                self.x_edges[columns][None, :],
                self.y_edges[rows + 1][:, None],
                self.x_edges[columns + 1][None, :],
                self.y_edges[rows][:, None],
            )
            shapely.prepare(local)
            touched = shapely.intersects(local, boxes)
            part = np.zeros(boxes.shape)
            part[touched] = shapely.length(shapely.intersection(local, boxes[touched]))
            lengths[np.ix_(rows, columns)] = part
        return lengths

    def _window(self, local: BaseGeometry) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        low_x, low_y, high_x, high_y = local.bounds
        columns = np.flatnonzero((self.x_edges[1:] >= low_x) & (self.x_edges[:-1] <= high_x))
        rows = np.flatnonzero((self.y_edges[:-1] >= low_y) & (self.y_edges[1:] <= high_y))
        return rows, columns


def grid_direction(outline: Polygon) -> float:
    """Angle [rad] of the pit's long axis: the direction most of its outline runs along.

    Edges vote with their length for their direction modulo 90°; the long side of the pit in that
    frame becomes local x. A round pit, whose edges agree on nothing, lies along its smallest
    rectangle.
    """
    xy = np.asarray(outline.exterior.coords)
    edges = np.diff(xy, axis=0)
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    angles = np.mod(np.arctan2(edges[:, 1], edges[:, 0]), np.pi / 2)
    apart = np.abs(angles[:, None] - angles[None, :])
    near = np.minimum(apart, np.pi / 2 - apart) <= np.radians(_ALIGNED_DEGREES)
    votes = (near * lengths[None, :]).sum(axis=1)
    angle = float(angles[int(np.argmax(votes))])
    if votes.max() < 0.3 * lengths.sum():
        box = np.asarray(outline.minimum_rotated_rectangle.exterior.coords)
        side = box[1] - box[0]
        angle = float(np.mod(np.arctan2(side[1], side[0]), np.pi / 2))
    cos, sin = np.cos(angle), np.sin(angle)
    along = xy @ np.array([cos, sin])
    across = xy @ np.array([-sin, cos])
    if np.ptp(across) > np.ptp(along) * 1.000001:
        angle -= np.pi / 2
    return angle if angle > 1e-9 or angle < -1e-9 else 0.0


@dataclass(frozen=True)
class PlanChoices:
    """Sizes of the plan grid [m]: cells at the pit, walls, wells; growth; the largest far cell."""

    cell: float
    wall_cell: float
    well_cell: float
    growth: float
    largest: float
    extent: float
    rotation: float | None = None


@dataclass(frozen=True)
class HeadLine:
    """A boundary line that the grid should meet.

    `size_at` gives the cell wanted at a piece of it (site coordinates) [m]. `centred` puts cell
    centres on stretches that run with the grid (for held levels), otherwise cell edges (for
    impervious edges).
    """

    shape: LineString
    size_at: Callable[[BaseGeometry], float]
    centred: bool


def make_plan_grid(
    outline: Polygon,
    lines: list[BaseGeometry],
    points: Floats,
    choices: PlanChoices,
    head_lines: Sequence[HeadLine] = (),
    dense: tuple[Floats, Floats] | None = None,
) -> PlanGrid:
    """The plan grid around a pit.

    Parameters
    ----------
    outline : the excavation in site coordinates.
    lines : walls and other lines that need fine cells along them.
    points : (n, 2) wells and named points, that need cells of `choices.well_cell`.
    choices : sizes; the grid reaches `choices.extent` beyond the outline on every side.
    head_lines : boundaries that the grid should meet.
    dense : places (m, 2) of points in rows and the cells (m,) [m] wanted along these rows; such
        points get no grid line of their own, but cells are centred on a row along an axis.
    """
    angle = grid_direction(outline) if choices.rotation is None else choices.rotation
    frame = PlanGrid(np.zeros(2), np.zeros(2), (0.0, 0.0), angle)
    keys: tuple[list[Key], list[Key]] = ([], [])
    fixed: tuple[list[float], list[float]] = ([], [])
    sized = [(outline.exterior, choices.cell), *((line, choices.wall_cell) for line in lines)]
    for geometry, cell in sized:
        for path in shapely.get_parts(frame.local_geometry(geometry)):
            _add_path(np.asarray(path.coords), cell, keys, fixed)
    if len(points):
        for axis, values in enumerate(frame.to_local(points[:, 0], points[:, 1])):
            keys[axis].extend(Key(float(v), float(v), choices.well_cell) for v in values)
            _centre_cells(np.unique(np.round(values, 3)), choices.well_cell, fixed[axis])
    if dense is not None and len(dense[0]):
        _add_rows(np.column_stack(frame.to_local(*dense[0].T)), dense[1], keys, fixed)
    for head_line in head_lines:
        _add_head_line(head_line, frame, choices.largest, keys, fixed)
    low_x, low_y, high_x, high_y = frame.local_geometry(outline).bounds
    spans = ((low_x, high_x), (low_y, high_y))
    edges = [
        graded_edges(
            low - choices.extent,
            high + choices.extent,
            tuple(keys[axis]),
            merged_lines(fixed[axis], 0.45 * choices.cell),
            choices.growth,
            choices.largest,
        )
        for axis, (low, high) in enumerate(spans)
    ]
    origin_x, origin_y = frame.to_site(edges[0][0], edges[1][0])
    return PlanGrid(
        edges[0] - edges[0][0],
        (edges[1] - edges[1][0])[::-1].copy(),
        (float(origin_x), float(origin_y)),
        angle,
    )


def _centre_cells(values: Floats, size: float, fixed: list[float]) -> None:
    """Grid lines half a cell to both sides of points, where no other line is near.

    A well stands for its whole cell, so one in the corner of a cell pumps half a cell away.
    """
    for value in values.tolist():
        pair = (value - 0.5 * size, value + 0.5 * size)
        sides = np.array([*pair, value])
        if not fixed or np.abs(np.subtract.outer(fixed, sides)).min() >= 0.45 * size:
            fixed.extend(pair)


def _add_rows(
    xy: Floats, sizes: Floats, keys: tuple[list[Key], list[Key]], fixed: tuple[list[float], ...]
) -> None:
    """Cells of the wanted sizes at dense points (m, 2), and cells centred on rows along an axis."""
    for axis in (0, 1):
        places, rows = np.unique(np.round(xy[:, axis], 2), return_inverse=True)
        for index, place in enumerate(places.tolist()):
            own = rows == index
            keys[axis].append(Key(place, place, float(sizes[own].min())))
            if own.sum() >= ROW_OF:
                _centre_cells(np.array([place]), float(sizes[own].min()), fixed[axis])


def _add_head_line(
    line: HeadLine,
    frame: PlanGrid,
    largest: float,
    keys: tuple[list[Key], list[Key]],
    fixed: tuple[list[float], list[float]],
) -> None:
    """Cells along a boundary; oblique edges are cut into pieces with sizes of their own.

    Pieces that ask for no less than the `largest` cell [m] change nothing and are left out.
    """
    for start, end in pairwise(line.shape.coords):
        edge = LineString([start, end])
        local = np.asarray(frame.local_geometry(edge).coords)
        size = line.size_at(edge)
        if _axis_along(local) is not None:
            _add_path(local, size, keys, fixed, 0.5 * size if line.centred else 0.0)
            continue
        pieces = shapely.get_coordinates(shapely.segmentize(edge, 2 * largest))
        for piece in map(LineString, pairwise(pieces)):
            if line.size_at(piece) < largest:
                local = np.asarray(frame.local_geometry(piece).coords)
                _add_path(local, line.size_at(piece), keys, fixed)


def _axis_along(xy: Floats) -> int | None:
    """The axis (0: x, 1: y) of which a local edge (2, 2) lies on a line, or None."""
    run = np.abs(np.diff(xy, axis=0)[0])
    limit = np.tan(np.radians(_ALIGNED_DEGREES))
    for axis in (0, 1):
        if run[1 - axis] > 0 and run[axis] <= limit * run[1 - axis]:
            return axis
    return None


def _add_path(
    xy: Floats,
    cell: float,
    keys: tuple[list[Key], list[Key]],
    fixed: tuple[list[float], list[float]],
    apart: float = 0.0,
) -> None:
    """Fine cells along a local path; grid lines exactly on its edges that run with the axes.

    With `apart` the lines lie that far on both sides instead, so that cell centres are on it.
    """
    limit = np.tan(np.radians(_ALIGNED_DEGREES))
    for (x0, y0), (x1, y1) in pairwise(xy):
        run = (abs(x1 - x0), abs(y1 - y0))
        aligned = _axis_along(np.array([(x0, y0), (x1, y1)]))
        for axis, (a, b) in enumerate(((x0, x1), (y0, y1))):
            if axis == aligned:  # the edge lies on a line of this axis
                middle = float(0.5 * (a + b))
                fixed[axis].extend([middle - apart, middle + apart] if apart else [middle])
                keys[axis].append(Key(0.5 * (a + b), 0.5 * (a + b), cell))
            else:
                keys[axis].append(Key(float(a), float(a), cell))
                keys[axis].append(Key(float(b), float(b), cell))
                if run[1 - axis] > limit * run[axis]:  # an oblique edge: fine all along it
                    keys[axis].append(Key(min(a, b), max(a, b), cell))
