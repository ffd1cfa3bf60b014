"""Everything post-processed of each stage, read once and handed to all subjects."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.heads import Drawdowns, drawdowns, reach, water_table
from wellring.postprocess.run.inflow import Inflow, inflow
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder, StageGrid
from wellring.postprocess.settlement.settlement import Settlement
from wellring.postprocess.water.closed_form import ClosedForm, closed_form
from wellring.postprocess.water.dryness import Dryness, dryness
from wellring.postprocess.water.sump_load import SumpLoad, sump_load

if TYPE_CHECKING:
    from wellring.postprocess.neighbours.neighbours import Effects
    from wellring.postprocess.stability.pump_stop import PumpStop
    from wellring.postprocess.stability.stability import FloorStability
    from wellring.postprocess.travel.travel_times import Travels
    from wellring.postprocess.water.in_time import Course

Floats = NDArray[np.float64]

REACH_DRAWDOWN = 0.1
"""Drawdown [m] whose reach is told."""


@dataclass
class StageResult:
    """Everything post-processed of one stage; fields over cells as in the run folder."""

    entry: StageEntry
    grid: StageGrid
    heads: Floats
    table: Floats
    fall: Drawdowns | None = None
    inflow: Inflow | None = None
    sump: SumpLoad | None = None
    """None where no sump is limited."""
    dryness: Dryness | None = None
    estimate: ClosedForm | None = None
    reach: float | None = None
    settlement: Settlement | None = None
    """Filled by `settlements` when it is first asked."""
    stability: FloorStability | None = None
    """Filled by :func:`wellring.postprocess.stability.stability.stabilities`."""
    course: Course | None = None
    """In the natural state's entry: the run in time, when it is first asked."""
    effects: Effects | None = None
    """In the natural state's entry: what the work does to neighbours, when it is first asked."""
    pump_stop: PumpStop | None = None
    """In the natural state's entry: whether the pumps may stop, when it is first asked."""
    travel: Travels | None = None
    """In the natural state's entry: where contaminated water goes, when it is first asked."""

    @property
    def stays_dry(self) -> bool | None:
        """Whether the clearance is kept and the sump takes what comes; None: not judged."""
        if self.sump is not None and self.sump.floods:
            return False
        return None if self.dryness is None else self.dryness.dry

    @property
    def standing(self) -> Floats:
        """The water table (n,) [m] as sections show it: at formation under a floor of tight soil.

        Pressure in the pores of such a floor may be metres above it; no water stands in the dig.
        """
        if self.dryness is None or self.entry.formation is None:
            return self.table
        tight = self.dryness.plan[np.isnan(self.dryness.depth_below)]
        shown = self.table.copy()
        shown[tight] = np.fmin(shown[tight], self.entry.formation)
        return shown

    def with_heads(self, heads: Floats) -> StageResult:
        """The stage with other heads (nlay, n) [m]; the water table is that under the floor."""
        plan = np.asarray(self.entry.floor, dtype=np.intp)
        grid = StageGrid(self.grid.edges[:, plan], self.grid.active[:, plan])
        table = np.full(heads.shape[1], np.nan)
        table[plan] = water_table(grid, heads[:, plan])
        return replace(self, heads=heads, table=table)


def read_results(run: RunFolder) -> list[StageResult]:
    """Read every stage once and derive what the answers, tables and figures need."""
    results: list[StageResult] = []
    for entry in run.ledger.stages:
        grid, heads = run.grid_of(entry), run.heads(entry)
        result = StageResult(entry, grid, heads, water_table(grid, heads))
        if results:
            natural = results[0]
            result.fall = drawdowns(run, (natural.grid, natural.heads), (grid, heads))
            result.inflow = inflow(run, entry)
            result.sump = sump_load(run, entry, result.inflow)
            result.dryness = dryness(run, entry, grid, heads)
            result.estimate = closed_form(run, entry)
            result.reach = reach(run, result.fall.largest, REACH_DRAWDOWN)
        results.append(result)
    return results
