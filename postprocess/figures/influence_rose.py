"""How far the drawdown of the last stage reaches in sixteen directions, and over what area."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.style import (
    BANDS,
    INK,
    MARGIN,
    SHEET,
    SOFT_INK,
    WALL,
    Scales,
    explain,
    sheet,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.water.influence import DIRECTIONS, Influence, influences

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.projections.polar import PolarAxes

    from wellring.postprocess.stage_results import StageResult

_SIDE = 5.6
"""Side of the rose's panel [in]."""


def draw_influence(run: RunFolder, results: list[StageResult]) -> Figure | None:
    """The sheet of the last stage; None where no threshold of drawdown is reached."""
    if len(results) < 2:
        return None
    last = results[-1]
    found = [i for i in influences(run, [results[0], last]) if i.reach.max() > 0]
    if not found:
        return None
    scales = Scales.of(run)
    figure = sheet(run, "Reach of the drawdown by direction", last.entry.name)
    across, up = SHEET
    axes: PolarAxes = figure.add_axes(
        ((MARGIN + 0.35) / across, 1.25 / up, _SIDE / across, _SIDE / up), projection="polar"
    )  # type: ignore[assignment]
    _rose(axes, run, found, scales)
    _table(figure, run, found, scales)
    explain(
        figure,
        "Farthest distance from the pit's edge, along a ray from the pit's middle, at which the "
        "largest drawdown of the water table or of any soil layer's head still reaches the "
        "threshold; steady state. Azimuths from grid north. Dashed: source distance, at which the "
        "model holds the natural level; what ends near it depends on it. Thresholds: [assessment] "
        "drawdowns.",
    )
    return figure


def _rose(axes: PolarAxes, run: RunFolder, found: Sequence[Influence], scales: Scales) -> None:
    angle = np.radians(np.arange(len(DIRECTIONS) + 1) * 360.0 / len(DIRECTIONS))
    axes.set_theta_zero_location("N")
    axes.set_theta_direction(-1)
    fills = np.linspace(2, len(BANDS) - 1, len(found)).round().astype(int)
    for item, fill in zip(found, fills, strict=True):
        reach = np.append(item.reach, item.reach[0]) * scales.length.factor
        axes.fill(angle, reach, facecolor=BANDS[fill], edgecolor=INK, linewidth=1.0, zorder=2)
        at = int(np.argmax(item.reach))
        axes.annotate(
            f"{item.threshold * scales.length.factor:.3g}",
            (angle[at], reach[at]),
            fontsize=7,
            weight="bold",
            ha="center",
            va="center",
            zorder=5,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "#ffffff", "edgecolor": "none"},
        )
    source = run.ledger.source_distance * scales.length.factor
    farthest = max(float(item.reach.max()) for item in found) * scales.length.factor
    if source < 1.6 * farthest:
        round_angle = np.linspace(0, 2 * np.pi, 361)
        axes.plot(
            round_angle, np.full(361, source), color=WALL, linewidth=1.0, dashes=(5, 3), zorder=4
        )
    axes.set_rmax(1.06 * max(farthest, source if source < 1.6 * farthest else 0.0))
    axes.set_xticks(angle[:-1], DIRECTIONS, fontsize=7.5)
    axes.set_rlabel_position(101.25)
    axes.set_title(
        f"Distance from the pit's edge [{scales.length.unit}]", fontsize=8.5, pad=6, loc="left"
    )
    axes.tick_params(axis="y", labelsize=6.5, labelcolor=SOFT_INK)
    axes.grid(color="#c4c8cb", linewidth=0.4)
    axes.set_axisbelow(False)


def _table(figure: Figure, run: RunFolder, found: Sequence[Influence], scales: Scales) -> None:
    area = shown("area", run.ledger.show)
    rows = [
        (
            scales.length.text(item.threshold, 2),
            area.text(item.shape.area),
            scales.length.text(float(item.reach.max()), 0),
            DIRECTIONS[int(np.argmax(item.reach))],
            scales.length.text(float(item.reach.min()), 0),
            "cut off" if item.cut else "yes" if item.near_edge else "no",
        )
        for item in found
    ]
    head = ("drawdown", "area outside the pit", "farthest", "toward", "nearest", "edge matters")
    left, top = (MARGIN + _SIDE + 0.6) / SHEET[0], 1 - 1.7 / SHEET[1]
    widths = np.array([0.75, 1.2, 0.7, 0.55, 0.65, 0.0]) / SHEET[0]
    places = left + np.concatenate([[0], np.cumsum(widths[:-1])])
    for place, text in zip(places, head, strict=True):
        figure.text(place, top, text, fontsize=7, color=SOFT_INK)
    for number, row in enumerate(rows, start=1):
        for place, text in zip(places, row, strict=True):
            figure.text(place, top - 0.26 * number / SHEET[1], text, fontsize=8)
    if any(item.cut for item in found):
        told = (
            "Cut off: the drawdown reaches the edge of\n"
            "the modelled ground; beyond it more is affected."
        )
        figure.text(left, top - (0.26 * len(rows) + 0.5) / SHEET[1], told, fontsize=7.5, color=WALL)
