"""Meet the limits of all drainage points of a stage in a few solves.

The limits are found on the stage's linear response (`linear_response`), which costs next to
nothing however many points there are; the stage is solved with what was found, the response learns
from it, and so on until what the solve gave keeps every limit. The response is
first learnt from the stage with all its layers full, a problem that is nearly linear and takes
the solver a tenth of the time; its heads are also what the first true solve starts from.

No flow is ever simply fixed: one that the ground does not bring has no steady state, and the
solver runs away. Where the limit rises with the level, a point is driven by a flow that grows along
the limit's own slope; where it does not, by its flow, throttled to nothing between the level
expected and the lowest one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.limits.first_drives import Solve, first_drive
from wellring.model.limits.flow_limits import LEAST_FLOW, LEVEL_TOLERANCE, most_flow
from wellring.model.limits.groups import SharedLimits
from wellring.model.limits.limits import Settled
from wellring.model.limits.linear_response import LinearResponse

_MOST_SOLVES = 40
_ESTIMATES = 2
_REFINED = 1e-4
"""Part of the largest flow: limits that are kept, but met less closely, are met in one solve more,
so that an answer does not hang on where the search for it began."""
_MOST_OPENINGS = 3
"""A point that feeds the ground is shut, and opened again this often when water rises."""
_THROTTLE = 0.5
"""Part of the height of the expected level above the lowest one over which a flow is throttled."""
_AMPLE = 0.25
"""A flow is throttled, not grown, where this part of the possible drawdown is left at it: throttled
over less, it answers too steeply to the level, and Newton's steps swing."""
_LEARNT = 5
"""Solves after which the points of headers whose pumps are at their limits take water one way."""
_SOFT = 0.02
"""Height [m] over which a point of a header whose pump is at its limit comes to its flow."""
SMOOTHED = 0.01
"""Depth [m] over which a flow that grows with the level sets in (MODFLOW 6's flowing well)."""


class StageSolve(Solve, Protocol):
    """Solves a stage, each time from the heads of the last solve."""

    def at_rest(self) -> list[float]:
        """Level [m] of the water around each point before anything is pumped; NaN where dry."""

    def estimate(self, drives: Sequence[PointDrive], /) -> list[PointState] | None:
        """The same with all layers full; None where that has no answer."""


def meet_limits(points: Sequence[GridPoint], solve: StageSolve) -> Settled:
    """Solve a stage until every limit of its points and their groups holds.

    Returns
    -------
    Drives and states of the last solve; `rounds` counts the solves; not `settled` where some
    limit still does not hold after as many as are allowed.

    Raises
    ------
    SolverFailed : the stage has no answer.
    """
    shared = SharedLimits(points)
    rest = solve.at_rest()
    drives = [_first(point, level) for point, level in zip(shared.adjusted(), rest, strict=True)]
    response = LinearResponse(points, rest)
    for _ in range(_ESTIMATES if points else 0):
        estimated = solve.estimate(drives)
        if estimated is None:
            break
        response.learn(estimated)
        found, _ = shared.meet(response, _as_flows(drives, estimated))
        drives = _driven(shared, found, rest)
    response = LinearResponse(points, rest)
    solves, openings, refined = 0, [0] * len(points), False
    if not points:
        return Settled([], solve([]), 1, True)
    for _ in range(_MOST_SOLVES):
        solves += 1
        states = solve(drives)
        response.learn(states)
        found, kept = shared.meet(response, _as_flows(drives, states), states)
        if (kept and (refined or _exact(states, found))) or _still_shut(drives, found, openings):
            named = [
                other if other.shut else replace(drive, governing=other.governing)
                for drive, other in zip(drives, found.drives, strict=True)
            ]
            return Settled(named, states, solves, True)
        refined = refined or kept
        if solves < _MOST_SOLVES:
            begun, drives = drives, _driven(shared, found, rest, solves)
            if _alike(drives, begun):  # what was learnt leads nowhere: begin again from this solve
                response = LinearResponse(points, rest)
                response.learn(states)
                found, _ = shared.meet(response, _as_flows(begun, states))
                drives = _driven(shared, found, rest, solves)
    return Settled(drives, states, solves, False)


