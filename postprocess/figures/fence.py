"""Borings as logged beside the ground the model has there: that the logs are honoured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from wellring.postprocess.figures.cuts import pit_cuts
from wellring.postprocess.figures.soil_look import SoilLook, soil_looks
from wellring.postprocess.figures.style import (
    INK,
    MARGIN,
    SHEET,
    SOFT_INK,
    WATER,
    Scales,
    explain,
    panel,
    plain,
    sheet,
)
from wellring.postprocess.run.ledger import BoringEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Interval = tuple[float, float, str]

MOST = 28
"""Borings on the sheet at most: those nearest to the pit."""
_A_ROW = 14


@dataclass(frozen=True)
class LogPair:
    """A boring beside the model's column: (top, bottom, soil) [m] of both, from the top down.

    `same` is the part of the logged length, within the model, that is the same soil in both.
    """

    boring: BoringEntry
    modelled: list[Interval]
    same: float


def log_pairs(run: RunFolder, natural: StageResult) -> list[LogPair]:
    """Every boring in the grid with the column of the cell it stands in, natural state."""
    pairs = []
    for boring in run.ledger.borings:
        cell = run.plan_cell(boring.x, boring.y)
        if cell is not None and natural.grid.active[:, cell].any():
            modelled = model_column(run, natural, cell)
            pairs.append(LogPair(boring, modelled, _same(boring.intervals, modelled)))
    return pairs


def model_column(run: RunFolder, natural: StageResult, cell: int) -> list[Interval]:
    """Soils of one plan cell from the top down, neighbouring layers of one soil as one."""
    grid = natural.grid
    found: list[Interval] = []
    for layer in np.flatnonzero(grid.active[:, cell]):
        soil = run.ledger.units[int(run.unit[layer, cell])].soil
        top, bottom = float(grid.top[layer, cell]), float(grid.bottom[layer, cell])
        if found and found[-1][2] == soil:
            found[-1] = (found[-1][0], bottom, soil)
        else:
            found.append((top, bottom, soil))
    return found


def _same(logged: list[Interval], modelled: list[Interval]) -> float:
    if not logged or not modelled:
        return float("nan")
    highest, lowest = modelled[0][0], modelled[-1][1]
    alike = total = 0.0
    for top, bottom, soil in logged:
        top, bottom = min(top, highest), max(bottom, lowest)
        total += max(top - bottom, 0.0)
        alike += sum(
            max(min(top, other[0]) - max(bottom, other[1]), 0.0)
            for other in modelled
            if other[2] == soil
        )
    return alike / total if total > 0 else float("nan")


def draw_fence(run: RunFolder, results: list[StageResult]) -> Figure:
    """The sheet: borings in their order along the pit, evenly spaced, two columns each.

    At least one boring lies in the modelled ground.
    """
    scales, looks = Scales.of(run), soil_looks(run.ledger)
    pit = shapely.Polygon(run.ledger.outline)
    everything = log_pairs(run, results[0])
    away = {p.boring.id: pit.distance(shapely.Point(p.boring.x, p.boring.y)) for p in everything}
    pairs = sorted(everything, key=lambda pair: away[pair.boring.id])[:MOST]
    section = pit_cuts(run)[0]
    along, _ = section.project(run, *np.array([(p.boring.x, p.boring.y) for p in pairs]).T)
    pairs = [pairs[k] for k in np.argsort(along, kind="stable")]
    figure = sheet(run, "Borings as logged beside the model", None)
    rows = (
        [pairs]
        if len(pairs) <= _A_ROW
        else [pairs[: (len(pairs) + 1) // 2], pairs[(len(pairs) + 1) // 2 :]]
    )
    top, bottom = SHEET[1] - 1.25, 1.95
    gap = 0.75
    height = (top - bottom - gap * (len(rows) - 1)) / len(rows)
    levels = [level for p in pairs for level in (p.boring.ground, p.boring.final, p.modelled[0][0])]
    longest = max(len(row) for row in rows)
    for place, row in enumerate(rows):
        axes = panel(
            figure,
            MARGIN + 0.3,
            top - height - place * (height + gap),
            SHEET[0] - 2 * MARGIN - 0.3,
            height,
        )
        _draw_row(axes, run, results[0], row, away, max(longest, 6), scales, looks)
        low, high = min(levels) * scales.length.factor, max(levels) * scales.length.factor
        axes.set_ylim(low - 0.06 * (high - low), high + 0.04 * (high - low))
        axes.set_ylabel(f"Level [{scales.length.unit}]", labelpad=2)
    _keys(figure, looks, pairs)
    _note(figure, everything, pairs)
    return figure


def _draw_row(
    axes: Axes,
    run: RunFolder,
    natural: StageResult,
    row: list[LogPair],
    away: dict[str, float],
    slots: int,
    scales: Scales,
    looks: dict[str, SoilLook],
) -> None:
    factor = scales.length.factor
    axes.set_xlim(-0.5, slots - 0.5)
    axes.set_xticks([])
    for side in ("top", "right", "bottom"):
        axes.spines[side].set_visible(False)
    axes.grid(axis="y", color="#d7d9da", linewidth=0.4, zorder=0)
    axes.set_axisbelow(True)
    for x, pair in enumerate(row):
        boring = pair.boring
        _column(axes, boring.intervals, x - 0.3, 0.28, factor, looks, 1.0)
        # As deep as the log: below it there is nothing to compare.
        shown = [
            (top, max(bottom, boring.final), soil)
            for top, bottom, soil in pair.modelled
            if top > boring.final
        ]
        _column(axes, shown, x + 0.02, 0.28, factor, looks, 0.5)
        cell = run.plan_cell(boring.x, boring.y)
        water = natural.table[cell] if cell is not None else np.nan
        if np.isfinite(water):
            axes.plot(
                [x + 0.02, x + 0.34], [water * factor] * 2, color=WATER, linewidth=1.0, zorder=4
            )
            axes.plot(
                [x + 0.34],
                [water * factor],
                marker=7,
                markersize=4.5,
                color=WATER,
                zorder=4,
                linestyle="none",
            )
        distance = away[boring.id]
        place = "in the pit" if distance < 1e-6 else scales.length.text(distance, 0)
        for text, up, size, weight, colour in (
            (plain(boring.id, 14), 11.0, 7.5, "bold", INK),
            (place, 3.0, 6.0, "normal", SOFT_INK),
        ):
            axes.annotate(
                text,
                (x, 1),
                xycoords=axes.get_xaxis_transform(),
                xytext=(0, up),
                textcoords="offset points",
                fontsize=size,
                ha="center",
                va="bottom",
                weight=weight,
                color=colour,
            )
        axes.text(
            x,
            -0.012,
            _share(pair.same),
            transform=axes.get_xaxis_transform(),
            fontsize=7,
            ha="center",
            va="top",
        )
    axes.text(
        -0.5,
        -0.012,
        "same soil:",
        transform=axes.get_xaxis_transform(),
        fontsize=6.5,
        ha="right",
        va="top",
        color=SOFT_INK,
    )


def _share(same: float) -> str:
    """Rounded down, so that 100 % means all of it."""
    return f"{np.floor(same * 100 + 0.01):.0f} %" if np.isfinite(same) else "–"


def _column(
    axes: Axes,
    intervals: list[Interval],
    x: float,
    width: float,
    factor: float,
    looks: dict[str, SoilLook],
    edge: float,
) -> None:
    from matplotlib.patches import Rectangle

    for top, bottom, soil in intervals:
        look = looks[soil]
        axes.add_patch(
            Rectangle(
                (x, bottom * factor),
                width,
                (top - bottom) * factor,
                facecolor=look.fill,
                hatch=look.hatch,
                edgecolor=INK,
                linewidth=edge,
                zorder=2,
            )
        )


def _keys(figure: Figure, looks: dict[str, SoilLook], pairs: list[LogPair]) -> None:
    from matplotlib.lines import Line2D

    used = {i[2] for p in pairs for i in (*p.boring.intervals, *p.modelled)}
    handles: list = [look.patch(soil) for soil, look in looks.items() if soil in used]
    handles.append(
        Line2D(
            [],
            [],
            color=WATER,
            marker=7,
            linewidth=1.0,
            label="water table before the work (model)",
        )
    )
    figure.legend(
        handles=handles,
        loc="upper left",
        ncols=6,
        borderaxespad=0,
        handlelength=2.6,
        handleheight=1.25,
        columnspacing=1.6,
        labelspacing=0.5,
        bbox_to_anchor=((MARGIN + 0.3) / SHEET[0], 1.45 / SHEET[1]),
    )


def _note(figure: Figure, everything: list[LogPair], pairs: list[LogPair]) -> None:
    told = (
        "Left column: as logged. Right column: the model's ground in the cell the boring "
        "stands in, down to the same depth. At the foot: part of the logged length that is "
        "the same soil in both. Below each name: distance from the pit. Even spacing, in "
        "order along section A."
    )
    if len(pairs) < len(everything):
        told += f" The {len(pairs)} borings nearest to the pit, of {len(everything)}."
    explain(figure, told)
