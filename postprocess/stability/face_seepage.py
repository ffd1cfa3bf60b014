"""Water that seeps out of open faces: how much of their height, and how steep its gradient is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

SEEPS = 1e-9
"""Flow per area [m/s] from which a face counts as seeping."""

FOOT = 1.0
"""Width [m] of the floor along open faces that is not judged by its gradient (own choice): toward
the foot of a vertical face the exact gradient grows without bound, so the model's follows its
cells."""


@dataclass(frozen=True)
class FaceSeepage:
    """Largest horizontal gradient over the wet part of an open face's cell, and where [m].

    `top` is the highest level of seepage, `area` [m²] the wet area.
    """

    gradient: float
    x: float
    y: float
    level: float
    top: float
    area: float


def face_seepage(run: RunFolder, result: StageResult) -> FaceSeepage | None:
    """Seepage of a stage's open faces, Darcy's i = q/(kh·A) from the model's own flows.

    A is the wet height of the cell behind the face by the face's width; None where none seeps.
    """
    node, flow = run.package_flows(result.entry, "drn_faces")
    if not node.size:
        return None
    n = run.area.size
    total = np.zeros(result.heads.size)
    np.add.at(total, node, -flow)
    node = np.unique(node)
    layer, plan = np.divmod(node, n)
    width = _face_widths(run)[plan]
    bottom, top = result.grid.bottom[layer, plan], result.grid.top[layer, plan]
    wet = np.clip(np.nan_to_num(result.heads[layer, plan] - bottom, nan=0.0), 0.0, top - bottom)
    kh = np.array([run.ledger.soils[unit.soil].kh for unit in run.ledger.units])
    area = wet * width
    seeps = (area > 0) & (total[node] > SEEPS * area)
    if not seeps.any():
        return None
    gradient = np.where(seeps, total[node] / np.maximum(kh[run.unit[layer, plan]] * area, 1e-30), 0)
    worst = int(np.argmax(gradient))
    x, y = run.centres
    return FaceSeepage(
        float(gradient[worst]),
        float(x[plan[worst]]),
        float(y[plan[worst]]),
        float(bottom[worst]),
        float((bottom + wet)[seeps].max()),
        float(area[seeps].sum()),
    )


def foot_of_open_faces(
    run: RunFolder, result: StageResult, plan: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Which of the floor's plan cells (m,) have their middle within :data:`FOOT` of an open face.

    Open is every face of the pit, dug in modelled ground, without a wall that holds water now.
    """
    from scipy.spatial import KDTree

    stage, n = run.ledger.stages.index(result.entry) - 1, run.area.size
    rim = np.asarray(run.ledger.rim, dtype=np.intp).reshape(-1, 2)
    walled = [
        pair
        for wall in run.ledger.walls
        if wall.holds_water and wall.from_stage <= stage
        for pair in wall.faces
    ]
    pairs = np.sort(np.asarray(walled, dtype=np.intp).reshape(-1, 2), axis=1)
    keys = np.sort(rim, axis=1) @ np.array([n, 1])
    grid_top = np.where(result.grid.active, result.grid.top, -np.inf).max(axis=0)
    dug = grid_top[rim[:, 1]] > (result.entry.formation or 0.0) + 1e-3
    first, second = rim[dug & ~np.isin(keys, pairs @ np.array([n, 1]))].T
    if not first.size:
        return np.zeros(plan.size, bool)
    grid = run.ledger.grid
    x, y = (each.ravel() for each in np.meshgrid(*run.local_centres))
    half_x, half_y = 0.5 * np.diff(grid.x_edges), -0.5 * np.diff(grid.y_edges)
    row, column = np.divmod(first, grid.ncol)
    step_row, step_column = row - second // grid.ncol, column - second % grid.ncol
    # Middle of each face, from the cell inside toward the one outside.
    at = np.column_stack(
        [x[first] - step_column * half_x[column], y[first] + step_row * half_y[row]]
    )
    distance, _ = KDTree(at).query(np.column_stack([x[plan], y[plan]]))
    return distance <= FOOT + 1e-6


def _face_widths(run: RunFolder) -> Floats:
    """Width (n,) [m] of the pit's faces before each plan cell outside."""
    grid, n = run.ledger.grid, run.area.size
    inside, outside = np.asarray(run.ledger.rim, dtype=np.intp).reshape(-1, 2).T
    row, column = np.divmod(outside, grid.ncol)
    beside = np.abs(inside - outside) == 1
    widths = np.where(beside, -np.diff(grid.y_edges)[row], np.diff(grid.x_edges)[column])
    found = np.zeros(n)
    np.add.at(found, outside, widths)
    return found
