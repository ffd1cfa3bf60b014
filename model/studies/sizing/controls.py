"""What sizing reads of every solve: the water under the floor, wells, stability, neighbours.

All arrays have a stage first, natural state left out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.model.runs.stages import SolvedStage
from wellring.postprocess.neighbours.neighbours import effects_on_neighbours
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.stability import stabilities
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

FLOOR, STABILITY, FLOW, LEVEL = "control.floor", "control.stability", "control.flow", "control.well"
NEIGHBOUR = "control.neighbour."


def control_fields(
    run: RunFolder, stages: Sequence[SolvedStage], results: Sequence[StageResult]
) -> dict[str, Floats]:
    """Arrays by name.

    Returns
    -------
    dict : :data:`FLOOR` (stages, n) level of the uppermost water under each floor cell [m];
        :data:`STABILITY` (stages, n) share used of what is allowed against uplift, exit gradient
        and heave; :data:`FLOW` [m³/s] and :data:`LEVEL` [m] (stages, points), the solver's level
        in each point; :data:`NEIGHBOUR` + criterion (stages, features), share used of each
        neighbour's limit. NaN where there is nothing to judge.
    """
    dug = results[1:]
    floor = np.full((len(dug), run.area.size), np.nan)
    used = np.full(floor.shape, np.nan)
    for number, (result, stable) in enumerate(zip(dug, stabilities(run, results)[1:], strict=True)):
        if result.dryness is not None and result.entry.formation is not None:
            below = result.dryness.depth_below
            floor[number, result.dryness.plan] = result.entry.formation - below
        if stable is not None:
            used[number, stable.columns.plan] = stable.used
    settled = [stage.settled for stage in stages if stage.settled is not None]
    found = {
        FLOOR: floor,
        STABILITY: used,
        FLOW: np.array([[state.flow for state in item.states] for item in settled]),
        LEVEL: np.array([[state.level for state in item.states] for item in settled]),
    }
    return found | _neighbours(run, results)


def _neighbours(run: RunFolder, results: Sequence[StageResult]) -> dict[str, Floats]:
    effects = effects_on_neighbours(run, results)
    if effects is None:
        return {}
    shape = (len(effects.stages), len(effects.receptors))
    found: dict[str, Floats] = {}
    for number, stage in enumerate(effects.stages):
        for check in stage.checks:
            rows = found.setdefault(NEIGHBOUR + check.name, np.full(shape, np.nan))
            rows[number] = check.use
    return found
