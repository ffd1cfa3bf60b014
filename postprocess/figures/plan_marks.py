"""What stands on a plan besides contours: pit, walls, wells, borings, boundaries, scale, north."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from wellring.postprocess.figures.fields import cells_outline
from wellring.postprocess.figures.labels import LabelPlacer
from wellring.postprocess.figures.method_marks import SUMP, draw_pipes, mark_of
from wellring.postprocess.figures.pipe_rows import at_work, name_rows, pipe_rows, runs
from wellring.postprocess.figures.style import (
    INK,
    PAPER,
    SOFT_INK,
    WALL,
    WATER,
    Scales,
    key_text,
    plain,
)
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.water.drainage_groups import sump_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]
CROWD = 24
"""Wells from which on only those are named that have room for it right beside them."""
Handles = dict[str, Any]
"""Legend entries by what they are, so that each comes once."""


def draw_geometry(axes: Axes, shape: BaseGeometry, **style: Any) -> None:
    """Draw a polygon (with holes) or several as one patch."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    paths = []
    for polygon in shapely.get_parts(shape):
        if polygon.geom_type != "Polygon" or polygon.is_empty:
            continue
        for ring in (polygon.exterior, *polygon.interiors):
            paths.append(Path(np.asarray(ring.coords)[:, :2], closed=True))
    if paths:
        axes.add_patch(PathPatch(Path.make_compound_path(*paths), **style))


def draw_boundaries(
    axes: Axes, run: RunFolder, placer: LabelPlacer, handles: Handles, named: bool
) -> None:
    """Natural boundaries by the cells they act on; what acts everywhere is not drawn."""
    from matplotlib.patches import Patch

    n = run.area.size
    for entry in run.ledger.boundaries:
        plan = np.unique(np.asarray(entry.nodes, dtype=np.intp) % n)
        if not plan.size or plan.size > 0.5 * n:
            continue
        shape = cells_outline(run, plan)
        edge = entry.kind == "edge"
        style: dict[str, Any] = {
            "facecolor": "#dcdad3" if edge else "#b5d3e6",
            "edgecolor": SOFT_INK if edge else WATER,
            "hatch": "" if edge else "---",
            "linewidth": 0.4,
        }
        draw_geometry(axes, shape, zorder=2.5, **style)
        told = (
            "edge of the model, water held" if edge else f"{plain(entry.name, 30)} ({entry.kind})"
        )
        handles.setdefault(f"boundary {entry.name}", Patch(label=key_text(told), **style))
        if named and not edge:
            _name_boundary(axes, shape, placer, plain(entry.name, 30))


def _name_boundary(axes: Axes, shape: BaseGeometry, placer: LabelPlacer, name: str) -> None:
    seen = shapely.intersection(shape, _window(axes, 0.04))
    if not seen.is_empty:
        point = seen.representative_point()
        placer.place((point.x, point.y), name, 7, style="italic", color=WATER)


def _window(axes: Axes, inset: float) -> BaseGeometry:
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    dx, dy = inset * (x1 - x0), inset * (y1 - y0)
    return shapely.box(x0 + dx, y0 + dy, x1 - dx, y1 - dy)


def draw_pit(
    axes: Axes, run: RunFolder, scales: Scales, placer: LabelPlacer, handles: Handles, stage: int
) -> None:
    """Outline of the excavation and the walls that stand in stage number `stage`."""
    from matplotlib.lines import Line2D

    outline = scales.crs(np.asarray(run.ledger.outline))
    for wall in run.ledger.walls:
        if wall.from_stage > stage - 1:
            continue
        line = scales.crs(np.asarray(wall.line))
        style: dict[str, Any] = {
            "color": WALL,
            "linewidth": 3.2 if wall.holds_water else 1.8,
            "linestyle": "-" if wall.holds_water else (0, (3, 1.6)),
        }
        axes.plot(line[:, 0], line[:, 1], zorder=4, solid_capstyle="butt", **style)
        placer.block_line(line)
        told = (
            f"{plain(wall.kind)}, holds water"
            if wall.holds_water
            else f"{plain(wall.kind)}, lets water through"
        )
        handles.setdefault(f"wall {told}", Line2D([], [], label=key_text(told), **style))
    axes.plot(outline[:, 0], outline[:, 1], color=INK, linewidth=1.0, zorder=4.5)
    placer.block_line(outline)
    handles.setdefault("pit", Line2D([], [], color=INK, linewidth=1.0, label="excavation outline"))


