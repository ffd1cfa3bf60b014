"""Seepage at the floor: exit gradients, and heave of the soil that water flows up through.

EN 1997-1:2004, 2.4.7.5, expression (2.9b), limit state HYD: S_dst;d ≤ G′_stb;d, per area
γ_G;dst·γ_w·(h − z_w) ≤ γ_G;stb·(σ − γ_w·(z_w − z)) over a column from its water table z_w down to
z; or one global factor. Expression (2.9a), γ_G;dst·u ≤ γ_G;stb·σ in total stresses at z, is given
beside it: it factors the hydrostatic part of u too and may need far more. Beside a wall that hangs
in pervious soil the column is Terzaghi's prism, as deep as the embedment and half as wide (Terzaghi
1943). Tight soils (kv below 1e-7 m/s) are left to uplift: seepage does not loosen them grain by
grain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.postprocess.run.ledger import WallEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.face_seepage import foot_of_open_faces
from wellring.postprocess.stability.floor_columns import FloorColumns
from wellring.postprocess.stability.stability_rules import Rules
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]
Plan = NDArray[np.intp]

SAMPLES = 48
"""Columns read across a prism, evenly from the wall inward."""


@dataclass(frozen=True)
class Prisms:
    """Terzaghi's prisms along the walls, one a face of the grid; all (k,).

    `column` is the floor column at the wall; `embedment` and `width` [m]; `seepage` and `weight`
    the means over the prism [Pa]; `total` the utilisation by expression (2.9a); `cells` the columns
    it takes in, `cut` whether the opposite wall cuts it short, `wall` the wall's number in the
    ledger.
    """

    wall: Plan
    column: Plan
    toe: Floats
    embedment: Floats
    width: Floats
    seepage: Floats
    weight: Floats
    utilisation: Floats
    total: Floats
    cells: Plan
    cut: NDArray[np.bool_]
    into_tight: int
    """Faces left out since the toe stands in or below tight soil."""


@dataclass(frozen=True)
class Heave:
    """Seepage at one stage's floor, over its columns (m,).

    Parameters
    ----------
    gradient : upward gradient at the floor; NaN where the soil there is tight.
    critical : critical gradient of that soil.
    column : largest utilisation of the column by itself; NaN where the floor is tight.
    level : level down to which that column reaches [m].
    judged : the prism's utilisation beside walls, the column's own elsewhere; NaN where tight and
        at the foot of open faces.
    foot : the foot of open faces, where neither gradient nor column is judged.
    total : as `judged`, by expression (2.9a); NaN everywhere under a global factor.
    prisms : None where no wall hangs in pervious soil.
    """

    gradient: Floats
    critical: Floats
    column: Floats
    level: Floats
    judged: Floats
    foot: NDArray[np.bool_]
    total: Floats
    prisms: Prisms | None
    into_tight: int


def seepage_heave(
    run: RunFolder, result: StageResult, columns: FloorColumns, rules: Rules
) -> Heave:
    """Exit gradient and heave over the floor of a stage."""
    column = np.arange(columns.plan.size)
    first = columns.first
    tight = columns.tight[first, column]
    half = 0.5 * np.maximum(columns.thickness[first, column], 1e-9)
    # The head at the floor is its level where water leaves it; below it nothing flows out.
    gradient = np.maximum(columns.heads[first, column] - columns.formation, 0.0) / half
    gradient = np.where(tight, np.nan, np.nan_to_num(gradient, nan=0.0))
    seepage, weight = _forces(columns)
    used = np.where(columns.free_draining, rules.heave(weight, seepage), 0.0)
    worst = np.argmax(used, axis=0)
    alone = np.where(tight, np.nan, used[worst, column])
    full = np.where(columns.free_draining, rules.heave_total(columns.stress, columns.pressure), 0.0)
    prisms, covered, into_tight = _prisms(run, result, columns, rules, seepage, weight)
    foot = foot_of_open_faces(run, result, columns.plan)
    judged = np.where(foot, np.nan, alone)
    total = np.where(foot | tight, np.nan, full.max(axis=0))
    if prisms is not None:
        at_wall = covered[0] >= 0
        judged, total = (
            np.where(tight, np.nan, np.where(at_wall, own, values))
            for own, values in zip(covered, (judged, total), strict=True)
        )
    if not rules.partial:
        total = np.full(total.shape, np.nan)
    return Heave(
        gradient,
        columns.critical,
        alone,
        columns.bottom[worst, column],
        judged,
        foot,
        total,
        prisms,
        into_tight,
    )


def _forces(columns: FloorColumns) -> tuple[Floats, Floats]:
    """Seepage force S and submerged weight G′ (nlay, m) [Pa] above each cell's bottom."""
    table = np.where(np.isfinite(columns.table), columns.table, -np.inf)[None, :]
    depth = np.maximum(table - columns.bottom, 0.0)
    with np.errstate(invalid="ignore"):
        seepage = WATER_UNIT_WEIGHT * np.where(depth > 0, columns.head_at - table, 0.0)
    return np.nan_to_num(seepage, nan=0.0), columns.stress - WATER_UNIT_WEIGHT * depth


