"""What is known of each contact and of each unit's extent, and the estimate of it at any place.

A *contact* is the level above which only units 0 to j - 1 lie and below which only units from j
on: the bottom of whatever was met above, the top of whatever was met below. Every boring that got
below it has seen it, also where the units next to it are missing. Contact 0 is the ground itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wellring.model.geology.leave_one_out import leave_one_out
from wellring.model.geology.observed_contacts import ObservedContacts
from wellring.model.geology.surface_interpolation import SAME_PLACE, interpolate
from wellring.model.geology.surface_realisations import GaussianField, gaussian_field

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

HELD = 1e-6
"""Levels closer than this [m] are equal."""
SMALLEST_ERROR = 1e-3
"""No contact is predicted better than this [m]."""
BETTER = 0.9
"""A slope, or a depth under the ground in place of a level, is taken only where it brings the
leave-one-out error below this share of what it is without. The F-test alone takes neighbouring
levels for independent and finds slopes in plain relief. Chosen by tests/bench/ground_truth.py."""


@dataclass(frozen=True, eq=False)
class ContactEstimate:
    """One contact: its levels at borings, and how far they are to be trusted in between.

    x, y, values : shape (k,), places and levels [m] where it was seen; of a contact that `drapes`
        heights over the ground, which are negative.
    bounds : shape (b, 3), x, y and level or height [m] of ends of borings above it that the
        interpolated contact would otherwise contradict.
    error : root mean square of its leave-one-out errors [m]; NaN where fewer than two places.
    spacing : typical distance [m] between a place and its nearest neighbour.
    open_x, open_y, open_beds : shape (r,), places of all borings that got below it, and thickness
        [m] of the bed that it only divides there and in which it could lie anywhere, else 0;
        empty where it divides no bed.
    drapes : whether it follows the ground, lying at a depth rather than at a level.
    trend : whether kriging carries a slope on.
    field : what scatters about the estimate in a realisation, None for the estimate itself.
    """

    x: Floats
    y: Floats
    values: Floats
    bounds: Floats
    error: float
    spacing: float
    open_x: Floats
    open_y: Floats
    open_beds: Floats
    drapes: bool = False
    trend: bool = True
    field: GaussianField | None = None

    def bounded(self, x: Floats, y: Floats, levels: Floats, ground: Floats) -> ContactEstimate:
        """The same with further ends of borings as bounds; all of shape (b,), levels in m."""
        heights = levels - ground if self.drapes else levels
        return replace(self, bounds=np.vstack([self.bounds, np.column_stack([x, y, heights])]))

    def at(self, method: str, x: Floats, y: Floats, ground: Floats) -> Floats:
        """Levels at points under a `ground` [m], all of shape (n,) [m]."""
        drawn = self._drawn(method, x, y)
        return drawn + ground if self.drapes else drawn

    def _drawn(self, method: str, x: Floats, y: Floats) -> Floats:
        return interpolate(
            method,
            np.append(self.x, self.bounds[:, 0]),
            np.append(self.y, self.bounds[:, 1]),
            np.append(self.values, self.bounds[:, 2]),
            x,
            y,
            trend=self.trend,
            field=self.field,
        )[0]

    def std(self, x: Floats, y: Floats) -> Floats:
        """Kriging standard deviation at points of shape (n,) [m]; a bound is no observation."""
        std = interpolate(
            "kriging", self.x, self.y, self.values, x, y, with_std=True, trend=self.trend
        )[1]
        assert std is not None
        return std

    def variance(self, x: Floats, y: Floats, unknown: float) -> Floats:
        """How little the estimate binds at points of shape (n,) [m²].

        The squared leave-one-out error, or `unknown` [m] squared where there is none; less toward
        a place where the contact is known, down to nothing; more toward a bed that it divides.
        """
        error = unknown if np.isnan(self.error) else max(self.error, SMALLEST_ERROR)
        near = nearness(
            np.append(self.x, self.bounds[:, 0]), np.append(self.y, self.bounds[:, 1]), x, y,
            self.spacing,
        )  # fmt: skip
        variance = error**2 * near
        if self.open_beds.any():
            # a level anywhere in a bed has the variance of a uniform distribution
            divided = interpolate(
                "linear", self.open_x, self.open_y, self.open_beds**2 / 12.0, x, y
            )[0]
            variance += divided * near
        return variance


@dataclass(frozen=True, eq=False)
class UnitExtent:
    """Where a unit that some boring passed without meeting it is there.

    x, y, values : shape (k,), places [m] of the borings that tell, and 1 where they met the unit,
        -1 where they did not.
    thickest : greatest thickness seen [m].
    field : as of a contact.
    """

    x: Floats
    y: Floats
    values: Floats
    spacing: float
    thickest: float
    field: GaussianField | None = None

    def at(self, method: str, x: Floats, y: Floats) -> Floats:
        """From 1, there as in borings that met it, over 0, its edge, to -1; shape (n,)."""
        drawn = interpolate(
            method, self.x, self.y, self.values, x, y, trend=False, field=self.field
        )[0]
        return np.clip(drawn, -1.0, 1.0)

    def nearness(self, x: Floats, y: Floats) -> Floats:
        """0 at a boring that tells, 1 from the typical spacing on; shape (n,)."""
        return nearness(self.x, self.y, x, y, self.spacing)


def contact_estimates(
    seen: ObservedContacts, method: str, realisation: int = 0
) -> tuple[ContactEstimate, ...]:
    """One of each contact between ground and model floor, from above.

    `realisation` is the number of a realisation of kriged surfaces, 0 the estimate itself. A
    division of a bed is no observation: as a point it would feign certainty where there is none.
    """
    return tuple(
        _contact(seen, method, contact, realisation) for contact in range(1, len(seen.present))
    )


def unit_extents(
    seen: ObservedContacts, method: str, realisation: int = 0
) -> tuple[UnitExtent | None, ...]:
    """One of each unit; None of a unit that every boring met that got deep enough."""
    extents: list[UnitExtent | None] = []
    for unit, absent in enumerate(seen.absent):
        if not absent.any():
            extents.append(None)
            continue
        tells = absent | seen.present[unit]
        x, y, values = seen.x[tells], seen.y[tells], np.where(absent[tells], -1.0, 1.0)
        thickest = float(np.nanmax(seen.thickness(unit)))
        field = None
        if realisation and method == "kriging":
            field = gaussian_field(x, y, values, False, (realisation << 9) + 256 + unit)
        extents.append(UnitExtent(x, y, values, _spacing(x, y), thickest, field))
    return tuple(extents)


def _contact(
    seen: ObservedContacts, method: str, contact: int, realisation: int
) -> ContactEstimate:
    reached = seen.last >= contact
    open_beds = seen.open_beds[contact]
    known = reached & (open_beds == 0.0)
    if not known.any():
        known = reached
    x, y, values = seen.x[known], seen.y[known], seen.levels[contact][known]
    error, trend = _error(method, x, y, values, True), True
    if method == "kriging":
        level = _error(method, x, y, values, False)
        if not error < BETTER * level:
            error, trend = level, False
    depth = _error(method, x, y, values - seen.levels[0][known], False)
    drapes = depth < BETTER * error
    if drapes:
        values = values - seen.levels[0][known]
        error, trend = depth, False
    field = None
    if realisation and method == "kriging":
        field = gaussian_field(x, y, values, trend, (realisation << 9) + contact)
    estimate = ContactEstimate(
        x,
        y,
        values,
        np.zeros((0, 3)),
        error,
        _spacing(x, y),
        seen.x[reached],
        seen.y[reached],
        open_beds[reached],
        drapes,
        trend,
        field,
    )
    # Ends of borings that the estimate lies above; each of them moves it, and so may free others.
    ends = np.array([seen.x, seen.y, seen.final, seen.levels[0]])[:, ~reached]
    while True:
        violated = estimate.at(method, ends[0], ends[1], ends[3]) > ends[2] + HELD
        if not violated.any():
            return estimate
        estimate = estimate.bounded(*ends[:, violated])
        ends = ends[:, ~violated]


def _error(method: str, x: Floats, y: Floats, values: Floats, trend: bool) -> float:
    """Root mean square of the leave-one-out errors [m], NaN where fewer than two places."""
    errors = leave_one_out(method, x, y, values, trend=trend)[2]
    return float(np.sqrt(np.mean(errors**2))) if errors.size else np.nan


def nearness(x: Floats, y: Floats, xq: Floats, yq: Floats, spacing: float) -> Floats:
    """Distance to the nearest of the points (k,) in `spacing`, at most 1, at places (n,)."""
    from scipy.spatial import cKDTree

    away = cKDTree(np.column_stack([x, y])).query(np.column_stack([xq, yq]))[0]
    return np.clip(away / spacing, LEAST_NEARNESS, 1.0)


def _spacing(x: Floats, y: Floats) -> float:
    """Median distance [m] between a place and its nearest neighbour; 1 m of a single place."""
    from scipy.spatial import cKDTree

    points = np.unique(np.column_stack([x, y]).round(3), axis=0)
    if len(points) < 2:
        return 1.0
    return max(float(np.median(cKDTree(points).query(points, k=2)[0][:, 1])), SAME_PLACE)


LEAST_NEARNESS = 1e-9
"""Of what is known exactly, so that nothing is divided by zero."""
