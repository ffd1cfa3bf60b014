"""The pit of the comparison of grids, on a graded DIS or a DISV of nested squares.

See grid_kinds.py beside this file for the problem and the question.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.model.grid.graded import Key, graded_edges
from wellring.model.mf6.build import MODEL

Floats = NDArray[np.float64]

HALF_X, HALF_Y, EDGE = 30.0, 20.0, 640.0
REST, FLOOR, TOE = -1.5, -9.0, -14.0
LEVELS = -np.concatenate(
    [[0, 2, 4, 6, 7.5], np.arange(9, 13), np.arange(13, 15, 0.5), np.arange(15, 21), [23, 28]]
)
SOILS = ((-2.0, 1e-5), (-18.0, 2e-4), (-20.0, 1e-8), (-28.0, 1e-3))
"""Bottom [m] and hydraulic conductivity [m/s], top down."""
WALL_LEAKAGE = 1e-7
WELLS = np.array(
    [(-24.3, -14.1), (0.7, -14.6), (24.9, -13.7), (24.4, 14.3), (-1.2, 13.8), (-24.6, 14.4)]
)
WELL_LEVEL, WELL_RADIUS, SCREEN = -11.5, 0.1, (-17.0, -10.0)
WELL_CELL = 0.8
"""Smallest cell at a well [m]: the cell's equivalent radius must stay above the well's."""
LARGEST = 80.0


@dataclass(frozen=True)
class PlanCells:
    """Rectangular plan cells of either kind, flattened: low and high x and y (n,) [m]."""

    kind: str
    shape: tuple[int, ...]
    x0: Floats
    x1: Floats
    y0: Floats
    y1: Floats
    package: dict[str, Any]
    """What the kind's own discretisation package needs beside layers."""

    @property
    def n(self) -> int:
        return self.x0.size


def graded_cells(cell: float, slope: float) -> PlanCells:
    """Rows and columns graded away from the walls and wells, lines exactly on the walls."""
    at_wells = max(cell, WELL_CELL)
    edges = []
    for axis, half in enumerate((HALF_X, HALF_Y)):
        keys = [Key(side * half, side * half, cell) for side in (-1, 1)]
        keys += [Key(float(at), float(at), at_wells) for at in WELLS[:, axis]]
        edges.append(graded_edges(-EDGE, EDGE, tuple(keys), (-half, half), 1 + slope, LARGEST))
    x, y = edges[0], edges[1][::-1]
    shape = (y.size - 1, x.size - 1)
    x0, y0 = np.meshgrid(x[:-1], y[1:])
    x1, y1 = np.meshgrid(x[1:], y[:-1])
    package = {"nrow": shape[0], "ncol": shape[1], "delr": np.diff(x), "delc": -np.diff(y)}
    return PlanCells("DIS", shape, x0.ravel(), x1.ravel(), y0.ravel(), y1.ravel(), package)


def nested_cells(cell: float, slope: float) -> PlanCells:
    """Squares halved until each is no larger than the law of cell size allows.

    A slope of 0.7 at most keeps neighbours at 2:1 by itself: a square's size and that of its
    neighbour's parent differ by no more than the law changes across the parent.
    """
    base = 2 ** int(np.floor(np.log2(LARGEST / cell * 1.4)))
    count = round(2 * EDGE / cell / base)
    unit = 2 * EDGE / count / base  # the smallest square; all corners are multiples of it
    if abs(unit / cell - 1) > 0.01 or not _whole(np.array([HALF_X, HALF_Y]) / unit):
        raise ValueError(f"squares of {cell:g} m fit neither the domain's sides nor the pit's")
    start = np.arange(count, dtype=np.int64) * base
    i, j = (a.ravel() for a in np.meshgrid(start, start))
    wall = shapely.box(-HALF_X, -HALF_Y, HALF_X, HALF_Y).exterior
    wells = shapely.multipoints(WELLS)
    size, done = base, []
    while True:
        box = shapely.box(*(unit * np.array([i, j, i + size, j + size]) - EDGE))
        allowed = np.minimum(
            cell + slope * shapely.distance(box, wall),
            max(cell, WELL_CELL) + slope * shapely.distance(box, wells),
        )
        split = (size * unit > allowed * (1 + 1e-9)) & (size > 1)
        done.append(np.column_stack([i[~split], j[~split], np.full((~split).sum(), size)]))
        if not split.any():
            break
        size //= 2
        i = (i[split][:, None] + np.array([0, size, 0, size])).ravel()
        j = (j[split][:, None] + np.array([0, 0, size, size])).ravel()
    i, j, sizes = np.concatenate(done).T
    package = _outlines(i, j, sizes, unit)
    low_x, low_y = unit * i - EDGE, unit * j - EDGE
    edges = (low_x, unit * (i + sizes) - EDGE, low_y, unit * (j + sizes) - EDGE)
    return PlanCells("DISV", (i.size,), *edges, package=package)


def _whole(values: Floats) -> bool:
    return bool(np.allclose(values, np.round(values)))


