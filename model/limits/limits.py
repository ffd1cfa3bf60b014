"""What each drainage point can really do: find the governing limit of every point.

Each point first holds its lowest level. One that then gives more than its pump, its screen or
the flow asked of it is driven by its flow instead, which can only raise the water elsewhere; one
whose level then falls too low holds its level again; one that would feed the ground is shut, and
opened again when the water around it has risen. Repeated until nothing changes: every limit is
kept to 0.1 % of flow or 1 mm of level. Where that finds no end, flows that grow with the level
take over (:mod:`wellring.model.limits.growing_flows`).

This is done on the linear response of a stage, not on its model: see
:mod:`wellring.model.limits.meet_limits`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.limits.first_drives import Solve, first_drive, lowest_drive
from wellring.model.limits.flow_limits import (
    LEAST_FLOW,
    LEVEL_TOLERANCE,
    flow_range,
    most_at_level,
    most_flow,
)
from wellring.model.limits.growing_flows import REOPENS_ABOVE, settle_growing
from wellring.model.limits.limited_rates import LimitedRates

_MOST_ROUNDS = 40
_ONE_BY_ONE_AFTER = 10
"""Rounds after which one point at a time changes between level and flow, which cannot cycle."""


@dataclass
class Settled:
    """Drives and states in which all limits hold; `settled` is False when rounds ran out."""

    drives: list[PointDrive]
    states: list[PointState]
    rounds: int
    settled: bool


def limits_hold(
    points: Sequence[GridPoint], drives: Sequence[PointDrive], states: Sequence[PointState]
) -> bool:
    """Whether points driven so keep their limits: 0.1 % of flow, 1 mm of level."""
    for point, drive, state in zip(points, drives, states, strict=True):
        if drive.shut:
            if drive.governing == "no inflow" and state.level > point.lowest + REOPENS_ABOVE:
                return False
        elif drive.held is not None:
            moved = abs(drive.held - point.lowest) > LEVEL_TOLERANCE
            if moved or not -LEAST_FLOW <= state.flow <= most_at_level(point, state.level):
                return False
        else:
            least, most = flow_range(point, state.level)
            above = state.level - point.lowest
            at_level = above <= LEVEL_TOLERANCE or (
                state.flow <= LEAST_FLOW and above <= REOPENS_ABOVE
            )
            least = 0.0 if at_level else least
            if state.flow > most or state.flow < least - LEAST_FLOW:
                return False
            if above < -LEVEL_TOLERANCE and state.flow > LEAST_FLOW:
                return False
    return True


def settle(
    points: Sequence[GridPoint], solve: Solve, start: Sequence[PointDrive] | None = None
) -> Settled:
    """Find drives of all points that respect every limit.

    Parameters
    ----------
    solve : returns what each point does with given drives; the level of a shut one is that of the
        water around it.
    start : drives to begin with (default: see :func:`first_drive`).
    """
    found = _settle_rates(points, solve, start or [first_drive(point) for point in points])
    if found.settled:
        return found
    held = [lowest_drive(point) for point in points]
    return Settled(*settle_growing(points, solve, held, solve(held)))


def _settle_rates(
    points: Sequence[GridPoint], solve: Solve, start: Sequence[PointDrive]
) -> Settled:
    """Find drives with flows given outright."""
    drives = [replace(drive, growth=None) for drive in start]
    states = solve(drives)
    rates = LimitedRates(points)
    for round_number in range(1, _MOST_ROUNDS + 1):
        switched = _switch(points, drives, states, round_number > _ONE_BY_ONE_AFTER)
        moved = rates.improve(drives, states, switched)
        if not switched and not moved:
            return Settled(drives, states, round_number, True)
        states = solve(drives)
    return Settled(drives, states, _MOST_ROUNDS, False)


def _switch(
    points: Sequence[GridPoint],
    drives: list[PointDrive],
    states: Sequence[PointState],
    one_by_one: bool,
) -> set[int]:
    """Drive points otherwise that break a limit of another kind; returns which."""
    switched: set[int] = set()
    for index, (point, state) in enumerate(zip(points, states, strict=True)):
        wanted = _otherwise(point, drives[index], state)
        if wanted is not None:
            drives[index] = wanted
            switched.add(index)
            if one_by_one:
                break
    return switched


def _otherwise(point: GridPoint, drive: PointDrive, state: PointState) -> PointDrive | None:
    """Another way to drive a point, or None where its way is the right one."""
    if drive.held is not None:
        if state.flow < -LEAST_FLOW:
            return PointDrive(None, None, "no inflow")
        # Within a millimetre of its level it keeps its limit: with a loss in the well a point held
        # at its lowest level would otherwise be allowed nothing.
        if state.flow <= most_at_level(point, state.level):
            return None
        limit, name = most_flow(point, state.level)
        # Where the limit at its lowest level is nothing, the next solve has to begin somewhere.
        return PointDrive(None, limit if limit > 0.0 else 0.5 * state.flow, name)
    elif drive.rate is not None and state.level < point.lowest - LEVEL_TOLERANCE:
        return PointDrive(point.lowest, None, "level")
    elif drive.governing == "no inflow" and state.level > point.lowest + REOPENS_ABOVE:
        return first_drive(point)
    return None