def _exact(states: Sequence[PointState], found: Settled) -> bool:
    """Whether the flows that a solve gave are those that meet the limits, to :data:`_REFINED`."""
    gave, met = (np.array([state.flow for state in each]) for each in (states, found.states))
    return bool(np.abs(gave - met).max() <= _REFINED * np.abs(met).max() + LEAST_FLOW)


def _alike(drives: Sequence[PointDrive], others: Sequence[PointDrive]) -> bool:
    """Whether a solve with `drives` would give what one with `others` gave."""
    one, other = (
        np.array([(d.held, d.rate, d.growth, d.still, d.throttled) for d in each], float)
        for each in (drives, others)
    )
    return bool(np.allclose(one, other, rtol=1e-6, atol=1e-12, equal_nan=True))


def _still_shut(drives: Sequence[PointDrive], found: Settled, openings: list[int]) -> bool:
    """Keep points shut in `found` that were opened often enough, and count the others' openings.

    Returns whether all else in `found` is as it is driven already.
    """
    alike = True
    for index, (drive, other) in enumerate(zip(drives, found.drives, strict=True)):
        if drive.governing == "no inflow" and not other.shut:
            openings[index] += 1
            if openings[index] > _MOST_OPENINGS:
                found.drives[index] = drive
                continue
        same = (drive.shut and other.shut) or (drive.held is not None and drive.held == other.held)
        alike = alike and same
    return found.settled and alike


def _first(point: GridPoint, rest: float) -> PointDrive:
    """The drive before anything is known of the ground, with its water at `rest` [m]."""
    drive = first_drive(point)
    if drive.rate is None or point.injects or not rest > point.lowest:
        return drive
    return replace(drive, still=point.lowest, throttled=_THROTTLE * (rest - point.lowest))


def _as_flows(drives: Sequence[PointDrive], states: Sequence[PointState]) -> list[PointDrive]:
    """The drives with flows that answer to the level replaced by what they came to."""
    return [
        replace(drive, rate=max(state.flow, 0.0), growth=None, throttled=None)
        if drive.growth is not None or drive.throttled is not None
        else drive
        for drive, state in zip(drives, states, strict=True)
    ]


def _driven(
    shared: SharedLimits, found: Settled, rest: Sequence[float], solves: int = 0
) -> list[PointDrive]:
    """How the points are driven in the next solve, after so many, to come to what was found."""
    points = shared.adjusted()
    drives = [
        _answering(*each) for each in zip(points, found.drives, found.states, rest, strict=True)
    ]
    for header in shared.headers:
        if header.rise > 0.0 and solves >= _LEARNT:
            least = header.capacity / (len(header.members) * _SOFT)
            for index in header.members:
                drives[index] = _one_way(
                    points[index], found.drives[index], found.states[index], least
                )
    return drives


def _one_way(point: GridPoint, drive: PointDrive, state: PointState, least: float) -> PointDrive:
    """A point of a header whose pump is at its limit: it takes water above its level, gives none.

    Held at one level such points would open and shut together, and no response tells which.
    """
    if drive.held is not None:
        growth = max(state.flow / _SOFT, 0.1 * least)
        still = drive.held - state.flow / growth
        return PointDrive(None, max(state.flow, 0.1 * LEAST_FLOW), "header pump", growth, still)
    if drive.governing == "no inflow":
        return PointDrive(None, 0.1 * LEAST_FLOW, "no inflow", 0.1 * least, point.lowest)
    return drive


def _answering(point: GridPoint, drive: PointDrive, state: PointState, rest: float) -> PointDrive:
    """A drive that comes to the flow and level of `state`, and answers to the level about it."""
    if drive.rate is None or point.injects:
        return replace(drive, growth=None)
    level, flow = state.level, max(state.flow, 0.1 * LEAST_FLOW)
    above = level - point.lowest
    slope = (flow - most_flow(point, level - LEVEL_TOLERANCE)[0]) / LEVEL_TOLERANCE
    ample = above > _AMPLE * (rest - point.lowest)
    if slope * above <= LEVEL_TOLERANCE * flow and ample and above > 2.0 * SMOOTHED:
        throttled = _THROTTLE * above
        return PointDrive(None, flow, drive.governing, None, point.lowest, throttled)
    still = point.lowest if slope <= 0.0 else max(point.lowest, level - flow / slope)
    # Clear of the depth over which the solver lets the flow set in.
    still = min(still, level - 2.0 * SMOOTHED)
    return PointDrive(None, flow, drive.governing, flow / (level - still), still)
