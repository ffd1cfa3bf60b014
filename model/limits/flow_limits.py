"""The most a drainage point can give: pump, screen and the flow asked of it, at a level in it."""

from __future__ import annotations

import math

from wellring.model.drainage.points import Governing, GridPoint

FLOW_TOLERANCE = 1e-3
"""Relative: a flow keeps its limit to this."""
LEVEL_TOLERANCE = 1e-3
"""A level keeps its limit to this [m]."""
CLOSER = 0.1
"""Part of both to which limits are met on the response of a stage, where that costs nothing."""
LEAST_FLOW = 1e-9
"""Flows that differ by less count as equal [m³/s]: a tenth of a litre a day."""


def most_flow(point: GridPoint, level: float) -> tuple[float, Governing]:
    """The smallest flow limit [m³/s] of a point at `level` [m], and which one it is.

    `level` is the solver's. With a loss C·Q² within the well it is the largest Q that pump and
    screen allow at level − C·Q², and that keeps this at or above the point's lowest level.
    """
    if point.square_loss == 0.0 or math.isinf(level):
        return _limit_within(point, level)
    top = math.sqrt(max(level - point.lowest, 0.0) / point.square_loss)
    if top <= _limit_within(point, point.lowest)[0]:
        return top, "level"
    low, high = 0.0, top
    for _ in range(60):
        middle = 0.5 * (low + high)
        if _limit_within(point, level - point.square_loss * middle**2)[0] > middle:
            low = middle
        else:
            high = middle
    return high, _limit_within(point, level - point.square_loss * high**2)[1]


def _limit_within(point: GridPoint, level: float) -> tuple[float, Governing]:
    """The limit with the water in the point itself at `level` [m]."""
    limits: list[tuple[float, Governing]] = [(point.screen_limit(level), "screen")]
    pumped = point.pump_gives(level)
    if pumped is not None:
        limits.append((pumped, "pump"))
    if point.wanted is not None:
        limits.append((point.wanted, "rate"))
    return min(limits)


def flow_range(point: GridPoint, level: float, part: float = 1.0) -> tuple[float, float]:
    """Flows [m³/s] at which a point with its water at `level` [m] keeps and meets its limit.

    They lie between the limits a millimetre below and above, and 0.1 % beyond: a screen that just
    reaches a coarse soil takes in some per cent more for each millimetre of water, and no level
    is known better. Where a loss within the well stands for that, no more than the flow that
    moves the water in it by a millimetre.

    Parameters
    ----------
    part : of these tolerances.
    """
    near, close = part * LEVEL_TOLERANCE, part * FLOW_TOLERANCE
    limit = most_flow(point, level)[0]
    least = most_flow(point, level - near)[0] * (1.0 - close)
    most = most_flow(point, level + near)[0] * (1.0 + close)
    if point.square_loss > 0.0 and 0.0 < limit < math.inf:
        close = near / (2.0 * point.square_loss * limit)
        least, most = max(least, limit - close), min(most, limit + close)
    return least - LEAST_FLOW, most + LEAST_FLOW


def most_at_level(point: GridPoint, level: float) -> float:
    """The most [m³/s] that a point held at `level` may give and still keep its limit."""
    return most_flow(point, level + LEVEL_TOLERANCE)[0] * (1 + FLOW_TOLERANCE)
