"""What a scheme does with something out of work: one well or header, or one drainage table.

Judged by the level under the floor, by what comes to the sump, and by uplift of every plug.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import SolverFailed
from wellring.model.drainage.points import GridPoint, PointDrive
from wellring.model.grid.grid_sizes import formations
from wellring.model.layouts.layout import Layout
from wellring.model.mf6.build import write_stage
from wellring.model.outage.outage_judge import Judge
from wellring.model.runs.stages import (
    DugModel,
    SettledStage,
    dug_model,
    settle_stage,
    stage_folder_name,
)
from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.run_folder import RunFolder, StageGrid
from wellring.postprocess.stability.bursting import theis_hours
from wellring.postprocess.water.drainage_groups import drainage_groups
from wellring.postprocess.water.dryness import dryness

Floats = NDArray[np.float64]

MOST_UNITS = 30
"""More than this are gone through only when asked for."""


Kind = Literal["unit", "table"]
"""What is out: one well, header or station, or all points of one drainage table."""


@dataclass(frozen=True)
class OneOut:
    """Something out of work: what is left of the clearance, and whether the floor holds.

    Parameters
    ----------
    unit, points, kind : what is out, and how many points that is.
    margin, dry : depth of the water below formation [m], and whether clearance and sump suffice;
        None where the floor is all tight soil.
    flow : what all others take [m³/s]; None where no steady state was found.
    why : a remark.
    uplift : largest utilisation of plugs and slab; None where there is neither.
    holds : whether they hold; None where that is not judged.
    floor : what decides that, in words.
    burst_hours : hours until a plug that does not hold is at its limit, by Theis: a lower bound.
    passive : whether it has no pump, and so needs no spare one.
    """

    unit: str
    points: int
    margin: float | None
    dry: bool | None
    flow: float | None
    why: str = ""
    kind: Kind = "unit"
    uplift: float | None = None
    holds: bool | None = None
    floor: str = ""
    burst_hours: float | None = None
    passive: bool = False

    @property
    def ok(self) -> bool | None:
        """Whether the stage keeps its clearance and its floor without it; None: not judged."""
        if self.dry is False or self.holds is False:
            return False
        if self.flow is None or self.holds is None:
            return None
        # A floor of tight soil alone is dry; without a plug nothing says that it holds.
        return None if self.dry is None and self.uplift is None else True


def units(points: Sequence[GridPoint], working: Sequence[bool]) -> dict[str, list[int]]:
    """What can fail at once, by name: each well alone, all points of a header or station together.

    A passive well can clog. Wells that give water are left out.
    """
    found: dict[str, list[int]] = {}
    for index, (point, works) in enumerate(zip(points, working, strict=True)):
        if works and point.node.size and not (point.injects or point.idle):
            found.setdefault(point.group or point.name, []).append(index)
    return found


def tables(
    run: RunFolder, points: Sequence[GridPoint], working: Sequence[bool]
) -> dict[str, list[int]]:
    """The points of each drainage table that works, by its label; none where there is only one."""
    found: dict[str, list[int]] = {}
    at = 0
    for group in drainage_groups(run):
        own = range(at, at + len(group.wells))
        at += len(group.wells)
        out = [i for i in own if working[i] and points[i].node.size and not points[i].injects]
        if out:
            found[group.label] = out
    return found if len(found) > 1 else {}


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
    judge: Judge,
    before: Floats,
    place: Path,
    solver: Path,
    out: Sequence[tuple[Kind, str, Sequence[int]]],
    report: Callable[[str], None] | None = None,
) -> list[OneOut]:
    """Solve the steady stage again without some points, from the heads with all at work.

    All limits of the points that are left are kept as in any stage.

    Parameters
    ----------
    judge : the solved steady stage; `before` its heads (nlay, nrow, ncol) or (nlay, n) [m].
    place : folder for the models; each has one of its own below it.
    out : what is out each time: kind, name, and the layout's indices of its points.
    """
    run, stage = judge.run, judge.result.entry
    dug = dug_model(layout, index, stage.name, formations(layout.site)[index], before)
    grid = judge.result.grid
    found = []
    for number, (kind, name, points) in enumerate(out):
        folder = place / stage_folder_name(number + 1, f"without {name}")
        try:
            _, done = steady_without(dug, f"{name} out", points, folder, solver, report)
        except SolverFailed as failure:
            passive = all(dug.points[i].follows_floor for i in points)
            found.append(
                OneOut(name, len(points), None, None, None, failure.why, kind, passive=passive)
            )
            continue
        heads = heads_of(done, grid)
        judged, floor = dryness(run, stage, grid, heads), judge.check(heads)
        states = list(zip(done.points, done.settled.states, strict=True))
        taken = sum(state.flow for point, state in states if not point.injects)
        relieved = sum(max(state.flow, 0.0) for point, state in states if point.follows_floor)
        why = "" if done.settled.settled else "limits of the points did not converge"
        dry = judged.dry
        if judge.flooded(folder, relieved):
            dry, why = False, "more water comes to the sump than its pumps take"
        hours = [
            theis_hours(
                run, judge.result, judge.stable, plug, [run.ledger.wells[i] for i in points]
            )
            for plug in floor.plugs
            if plug.utilisation > HELD
        ]
        found.append(
            OneOut(
                name, len(points), judged.margin, dry, taken, why, kind, floor.utilisation,
                floor.holds, floor.text(run),
                min((hour for hour in hours if hour is not None), default=None),
                all(dug.points[i].follows_floor for i in points),
            )
        )  # fmt: skip
    return found


def heads_of(done: SettledStage, grid: StageGrid) -> Floats:
    """Heads (nlay, n) [m] of a solved stage; NaN in cells left out."""
    heads = done.solution.heads.reshape(grid.active.shape)
    return np.where(np.abs(heads) < 1e20, heads, np.nan)