def draw_wells(
    axes: Axes,
    run: RunFolder,
    scales: Scales,
    placer: LabelPlacer,
    handles: Handles,
    stage: int,
    named: bool,
) -> int:
    """Points of every method, with name and flow in stage number `stage`.

    Returns how many names found no room.
    """
    from matplotlib.lines import Line2D

    size = 5.2 if named else 2.2
    if sump_of(run) is not None:
        _draw_sump(axes, run, scales, handles, size)
    wells = run.ledger.wells
    if not wells:
        return 0
    at = scales.crs(np.array([[well.x, well.y] for well in wells]))
    busy = at_work(wells, stage)
    draw_pipes(axes, wells, at, size)
    for method in dict.fromkeys(well.method for well in wells):
        mark = mark_of(method)
        own = np.array([well.method == method for well in wells])
        for chosen, working in ((own & ~busy, False), (own & busy, True)):
            if not chosen.any():
                continue
            style = mark.look(size, working)
            axes.plot(*at[chosen].T, zorder=6, **style)
            if working and named and method == "deep wells":
                axes.plot(
                    *at[chosen].T, zorder=6.1, marker="o", markersize=1.6, color=INK, ls="none"
                )
            told = mark.label if working else f"{method}: at rest"
            handles[f"{method} {working}"] = Line2D([], [], label=told, **style)
    if not named:
        return 0
    placer.block(at, 0.6 * size)
    centre = shapely.Polygon(run.ledger.outline).centroid
    middle = (scales.crs(centre.x), scales.crs(centre.y))
    left_out = 0
    window = _window(axes, 0.0)
    rows = pipe_rows(run)
    name_rows(rows, scales, placer, window, middle, stage)
    in_rows = {well.name for row in rows for well in row.wells}
    # Long leaders between many wells make a thicket in which nobody finds a name.
    crowd = len(wells) - len(in_rows) > CROWD
    for well, point in zip(wells, at, strict=True):
        if well.name in in_rows or not window.contains(shapely.Point(point)):
            continue
        name = plain(well.name, 24)
        text = f"{name}\n{scales.amount(well.flow[stage])}" if runs(well, stage) else name
        left_out += not placer.place(tuple(point), text, 6.3, away_from=middle, near=crowd)
    return left_out


def _draw_sump(axes: Axes, run: RunFolder, scales: Scales, handles: Handles, size: float) -> None:
    """A sump in the floor; the site file does not say where its low point lies."""
    from matplotlib.lines import Line2D

    inside = shapely.Polygon(run.ledger.outline).representative_point()
    style = SUMP.look(size, working=True)
    axes.plot(*scales.crs(np.array([[inside.x, inside.y]])).T, zorder=6, **style)
    handles["sump"] = Line2D([], [], label=SUMP.label, **style)


def draw_borings_and_points(
    axes: Axes,
    run: RunFolder,
    scales: Scales,
    placer: LabelPlacer,
    handles: Handles,
    hidden: BaseGeometry | None,
) -> None:
    """Borings and named points; labelled where there is room, but not within `hidden`."""
    from matplotlib.lines import Line2D

    window = _window(axes, 0.0)
    if hidden is not None:
        window = window.difference(hidden)
    borings = [(plain(b.id, 20), b.x, b.y) for b in run.ledger.borings]
    points = [(plain(p.name, 40), p.x, p.y) for p in run.ledger.points]
    looks: tuple[tuple[str, Any, dict[str, Any]], ...] = (
        ("named point", points, {"marker": "D", "markersize": 4.6, "markerfacecolor": "#e9b54a"}),
        ("boring", borings, {"marker": "s", "markersize": 3.8, "markerfacecolor": "#8b8f94"}),
    )
    for kind, items, look in looks:
        if not items:
            continue
        style: dict[str, Any] = {
            "markeredgecolor": INK,
            "markeredgewidth": 0.6,
            "linestyle": "none",
            **look,
        }
        at = scales.crs(np.array([[x, y] for _, x, y in items], dtype=float))
        axes.plot(*at.T, zorder=5.5, **style)
        placer.block(at, 3)
        handles.setdefault(kind, Line2D([], [], label=kind, **style))
        for (name, _, _), spot in zip(items, at, strict=True):
            if window.contains(shapely.Point(spot)):
                weight: dict[str, Any] = (
                    {"style": "italic"} if kind == "named point" else {"color": SOFT_INK}
                )
                placer.place(
                    tuple(spot),
                    name,
                    6.3,
                    must=kind == "named point",
                    near=kind == "boring",
                    **weight,
                )


