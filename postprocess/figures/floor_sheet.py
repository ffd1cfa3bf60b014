"""What every map of a stage's floor has: its plan with pit and wells, key, verdict, worst place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.plan import frame_plan
from wellring.postprocess.figures.plan_marks import (
    Handles,
    draw_pit,
    draw_scale_and_north,
    draw_wells,
)
from wellring.postprocess.figures.style import (
    ALARM,
    INK,
    MARGIN,
    PAPER,
    SHEET,
    Scales,
    panel,
    sheet,
)
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from wellring.postprocess.stage_results import StageResult

_WIDTH, _HEIGHT, _LEFT, _BOTTOM = 7.3, 5.3, MARGIN + 0.3, 1.55
_KEY_LEFT, _TOP = _LEFT + _WIDTH + 0.35, _BOTTOM + _HEIGHT

_MARK = 4.0
"""Half the width of a well's mark with its edge and a little air [pt]."""


@dataclass
class FloorSheet:
    """A sheet in the making: figure, plan, scales, labels, key, and its stage's number."""

    figure: Figure
    axes: Axes
    scales: Scales
    placer: LabelPlacer
    number: int
    handles: Handles = field(default_factory=dict)

    @classmethod
    def begin(cls, run: RunFolder, result: StageResult, title: str) -> FloorSheet:
        """A sheet with an empty plan of the floor, in the run's shown units."""
        scales = Scales.of(run)
        figure = sheet(run, title, result.entry.name)
        axes = panel(figure, _LEFT, _BOTTOM, _WIDTH, _HEIGHT)
        frame_plan(axes, _window(run, scales), scales, run)
        axes.set_facecolor(PAPER)
        placer = LabelPlacer(axes)
        draw_scale_and_north(axes, scales)
        if run.ledger.wells:  # before any label: the first ones must not cover a mark either
            at = [(well.x, well.y) for well in run.ledger.wells]
            placer.block(scales.crs(np.array(at)), _MARK)
        return cls(figure, axes, scales, placer, run.ledger.stages.index(result.entry))

    def draw_pit(self, run: RunFolder) -> None:
        """The pit's edge and its walls."""
        draw_pit(self.axes, run, self.scales, self.placer, self.handles, self.number)

    def draw_wells(self, run: RunFolder, *, named: bool) -> None:
        """Drainage points, with their names or without."""
        draw_wells(self.axes, run, self.scales, self.placer, self.handles, self.number, named=named)

    def mark_worst(
        self, spot: tuple[float, float], held: bool, told: str, named: str, key: str
    ) -> None:
        """Mark the worst place (crs units), filled where it does not hold."""
        from matplotlib.lines import Line2D

        style: dict[str, Any] = {
            "marker": "X",
            "markersize": 8,
            "markerfacecolor": PAPER if held else ALARM,
            "markeredgecolor": INK,
            "markeredgewidth": 0.9,
            "linestyle": "none",
        }
        self.axes.plot(*spot, zorder=7, **style)
        self.placer.block(np.array([spot]), 5)
        self.placer.place(spot, told, 8, must=True, weight="bold")
        self.handles[key] = Line2D([], [], label=named, **style)

    def key(self, drop: float) -> None:
        """The key, `drop` inches below the top of the plan."""
        self.figure.legend(
            handles=list(self.handles.values()),
            loc="upper left",
            borderaxespad=0,
            handlelength=2.6,
            handleheight=1.3,
            labelspacing=0.6,
            bbox_to_anchor=(_KEY_LEFT / SHEET[0], (_TOP - drop) / SHEET[1]),
        )

    def verdict(self, text: str, alarm: bool, rows: Sequence[tuple[str, str]]) -> None:
        """The verdict and, below it, names and values."""
        self.figure.text(
            _KEY_LEFT / SHEET[0],
            _TOP / SHEET[1],
            text,
            fontsize=9,
            weight="bold",
            va="top",
            color=ALARM if alarm else INK,
        )
        for place, (name, value) in enumerate(rows):
            y = (_TOP - 0.3 - 0.18 * place) / SHEET[1]
            self.figure.text(_KEY_LEFT / SHEET[0], y, name, fontsize=7.5, va="top")
            self.figure.text(1 - MARGIN / SHEET[0], y, value, fontsize=7.5, va="top", ha="right")


def _window(run: RunFolder, scales: Scales) -> tuple[float, float, float, float]:
    """The part of the plan that shows the floor: west, south, east, north [crs units]."""
    outline = scales.crs(np.asarray(run.ledger.outline))
    low, high = outline.min(axis=0), outline.max(axis=0)
    span = 1.36 * (high - low)
    wide = max(span[0], span[1] * _WIDTH / _HEIGHT)
    half = 0.5 * np.array([wide, wide * _HEIGHT / _WIDTH])
    middle = 0.5 * (low + high)
    return (*(middle - half), *(middle + half))
