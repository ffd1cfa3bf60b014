"""A recharge trench: a line of ground that is kept filled with water, to spare what lies beyond.

It stands in the model as a row of points along its line, each for its stretch of trench.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wellring.inputs.site.drainage import RechargeTrench
from wellring.model.drainage.method import Method, Placement
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.recharge_wells import RECHARGE_RANGE
from wellring.model.drainage.screens import no_skin, screened_points

COARSE = 1.5
"""Points further apart than so many times the cells beside them act as wells, not as a trench."""


def trench_points(table: RechargeTrench, place: Placement) -> list[GridPoint]:
    """The trench's points on the grid.

    A cell's own level is that in its middle, where the trench stands: only half the trench's
    width of soil, times the clogging, lies between on either side, 2·kh·L·b/(w/2) for a stretch
    L and a height b (own derivation). What leaves through the trench's bottom is not counted.

    Raises
    ------
    ValueError : a point stands outside the grid, or the trench meets no modelled ground.
    """
    positions = place.positions(table)
    length = stretch(positions, table)
    points = screened_points(
        positions,
        place.label,
        place.grid,
        place.ground,
        (table.bottom, table.head_limit),
        0.5 * table.width,
        no_skin,
        method=table.method,
        lowest=-table.head_limit,
        wanted=None if table.rate is None else table.rate / len(positions),
        pump_capacity=None,
        injects=True,
        group=place.label,
        share=table.share,
    )
    return [
        replace(
            point,
            opening=1.0,
            conductance=4.0
            * point.screen_k
            * length
            * (np.minimum(point.screen_top, table.head_limit) - point.screen_bottom)
            / table.width,
        ).clogged(table.clogging)
        for point in points
    ]


def stretch(positions: np.ndarray, table: RechargeTrench) -> float:
    """Length [m] of trench that each of its points (n, 2) stands for."""
    if len(positions) < 2:
        raise ValueError("a trench needs two points or more: make its spacing smaller")
    apart = np.hypot(*np.diff(positions, axis=0).T)
    # A closed ring has as many stretches as points, an open line one less.
    return float(apart.sum() / (len(positions) - (table.ring is not None)))


def _notes(table: RechargeTrench, place: Placement) -> Sequence[str]:
    said = []
    positions = place.positions(table)
    each = stretch(positions, table)
    rows, columns = place.grid.cell_of(positions[:, 0], positions[:, 1])
    beside = np.minimum(place.grid.delr[columns], place.grid.delc[rows]).max()
    if each > COARSE * beside:
        said.append(
            f"{place.label}: its points stand {each:.1f} m apart in cells of {beside:.1f} m and "
            "act as single wells: make their spacing smaller"
        )
    if table.clogging == 1.0:
        said.append(f"{place.label}: clean walls assumed; recharge trenches clog (clogging = 1)")
    return said


METHOD = Method(
    RechargeTrench,
    trench_points,
    RECHARGE_RANGE,
    _notes,
)
