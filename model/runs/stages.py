"""Solve a scheme stage by stage, each from the heads of the one before."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.inputs.site.names import NATURAL
from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.grid.excavation import Dig, dig_stage
from wellring.model.grid.grid_sizes import formations
from wellring.model.grid.walls import wall_cells
from wellring.model.layouts.layout import Layout, stage_start
from wellring.model.limits.limits import Settled
from wellring.model.limits.meet_limits import meet_limits
from wellring.model.mf6.build import StageModel, drive_rows, write_stage
from wellring.model.mf6.file_edits import set_well_rows
from wellring.model.mf6.solve import Attempt, Solution, solve_full, solve_stage
from wellring.postprocess.run.run_folder import WELLS_CSV

Floats = NDArray[np.float64]


@dataclass
class SolvedStage:
    """One stage after its solve; `points` are those of the layout, None for the natural state."""

    name: str
    folder: str
    formation: float | None
    dig: Dig | None
    heads: Floats
    solution: Solution
    settled: Settled | None
    points: list[GridPoint] = field(default_factory=list)
    attempts: list[Attempt] = field(default_factory=list)


Report = Callable[[str], None]
Write = Callable[[StageModel, Path], None]


def solve_scheme(
    layout: Layout,
    folder: Path,
    solver: Path,
    report: Report | None = None,
    only_last: bool = False,
    start: Floats | None = None,
    starts: Sequence[Floats] | None = None,
    write: Write | None = None,
) -> list[SolvedStage]:
    """Solve the natural state and then every stage, in folders below `folder`.

    Parameters
    ----------
    only_last : leave out the stages between (for side studies of the deepest stage).
    starts : heads of every stage, natural state first, to start from (those of a like case).
    write : writes a stage's files (default :func:`write_stage`).

    Raises
    ------
    SolverFailed : a stage has no answer; names it.
    """
    write = write or write_stage
    found = [_solve_natural(layout, folder, solver, report, starts[0] if starts else None, write)]
    levels = formations(layout.site)
    names = [stage.name for stage in layout.site.description.excavation.stages]
    which = [len(levels) - 1] if only_last else range(len(levels))
    for index in which:
        before = found[-1].heads if start is None else start
        found.append(
            _solve_dug(
                layout,
                index,
                names[index],
                levels[index],
                folder,
                solver,
                before if starts is None else starts[index + 1],
                report,
                write,
                cold=starts is None,
            )
        )
    return found


def _solve_natural(
    layout: Layout,
    folder: Path,
    solver: Path,
    report: Report | None,
    before: Floats | None,
    write: Write,
) -> SolvedStage:
    name = stage_folder_name(0, NATURAL)
    start = stage_start(layout, before)
    model = StageModel(
        NATURAL, layout.plan, layout.ground, layout.ground.active, start, layout.water
    )
    write(model, folder / name)
    solution = solve_stage(NATURAL, folder / name, solver, start, progress=report)
    return SolvedStage(
        NATURAL, name, None, None, solution.heads, solution, None, [], solution.attempts
    )


@dataclass
class DugModel:
    """A stage's model with its dig, all points on what remains, and which of them work now."""

    model: StageModel
    dig: Dig
    points: list[GridPoint]
    working: list[bool]


def dug_model(
    layout: Layout, index: int, name: str, formation: float | None, before: Floats
) -> DugModel:
    """The model of stage `index`, dug down to `formation` [m], or not dug at all for None.

    `before` are the heads (nlay, nrow, ncol) or (nlay, n) [m] it starts from.
    """
    walls = [wall for wall in layout.walls if wall.from_stage <= index]
    level = np.inf if formation is None else formation
    dig = dig_stage(layout.ground, layout.inside, layout.rim, layout.rim_factor, level, walls)
    active = layout.ground.active & ~dig.gone
    flat = active.reshape(-1)
    asked = [point.in_stage(index) for point in layout.points]
    points = [
        (point if formation is None else point.at_floor(formation)).on(flat) for point in asked
    ]
    working = [first <= index <= last for first, last in layout.point_stages]
    usable = [p for p, works in zip(points, working, strict=True) if works and p.node.size]
    model = StageModel(
        name,
        layout.plan,
        layout.ground,
        active,
        stage_start(layout, before),
        layout.water,
        drains={}
        if formation is None
        else {"floor": dig.floor, "faces": dig.faces, "wall": dig.wall},
        walls=[
            wall_cells(wall, layout.ground.layers.edges, layout.ground.active) for wall in walls
        ],
        points=usable,
        drives=[PointDrive(point.lowest, None, "level") for point in usable],
    )
    return DugModel(model, dig, points, working)


def _solve_dug(
    layout: Layout,
    index: int,
    stage: str,
    formation: float,
    folder: Path,
    solver: Path,
    before: Floats,
    report: Report | None,
    write: Write,
    cold: bool,
) -> SolvedStage:
    dug = dug_model(layout, index, stage, formation, before)
    name = stage_folder_name(index + 1, stage)
    write(dug.model, folder / name)
    done = settle_stage(dug.model, folder / name, solver, report, cold)
    all_points = _spread(layout.points, dug.points, dug.working, done.points, done.settled)
    return SolvedStage(
        stage,
        name,
        formation,
        dug.dig,
        done.solution.heads,
        done.solution,
        all_points,
        dug.points,
        done.attempts,
    )


@dataclass
class SettledStage:
    """A written stage solved with all limits of its points kept."""

    points: list[GridPoint]
    settled: Settled
    solution: Solution
    attempts: list[Attempt]


