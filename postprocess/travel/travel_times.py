"""Whether water from contaminated ground, or salt water, reaches the pit or its wells, and when."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.inputs.geodata.receptors import Receptors
from wellring.postprocess.run.flow_field import DIG, WELL, FlowField, flow_field
from wellring.postprocess.run.heads import saturated
from wellring.postprocess.run.plan_sampling import points_on
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, RunFolder
from wellring.postprocess.settlement.settlement import begin_day, end_day
from wellring.postprocess.travel.travel_paths import TAKEN, Particles, follow_paths

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

LONGEST = 100 * 365.25
"""Days for which the last stage's field is followed beyond its end."""
MOST_PARTICLES = 3000
"""Particles from one feature; of more, every so many are left out."""


@dataclass(frozen=True)
class Travel:
    """What comes of the water of one contaminated feature.

    Parameters
    ----------
    name : of the feature.
    count : particles that set out; 0 where no water is there or it lies outside the model.
    first : day on which the first arrives, counted as the stages' days are; None where none does.
    where : name of the well, or "the dig", that it reaches.
    within, ever : part of the particles that arrive by the dig's end, and at all in a century.
    path : (m, 3) site metres and level of the first one's way; empty where none arrives.
    """

    name: str
    count: int
    first: float | None
    where: str
    within: float
    ever: float
    path: Floats


@dataclass(frozen=True)
class Travels:
    """All contaminated features of a run, and how they were followed.

    Parameters
    ----------
    begins, ends : days of the dig; `ends` is None where the last stage has no end.
    dated : whether the stages have days; without, the last stage's field is followed from day 0.
    assumptions : porosities the user did not give.
    """

    items: list[Travel]
    begins: float
    ends: float | None
    dated: bool
    assumptions: list[str]


def travels(run: RunFolder, results: Sequence[StageResult]) -> Travels | None:
    """The water of all contaminated features, followed when first asked; None without any."""
    if results and results[0].travel is None:
        results[0].travel = _travels(run, results)
    return results[0].travel if results else None


def _travels(run: RunFolder, results: Sequence[StageResult]) -> Travels | None:
    receptors = run.receptors
    if receptors is None or len(results) < 2 or not (run.path / DESCRIPTION_FILE).is_file():
        return None
    which = np.flatnonzero(receptors.is_kind("contamination"))
    if not which.size:
        return None
    porosity, assumptions = porosities(run)
    spans = _spans(run, results)
    fields = [
        (flow_field(run, r.entry, r.grid, r.heads, porosity), begin, end) for r, begin, end in spans
    ]
    dated = len(spans) > 1 or results[-1].entry.day is not None
    ends = end_day(run.ledger, len(results) - 1)
    items = [
        _follow(run, results, receptors, int(place), fields, ends if dated else None)
        for place in which
    ]
    return Travels(items, spans[0][1], ends if dated else None, dated, assumptions)


def porosities(run: RunFolder) -> tuple[Floats, list[str]]:
    """Effective porosity (units,) of a run's units, and what was assumed."""
    given = run.description.soils
    found, said = {}, []
    for name, entry in run.ledger.soils.items():
        own = given[name].porosity if name in given else None
        found[name] = entry.sy if own is None else own
        if own is None:
            said.append(
                f"{name}: effective porosity taken as its sy, {entry.sy:g}; a smaller one makes "
                "water travel faster in proportion"
            )
    return np.array([found[unit.soil] for unit in run.ledger.units]), said


def _spans(
    run: RunFolder, results: Sequence[StageResult]
) -> list[tuple[StageResult, float, float]]:
    """Each stage's field with the days between which it acts; the last stage's alone undated.

    The first acts from the day on which pumping starts.
    """
    dug = list(results[1:])
    days = [begin_day(run.ledger, number) for number in range(1, len(results))]
    if any(day is None for day in days):
        return [(dug[-1], 0.0, LONGEST)]
    begins = [float(day or 0.0) for day in days]
    last = max(begins[-1], end_day(run.ledger, len(dug)) or begins[-1]) + LONGEST
    return list(zip(dug, begins, [*begins[1:], last], strict=True))


