"""Follow a scheme through time: one transient MODFLOW 6 model a phase, chained by their heads.

Storage comes from the soils. Steps start short after every change, grow, and a failed step is cut
and tried again (ATS). A pump gives all it can until the water in its point comes down to the level
to be held, then no more than holds it there: MODFLOW 6's rate scaling over the last
:data:`HOLDS_WITHIN` metres above that level.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.faults import SolverFailed
from wellring.inputs.units import DAY
from wellring.model.build import write_stage
from wellring.model.drainage.points import GridPoint
from wellring.model.layout import Layout
from wellring.model.limited_rates import most_flow
from wellring.model.phases import Phase, phases
from wellring.model.rungs import LADDER, Rung
from wellring.model.solve import Attempt, attempt_in_time, read_heads
from wellring.model.stages import SolvedStage, dug_model, set_rows, stage_folder_name

Floats = NDArray[np.float64]

HOLDS_WITHIN = 0.1
"""[m] above its lowest level over which a pump throttles from all it can to nothing."""
STEP_GROWTH = 1.3
STEPS_A_PHASE = 12
"""No step is longer than this part of its phase."""


@dataclass
class SolvedPhase:
    """One phase after its solve; its folder below mf6/ holds heads of every step."""

    phase: Phase
    folder: str
    floor: NDArray[np.intp]
    points: list[str]
    rung: str
    attempts: list[Attempt]
    heads: Floats


def solve_in_time(
    layout: Layout,
    steady: list[SolvedStage],
    folder: Path,
    solver: Path,
    report: Callable[[str], None] | None = None,
) -> list[SolvedPhase]:
    """Solve all phases of a layout, from the natural state on.

    Parameters
    ----------
    steady : the solved steady stages; recharge wells give what they give there, and points that
        are shut there stay shut.

    Raises
    ------
    SolverFailed : a phase has no answer; names it.
    """
    heads = steady[0].heads
    first_step = layout.site.description.time.first_step if layout.site.description.time else 0.02
    found = []
    for number, phase in enumerate(phases(layout.site)):
        dug = dug_model(layout, phase.stage, phase.name, phase.formation, heads)
        name = f"t{number}-{stage_folder_name(phase.stage + 1, phase.name)}"
        place = folder / name
        write_stage(dug.model, place, storage=True)
        usable = [
            index
            for index, (point, works) in enumerate(zip(dug.points, dug.working, strict=True))
            if works and point.node.size
        ]
        settled = next(s.settled for s in steady[1:] if s.name == _stage_name(layout, phase))
        assert settled is not None
        if usable:
            set_rows(
                place,
                [
                    row
                    for at, index in enumerate(usable)
                    for row in _pump_rows(
                        at, dug.points[index], settled.drives[index].shut,
                        settled.states[index].flow,
                    )
                ],
            )
        attempts: list[Attempt] = []
        rung = _solve(phase, place, solver, dug.model.start, first_step, attempts, report)
        heads = read_heads(place)
        found.append(
            SolvedPhase(
                phase,
                name,
                dug.dig.floor_plan if phase.formation is not None else np.zeros(0, np.intp),
                [dug.points[index].name for index in usable],
                rung.name,
                attempts,
                heads,
            )
        )
    return found


def _stage_name(layout: Layout, phase: Phase) -> str:
    return layout.site.description.excavation.stages[phase.stage].name


def _pump_rows(
    index: int, point: GridPoint, shut: bool, steady_flow: float
) -> list[tuple[object, ...]]:
    """How one point is pumped through a phase."""
    if shut:
        return [(index, "status", "inactive")]
    if point.injects:
        return [(index, "status", "active"), (index, "rate", steady_flow * DAY)]
    most = most_flow(point, np.inf)[0]
    if point.group_capacity is not None:
        most = min(most, point.group_capacity)
    return [
        (index, "status", "active"),
        (index, "rate", -most * DAY),
        (index, "rate_scaling", point.lowest, HOLDS_WITHIN),
    ]


def _solve(
    phase: Phase,
    place: Path,
    solver: Path,
    start: Floats,
    first_step: float,
    attempts: list[Attempt],
    report: Callable[[str], None] | None,
) -> Rung:
    length = phase.ends - phase.begins
    steps = (
        "BEGIN DIMENSIONS\n  MAXATS 1\nEND DIMENSIONS\nBEGIN PERIODDATA\n"
        f"  1 {min(first_step, length / 4):.6e} 1.0e-6 {length / STEPS_A_PHASE:.6e} "
        f"{STEP_GROWTH} 3.0\nEND PERIODDATA\n"
    )
    time = (
        "BEGIN OPTIONS\n  TIME_UNITS DAYS\n  ATS6 FILEIN steps.ats\nEND OPTIONS\n"
        "BEGIN DIMENSIONS\n  NPER 1\nEND DIMENSIONS\n"
        f"BEGIN PERIODDATA\n  {length:.6f} 1 1.0\nEND PERIODDATA\n"
    )
    for rung in LADDER:
        if rung.stepping:
            continue
        attempt = attempt_in_time(rung, place, solver, start, phase.name, time, steps, report)
        attempts.append(attempt)
        if attempt.answered:
            return rung
    raise SolverFailed(phase.name, f"{len(attempts)} ways tried; {attempts[-1].why}", place)