def _prisms(
    run: RunFolder, result: StageResult, columns: FloorColumns, rules: Rules,
    seepage: Floats, weight: Floats,
) -> tuple[Prisms | None, Floats, int]:  # fmt: skip
    """Prisms of all standing walls, and the largest utilisation of those over each column (2, m).

    By expressions (2.9b) and (2.9a); -1 where there is none.
    """
    stage = run.ledger.stages.index(result.entry) - 1
    covered = np.full((2, columns.plan.size), -1.0)
    parts = [
        _faces_of(run, columns, number, wall)
        for number, wall in enumerate(run.ledger.walls)
        if wall.holds_water and wall.from_stage <= stage and wall.faces
    ]
    if not parts:
        return None, covered, 0
    wall, inside, outside, toe = (np.concatenate(each) for each in zip(*parts, strict=True))
    place = _places(run, columns)
    start = place[inside]
    layer = np.argmin(
        np.where(columns.active[:, start], np.abs(columns.bottom[:, start] - toe), np.inf), axis=0
    )
    embedment = columns.formation - columns.bottom[layer, start]
    hangs = (embedment > 0.05) & (columns.below[layer, start] < columns.active.shape[0])
    free = columns.free_draining[layer, start]
    into_tight = int((hangs & ~free).sum())
    keep = hangs & free
    if not keep.any():
        return None, covered, into_tight
    wall, inside, outside = wall[keep], inside[keep], outside[keep]
    embedment, toe = embedment[keep], toe[keep]
    middle, way = _inward(run, wall, inside, outside)
    wanted = 0.5 * embedment
    share = (np.arange(SAMPLES) + 0.5) / SAMPLES
    at = middle[:, None, :] + way[:, None, :] * (wanted[:, None] * share)[..., None]
    column = place[_plan_cells(run, at)]
    column[:, 0] = place[inside]
    level = (columns.formation - embedment)[:, None]
    away = np.abs(columns.bottom[:, column] - level)
    row = np.argmin(np.where(columns.active[:, column], away, np.inf), axis=0)
    free = (column >= 0) & columns.free_draining[row, column]
    live = np.logical_and.accumulate(free, axis=1)
    count = live.sum(axis=1)
    mean_seepage, mean_weight, mean_stress, mean_pressure = (
        np.where(live, values[row, column], 0.0).sum(axis=1) / count
        for values in (seepage, weight, columns.stress, np.nan_to_num(columns.pressure))
    )
    used = rules.heave(mean_weight, mean_seepage)
    total = rules.heave_total(mean_stress, mean_pressure)
    for own, values in zip(covered, (used, total), strict=True):
        np.maximum.at(own, column[live], np.broadcast_to(values[:, None], live.shape)[live])
    prisms = Prisms(
        wall,
        place[inside],
        toe,
        embedment,
        wanted * count / SAMPLES,
        mean_seepage,
        mean_weight,
        used,
        total,
        1 + ((np.diff(column, axis=1) != 0) & live[:, 1:]).sum(axis=1),
        count < SAMPLES,
        into_tight,
    )
    return prisms, covered, into_tight


