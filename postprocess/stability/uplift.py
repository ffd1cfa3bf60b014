"""Uplift of the floor: the weight of the ground above every soil boundary against the water there.

EN 1997-1:2004, 2.4.7.4, expression (2.8), limit state UPL: V_dst;d ≤ G_stb;d, here per area,
γ_G;dst·u ≤ γ_G;stb·Σγt; or one global factor, Σγt ≥ F·u. Friction at walls is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT
from wellring.postprocess.stability.floor_columns import FloorColumns
from wellring.postprocess.stability.stability_rules import Rules

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Boundary:
    """The worst place of one soil boundary under the floor.

    Parameters
    ----------
    upper, lower : units above and beneath (indices).
    column : its column of the floor.
    layer : the cell whose bottom it is.
    level, head, head_allowed : [m]; the head at which the rules just hold.
    stress, pressure : total stress and water pressure there [Pa].
    utilisation : up to 1 it holds.
    relief : largest lowering of head needed anywhere on this boundary [m]; 0 where none is.
    """

    upper: int
    lower: int
    column: int
    layer: int
    level: float
    head: float
    head_allowed: float
    stress: float
    pressure: float
    utilisation: float
    relief: float

    @property
    def factor(self) -> float | None:
        """Weight over water pressure; None where there is no pressure."""
        return self.stress / self.pressure if self.pressure > 0 else None


@dataclass(frozen=True)
class Uplift:
    """Uplift of one stage's floor.

    Parameters
    ----------
    boundaries : the worst place of every soil boundary, the governing one first.
    utilisation : (m,) the largest of each column; NaN where no soil boundary lies beneath.
    layer : (m,) cell whose bottom governs the column.
    head_allowed : (m,) head at the governing boundary at which the rules just hold [m].
    """

    boundaries: list[Boundary]
    utilisation: Floats
    layer: NDArray[np.intp]
    head_allowed: Floats


def uplift(columns: FloorColumns, rules: Rules, where: Flags | None = None) -> Uplift:
    """Check every boundary between two units below the floor, in every column.

    Parameters
    ----------
    where : (nlay, m) boundaries to which the check is confined; all of them for None.
    """
    nlay = columns.active.shape[0]
    lower = np.take_along_axis(columns.unit, np.minimum(columns.below, nlay - 1), axis=0)
    there = columns.active & (columns.below < nlay) & (lower != columns.unit)
    there &= columns.thickness.cumsum(axis=0) > 1e-3
    if where is not None:
        there &= where
    pressure = columns.pressure
    used = np.where(there, rules.uplift(columns.stress, pressure), -1.0)
    allowed = columns.bottom + rules.pressure_held(columns.stress) / WATER_UNIT_WEIGHT
    relief = np.where(there, np.maximum(columns.head_at - allowed, 0.0), 0.0)
    pair = np.where(there, columns.unit.astype(np.int64) * 1000 + lower, -1)
    found = []
    for key in np.unique(pair[pair >= 0]):  # over pairs of units, not cells
        own = np.where(pair == key, used, -1.0)
        layer, column = np.unravel_index(int(np.argmax(own)), own.shape)
        at = (int(layer), int(column))
        found.append(
            Boundary(
                upper=int(key) // 1000,
                lower=int(key) % 1000,
                column=at[1],
                layer=at[0],
                level=float(columns.bottom[at]),
                head=float(columns.head_at[at]),
                head_allowed=float(allowed[at]),
                stress=float(columns.stress[at]),
                pressure=float(pressure[at]),
                utilisation=float(used[at]),
                relief=float(relief[pair == key].max()),
            )
        )
    found.sort(key=lambda item: -item.utilisation)
    worst = np.argmax(used, axis=0)
    every = np.arange(used.shape[1])
    best = used[worst, every]
    none = best < 0
    return Uplift(
        found,
        np.where(none, np.nan, best),
        worst,
        np.where(none, np.nan, allowed[worst, every]),
    )
