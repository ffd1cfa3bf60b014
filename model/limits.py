"""What each drainage point can really do: find the governing limit of every point.

All points first hold their lowest level. One that then gives more than its pump, its screen or
the flow asked of it takes that flow instead, which can only raise the water elsewhere; one whose
level then falls too low holds its level again; one that would feed the ground is shut. Repeated
until nothing changes: every limit is kept to 0.1 % of flow and 1 mm of level.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from wellring.model.drainage.points import GridPoint, PointDrive, PointState

FLOW_TOLERANCE = 1e-3
"""Relative."""
LEVEL_TOLERANCE = 1e-3
"""[m]."""
_MOST_ROUNDS = 40
_ONE_WAY_AFTER = 25
"""Rounds after which a point limited by flow no longer returns to holding its level."""

Solve = Callable[[Sequence[PointDrive]], list[PointState]]


@dataclass
class Settled:
    """Drives and states in which all limits hold; `settled` is False when rounds ran out."""

    drives: list[PointDrive]
    states: list[PointState]
    rounds: int
    settled: bool


def settle(
    points: Sequence[GridPoint], solve: Solve, start: Sequence[PointDrive] | None = None
) -> Settled:
    """Find drives of all points that respect every limit.

    Parameters
    ----------
    solve : solves the stage for given drives and returns what each point then does.
    start : drives to begin with (default: every point with cells holds its lowest level).
    """
    drives = list(start) if start is not None else [first_drive(point) for point in points]
    states = solve(drives)
    history: list[list[tuple[float, float]]] = [[] for _ in points]
    for round_number in range(1, _MOST_ROUNDS + 1):
        one_way = round_number > _ONE_WAY_AFTER
        changed = False
        for index, point in enumerate(points):
            wanted = _better(point, drives[index], states[index], history[index], one_way)
            if wanted is not None:
                drives[index] = wanted
                changed = True
        if not changed:
            return Settled(drives, states, round_number, True)
        states = solve(drives)
    return Settled(drives, states, _MOST_ROUNDS, False)


def first_drive(point: GridPoint) -> PointDrive:
    """Hold the lowest level, or stay shut where no screened cell takes part."""
    if point.node.size == 0:
        return PointDrive(None, None, "dry")
    return PointDrive(point.lowest, None, "level")


def most_flow(point: GridPoint, level: float) -> tuple[float, str]:
    """The smallest flow limit of a point at `level`, and which one it is."""
    limits = [(point.screen_capacity(level), "screen")]
    if point.pump_capacity is not None:
        limits.append((point.pump_capacity, "pump"))
    if point.wanted is not None:
        limits.append((point.wanted, "rate"))
    return min(limits)


def _better(
    point: GridPoint,
    drive: PointDrive,
    state: PointState,
    history: list[tuple[float, float]],
    one_way: bool,
) -> PointDrive | None:
    """Another drive when a limit is broken, None when all hold."""
    if drive.shut:
        return None
    limit, name = most_flow(point, state.level)
    if drive.held is not None:
        if state.flow < -1e-9:
            return PointDrive(None, None, "no inflow")
        if state.flow > limit * (1 + FLOW_TOLERANCE):
            history.clear()
            return PointDrive(None, limit, name)  # type: ignore[arg-type]
        return None
    if state.level < point.lowest - LEVEL_TOLERANCE and not one_way:
        return PointDrive(point.lowest, None, "level")
    rate = drive.rate or 0.0
    if abs(limit - rate) <= FLOW_TOLERANCE * 0.5 * max(rate, 1e-12):
        return None
    history.append((rate, limit))
    return PointDrive(None, _secant(history, limit), name)  # type: ignore[arg-type]


def _secant(history: list[tuple[float, float]], limit: float) -> float:
    """Where the flow meets a limit that itself depends on the flow (a screen's wetted length)."""
    if len(history) >= 2:
        (rate0, limit0), (rate1, limit1) = history[-2:]
        if abs(rate1 - rate0) > 1e-12:
            slope = (limit1 - limit0) / (rate1 - rate0)
            if slope < 0.5:
                return max((limit1 - slope * rate1) / (1.0 - slope), 1e-9)
    return limit
