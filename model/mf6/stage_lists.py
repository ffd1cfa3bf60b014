"""What a stage's list packages hold: one place decides it for every way of writing them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.inputs.measured.series import Series

if TYPE_CHECKING:
    from wellring.model.mf6.build import StageModel

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StageList:
    """Rows of one list package: MODFLOW 6's `kind`, the package's `name`, its cells and values.

    `nodes` holds one array of cells (two for the faces of walls); `values` one array a column,
    levels in m, conductances in m²/day, leakage in 1/day. Where `series` is given the first
    column follows it in time.
    """

    kind: str
    name: str
    nodes: tuple[NDArray[np.intp], ...]
    values: tuple[Floats, ...]
    series: Series | None = None

    @property
    def file(self) -> str:
        """The package's file in the stage's folder."""
        return "gwf.hfb" if self.kind == "hfb" else f"{self.name}.dat"


def stage_lists(stage: StageModel) -> Iterator[StageList]:
    """The list packages of a stage, in the order in which they are written.

    Cells that the stage leaves out drop out; a list of which nothing is left is not given, since
    MODFLOW 6 refuses an empty one. Recharge and wells are no lists of this kind.
    """
    flat = stage.active.reshape(-1)
    for index, item in enumerate(stage.water.exchanges):
        keep = flat[item.node]
        if not keep.any():
            continue
        kind = "ghb" if item.floor is None else "riv"
        values = [item.level[keep], item.conductance[keep] * DAY]
        if item.floor is not None:
            values.append(item.floor[keep])
        yield StageList(kind, f"{kind}_{index + 1}", (item.node[keep],), tuple(values), item.series)
    for index, held in enumerate(stage.water.held):
        keep = flat[held.node]
        if keep.any():
            yield StageList(
                "chd", f"chd_{index + 1}", (held.node[keep],), (held.level[keep],), held.series
            )
    low, high, leakage = _wall_faces(stage)
    if low.size:
        yield StageList("hfb", "hfb", (low, high), (leakage,))
    for name, drains in stage.drains.items():
        if len(drains):
            # The depth over which a drain sets in is its auxiliary column.
            values = [drains.level, drains.conductance * DAY, drains.depth]
            yield StageList("drn", f"drn_{name}", (drains.node,), tuple(values))


def _wall_faces(stage: StageModel) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
    """Nodes on both sides of all walls' faces between active cells and their leakage [1/day]."""
    none = np.zeros(0, np.intp)
    if not stage.walls:
        return none, none, np.zeros(0)
    flat = stage.active.reshape(-1)
    first = np.concatenate([wall.first for wall in stage.walls])
    second = np.concatenate([wall.second for wall in stage.walls])
    conductance = np.concatenate([wall.conductance for wall in stage.walls])
    low, high = np.minimum(first, second), np.maximum(first, second)
    keep = flat[low] & flat[high]
    low, high, conductance = low[keep], high[keep], conductance[keep]
    # Two walls on one face act in series; MODFLOW 6 would silently take one of them.
    key = low.astype(np.int64) * flat.size + high
    _, at, member = np.unique(key, return_index=True, return_inverse=True)
    resistance = np.bincount(member, weights=1.0 / conductance)
    return low[at], high[at], DAY / resistance
