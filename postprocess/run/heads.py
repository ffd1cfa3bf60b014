"""Heads read as an engineer needs them: water table, heads of an aquifer, drawdown, reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.run.ledger import PointEntry
from wellring.postprocess.run.run_folder import RunFolder, StageGrid

Floats = NDArray[np.float64]


def saturated(grid: StageGrid, heads: Floats) -> NDArray[np.bool_]:
    """Cells (nlay, n) that hold water: active, with a head above their bottom."""
    with np.errstate(invalid="ignore"):
        return grid.active & (heads > grid.bottom + 1e-6)


def water_table(grid: StageGrid, heads: Floats) -> Floats:
    """Level of the uppermost water (n,) [m]: the head of the highest cell that holds any.

    Above the ground where the aquifer is artesian; NaN where a column holds no water. Water
    perched on a tight layer counts: it is what a shovel meets first.
    """
    wet = saturated(grid, heads)
    layer = np.argmax(wet, axis=0)
    column = np.arange(wet.shape[1])
    return np.where(wet.any(axis=0), heads[layer, column], np.nan)


def unit_head(grid: StageGrid, heads: Floats, unit: NDArray[np.int16], index: int) -> Floats:
    """Mean head (n,) [m] of one unit over its saturated thickness; NaN where it holds no water."""
    wet = saturated(grid, heads) & (unit == index)
    depth = np.where(wet, np.minimum(heads, grid.top) - grid.bottom, 0.0)
    total = depth.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.where(wet, heads * depth, 0.0).sum(axis=0) / total
    return np.where(total > 0, mean, np.nan)


def level_at(
    grid: StageGrid, heads: Floats, table: Floats, cell: int, level: float | None
) -> float:
    """Water level [m] of a plan cell: its water table, or the head in its cell at `level` [m].

    `heads` (nlay, n) and `table` (n,) [m]. NaN where there is no water, or no cell of the model at
    that level.
    """
    if level is None:
        return float(table[cell])
    holds = (grid.bottom[:, cell] <= level) & (level <= grid.top[:, cell]) & grid.active[:, cell]
    return float(heads[int(np.argmax(holds)), cell]) if holds.any() else float("nan")


def level_at_point(
    run: RunFolder, grid: StageGrid, heads: Floats, table: Floats, point: PointEntry
) -> float:
    """Water level [m] at a named point: bilinear between the centres of the four cells around it.

    That of its own cell alone where a wall that holds water or the pit's edge runs between them,
    where one of them holds no water at that level, and at the grid's edge. NaN outside the grid.
    `heads` (nlay, n) and `table` (n,) [m].
    """
    own = run.plan_cell(point.x, point.y)
    if own is None:
        return float("nan")
    level = level_at(grid, heads, table, own, point.level)
    local_x, local_y = run.to_local(np.array([point.x]), np.array([point.y]))
    x, y = run.local_centres
    column = int(np.searchsorted(x, local_x[0])) - 1
    row = int(np.searchsorted(-y, -local_y[0])) - 1
    if not (0 <= column < x.size - 1 and 0 <= row < y.size - 1) or not np.isfinite(level):
        return level
    corners = np.array([[x[column], y[row]], [x[column + 1], y[row + 1]]])
    if _parted(run, corners):
        return level
    share_x = (local_x[0] - corners[0, 0]) / (corners[1, 0] - corners[0, 0])
    share_y = (local_y[0] - corners[0, 1]) / (corners[1, 1] - corners[0, 1])
    first = row * x.size + column
    cells = (first, first + 1, first + x.size, first + x.size + 1)
    around = np.array([level_at(grid, heads, table, cell, point.level) for cell in cells])
    if not np.isfinite(around).all():
        return level
    weights = np.outer([1 - share_y, share_y], [1 - share_x, share_x]).ravel()
    return float(weights @ around)


def _parted(run: RunFolder, corners: Floats) -> bool:
    """Whether a wall or the pit's edge crosses the box between two local corners (2, 2)."""
    ring = corners[[0, 0, 1, 1, 0], 0], corners[[0, 1, 1, 0, 0], 1]
    box = shapely.polygons(np.column_stack(run.to_site(*ring)))
    lines = [wall.line for wall in run.ledger.walls if wall.holds_water]
    return bool(np.any(shapely.intersects(
        [shapely.linestrings(line) for line in (run.ledger.outline, *lines)], box
    )))  # fmt: skip


@dataclass(frozen=True)
class Drawdowns:
    """Fall of the water (n,) [m] in one stage: of the water table and of each unit's head."""

    table: Floats
    units: dict[str, Floats]

    @property
    def largest(self) -> Floats:
        """The largest fall (n,) over water table and units [m]."""
        with np.errstate(invalid="ignore"):
            return np.fmax.reduce(np.stack([self.table, *self.units.values()]))


def drawdowns(
    run: RunFolder,
    natural: tuple[StageGrid, Floats],
    stage: tuple[StageGrid, Floats],
    columns: NDArray[np.intp] | None = None,
) -> Drawdowns:
    """Drawdown of a stage against the natural state; a column run dry has lost all it had.

    Parameters
    ----------
    natural, stage : grid and heads (nlay, n) [m].
    columns : (n,) plan cells that the given grids and heads are of, all where None.
    """
    unit = run.unit if columns is None else run.unit[:, columns]
    table = _fall(water_table(*natural), water_table(*stage), natural[0].edges[-1])
    units = {}
    for index, entry in enumerate(run.ledger.units):
        before = unit_head(*natural, unit, index)
        after = unit_head(*stage, unit, index)
        inside = unit == index
        floor = np.where(inside & natural[0].active, natural[0].bottom, np.inf).min(axis=0)
        units[entry.label] = _fall(before, after, floor)
    return Drawdowns(table, units)


def _fall(before: Floats, after: Floats, floor: Floats) -> Floats:
    """before − after; where nothing is left, down to the floor of what held water."""
    return before - np.where(np.isnan(after), np.minimum(floor, before), after)


def reach(run: RunFolder, drawdown: Floats, least: float = 0.1) -> float:
    """Greatest distance from the pit's edge [m] at which `drawdown` (n,) is at least `least`."""
    with np.errstate(invalid="ignore"):
        affected = drawdown >= least
    if not affected.any():
        return 0.0
    x, y = run.centres
    outline = shapely.Polygon(run.ledger.outline)
    shapely.prepare(outline)
    return float(shapely.distance(shapely.points(x[affected], y[affected]), outline).max())