def draw_neighbours_there(axes: Axes, run: RunFolder, scales: Scales, handles: Handles) -> None:
    """The neighbours that would be assessed, by their shape alone."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    if run.receptors is None:
        return
    shapes = shapely.transform(run.receptors.shapes, scales.crs)
    dimension = shapely.get_dimensions(shapes)
    areas = shapely.get_parts(shapes[dimension == 2])
    style: dict[str, Any] = {"facecolor": "#e8d9a8", "edgecolor": INK, "linewidth": 0.6}
    if areas.size:
        draw_geometry(axes, shapely.multipolygons(areas), zorder=2.8, hatch="//", **style)
    for line in shapely.get_parts(shapes[dimension == 1]):
        axes.plot(*shapely.get_coordinates(line).T, color=INK, linewidth=1.1, linestyle=(0, (5, 2)),
                  zorder=2.9)  # fmt: skip
    points = shapely.get_coordinates(shapes[dimension == 0])
    mark: dict[str, Any] = {"marker": "p", "markersize": 6, "linestyle": "none", "color": INK}
    if points.size:
        axes.plot(*points.T, zorder=5.4, **mark)
        handles.setdefault("neighbour's well", Line2D([], [], label="neighbour's well", **mark))
    handles.setdefault("neighbour", Patch(label="neighbour", hatch="//", **style))


def nice_length(wanted: float) -> float:
    """The largest of 1, 2 or 5 times a power of ten that is not above `wanted`."""
    power = 10.0 ** np.floor(np.log10(wanted))
    return float(max(step * power for step in (1, 2, 5) if step * power <= wanted * (1 + 1e-9)))


def draw_scale_and_north(axes: Axes, scales: Scales) -> None:
    """A scale bar in shown units, and grid north (up, the axes being the site's coordinates).

    Both stand above the plan's upper right corner, where they cover nothing.
    """
    from matplotlib.patches import Polygon, Rectangle

    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    wide, high = x1 - x0, y1 - y0
    per_unit = scales.length.factor * scales.metres_per_unit
    length = nice_length(0.3 * wide * per_unit)
    bar = length / per_unit
    left, low = x1 - 0.14 * wide - bar, y1 + 0.012 * high
    for part in range(4):
        axes.add_patch(
            Rectangle(
                (left + part * bar / 4, low),
                bar / 4,
                0.01 * high,
                facecolor=INK if part % 2 == 0 else PAPER,
                edgecolor=INK,
                linewidth=0.5,
                clip_on=False,
            )
        )
    for share in (0.0, 0.5, 1.0):
        axes.text(
            left + share * bar,
            low + 0.014 * high,
            f"{length * share:g}",
            fontsize=6.3,
            ha="center",
            va="bottom",
        )
    axes.text(left + 1.04 * bar, low, scales.length.unit, fontsize=6.3, va="bottom")
    tip_x, tip_y = x1 - 0.02 * wide, y1 + 0.085 * high
    tall, half = 0.072 * high, 0.013 * wide
    for side, face in ((-half, INK), (half, PAPER)):
        axes.add_patch(
            Polygon(
                [(tip_x, tip_y), (tip_x + side, tip_y - tall), (tip_x, tip_y - 0.78 * tall)],
                facecolor=face,
                edgecolor=INK,
                linewidth=0.6,
                clip_on=False,
            )
        )
    axes.text(
        tip_x - 1.5 * half,
        tip_y - 0.5 * tall,
        "N",
        fontsize=8,
        weight="bold",
        ha="right",
        va="center",
    )
