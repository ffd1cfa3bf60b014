"""The ground under a floor, column by column: weight above, and water pressure at, every boundary.

Total stress counts from formation down, with what a slab adds. A soil above its water weighs
γ_sat − γ_w·S_y; a tight soil (kv below 1e-7 m/s) keeps its water by suction and weighs γ_sat.
Arrays over cells are (nlay, m), m floor columns; boundaries are the bottoms of the cells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.effective_stress import Weights
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.dryness import TIGHT

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

PLUG_CONTRAST = 100.0
"""How many times as pervious the soil beneath must be for the ground above it to act as a plug,
where that ground is not tight in itself (own choice)."""


@dataclass(frozen=True)
class FloorColumns:
    """Columns of one stage's floor.

    Parameters
    ----------
    plan : (m,) plan cells.
    formation : level of the floor [m].
    active, tight : (nlay, m) cells that remain; those of soil that holds its water.
    kv : (nlay, m) vertical conductivity [m/s].
    bottom, thickness : (nlay, m) [m]; thickness counts below formation, 0 where not active.
    heads : (nlay, m) [m].
    unit : (nlay, m) stratigraphic unit.
    below : (nlay, m) layer of the next active cell beneath; nlay where there is none.
    stress : (nlay, m) total stress at the bottom of the cell [Pa].
    head_at : (nlay, m) head at the bottom of the cell [m]; NaN where nothing lies beneath.
    table : (m,) level of the uppermost water, formation at most [m]; NaN where dry.
    critical : (m,) critical gradient (γ_sat − γ_w)/γ_w of the soil at formation.
    """

    plan: NDArray[np.intp]
    formation: float
    active: Flags
    tight: Flags
    kv: Floats
    bottom: Floats
    thickness: Floats
    heads: Floats
    unit: NDArray[np.int16]
    below: NDArray[np.intp]
    stress: Floats
    head_at: Floats
    table: Floats
    critical: Floats

    @property
    def first(self) -> NDArray[np.intp]:
        """Layer (m,) of the first cell under the floor."""
        return np.argmax(self.active, axis=0)

    @property
    def pressure(self) -> Floats:
        """Water pressure (nlay, m) [Pa] at the bottom of each cell."""
        return WATER_UNIT_WEIGHT * np.maximum(self.head_at - self.bottom, 0.0)

    @property
    def free_draining(self) -> Flags:
        """Cells (nlay, m) with no tight soil in them nor between them and the floor."""
        return self.active & ~np.logical_or.accumulate(self.tight, axis=0)

    @property
    def plugged(self) -> Flags:
        """Boundaries (nlay, m) under a plug, whose pressure cannot escape upward in useful time.

        Something above is tight, or much less pervious than the soil beneath the boundary.
        """
        beneath = np.minimum(self.below, self.kv.shape[0] - 1)
        beneath_kv = np.take_along_axis(self.kv, beneath, axis=0)
        least = np.minimum.accumulate(np.where(self.active, self.kv, np.inf), axis=0)
        return least < np.maximum(TIGHT, beneath_kv / PLUG_CONTRAST)


def floor_columns(run: RunFolder, result: StageResult, surcharge: float = 0.0) -> FloorColumns:
    """The columns under a stage's floor.

    The head at a boundary is that between the two cells' middles which passes the same flow
    through both halves (kv in series): under a tight soil nearly that of the soil beneath.

    Parameters
    ----------
    surcharge : what a slab adds on the floor [Pa].
    """
    entry, grid = result.entry, result.grid
    assert entry.formation is not None
    plan = np.asarray(entry.floor, dtype=np.intp)
    active, heads = grid.active[:, plan], result.heads[:, plan]
    top, bottom = grid.top[:, plan], grid.bottom[:, plan]
    unit = run.unit[:, plan]
    soils = [run.ledger.soils[each.soil] for each in run.ledger.units]
    kv, weights = np.array([soil.kv for soil in soils]), Weights.of(run)
    tight = active & (kv[unit] < TIGHT)
    thickness = np.where(active, np.maximum(np.minimum(top, entry.formation) - bottom, 0.0), 0.0)
    with np.errstate(invalid="ignore"):
        wet = np.clip(np.nan_to_num(heads - bottom, nan=0.0), 0.0, thickness)
    load = weights.saturated[unit] * thickness
    drained = np.where(tight, 0.0, thickness - wet)
    load -= WATER_UNIT_WEIGHT * weights.specific_yield[unit] * drained
    below = _next_active(active)
    first, column = np.argmax(active, axis=0), np.arange(plan.size)
    saturated = weights.saturated[unit[first, column]]
    return FloorColumns(
        plan=plan,
        formation=entry.formation,
        active=active,
        tight=tight,
        kv=kv[unit],
        bottom=bottom,
        thickness=thickness,
        heads=heads,
        unit=unit,
        below=below,
        stress=np.cumsum(load, axis=0) + surcharge,
        head_at=_boundary_heads(heads, bottom, top - bottom, kv[unit], active, below),
        table=np.minimum(result.table[plan], entry.formation),
        critical=(saturated - WATER_UNIT_WEIGHT) / WATER_UNIT_WEIGHT,
    )


def _next_active(active: Flags) -> NDArray[np.intp]:
    """Layer (nlay, m) of the nearest active cell beneath each; nlay where there is none."""
    nlay = active.shape[0]
    layer = np.where(active, np.arange(nlay)[:, None], nlay)
    nearest = np.minimum.accumulate(layer[::-1], axis=0)[::-1]
    return np.vstack([nearest[1:], np.full((1, active.shape[1]), nlay)])


def _boundary_heads(
    heads: Floats, bottom: Floats, height: Floats, kv: Floats, active: Flags,
    below: NDArray[np.intp],
) -> Floats:  # fmt: skip
    nlay = active.shape[0]
    lower = np.minimum(below, nlay - 1)
    head_below = np.take_along_axis(heads, lower, axis=0)
    over = 0.5 * height / kv
    under = np.take_along_axis(over, lower, axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        between = (heads * under + head_below * over) / (over + under)
        # Above a dry cell nothing presses from beneath; under one its own water does.
        found = np.where(heads > bottom, between, head_below)
        found = np.where(head_below > bottom, found, bottom)
    return np.where(active & (below < nlay), found, np.nan)