def settle_stage(
    model: StageModel,
    place: Path,
    solver: Path,
    report: Report | None = None,
    cold: bool = False,
) -> SettledStage:
    """Solve a stage that is written in `place` until all limits of its points hold.

    Parameters
    ----------
    cold : the model's start heads are far from the answer (those of another stage).

    Raises
    ------
    SolverFailed : it has no answer.
    """
    usable = list(model.points)
    run = _Runner(model.name, place, solver, usable, model.start, report, cold)
    settled = meet_limits(usable, run)
    assert run.solution is not None
    return SettledStage(usable, settled, run.solution, run.attempts)


class _Runner:
    """Solves one stage again and again for other drives, each time from the last heads."""

    def __init__(
        self,
        stage: str,
        place: Path,
        solver: Path,
        points: Sequence[GridPoint],
        start: Floats,
        report: Report | None,
        cold: bool,
    ):
        self.stage, self.place, self.solver, self.report = stage, place, solver, report
        self.points, self.start, self.first, self.cold = points, start, start, cold
        flat = start.reshape(-1)
        self.rest = [point.sign * _level_around(point, flat) for point in points]
        self.solution: Solution | None = None
        self.attempts: list[Attempt] = []

    def at_rest(self) -> list[float]:
        """Level [m] of the water around each point before anything is pumped; NaN where dry."""
        return self.rest

    def estimate(self, drives: Sequence[PointDrive]) -> list[PointState] | None:
        """What the points do with all layers full; None where that has no answer."""
        set_drives(self.place, self.points, drives)
        heads = solve_full(self.stage, self.place, self.solver, self.start, self.report)
        if heads is None:
            return None
        if self.cold:
            self.first = np.where(np.abs(heads) < 1e20, heads, self.start)
        return self._states(heads, drives)

    def __call__(self, drives: Sequence[PointDrive]) -> list[PointState]:
        """What the points do, solved from the last heads."""
        if self.solution is not None:
            heads = self.solution.heads
            self.first = np.where(np.abs(heads) < 1e20, heads, self.start)
        if drives:
            set_drives(self.place, self.points, drives)
        self.solution = solve_stage(
            self.stage,
            self.place,
            self.solver,
            self.first,
            first=None if self.solution is None else self.solution.rung,
            progress=self.report,
            record=self.attempts,
        )
        return self._states(self.solution.heads, drives)

    def _states(self, heads: Floats, drives: Sequence[PointDrive]) -> list[PointState]:
        flat = heads.reshape(-1)
        return [
            PointState(point.sign * _level_around(point, flat), 0.0) if drive.shut else state
            for point, drive, state in zip(
                self.points, drives, read_points(self.place, self.points, drives), strict=True
            )
        ]


def _level_around(point: GridPoint, heads: Floats) -> float:
    """Level [m] at which water would stand in an idle point; NaN where its cells are dry.

    The mean of its cells' heads (flat), weighted by their wetted conductances.
    """
    head = heads[point.node]
    wetted = np.clip(head, point.screen_bottom, point.screen_top) - point.screen_bottom
    weight = point.conductance * wetted / (point.screen_top - point.screen_bottom)
    total = float(weight.sum())
    return float(weight @ head) / total if total > 0 else float("nan")


def _spread(
    every: list[GridPoint],
    on_stage: list[GridPoint],
    working: list[bool],
    usable: list[GridPoint],
    settled: Settled,
) -> Settled:
    """Drives and states for all points of the layout, those not in the solve shut."""
    drives, states, at = [], [], 0
    for point, works in zip(on_stage, working, strict=True):
        if works and point.node.size:
            drives.append(settled.drives[at])
            states.append(settled.states[at])
            at += 1
        else:
            drives.append(PointDrive(None, None, "dry" if works else "not used"))
            states.append(PointState(float("nan"), 0.0))
    assert at == len(usable)
    assert len(drives) == len(every)
    return Settled(drives, states, settled.rounds, settled.settled)


def set_drives(folder: Path, points: Sequence[GridPoint], drives: Sequence[PointDrive]) -> None:
    """Write how the points are driven into a stage's well file, in place of what stood there."""
    set_well_rows(
        folder,
        [
            row
            for index, (point, drive) in enumerate(zip(points, drives, strict=True))
            for row in drive_rows(index, drive, point.sign)
        ],
    )


def last_record(folder: Path) -> dict[str, float]:
    """The last line of the solver's own record of the wells: value by upper-case name."""
    with open(folder / WELLS_CSV, newline="") as file:
        last = list(csv.DictReader(file))[-1]
    return {name.strip().upper(): float(value) for name, value in last.items() if value.strip()}


def read_points(
    folder: Path, points: Sequence[GridPoint], drives: Sequence[PointDrive]
) -> list[PointState]:
    """Level [m] and flow out of the ground [m³/s] of each point, from the solver's own record.

    Those of points that give water are mirrored.
    """
    if not drives:
        return []
    values = last_record(folder)
    states = []
    for index, (point, drive) in enumerate(zip(points, drives, strict=True), start=1):
        if drive.shut:
            states.append(PointState(float("nan"), 0.0))
            continue
        kind = "CONSTANT" if drive.held is not None else "RATE"
        if drive.growth is not None:
            kind = "FW-RATE"
        level, flow = values[f"HEAD{index}"], 0.0 - values[f"{kind}{index}"] / DAY
        states.append(PointState(point.sign * level, point.sign * flow))
    return states


def stage_folder_name(index: int, name: str) -> str:
    """A folder name that sorts in order and is safe on every system."""
    safe = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40]
    return f"{index:02d}-{safe or 'stage'}"
