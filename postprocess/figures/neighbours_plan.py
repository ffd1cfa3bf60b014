"""Plan of the neighbours by their state, above contours of settlement or of drawdown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from wellring.inputs.basics.units import shown
from wellring.inputs.geodata.receptors import Receptors
from wellring.postprocess.figures.fields import PlanField, contour_steps, plan_field
from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.plan import (
    BOTTOM,
    HEIGHT,
    WIDTH,
    draw_band_key,
    draw_bands,
    draw_legend,
    frame_plan,
    window_around,
)
from wellring.postprocess.figures.plan_marks import (
    Handles,
    draw_boundaries,
    draw_geometry,
    draw_pit,
    draw_scale_and_north,
)
from wellring.postprocess.figures.settlement_plan import METRIC_STEPS, US_STEPS
from wellring.postprocess.figures.style import (
    INK,
    MARGIN,
    PAPER,
    SHEET,
    WALL,
    Scales,
    explain,
    panel,
    plain,
    sheet,
)
from wellring.postprocess.neighbours.neighbour_tables import CRITERIA, state_of
from wellring.postprocess.neighbours.neighbours import Effects
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import settlements

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from wellring.postprocess.stage_results import StageResult

LOOKS: dict[str, dict[str, Any]] = {
    "over a limit": {"facecolor": "#d9692b", "hatch": "xxxx", "edgecolor": "#4a1c06", "width": 1.2},
    "within limits": {"facecolor": "#cfe0c3", "hatch": "", "edgecolor": INK, "width": 0.7},
    "no limit given": {"facecolor": PAPER, "hatch": "....", "edgecolor": INK, "width": 0.7},
    "not assessed": {"facecolor": "#b9b9b4", "hatch": "", "edgecolor": "#7d7d78", "width": 0.7},
}
"""Each state by fill and hatching, so that it can be told without colour."""
_MARKS = {"over a limit": "X", "within limits": "o", "no limit given": "s", "not assessed": "v"}
_LINES = {"over a limit": 2.6, "within limits": 1.5, "no limit given": 1.5, "not assessed": 1.0}
_NAMED = 12
"""Neighbours named on a panel, the worst first."""


def draw_neighbours(run: RunFolder, results: list[StageResult], effects: Effects) -> Figure:
    """The sheet: settlement on the left, drawdown on the right, of the stage that does most."""
    number = _stage(effects)
    result, scales = results[number + 1], Scales.of(run)
    figure = sheet(run, "Neighbours by state", result.entry.name)
    handles: Handles = {}
    window = _window(run, effects, scales)
    panels: list[tuple[PlanField, list[float], str, str]] = []
    settled = settlements(run, results)
    if settled:
        scale = shown("settlement", run.ledger.show)
        field = plan_field(run, settled[number].final, scale.factor)
        steps = US_STEPS if run.ledger.show == "us" else METRIC_STEPS
        largest = float(np.nanmax(field.values, initial=0.0))
        panels.append(
            (field, [float(s) for s in steps if s < largest] or [float(steps[0])],
             f"final settlement [{scale.unit}]", "settlement")
        )  # fmt: skip
    assert result.fall is not None
    field = plan_field(run, result.fall.largest, scales.length.factor)
    largest = float(np.nanmax(field.values, initial=0.0))
    told = f"drawdown of water table or any layer [{scales.length.unit}]"
    panels.append((field, contour_steps(run, largest), told, "drawdown"))
    lefts = (MARGIN + 0.25, SHEET[0] - MARGIN - WIDTH)
    for place, (field, shown_steps, title, what) in enumerate(panels):
        axes = panel(figure, lefts[place], BOTTOM, WIDTH, HEIGHT)
        frame_plan(axes, window, scales, run)
        axes.set_title(title, fontsize=8.5, loc="left", pad=4)
        placer = LabelPlacer(axes)
        draw_scale_and_north(axes, scales)
        lines = draw_bands(axes, field.cropped(window).smoothed(), shown_steps, False, what)
        draw_boundaries(axes, run, placer, handles, named=True)
        draw_receptors(axes, effects.receptors, state_of(effects), scales, placer, handles)
        draw_pit(axes, run, scales, placer, handles, number + 1)
        _name_worst(axes, effects, scales, placer)
        for step, pieces in lines:
            placer.place_on_line(pieces, f"{step:g}", clear=False)
    draw_legend(figure, handles)
    draw_band_key(figure, panels[0][1], panels[0][2].capitalize())
    explain(figure, _note(effects))
    return figure


def draw_receptors(
    axes: Axes,
    receptors: Receptors,
    state: Any,
    scales: Scales,
    placer: LabelPlacer | None,
    handles: Handles,
) -> None:
    """Neighbours by state: areas filled and hatched, lines and points by width and mark."""
    from matplotlib.patches import Patch

    shapes = shapely.transform(receptors.shapes, scales.crs)
    dimension = shapely.get_dimensions(shapes)
    for name, look in LOOKS.items():
        own = state == name
        if not own.any():
            continue
        areas = shapes[own & (dimension == 2)]
        style = {"facecolor": look["facecolor"], "edgecolor": look["edgecolor"],
                 "hatch": look["hatch"], "linewidth": look["width"]}  # fmt: skip
        if areas.size:
            whole = shapely.multipolygons(shapely.get_parts(areas))
            draw_geometry(axes, whole, zorder=5, alpha=0.9, **style)
        for line in shapely.get_parts(shapes[own & (dimension == 1)]):
            xy = shapely.get_coordinates(line)
            axes.plot(*xy.T, color=PAPER, linewidth=_LINES[name] + 1.6, zorder=4.8)
            axes.plot(*xy.T, color=look["edgecolor"], linewidth=_LINES[name], zorder=4.9,
                      linestyle="-" if name != "no limit given" else (0, (4, 2)))  # fmt: skip
        points = shapely.get_coordinates(shapes[own & (dimension == 0)])
        if points.size:
            face, edge = look["facecolor"], look["edgecolor"]
            axes.plot(*points.T, marker=_MARKS[name], markersize=7, linestyle="none", zorder=6.5,
                      markerfacecolor=face, markeredgecolor=edge)  # fmt: skip
            if placer is not None:
                placer.block(points, 4)
        handles.setdefault(f"neighbour {name}", Patch(label=f"neighbour {name}", **style))


def _stage(effects: Effects) -> int:
    """The stage with the most neighbours over a limit, the last of several."""
    counts = [int(stage.over.sum()) for stage in effects.stages]
    return len(counts) - 1 - int(np.argmax(counts[::-1]))


def _window(run: RunFolder, effects: Effects, scales: Scales) -> Any:
    """The pit and the neighbours that feel something, but not more than a few pits' widths."""
    outline = np.asarray(run.ledger.outline)
    size = float(np.ptp(outline, axis=0).max())
    pit = shapely.Polygon(outline)
    near = shapely.distance(effects.receptors.shapes, pit) < 2.5 * size
    points = [outline]
    if near.any():
        bounds = shapely.bounds(effects.receptors.shapes[near]).reshape(-1, 2)
        reach = pit.buffer(2.5 * size).bounds
        points.append(np.clip(bounds, reach[:2], reach[2:]))
    return window_around(scales.crs(np.vstack(points)), 0.08, scales.crs(2 * size))


