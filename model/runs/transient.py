"""Follow a scheme through time: one transient MODFLOW 6 model a phase, chained by their heads.

Storage comes from the soils. Steps start short after every change, grow, and a failed step is cut
and tried again (ATS). A pump gives all it can until the water in its point comes down to the level
to be held, then no more than holds it there: MODFLOW 6's rate scaling over the last
:data:`HOLDS_WITHIN` metres above that level.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import SolverFailed
from wellring.inputs.basics.units import DAY
from wellring.inputs.measured.series import Series
from wellring.inputs.site.site import Time
from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.layouts.layout import Layout
from wellring.model.limits.flow_limits import most_flow
from wellring.model.mf6.build import StageModel, write_stage
from wellring.model.mf6.file_edits import set_well_rows
from wellring.model.mf6.rungs import LADDER, Rung
from wellring.model.mf6.solve import Attempt, attempt_in_time, read_heads
from wellring.model.mf6.time_steps import Stepping, Stretch, stepping, stretches
from wellring.model.runs.phases import Phase, phases
from wellring.model.runs.stages import (
    SolvedStage,
    dug_model,
    last_record,
    stage_folder_name,
)
from wellring.postprocess.run.answer import MASS_BALANCE_LIMIT

Floats = NDArray[np.float64]

HOLDS_WITHIN = 0.1
"""[m] above its lowest level over which a pump throttles from all it can to nothing."""
PASSIVE_PEAK = 3.0
"""How many times its steady flow, or its screen's, a passive well lets out at first at most."""
CLOSURES = ((1e-2, 1e-5), (1e-3, 1e-6), (1e-4, 1e-7))
"""Flow left in a cell [m³/day] and head change [m] at which a step is solved; the next ones where a
step's budget does not close."""
STEPS_A_PHASE = 20
"""No step is longer than this part of its phase."""


@dataclass
class SolvedPhase:
    """One phase after its solve; its folder below mf6/ holds heads and budget of every step."""

    phase: Phase
    folder: str
    points: list[str]
    rung: str
    discrepancy: float
    attempts: list[Attempt]
    heads: Floats


def solve_in_time(
    layout: Layout,
    steady: list[SolvedStage],
    folder: Path,
    solver: Path,
    report: Callable[[str], None] | None = None,
) -> list[SolvedPhase]:
    """Solve all phases of a layout, from the natural state on; none where no time is asked for.

    Parameters
    ----------
    steady : the solved steady stages, natural state first. What a point can give at most is
        taken from there; recharge wells give what they give there.

    Raises
    ------
    SolverFailed : a phase has no answer; names it.
    """
    time = layout.site.description.time
    if time is None:
        return []
    heads = steady[0].heads
    levels: dict[str, float] = {}
    found = []
    for number, phase in enumerate(phases(layout.site)):
        dug = dug_model(layout, phase.stage, phase.name, phase.formation, heads)
        name = f"t{number}-{stage_folder_name(phase.stage + 1, phase.name)}"
        place = folder / name
        dug.model.well_levels = well_levels(dug.model, levels)
        parts = _parts(phase, time, layout.site.series.values())
        write_stage(dug.model, place, (phase.begins, phase.ends), len(parts))
        settled = steady[phase.stage + 1].settled
        assert settled is not None
        usable = [i for i, p in enumerate(dug.points) if dug.working[i] and p.node.size]
        drives = [settled.drives[i] for i in usable]
        states = [settled.states[i] for i in usable]
        if usable:
            set_well_rows(place, pump_rows(dug.model.points, drives, states, phase.formation))
        attempts: list[Attempt] = []
        rung = _solve(
            phase,
            place,
            solver,
            dug.model.start,
            stepping(parts, time.first_step, time.step_growth),
            attempts,
            report,
        )
        heads = read_heads(place)
        levels |= last_well_levels(place, [dug.points[i].name for i in usable])
        found.append(
            SolvedPhase(
                phase,
                name,
                [dug.points[i].name for i in usable],
                rung.name,
                attempts[-1].discrepancy,
                attempts,
                heads,
            )
        )
    return found


