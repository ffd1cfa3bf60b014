"""Where the water comes in: floor, faces, through walls, under toes; and the whole balance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import MODEL, RunFolder

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Inflow:
    """Water taken in one stage [m³/s].

    `floor`, `faces` and `wall` enter the excavation itself; `wells` is pumped from the ground,
    `returned` is given back to it.
    `through_wall` and `under_toe` cross the pit's outline below formation, through walls that
    hold water and beneath them; `open_ground` crosses it where no wall stands.
    """

    floor: float
    faces: float
    wall: float
    wells: float
    returned: float
    through_wall: float
    under_toe: float
    open_ground: float
    by_unit: dict[str, dict[str, float]]

    @property
    def excavation(self) -> float:
        """What enters the excavation and must be pumped from its floor."""
        return self.floor + self.faces + self.wall

    @property
    def total(self) -> float:
        """Everything that has to be pumped."""
        return self.excavation + self.wells


def inflow(run: RunFolder, stage: StageEntry) -> Inflow:
    """Inflow of one stage from its cell-by-cell flows."""
    parts: dict[str, float] = {}
    by_unit: dict[str, dict[str, float]] = {}
    for part, package in (
        ("floor", "drn_floor"),
        ("faces", "drn_faces"),
        ("wall", "drn_wall"),
        ("wells", "maw"),
    ):
        node, flow = run.package_flows(stage, package)
        parts[part] = float(0.0 - flow.sum())  # no "-0"
        by_unit[part] = _per_unit(run, node, -flow)
    # By well, not by cell: a well through two aquifers passes water from one to the other.
    number = [entry.folder for entry in run.ledger.stages].index(stage.folder)
    parts["returned"] = 0.0 - sum(min(well.flow[number], 0.0) for well in run.ledger.wells)
    parts["wells"] += parts["returned"]
    crossing = _across_outline(run, stage)
    return Inflow(**parts, **crossing, by_unit=by_unit)


def _per_unit(run: RunFolder, node: NDArray[np.intp], flow: Floats) -> dict[str, float]:
    if not node.size:
        return {}
    sums = np.bincount(run.unit.reshape(-1)[node], weights=flow, minlength=len(run.ledger.units))
    found: dict[str, float] = {}
    for index, entry in enumerate(run.ledger.units):
        if abs(sums[index]) > 0:
            found[entry.label] = float(sums[index])
    return found


def _across_outline(run: RunFolder, stage: StageEntry) -> dict[str, float]:
    """Flow into the ground under the pit across its outline [m³/s], by what stands there."""
    grid = run.grid_of(stage)
    rim = np.asarray(run.ledger.rim, dtype=np.intp).reshape(-1, 2)
    n = grid.active.shape[1]
    inside, outside = rim[:, 0], rim[:, 1]
    layer, face = np.nonzero(grid.active[:, inside] & grid.active[:, outside])
    first, second = layer * n + inside[face], layer * n + outside[face]
    flow = face_flow(run, stage, first, second)
    level = 0.5 * (grid.mid[layer, inside[face]] + grid.mid[layer, outside[face]])
    walled, beneath = _behind_wall(run, stage, rim, face, level)
    return {
        "through_wall": float(flow[walled].sum()),
        "under_toe": float(flow[beneath & ~walled].sum()),
        "open_ground": float(flow[~walled & ~beneath].sum()),
    }


def face_flow(
    run: RunFolder, stage: StageEntry, into: NDArray[np.intp], out_of: NDArray[np.intp]
) -> Floats:
    """Flow [m³/s] from nodes `out_of` into nodes `into` (m,), 0 where they do not touch."""
    from flopy.mf6.utils import MfGrdFile
    from scipy.sparse import csr_array

    file = MfGrdFile(str(run.stage_folder(stage) / f"{MODEL}.dis.grb"), verbose=False)
    count = file.ia.size - 1
    flows = csr_array((run.face_flows(stage), file.ja, file.ia), shape=(count, count))
    return np.asarray(flows[into, out_of]).ravel() if into.size else np.zeros(0)


def _behind_wall(
    run: RunFolder, stage: StageEntry, rim: NDArray[np.intp], face: NDArray[np.intp], level: Floats
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which rim cells lie behind a standing wall's body, and which beneath one."""
    walled = np.zeros(face.size, bool)
    beneath = np.zeros(face.size, bool)
    number = run.ledger.stages.index(stage) - 1
    n = run.area.size
    low, high = rim.min(axis=1).astype(np.int64), rim.max(axis=1).astype(np.int64)
    key = low * n + high
    for wall in run.ledger.walls:
        if not wall.holds_water or wall.from_stage > number or not wall.faces:
            continue
        pairs = np.asarray(wall.faces, dtype=np.int64)
        own = pairs.min(axis=1) * n + pairs.max(axis=1)
        order = np.argsort(own)
        at = np.minimum(np.searchsorted(own, key, sorter=order), own.size - 1)
        index = order[at]
        match = (own[index] == key)[face]
        toe, top = np.asarray(wall.toes)[index][face], np.asarray(wall.tops)[index][face]
        walled |= match & (level > toe) & (level < top)
        beneath |= match & (level <= toe)
    return walled, beneath


def water_balance(run: RunFolder, stage: StageEntry) -> list[tuple[str, float, float]]:
    """(name, into the ground, out of the ground) [m³/s] of everything that gives or takes water."""
    rows = []
    names = [(entry.name, entry.package) for entry in run.ledger.boundaries]
    names += [
        ("excavation floor", "drn_floor"),
        ("excavation faces", "drn_faces"),
        ("leaks through walls into the excavation", "drn_wall"),
        ("wells", "maw"),
    ]
    for name, package in names:
        _, flow = run.package_flows(stage, package)
        if flow.size:
            rows.append((name, float(flow[flow > 0].sum()), float(0.0 - flow[flow < 0].sum())))
    return rows
