"""Schemes side by side on common scales: water below the last floor, and drawdown around."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.postprocess.figures.style import BANDS, DPI, INK, Scales, drawing, plain, save
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult, read_results

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST = 6
"""Schemes a sheet holds."""


def draw_side_by_side(folders: Sequence[Path], folder: Path) -> list[Path]:
    """Draw the last stage of finished runs, best first: one column a scheme, two rows.

    Returns
    -------
    list of Path : compare.png and compare.svg in `folder`.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.colors import BoundaryNorm, ListedColormap
    from matplotlib.figure import Figure

    runs = [RunFolder(path) for path in folders[:_MOST]]
    if not runs:
        return []
    last = [read_results(run)[-1] for run in runs]
    scales = Scales.of(runs[0])
    factor, unit = scales.length.factor, scales.length.unit
    depth = [r.dryness.depth_below * factor if r.dryness else np.zeros(0) for r in last]
    fall = [r.fall.largest * factor if r.fall else np.zeros(0) for r in last]
    with drawing():
        figure = Figure(figsize=(2.9 * len(runs) + 1.3, 6.6), dpi=DPI)
        FigureCanvasAgg(figure)
        axes = figure.subplots(2, len(runs), squeeze=False)
        low = min(0.0, *(float(np.nanmin(v, initial=0.0)) for v in depth))
        high = max(float(np.nanmax(v, initial=0.1)) for v in depth)
        most = max(float(np.nanmax(v, initial=0.1)) for v in fall)
        steps = np.linspace(0.0, most, len(BANDS) + 1)
        blues = ListedColormap(BANDS)
        span = max(abs(low), high)
        for column, (run, result) in enumerate(zip(runs, last, strict=True)):
            top, below = axes[0, column], axes[1, column]
            floor = np.full(run.area.size, np.nan)
            if result.dryness is not None:
                floor[result.dryness.plan] = depth[column]
            first = _mesh(top, run, floor, cmap="RdBu", vmin=-span, vmax=span)
            second = _mesh(
                below, run, fall[column], cmap=blues, norm=BoundaryNorm(steps, len(BANDS))
            )
            _frame(top, run, 0.25)
            _frame(below, run, 2.0)
            _wells(top, run, result)
            _wells(below, run, result)
            top.set_title(plain(run.ledger.scheme, 34), fontsize=8.5, weight="bold")
        entry = last[0].entry
        bar = figure.colorbar(first, ax=list(axes[0]), fraction=0.04, pad=0.02)
        bar.set_label(f"Water below formation [{unit}]; red: above it")
        bar = figure.colorbar(second, ax=list(axes[1]), fraction=0.04, pad=0.02, format="%.1f")
        bar.set_label(f"Drawdown [{unit}]")
        site = plain(runs[0].ledger.site, 60)
        invented = "   INVENTED SITE" if runs[0].ledger.invented else ""
        figure.suptitle(f"{site}: {plain(entry.name, 40)}, all schemes{invented}", fontsize=10)
        return save(figure, folder, "compare")


def _mesh(axes: Axes, run: RunFolder, values: np.ndarray, **look: Any) -> Any:
    grid = run.ledger.grid
    x, y = np.meshgrid(grid.x_edges, grid.y_edges)
    site_x, site_y = run.to_site(x, y)
    masked = np.ma.masked_invalid(values.reshape(run.plan_shape))
    return axes.pcolormesh(site_x, site_y, masked, rasterized=True, **look)


def _frame(axes: Axes, run: RunFolder, margin: float) -> None:
    """The pit's outline, and as much around it as `margin` times its size."""
    outline = np.asarray(run.ledger.outline)
    axes.plot(outline[:, 0], outline[:, 1], color=INK, linewidth=1.0)
    low, high = outline.min(axis=0), outline.max(axis=0)
    half = (0.5 + margin) * float((high - low).max())
    middle = 0.5 * (low + high)
    axes.set_xlim(middle[0] - half, middle[0] + half)
    axes.set_ylim(middle[1] - half, middle[1] + half)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])


def _wells(axes: Axes, run: RunFolder, result: StageResult) -> None:
    number = run.ledger.stages.index(result.entry)
    wells = [well for well in run.ledger.wells if well.governing[number] != "not used"]
    axes.plot(
        [well.x for well in wells], [well.y for well in wells], "o", color=INK, markersize=2.2
    )
