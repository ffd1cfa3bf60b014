"""Plans of drawdown: the whole bowl and the pit, side by side, one sheet a stage or aquifer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.figures.cuts import Cut
from wellring.postprocess.figures.fields import (
    PlanField,
    contour_lines,
    contour_steps,
    plan_field,
)
from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.plan_marks import (
    Handles,
    draw_borings_and_points,
    draw_boundaries,
    draw_neighbours_there,
    draw_pit,
    draw_scale_and_north,
    draw_wells,
    nice_length,
)
from wellring.postprocess.figures.style import (
    BANDS,
    BEYOND,
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
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import REACH_DRAWDOWN, StageResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]
Window = tuple[float, float, float, float]

WIDTH, HEIGHT, BOTTOM = 4.9, 4.9, 2.05
"""A plan's panel on the sheet [in]."""


@dataclass(frozen=True)
class PlanWindows:
    """What the wide and the close plan show: (x0, y0, x1, y1) in CRS units."""

    wide: Window
    close: Window


def plan_windows(run: RunFolder, results: list[StageResult]) -> PlanWindows:
    """Windows for all plans of a run, the same in every stage so that they can be compared.

    The wide one holds every cell with the least contour's drawdown or more in any stage (the
    whole model where nothing was solved), the close one the pit and the wells near it.
    """
    scales = Scales.of(run)
    outline = np.asarray(run.ledger.outline)
    size = float(np.ptp(outline, axis=0).max())
    pit = shapely.Polygon(outline)
    least = contour_steps(run, 0.0)[0] / scales.length.factor
    falls = [result.fall.largest for result in results if result.fall is not None]
    with np.errstate(invalid="ignore"):
        affected = (np.fmax.reduce(falls) >= least) if falls else np.ones(run.area.size, bool)
    x, y = run.centres
    wide = np.vstack([outline, np.column_stack([x[affected], y[affected]])])
    near = [(w.x, w.y) for w in run.ledger.wells if pit.distance(shapely.Point(w.x, w.y)) < size]
    close = np.vstack([outline, *(np.array([place]) for place in near)])
    return PlanWindows(
        window_around(scales.crs(wide), 0.06, scales.crs(3 * size)),
        window_around(scales.crs(close), 0.28, 0.0),
    )


def window_around(points: Floats, margin: float, least: float) -> Window:
    """A window of the panel's shape around points, at least `least` wide."""
    low, high = points.min(axis=0), points.max(axis=0)
    middle, span = 0.5 * (low + high), (1 + 2 * margin) * (high - low)
    wide = max(span[0], span[1] * WIDTH / HEIGHT, least)
    half = 0.5 * np.array([wide, wide * HEIGHT / WIDTH])
    return (*(middle - half), *(middle + half))


def draw_plan(
    run: RunFolder,
    results: list[StageResult],
    number: int,
    unit: int | None,
    windows: PlanWindows,
    cuts: list[Cut],
) -> Figure:
    """The sheet of one stage.

    Parameters
    ----------
    number : the stage's place in `results`; without drawdown the site alone is drawn.
    unit : index of the unit whose head's drawdown is drawn, None for the water table's.
    cuts : sections to mark.
    """
    result, scales = results[number], Scales.of(run)
    label = None if unit is None else run.ledger.units[unit].label
    field, steps = None, []
    if result.fall is not None:
        fall = result.fall.table if label is None else result.fall.units[label]
        field = plan_field(run, fall, scales.length.factor)
        steps = contour_steps(run, _largest(results, label) * scales.length.factor)
    what = "water table" if label is None else f"head in {plain(label, 40)}"
    title = f"Drawdown of the {what}" if field is not None else "What would be modelled"
    figure = sheet(run, title, result.entry.name if field is not None else None)
    handles: Handles = {}
    left_out = 0
    last = len(run.ledger.stages) - 1
    for close, left in ((False, MARGIN + 0.25), (True, SHEET[0] - MARGIN - WIDTH)):
        axes = panel(figure, left, BOTTOM, WIDTH, HEIGHT)
        window = windows.close if close else windows.wide
        frame_plan(axes, window, scales, run)
        axes.set_title(
            "at the excavation"
            if close
            else ("whole extent of the drawdown" if field else "around"),
            fontsize=8.5,
            loc="left",
            pad=4,
        )
        placer = LabelPlacer(axes)
        draw_scale_and_north(axes, scales)
        lines = []
        if field is not None:
            lines = draw_bands(axes, field.cropped(window).smoothed(), steps, refine=close)
        draw_pit(axes, run, scales, placer, handles, number if field else last)
        draw_boundaries(axes, run, placer, handles, named=True)
        if field is None:
            draw_neighbours_there(axes, run, scales, handles)
        if close:
            _mark_cuts(axes, cuts, scales, placer)
        left_out += draw_wells(axes, run, scales, placer, handles, number, named=close)
        hidden = None if close else shapely.box(*windows.close)
        draw_borings_and_points(axes, run, scales, placer, handles, hidden)
        for step, pieces in lines:
            placer.place_on_line(pieces, f"{step:g}", clear=abs(step) not in steps)
        if not close:
            show_close_window(axes, windows)
    draw_legend(figure, handles)
    if field is not None:
        told = f"Drawdown against the state before the work [{scales.length.unit}]"
        draw_band_key(figure, steps, told)
        _note(figure, run, scales, result, left_out, what)
    return figure


