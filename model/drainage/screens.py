"""Screened points on the grid, as every drainage method but the sump needs them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.drainage import Skin
from wellring.model.drainage.points import GridPoint
from wellring.model.grid.ground import Ground
from wellring.model.grid.plan_grid import PlanGrid

Floats = NDArray[np.float64]
SkinOf = Callable[[Floats], Floats]

_LEAST_LOG = 0.1
"""Lower bound of ln(r_e/r_w) + skin: a cell narrower than the well is all well."""
_WIDEST = 1.0 - 1e-3
"""Upper bound of 1 − 1/F for the factor F on the kh of a cell that its well nearly fills."""


def screened_points(
    xy: Floats,
    label: str,
    grid: PlanGrid,
    ground: Ground,
    screen: tuple[float, float],
    radius: float,
    skin: SkinOf,
    **values: Any,
) -> list[GridPoint]:
    """Points with a screen each, at site positions `xy` (n, 2).

    The conductance between a cell and the point is 2π·kh·b / (ln(r_e/r_w) + skin) with Peaceman's
    equivalent radius r_e = 0.14·√(Δx² + Δy²) (Peaceman 1983, isotropic in plan). It is at most
    a/2π for points in a row with the spacing a: the level in a well of an endless row is below that
    of the line sink it is part of by Q·ln(a/(2π·r_w))/(2π·T) (image wells), and the cells have the
    line's level where a row's points share cells or have one each. Two points alone in one cell
    count as strangers: their levels are then off by ln(r_e/a)·Q/(2π·T). Where the point is as wide
    as r_e or wider, it carries an `opening` of its cells (see :func:`_opened`).

    Parameters
    ----------
    label : prefix of the points' names.
    screen : (bottom, top) levels [m].
    radius : of the borehole against the ground [m].
    skin : skin factor as a function of the cells' kh.
    values : the other fields of :class:`GridPoint`, the same for all points.

    Raises
    ------
    ValueError : a point stands outside the grid, or its screen meets no modelled ground.
    """
    rows, columns = grid.cell_of(xy[:, 0], xy[:, 1])
    nrow, ncol = grid.shape
    low, high = screen
    spacing = _row_spacing(xy)
    found = []
    for index, (x, y) in enumerate(xy):
        name = f"{label} {index + 1}"
        row, column = int(rows[index]), int(columns[index])
        if row < 0:
            raise ValueError(f"'{name}' at ({x:.1f}, {y:.1f}) stands outside the model")
        plan = row * ncol + column
        edges = ground.layers.edges[:, plan]
        mid = 0.5 * (edges[1:] + edges[:-1])
        layers = np.flatnonzero(ground.active[:, plan] & (mid > low) & (mid < high))
        if layers.size == 0:
            raise ValueError(f"The screen of '{name}' meets no modelled ground")
        equivalent = min(
            0.14 * np.hypot(grid.delr[column], grid.delc[row]), spacing[index] / (2 * np.pi)
        )
        kh = ground.kh[layers, plan]
        opening, gain = _opened(equivalent / radius)
        resistance = np.log(gain * equivalent / radius) + skin(kh)
        screen_top, screen_bottom = edges[layers], edges[layers + 1]
        found.append(
            GridPoint(
                name=name,
                x=float(x),
                y=float(y),
                radius=radius,
                screen=(low, high),
                node=layers * (nrow * ncol) + plan,
                conductance=2
                * np.pi
                * kh
                * (screen_top - screen_bottom)
                / np.maximum(resistance, _LEAST_LOG),
                screen_k=kh,
                screen_bottom=screen_bottom,
                screen_top=screen_top,
                opening=opening,
                **values,
            )
        )
    return found


def _row_spacing(xy: Floats) -> Floats:
    """Mean distance (n,) [m] of each place (n, 2) to its two nearest others; infinite without."""
    places = np.unique(xy, axis=0)
    if len(places) < 3:
        return np.full(len(xy), np.inf)
    from scipy.spatial import KDTree

    return KDTree(places).query(xy, k=3)[0][:, 1:].mean(axis=1)


def _opened(ratio: float) -> tuple[float, float]:
    """Factor on a cell's kh that makes room for its well, and the gain in equivalent radius.

    A well fills much of a cell where `ratio` = r_e/r_w is near 1 or below, which no conductance
    between the two can express. With its kh raised by F the cell resists its four neighbours
    less: (1 + 1/F)/2 times 1/(4·k·b), so that Peaceman's r_e = Δ·exp(−π/2) grows by
    exp(π/4·(1 − 1/F)), at most 2.19 times (own derivation).
    """
    share = float(np.clip(4 / np.pi * (_LEAST_LOG - np.log(ratio)), 0.0, _WIDEST))
    return 1.0 / (1.0 - share), float(np.exp(np.pi / 4 * share))


def no_skin(kh: Floats) -> Floats:
    """Skin factor (m,) [-] of a screen without loss in cells of `kh` (m,) [m/s]."""
    return np.zeros(kh.shape)


def ring_skin(skin: Skin | None, radius: float) -> SkinOf:
    """Skin factor of a ring of other conductivity, (kh/k − 1)·ln((r + t)/r), or none."""
    if skin is None:
        return no_skin
    k, ring = skin.k, np.log((radius + skin.thickness) / radius)
    return lambda kh: (kh / k - 1.0) * ring
