"""What stands in a section besides the ground: walls, wells, borings, levels of the digs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.figures.cuts import Cut
from wellring.postprocess.figures.labels import spread, text_size
from wellring.postprocess.figures.method_marks import mark_of
from wellring.postprocess.figures.pipe_rows import at_work, header_of, heads_of_rows, pipe_rows
from wellring.postprocess.figures.soil_look import SoilLook
from wellring.postprocess.figures.style import (
    INK,
    PAPER,
    PIT,
    SOFT_INK,
    WALL,
    WATER,
    Scales,
    key_text,
    plain,
)
from wellring.postprocess.run.ledger import WallEntry
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]
Handles = dict[str, Any]
Head = tuple[float, float, str, str]
"""A thing named above the ground: distance, level it is tied to (shown units), name, colour."""

_BACKING = {"boxstyle": "round,pad=0.1", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.85}


def draw_digs(
    axes: Axes,
    run: RunFolder,
    cut: Cut,
    ground: Floats,
    water: list[Floats],
    scales: Scales,
    handles: Handles,
) -> None:
    """The pit as dug in the last stage, with the formation levels of all stages in it.

    `ground` (m,) is the natural surface [m] over the section's cells, `water` are the lines
    (m,) [m] that the names of the stages had better keep off.
    """
    from matplotlib.lines import Line2D

    digs = [stage for stage in run.ledger.stages if stage.formation is not None]
    if not digs:
        return
    factor = scales.length.factor
    for start, end in cut.pit:
        at = np.array([start, *cut.s[(cut.s > start) & (cut.s < end)], end])
        surface = np.interp(at, cut.s, ground)
        deepest = min(stage.formation for stage in digs if stage.formation is not None)
        axes.fill_between(
            at * factor,
            np.minimum(surface, deepest) * factor,
            surface * factor,
            facecolor=PIT,
            edgecolor="none",
            zorder=3,
        )
        upper = surface[[0, -1]]
        for place, stage in enumerate(digs):
            assert stage.formation is not None
            level, last = stage.formation, place == len(digs) - 1
            style: dict[str, Any] = {
                "color": INK,
                "linewidth": 1.3 if last else 0.6,
                "linestyle": "-" if last else (0, (5, 2)),
            }
            axes.plot(
                np.array([start, end]) * factor, np.full(2, level * factor), zorder=4, **style
            )
            for side, top in zip((start, end), upper, strict=True):
                axes.plot(
                    np.full(2, side * factor),
                    np.array([level, max(top, level)]) * factor,
                    zorder=4,
                    color=INK,
                    linewidth=0.9,
                )
            text = f"{plain(stage.name, 30)}: {scales.number(level)}"
            axes.annotate(
                text,
                (
                    _free_spot(axes, run, cut, (start, end), level, water, text) * factor,
                    level * factor,
                ),
                xytext=(0, 2.2),
                textcoords="offset points",
                ha="center",
                va="bottom",
                fontsize=6.3,
                zorder=8,
                annotation_clip=True,
                bbox=_BACKING,
            )
            handles.setdefault(
                "last" if last else "earlier",
                Line2D(
                    [],
                    [],
                    label="formation, last stage" if last else "formation, earlier stages",
                    **style,
                ),
            )


def _free_spot(
    axes: Axes,
    run: RunFolder,
    cut: Cut,
    within: tuple[float, float],
    level: float,
    water: list[Floats],
    text: str,
) -> float:
    """Distance [m] for the middle of a text above `level`: off wells, borings and water."""
    start, end = within
    things = [(well.x, well.y) for well in run.ledger.wells]
    things += [(boring.x, boring.y) for boring in run.ledger.borings]
    s, away = cut.project(run, *np.array(things).reshape(-1, 2).T)
    taken = np.concatenate([s[away <= cut.corridor], [start, end]])
    frame = axes.get_window_extent()
    width, height = text_size(text, 6.3)
    half = 0.5 * width * cut.length / frame.width
    shown = float(np.ptp(axes.get_ylim())) / float(np.ptp(axes.get_xlim()))
    tall = 1.8 * height * shown * cut.length / frame.height
    tried = np.linspace(start, end, 41)
    free = np.abs(tried[:, None] - taken[None, :]).min(axis=1)
    off = np.abs(tried - 0.5 * (start + end)) / max(end - start, 1e-9)
    spots = tried[:, None] + np.linspace(-half, half, 9)[None, :]
    crossed = np.zeros(len(tried), bool)
    for line in water:
        at = np.interp(spots, cut.s, line)
        crossed |= ((at > level - 0.2 * tall) & (at < level + tall)).any(axis=1)
    score = np.minimum(free / (1.15 * half), 1.0) - 0.1 * off - 0.6 * crossed
    return float(tried[int(np.argmax(score))])


def draw_walls(
    axes: Axes, run: RunFolder, cut: Cut, ground: Floats, scales: Scales, handles: Handles
) -> None:
    """Walls where the section crosses them, down to their toes.

    `ground` (m,) is the natural surface [m] over the section's cells.
    """
    from matplotlib.lines import Line2D

    factor = scales.length.factor
    last = len(run.ledger.stages) - 2
    for wall in run.ledger.walls:
        if wall.from_stage > last:
            continue
        for s in cut.crossings(run, wall.line):
            top = float(np.interp(s, cut.s, ground))
            toe = toe_at(run, cut, wall, s)
            style: dict[str, Any] = {
                "color": WALL,
                "solid_capstyle": "butt",
                "linewidth": 2.8 if wall.holds_water else 1.5,
                "linestyle": "-" if wall.holds_water else (0, (3, 1.6)),
            }
            told = (
                f"{plain(wall.kind)}, holds water"
                if wall.holds_water
                else f"{plain(wall.kind)}, lets water through (drawn to formation)"
            )
            bottom = toe if toe is not None else _formation(run)
            axes.plot(np.full(2, s) * factor, np.array([bottom, top]) * factor, zorder=5, **style)
            handles.setdefault(told, Line2D([], [], label=key_text(told), **style))
            if toe is not None:
                axes.annotate(
                    f"toe {scales.number(toe)}",
                    (s * factor, toe * factor),
                    xytext=(0, -2.5),
                    textcoords="offset points",
                    ha="center",
                    va="top",
                    fontsize=6.3,
                    zorder=8,
                    color=WALL,
                    bbox=_BACKING,
                )


def toe_at(run: RunFolder, cut: Cut, wall: WallEntry, s: float) -> float | None:
    """Toe level [m] of the wall's face nearest to where it is crossed."""
    if not wall.faces:
        return None
    pairs = np.asarray(wall.faces, dtype=np.intp)
    x, y = run.centres
    at, away = cut.project(run, x[pairs].mean(axis=1), y[pairs].mean(axis=1))
    return float(wall.toes[int(np.argmin(np.hypot(at - s, away)))])


