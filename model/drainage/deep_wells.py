"""Deep wells: a screened borehole with a pump each, as a multi-aquifer well of MODFLOW 6."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from wellring.inputs.site.drainage import DeepWells, Pump, WellLoss
from wellring.model.drainage.method import Method, Placement, Range
from wellring.model.drainage.penetration import short_screens
from wellring.model.drainage.points import GridPoint
from wellring.model.drainage.pump_curve import SHUT_OFF, curve_of
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
    curve = curve_of(wells.pump) if wells.pump is not None else None
    loss = wells.well_loss or WellLoss()
    points = screened_points(
        place.positions(wells),
        place.label,
        place.grid,
        place.ground,
        wells.screen,
        radius,
        skin_of(wells, radius, place.source_distance),
        method=wells.method,
        lowest=wells.hold if wells.hold is not None else low + SUBMERGENCE,
        wanted=wells.rate,
        pump_capacity=curve.rated if curve is not None else _capacity(wells),
        curve=curve,
        square_loss=loss.c,
    )
    return [
        replace(point, delivery=_delivery(wells, place, point)).worse(loss.b) for point in points
    ]


def _capacity(wells: DeepWells) -> float | None:
    return wells.pump.capacity if wells.pump is not None else None


def _delivery(wells: DeepWells, place: Placement, point: GridPoint) -> float:
    """Level [m] to which a well's pump lifts: given, or the ground there, plus pipe losses."""
    pump = wells.pump or Pump()
    level = pump.discharge_level
    if level is None:
        plan = int(point.node[0]) % place.ground.area.size
        level = float(place.ground.layers.edges[0, plan])
    return level + (pump.losses or 0.0)


def skin_of(wells: DeepWells, radius: float, source_distance: float) -> SkinOf:
    """Skin factor: of a ring, of the filter around the screen, or the loss of an efficiency.

    A filter of conductivity k from the screen's radius r_s to the borehole's r_w adds
    kh/k·ln(r_w/r_s). With an efficiency E the extra loss (1/E − 1)·ln(R/r_w) is that of a fully
    penetrating well whose drawdown reaches R.
    """
    if wells.efficiency is None:
        ring = ring_skin(wells.skin, radius)
        if wells.screen_diameter is None or wells.filter_k is None:
            return ring
        added = np.log(wells.diameter / wells.screen_diameter) / wells.filter_k
        return lambda kh: ring(kh) + kh * added
    loss = (1.0 / wells.efficiency - 1.0) * np.log(max(source_distance, 10 * radius) / radius)
    return (lambda kh: np.full(kh.shape, loss)) if loss > 0 else no_skin


def _notes(wells: DeepWells, place: Placement) -> Sequence[str]:
    pump, curve = wells.pump, curve_of(wells.pump) if wells.pump is not None else None
    if pump is None or curve is None:
        return []
    said = []
    lift = max(
        point.delivery - point.lowest for point in deep_well_points(wells, place)
    )  # the greatest it may have to overcome
    if pump.head is not None and wells.hold is not None and lift > pump.head:
        said.append(
            f"{place.label}: drawn to its level a well lifts {lift:.1f} m, more than its pump's "
            f"{pump.head:g} m: it gives less than its capacity there, and nothing at "
            f"{SHUT_OFF * pump.head:.1f} m (curve assumed through one point, common practice)"
        )
    if pump.curve and pump.discharge_level is None:
        said.append(f"{place.label}: the pumps are taken to lift the water to the ground there")
    return said


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
    _notes,
    other_warnings=short_screens,
)