def _follow(
    run: RunFolder,
    results: Sequence[StageResult],
    receptors: Receptors,
    place: int,
    fields: Sequence[tuple[FlowField, float, float]],
    ends: float | None,
) -> Travel:
    name = str(receptors.name[place])
    node, at = _seeds(run, results[0], receptors, place)
    if not node.size:
        return Travel(name, 0, None, "", 0.0, 0.0, np.zeros((0, 3)))
    begins = fields[0][1]
    particles = Particles.start(node, at, begins * DAY)
    for field, _, until in fields:
        follow_paths(field, particles, until * DAY)
    arrived = particles.state == TAKEN
    if not arrived.any():
        return Travel(name, node.size, None, "", 0.0, 0.0, np.zeros((0, 3)))
    days = np.where(arrived, particles.time / DAY, np.inf)
    first = int(np.argmin(days))
    within = 0.0 if ends is None else float((days <= ends).mean())
    return Travel(
        name,
        node.size,
        float(days[first]),
        _taker(run, fields, int(particles.node[first]), float(days[first])),
        within,
        float(arrived.mean()),
        _path(run, results, fields, node[[first]], at[:, [first]]),
    )


def _seeds(
    run: RunFolder, natural: StageResult, receptors: Receptors, place: int
) -> tuple[Ints, Floats]:
    """Cells (p,) and places (3, p) in them: every wet cell beneath the feature's points."""
    xy, _ = points_on(run, receptors.shapes[[place]])
    x, y = run.to_local(xy[:, 0], xy[:, 1])
    grid = run.ledger.grid
    edges_x, edges_y = np.asarray(grid.x_edges), -np.asarray(grid.y_edges)
    column = np.searchsorted(edges_x, x, side="right") - 1
    row = np.searchsorted(edges_y, -y, side="right") - 1
    inside = (column >= 0) & (column < grid.ncol) & (row >= 0) & (row < grid.nrow)
    column, row, x, y = column[inside], row[inside], x[inside], y[inside]
    u = (x - edges_x[column]) / np.diff(edges_x)[column]
    v = (-y - edges_y[row]) / np.diff(edges_y)[row]
    plan = row * grid.ncol + column
    wet = saturated(natural.grid, natural.heads)[:, plan]
    low = receptors.numbers["bottom"][place]
    if np.isfinite(low):
        wet &= natural.grid.mid[:, plan] >= low
    layer, point = np.nonzero(wet)
    every = max(1, -(-layer.size // MOST_PARTICLES))
    layer, point = layer[::every], point[::every]
    at = np.stack([u[point], v[point], np.full(point.size, 0.5)])
    return layer * run.area.size + plan[point], at


def _taker(
    run: RunFolder, fields: Sequence[tuple[FlowField, float, float]], node: int, day: float
) -> str:
    """Name of what takes the water of a cell on a day."""
    field = next(f for f, _, until in fields if day <= until or f is fields[-1][0])
    if field.takes[node] == WELL:
        named = (well.name for well in run.ledger.wells if node in well.nodes)
        return next(named, "a well")
    return "the dig" if field.takes[node] == DIG or not field.active[node] else "a well"


def _path(
    run: RunFolder,
    results: Sequence[StageResult],
    fields: Sequence[tuple[FlowField, float, float]],
    node: Ints,
    at: Floats,
) -> Floats:
    """Way (m, 3) of one particle in site metres and level."""
    particles = Particles.start(node, at, fields[0][1] * DAY)
    track: list[tuple[Ints, Floats, Floats]] = [(node, at, particles.time.copy())]
    for field, _, until in fields:
        follow_paths(field, particles, until * DAY, track)
    return np.array(list(_points(run, results[0], track)))


def _points(
    run: RunFolder, natural: StageResult, track: Sequence[tuple[Ints, Floats, Floats]]
) -> Iterator[tuple[float, float, float]]:
    grid = run.ledger.grid
    x, y = np.asarray(grid.x_edges), np.asarray(grid.y_edges)
    for node, at, _ in track:
        layer, plan = divmod(int(node[0]), run.area.size)
        row, column = divmod(plan, grid.ncol)
        u, v, w = at[:, 0]
        local_x = x[column] + u * (x[column + 1] - x[column])
        local_y = y[row] + v * (y[row + 1] - y[row])
        low, high = natural.grid.bottom[layer, plan], natural.grid.top[layer, plan]
        site_x, site_y = run.to_site(local_x, local_y)
        yield float(site_x), float(site_y), float(low + w * (high - low))
