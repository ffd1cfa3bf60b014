"""Where the sections run: along and across the pit, on the grid's own rows and columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.run.run_folder import RunFolder

Floats = NDArray[np.float64]

LEAST_CORRIDOR = 4.0
"""Half width [m] of the strip whose wells and borings are shown in a section, at least."""


@dataclass(frozen=True)
class Cut:
    """A section along a row or a column of the grid.

    Parameters
    ----------
    letter : what its ends are called, A and A′.
    along : whether it runs along the pit's long side.
    axis : 0 if it runs along local x, 1 along local y.
    at : the other local coordinate of the line [m].
    cells : (m,) plan cells it passes and one more at each end, in the order of `s`.
    s : (m,) distance of the cells' centres from the first end [m].
    start : local coordinate at the first end [m].
    length : of the section [m].
    ends : the two ends in site coordinates [m].
    corridor : half width of the strip whose wells and borings are shown [m].
    pit : (from, to) distances [m] between which the section is in the pit.
    """

    letter: str
    along: bool
    axis: int
    at: float
    cells: NDArray[np.intp]
    s: Floats
    start: float
    length: float
    ends: tuple[tuple[float, float], tuple[float, float]]
    corridor: float
    pit: list[tuple[float, float]]

    def project(self, run: RunFolder, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Distance along the section and away from it (m,) [m] of site points."""
        local = run.to_local(np.asarray(x, float), np.asarray(y, float))
        return local[self.axis] - self.start, np.abs(local[1 - self.axis] - self.at)

    def crossings(self, run: RunFolder, line: list[tuple[float, float]]) -> list[float]:
        """Distances [m] at which a line in site coordinates crosses the section."""
        local = np.column_stack(run.to_local(*np.asarray(line, float).T))
        met = shapely.intersection(shapely.LineString(local), self._local_line())
        spots = [part.centroid for part in shapely.get_parts(met) if not part.is_empty]
        return sorted({round((p.x, p.y)[self.axis] - self.start, 3) for p in spots})

    def _local_line(self) -> shapely.LineString:
        ends = np.array([self.start, self.start + self.length])
        pair = (ends, np.full(2, self.at))
        return shapely.LineString(np.column_stack(pair if self.axis == 0 else pair[::-1]))


def pit_cuts(run: RunFolder) -> list[Cut]:
    """The section along the pit's long side (A) and the one across it (B)."""
    outline = np.column_stack(run.to_local(*np.asarray(run.ledger.outline, float).T))
    span = np.ptp(outline, axis=0)
    long_axis = 0 if span[0] >= span[1] else 1
    return [
        _cut(run, outline, letter, axis, along=axis == long_axis)
        for letter, axis in (("A", long_axis), ("B", 1 - long_axis))
    ]


def _cut(run: RunFolder, outline: Floats, letter: str, axis: int, along: bool) -> Cut:
    pit = shapely.Polygon(outline)
    low, high = outline.min(axis=0), outline.max(axis=0)
    centres = run.local_centres
    corridor = max(LEAST_CORRIDOR, 0.15 * float(np.min(high - low)))
    other = centres[1 - axis]
    index = _best_line(run, pit, other, axis, low, high, corridor)
    at = float(other[index])
    size = float(np.max(high - low))
    start, end = low[axis] - 0.9 * size, high[axis] + 0.9 * size
    edges = np.asarray(run.ledger.grid.x_edges if axis == 0 else run.ledger.grid.y_edges)
    start, end = max(start, edges.min()), min(end, edges.max())
    mine = centres[axis]
    order = np.argsort(mine)
    first, last = np.searchsorted(mine[order], (start, end))
    kept = order[max(int(first) - 1, 0) : int(last) + 1]
    ncol = run.ledger.grid.ncol
    cells = index * ncol + kept if axis == 0 else kept * ncol + index
    pair = (np.array([start, end]), np.full(2, at))
    x, y = run.to_site(*(pair if axis == 0 else pair[::-1]))
    cut = Cut(
        letter=letter,
        along=along,
        axis=axis,
        at=at,
        cells=cells.astype(np.intp),
        s=mine[kept] - start,
        start=float(start),
        length=float(end - start),
        ends=((float(x[0]), float(y[0])), (float(x[1]), float(y[1]))),
        corridor=corridor,
        pit=[],
    )
    inside = shapely.intersection(cut._local_line(), pit)
    pieces = [
        tuple(sorted(np.asarray(part.coords)[:, axis] - start))
        for part in shapely.get_parts(inside)
        if part.geom_type == "LineString" and part.length > 1e-6
    ]
    cut.pit.extend((float(p[0]), float(p[-1])) for p in sorted(pieces))
    return cut


def _best_line(
    run: RunFolder,
    pit: shapely.Polygon,
    other: Floats,
    axis: int,
    low: Floats,
    high: Floats,
    corridor: float,
) -> int:
    """The row or column that shows most: long well inside the pit, central, close to wells."""
    middle = (pit.centroid.y, pit.centroid.x)[axis]
    half = 0.5 * float(high[1 - axis] - low[1 - axis])
    tried = np.flatnonzero(np.abs(other - middle) <= 0.4 * half)
    if not tried.size:
        return int(np.argmin(np.abs(other - middle)))
    ends = np.array([low[axis] - 1, high[axis] + 1])
    pairs = [
        np.column_stack((ends, np.full(2, at)) if axis == 0 else (np.full(2, at), ends))
        for at in other[tried]
    ]
    # Along an edge of the pit a section would show neither the pit nor the ground beside it.
    core = pit.buffer(-0.15 * float(np.min(high - low)))
    if core.is_empty:
        core = pit
    length = shapely.length(shapely.intersection(shapely.linestrings(np.array(pairs)), core))
    score = length / max(float(length.max()), 1e-9) - 0.3 * np.abs(other[tried] - middle) / half
    wells = np.array([(w.x, w.y) for w in run.ledger.wells]).reshape(-1, 2)
    if wells.size:
        away = run.to_local(*wells.T)[1 - axis]
        near = np.abs(other[tried][:, None] - away[None, :])
        score = score + 0.04 * np.minimum((near < corridor).sum(axis=1), 4)
    return int(tried[int(np.argmax(score))])
