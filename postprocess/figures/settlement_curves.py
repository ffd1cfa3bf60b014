"""Settlement against time at named points."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.style import (
    AQUIFER_LINES,
    INK,
    MARGIN,
    PAPER,
    SHEET,
    SOFT_INK,
    explain,
    key_text,
    panel,
    plain,
    sheet,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement_course import SettlementCourse

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wellring.postprocess.stage_results import StageResult

MOST = 8
"""Places drawn, those that settle most."""
_DASHES: tuple[Any, ...] = ("solid", (0, (5, 2)))


def draw_settlement_curves(
    run: RunFolder, results: list[StageResult], course: SettlementCourse
) -> Figure:
    """The sheet: settlement downwards over the days, what is final at the right."""
    scale = shown("settlement", run.ledger.show)
    figure = sheet(run, "Settlement in the course of time", None)
    axes = panel(figure, MARGIN + 0.5, 1.55, SHEET[0] - 2 * MARGIN - 3.4, SHEET[1] - 3.0)
    order = np.argsort([-place.final for place in course.places])[:MOST]
    model = course.model_day.size > 0
    end = float(course.day[-1])
    for rank, index in enumerate(order):
        place = course.places[index]
        colour, mark = AQUIFER_LINES[rank % len(AQUIFER_LINES)]
        style: dict[str, Any] = {"color": colour, "linestyle": _DASHES[rank // len(AQUIFER_LINES)]}
        axes.plot(
            course.day,
            course.terzaghi[:, index] * scale.factor,
            linewidth=1.5,
            label=key_text(f"{plain(place.name, 34)}: finally {scale.text(place.final)}"),
            zorder=3,
            **style,
        )
        if model:
            axes.plot(
                course.model_day,
                course.model[:, index] * scale.factor,
                linewidth=0.7,
                marker=mark,
                markersize=4.2,
                markerfacecolor=PAPER,
                markevery=0.06,
                zorder=4,
                **style,
            )
        axes.plot(
            [end * 1.01 - 0.01 * course.day[0], end + 0.04 * (end - course.day[0])],
            [place.final * scale.factor] * 2,
            linewidth=1.5,
            zorder=3,
            clip_on=False,
            **style,
        )
    for result in results[1:]:
        if result.entry.day is not None:
            axes.axvline(result.entry.day, color=SOFT_INK, linewidth=0.6, zorder=1)
            axes.annotate(
                plain(result.entry.name, 24),
                (result.entry.day, 1.0),
                xycoords=("data", "axes fraction"),
                xytext=(2, 3),
                textcoords="offset points",
                fontsize=7,
                color=INK,
            )
    axes.set_xlim(course.day[0], end)
    largest = max(course.places[index].final for index in order) * scale.factor
    least = min(0.0, float(course.terzaghi.min()) * scale.factor)
    axes.set_ylim(max(1.06 * largest, 1e-6), 1.06 * least - 0.01 * largest)
    axes.set_xlabel("Day", labelpad=2)
    axes.set_ylabel(f"Settlement [{scale.unit}]", labelpad=3)
    axes.grid(color="#d7d9da", linewidth=0.4)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    figure.legend(
        loc="upper left",
        bbox_to_anchor=(1 - (MARGIN + 2.6) / SHEET[0], 1 - 1.5 / SHEET[1]),
        borderaxespad=0,
        handlelength=2.4,
        labelspacing=0.8,
    )
    explain(figure, _note(run, model))
    return figure


def _note(run: RunFolder, model: bool) -> str:
    told = (
        "Lines: each stage's steady water level acts from its day on (upright lines), and soils of "
        "kv below 1e-7 m/s consolidate after Terzaghi with their own drainage; other soils settle "
        "at once. Marks at the right edge: final settlement in the last stage's steady state."
    )
    if model:
        told += (
            " Thin lines with marks: from the model's own pore pressures, step by step; they "
            "follow the true fall of the water, and in clay they are as good as its storage (ss) "
            "and its sublayers."
        )
    return told
