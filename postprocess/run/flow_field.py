"""Where water goes from cell to cell in one steady stage, and how fast: a field to follow it in.

Places within a cell are fractions (u, v, w) from 0 to 1: along the row, down the rows, and up over
its wet height. In these a flow q [m³/s] through a face moves water at q/(n·V) a second, n the
effective porosity and V the wet volume, whichever the face.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.heads import saturated
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import MODEL, RunFolder, StageGrid

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

FREE, WELL, DIG = 0, 1, 2
LEAST_WET = 0.01
"""Part of a cell's height that counts as wet at least, where water falls through it."""


@dataclass(frozen=True)
class FlowField:
    """One stage's field; nodes are flat indices of all cells.

    Parameters
    ----------
    rate : (3, 2, nodes) fractions a second through the low and the high face along u, v and w,
        positive toward the high one.
    beyond : (3, 2, nodes) node behind each face, -1 where none.
    takes : (nodes,) FREE, WELL or DIG: what takes water out of the cell.
    active : (nodes,).
    lands : (nodes,) the cell itself where it is wet, else the next wet one beneath, into which
        its water sinks; itself where there is none.
    """

    rate: Floats
    beyond: Ints
    takes: NDArray[np.int8]
    active: NDArray[np.bool_]
    lands: Ints


def flow_field(
    run: RunFolder, stage: StageEntry, grid: StageGrid, heads: Floats, porosity: Floats
) -> FlowField:
    """The field of a stage from MODFLOW 6's own cell-by-cell flows.

    Parameters
    ----------
    porosity : (units,) effective porosity [-].
    """
    from flopy.mf6.utils import MfGrdFile

    file = MfGrdFile(str(run.stage_folder(stage) / f"{MODEL}.dis.grb"), verbose=False)
    flow = run.face_flows(stage)
    own = np.repeat(np.arange(file.ia.size - 1), np.diff(file.ia))
    other = np.asarray(file.ja, dtype=np.intp)
    apart = own != other
    own, other, flow = own[apart], other[apart], flow[apart]
    axis, high = _faces(run, own, other)
    nodes = heads.size
    rate, beyond = np.zeros((3, 2, nodes)), np.full((3, 2, nodes), -1, np.intp)
    # Flows count into a cell: through its low faces that is toward the high ones.
    rate[axis, high, own] = np.where(high == 1, -flow, flow)
    beyond[axis, high, own] = other
    for boundary in run.ledger.boundaries:
        if boundary.kind == "recharge":
            node, given = run.package_flows(stage, boundary.package)
            rate[2, 1, node] -= given
    rate /= _wet_volume(run, grid, heads, porosity)
    takes = np.full(nodes, FREE, np.int8)
    for package, what in (
        ("maw", WELL), ("drn_wall", DIG), ("drn_faces", DIG), ("drn_floor", DIG),
    ):  # fmt: skip
        node, given = run.package_flows(stage, package)
        takes[node[given < 0]] = what
    return FlowField(rate, beyond, takes, grid.active.ravel(), _lands(grid, heads))


def _lands(grid: StageGrid, heads: Floats) -> Ints:
    wet = saturated(grid, heads)
    layers, count = wet.shape
    layer = np.where(wet, np.arange(layers)[:, None], layers)
    nearest = np.minimum.accumulate(layer[::-1], axis=0)[::-1]
    own = np.arange(wet.size).reshape(wet.shape)
    return np.where(nearest < layers, nearest * count + np.arange(count), own).ravel()


def _faces(run: RunFolder, own: Ints, other: Ints) -> tuple[Ints, Ints]:
    """Axis (0 along the row, 1 down the rows, 2 up) and side (0 low, 1 high) of connections."""
    row, column = np.divmod(own % run.area.size, run.plan_shape[1])
    to_row, to_column = np.divmod(other % run.area.size, run.plan_shape[1])
    axis = np.where(column != to_column, 0, np.where(row != to_row, 1, 2))
    # Layers count down.
    ahead = np.choose(axis, [to_column > column, to_row > row, other < own])
    return axis, ahead.astype(np.intp)


def _wet_volume(run: RunFolder, grid: StageGrid, heads: Floats, porosity: Floats) -> Floats:
    """Volume of moving water (nodes,) [m³] in each cell; 1 in cells left out."""
    height = grid.top - grid.bottom
    wet = np.clip(np.nan_to_num(heads) - grid.bottom, LEAST_WET * height, height)
    volume = np.where(grid.active, wet * run.area * porosity[run.unit], 1.0)
    return np.maximum(volume, 1e-12).ravel()