def _formation(run: RunFolder) -> float:
    return min((s.formation for s in run.ledger.stages if s.formation is not None), default=0.0)


def draw_wells(
    axes: Axes, run: RunFolder, cut: Cut, ground: Floats, scales: Scales, handles: Handles
) -> list[Head]:
    """Wells of the corridor with screen and, in the last stage, the water level in them.

    `ground` (m,) is the natural surface [m] over the section's cells.
    """
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch, Rectangle

    wells = run.ledger.wells
    if not wells:
        return []
    s, away = cut.project(run, *np.array([(w.x, w.y) for w in wells]).T)
    factor = scales.length.factor
    width = 0.006 * cut.length * factor
    heads: list[Head] = []
    row_of = {well.name: row for row in pipe_rows(run) for well in row.wells}
    rows = []
    for well, at, off, working in zip(wells, s, away, at_work(wells, -1), strict=True):
        if off > cut.corridor or not 0 <= at <= cut.length:
            continue
        row = row_of.get(well.name)
        header = None if row is None else header_of(row)
        top = float(np.interp(at, cut.s, ground)) if header is None else header
        bottom, upper = well.screen
        axes.plot(
            np.full(2, at) * factor,
            np.array([upper, top]) * factor,
            color=INK,
            linewidth=1.0,
            zorder=6,
        )
        axes.add_patch(
            Rectangle(
                (at * factor - width / 2, bottom * factor),
                width,
                (upper - bottom) * factor,
                facecolor=PAPER,
                edgecolor=INK,
                linewidth=0.7,
                hatch="------",
                zorder=6,
            )
        )
        mark = mark_of(well.method)
        style = mark.look(5.2, working)
        axes.plot([at * factor], [top * factor], zorder=6.5, clip_on=False, **style)
        told = mark.label if working else f"{well.method}: at rest in the last stage"
        handles.setdefault(f"mark {told}", Line2D([], [], label=told, **style))
        level = well.level[-1]
        if level is not None:
            axes.plot(
                [at * factor],
                [level * factor],
                marker=7,
                markersize=5,
                color=WATER,
                markeredgecolor=PAPER,
                markeredgewidth=0.4,
                zorder=7.5,
            )
            axes.plot(
                np.array([-width, width]) * 0.9 + at * factor,
                np.full(2, level * factor),
                color=WATER,
                linewidth=1.4,
                zorder=7.4,
            )
        if row is None:
            heads.append((at * factor, top * factor, plain(well.name, 22), INK))
        else:
            rows.append((row, at * factor, top * factor))
    heads += [(*head, INK) for head in heads_of_rows(rows, 3 * width)]
    if heads:
        handles["screen"] = Patch(
            facecolor=PAPER, edgecolor=INK, hatch="------", linewidth=0.7, label="well screen"
        )
        handles["well level"] = Line2D(
            [], [], marker=7, color=WATER, linestyle="none", label="water in the well, last stage"
        )
    return heads


