"""Map of the last floor: how far the water stands below it, and where it stands too high."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.dryness import Dryness
from wellring.postprocess.figures.fields import cells_outline
from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.plan import frame_plan
from wellring.postprocess.figures.plan_marks import (
    Handles,
    draw_geometry,
    draw_pit,
    draw_scale_and_north,
    draw_wells,
    nice_length,
)
from wellring.postprocess.figures.style import (
    ALARM,
    ALARM_LIGHT,
    BANDS,
    INK,
    MARGIN,
    PAPER,
    SHEET,
    SOFT_INK,
    Scales,
    explain,
    panel,
    sheet,
)
from wellring.postprocess.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

_WIDTH, _HEIGHT, _LEFT, _BOTTOM = 7.3, 5.3, MARGIN + 0.3, 1.55
_KEY_LEFT = _LEFT + _WIDTH + 0.35


def draw_floor(run: RunFolder, result: StageResult) -> Figure:
    """The sheet of one stage's floor, in the run's shown units."""
    scales = Scales.of(run)
    dry = result.dryness
    assert dry is not None
    figure = sheet(run, "Water below the floor of the excavation", result.entry.name)
    axes = panel(figure, _LEFT, _BOTTOM, _WIDTH, _HEIGHT)
    frame_plan(axes, floor_window(run, scales), scales, run)
    axes.set_facecolor(PAPER)
    placer = LabelPlacer(axes)
    draw_scale_and_north(axes, scales)
    handles: Handles = {}
    number = run.ledger.stages.index(result.entry)
    _draw_depths(axes, run, dry, scales, handles)
    draw_pit(axes, run, scales, placer, handles, number)
    _mark_least(axes, dry, scales, placer, handles)
    draw_wells(axes, run, scales, placer, handles, number, named=True)
    figure.legend(
        handles=list(handles.values()),
        loc="upper left",
        borderaxespad=0,
        handlelength=2.6,
        handleheight=1.3,
        labelspacing=0.6,
        bbox_to_anchor=(_KEY_LEFT / SHEET[0], (_BOTTOM + _HEIGHT - 1.35) / SHEET[1]),
    )
    _verdict(figure, result, dry, scales)
    return figure


def floor_window(run: RunFolder, scales: Scales) -> tuple[float, float, float, float]:
    """The part of the plan that shows the floor: west, south, east, north [crs units]."""
    outline = scales.crs(np.asarray(run.ledger.outline))
    low, high = outline.min(axis=0), outline.max(axis=0)
    span = 1.36 * (high - low)
    wide = max(span[0], span[1] * _WIDTH / _HEIGHT)
    half = 0.5 * np.array([wide, wide * _HEIGHT / _WIDTH])
    middle = 0.5 * (low + high)
    return (*(middle - half), *(middle + half))


def depth_classes(deepest: float, needed: float) -> list[float]:
    """Limits between the classes of depth below formation: 0, what is needed, even steps deeper.

    Same unit in and out.
    """
    if deepest <= needed:
        return [0.0, needed]
    # A step a little above the nice one below it: at most seven classes.
    least = max((deepest - needed) / 6, 1e-3)
    step = next(s for s in (nice_length(least * up) for up in (1, 2, 2.5)) if s >= least * 0.999)
    above = np.arange(np.floor(needed / step) + 1, np.floor(deepest / step) + 1) * step
    return [0.0, needed, *(float(v) for v in above.round(6) if v > needed + 0.3 * step)]


def _draw_depths(
    axes: Axes, run: RunFolder, dry: Dryness, scales: Scales, handles: Handles
) -> None:
    from matplotlib.patches import Patch

    factor, unit = scales.length.factor, scales.length.unit
    depth, needed = dry.depth_below * factor, dry.needed * factor
    known = np.isfinite(depth)
    limits = depth_classes(float(depth[known].max()) if known.any() else 0.0, needed)
    bounds = [-np.inf, *limits, np.inf]
    blues = np.linspace(1, len(BANDS) - 1, max(len(bounds) - 3, 1)).round().astype(int)
    for place, (low, high) in enumerate(pairwise(bounds)):
        # A shortfall below a millimetre is rounding, as it is for the verdict.
        slack = 1e-3 * factor
        member = (
            known
            & (depth >= low - (slack if place == 2 else 0))
            & (depth < high - (slack if place == 1 else 0))
        )
        style: dict[str, Any] = {"edgecolor": INK, "linewidth": 0.0}
        if place == 0:
            style |= {"facecolor": ALARM, "hatch": "xxxx"}
            told = "water above formation"
        elif place == 1:
            style |= {"facecolor": ALARM_LIGHT, "hatch": "////"}
            told = f"0 to {needed:.3g} {unit}: less than needed"
        else:
            style["facecolor"] = BANDS[int(blues[place - 2])]
            told = (
                f"{low:.3g} to {high:.3g} {unit}" if np.isfinite(high) else f"over {low:.3g} {unit}"
            )
        if member.any():
            draw_geometry(axes, cells_outline(run, dry.plan[member]), zorder=2, **style)
        if member.any() or place < 2:
            handles[f"depth {place}"] = Patch(label=told, **{**style, "linewidth": 0.5})
    if (~known).any():
        style = {"facecolor": "#e4e2dd", "hatch": "....", "edgecolor": SOFT_INK}
        draw_geometry(axes, cells_outline(run, dry.plan[~known]), zorder=2, linewidth=0, **style)
        handles["tight"] = Patch(label="tight soil, not judged", linewidth=0.5, **style)


def _mark_least(
    axes: Axes, dry: Dryness, scales: Scales, placer: LabelPlacer, handles: Handles
) -> None:
    from matplotlib.lines import Line2D

    if dry.margin is None or dry.x is None or dry.y is None:
        return
    spot = (scales.crs(dry.x), scales.crs(dry.y))
    style: dict[str, Any] = {
        "marker": "X",
        "markersize": 8,
        "markerfacecolor": PAPER if dry.dry else ALARM,
        "markeredgecolor": INK,
        "markeredgewidth": 0.9,
        "linestyle": "none",
    }
    axes.plot(*spot, zorder=7, **style)
    placer.block([spot], 5)
    placer.place(spot, f"least: {scales.length.text(dry.margin)}", 8, must=True, weight="bold")
    handles["least"] = Line2D([], [], label="where the water stands highest", **style)


def _verdict(figure: Figure, result: StageResult, dry: Dryness, scales: Scales) -> None:
    length = scales.length
    needed = length.text(dry.needed)
    rows = [
        ("Formation", f"{scales.number(result.entry.formation or 0.0)} {length.unit}"),
        ("Needed below formation", needed),
    ]
    if dry.margin is None:
        verdict, colour = "The floor is tight soil: not judged here", INK
    else:
        rows.append(("Least depth of water", length.text(dry.margin)))
        if dry.level is not None:
            rows.append(("Water level there", f"{scales.number(dry.level)} {length.unit}"))
        verdict = "Dry: clearance kept" if dry.dry else "NOT DRY: clearance not kept"
        colour = INK if dry.dry else ALARM
    if dry.tight_share > 0:
        rows.append(("Not judged (tight soil)", f"{dry.tight_share:.0%} of the floor"))
    top = _BOTTOM + _HEIGHT
    figure.text(
        _KEY_LEFT / SHEET[0],
        top / SHEET[1],
        verdict,
        fontsize=9,
        weight="bold",
        va="top",
        color=colour,
    )
    for place, (name, value) in enumerate(rows):
        y = (top - 0.3 - 0.18 * place) / SHEET[1]
        figure.text(_KEY_LEFT / SHEET[0], y, name, fontsize=7.5, va="top")
        figure.text(1 - MARGIN / SHEET[0], y, value, fontsize=7.5, va="top", ha="right")
    explain(
        figure,
        "Depth of the uppermost water below formation in each cell of the floor; steady state. "
        "Drawn by cells, as the verdict is judged. Whether the floor is stable against pressure "
        "in a deeper aquifer is another question.",
    )
