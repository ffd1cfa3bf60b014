"""How a stage answers to its drainage points, as a small linear model learnt from its solves.

Levels in the points are h = h₀ − A·(q − q₀), where (h₀, q₀) is the last solve, so that the model
is exact there. A is begun with the drawdown that wells cause on each other in a wide layer
(Thiem 1906), a·ln(1/r) + b, with a and b fitted to the first solve and the entrance loss of each
well added, and is corrected after every solve (Broyden 1965). Limits of hundreds of points are
found on it in milliseconds, and then confirmed by a true solve.

It has the call of a solve (:class:`wellring.model.limits.first_drives.Solve`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.model.drainage.points import GridPoint, PointDrive, PointState

Floats = NDArray[np.float64]

_LEAST_CHANGE = 1e-6
"""Relative change of the flows below which a solve teaches nothing."""
_SCALE = (0.2, 5.0)
"""Bounds on the factor by which one solve may change the whole response."""


class LinearResponse:
    """Levels of points against their flows, n points.

    Parameters
    ----------
    points : of the stage.
    rest : level [m] around each before anything is pumped, mirrored for points that give water;
        NaN where dry.
    """

    def __init__(self, points: Sequence[GridPoint], rest: Sequence[float]):
        self.sign = np.array([point.sign for point in points])
        lowest = np.array([point.lowest for point in points])
        feet = [min(point.screen_bottom, default=point.screen[0]) for point in points]
        self.dry = np.minimum(np.array(feet, float), self.sign * lowest)
        known = np.array(rest, float)
        self.rest = np.where(np.isfinite(known), self.sign * known, self.dry)
        self.h, self.q = self.rest.copy(), np.zeros(len(points))
        self.matrix: Floats | None = None
        xy = np.array([(point.x, point.y) for point in points]).reshape(-1, 2)
        apart = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
        radius = np.array([point.radius for point in points])
        self.log = -np.log(np.maximum(apart, np.maximum(radius[:, None], radius[None, :])))
        total = np.array([max(float(point.conductance.sum()), 1e-12) for point in points])
        self.entrance = np.diag(1.0 / total)

    def learn(self, states: Sequence[PointState]) -> None:
        """Take in what a solve of the stage gave."""
        level = self.sign * np.array([state.level for state in states])
        flow = self.sign * np.array([state.flow for state in states])
        level = np.where(np.isfinite(level), level, self.dry)
        if self.matrix is None:
            self.matrix = self._first(self.rest - level, flow)
        else:
            self._correct(level - self.h, flow - self.q)
        self.h, self.q = level, flow

    def _first(self, drawdown: Floats, flow: Floats) -> Floats:
        """The response fitted to one solve: a·ln(1/r) + b, and the entrance losses."""
        left = drawdown - self.entrance @ flow
        terms = np.column_stack([self.log @ flow, np.full(flow.size, flow.sum())])
        lumped = float(np.abs(left).sum() / max(np.abs(flow).sum() * max(flow.size, 1), 1e-15))
        found, *_ = np.linalg.lstsq(terms, left, rcond=None) if flow.size > 2 else (np.zeros(2),)
        base = found[0] * self.log + found[1]
        far = base.min(initial=np.inf)
        if not (found[0] > 0.0 and far >= 0.0):
            # One length for all: the response falls to nothing at the far side of the points.
            wide = self.log - self.log.min(initial=0.0) + 1.0
            felt = wide @ flow
            size = float(felt @ felt)
            base = wide * (max(float(felt @ left) / size, 0.0) if size > 0.0 else 0.0)
            if not base.any():
                base = np.diag(np.full(flow.size, max(lumped, 1.0)))
        return np.asarray(base + self.entrance)

    def _correct(self, rise: Floats, change: Floats) -> None:
        assert self.matrix is not None
        if np.abs(change).max(initial=0.0) <= _LEAST_CHANGE * np.abs(self.q).max(initial=0.0):
            return
        felt = self.matrix @ change
        size = float(change @ felt)
        if size > 0.0:
            self.matrix *= min(max(-float(change @ rise) / size, _SCALE[0]), _SCALE[1])
        miss = -rise - self.matrix @ change
        corrected = self.matrix + np.outer(miss, change) / float(change @ change)
        if (np.diag(corrected) > np.diag(self.entrance)).all():
            self.matrix = corrected

    def __call__(self, drives: Sequence[PointDrive]) -> list[PointState]:
        """What each point does with these drives; the level of a shut one is that around it."""
        n = len(drives)
        if n == 0:
            return []
        assert self.matrix is not None
        held = np.array([drive.held is not None for drive in drives])
        grows = np.array([drive.growth is not None for drive in drives])
        growth = np.array([drive.growth or 0.0 for drive in drives])
        still = self.sign * np.array([drive.still for drive in drives])
        rate = self.sign * np.array([drive.rate or 0.0 for drive in drives])
        target = self.sign * np.array([drive.held or 0.0 for drive in drives])
        rest = self.h + self.matrix @ self.q
        for _ in range(n + 1):
            # Rows: A·q = rest − held; q + growth·A·q = growth·(rest − still); q = rate.
            weight = np.where(grows, growth, held.astype(float))
            rows = weight[:, None] * self.matrix
            at = np.flatnonzero(~held)
            rows[at, at] += 1.0
            right = np.where(held, rest - target, np.where(grows, growth * (rest - still), rate))
            flow = np.linalg.solve(rows, right)
            level = rest - self.matrix @ flow
            dry = grows & (level < still)
            if not dry.any():
                break
            grows, growth = grows & ~dry, np.where(dry, 0.0, growth)
            rate = np.where(dry, 0.0, rate)
        return [
            PointState(float(s * h), float(s * q))
            for s, h, q in zip(self.sign, level, flow, strict=True)
        ]
