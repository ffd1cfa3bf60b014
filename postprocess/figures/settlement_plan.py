"""Plan of the final settlement of one stage: the whole trough and the ground at the pit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.fields import plan_field
from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.plan import (
    BOTTOM,
    HEIGHT,
    WIDTH,
    PlanWindows,
    draw_band_key,
    draw_bands,
    draw_legend,
    frame_plan,
    show_close_window,
    window_around,
)
from wellring.postprocess.figures.plan_marks import (
    Handles,
    draw_borings_and_points,
    draw_boundaries,
    draw_pit,
    draw_scale_and_north,
    draw_wells,
)
from wellring.postprocess.figures.style import (
    ALARM,
    INK,
    MARGIN,
    PAPER,
    SHEET,
    Scales,
    explain,
    panel,
    sheet,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import Settlement
from wellring.postprocess.settlement.settlement_answers import largest_slope

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from wellring.postprocess.stage_results import StageResult

METRIC_STEPS = (1, 2, 5, 10, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 500)
"""Contours of settlement [mm]."""
US_STEPS = (0.05, 0.1, 0.25, 0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8, 12, 20)
"""Contours of settlement [in]."""


def settlement_windows(run: RunFolder, found: list[Settlement]) -> PlanWindows:
    """Windows for all settlement plans of a run: what settles by the first step, and the pit."""
    scales, outline = Scales.of(run), np.asarray(run.ledger.outline)
    size = float(np.ptp(outline, axis=0).max())
    least = _steps(run)[0] / shown("settlement", run.ledger.show).factor
    with np.errstate(invalid="ignore"):
        moved = np.fmax.reduce([item.final for item in found]) >= least
    x, y = run.centres
    wide = np.vstack([outline, np.column_stack([x[moved], y[moved]])])
    return PlanWindows(
        window_around(scales.crs(wide), 0.06, scales.crs(3 * size)),
        window_around(scales.crs(outline), 0.6, 0.0),
    )


def draw_settlement(
    run: RunFolder,
    results: list[StageResult],
    number: int,
    found: list[Settlement],
    windows: PlanWindows,
) -> Figure:
    """The sheet of one stage.

    Parameters
    ----------
    number : the stage's place in `results`.
    found : settlement of all dug stages, whose largest sets the steps of all sheets.
    """
    item, scales = found[number - 1], Scales.of(run)
    scale = shown("settlement", run.ledger.show)
    largest = max(float(np.nanmax(each.final, initial=0.0)) for each in found) * scale.factor
    steps = [float(step) for step in _steps(run) if step < largest] or [float(_steps(run)[0])]
    field = plan_field(run, item.final, scale.factor)
    figure = sheet(run, "Final settlement of the ground", item.entry.name)
    handles: Handles = {}
    for close, left in ((False, MARGIN + 0.25), (True, SHEET[0] - MARGIN - WIDTH)):
        axes = panel(figure, left, BOTTOM, WIDTH, HEIGHT)
        window = windows.close if close else windows.wide
        frame_plan(axes, window, scales, run)
        told = "around the excavation" if close else "whole extent of the settlement"
        axes.set_title(told, fontsize=8.5, loc="left", pad=4)
        placer = LabelPlacer(axes)
        draw_scale_and_north(axes, scales)
        lines = draw_bands(axes, field.cropped(window).smoothed(), steps, False, "settlement")
        draw_pit(axes, run, scales, placer, handles, number)
        draw_boundaries(axes, run, placer, handles, named=True)
        draw_wells(axes, run, scales, placer, handles, number, named=False)
        hidden = None if close else shapely.box(*windows.close)
        draw_borings_and_points(axes, run, scales, placer, handles, hidden)
        _mark_largest(axes, run, item, scales, placer, handles)
        for step, pieces in lines:
            if step > 0:
                placer.place_on_line(pieces, f"{step:g}", clear=False)
        if not close:
            show_close_window(axes, windows)
    draw_legend(figure, handles)
    draw_band_key(figure, steps, f"Final settlement [{scale.unit}]")
    explain(figure, _note(run, item))
    return figure


def _steps(run: RunFolder) -> tuple[float, ...]:
    """Contour steps in shown units: the usual ones and the user's bounds of zones."""
    usual = US_STEPS if run.ledger.show == "us" else METRIC_STEPS
    factor = shown("settlement", run.ledger.show).factor
    bounds = () if run.ledger.show == "us" else run.assessment.settlements
    return tuple(sorted({*map(float, usual), *(round(b * factor, 6) for b in bounds)}))


def _mark_largest(
    axes: Axes, run: RunFolder, item: Settlement, scales: Scales, placer: LabelPlacer,
    handles: Handles,
) -> None:  # fmt: skip
    from matplotlib.lines import Line2D

    if not np.isfinite(item.final).any():
        return
    cell = int(np.nanargmax(item.final))
    x, y = run.centres
    spot = (float(scales.crs(x[cell])), float(scales.crs(y[cell])))
    style: dict[str, Any] = {
        "marker": "v",
        "markersize": 6.5,
        "markerfacecolor": ALARM,
        "markeredgecolor": PAPER,
        "markeredgewidth": 0.8,
        "linestyle": "none",
    }
    axes.plot(*spot, zorder=7, **style)
    placer.block(np.array([spot]), 4)
    text = shown("settlement", run.ledger.show).text(float(item.final[cell]))
    placer.place(spot, text, 7, must=True, weight="bold", color=INK)
    handles.setdefault("largest", Line2D([], [], label="largest settlement", **style))


def _note(run: RunFolder, item: Settlement) -> str:
    scale = shown("settlement", run.ledger.show)
    told = []
    if item.at_stage_end is not None:
        then = float(np.nanmax(item.at_stage_end, initial=0.0))
        told.append(
            f"When the stage ends (day {item.end_day:g}) the largest is {scale.text(then)}, by "
            "Terzaghi's consolidation."
        )
    slope = largest_slope(run, item.final)
    if slope is not None and slope[0] > 1e-6:
        told.append(f"Steepest slope outside the pit: 1 in {1 / slope[0]:,.0f}.")
    missing = [label for label, rise in item.not_counted.items() if rise > 1e3]
    if missing:
        told.append(f"NOT counted, for want of compression data: {', '.join(missing)}.")
    told.append(
        "Compression of every layer, as thick as it is at each place, under the change of "
        "effective stress from before the work to the stage's steady state. Not in it: movement "
        "of walls, vibration, loss of fines. White: less than the first contour; dashed: heave. "
        "Grey: the pit, not assessed, or outside the model. Screening: local codes and a licensed "
        "engineer decide."
    )
    return " ".join(told)