def _outlines(i: NDArray, j: NDArray, size: NDArray, unit: float) -> dict[str, Any]:
    """Vertices and clockwise vertex lists; a side with two small neighbours gets its midpoint."""
    half = size / 2
    # Clockwise from the upper left corner: corner, middle of the side, corner, …
    steps = np.array([(0, 2), (1, 2), (2, 2), (2, 1), (2, 0), (1, 0), (0, 0), (0, 1)])
    x = 2 * (i[:, None] + half[:, None] * steps[:, 0])  # doubled, so that middles are whole too
    y = 2 * (j[:, None] + half[:, None] * steps[:, 1])
    key = x.astype(np.int64) * 10_000_000 + y.astype(np.int64)
    corners = np.unique(key[:, ::2])
    used = np.isin(key, corners)
    used[:, ::2] = True
    quarter = 2 * (i[:, None] + half[:, None] * np.array([0.5, 1.5])), 2 * j[:, None]
    finer = quarter[0].astype(np.int64) * 10_000_000 + quarter[1].astype(np.int64)
    assert not np.isin(finer[size >= 4], corners).any(), "neighbours differ by more than 2:1"
    index = np.searchsorted(corners, key)
    position = np.column_stack(np.divmod(corners, 10_000_000)) * (0.5 * unit) - EDGE
    vertices = [[n, *xy] for n, xy in enumerate(position.tolist())]
    middle = np.column_stack([i + half, j + half]) * unit - EDGE
    cell2d = [
        [n, *xy, len(own), *own]
        for n, (xy, own) in enumerate(
            (xy, row[keep].tolist())
            for xy, row, keep in zip(middle.tolist(), index, used, strict=True)
        )
    ]
    return {
        "ncpl": i.size,
        "nvert": len(vertices),
        "vertices": vertices,
        "cell2d": cell2d,
    }


def wall_faces(plan: PlanCells) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
    """Plan cells inside and outside the wall, face to face, and the faces' widths [m]."""
    inner, outer, width = [], [], []
    sides = (
        (plan.x1, plan.x0, plan.y0, plan.y1, HALF_X, HALF_Y),
        (-plan.x0, -plan.x1, plan.y0, plan.y1, HALF_X, HALF_Y),
        (plan.y1, plan.y0, plan.x0, plan.x1, HALF_Y, HALF_X),
        (-plan.y0, -plan.y1, plan.x0, plan.x1, HALF_Y, HALF_X),
    )
    for near, away, low, high, line, reach in sides:
        along = np.abs(0.5 * (low + high)) < reach
        a = np.flatnonzero(along & np.isclose(near, line))
        b = np.flatnonzero(along & np.isclose(away, line))
        a, b = a[np.argsort(low[a])], b[np.argsort(low[b])]
        assert np.allclose(low[a], low[b]), "cells on both sides of the wall differ"
        inner.append(a)
        outer.append(b)
        width.append((high - low)[a])
    total = np.concatenate(width)
    assert np.isclose(total.sum(), 4 * (HALF_X + HALF_Y)), "the wall is not closed"
    return np.concatenate(inner), np.concatenate(outer), total


def write_case(plan: PlanCells, xt3d: bool, folder: Path) -> tuple[float, float]:
    """Build the model with flopy and write it; seconds for each."""
    import flopy

    began = time.perf_counter()
    nlay, n = LEVELS.size - 1, plan.n
    mid, dz = 0.5 * (LEVELS[1:] + LEVELS[:-1]), -np.diff(LEVELS)
    k = np.array([next(k for bottom, k in SOILS if level > bottom) for level in mid]) * DAY
    in_pit = (np.abs(plan.x0 + plan.x1) < 2 * HALF_X) & (np.abs(plan.y0 + plan.y1) < 2 * HALF_Y)
    active = ~(in_pit[None, :] & (mid > FLOOR)[:, None])
    area = (plan.x1 - plan.x0) * (plan.y1 - plan.y0)
    shape = (nlay, *plan.shape)

    def full(values: Floats) -> Floats:
        return np.broadcast_to(values[:, None], (nlay, n)).reshape(shape).copy()

    def stack(name: str, values: NDArray) -> list[dict[str, Any]]:
        return [
            {"filename": f"{name}_{at}.bin", "binary": True, "data": values[at], "factor": 1}
            for at in range(nlay)
        ]

    def ids(layer: NDArray, column: NDArray) -> list[tuple[int, ...]]:
        node = np.unravel_index(layer * n + column, shape)
        return list(zip(*(part.tolist() for part in node), strict=True))

    sim = flopy.mf6.MFSimulation(sim_name=MODEL, sim_ws=str(folder), verbosity_level=0)
    flopy.mf6.ModflowTdis(sim, time_units="days", perioddata=[(1.0, 1, 1.0)])
    gwf = flopy.mf6.ModflowGwf(
        sim, modelname=MODEL, save_flows=True, newtonoptions="newton under_relaxation"
    )
    flopy.mf6.ModflowIms(sim)
    grid = flopy.mf6.ModflowGwfdis if plan.kind == "DIS" else flopy.mf6.ModflowGwfdisv
    kinds = stack("idomain", active.reshape(shape).astype(np.int32))
    bottoms = stack("bottom", full(LEVELS[1:]))
    grid(gwf, nlay=nlay, top=LEVELS[0], botm=bottoms, idomain=kinds, **plan.package)
    conductivity = stack("k", full(k))
    options = {"xt3doptions": True} if xt3d else {}
    flopy.mf6.ModflowGwfnpf(gwf, icelltype=1, k=conductivity, **options)
    flopy.mf6.ModflowGwfic(gwf, strt=REST)
    _fixed_levels(gwf, plan, k, dz, ids)
    column = np.flatnonzero(in_pit)
    layer = np.full(column.size, int(np.argmax(mid < FLOOR)))
    conductance = k[layer] * area[column] / (0.5 * dz[layer])
    drains = [[c, FLOOR, v] for c, v in zip(ids(layer, column), conductance.tolist(), strict=True)]
    flopy.mf6.ModflowGwfdrn(gwf, stress_period_data={0: drains}, pname="floor")
    inner, outer, _ = wall_faces(plan)
    depth, face = (a.ravel() for a in np.mgrid[0:nlay, 0 : inner.size])
    stands = (mid[depth] > TOE) & active[depth, inner[face]]
    depth, face = depth[stands], face[stands]
    first, second = ids(depth, inner[face]), ids(depth, outer[face])
    walls = [[a, b, WALL_LEAKAGE * DAY] for a, b in zip(first, second, strict=True)]
    flopy.mf6.ModflowGwfhfb(gwf, stress_period_data={0: walls}, maxhfb=len(walls))
    _wells(gwf, plan, k, mid, dz, ids)
    flopy.mf6.ModflowGwfoc(
        gwf,
        head_filerecord=f"{MODEL}.hds",
        budget_filerecord=f"{MODEL}.bud",
        saverecord=[("HEAD", "LAST"), ("BUDGET", "LAST")],
        printrecord=[("BUDGET", "LAST")],
    )
    built = time.perf_counter()
    sim.write_simulation(silent=True)
    return built - began, time.perf_counter() - built