def _largest(results: list[StageResult], label: str | None) -> float:
    falls = [
        result.fall.table if label is None else result.fall.units[label]
        for result in results
        if result.fall is not None
    ]
    highest = [float(np.nanmax(fall)) for fall in falls if np.isfinite(fall).any()]
    return max(highest, default=0.0)


def frame_plan(axes: Axes, window: Window, scales: Scales, run: RunFolder) -> None:
    """Limits and labels of a plan's axes: coordinates of the site's system."""
    from matplotlib.ticker import MaxNLocator, StrMethodFormatter

    axes.set_facecolor(BEYOND)
    axes.set_xlim(window[0], window[2])
    axes.set_ylim(window[1], window[3])
    for axis, name in ((axes.xaxis, "Easting"), (axes.yaxis, "Northing")):
        axis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
        axis.set_major_formatter(StrMethodFormatter("{x:.0f}"))
        axis.set_label_text(f"{name} [{scales.crs_unit}], {plain(run.ledger.crs, 40)}", fontsize=7)
    axes.yaxis.set_tick_params(labelrotation=90)
    for text in axes.get_yticklabels():
        text.set_verticalalignment("center")
    axes.xaxis.labelpad, axes.yaxis.labelpad = 2, 4


def draw_bands(
    axes: Axes, field: PlanField, steps: list[float], refine: bool, what: str = "drawdown"
) -> list[tuple[float, list[Floats]]]:
    """Draw bands and contours; the lines of each step as (m, 2) in data coordinates.

    `what` names the lines in the file. `refine` adds even steps between the least and the largest
    value shown, where the common steps are too far apart to tell anything.
    """
    from matplotlib.collections import LineCollection

    values = np.ma.masked_invalid(field.values)
    if values.count() == 0 or min(values.shape) < 2:
        return []
    axes.contourf(
        field.x,
        field.y,
        values,
        levels=[-np.inf, *steps, np.inf],
        colors=_band_fills(steps),
        zorder=1,
    )
    low, high = float(values.min()), float(values.max())
    falling = {step: 0.9 if step >= 1 else 0.6 for step in steps}
    if refine:
        falling = {step: 0.4 for step in _even_steps(low, high) if step >= steps[0]} | falling
    lines: list[tuple[float, list[Floats]]] = []
    for widths, colour, style in (
        (falling, INK, "solid"),
        ({-step: 0.7 for step in steps}, WALL, "dashed"),
    ):
        for step, pieces in contour_lines(field, sorted(widths)):
            axes.add_collection(
                LineCollection(
                    pieces,
                    colors=colour,
                    linewidths=widths[step],
                    linestyles=style,
                    zorder=3,
                    gid=f"{'pit' if refine else 'all'}_{what}_{step:g}",
                ),
                autolim=False,
            )
            lines.append((step, pieces))
    # The common steps get their label first.
    return sorted(lines, key=lambda item: item[0] not in steps)


def _even_steps(low: float, high: float) -> list[float]:
    if high - low < 1e-3:
        return []
    step = nice_length((high - low) / 7)
    count = np.arange(np.ceil(low / step), np.floor(high / step) + 1)
    return [float(value) for value in (count * step).round(6)]


def _band_fills(steps: list[float]) -> list[str]:
    """Fills below the first step and between the steps, over the whole range of the hue."""
    at = np.linspace(0, len(BANDS) - 1, len(steps)).round().astype(int)
    return [PAPER, *(BANDS[k] for k in at)]


