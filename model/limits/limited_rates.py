"""Rates of points whose limit depends on their level: a screen takes in less the lower it is.

The rates q must meet the limits L(h) at the levels h they themselves cause. Each round every
point's limit is met on a straight line of its own through the last solve, h + s·(q' − q), with
the steepest slope s < 0 seen so far; the other points' influence on it comes in by Anderson's
mixing of the last rounds (Anderson 1965; Walker and Ni 2011, SIAM J. Numer. Anal. 49).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.limits.flow_limits import CLOSER, LEAST_FLOW, flow_range, most_flow

Floats = NDArray[np.float64]

_MEMORY = 6


class LimitedRates:
    """Brings the rates of points that are driven by flow to their limits, round by round."""

    def __init__(self, points: Sequence[GridPoint]):
        self.points = points
        self.slope: dict[int, float] = {}
        self.last: dict[int, tuple[float, float]] = {}
        self.group: list[int] = []
        self.tried: list[Floats] = []
        self.met: list[Floats] = []

    def improve(
        self, drives: list[PointDrive], states: Sequence[PointState], switched: set[int]
    ) -> bool:
        """Set better rates in `drives`; False where all rates meet their limits already.

        Parameters
        ----------
        states : what the last solve gave for each point.
        switched : points whose way of being driven has just been changed: left alone.
        """
        group = []
        for index, (drive, state) in enumerate(zip(drives, states, strict=True)):
            if index in switched:
                self.last[index] = (state.flow, state.level)
                self.slope.pop(index, None)
            elif drive.rate is not None:
                group.append(index)
                self._learn(index, drive.rate, state.level)
        if group != self.group or switched:
            self.group, self.tried, self.met = group, [], []
        if not group:
            return False
        rate = np.array([drives[index].rate or 0.0 for index in group])
        limits = [most_flow(self.points[index], states[index].level) for index in group]
        ranges = [flow_range(self.points[index], states[index].level, CLOSER) for index in group]
        if all(low <= q <= high for q, (low, high) in zip(rate, ranges, strict=True)):
            for index, (_, name) in zip(group, limits, strict=True):
                drives[index] = PointDrive(None, drives[index].rate, name)
            return False
        self.tried.append(rate)
        self.met.append(
            np.array(
                [
                    self._met(index, q, states[index].level)
                    for index, q in zip(group, rate, strict=True)
                ]
            )
        )
        for index, q, (_, name) in zip(group, self._mixed(), limits, strict=True):
            drives[index] = PointDrive(None, float(q), name)
        return True

    def _met(self, index: int, rate: float, level: float) -> float:
        """The rate that meets its limit on the point's own line through (rate, level)."""
        point = self.points[index]
        slope = self.slope[index]
        low, high = 0.0, most_flow(point, math.inf)[0]
        for _ in range(40):
            middle = 0.5 * (low + high)
            if most_flow(point, level + slope * (middle - rate))[0] > middle:
                low = middle
            else:
                high = middle
        return max(0.5 * (low + high), LEAST_FLOW)

    def _learn(self, index: int, rate: float, level: float) -> None:
        """Keep the steepest change of level per flow [s/m²] seen where the flow really changed."""
        before, held = self.last.get(index, (rate, level))
        self.last[index] = (rate, level)
        steepest = self.slope.get(index)
        if steepest is None:
            steepest = -(level - self.points[index].lowest + 1.0) / max(rate, LEAST_FLOW)
            if abs(rate - before) > 1e-3 * rate and level > held:
                steepest = (level - held) / (rate - before)
            self.slope[index] = steepest
        elif abs(rate - before) > 0.05 * max(rate, before):
            slope = (level - held) / (rate - before)
            if slope < 1.05 * steepest:
                self.slope[index] = slope
                self.tried, self.met = [], []  # they were met on other lines

    def _mixed(self) -> Floats:
        """Anderson's mixing of the last rounds' rates."""
        del self.tried[:-_MEMORY], self.met[:-_MEMORY]
        met = self.met[-1]
        if len(self.tried) < 2:
            return met
        error = np.array(self.met) - np.array(self.tried)
        change = np.diff(error, axis=0).T
        share = np.linalg.lstsq(change, error[-1], rcond=1e-8)[0]
        mixed = met - np.diff(self.met, axis=0).T @ share
        return np.clip(mixed, 0.5 * met, 2.0 * met)