def _fixed_levels(gwf: Any, plan: PlanCells, k: Floats, dz: Floats, ids: Any) -> None:
    """The rest level exactly on the outer faces: half a cell's conductance in between."""
    import flopy

    wetted = np.clip(REST - LEVELS[1:], 0.0, dz)
    width_x, width_y = plan.x1 - plan.x0, plan.y1 - plan.y0
    shape_factor = np.zeros(plan.n)
    for touches, ratio in (
        (np.isclose(plan.x0, -EDGE), width_y / (0.5 * width_x)),
        (np.isclose(plan.x1, EDGE), width_y / (0.5 * width_x)),
        (np.isclose(plan.y0, -EDGE), width_x / (0.5 * width_y)),
        (np.isclose(plan.y1, EDGE), width_x / (0.5 * width_y)),
    ):
        shape_factor += np.where(touches, ratio, 0.0)
    column = np.flatnonzero(shape_factor)
    layer, at = (a.ravel() for a in np.mgrid[0 : dz.size, 0 : column.size])
    conductance = (k * wetted)[layer] * shape_factor[column[at]]
    cells = ids(layer, column[at])
    rows = [[cell, REST, value] for cell, value in zip(cells, conductance.tolist(), strict=True)]
    flopy.mf6.ModflowGwfghb(gwf, stress_period_data={0: rows}, pname="edge")


def _wells(gwf: Any, plan: PlanCells, k: Floats, mid: Floats, dz: Floats, ids: Any) -> None:
    """Wells held at one level. Cell to well: 2π·k·l / ln(r_e/r_w), r_e = 0.14·√(Δx²+Δy²).

    Equivalent radius of a rectangular cell: Peaceman (1983), SPE Journal 23(3), 531–543.
    """
    import flopy

    screened = np.flatnonzero((mid > SCREEN[0]) & (mid < SCREEN[1]))
    packages, connections, drive = [], [], []
    for index, (x, y) in enumerate(WELLS.tolist()):
        holds = (plan.x0 <= x) & (x < plan.x1) & (plan.y0 <= y) & (y < plan.y1)
        column = int(np.flatnonzero(holds)[0])
        size = np.hypot(plan.x1[column] - plan.x0[column], plan.y1[column] - plan.y0[column])
        values = 2 * np.pi * (k * dz)[screened] / np.log(0.14 * size / WELL_RADIUS)
        cells = ids(screened, np.full(screened.size, column))
        packages.append([index, WELL_RADIUS, SCREEN[0], WELL_LEVEL, "SPECIFIED", screened.size])
        for order, (cell, value) in enumerate(zip(cells, values.tolist(), strict=True)):
            connections.append([index, order, cell, SCREEN[1], SCREEN[0], value, WELL_RADIUS])
        drive += [(index, "status", "constant"), (index, "well_head", WELL_LEVEL)]
    flopy.mf6.ModflowGwfmaw(
        gwf,
        no_well_storage=True,
        nmawwells=len(packages),
        packagedata=packages,
        connectiondata=connections,
        perioddata={0: drive},
        pname="wells",
    )
