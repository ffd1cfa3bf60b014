"""The figure of a sizing: each well's flow on the plan, stage by stage, and the sums beside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wellring.inputs.basics.units import shown
from wellring.postprocess.figures.style import DPI, INK, SETTINGS, SOFT_INK, WATER, plain
from wellring.postprocess.run.answer import counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from wellring.model.studies.sizing.result import Sized

LARGEST = 260.0
"""Area of the largest well's disc [points²]."""
BARS = {"as it stands": "#b9c4cb", "equal rates": "#7f9bb0", "sized": WATER}


def draw_sizes(done: Sized, folder: Path) -> list[Path]:
    """size.png and size.svg in `folder`: one plan a stage, discs as large as the flows."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    step = done.step
    if step is None:
        return []
    folder.mkdir(exist_ok=True)
    site = done.study.base.site
    flow = shown("flow", site.description.site.show)
    stages = done.search.stages
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(SETTINGS)
        width = 3.3 * len(stages) + 3.0
        figure = Figure(figsize=(max(width, 7.5), 4.6), dpi=DPI, layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.subplots(
            1, len(stages) + 1, squeeze=False, width_ratios=[*([3.3] * len(stages)), 2.4]
        )[0]
        for s, stage in enumerate(stages):
            _plan(axes[s], done, s, flow)
            axes[s].set_title(plain(stage, 34), fontsize=9, weight="bold")
        _sums(axes[-1], done, flow)
        invented = "   INVENTED SITE" if site.description.site.invented else ""
        verdict = "" if done.found else "   NOT ALL LIMITS HOLD"
        figure.suptitle(
            f"{plain(site.name, 40)} | {plain(done.scheme, 40)}, flows of the wells as sized "
            f"[{flow.unit}]{verdict}{invented}",
            fontsize=9.5,
        )
        written = []
        for suffix in (".png", ".svg"):
            figure.savefig(folder / f"size{suffix}", dpi=DPI)
            written.append(folder / f"size{suffix}")
    return written


def _plan(axes: Axes, done: Sized, s: int, flow: Any) -> None:
    """Outline, wells as discs with their flow, idle ones as small rings."""
    site, step = done.study.base.site, done.step
    assert step is not None
    outline = np.array(site.outline.exterior.coords)
    axes.fill(outline[:, 0], outline[:, 1], facecolor="#f1ede4", edgecolor=INK, linewidth=1.0)
    most = float(step.flows.max()) or 1.0
    centre = np.array(site.outline.centroid.coords[0])
    for i, candidate in enumerate(done.rows.candidates):
        if not candidate.works(s):
            continue
        x, y, given = candidate.point.x, candidate.point.y, float(step.flows[s, i])
        if given <= 0:
            axes.plot(x, y, "o", markersize=4, fillstyle="none", color=SOFT_INK)
            continue
        axes.scatter(x, y, s=LARGEST * given / most, color=WATER, alpha=0.85, zorder=3)
        inside = site.outline.buffer(-0.5).contains(_point(x, y))
        away = np.array([0.0, -1.0]) if inside else np.array([x, y]) - centre
        away = away / max(float(np.hypot(*away)), 1e-9)
        axes.annotate(
            f"{given * flow.factor:.3g}", (x, y), xytext=tuple(14.0 * away),
            textcoords="offset points", ha="center", va="center", fontsize=7, color=INK,
        )  # fmt: skip
    axes.set_aspect("equal")
    axes.margins(0.16)
    axes.set_xticks([])
    axes.set_yticks([])
    rings = [c.works(s) and step.flows[s, i] <= 0 for i, c in enumerate(done.rows.candidates)]
    idle = "; rings: idle" if any(rings) else ""
    axes.set_xlabel(
        f"{float(step.flows[s].sum()) * flow.factor:.1f} {flow.unit}, "
        f"{counted((step.flows[s] > 0).sum(), 'wells')}{idle}",
        fontsize=8,
    )


def _point(x: float, y: float) -> Any:
    import shapely

    return shapely.Point(x, y)


def _sums(axes: Axes, done: Sized, flow: Any) -> None:
    totals = done.totals()
    stages = done.search.stages
    high = 0.8 / len(totals)
    for number, (name, item) in enumerate(totals.items()):
        at = np.arange(len(stages)) + (number - 0.5 * (len(totals) - 1)) * high
        bars = axes.barh(at, item * flow.factor, 0.92 * high, label=name, color=BARS[name])
        axes.bar_label(bars, fmt="%.0f", fontsize=7, padding=2)
    axes.set_yticks(np.arange(len(stages)), [plain(stage, 16) for stage in stages], fontsize=8)
    axes.invert_yaxis()
    axes.set_xlabel(f"all wells [{flow.unit}]", fontsize=8)
    axes.margins(x=0.18)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(fontsize=7, loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=1, frameon=False)