def well_levels(model: StageModel, before: dict[str, float]) -> list[float]:
    """Levels [m] to begin with: where the water stood in each point, or stands around it.

    A level at the bottom of a pump's throttle would tell the solver that it gives nothing
    whatever the level does, and cost it ten times the iterations.
    """
    start = model.start.reshape(-1)
    return [
        before.get(point.name, max(float(start[point.node].max()), point.sign * point.lowest))
        for point in model.points
    ]


def last_well_levels(folder: Path, names: Sequence[str]) -> dict[str, float]:
    """Level [m] in each point at the end of a phase, from the solver's own record."""
    if not names:
        return {}
    values = last_record(folder)
    levels = {name: values[f"HEAD{index}"] for index, name in enumerate(names, start=1)}
    return {name: level for name, level in levels.items() if abs(level) < 1e20}


def pump_rows(
    points: Sequence[GridPoint],
    drives: Sequence[PointDrive],
    states: Sequence[PointState],
    formation: float | None,
) -> list[tuple[object, ...]]:
    """How each point is pumped while time goes on, as rows of MODFLOW 6's well file.

    A pump gives all it can until its point is drawn down to the level to be held, then just what
    holds it. What it can give is its limit in the steady state where one governs there, since
    that is the limit at the lowest water; otherwise that of its full screen.

    Parameters
    ----------
    drives, states : of the same points in the steady stage.
    formation : of the dig [m]; None before it, when passive wells end at the ground and rest.
    """
    sizes = Counter(point.group for point in points)
    rows: list[tuple[object, ...]] = []
    for at, (point, drive, state) in enumerate(zip(points, drives, states, strict=True)):
        if drive.governing in ("dry", "not used") or (point.follows_floor and formation is None):
            rows.append((at, "status", "inactive"))
            continue
        rows.append((at, "status", "active"))
        if point.injects:
            rows.append((at, "rate", state.flow * DAY))
            continue
        most = most_flow(point, np.inf)[0]
        if point.follows_floor:
            most = PASSIVE_PEAK * max(state.flow, point.screen_capacity(np.inf))
        if drive.governing not in ("level", "no inflow"):
            most = state.flow
        else:
            if point.group_capacity is not None:
                most = min(most, max(state.flow, point.group_capacity / sizes[point.group]))
            if point.curve is not None:
                # Of a point asked for a flow the lowest level is far below that it works at.
                most = min(most, point.curve.most(point.delivery - point.lowest))
        held = point.lowest + point.square_loss * max(state.flow, 0.0) ** 2
        if point.header is not None and drive.governing == "level" and drive.held is not None:
            held = drive.held  # what the header's friction leaves of the lift
        rows.append((at, "rate", -most * DAY))
        rows.append((at, "rate_scaling", held, HOLDS_WITHIN))
    return rows


def _parts(phase: Phase, time: Time, series: Iterable[Series]) -> list[Stretch]:
    """The phase cut into parts by what moves in them, unless the user gives the longest step."""
    length = phase.ends - phase.begins
    if time.longest_step:
        return [Stretch(length, time.longest_step)]
    return stretches(phase.begins, phase.ends, length / STEPS_A_PHASE, series)


def _solve(
    phase: Phase,
    place: Path,
    solver: Path,
    start: Floats,
    steps: Stepping,
    attempts: list[Attempt],
    report: Callable[[str], None] | None,
) -> Rung:
    for rung in (rung for rung in LADDER if not rung.stepping):
        tried: list[Attempt] = []
        for closures in CLOSURES:
            attempt = attempt_in_time(
                rung, place, solver, start, phase.name, steps, report, closures=closures
            )
            attempts.append(attempt)
            tried.append(attempt)
            if not attempt.answered or abs(attempt.discrepancy) <= MASS_BALANCE_LIMIT:
                break
        if tried[-1].answered:
            return rung
        if len(tried) > 1:  # the last closure that could be reached: its answer, with its files
            closures = CLOSURES[len(tried) - 2]
            attempts.append(
                attempt_in_time(
                    rung, place, solver, start, phase.name, steps, report, closures=closures
                )
            )
            return rung
    raise SolverFailed(phase.name, f"{len(attempts)} ways tried; {attempts[-1].why}", place)