def draw_borings(
    axes: Axes,
    run: RunFolder,
    cut: Cut,
    scales: Scales,
    looks: dict[str, SoilLook],
    handles: Handles,
) -> list[Head]:
    """Borings of the corridor as sticks of what was logged."""
    from matplotlib.patches import Patch, Rectangle

    borings = run.ledger.borings
    if not borings:
        return []
    s, away = cut.project(run, *np.array([(b.x, b.y) for b in borings]).T)
    factor = scales.length.factor
    width = 0.011 * cut.length * factor
    heads: list[Head] = []
    for boring, at, off in zip(borings, s, away, strict=True):
        if off > cut.corridor or not 0 <= at <= cut.length:
            continue
        for top, bottom, soil in boring.intervals:
            look = looks[soil]
            axes.add_patch(
                Rectangle(
                    (at * factor - width / 2, bottom * factor),
                    width,
                    (top - bottom) * factor,
                    facecolor=look.fill,
                    hatch=look.hatch,
                    edgecolor=INK,
                    linewidth=1.0,
                    zorder=5.5,
                )
            )
        heads.append((at * factor, boring.ground * factor, plain(boring.id, 18), SOFT_INK))
    if heads:
        handles["boring"] = Patch(
            facecolor="#d9d9d9", edgecolor=INK, linewidth=1.0, label="boring, as logged"
        )
    return heads


def name_heads(axes: Axes, heads: list[Head], base: float, rise: float) -> None:
    """Names above the ground, upright, spread so that none covers another.

    `base` and `rise` are the level at which the names start and the height of their lead lines,
    in shown units.
    """
    if not heads:
        return
    low, high = axes.get_xlim()
    wanted = np.array([head[0] for head in heads])
    gap = 0.0155 * (high - low)
    placed = spread(wanted, gap, low + gap, high - gap)
    for (at, level, name, colour), x in zip(heads, placed, strict=True):
        axes.plot(
            [at, at, x], [level, base, base + rise], color=SOFT_INK, linewidth=0.4, zorder=4.6
        )
        axes.text(
            x,
            base + 1.15 * rise,
            name,
            rotation=90,
            fontsize=6.3,
            ha="center",
            va="bottom",
            color=colour,
            zorder=8,
        )
