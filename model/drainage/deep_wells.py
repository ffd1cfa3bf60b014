"""Deep wells: a screened borehole with a pump each, as a multi-aquifer well of MODFLOW 6."""

from __future__ import annotations

import numpy as np

from wellring.inputs.drainage import DeepWells
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.screens import SkinOf, no_skin, ring_skin, screened_points

SUBMERGENCE = 0.5
"""A pump keeps this much water [m] above the screen's bottom where a rate is asked
(common practice, no source)."""


def deep_well_points(wells: DeepWells, place: Placement) -> list[GridPoint]:
    """The wells of one [[schemes.drainage]] table on the grid.

    Raises
    ------
    ValueError : a well stands outside the grid, or its screen meets no modelled ground.
    """
    radius = 0.5 * wells.diameter
    low = wells.screen[0]
    return screened_points(
        place.positions(wells),
        place.label,
        place.grid,
        place.ground,
        wells.screen,
        radius,
        _skin(wells, radius, place.source_distance),
        method=wells.method,
        lowest=wells.hold if wells.hold is not None else low + SUBMERGENCE,
        wanted=wells.rate,
        pump_capacity=wells.pump.capacity if wells.pump is not None else None,
    )


def _skin(wells: DeepWells, radius: float, source_distance: float) -> SkinOf:
    """Skin factor: of a ring, or the loss of a well efficiency.

    With an efficiency E the extra loss (1/E − 1)·ln(R/r_w) is that of a fully penetrating well
    whose drawdown reaches R.
    """
    if wells.efficiency is None:
        return ring_skin(wells.skin, radius)
    loss = (1.0 / wells.efficiency - 1.0) * np.log(max(source_distance, 10 * radius) / radius)
    return (lambda kh: np.full(kh.shape, loss)) if loss > 0 else no_skin


METHOD = Method(
    DeepWells,
    deep_well_points,
    Range(
        1e-5,
        1e-2,
        None,
        "common practice, values from memory",
        "tighter ground gives a well too little, more pervious ground more than a pump lifts",
    ),
)
