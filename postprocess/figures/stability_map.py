"""Map of a stage's floor: how much of what holds it down the water uses, and where most."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.fields import cells_outline
from wellring.postprocess.figures.floor_sheet import FloorSheet
from wellring.postprocess.figures.plan_marks import Handles, draw_geometry
from wellring.postprocess.figures.style import (
    ALARM,
    ALARM_LIGHT,
    BANDS,
    INK,
    SOFT_INK,
    explain,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.stability import FloorStability

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from wellring.postprocess.stage_results import StageResult

CLASSES = (0.0, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Limits between the classes of what is used [-]; the last is where the rules fail."""


def draw_stability(run: RunFolder, result: StageResult, stable: FloorStability) -> Figure:
    """The sheet of one stage, in the run's shown units."""
    sheet = FloorSheet.begin(run, result, "Stability of the floor")
    _draw_classes(sheet.axes, run, stable, sheet.handles)
    sheet.draw_pit(run)
    _mark_governing(sheet, run, stable)
    sheet.draw_wells(run, named=False)
    sheet.key(2.25)
    _verdict(sheet, run, stable)
    return sheet.figure


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


def _mark_governing(sheet: FloorSheet, run: RunFolder, stable: FloorStability) -> None:
    used = stable.used
    if not (used > 0).any():
        return
    worst = int(np.nanargmax(used))
    x, y = run.centres
    cell, crs = int(stable.columns.plan[worst]), sheet.scales.crs
    spot = (float(crs(x[cell])), float(crs(y[cell])))
    held = not used[worst] > 1.0
    sheet.mark_worst(spot, held, f"{used[worst]:.2f}", "governing place", "worst")


def _verdict(sheet: FloorSheet, run: RunFolder, stable: FloorStability) -> None:
    level, used = shown("level", run.ledger.show), stable.used
    fails = bool((used > 1.0 + 1e-9).any())
    floats = stable.flotation is not None and stable.flotation.now.utilisation > 1.0 + 1e-9
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
        rows.append(("Flotation uses", f"{stable.flotation.now.utilisation:.2f}"))
        recovered = stable.recovered
        rows += [
            (
                "All pumps stopped:",
                {True: "holds", False: "NOT HELD", None: "not judged"}[recovered.holds],
            ),
            ("  slab uses", f"{stable.flotation.without.utilisation:.2f}"),
        ]
        if recovered.plug is not None:
            rows.append(("  uplift uses", f"{recovered.plug.utilisation:.2f}"))
    sheet.verdict(verdict, fails or floats, rows)
    explain(
        sheet.figure,
        "Share used of what holds the floor, the largest of three in each cell: uplift at every "
        "soil boundary beneath, seepage heave, exit gradient over the permitted one; steady "
        f"state. {stable.rules.text('uplift')}; {stable.rules.text('heave')}; factor on the exit "
        f"gradient {stable.rules.factors['exit_gradient_factor']:g}. Friction at walls is left "
        "out. Local codes and a licensed engineer decide.",
    )
