"""Is a scheme redundant: how dry the floor stays with one well, or one header, out of work."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.faults import SolverFailed
from wellring.model.build import write_stage
from wellring.model.drainage.points import GridPoint, PointDrive
from wellring.model.grid_sizes import formations
from wellring.model.layout import Layout
from wellring.model.stages import DugModel, SettledStage, dug_model, settle_stage, stage_folder_name
from wellring.postprocess.dryness import dryness
from wellring.postprocess.ledger import StageEntry
from wellring.postprocess.run_folder import RunFolder

Floats = NDArray[np.float64]

MOST_UNITS = 30
"""More than this are gone through only when asked for."""


@dataclass(frozen=True)
class OneOut:
    """One unit out: margin of dryness [m] that is left and whether it is enough.

    Both are None where the floor is all tight soil. `flow` is what all others take [m³/s]; it is
    None where no steady state was found.
    """

    unit: str
    points: int
    margin: float | None
    dry: bool | None
    flow: float | None
    why: str = ""


def units(points: Sequence[GridPoint], working: Sequence[bool]) -> dict[str, list[int]]:
    """What can fail at once, by name: each well alone, all points of a header or station together.

    Passive wells and wells that give water are left out.
    """
    found: dict[str, list[int]] = {}
    for index, (point, works) in enumerate(zip(points, working, strict=True)):
        if works and point.node.size and not (point.follows_floor or point.injects or point.idle):
            found.setdefault(point.group or point.name, []).append(index)
    return found


def steady_without(
    dug: DugModel,
    name: str,
    out: Collection[int],
    folder: Path,
    solver: Path,
    report: Callable[[str], None] | None = None,
) -> tuple[list[int], SettledStage]:
    """Solve a steady stage in `folder` without some of its points, all others at their limits.

    Parameters
    ----------
    out : the layout's indices of the points that are out.

    Returns
    -------
    The layout's indices of the points that are left, and the solved stage.

    Raises
    ------
    SolverFailed : it has no answer.
    """
    left = [
        i
        for i, (point, works) in enumerate(zip(dug.points, dug.working, strict=True))
        if works and point.node.size and i not in out
    ]
    points = [dug.points[i] for i in left]
    model = replace(
        dug.model,
        name=name,
        points=points,
        drives=[PointDrive(point.lowest, None, "level") for point in points],
    )
    write_stage(model, folder)
    return left, settle_stage(model, folder, solver, report)


def one_out(
    layout: Layout,
    index: int,
    run: RunFolder,
    stage: StageEntry,
    before: Floats,
    place: Path,
    solver: Path,
    report: Callable[[str], None] | None = None,
) -> list[OneOut]:
    """Solve the steady stage again for each unit out, from the heads with all at work.

    All limits of the points that are left are kept as in any stage.

    Parameters
    ----------
    run, stage : the solved steady stage; `before` its heads (nlay, nrow, ncol) or (nlay, n) [m].
    place : folder for the models; each unit has one of its own below it.
    """
    dug = dug_model(layout, index, stage.name, formations(layout.site)[index], before)
    grid = run.grid_of(stage)
    found = []
    for number, (unit, out) in enumerate(units(dug.points, dug.working).items()):
        folder = place / stage_folder_name(number + 1, f"without {unit}")
        try:
            _, done = steady_without(dug, f"{unit} out", out, folder, solver, report)
        except SolverFailed as failure:
            found.append(OneOut(unit, len(out), None, None, None, failure.why))
            continue
        heads = done.solution.heads.reshape(grid.active.shape)
        judged = dryness(run, stage, grid, np.where(np.abs(heads) < 1e20, heads, np.nan))
        taken = [
            state.flow
            for point, state in zip(done.points, done.settled.states, strict=True)
            if not point.injects
        ]
        why = "" if done.settled.settled else "limits of the points did not settle"
        found.append(OneOut(unit, len(out), judged.margin, judged.dry, sum(taken), why))
    return found
