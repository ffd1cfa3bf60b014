"""Water followed from cell to cell: Pollock's exact paths in a field linear within each cell.

Pollock, D. W. (1988), Semianalytical computation of path lines for finite-difference models:
along each axis the velocity goes straight from face to face, so place and time of leaving a cell
are exact, whatever the step. All particles move at once, each by one cell at a time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.flow_field import FREE, FlowField

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

ON_ITS_WAY, TAKEN, STAYS = 0, 1, 2
MOST_CELLS = 20_000
"""Cells a particle may pass in one stage; one that goes round beyond that is left where it is."""


@dataclass
class Particles:
    """Particles on their way; arrays over them (p,), changed as they go.

    Parameters
    ----------
    node, at : cell and place (3, p) within it.
    time : when each is where it is [s].
    state : ON_ITS_WAY, TAKEN by a well or the dig, or STAYS where the model's water ends.
    """

    node: Ints
    at: Floats
    time: Floats
    state: NDArray[np.int8]

    @classmethod
    def start(cls, node: Ints, at: Floats, time: float) -> Particles:
        """Particles that set out at a time [s] from places `at` (3, p) in cells `node` (p,)."""
        count = node.size
        return cls(node.copy(), at.copy(), np.full(count, time), np.zeros(count, np.int8))


def follow_paths(
    field: FlowField,
    particles: Particles,
    until: float,
    track: list[tuple[Ints, Floats, Floats]] | None = None,
) -> None:
    """Move particles through a field until a time [s], in place.

    Where the field has left a cell dry its water has sunk. Water has arrived once it is in a cell
    that a well or the dig takes from, so up to a cell's length early.

    Parameters
    ----------
    track : gets node (p,), place (3, p) and time (p,) of all particles after every cell.
    """
    gone = ~field.active[particles.node]
    sunk = field.lands[particles.node]
    particles.at[2, (sunk != particles.node) & ~gone] = 1.0
    particles.node = np.where(gone | (particles.state != ON_ITS_WAY), particles.node, sunk)
    taken = gone | (field.takes[particles.node] != FREE)
    particles.state[taken & (particles.state == ON_ITS_WAY)] = TAKEN
    for _ in range(MOST_CELLS):
        on = np.flatnonzero((particles.state == ON_ITS_WAY) & (particles.time < until))
        if not on.size:
            return
        _pass_one_cell(field, particles, on, until)
        if track is not None:
            track.append((particles.node.copy(), particles.at.copy(), particles.time.copy()))
    particles.state[particles.state == ON_ITS_WAY] = STAYS


_MOST_GROWN = 700.0
"""Exponent up to which a number can hold its power; a particle is out of its cell far before."""


def _pass_one_cell(field: FlowField, particles: Particles, on: Ints, until: float) -> None:
    node, at = particles.node[on], particles.at[:, on]
    low, high = field.rate[:, 0, node], field.rate[:, 1, node]
    slope = high - low
    speed = low + slope * at
    forward = speed > 0
    leaving = np.where(forward, high, low)
    way = np.where(forward, 1.0 - at, -at)
    with np.errstate(divide="ignore", invalid="ignore"):
        even = np.abs(slope) < 1e-9 * np.abs(speed)
        needed = np.where(even, way / speed, np.log(leaving / speed) / slope)
    needed = np.where((leaving * speed > 0) & np.isfinite(needed), np.maximum(needed, 0.0), np.inf)
    axis, every = np.argmin(needed, axis=0), np.arange(on.size)
    soonest = needed[axis, every]
    left = until - particles.time[on]
    step = np.minimum(soonest, left)
    stuck = ~np.isfinite(step)
    step[stuck] = 0.0
    grown = slope * step
    with np.errstate(invalid="ignore", divide="ignore"):
        # Where the speed is nought on a watershed it stays so, however steeply it grows beside.
        grown = np.minimum(grown, _MOST_GROWN)
        moved = np.where(np.abs(grown) < 1e-9, speed * step, speed * np.expm1(grown) / slope)
    at = np.clip(at + moved, 0.0, 1.0)
    crosses = soonest <= left
    side = forward[axis, every].astype(np.intp)
    to = field.beyond[axis, side, node]
    out = crosses & (to < 0)
    crosses &= ~out
    at[axis[crosses], every[crosses]] = 1.0 - side[crosses]
    particles.time[on] += step
    particles.at[:, on] = at
    particles.node[on[crosses]] = to[crosses]
    particles.state[on[out]] = STAYS
    # Nothing leads out: all that comes in is taken there, or the water stands still.
    particles.state[on[stuck | (np.isinf(soonest) & ~np.isfinite(left))]] = STAYS
    taken = crosses & (field.takes[particles.node[on]] != FREE)
    particles.state[on[taken]] = TAKEN
