"""Water that stands in the dig's own ground before the work: a steady state never pumps it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.postprocess.run.heads import saturated
from wellring.postprocess.run.run_folder import RunFolder, StageGrid
from wellring.postprocess.water.dryness import TIGHT

if TYPE_CHECKING:
    from wellring.postprocess.operation.operations import StageOperation
    from wellring.postprocess.stage_results import StageResult

WORTH_TELLING = 0.1
"""Share of all steady discharge beyond which what is left out of it is told."""


def drainable(run: RunFolder, grid: StageGrid, heads: NDArray[np.float64]) -> float:
    """Water [m³] that the ground of the dig would let go: saturated volume times specific yield.

    Soil of a kv below :data:`TIGHT` keeps its water.

    Parameters
    ----------
    heads : (nlay, n) [m].
    """
    plan = np.asarray(run.ledger.inside, dtype=np.intp)
    soils = [run.ledger.soils[unit.soil] for unit in run.ledger.units]
    yields = np.array([0.0 if soil.kv < TIGHT else soil.sy for soil in soils])
    wet = saturated(grid, heads)[:, plan]
    depth = np.minimum(heads[:, plan], grid.top[:, plan]) - grid.bottom[:, plan]
    depth = np.where(wet, depth, 0.0)
    return float((depth * yields[run.unit[:, plan]] * run.area[plan]).sum())


def stored_warnings(
    run: RunFolder, results: Sequence[StageResult], stages: Sequence[StageOperation]
) -> list[str]:
    """What the steady discharge leaves out, where that is much beside it, as in a closed box."""
    steady = [
        (stage, result)
        for stage, result in zip(stages, results[1:], strict=True)
        if not stage.water.followed and stage.made.pumps
    ]
    if not steady:
        return []
    before = drainable(run, results[0].grid, results[0].heads)
    stored, last = max(
        ((before - drainable(run, result.grid, result.heads), stage) for stage, result in steady),
        key=lambda each: each[0],
    )
    rate = last.water.steady
    week = 7 * DAY
    told = sum(
        stage.water.steady * week if stage.water.volume is None else stage.water.volume
        for stage in stages
    )
    if stored <= max(WORTH_TELLING * told, 1.0):
        return []
    longer = f" (it gives as much in {stored / rate / DAY:,.0f} days)" if rate > 0 else ""
    return [
        f"operation: about {stored:,.0f} m³ stand in the pores of the dig's own ground before the "
        f"work, above the levels of '{last.entry.name}', and must be pumped out first. The steady "
        f"discharge of {rate * 3600:.1f} m³/h, its volume and its cost leave them out{longer}: "
        "size pumps, tank and permit for them, and add [time] to follow the first days"
    ]
