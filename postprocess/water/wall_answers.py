"""What the walls do: windows of bad joints, and walls that hold soil but not water."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from wellring.inputs.basics.units import shown
from wellring.inputs.site.walls import Wall
from wellring.postprocess.run.answer import Answer, Part
from wellring.postprocess.run.inflow import face_flow
from wellring.postprocess.run.ledger import WallEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.wall_areas import walls_of

Floats = NDArray[np.float64]
NEAR = 5.0
"""How far outside a wall without water-tightness the fallen water is told [m]."""


def assess_walls(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Leakage of windows, uneven toes, and the ground outside walls that let water through."""
    part = Part(title="Walls")
    for entry, wall in walls_of(run):
        for number, result in enumerate(results[1:]):
            if wall is not None and entry.from_stage <= number:
                _windows(run, result, entry, wall, part)
        part.warnings += _what_if(run, entry, wall)
        if not entry.holds_water and entry.kind != "none":
            part.warnings.append(_outside(run, results, entry))
        elif entry.toes and max(entry.toes) - min(entry.toes) > 0.01:
            level = shown("level", run.ledger.show)
            part.assumptions.append(
                f"'{entry.name}': toe from {level.text(min(entry.toes))} to "
                f"{level.text(max(entry.toes))}, straight between the corners of its line"
            )
        if entry.from_stage > 0 and entry.holds_water:
            since = run.ledger.stages[entry.from_stage + 1].name
            part.assumptions.append(f"'{entry.name}' stands from '{since}' on, not before")
    return part


def _what_if(run: RunFolder, entry: WallEntry, wall: Wall | None) -> list[str]:
    length = shown("length", run.ledger.show)
    return [
        f"what-if: '{entry.name}' leaks {window.factor:g} times as much from "
        f"{length.text(window.start)} to {length.text(window.end)} along its line; compare "
        "with a run without that window"
        for window in (wall.windows if wall is not None else ())
    ]


def _windows(run: RunFolder, result: StageResult, entry: WallEntry, wall: Wall, part: Part) -> None:
    length = shown("length", run.ledger.show)
    for number, window in enumerate(wall.windows, start=1):
        line, along = LineString(entry.line), _along(run, entry)
        share = window.shares(along, line.length)
        # Of a face that is window in part, the window takes its share times the factor.
        through = share * window.factor / (1.0 + (window.factor - 1.0) * share)
        flow = float((through * wall_flows(run, result, entry)).sum())
        part.answers[f"{result.entry.folder}.window_{number}.{entry.name}"] = Answer(
            flow,
            "m3/s",
            f"what-if: joints {window.factor:g} times as leaky from {length.text(window.start)} "
            f"to {length.text(window.end)} along the wall; MODFLOW 6 cell-by-cell flows",
            f"{result.entry.name}: through the window of bad joints in {entry.name}",
            "flow",
        )


def _along(run: RunFolder, entry: WallEntry) -> Floats:
    """Distance (m,) [m] along the wall's line of each of its faces."""
    pairs = np.asarray(entry.faces, dtype=np.intp).reshape(-1, 2)
    x, y = run.centres
    middle = shapely.points(x[pairs].mean(axis=1), y[pairs].mean(axis=1))
    return np.asarray(shapely.line_locate_point(LineString(entry.line), middle))


def wall_flows(run: RunFolder, result: StageResult, entry: WallEntry) -> Floats:
    """Flow (m,) [m³/s] into the pit through each plan face of a wall, from top to toe."""
    pairs = np.asarray(entry.faces, dtype=np.intp).reshape(-1, 2)
    grid, n = result.grid, run.area.size
    inside = np.zeros(n, bool)
    inside[np.asarray(run.ledger.inside, dtype=np.intp)] = True
    swap = inside[pairs[:, 1]] & ~inside[pairs[:, 0]]
    within = np.where(swap, pairs[:, 1], pairs[:, 0])
    without = np.where(swap, pairs[:, 0], pairs[:, 1])
    level = 0.5 * (grid.mid[:, within] + grid.mid[:, without])
    stands = grid.active[:, within] & grid.active[:, without]
    stands &= (level > np.asarray(entry.toes)) & (level < np.asarray(entry.tops))
    layer, face = np.nonzero(stands)
    below = face_flow(run, result.entry, layer * n + within[face], layer * n + without[face])
    total = np.bincount(face, weights=below, minlength=len(pairs))
    # Above formation the wall's inner side is open: what comes through there leaves by drains
    # of the cell outside, which at a corner of the staircase has two faces.
    node, flow = run.package_flows(result.entry, "drn_wall")
    drained = np.bincount(node % n, weights=-flow, minlength=n)
    faces_of = np.maximum(np.bincount(without, minlength=n), 1)
    return np.asarray(total + drained[without] / faces_of[without])


def _outside(run: RunFolder, results: Sequence[StageResult], entry: WallEntry) -> str:
    """What a wall that lets water through means for the ground behind it."""
    told = (
        f"'{entry.name}' ({entry.kind}) holds soil but not water: the ground outside is drained "
        "as if no wall stood there"
    )
    last = results[-1]
    x, y = run.centres
    centre = shapely.points(x, y)
    line = LineString(entry.line)
    near = (shapely.distance(line, centre) <= NEAR) & ~shapely.contains(
        Polygon(run.ledger.outline), centre
    )
    near &= np.isfinite(last.table) & np.isfinite(results[0].table)
    if near.any():
        length, level = shown("length", run.ledger.show), shown("level", run.ledger.show)
        flow = shown("flow", run.ledger.show)
        fall = results[0].table[near] - last.table[near]
        assert last.inflow is not None
        told += (
            f"; within {length.text(NEAR)} of it the water then stands at "
            f"{level.text(float(last.table[near].min()))} to "
            f"{level.text(float(last.table[near].max()))}, up to {length.text(float(fall.max()))} "
            f"lower than before, and {flow.text(last.inflow.faces)} seep through the pit's faces"
        )
    return told + (
        ". What is not drained before the dig seeps through and washes soil out unless it is "
        "filtered; the water must be lowered outside too, and what stands there may settle as "
        "beside an open pit (common practice)"
    )