def _name_worst(axes: Axes, effects: Effects, scales: Scales, placer: LabelPlacer) -> None:
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    frame = shapely.box(x0, y0, x1, y1)
    named = 0
    for place in effects.order:
        shape = shapely.transform(effects.receptors.shapes[place], scales.crs)
        seen = shapely.intersection(shape, frame)
        if seen.is_empty or named >= _NAMED:
            continue
        spot = seen.representative_point()
        over = bool(effects.over[place])
        placer.place((spot.x, spot.y), plain(effects.receptors.name[place], 24), 6.6,
                     weight="bold" if over else "normal", color=WALL if over else INK)  # fmt: skip
        named += 1


def _note(effects: Effects) -> str:
    over = effects.over
    told = [f"{int(over.sum())} of {len(effects.receptors)} neighbours are over a limit."]
    for place in effects.order[:4]:
        stage = effects.stages[effects.worst_stage[place]]
        which = int(stage.governing[place])
        if which >= 0:
            check = stage.checks[which]
            told.append(
                f"{plain(effects.receptors.name[place], 30)}: {CRITERIA[check.name][0]}, "
                f"{check.use[place]:.0%} of what is allowed ({plain(stage.entry.name, 20)})."
            )
    told.append(
        "State is the worst of all stages; contours are of the stage named above, in its steady "
        "state. White: less than the first contour. See tables/neighbours.csv. Screening: local "
        "codes and a licensed engineer decide."
    )
    return " ".join(told)
