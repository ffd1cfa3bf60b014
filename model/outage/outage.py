"""The pumps stop: a stage's model with its pit as open water, followed in time as it fills.

The dug cells come back as very pervious cells that hold water alone (specific yield 1), dry at
first. Seepage boundaries of floor and faces are gone: what would leave through them now stays in
the pit. Walls also act between the pit and the ground outside.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog, SolverFailed, nearest
from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.grid.grid_sizes import formations
from wellring.model.grid.water import WaterBoundaries
from wellring.model.layouts.layout import Layout
from wellring.model.mf6.build import StageModel, write_stage
from wellring.model.mf6.file_edits import set_well_rows
from wellring.model.mf6.rungs import LADDER
from wellring.model.mf6.solve import Attempt, attempt_in_time
from wellring.model.mf6.time_steps import Stretch, stepping
from wellring.model.runs.stages import dug_model
from wellring.model.runs.transient import pump_rows, well_levels

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

FIRST_STEP = 1.0 / 1440.0
"""[days]: a minute."""
GROWTH = 1.2
STEPS_AT_LEAST = 56
"""No step is longer than this part of the time followed: 3 hours of a week. With twice that a pit
that fills through a plug floods 2 % too late."""
CLOSURES = ((1e-2, 1e-6), (1e-2, 1e-5), (1e-1, 1e-4))
"""Flow [m³/day] and head change [m] at which a step is solved, the finest that can be had. A pit
of 1000 m² whose level is 0.1 mm off in a step of an hour misses 2.4 m³/day."""
WATER_STORAGE = 4.5e-6
"""Specific storage of open water [1/m]: its compressibility 4.6e-10 1/Pa times 9.81 kN/m³."""
OPEN_WATER_K = 0.01
"""Conductivity of the pit's cells [m/s], and at least :data:`AT_LEAST` that of any soil."""
AT_LEAST = 10.0


@dataclass
class Outage:
    """What stops: `model` is written and solved; `stopped` and `running` are names of points."""

    model: StageModel
    stopped: list[str]
    running: list[str]
    relief: list[str]
    attempts: list[Attempt]
    discrepancy: float


def stopping(
    points: Sequence[GridPoint], working: Sequence[bool], names: Sequence[str] | None, place: str
) -> list[bool]:
    """Which of the points stop: all that pump, or those whose name or group is named.

    Passive wells have no pump that could stop.

    Raises
    ------
    InputFaults : a name fits none of those that pump in this stage.
    """
    pumps = [w and not p.follows_floor for p, w in zip(points, working, strict=True)]
    if not names:
        return pumps
    faults = FaultLog()
    chosen = [False] * len(points)
    known = [p.name for p, pump in zip(points, pumps, strict=True) if pump]
    known += [p.group for p, pump in zip(points, pumps, strict=True) if pump and p.group]
    for name in names:
        fits = [
            pump and (name in (p.name, p.group) or p.name.startswith(f"{name} "))
            for p, pump in zip(points, pumps, strict=True)
        ]
        if not any(fits):
            faults.add(
                place, "--pump", name, "a pump that works in this stage", nearest(name, known)
            )
        chosen = [a or b for a, b in zip(chosen, fits, strict=True)]
    faults.raise_if_any()
    return chosen


def flood_model(
    layout: Layout, index: int, name: str, formation: float, before: Floats, stops: Sequence[bool]
) -> tuple[StageModel, list[int], Mask]:
    """A stage's model with its pit as open water and without the points that stop.

    Parameters
    ----------
    before : the stage's steady heads (nlay, nrow, ncol) or (nlay, n) [m].
    stops : one entry a point of the layout.

    Returns
    -------
    The model, the layout's indices of the points in it, and the pit's cells (nlay, n).
    """
    dug = dug_model(layout, index, name, formation, before)
    ground, edges = layout.ground, layout.ground.layers.edges
    pit = dug.dig.gone & ground.active
    open_k = max(OPEN_WATER_K, AT_LEAST * float(ground.kh[ground.active].max()))
    water = replace(
        ground,
        kh=np.where(pit, open_k, ground.kh),
        kv=np.where(pit, open_k, ground.kv),
        ss=np.where(pit, WATER_STORAGE, ground.ss),
        sy=np.where(pit, 1.0, ground.sy),
    )
    heads = dug.model.start.reshape(pit.shape)
    first = np.argmax(dug.model.active, axis=0)
    column = np.arange(pit.shape[1])
    beneath = np.where(dug.model.active.any(axis=0), heads[first, column], edges[-1])
    start = np.where(pit, np.minimum(beneath, edges[1:]), heads)
    kept = [
        i
        for i, (point, works) in enumerate(zip(dug.points, dug.working, strict=True))
        if works and point.node.size and not stops[i]
    ]
    points = [_into_pit(dug.points[i], pit) for i in kept]
    model = replace(
        dug.model,
        ground=water,
        active=dug.model.active | pit,
        start=start.reshape(dug.model.start.shape),
        water=_as_in_stage(layout.water, dug.model.active),
        drains={},
        points=points,
        drives=[PointDrive(point.lowest, None, "level") for point in points],
    )
    return model, kept, pit


