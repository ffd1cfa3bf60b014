"""From boring logs to layer surfaces over the whole model area.

How the surfaces are drawn, and why:

- Every contact between units is interpolated directly as a level, from all borings that got below
  it. What a boring saw as the top of a unit is as good as what another saw as the bottom of the
  unit above, so the rock's top is known also where the soils on it change sideways.
- A unit that some boring passed without meeting it *pinches out*. How far it reaches is
  interpolated from 1 in borings with it to -1 in borings without it; toward 0 its thickness
  shrinks to nothing, so that it ends about halfway instead of tapering right to the boring
  without it.
- A contact that the borings predict better as a depth than as a level follows the ground.
- What a unit that ends leaves free is shared by least squares in each column
  (:mod:`fitted_columns`): contacts that the borings predict badly when left out move, contacts
  that they predict well stay. Where clay gives way to sand between two even surfaces, the two
  divide the room between them.
- A boring that stops within a unit only says that all contacts below lie at or below its end. A
  contact that comes out higher takes that end as one more point. Thicknesses are never carried
  below the end of a boring.
- Where a lens inside a soil pinches out, that soil's bed in a boring without the lens is divided
  between the unit above the lens and the one below (:mod:`observed_contacts`); the level of the
  division is no observation.
- The lowest unit goes down to the model floor.

All is honoured exactly at the borings and cut off at the ground surface and the model floor.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.logs.borings import BoringLogs
from wellring.model.geology.contact_estimates import (
    HELD,
    LEAST_NEARNESS,
    SMALLEST_ERROR,
    ContactEstimate,
    UnitExtent,
    contact_estimates,
    unit_extents,
)
from wellring.model.geology.fitted_columns import fitted_columns
from wellring.model.geology.observed_contacts import ObservedContacts, observed_contacts
from wellring.model.geology.surface_interpolation import METHODS
from wellring.model.geology.unit_sequence import Unit, UnitSequence, unit_sequence

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SHARE_KEPT = 1.0
"""Softness of a pinching unit's thickness at its edge, in thicknesses: by how much the expected
thickness gives way to the levels of the contacts. Chosen by tests/bench/ground_truth.py."""
SPROUT = 0.01
"""Least thickness that decides on the softness, in greatest thicknesses seen of the unit."""
LEAST_SOFTNESS = 1e-18
"""Variance [m²] of a thickness known exactly, so that nothing is divided by zero."""


@dataclass(frozen=True, eq=False)
class LayerSurfaces:
    """Surfaces at n points.

    `levels`, shape (units + 1, n) [m]: row 0 the ground, row i + 1 the bottom of unit i, last row
    the model floor; never increasing downward. `std`, same shape [m], or None where the method
    has none: the kriging standard deviation, 0 for ground and floor, NaN where fewer than four
    borings saw the unit's bottom.
    """

    levels: Floats
    std: Floats | None


@dataclass(frozen=True)
class UnitSummary:
    """One row of the table of units; lengths and levels in m, None where no boring tells.

    `borings` met the unit; `through` of them met its bottom too. Thickness is of the latter only,
    bottom likewise; the top is of all. Beds that stand for several units of one soil count as met.
    """

    unit: str
    soil: str
    borings: int
    through: int
    mean_thickness: float | None
    min_thickness: float | None
    max_thickness: float | None
    mean_top: float | None
    mean_bottom: float | None


@dataclass(frozen=True, eq=False)
class Strata:
    """The units of a site, from the top down, and what is known of their surfaces."""

    units: tuple[Unit, ...]
    base_level: float
    method: str
    contacts: tuple[ContactEstimate, ...]
    """The bottom of each unit but the lowest, which reaches to the model floor."""
    extents: tuple[UnitExtent | None, ...]
    summary: tuple[UnitSummary, ...]

    def surfaces(self, x: Floats, y: Floats, ground: Floats) -> LayerSurfaces:
        """Levels of all surfaces at the points (x, y), shape (n,), under `ground` [m], shape (n,).

        At a boring `ground` has to be its collar level for the log to be reproduced; no surface
        ever rises above `ground`. Where the ground lies higher than the borings' collars
        suggest, the topmost unit met there makes up for it.

        Raises
        ------
        ValueError : shapes that differ.
        """
        x, y, ground = (np.asarray(a, dtype=np.float64) for a in (x, y, ground))
        if x.ndim != 1 or not x.shape == y.shape == ground.shape:
            raise ValueError("expected x, y and ground of one shape (n,)")
        contacts, variance = self._columns(x, y, ground)
        levels = np.vstack([contacts, np.full((1, x.size), self.base_level)])
        floor = np.minimum(self.base_level, ground)
        levels = np.minimum(np.maximum(levels, floor), ground)
        np.minimum.accumulate(levels, axis=0, out=levels)
        if self.method != "kriging":
            return LayerSurfaces(levels, None)
        std = np.zeros_like(levels)
        for index, contact in enumerate(self.contacts, start=1):
            std[index] = contact.std(x, y)
        std[1:-1] = _of_met_contacts(contacts, variance, std[1:-1])
        std[(levels >= ground) | (levels <= floor)] = 0.0
        return LayerSurfaces(levels, std)

    def contact_levels(self, x: Floats, y: Floats, ground: Floats) -> Floats:
        """Ground and levels of all contacts [m], shape (units, n), never increasing downward.

        As :meth:`surfaces`, before the model floor cuts them off.
        """
        return self._columns(x, y, ground)[0]

    def _columns(self, x: Floats, y: Floats, ground: Floats) -> tuple[Floats, Floats]:
        """Levels of ground and contacts [m] and how little each binds [m²], (units, n)."""
        drawn, variance = np.empty((2, len(self.units), x.size))
        drawn[0], variance[0] = ground, SMALLEST_ERROR**2 * LEAST_NEARNESS
        unknown = max((c.error for c in self.contacts if c.error > 0.0), default=1.0)
        for index, contact in enumerate(self.contacts, start=1):
            drawn[index] = contact.at(self.method, x, y, ground)
            variance[index] = contact.variance(x, y, unknown)
        levels = fitted_columns(drawn, variance)
        thickness = -np.diff(levels, axis=0)
        softness = np.full_like(thickness, np.inf)
        missing = np.zeros(thickness.shape, dtype=bool)
        for unit, extent in enumerate(self.extents[:-1]):
            if extent is None:
                continue
            there = extent.at(self.method, x, y)
            missing[unit] = there <= 0.0
            # Interpolated levels taper a unit to the boring without it: of the full thickness
            # they leave (1 + there) / 2.
            here = thickness[unit].copy()
            full = np.minimum(
                2.0 * here / np.maximum(1.0 + there, 1e-9), np.maximum(here, extent.thickest)
            )
            thickness[unit] = full * there
            away = np.maximum(1.0 - there, 1e-9)
            # A unit that is there can grow, also where the levels leave it no room.
            least = SPROUT * extent.thickest * (1.0 + there)
            softness[unit] = (SHARE_KEPT * np.maximum(here, least) / away) ** 2
            softness[unit] *= extent.nearness(x, y)
            softness[unit] = np.maximum(softness[unit], LEAST_SOFTNESS)
        fitted = fitted_columns(levels, variance, thickness, softness)
        # Units missing from the ground down are missing under a hill as well.
        bare = np.cumprod(missing | (fitted[1:] >= fitted[0]), axis=0, dtype=bool)
        fitted[0] = ground
        fitted[1:] = np.where(bare, ground, np.minimum(fitted[1:], ground))
        return fitted, variance

    def describe(self) -> list[UnitSummary]:
        """Rows of a table of the units from the top down, as the borings met them."""
        return list(self.summary)


def build_strata(
    logs: BoringLogs, method: str, base: float | None, faults: FaultLog, realisation: int = 0
) -> Strata:
    """Align the logs and prepare the surfaces of their units.

    Parameters
    ----------
    logs : the borings; those without any interval are left out with a warning.
    method : "kriging", "linear" or "nearest", as in :func:`interpolate`.
    base : level of the model floor [m]; None takes the lowest end of all borings.
    faults : receives warnings about what is assumed below and between the borings.
    realisation : number of a realisation of kriged surfaces; 0 is the estimate itself.

    Raises
    ------
    InputFaults : no boring met any soil, the method is unknown, or the model floor lies above
        a boring's ground.
    """
    borings = tuple(b for b in logs.borings if any(i.top > i.bottom for i in b.intervals))
    empty = sorted({b.id for b in logs.borings} - {b.id for b in borings})
    if empty:
        faults.warn(f"borings without a soil layer are left out: {', '.join(empty)}")
    if not borings:
        faults.add("boring logs", "layers", None, "at least one boring with a soil layer")
    if method not in METHODS:
        faults.add("site file", "borings.surfaces", method, " or ".join(METHODS))
    if base is not None and borings and base >= min(b.ground for b in borings):
        lowest = min(borings, key=lambda b: b.ground)
        faults.add(
            "site file",
            "borings.base",
            base,
            f"a level below the ground at every boring ({lowest.id} stands at {lowest.ground:g} m)",
            "Give the model floor as an elevation in m, not as a depth.",
        )
    faults.raise_if_any()

    logs = BoringLogs(borings, logs.readings)
    sequence = unit_sequence(logs)
    seen = observed_contacts(logs, sequence, method)
    contacts = contact_estimates(seen, method, realisation)
    extents = unit_extents(seen, method, realisation)
    if realisation and not any(known.field for known in (*contacts, *extents) if known):
        faults.warn(
            "borings.realisation changes nothing: no surface was met by four borings or more, or "
            "all are planes"
        )
    base_level = _model_floor(logs, base, faults)
    _warn_of_sparse_data(logs, sequence, seen, faults)
    summary = tuple(_summary(seen, sequence, unit) for unit in range(len(sequence.units)))
    strata = Strata(sequence.units, base_level, method, contacts, extents, summary)
    return _above_ends(strata, seen)


def _of_met_contacts(contacts: Floats, variance: Floats, std: Floats) -> Floats:
    """Standard deviations of contacts but the ground, those that meet taken together.

    They are one surface; its standard deviation is their mean, weighted as their levels were.
    All arrays of shape (units, n) but `std` and the result, (units - 1, n).
    """
    weight = 1.0 / variance[1:]
    group = np.cumsum(np.diff(contacts[1:], axis=0, prepend=np.inf) != 0.0, axis=0) - 1
    columns = np.broadcast_to(np.arange(std.shape[1]), std.shape)
    total, weights = np.zeros(std.shape), np.zeros(std.shape)
    known = np.isfinite(std)
    np.add.at(total, (group[known], columns[known]), (weight * std)[known])
    np.add.at(weights, (group[known], columns[known]), weight[known])
    mean = np.divide(total, weights, out=np.full(std.shape, np.nan), where=weights > 0.0)
    return mean[group, columns]


def _above_ends(strata: Strata, seen: ObservedContacts) -> Strata:
    """The same with every unit in which a boring ended reaching down to that end at least."""
    bounded = np.zeros(seen.present.shape, dtype=bool)
    while True:
        above = strata.contact_levels(seen.x, seen.y, seen.levels[0]) > seen.final + HELD
        above &= (seen.last == np.arange(len(above))[:, None] - 1) & ~bounded
        if not above.any():
            return strata
        bounded |= above
        contacts = tuple(
            contact.bounded(seen.x[ends], seen.y[ends], seen.final[ends], seen.levels[0][ends])
            for contact, ends in zip(strata.contacts, above[1:], strict=True)
        )
        strata = replace(strata, contacts=contacts)


def _model_floor(logs: BoringLogs, base: float | None, faults: FaultLog) -> float:
    """The model floor [m], with warnings about what it leaves out or assumes."""
    deepest = min(logs.borings, key=lambda b: (b.final, b.id))
    if base is None:
        base = deepest.final
        faults.warn(
            f"model floor taken at {base:g} m, where the deepest boring ({deepest.id}) ends; "
            "borings.base in the site file sets another"
        )
    elif base > deepest.final + HELD:
        deeper = sum(b.final < base - HELD for b in logs.borings)
        faults.warn(
            f"the model floor ({base:g} m) lies above the end of {deeper} of {len(logs.borings)} "
            f"borings (deepest: {deepest.id}, {deepest.final:g} m); what they met below is left out"
        )
    missing = np.array([b.final - base for b in logs.borings])
    short = missing > HELD
    if short.any():
        faults.warn(
            f"{int(short.sum())} of {len(logs.borings)} borings end above the model floor "
            f"({base:g} m), by {missing[short].mean():.1f} m on average and at most "
            f"{missing[short].max():.1f} m; the ground below them is extrapolated"
        )
    return float(base)


def _warn_of_sparse_data(
    logs: BoringLogs, sequence: UnitSequence, seen: ObservedContacts, faults: FaultLog
) -> None:
    places = Counter((round(b.x, 2), round(b.y, 2)) for b in logs.borings)
    for place in sorted(place for place, times in places.items() if times > 1):
        twins = sorted(b.id for b in logs.borings if (round(b.x, 2), round(b.y, 2)) == place)
        faults.warn(
            f"borings {', '.join(twins)} stand at one place ({place[0]:g}, {place[1]:g}); "
            "where their logs differ the surfaces pass between them"
        )
    if len(logs.borings) < 3:
        return
    for index, unit in enumerate(sequence.units):
        met = np.flatnonzero(seen.present[index])
        passed = int(seen.absent[index].sum())
        if met.size == 1 and passed:
            faults.warn(
                f"'{unit.label}' was met in one boring only ({logs.borings[met[0]].id}) and passed "
                f"without a trace in {passed}: modelled as a lens that ends between them"
            )


def _summary(seen: ObservedContacts, sequence: UnitSequence, unit: int) -> UnitSummary:
    met = seen.present[unit]
    through = seen.through[unit] & ~seen.divided[unit]
    thickness = (seen.levels[unit] - seen.levels[unit + 1])[through]
    some = thickness.size > 0
    return UnitSummary(
        unit=sequence.units[unit].label,
        soil=sequence.units[unit].soil,
        borings=int(met.sum()),
        through=int(through.sum()),
        mean_thickness=float(thickness.mean()) if some else None,
        min_thickness=float(thickness.min()) if some else None,
        max_thickness=float(thickness.max()) if some else None,
        mean_top=float(seen.levels[unit][met].mean()) if met.any() else None,
        mean_bottom=float(seen.levels[unit + 1][through].mean()) if some else None,
    )
