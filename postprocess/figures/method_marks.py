"""The mark of each drainage method, in plans, sections and legends: shapes that show what it does.

A deep well is a ring with its bore. A wellpoint is a cross-barred stroke threaded on its header, a
pipe drawn as one line. An ejector is a triangle pointing down its jet, between a supply and a
return pipe, drawn as a double line. A relief well points up, open: its water rises by itself. A
recharge well points down, filled with water: it gives back. A recharge trench is a line of filled
lozenges. A sump is a square pit in the floor.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.figures.style import INK, PAPER, SOFT_INK, WATER
from wellring.postprocess.run.ledger import WellEntry

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class MethodMark:
    """How one method is drawn: its name in legends, its marker, and the pipes that join its points.

    `pipes` is 0 for points that stand alone, 1 for one header, 2 for supply and return.
    """

    label: str
    marker: Any
    fill: str = PAPER
    edge: str = INK
    pipes: int = 0
    scale: float = 1.0
    style: dict[str, Any] = field(default_factory=dict)

    def look(self, size: float, working: bool) -> dict[str, Any]:
        """Keywords of a matplotlib line that draws its markers `size` points wide."""
        bold = 1.1 if size > 4 else 0.6
        return {
            "marker": self.marker,
            "markersize": size * self.scale * (1.0 if working else 0.75),
            "markerfacecolor": self.fill if working else PAPER,
            "markeredgecolor": self.edge if working else SOFT_INK,
            "markeredgewidth": bold if working else 0.65 * bold,
            "linestyle": "none",
            **self.style,
        }


MARKS = {
    "deep wells": MethodMark("deep well", "o"),
    "wellpoints": MethodMark("wellpoint on its header", "P", PAPER, INK, pipes=1, scale=1.1),
    "ejectors": MethodMark("ejector, supply and return", "v", PAPER, INK, pipes=2),
    "recharge wells": MethodMark("recharge well", "v", WATER, WATER, scale=1.15),
    "recharge trench": MethodMark("recharge trench", "D", WATER, WATER, pipes=1, scale=0.8),
    "relief wells": MethodMark("relief well", "^", PAPER, WATER, scale=1.1),
}
SUMP = MethodMark("sump (place not fixed)", "s", WATER, INK, scale=1.6)


def mark_of(method: str) -> MethodMark:
    """The mark of a method of the ledger; that of a well where it has none of its own."""
    return MARKS.get(method, MARKS["deep wells"])


def draw_pipes(axes: Axes, wells: Sequence[WellEntry], at: Floats, size: float) -> None:
    """Headers, or supply and return, along the points of each table that hang on them.

    `at` (n, 2) are the wells' places on the axes. A ring of points is closed.
    """
    rows: dict[tuple[str, str], list[int]] = {}
    for index, well in enumerate(wells):
        if mark_of(well.method).pipes:
            table = re.sub(r"[ ]?\d+$", "", well.name)
            rows.setdefault((well.method, table), []).append(index)
    for (method, _), members in rows.items():
        line = at[members]
        if len(line) < 2:
            continue
        steps = np.hypot(*np.diff(line, axis=0).T)
        if len(line) > 3 and np.hypot(*(line[-1] - line[0])) < 1.8 * np.median(steps):
            line = np.vstack([line, line[:1]])
        wide = 0.28 * size
        axes.plot(*line.T, color=INK, linewidth=wide, zorder=5.8, solid_joinstyle="round")
        if mark_of(method).pipes == 2:
            axes.plot(*line.T, color=PAPER, linewidth=0.4 * wide, zorder=5.81)
