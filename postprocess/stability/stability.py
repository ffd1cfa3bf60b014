"""Stability of every stage's floor, found once and kept with the stage's results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.site import Slab
from wellring.inputs.site.stability import Stability
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, RunFolder
from wellring.postprocess.stability.face_seepage import FaceSeepage, face_seepage
from wellring.postprocess.stability.floor_check import FloorCheck, check_floor
from wellring.postprocess.stability.floor_columns import FloorColumns, floor_columns
from wellring.postprocess.stability.flotation import Flotation, flotation
from wellring.postprocess.stability.seepage_heave import Heave, seepage_heave
from wellring.postprocess.stability.stability_rules import Rules
from wellring.postprocess.stability.uplift import Uplift, uplift
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FloorStability:
    """What was found of one stage's floor; `heave` is None under a slab, `flotation` without.

    `slab` is what stands on it; `recovered` the floor under the heads that come back when all pumps
    have stopped and relief wells are sealed (:func:`recovered_heads`).
    """

    rules: Rules
    columns: FloorColumns
    uplift: Uplift
    heave: Heave | None
    flotation: Flotation | None
    faces: FaceSeepage | None
    slab: Slab | None
    recovered: FloorCheck

    @property
    def gradient_used(self) -> Floats:
        """Exit gradient over the permitted one (m,); NaN where not judged."""
        if self.heave is None:
            return np.full(self.columns.plan.size, np.nan)
        permitted = self.heave.critical / self.rules.factors["exit_gradient_factor"]
        return np.where(self.heave.foot, np.nan, self.heave.gradient / permitted)

    @property
    def used(self) -> Floats:
        """The largest utilisation of uplift, heave and exit gradient (m,); NaN where none."""
        parts = [self.uplift.utilisation, self.gradient_used]
        if self.heave is not None:
            parts.append(self.heave.judged)
        return np.fmax.reduce(np.stack(parts))


def slabs(run: RunFolder) -> dict[str, Slab]:
    """The slab that stands in each stage, by the stage's name; a slab stays once it is cast."""
    if not (run.path / DESCRIPTION_FILE).is_file():
        return {}
    found: dict[str, Slab] = {}
    last: Slab | None = None
    for stage in run.description.excavation.stages:
        last = stage.slab or last
        if last is not None:
            found[stage.name] = last
    return found


def stabilities(run: RunFolder, results: Sequence[StageResult]) -> list[FloorStability | None]:
    """Stability of each of `results` (natural state first); None where there is no floor."""
    standing = slabs(run)
    there = (run.path / DESCRIPTION_FILE).is_file()
    given = run.description.stability if there else Stability()
    rules = Rules.of(given, bool(standing))
    for result in results[1:]:
        if result.stability is None and result.entry.floor and result.entry.formation is not None:
            result.stability = _stability(run, results[0], result, rules, standing)
    return [result.stability for result in results]


def _stability(
    run: RunFolder, natural: StageResult, result: StageResult, rules: Rules,
    standing: dict[str, Slab],
) -> FloorStability:  # fmt: skip
    slab = standing.get(result.entry.name)
    columns = floor_columns(run, result, slab.weight if slab else 0.0)
    before = natural.heads[:, columns.plan]
    return FloorStability(
        rules,
        columns,
        uplift(columns, rules),
        None if slab else seepage_heave(run, result, columns, rules),
        flotation(run, before, result, columns, slab, rules) if slab else None,
        face_seepage(run, result),
        slab,
        check_floor(run, result, recovered_heads(natural, result), rules, slab, lightest=columns),
    )


def recovered_heads(natural: StageResult, result: StageResult) -> Floats:
    """Heads (nlay, n) [m] once all pumps have stopped: natural ones, or the stage's where higher.

    An upper bound as long as no flood, series or recharge raises the water above both.
    """
    return np.where(result.grid.active, np.maximum(natural.heads, result.heads), np.nan)
