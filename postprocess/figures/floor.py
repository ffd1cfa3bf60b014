"""Map of the last floor: how far the water stands below it, and where it stands too high."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.fields import cells_outline
from wellring.postprocess.figures.floor_sheet import FloorSheet
from wellring.postprocess.figures.plan_marks import Handles, draw_geometry, nice_length
from wellring.postprocess.figures.style import (
    ALARM,
    ALARM_LIGHT,
    BANDS,
    INK,
    SOFT_INK,
    Scales,
    explain,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.dryness import Dryness

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]


def draw_floor(run: RunFolder, result: StageResult) -> Figure:
    """The sheet of one stage's floor, in the run's shown units."""
    dry = result.dryness
    assert dry is not None
    sheet = FloorSheet.begin(run, result, "Water below the floor of the excavation")
    _draw_depths(sheet.axes, run, dry, sheet.scales, sheet.handles)
    sheet.draw_pit(run)
    _mark_least(sheet, dry)
    sheet.draw_wells(run, named=True)
    sheet.key(1.35)
    _verdict(sheet, run, result, dry)
    return sheet.figure


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


def _mark_least(sheet: FloorSheet, dry: Dryness) -> None:
    if dry.margin is None or dry.x is None or dry.y is None:
        return
    scales = sheet.scales
    spot = (scales.crs(dry.x), scales.crs(dry.y))
    told = f"least: {scales.length.text(dry.margin)}"
    sheet.mark_worst(spot, bool(dry.dry), told, "where the water stands highest", "least")


def _verdict(sheet: FloorSheet, run: RunFolder, result: StageResult, dry: Dryness) -> None:
    scales = sheet.scales
    length = scales.length
    rows = [
        ("Formation", f"{scales.number(result.entry.formation or 0.0)} {length.unit}"),
        ("Needed below formation", length.text(dry.needed)),
    ]
    if dry.margin is None:
        verdict, alarm = "The floor is tight soil: not judged here", False
    else:
        rows.append(("Least depth of water", length.text(dry.margin)))
        if dry.level is not None:
            rows.append(("Water level there", f"{scales.number(dry.level)} {length.unit}"))
        verdict = "Dry: clearance kept" if dry.dry else "NOT DRY: clearance not kept"
        alarm = not dry.dry
    if result.sump is not None and result.sump.floods:
        flow = shown("flow", run.ledger.show)
        rows.append(("Comes to the sump", flow.text(result.sump.flow)))
        rows.append(("Its pumps take", flow.text(result.sump.capacity)))
        verdict, alarm = "NOT DRY: more water comes than the sump takes", True
    if dry.tight_share > 0:
        rows.append(("Not judged (tight soil)", f"{dry.tight_share:.0%} of the floor"))
    sheet.verdict(verdict, alarm, rows)
    explain(
        sheet.figure,
        "Depth of the uppermost water below formation in each cell of the floor; steady state. "
        "Drawn by cells, as the verdict is judged. Whether the floor is stable against pressure "
        "in a deeper aquifer is another question.",
    )
