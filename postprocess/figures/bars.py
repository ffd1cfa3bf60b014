"""Inflow by stage: what comes through floor, faces and walls, and what the wells take."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wellring.postprocess.figures.style import (
    INK,
    MARGIN,
    SHEET,
    SOFT_INK,
    Scales,
    explain,
    panel,
    plain,
    sheet,
)
from wellring.postprocess.run.inflow import Inflow
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PARTS = (
    ("wells", "pumped by wells", "#8fb6cc", ""),
    ("floor", "through the floor", "#1d4e70", ""),
    ("faces", "through open faces", "#e2b66c", "////"),
    ("wall", "through walls above formation", "#b5644a", "...."),
)
"""Attribute of the inflow, what it is called, fill and hatch."""
CROSSING = (
    ("through_wall", "through walls"),
    ("under_toe", "under their toes"),
    ("open_ground", "where no wall stands"),
)


def draw_inflow(run: RunFolder, results: list[StageResult]) -> Figure:
    """The sheet: a bar a stage, and the numbers below."""
    scales = Scales.of(run)
    stages = [(result.entry.name, result.inflow) for result in results if result.inflow]
    figure = sheet(run, "Water to be pumped, by stage", None)
    high = min(0.62 * len(stages) + 0.3, 3.0)
    top = SHEET[1] - 1.55
    axes = panel(figure, MARGIN + 1.75, top - high, SHEET[0] - 2 * MARGIN - 2.55, high)
    _bars(axes, stages, scales)
    _table(figure, stages, scales, top - high - 1.25)
    explain(
        figure,
        "Steady state of each stage, from the solver's own cell-by-cell flows. Into the excavation "
        "= floor + faces + walls: to be pumped from sumps; the wells take the rest. The last three "
        "columns are the water that crosses the pit's outline below formation towards the ground "
        "under the pit; less than nothing is water that leaves it to wells outside.",
    )
    return figure


def parts_of(flow: Inflow) -> dict[str, float]:
    """The parts of everything pumped [m³/s], what is a hair below zero as zero."""
    return {name: max(getattr(flow, name), 0.0) for name, *_ in PARTS}


def _bars(axes: Axes, stages: list[tuple[str, Inflow]], scales: Scales) -> None:
    factor = scales.flow.factor
    rows = np.arange(len(stages))
    split = [parts_of(flow) for _, flow in stages]
    start = np.zeros(len(stages))
    for name, label, fill, hatch in PARTS:
        width = np.array([parts[name] for parts in split]) * factor
        axes.barh(
            rows,
            width,
            left=start,
            height=0.58,
            facecolor=fill,
            hatch=hatch,
            edgecolor=INK,
            linewidth=np.where(width > 0, 0.5, 0.0),
            label=label,
            zorder=2,
        )
        start = start + width
    most = float(start.max()) if start.max() > 0 else 1.0
    for row, total in zip(rows, start, strict=True):
        axes.text(
            float(total + 0.008 * most),
            float(row),
            scales.flow.text(total / factor),
            fontsize=8,
            weight="bold",
            va="center",
        )
    axes.set_xlim(0, 1.14 * most)
    axes.set_ylim(len(stages) - 0.45, -0.55)
    axes.set_yticks(rows, [plain(name, 26) for name, _ in stages], fontsize=8)
    axes.set_xlabel(f"Flow [{scales.flow.unit}]", labelpad=2)
    axes.grid(axis="x", color="#d7d9da", linewidth=0.4)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.legend(
        loc="lower left",
        bbox_to_anchor=(0, 1.01),
        ncols=4,
        borderaxespad=0,
        handlelength=2.2,
        handleheight=1.1,
        columnspacing=1.6,
    )


def _table(figure: Figure, stages: list[tuple[str, Inflow]], scales: Scales, top: float) -> None:
    """The numbers; stages beyond what the sheet holds are in the table on disk."""
    headings = [
        "floor",
        "faces",
        "walls",
        "into the\nexcavation",
        "wells",
        "all",
        *(label.replace(" ", "\n", 1) for _, label in CROSSING),
    ]
    left, right = MARGIN + 1.75, SHEET[0] - MARGIN
    columns = np.linspace(left + 0.75, right, len(headings))
    figure.text(
        MARGIN / SHEET[0],
        (top + 0.36) / SHEET[1],
        f"Flows [{scales.flow.unit}]",
        fontsize=8,
        weight="bold",
        va="bottom",
    )
    figure.text(
        (columns[6] - 0.75) / SHEET[0],
        (top + 0.36) / SHEET[1],
        "across the pit's outline, below formation:",
        fontsize=7,
        color=SOFT_INK,
        va="bottom",
    )
    for x, heading in zip(columns, headings, strict=True):
        figure.text(
            x / SHEET[0],
            top / SHEET[1],
            heading,
            fontsize=7,
            ha="right",
            va="bottom",
            color=SOFT_INK,
            linespacing=1.1,
        )
    step = 0.21
    room = int((top - 0.95) / step)
    for place, (name, flow) in enumerate(stages[:room]):
        y = (top - 0.06 - step * (place + 0.5)) / SHEET[1]
        values = [
            flow.floor,
            flow.faces,
            flow.wall,
            flow.excavation,
            flow.wells,
            flow.total,
            *(getattr(flow, part) for part, _ in CROSSING),
        ]
        figure.text(MARGIN / SHEET[0], y, plain(name, 30), fontsize=7.5, va="center")
        for x, value in zip(columns, values, strict=True):
            figure.text(
                x / SHEET[0], y, scales.amount(value), fontsize=7.5, ha="right", va="center"
            )
    if len(stages) > room:
        figure.text(
            MARGIN / SHEET[0],
            0.8 / SHEET[1],
            f"and {len(stages) - room} more in tables/inflow.csv",
            fontsize=7,
        )
