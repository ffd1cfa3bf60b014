"""The dig in time: the water under the floor against formation, and what is pumped."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.style import (
    AQUIFER_LINES,
    INK,
    MARGIN,
    SHEET,
    SOFT_INK,
    explain,
    key_text,
    panel,
    plain,
    sheet,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.water.in_time import Course

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from wellring.postprocess.stage_results import StageResult

GAP = 0.55
"""Between the two panels [in]."""


def draw_course(run: RunFolder, results: Sequence[StageResult], course: Course) -> Figure:
    """The sheet: above, highest water under each stage's floor with the formations; below, flow."""
    figure = sheet(run, "Water and pumping in the course of time", None)
    height = (SHEET[1] - 3.1 - GAP) / 2
    left, width = MARGIN + 0.5, SHEET[0] - 2 * MARGIN - 3.4
    levels = panel(figure, left, 1.55 + height + GAP, width, height)
    flows = panel(figure, left, 1.55, width, height)
    _levels(levels, run, results, course)
    _flows(flows, run, course)
    for axes in (levels, flows):
        axes.set_xlim(course.begins, float(course.day[-1]))
        axes.grid(color="#d7d9da", linewidth=0.4)
        axes.set_axisbelow(True)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
    levels.tick_params(labelbottom=False)
    figure.legend(
        loc="upper left",
        bbox_to_anchor=(1 - (MARGIN + 2.6) / SHEET[0], 1 - 1.5 / SHEET[1]),
        borderaxespad=0,
        handlelength=2.4,
        labelspacing=0.8,
    )
    explain(
        figure,
        "Above: highest water in the ground that stays under each stage's floor, also before it "
        "is dug; steps: formation, dashed steps: the clearance below it. The water must be below "
        "the dashed step when the step comes. Below: flow of all pumps, mean of each time step; "
        "the first hours depend on the storage given for the soils.",
    )
    return figure


def _levels(axes: Axes, run: RunFolder, results: Sequence[StageResult], course: Course) -> None:
    scale = shown("level", run.ledger.show)
    for rank, result in enumerate(results[1:]):
        formation = result.entry.formation
        margin = course.margins[result.entry.folder]
        if formation is None or np.isnan(margin).all():
            continue
        colour, _ = AQUIFER_LINES[rank % len(AQUIFER_LINES)]
        axes.plot(
            course.day,
            scale.factor * (formation - margin),
            color=colour,
            linewidth=max(3.2 - rank, 1.2),  # those before show where they run together
            zorder=3,
            label=key_text(f"Water under {plain(result.entry.name, 26)}"),
        )
    day, formation_at = _formations(run)
    if day.size:
        label = key_text("Formation")
        axes.step(day, scale.factor * formation_at, where="post", color=INK, lw=1.1, label=label)
        axes.step(
            day,
            scale.factor * (formation_at - run.ledger.clearance),
            where="post",
            color=INK,
            lw=0.9,
            linestyle=(0, (4, 2)),
            label=key_text(f"Clearance, {scale.text(run.ledger.clearance)} below"),
        )
    axes.set_ylabel(f"Level [{scale.unit}]", labelpad=3)


def _formations(run: RunFolder) -> tuple[np.ndarray, np.ndarray]:
    """Days and formations (m,) of the dug phases, the last one twice."""
    dug = [(p.begins, p.formation, p.ends) for p in run.ledger.phases if p.formation is not None]
    if not dug:
        return np.zeros(0), np.zeros(0)
    return (
        np.array([*(begins for begins, _, _ in dug), dug[-1][2]]),
        np.array([*(level for _, level, _ in dug), dug[-1][1]], dtype=float),
    )


def _flows(axes: Axes, run: RunFolder, course: Course) -> None:
    scale = shown("flow", run.ledger.show)
    day = np.concatenate([[course.begins], course.day])
    parts = [("All water to pump", course.total, AQUIFER_LINES[3][0], 1.5)]
    if course.excavation.max() > 1e-3 * course.total.max():
        parts.append(
            (
                "Into the excavation",
                course.excavation,
                AQUIFER_LINES[4 % len(AQUIFER_LINES)][0],
                1.2,
            )
        )
    if course.returned.max() > 0:
        parts.append(("Returned to the ground", course.returned, AQUIFER_LINES[2][0], 1.2))
    for name, flow, colour, line in parts:
        axes.stairs(
            scale.factor * flow,
            day,
            baseline=None,
            color=colour,
            linewidth=line,
            linestyle="solid" if name.startswith("All") else (0, (5, 2)),
            label=key_text(name),
        )
    for phase in run.ledger.phases:
        axes.axvline(phase.begins, color=SOFT_INK, linewidth=0.6, zorder=1)
        axes.annotate(
            plain(phase.name, 24),
            (phase.begins, 0.03),
            xycoords=("data", "axes fraction"),
            xytext=(3, 0),
            textcoords="offset points",
            rotation=90,
            va="bottom",
            fontsize=7,
            color=INK,
        )
    axes.set_ylim(0, 1.06 * scale.factor * max(float(course.total.max()), 1e-9))
    axes.set_xlabel("Day", labelpad=2)
    axes.set_ylabel(f"Flow [{scale.unit}]", labelpad=3)
