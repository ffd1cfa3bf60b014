"""Limits met by flows that grow with the level: slower than asked flows, but never without answer.

A fixed flow has no steady state where it exceeds what the ground brings, and wells near that edge
let the solver run away. Here every point first holds its lowest level. One that then gives more
than its limit is given a flow that grows with the level in it, from nothing at its lowest level,
so steeply that flow and limit meet; how steeply is found round by round. Where the limit itself
rises with the level, the flow follows the limit's own slope. Such a flow always has a steady state
and never draws the water below the lowest level. Points that give water to the ground have no such
edge; theirs stay fixed.
"""

from __future__ import annotations

from collections.abc import Sequence

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.limits.first_drives import Solve, lowest_drive
from wellring.model.limits.flow_limits import (
    CLOSER,
    LEAST_FLOW,
    LEVEL_TOLERANCE,
    flow_range,
    most_flow,
)

REOPENS_ABOVE = 0.01
"""Water [m] that must stand above its lowest level around a shut point to open it again."""
_MOST_ROUNDS = 40
_MOST_OPENINGS = 3
_FREE_ROUNDS = 8
"""Rounds before swings are damped."""
_SWING = 0.1
"""A limit missed to the other side by more than this part of what it was missed by before."""
_HIGHEST = 100.0
"""A level is sought up to this far above the lowest one [m]."""


def settle_growing(
    points: Sequence[GridPoint],
    solve: Solve,
    drives: list[PointDrive],
    states: list[PointState],
    rest: Sequence[float] | None = None,
) -> tuple[list[PointDrive], list[PointState], int, bool]:
    """Find drives of all points that respect every limit.

    Parameters
    ----------
    drives, states : those of the first solve, all lowest levels held or flows that grow.
    rest : levels [m] at which the points give nothing, where those are known to tell more than
        the first solve.

    Returns
    -------
    drives, what each point gives with them, rounds, and whether all limits are met.
    """
    levels = [None] * len(points) if rest is None else rest
    searches = [LimitSearch(point, level) for point, level in zip(points, levels, strict=True)]
    for round_number in range(1, _MOST_ROUNDS + 1):
        wanted = _better(searches, drives, states)
        if wanted is None:
            return drives, states, round_number, True
        drives = wanted
        states = solve(drives)
    return drives, states, _MOST_ROUNDS, _better(searches, drives, states) is None


def _better(
    searches: Sequence[LimitSearch], drives: Sequence[PointDrive], states: Sequence[PointState]
) -> list[PointDrive] | None:
    """Other drives where a limit is broken, None where all hold."""
    each = list(zip(searches, drives, states, strict=True))
    wanted = [search.limited(drive, state) for search, drive, state in each]
    if all(drive is None for drive in wanted):
        # Only now: while the others give too much, a point may seem to have no water.
        wanted = [search.opened_or_shut(drive, state) for search, drive, state in each]
        if all(drive is None for drive in wanted):
            return None
    return [drive if new is None else new for drive, new in zip(drives, wanted, strict=True)]