def _mark_cuts(axes: Axes, cuts: list[Cut], scales: Scales, placer: LabelPlacer) -> None:
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    dx, dy = 0.035 * (x1 - x0), 0.035 * (y1 - y0)
    inner = shapely.box(x0 + dx, y0 + dy, x1 - dx, y1 - dy)
    for cut in cuts:
        line = shapely.LineString(scales.crs(np.asarray(cut.ends)))
        seen = shapely.intersection(line, inner)
        if seen.is_empty or seen.geom_type != "LineString":
            continue
        ends = np.asarray(seen.coords)
        axes.plot(
            ends[:, 0],
            ends[:, 1],
            color=INK,
            linewidth=0.6,
            zorder=4.2,
            linestyle=(0, (9, 2.5, 1.5, 2.5)),
        )
        for point, name in zip(ends, (cut.letter, f"{cut.letter}'"), strict=True):
            axes.text(
                float(point[0]),
                float(point[1]),
                name,
                fontsize=8,
                weight="bold",
                ha="center",
                va="center",
                zorder=9,
                bbox={
                    "boxstyle": "circle,pad=0.22",
                    "facecolor": PAPER,
                    "edgecolor": INK,
                    "linewidth": 0.5,
                },
            )
        placer.block(ends, 8)
        placer.block_line(ends, 0.12)


def show_close_window(axes: Axes, windows: PlanWindows) -> None:
    """Where the close plan lies, on the wide one."""
    from matplotlib.patches import Rectangle

    x0, y0, x1, y1 = windows.close
    axes.add_patch(
        Rectangle(
            (x0, y0),
            x1 - x0,
            y1 - y0,
            fill=False,
            edgecolor=INK,
            linewidth=0.6,
            linestyle=(0, (2, 2)),
            zorder=5,
        )
    )


def draw_band_key(figure: Figure, steps: list[float], title: str) -> None:
    """The bands of a plan with the values between them."""
    from matplotlib.patches import Rectangle

    fills = _band_fills(steps)
    axes = panel(figure, MARGIN + 0.25, 1.27, WIDTH, 0.19)
    axes.set_xlim(0, len(fills))
    axes.set_ylim(0, 1)
    for place, fill in enumerate(fills):
        axes.add_patch(Rectangle((place, 0), 1, 1, facecolor=fill, edgecolor=INK, linewidth=0.4))
    axes.set_xticks(range(1, len(fills)), [f"{step:g}" for step in steps])
    axes.set_yticks([])
    axes.set_title(title, fontsize=7.5, loc="left", pad=3)


def draw_legend(figure: Figure, handles: Handles) -> None:
    """What stands on a plan, below its right panel."""
    items = list(handles.values())[:15]
    figure.legend(
        handles=items,
        loc="upper left",
        ncols=3,
        borderaxespad=0,
        columnspacing=1.0,
        handlelength=1.9,
        labelspacing=0.55,
        bbox_to_anchor=((SHEET[0] - MARGIN - WIDTH - 0.05) / SHEET[0], 1.72 / SHEET[1]),
    )


def _note(
    figure: Figure, run: RunFolder, scales: Scales, result: StageResult, left_out: int, what: str
) -> None:
    told = []
    if result.inflow is not None:
        told.append(
            f"Pumped in all: {scales.flow.text(result.inflow.total)}, by wells "
            f"{scales.flow.text(result.inflow.wells)}."
        )
    if result.reach is not None:
        told.append(
            f"A drawdown of {scales.length.text(REACH_DRAWDOWN)} (of any aquifer) reaches "
            f"{scales.length.text(result.reach, 0)} from the pit's edge."
        )
    if left_out:
        told.append(
            f"{left_out} of {len(run.ledger.wells)} wells not labelled for want of room; "
            "see tables/wells.csv."
        )
    everywhere = [plain(b.name, 20) for b in run.ledger.boundaries if not b.nodes]
    if everywhere:
        told.append(f"Over the whole area: {', '.join(everywhere)}.")
    if run.ledger.wells:
        told.append(f"Below the names of points: their flow [{scales.flow.unit}].")
    told.append("Sections A and B: see the drawings of that name.")
    lines = [
        " ".join(told),
        f"Fall of the {what} against the state before the work; steady state. White: less than "
        "the first contour. Grey: none of this water, or outside the model. Dotted frame: the "
        "plan on the right.",
    ]
    explain(figure, " ".join(lines))
