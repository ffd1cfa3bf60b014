"""Deep wells: a screened borehole with a pump each, as a multi-aquifer well of MODFLOW 6."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from wellring.inputs.drainage import DeepWells
from wellring.model.drainage.placement import place_points
from wellring.model.drainage.points import GridPoint
from wellring.model.ground import Ground
from wellring.model.plan_grid import PlanGrid

Floats = NDArray[np.float64]

SUBMERGENCE = 0.5
"""A pump keeps this much water [m] above the screen's bottom where a rate is asked
(common practice, no source)."""
_LEAST_LOG = 0.1
"""Lower bound of ln(r_e/r_w) + skin: a cell narrower than the well is all well."""
_WIDEST = 1.0 - 1e-3
"""Upper bound of 1 − 1/F for the factor F on the kh of a cell that its well nearly fills."""


def deep_well_points(
    wells: DeepWells,
    label: str,
    outline: BaseGeometry,
    shape: BaseGeometry | None,
    grid: PlanGrid,
    ground: Ground,
    source_distance: float,
) -> list[GridPoint]:
    """The wells of one [[schemes.drainage]] table on the grid.

    The conductance between a cell and the well is 2π·kh·b / (ln(r_e/r_w) + skin) with Peaceman's
    equivalent radius r_e = 0.14·√(Δx² + Δy²) (Peaceman 1983, isotropic in plan). Where the well
    is as wide as that or wider, the points carry an `opening` of their cells (see :func:`_opened`).

    Parameters
    ----------
    label : prefix of the wells' names.
    source_distance : for wells with an efficiency: the extra loss (1/E − 1)·ln(R/r_w) is that of
        a fully penetrating well whose drawdown reaches R.

    Raises
    ------
    ValueError : a well stands outside the grid, or its screen meets no modelled ground.
    """
    xy = place_points(wells, outline, shape)
    rows, columns = grid.cell_of(xy[:, 0], xy[:, 1])
    nrow, ncol = grid.shape
    radius = 0.5 * wells.diameter
    skin = _skin(wells, radius, source_distance)
    found = []
    for index, (x, y) in enumerate(xy):
        name = f"{label} {index + 1}"
        row, column = int(rows[index]), int(columns[index])
        if row < 0:
            raise ValueError(f"'{name}' at ({x:.1f}, {y:.1f}) stands outside the model")
        plan = row * ncol + column
        mid = ground.layers.mid[:, plan]
        low, high = wells.screen
        layers = np.flatnonzero(ground.active[:, plan] & (mid > low) & (mid < high))
        if layers.size == 0:
            raise ValueError(f"The screen of '{name}' meets no modelled ground")
        equivalent = 0.14 * np.hypot(grid.delr[column], grid.delc[row])
        kh = ground.kh[layers, plan]
        opening, gain = _opened(equivalent / radius)
        equivalent *= gain
        resistance = np.log(equivalent / radius) + skin(kh)
        found.append(
            GridPoint(
                name=name,
                x=float(x),
                y=float(y),
                method=wells.method,
                radius=radius,
                screen=(low, high),
                node=layers * (nrow * ncol) + plan,
                conductance=2
                * np.pi
                * kh
                * ground.layers.thickness[layers, plan]
                / np.maximum(resistance, _LEAST_LOG),
                lowest=wells.hold if wells.hold is not None else low + SUBMERGENCE,
                wanted=wells.rate,
                pump_capacity=wells.pump.capacity if wells.pump is not None else None,
                screen_k=kh,
                screen_bottom=ground.layers.edges[1:][layers, plan],
                screen_top=ground.layers.edges[:-1][layers, plan],
                opening=opening,
            )
        )
    return found


def _opened(ratio: float) -> tuple[float, float]:
    """Factor on a cell's kh that makes room for its well, and the gain in equivalent radius.

    A well fills much of a cell where `ratio` = r_e/r_w is near 1 or below, which no conductance
    between the two can express. With its kh raised by F the cell resists its four neighbours
    less: (1 + 1/F)/2 times 1/(4·k·b), so that Peaceman's r_e = Δ·exp(−π/2) grows by
    exp(π/4·(1 − 1/F)), at most 2.19 times (own derivation).
    """
    share = float(np.clip(4 / np.pi * (_LEAST_LOG - np.log(ratio)), 0.0, _WIDEST))
    return 1.0 / (1.0 - share), float(np.exp(np.pi / 4 * share))


def _skin(wells: DeepWells, radius: float, source_distance: float) -> Callable[[Floats], Floats]:
    """Skin factor as a function of the cells' kh."""
    if wells.skin is not None:
        k, ring = wells.skin.k, np.log((radius + wells.skin.thickness) / radius)
        return lambda kh: (kh / k - 1.0) * ring
    if wells.efficiency is not None:
        loss = (1.0 / wells.efficiency - 1.0) * np.log(max(source_distance, 10 * radius) / radius)
        return lambda kh: np.full(kh.shape, loss)
    return lambda kh: np.zeros(kh.shape)