def _inward(run: RunFolder, wall: Plan, inside: Plan, outside: Plan) -> tuple[Floats, Floats]:
    """Middle (k, 2) of each face and the wall's own normal there into the pit, in grid axes.

    A wall at an angle to the grid is a staircase of faces, whose prisms must not go along the
    rows: they are as wide as half the embedment across the wall, not along them.
    """
    x, y = (each.ravel() for each in np.meshgrid(*run.local_centres))
    grid = run.ledger.grid
    half = 0.5 * np.column_stack(
        [np.diff(grid.x_edges)[inside % grid.ncol], -np.diff(grid.y_edges)[inside // grid.ncol]]
    )
    step = np.sign(np.column_stack([x[inside] - x[outside], y[inside] - y[outside]]).round(9))
    middle = np.column_stack([x[inside], y[inside]]) - step * half
    way = step.copy()
    for number in np.unique(wall):  # over walls
        own = np.flatnonzero(wall == number)
        line = np.column_stack(run.to_local(*np.array(run.ledger.walls[number].line, float).T))
        begin, along = line[:-1], np.diff(line, axis=0)
        length = np.hypot(*along.T)
        begin, along, length = begin[length > 0], along[length > 0], length[length > 0]
        to = middle[own][:, None, :] - begin
        part = np.clip((to * along).sum(axis=-1) / length**2, 0.0, 1.0)
        gap = np.hypot(*np.moveaxis(to - part[..., None] * along, -1, 0))
        normal = np.column_stack([-along[:, 1], along[:, 0]]) / length[:, None]
        facing = step[own] @ normal.T
        gap[np.abs(facing) < 0.02] = np.inf  # another wall's face, at a corner
        best, every = np.argmin(gap, axis=1), np.arange(own.size)
        found = normal[best] * np.sign(facing[every, best])[:, None]
        way[own] = np.where(np.isfinite(gap[every, best])[:, None], found, step[own])
    return middle, way


def _plan_cells(run: RunFolder, at: Floats) -> Plan:
    """Plan cell of each place (…, 2) in grid axes, the nearest one beyond the grid."""
    grid = run.ledger.grid
    column = np.searchsorted(np.asarray(grid.x_edges), at[..., 0], side="right") - 1
    row = np.searchsorted(-np.asarray(grid.y_edges), -at[..., 1], side="right") - 1
    return np.clip(row, 0, grid.nrow - 1) * grid.ncol + np.clip(column, 0, grid.ncol - 1)


def _faces_of(
    run: RunFolder, columns: FloorColumns, number: int, wall: WallEntry
) -> tuple[Plan, Plan, Plan, Floats]:
    """Faces of a wall between the floor and the ground outside: wall, inside, outside, toe."""
    pairs = np.asarray(wall.faces, dtype=np.intp)
    floor = np.zeros(run.area.size, bool)
    floor[columns.plan] = True
    first, second = floor[pairs[:, 0]], floor[pairs[:, 1]]
    keep = first != second
    inside = np.where(first, pairs[:, 0], pairs[:, 1])[keep]
    outside = np.where(first, pairs[:, 1], pairs[:, 0])[keep]
    return np.full(inside.size, number, np.intp), inside, outside, np.asarray(wall.toes)[keep]


def _places(run: RunFolder, columns: FloorColumns) -> Plan:
    """Floor column (n,) of each plan cell; -1 for none."""
    place = np.full(run.area.size, -1, np.intp)
    place[columns.plan] = np.arange(columns.plan.size)
    return place