class LimitSearch:
    """The search for one point's drive."""

    def __init__(self, point: GridPoint, rest: float | None):
        self.point = point
        self.rest = rest
        """Level [m] at which the point gives nothing, where that is known."""
        self.last: PointState | None = None
        self.slope: float | None = None
        """Change of flow with level [m²/s] as seen from the point, the others answering too."""
        self.openings = 0
        self.missed = 0.0
        self.rounds = 0
        self.share = 1.0
        """Part of the wanted change of growth that is made: less while flow and limit swing."""

    def limited(self, drive: PointDrive, state: PointState) -> PointDrive | None:
        """Another drive where flow and limit do not agree."""
        if drive.shut:
            self.last, self.slope = None, None
            return None
        self._learn(state)
        limit, _ = most_flow(self.point, state.level)
        if drive.held is None and state.level < self.point.lowest - LEVEL_TOLERANCE:
            return lowest_drive(self.point)
        over = state.flow - limit
        least, most = flow_range(self.point, state.level, CLOSER)
        if state.flow <= most and (drive.held is not None or state.flow >= least):
            return None
        level, flow = self._met(state)
        if level < self.point.lowest + LEVEL_TOLERANCE:
            # Held already: its limit is broken by next to nothing.
            return None if drive.held is not None else lowest_drive(self.point)
        flow = max(flow, 0.1 * LEAST_FLOW)
        name = most_flow(self.point, level)[1]
        if self.point.injects:
            return PointDrive(None, flow, name)
        still = self._still(level, flow)
        growth = flow / (level - still)
        self._damp(over / (limit + LEAST_FLOW))
        if drive.growth is not None:
            if still > self.point.lowest:
                growth *= _smoothed_by(drive, state)
            elif drive.still == still:
                growth = drive.growth * (growth / drive.growth) ** self.share
        return PointDrive(None, flow, name, growth, still)

    def _still(self, level: float, flow: float) -> float:
        """Level at which the flow through (level, flow) along the limit's own slope is nothing.

        Where the limit falls steeply with the level, as at the foot of a good aquifer in the
        screen, that is close below, and the solver finds flow, limit and level together for all
        points. Never below the lowest level, which it is where the limit is level.
        """
        below = most_flow(self.point, level - LEVEL_TOLERANCE)[0]
        slope = (flow - below) / LEVEL_TOLERANCE
        if slope <= 0.0:
            return self.point.lowest
        return max(self.point.lowest, level - flow / slope)

    def opened_or_shut(self, drive: PointDrive, state: PointState) -> PointDrive | None:
        """Shut a point that feeds the ground; open one around which the water has risen."""
        if drive.held is not None and state.flow < -LEAST_FLOW:
            return PointDrive(None, None, "no inflow")
        if (
            drive.governing == "no inflow"
            and state.level > self.point.lowest + REOPENS_ABOVE
            and self.openings < _MOST_OPENINGS
        ):
            self.openings += 1
            return lowest_drive(self.point)
        return None

    def _damp(self, missed: float) -> None:
        self.rounds += 1
        swings = (
            self.rounds > _FREE_ROUNDS
            and self.missed * missed < 0
            and abs(missed) > _SWING * abs(self.missed)
        )
        self.share = max(0.5 * self.share, 0.1) if swings else min(1.5 * self.share, 1.0)
        self.missed = missed

    def _learn(self, state: PointState) -> None:
        before, self.last = self.last, state
        if before is None:
            return
        rise, gain = state.level - before.level, state.flow - before.flow
        told = abs(gain) > 1e-4 * max(state.flow, before.flow) + 0.1 * LEAST_FLOW
        if abs(rise) > 1e-5 and told and rise * gain < 0:
            self.slope = gain / rise

    def _met(self, state: PointState) -> tuple[float, float]:
        """Level and flow at which the limit is met on the point's line through its last state."""
        low = self.point.lowest
        slope = self.slope
        if slope is None:
            drawn = state.level - low + 3.0 if self.rest is None else self.rest - state.level
            slope = -max(state.flow, LEAST_FLOW) / max(drawn, 0.1)

        def flow(level: float) -> float:
            return state.flow + slope * (level - state.level)

        bottom, top = low, low + _HIGHEST
        for _ in range(50):
            middle = 0.5 * (bottom + top)
            if flow(middle) > most_flow(self.point, middle)[0]:
                bottom = middle
            else:
                top = middle
        return top, most_flow(self.point, top)[0]


def _smoothed_by(drive: PointDrive, state: PointState) -> float:
    """By what the solver's smoothing just above `still` lessens a growing flow, 1 to 10."""
    straight = (drive.growth or 0.0) * (state.level - drive.still)
    return min(max(straight / max(state.flow, LEAST_FLOW), 1.0), 10.0)
