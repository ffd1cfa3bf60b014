"""The settlement trough along both sections: every stage's final settlement as a line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.cuts import Cut
from wellring.postprocess.figures.style import (
    AQUIFER_LINES,
    BEYOND,
    INK,
    MARGIN,
    SHEET,
    SOFT_INK,
    Scales,
    explain,
    key_text,
    panel,
    plain,
    sheet,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.settlement.settlement import Settlement

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

LEAST = 1e-3
"""Settlement [m] that the drawn part of a section still shows."""


def draw_troughs(run: RunFolder, found: list[Settlement], cuts: list[Cut]) -> Figure:
    """The sheet: sections A and B, one above the other, to one vertical scale."""
    scales, scale = Scales.of(run), shown("settlement", run.ledger.show)
    figure = sheet(run, "Settlement along the sections", None)
    lowest = max(float(np.nanmax(item.final, initial=0.0)) for item in found) * scale.factor
    highest = min(float(np.nanmin(item.final, initial=0.0)) for item in found) * scale.factor
    wide, high = SHEET[0] - 2 * MARGIN - 0.6, 2.35
    for number, cut in enumerate(cuts):
        axes = panel(figure, MARGIN + 0.5, 4.5 - 3.1 * number, wide, high)
        _trough(axes, run, found, cut, scales)
        axes.set_ylim(1.08 * lowest, 1.08 * highest - 0.03 * lowest)
        axes.set_ylabel(f"Settlement [{scale.unit}]", labelpad=3)
        axes.set_xlabel(f"Distance along the section [{scales.length.unit}]", labelpad=2)
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(
        handles,
        labels,
        loc="upper left",
        ncols=4,
        borderaxespad=0,
        bbox_to_anchor=((MARGIN + 0.5) / SHEET[0], 1 - 0.95 / SHEET[1]),
    )
    explain(
        figure,
        "Final settlement of the ground in each stage's steady state; dashed: when the last stage "
        "ends. Each layer counts as thick as it is at each place. Upright band: the pit, not "
        "assessed. Distances as in the drawings of sections A and B, whose first ends are 0.",
    )
    return figure


def _trough(axes: Axes, run: RunFolder, found: list[Settlement], cut: Cut, scales: Scales) -> None:
    scale = shown("settlement", run.ledger.show)
    cells, s = _line(run, cut)
    for number, item in enumerate(found):
        last = number == len(found) - 1
        style: dict[str, Any] = {"color": AQUIFER_LINES[number % len(AQUIFER_LINES)][0]}
        axes.plot(
            s * scales.length.factor,
            item.final[cells] * scale.factor,
            linewidth=1.7 if last else 1.0,
            label=key_text(plain(item.entry.name, 36)),
            zorder=3 if last else 2.5,
            **style,
        )
        if last and item.at_stage_end is not None:
            axes.plot(
                s * scales.length.factor,
                item.at_stage_end[cells] * scale.factor,
                linewidth=1.0,
                linestyle=(0, (5, 2)),
                label=key_text(f"{plain(item.entry.name, 26)}, at its end"),
                zorder=3,
                **style,
            )
    for begins, ends in cut.pit:
        axes.axvspan(
            begins * scales.length.factor, ends * scales.length.factor, color=BEYOND, zorder=1
        )
    moved = np.zeros(cells.size, bool)
    for item in found:
        with np.errstate(invalid="ignore"):
            moved |= np.abs(item.final[cells]) >= LEAST
    seen = [*s[moved], *(end for pair in cut.pit for end in pair)]
    low, high = (min(seen), max(seen)) if seen else (float(s[0]), float(s[-1]))
    pad = 0.03 * (high - low)
    axes.set_xlim((low - pad) * scales.length.factor, (high + pad) * scales.length.factor)
    axes.axhline(0.0, color=INK, linewidth=0.6, zorder=2)
    axes.set_title(
        f"Section {cut.letter}–{cut.letter}' {'along' if cut.along else 'across'} the excavation",
        fontsize=8.5,
        loc="left",
        pad=4,
        color=SOFT_INK,
    )
    axes.grid(color="#d7d9da", linewidth=0.4)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _line(run: RunFolder, cut: Cut) -> tuple[NDArray[np.intp], Floats]:
    """All plan cells on the section's row or column, and their distance from its first end [m]."""
    ncol = run.plan_shape[1]
    row, column = divmod(int(cut.cells[0]), ncol)
    mine = run.local_centres[cut.axis]
    order = np.argsort(mine)
    cells = row * ncol + order if cut.axis == 0 else order * ncol + column
    return cells.astype(np.intp), mine[order] - cut.start