def _into_pit(point: GridPoint, pit: Mask) -> GridPoint:
    """A passive well joined to the pit it rises into; any other point as it is."""
    if not point.follows_floor or not point.node.size:
        return point
    n = pit.shape[1]
    column = int(point.node[0]) % n
    above = np.flatnonzero(pit[:, column])
    if not above.size:
        return point
    mouth = 100.0 * float(point.conductance.sum())  # wide open beside its screen
    return replace(
        point,
        node=np.concatenate([[int(above[-1]) * n + column], point.node]),
        conductance=np.concatenate([[mouth], point.conductance]),
        screen_k=np.concatenate([point.screen_k[:1], point.screen_k]),
        screen_bottom=np.concatenate([point.screen_bottom[:1], point.screen_bottom]),
        screen_top=np.concatenate([point.screen_top[:1], point.screen_top]),
    )


def _as_in_stage(water: WaterBoundaries, active: Mask) -> WaterBoundaries:
    """The natural water of a stage, as steady as there: none of it comes back with the pit."""
    flat = active.reshape(-1)
    exchanges = []
    for item in water.exchanges:
        keep = flat[item.node]
        exchanges.append(
            replace(
                item,
                node=item.node[keep],
                level=item.level[keep],
                conductance=item.conductance[keep],
                floor=None if item.floor is None else item.floor[keep],
                series=None,
            )
        )
    held = []
    for given in water.held:
        keep = flat[given.node]
        held.append(replace(given, node=given.node[keep], level=given.level[keep], series=None))
    return WaterBoundaries(exchanges, held, water.recharge)


def follow_outage(
    layout: Layout,
    index: int,
    before: Floats,
    drives: Sequence[PointDrive],
    states: Sequence[PointState],
    stops: Sequence[bool],
    days: float,
    place: Path,
    solver: Path,
    report: Callable[[str], None] | None = None,
) -> Outage:
    """Let the pumps of a stage stop and follow the water for `days`; heads are left in `place`.

    Parameters
    ----------
    before : the stage's steady heads (nlay, nrow, ncol) or (nlay, n) [m].
    drives, states : of all points of the layout in the steady stage.

    Raises
    ------
    SolverFailed : no way of solving it had an answer.
    """
    stage = layout.site.description.excavation.stages[index]
    name = f"outage in {stage.name}"
    formation = formations(layout.site)[index]
    model, kept, pit = flood_model(layout, index, name, formation, before, stops)
    model.well_levels = well_levels(model, {})
    write_stage(model, place, (0.0, days))
    if kept:
        rows = pump_rows(
            model.points, [drives[i] for i in kept], [states[i] for i in kept], formation
        )
        passive = {
            at
            for at, point in enumerate(model.points)
            if point.follows_floor and pit.reshape(-1)[point.node].any()
        }
        rows = [row for row in rows if row[0] not in passive]
        for at in sorted(passive):
            rows += [(at, "status", "active"), (at, "rate", 0.0)]
        set_well_rows(place, rows)
    steps = stepping([Stretch(days, days / STEPS_AT_LEAST)], FIRST_STEP, GROWTH)
    attempts: list[Attempt] = []
    rungs = [rung for rung in LADDER if not rung.stepping]
    for rung, closures in product(rungs, CLOSURES):
        attempts.append(
            attempt_in_time(
                rung, place, solver, model.start, name, steps, report, closures=closures
            )
        )
        if attempts[-1].answered:
            passive_names = [p.name for p in model.points if p.follows_floor]
            return Outage(
                model,
                [p.name for p, stop in zip(layout.points, stops, strict=True) if stop],
                [p.name for p in model.points if not p.follows_floor],
                passive_names,
                attempts,
                attempts[-1].discrepancy,
            )
    raise SolverFailed(name, f"{len(attempts)} ways tried; {attempts[-1].why}", place)
