"""The first solve of a stage: the lowest levels at one stroke, or by thirds to where limits meet.

Points whose screens or pumps would never bring their levels so low can empty a thin pervious layer
from beneath, which then swings between wet and dry without end. There the water is drawn down in
steps, each from the heads of the one before; the last step is not to the lowest levels but to
where, on the line through what each point gave so far, its limit is met.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wellring.inputs.faults import SolverFailed
from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.first_drives import Solve, first_drive, gentle_drive, lowest_drive
from wellring.model.growing_flows import LimitSearch

_SHARES = (1 / 3, 2 / 3)
"""Of the drawdown asked for."""


@dataclass
class Begun:
    """Drives of the first solve and what the points do with them.

    `gently`: some flows grow with the level.
    """

    drives: list[PointDrive]
    states: list[PointState]
    gently: bool = False


def begin(points: Sequence[GridPoint], solve: Solve, drives: Sequence[PointDrive]) -> Begun:
    """Solve for the first time, by `drives` where that goes quickly.

    Raises
    ------
    SolverFailed : there is no way to hold the lowest levels either.
    """
    held = [lowest_drive(point) for point in points]
    for tried in (list(drives), held)[: 1 + (held != list(drives))]:
        try:
            return Begun(tried, solve.quick(tried))
        except SolverFailed:
            continue
    if all(drive.held is None for drive in held):
        return Begun(held, solve(held))
    rest = solve.at_rest()
    # What is given back to the ground is known; held at its highest level it would be far more.
    last = [first_drive(p) if p.injects else d for p, d in zip(points, held, strict=True)]
    near = _by_thirds(last, rest, solve)
    if near is not None:
        limited = [_limited(*each) for each in zip(points, last, rest, near, strict=True)]
        return Begun(limited, solve(limited), True)
    gentle = [gentle_drive(point, level) for point, level in zip(points, rest, strict=True)]
    if gentle != held:
        try:
            return Begun(gentle, solve.quick(gentle), True)
        except SolverFailed:
            pass
    return Begun(held, solve(held))


def _by_thirds(
    drives: Sequence[PointDrive], rest: Sequence[float], solve: Solve
) -> list[PointState] | None:
    """Draw the water down in steps as far as that goes; None where it goes nowhere."""
    states = None
    for share in _SHARES:
        eased = [_eased(drive, level, share) for drive, level in zip(drives, rest, strict=True)]
        try:
            states = solve.quick(eased, slowed=True)
        except SolverFailed:
            break
    return states


def _eased(drive: PointDrive, level: float, share: float) -> PointDrive:
    """A drive that asks for a share of the drawdown from `level` [m], or of the flow."""
    if drive.held is not None and np.isfinite(level):
        return replace(drive, held=level + share * (drive.held - level))
    if drive.rate is not None:
        return replace(drive, rate=share * drive.rate)
    return drive


def _limited(point: GridPoint, last: PointDrive, rest: float, state: PointState) -> PointDrive:
    """Where the limit is expected to be met, or the last drive where it is not."""
    if last.held is None or not state.flow > 0.0 or not rest > state.level > point.lowest:
        return last
    growth = state.flow / (state.level - point.lowest)
    at_present = PointDrive(None, state.flow, "level", growth, point.lowest)
    return LimitSearch(point, rest).limited(at_present, state) or at_present
