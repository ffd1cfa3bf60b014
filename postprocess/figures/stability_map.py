"""Map of a stage's floor: how much of what holds it down the water uses, and where most."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.inputs.units import shown
from wellring.postprocess.figures.fields import cells_outline
from wellring.postprocess.figures.floor import floor_window
from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.plan import frame_plan
from wellring.postprocess.figures.plan_marks import (
    Handles,
    draw_geometry,
    draw_pit,
    draw_scale_and_north,
    draw_wells,
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
from wellring.postprocess.stability import FloorStability

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from wellring.postprocess.stage_results import StageResult

_WIDTH, _HEIGHT, _LEFT, _BOTTOM = 7.3, 5.3, MARGIN + 0.3, 1.55
_KEY_LEFT = _LEFT + _WIDTH + 0.35
CLASSES = (0.0, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Limits between the classes of what is used [-]; the last is where the rules fail."""


def draw_stability(run: RunFolder, result: StageResult, stable: FloorStability) -> Figure:
    """The sheet of one stage, in the run's shown units."""
    scales = Scales.of(run)
    figure = sheet(run, "Stability of the floor", result.entry.name)
    axes = panel(figure, _LEFT, _BOTTOM, _WIDTH, _HEIGHT)
    frame_plan(axes, floor_window(run, scales), scales, run)
    axes.set_facecolor(PAPER)
    placer = LabelPlacer(axes)
    draw_scale_and_north(axes, scales)
    handles: Handles = {}
    number = run.ledger.stages.index(result.entry)
    _draw_classes(axes, run, stable, handles)
    draw_pit(axes, run, scales, placer, handles, number)
    _mark_governing(axes, run, stable, scales, placer, handles)
    draw_wells(axes, run, scales, placer, handles, number, named=False)
    figure.legend(
        handles=list(handles.values()),
        loc="upper left",
        borderaxespad=0,
        handlelength=2.6,
        handleheight=1.3,
        labelspacing=0.6,
        bbox_to_anchor=(_KEY_LEFT / SHEET[0], (_BOTTOM + _HEIGHT - 2.25) / SHEET[1]),
    )
    _verdict(figure, run, stable)
    return figure


def _draw_classes(axes: Axes, run: RunFolder, stable: FloorStability, handles: Handles) -> None:
    from matplotlib.patches import Patch

    used, plan = stable.used, stable.columns.plan
    blues = np.linspace(0, len(BANDS) - 1, len(CLASSES) - 1).round().astype(int)
    for place, (low, high) in enumerate(pairwise([*CLASSES, np.inf])):
        style: dict[str, Any] = {"edgecolor": INK, "linewidth": 0.0}
        if place == len(CLASSES) - 1:
            member = used > 1.0 + 1e-9
            style |= {"facecolor": ALARM, "hatch": "xxxx"}
            told = "over 1: NOT held"
        else:
            member = (used >= low) & ((used < high) | ((high == 1.0) & (used <= 1.0 + 1e-9)))
            style["facecolor"] = BANDS[int(blues[place])]
            told = f"{low:g} to {high:g}"
            if high == 1.0:
                style |= {"facecolor": ALARM_LIGHT, "hatch": "////"}
                told += ": held, little to spare"
        if member.any():
            draw_geometry(axes, cells_outline(run, plan[member]), zorder=2, **style)
        handles[f"class {place}"] = Patch(label=told, **{**style, "linewidth": 0.5})
    if np.isnan(used).any():
        style = {"facecolor": "#e4e2dd", "hatch": "....", "edgecolor": SOFT_INK}
        draw_geometry(
            axes, cells_outline(run, plan[np.isnan(used)]), zorder=2, linewidth=0, **style
        )
        handles["none"] = Patch(label="nothing to judge", linewidth=0.5, **style)


def _mark_governing(
    axes: Axes, run: RunFolder, stable: FloorStability, scales: Scales, placer: LabelPlacer,
    handles: Handles,
) -> None:  # fmt: skip
    from matplotlib.lines import Line2D

    used = stable.used
    if not (used > 0).any():
        return
    worst = int(np.nanargmax(used))
    x, y = run.centres
    cell = int(stable.columns.plan[worst])
    spot = (float(scales.crs(x[cell])), float(scales.crs(y[cell])))
    style: dict[str, Any] = {
        "marker": "X",
        "markersize": 8,
        "markerfacecolor": ALARM if used[worst] > 1.0 else PAPER,
        "markeredgecolor": INK,
        "markeredgewidth": 0.9,
        "linestyle": "none",
    }
    axes.plot(*spot, zorder=7, **style)
    placer.block(np.array([spot]), 5)
    placer.place(spot, f"{used[worst]:.2f}", 8, must=True, weight="bold")
    handles["worst"] = Line2D([], [], label="governing place", **style)


def _verdict(figure: Figure, run: RunFolder, stable: FloorStability) -> None:
    level, used = shown("level", run.ledger.show), stable.used
    fails = bool((used > 1.0 + 1e-9).any())
    floats = stable.flotation is not None and stable.flotation.utilisation > 1.0 + 1e-9
    verdict = "Held in all places" if not fails else "NOT HELD in all places"
    if floats:
        verdict += "; the slab FLOATS"
    rows = [("Rules", stable.rules.name)]
    if stable.uplift.boundaries:
        item = stable.uplift.boundaries[0]
        rows += [
            ("Uplift uses", f"{item.utilisation:.2f}"),
            ("  at the base of", run.ledger.units[item.upper].label),
            ("  head there", level.text(item.head)),
            ("  head it may have", level.text(item.head_allowed)),
        ]
    if stable.heave is not None and np.isfinite(stable.heave.judged).any():
        rows.append(("Seepage heave uses", f"{np.nanmax(stable.heave.judged):.2f}"))
        rows.append(("Exit gradient, largest", f"{np.nanmax(stable.heave.gradient):.2f}"))
    if stable.flotation is not None:
        rows.append(("Flotation uses", f"{stable.flotation.utilisation:.2f}"))
        told = f"{stable.flotation.utilisation_without:.2f}"
        rows.append(("  with all pumps stopped", told))
    top = _BOTTOM + _HEIGHT
    figure.text(
        _KEY_LEFT / SHEET[0],
        top / SHEET[1],
        verdict,
        fontsize=9,
        weight="bold",
        va="top",
        color=ALARM if fails or floats else INK,
    )
    for place, (name, value) in enumerate(rows):
        y = (top - 0.3 - 0.18 * place) / SHEET[1]
        figure.text(_KEY_LEFT / SHEET[0], y, name, fontsize=7.5, va="top")
        figure.text(1 - MARGIN / SHEET[0], y, value, fontsize=7.5, va="top", ha="right")
    explain(
        figure,
        "Share used of what holds the floor, the largest of three in each cell: uplift at every "
        "soil boundary beneath, seepage heave, exit gradient over the permitted one; steady "
        f"state. {stable.rules.text('uplift')}; {stable.rules.text('heave')}; factor on the exit "
        f"gradient {stable.rules.factors['exit_gradient_factor']:g}. Friction at walls is left "
        "out. Local codes and a licensed engineer decide.",
    )
