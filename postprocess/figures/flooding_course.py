"""The water under and in the pit against the hours since the pumps stopped."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.style import (
    ALARM,
    INK,
    MARGIN,
    SHEET,
    SOFT_INK,
    WATER,
    drawing,
    explain,
    panel,
    save,
    sheet,
)
from wellring.postprocess.operation.flood_answers import METHOD, FloodAnswers, hours_text
from wellring.postprocess.operation.flooding import FILM, Flooding
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_flooding_course(
    run: RunFolder, stage: StageEntry, flooding: Flooding, answers: FloodAnswers, folder: Path
) -> list[Path]:
    """Draw the sheet into `folder`."""
    with drawing():
        return save(draw_flooding_course(run, stage, flooding, answers), folder, "outage")


def draw_flooding_course(
    run: RunFolder, stage: StageEntry, flooding: Flooding, answers: FloodAnswers
) -> Figure:
    """Levels above, inflow into the pit below, on one axis of hours."""
    scale, flow = shown("length", run.ledger.show), shown("flow", run.ledger.show)
    figure = sheet(run, "When the pumps stop: water against time", stage.name)
    width = SHEET[0] - 2 * MARGIN - 3.3
    axes = panel(figure, MARGIN + 0.5, 3.35, width, SHEET[1] - 4.5)
    below = panel(figure, MARGIN + 0.5, 1.45, width, 1.5)
    hours = flooding.hours
    axes.plot(
        hours,
        flooding.under_floor * scale.factor,
        color=SOFT_INK,
        linewidth=1.3,
        linestyle=(0, (4, 2)),
        label="highest water in the ground\nunder the floor",
    )
    wet = flooding.pit_level > flooding.formation + FILM
    pit = np.where(wet, flooding.pit_level, np.nan) * scale.factor
    axes.plot(hours, pit, color=WATER, linewidth=1.8, label="water level in the pit")
    formation = flooding.formation
    lines = [
        (formation, INK, "solid", "formation"),
        (formation - flooding.clearance, ALARM, (0, (6, 2)), "needed clearance"),
    ]
    for level, colour, style, told in lines:
        label = f"{told}: {scale.text(level)}"
        axes.axhline(
            level * scale.factor, color=colour, linewidth=0.9, linestyle=style, label=label
        )
    marked = [(m.hours, m.level) for m in answers.moments if m.hours is not None]
    axes.plot(
        [hour for hour, _ in marked],
        [level * scale.factor for _, level in marked],
        linestyle="none",
        marker="o",
        markersize=4.5,
        markerfacecolor="white",
        markeredgecolor=INK,
        label="moments told at the right" if marked else None,
        zorder=5,
    )
    axes.set_ylabel(f"Level [{scale.unit}]")
    below.plot(hours[1:], flooding.inflow[1:] * flow.factor, color=WATER, linewidth=1.4)
    below.set_ylabel(f"Into the pit [{flow.unit}]")
    below.set_xlabel("Hours since the pumps stopped")
    for part in (axes, below):
        part.set_xlim(0.0, float(hours[-1]))
        part.grid(color="#d7d9da", linewidth=0.4)
        part.set_axisbelow(True)
        for side in ("top", "right"):
            part.spines[side].set_visible(False)
    below.set_ylim(bottom=0.0)
    axes.tick_params(labelbottom=False)
    left = 1 - (MARGIN + 2.6) / SHEET[0]
    figure.legend(
        loc="upper left",
        bbox_to_anchor=(left, 1 - 1.1 / SHEET[1]),
        borderaxespad=0,
        labelspacing=0.9,
    )
    words = ["When", ""]
    for moment in answers.moments:
        when = (
            f"not within {answers.days:g} days"
            if moment.hours is None
            else f"after {hours_text(moment.hours)}"
        )
        words += [f"{moment.what}:", f"    {when}", ""]
    figure.text(
        left, 1 - 3.4 / SHEET[1], "\n".join(words), va="top", linespacing=1.35, fontsize=7.5
    )
    explain(
        figure,
        f"{METHOD}. Times are as good as the storage given to the soils; keep standby pumps and "
        "power. Water on its way down through dry ground or as a film on the floor is not drawn.",
    )
    return figure
