"""Vertical total stress, pore pressure and effective stress in every cell, from heads and weights.

Terzaghi's principle: σ' = σ − u. Above the water the pore pressure is zero (suction is left out)
and the soil weighs γ_sat − γ_w·S_y: it has lost the water of its specific yield and keeps the
rest. Arrays over cells are (nlay, n), stresses in Pa, compression positive.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.postprocess.run.run_folder import RunFolder, StageGrid

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Weights:
    """Saturated unit weight [N/m³] and specific yield [-] of each unit (units,)."""

    saturated: Floats
    specific_yield: Floats

    @classmethod
    def of(cls, run: RunFolder) -> Weights:
        """The weights of a run's units, from its ledger."""
        soils = [run.ledger.soils[unit.soil] for unit in run.ledger.units]
        return cls(np.array([s.weight for s in soils]), np.array([s.sy for s in soils]))


def wet_depth(grid: StageGrid, heads: Floats) -> Floats:
    """Water-filled height (nlay, n) [m] of each cell; 0 in cells left out or without a head."""
    with np.errstate(invalid="ignore"):
        depth = np.clip(heads - grid.bottom, 0.0, grid.top - grid.bottom)
    return np.where(grid.active & np.isfinite(depth), depth, 0.0)


def pore_pressure(grid: StageGrid, heads: Floats) -> Floats:
    """Mean pore pressure (nlay, n) [Pa] over each cell: hydrostatic in the cell, 0 above water.

    The mean of γ_w·max(h − z, 0) over a cell from b to t is
    γ_w·(max(h − b, 0)² − max(h − t, 0)²) / 2(t − b), for full, partly full and dry cells alike.
    """
    thickness = grid.top - grid.bottom
    with np.errstate(invalid="ignore", divide="ignore"):
        above_bottom = np.maximum(heads - grid.bottom, 0.0)
        above_top = np.maximum(heads - grid.top, 0.0)
        mean = WATER_UNIT_WEIGHT * (above_bottom**2 - above_top**2) / (2.0 * thickness)
    return np.where(grid.active & np.isfinite(mean), mean, 0.0)


def total_stress(
    grid: StageGrid, heads: Floats, unit: NDArray[np.int16], weights: Weights
) -> Floats:
    """Vertical total stress (nlay, n) [Pa] in the middle of each cell, from the ground down."""
    thickness = np.where(grid.active, grid.top - grid.bottom, 0.0)
    drained = thickness - wet_depth(grid, heads)
    load = weights.saturated[unit] * thickness
    load -= WATER_UNIT_WEIGHT * weights.specific_yield[unit] * drained
    stress = np.cumsum(load, axis=0)
    stress -= 0.5 * load
    return stress


def effective_stress(
    grid: StageGrid, heads: Floats, unit: NDArray[np.int16], weights: Weights
) -> Floats:
    """Vertical effective stress (nlay, n) [Pa], mean over each cell; 0 in cells left out."""
    stress = total_stress(grid, heads, unit, weights)
    stress -= pore_pressure(grid, heads)
    return np.where(grid.active, stress, 0.0)
