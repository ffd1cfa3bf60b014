"""What stands on a report's plan: pit, walls, wells, borings, points, neighbours, section lines.

Coordinates in the page are metres from the pit's middle, `origin` says where that is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.inputs.basics.shown_text import shown_text
from wellring.inputs.basics.units import Shown, shown
from wellring.postprocess.figures.cuts import Cut
from wellring.postprocess.figures.style import Scales, plain
from wellring.postprocess.report.report_fields import classes, packed_layers, thin
from wellring.postprocess.run.answer import PlanLayer, PlanMark
from wellring.postprocess.run.heads import level_at_point
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Sheet:
    """One plan of a page; several stand side by side and are moved together.

    Parameters
    ----------
    run, layers : whose grid it is, and the fields over it by a short name.
    results : of the stages, where there are any; the named points' levels are told from them.
    marks, cuts : what else stands on it.
    name, told, ok : what it is called, what is said of it, and whether its limits hold.
    wells : more about wells by their name.
    """

    run: RunFolder
    layers: dict[str, PlanLayer]
    results: Sequence[StageResult] = ()
    marks: Sequence[PlanMark] = ()
    cuts: Sequence[Cut] = ()
    name: str = ""
    told: str = ""
    ok: bool | None = None
    wells: Mapping[str, str] = field(default_factory=dict)


def plans_data(sheets: Sequence[Sheet]) -> list[dict[str, Any]]:
    """Grid, layers and things of each plan as the page reads them, colours the same in all."""
    count = sum(len(item.stages) for sheet in sheets for item in sheet.layers.values())
    names = dict.fromkeys(name for sheet in sheets for name in sheet.layers)
    steps = {
        name: classes(sheets[0].run, name, [s.layers[name] for s in sheets if name in s.layers])
        for name in names
    }
    return [_plan(sheet, count, steps) for sheet in sheets]


def _plan(sheet: Sheet, count: int, steps: dict[str, list[float]]) -> dict[str, Any]:
    run, ledger = sheet.run, sheet.run.ledger
    pit = shapely.Polygon(ledger.outline)
    origin = np.array([round(pit.centroid.x, 1), round(pit.centroid.y, 1)])
    thinned = thin(run, count)
    corner = np.array(ledger.grid.origin) - origin
    return {
        "name": plain(sheet.name, 90),
        "told": plain(sheet.told, 200),
        "ok": sheet.ok,
        "origin": origin.tolist(),
        "metres_per_unit": ledger.metres_per_unit,
        "crs": ledger.crs,
        "crs_unit": Scales.of(run).crs_unit,
        "grid": {
            "corner": corner.tolist(),
            "rotation": ledger.grid.rotation,
            "x": np.round(thinned.x_edges, 4).tolist(),
            "y": np.round(thinned.y_edges, 4).tolist(),
            "every": thinned.step,
        },
        "layers": packed_layers(run, sheet.layers, thinned, steps),
        "pit": _shift(ledger.outline, origin),
        "walls": [
            {
                "name": plain(wall.name),
                "line": _shift(wall.line, origin),
                "holds_water": wall.holds_water,
                "from": wall.from_stage + 1,
            }
            for wall in ledger.walls
        ],
        "cuts": [{"letter": cut.letter, "line": _shift(cut.ends, origin)} for cut in sheet.cuts],
        "things": [
            *_wells(run, origin, sheet.wells),
            *_points(run, sheet.results, origin),
            *_borings(run, origin),
            *(
                {
                    "group": "marks",
                    "name": plain(mark.name),
                    "what": plain(mark.what),
                    "corners": _shift(mark.corners, origin),
                    "notes": {
                        stage: plain(shown_text(text, ledger.show), 400)
                        for stage, text in mark.notes.items()
                    },
                }
                for mark in sheet.marks
            ),
        ],
    }


def _shift(corners: Any, origin: Floats) -> list[list[float]]:
    moved = np.asarray(corners, dtype=float).reshape(-1, 2) - origin
    return np.round(moved, 3).tolist()


def _wells(run: RunFolder, origin: Floats, more: Mapping[str, str]) -> list[dict[str, Any]]:
    length, flow = shown("length", run.ledger.show), shown("flow", run.ledger.show)
    found = []
    for well in run.ledger.wells:
        screen = f"screen {length.text(min(well.screen))} to {length.text(max(well.screen))}"
        told = f"; {plain(more[well.name], 200)}" if well.name in more else ""
        notes = {"": f"{plain(well.method)}, {screen}{told}"}
        # A ledger of stages that were not solved has wells without flows.
        solved = zip(run.ledger.stages, well.flow, well.level, well.governing, strict=False)
        for stage, rate, level, governing in solved:
            notes[stage.folder] = _well_note(length, flow, rate, level, governing)
        found.append(
            {
                "group": "wells",
                "name": plain(well.name),
                "what": plain(well.method),
                "corners": _shift([(well.x, well.y)], origin),
                "notes": notes,
            }
        )
    return found


def _well_note(length: Shown, flow: Shown, rate: float, level: float | None, governing: str) -> str:
    if governing == "not used":
        return "not used in this stage"
    way = "returns" if rate < 0 else "gives"
    text = f"{way} {flow.text(abs(rate))}"
    if level is not None:
        text += f", level in the well {length.text(level)}"
    return f"{text}; limited by {plain(governing)}"


def _points(run: RunFolder, results: Sequence[StageResult], origin: Floats) -> list[dict[str, Any]]:
    length = shown("length", run.ledger.show)
    found = []
    for point in run.ledger.points:
        of = "water table" if point.level is None else f"head at {length.text(point.level)}"
        notes = {"": f"point of yours; {of}"}
        for result in results:
            level = level_at_point(run, result.grid, result.heads, result.table, point)
            notes[result.entry.folder] = f"{of} {length.text(level)}"
        found.append(
            {
                "group": "points",
                "name": plain(point.name),
                "what": "point",
                "corners": _shift([(point.x, point.y)], origin),
                "notes": notes,
            }
        )
    return found


def _borings(run: RunFolder, origin: Floats) -> list[dict[str, Any]]:
    length = shown("length", run.ledger.show)
    return [
        {
            "group": "borings",
            "name": plain(boring.id),
            "what": "boring",
            "corners": _shift([(boring.x, boring.y)], origin),
            "notes": {
                "": f"boring from {length.text(boring.ground)} to {length.text(boring.final)}: "
                + "; ".join(
                    f"{plain(soil)} to {length.text(bottom)}"
                    for _, bottom, soil in boring.intervals[:12]
                )
            },
        }
        for boring in run.ledger.borings
    ]
