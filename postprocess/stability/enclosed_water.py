"""How high the water may rise under a slab whose ground walls and a plug close off.

Water comes in through the walls from outside and through the plug from the aquifer beneath it. At
rest both are equal, C_w·(h − h_out) = C_p·(h_p − h): with tight walls h is the head beneath the
plug, not the water table outside (own balance of two leaks).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.floor_columns import FloorColumns
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

REACHES = 0.05
"""A toe that ends no more than this [m] above tight soil closes the ground off."""


def enclosed_head(
    run: RunFolder, natural: StageResult, result: StageResult, columns: FloorColumns
) -> float | None:
    """Head [m] under a tight slab at rest; None where the ground under it is not closed off.

    Walls count with their leakage from formation down to tight soil or their toe.

    Parameters
    ----------
    natural, result : the state before the work, and the stage.
    columns : the stage's floor.
    """
    every = np.arange(columns.plan.size)
    tight = columns.tight
    first_tight = np.argmax(tight, axis=0)
    pervious = columns.active & ~tight & (np.arange(tight.shape[0])[:, None] > first_tight)
    beneath = np.argmax(pervious, axis=0)
    plugged = tight.any(axis=0) & pervious.any(axis=0)
    if not plugged.any():
        return None
    top = columns.bottom[first_tight, every] + columns.thickness[first_tight, every]
    walls = _closing(run, result, dict(zip(columns.plan.tolist(), top.tolist(), strict=True)))
    if not walls:
        return None
    above = np.arange(tight.shape[0])[:, None] < beneath
    resistance = np.sum(np.where(above, columns.thickness / columns.kv, 0.0), axis=0)
    leak = np.where(plugged, run.area[columns.plan] / np.maximum(resistance, 1e-30), 0.0)
    heads = natural.heads[:, columns.plan]
    deep, outside = heads[beneath, every], heads[columns.first, every]
    if not (np.isfinite(deep[plugged]).all() and np.isfinite(outside).all()):
        return None
    through_walls = sum(
        leakage * length * max(columns.formation - max(toe, float(top.mean())), 0.0)
        for leakage, length, toe in walls
    )
    pressed = float(np.average(deep[plugged], weights=leak[plugged]))
    level = float(np.average(outside, weights=run.area[columns.plan]))
    if pressed <= level:
        return None
    share = leak.sum() / (leak.sum() + through_walls)
    return level + share * (pressed - level)


def _closing(
    run: RunFolder, result: StageResult, tight_top: dict[int, float]
) -> list[tuple[float, float, float]]:
    """Leakage [1/s], length [m] and mean toe [m] of walls that close the pit down to tight soil.

    Empty where part of the outline has none.

    Parameters
    ----------
    tight_top : by plan cell of the floor, the top of the first tight soil under it [m].
    """
    stage = run.ledger.stages.index(result.entry) - 1
    closed: dict[frozenset[int], float] = {}
    walls = []
    for wall in run.ledger.walls:
        if not wall.holds_water or wall.from_stage > stage or not wall.faces:
            continue
        for pair, toe in zip(wall.faces, wall.toes, strict=True):
            key = frozenset(pair)
            closed[key] = min(toe, closed.get(key, toe))
        walls.append((wall.leakage or 0.0, LineString(wall.line).length, float(np.mean(wall.toes))))
    for inside, outside in run.ledger.rim:
        ends = closed.get(frozenset((inside, outside)))
        limit = tight_top.get(inside)
        if ends is None or (limit is not None and ends > limit + REACHES):
            return []
    return walls
