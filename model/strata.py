"""From boring logs to layer surfaces over the whole model area.

How the surfaces are drawn, and why:

- A unit met by every boring that got deep enough *persists*. Its bottom level is interpolated
  directly: the level of such a marker varies smoothly, whatever lies above it.
- A unit that some boring passed without meeting it *pinches out*. Its thickness is interpolated,
  hung below the unit above it. A boring without the unit counts as minus the thickness of the
  nearest borings with it, and what comes out negative is cut off at zero; so the unit ends about
  halfway instead of tapering right to the boring without it. Interpolated as a level, its bottom
  would cross its top wherever the two surfaces happen to differ.
- Persisting surfaces are the frame: pinching units fill the space between two of them and may not
  push them apart.
- A boring that stops within a unit only says that the unit reaches at least that far down. Where
  the interpolated bottom comes out higher, the boring's end is taken as one more point.
- Where a lens inside a soil pinches out, that soil's bed in a boring without the lens is divided
  between the unit above the lens and the one below (see :mod:`wellring.model.observed_contacts`).
- The lowest unit goes down to the model floor.

All is honoured exactly at the borings and cut off at the ground surface and the model floor.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.borings import BoringLogs
from wellring.inputs.faults import FaultLog
from wellring.model.observed_contacts import ObservedContacts, observed_contacts
from wellring.model.surface_interpolation import METHODS, SAME_PLACE, interpolate
from wellring.model.surface_realisations import GaussianField, gaussian_field
from wellring.model.unit_sequence import Unit, UnitSequence, unit_sequence

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

HELD = 1e-6
"""Levels closer than this [m] are equal."""
NEIGHBOURS = 3
"""Nearest borings whose thickness says how far a unit reaches toward a boring without it."""


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


@dataclass(frozen=True, eq=False)
class UnitBottom:
    """What the borings say about the bottom of one unit, at points x, y [m] of shape (k,).

    `values` [m] are bottom levels, or where the unit `pinches` its thicknesses, negative at
    borings that passed its place without meeting it. `field` is what scatters about the estimate
    in a realisation, None for the estimate itself.
    """

    pinches: bool
    x: Floats
    y: Floats
    values: Floats
    field: GaussianField | None = None


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
    collars: UnitBottom
    bottoms: tuple[UnitBottom, ...]
    """One of each unit but the lowest, whose bottom is the model floor."""
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
        drawn = [self._drawn(bottom, x, y) for bottom in self.bottoms]
        top, top_std = self._drawn(self.collars, x, y)
        frame = self._frame([value for value, _ in drawn])

        levels = np.empty((len(self.units) + 1, x.size))
        levels[0], levels[-1] = ground, self.base_level
        std = np.zeros_like(levels) if top_std is not None else None
        bare = np.ones(x.shape, dtype=bool)  # no unit met yet, coming from above
        for index, (bottom, (value, value_std)) in enumerate(zip(self.bottoms, drawn, strict=True)):
            if bottom.pinches:
                here = value > 0.0
                hung = top - np.where(here, value, 0.0)
                below = np.maximum(hung, frame[index])
                level = np.where(bare & ~here, ground, below)
            else:
                level = below = np.asarray(frame[index])
            levels[index + 1] = np.minimum(level, ground)
            bare &= levels[index + 1] >= ground
            if std is not None and value_std is not None and top_std is not None:
                if bottom.pinches:
                    value_std = np.where(here, np.hypot(top_std, value_std), top_std)
                    # where the frame holds it up, it is as uncertain as the frame
                    value_std = np.where(
                        here & (hung < frame[index]), self._frame_std(drawn, index), value_std
                    )
                else:
                    value_std = np.where(frame[index] < value, top_std, value_std)
                top_std = std[index + 1] = value_std
            top = below
        floor = np.minimum(self.base_level, ground)
        levels[1:] = np.minimum(np.maximum(levels[1:], floor), ground)
        np.minimum.accumulate(levels, axis=0, out=levels)
        if std is not None:
            std[(levels >= ground) | (levels <= floor)] = 0.0
        return LayerSurfaces(levels, std)

    def describe(self) -> list[UnitSummary]:
        """Rows of a table of the units from the top down, as the borings met them."""
        return list(self.summary)

    def _drawn(self, bottom: UnitBottom, x: Floats, y: Floats) -> tuple[Floats, Floats | None]:
        return _draw(bottom, self.method, x, y, with_std=self.method == "kriging")

    def _frame(self, drawn: list[Floats]) -> list[Floats | float]:
        """For each unit the next persisting surface at or below its bottom, never crossing."""
        persisting: dict[int, Floats] = {}
        above: Floats | None = None
        for index, bottom in enumerate(self.bottoms):
            if not bottom.pinches:
                above = drawn[index] if above is None else np.minimum(above, drawn[index])
                persisting[index] = above
        frame: list[Floats | float] = []
        below: Floats | float = -np.inf
        for index in reversed(range(len(self.bottoms))):
            below = persisting.get(index, below)
            frame.append(below)
        return frame[::-1]

    def _frame_std(self, drawn: list[tuple[Floats, Floats | None]], index: int) -> Floats | float:
        for bottom, (_, std) in zip(self.bottoms[index:], drawn[index:], strict=True):
            if not bottom.pinches and std is not None:
                return std
        return 0.0


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
    bottoms = tuple(
        _unit_bottom(seen, unit, method, realisation) for unit in range(len(sequence.units) - 1)
    )
    if realisation and not any(bottom.field for bottom in bottoms):
        faults.warn(
            "borings.realisation changes nothing: no surface was met by four borings or more, or "
            "all are planes"
        )
    base_level = _model_floor(logs, base, faults)
    _warn_of_sparse_data(logs, sequence, seen, faults)
    collars = UnitBottom(False, seen.x, seen.y, seen.levels[0])
    summary = tuple(_summary(seen, sequence, unit) for unit in range(len(sequence.units)))
    return Strata(sequence.units, base_level, method, collars, bottoms, summary)


def _unit_bottom(
    seen: ObservedContacts, unit: int, method: str, realisation: int = 0
) -> UnitBottom:
    """Data of one unit's bottom: what was seen, and what keeps it within what was not seen."""
    absent = seen.absent
    pinches = bool(absent[unit].any())
    known = seen.last > unit
    lowest, highest = np.full(known.shape, -np.inf), np.full(known.shape, np.inf)
    if pinches:
        values = seen.thickness(unit)
        for b in np.flatnonzero(absent[unit]):
            values[b] = -_expected_thickness(seen, values, seen.present[unit], b)
        ends = seen.last == unit
        lowest[ends] = values[ends]
        if not seen.through[unit].any():
            known |= ends  # no boring got through it: what they saw of it is all there is
    else:
        values = np.where(known, seen.levels[unit + 1], seen.final)
        # Pinching units between the boring's end and this surface rest on it, so that it has to
        # stay below that end; a persisting surface in between already takes care of it.
        ends = seen.last <= unit
        for upper in range(unit):
            if not absent[upper].any():
                ends &= seen.last > upper
        highest[ends] = seen.final[ends]
        # A division is no observation: as a point it would feign certainty where there is none.
        # It is needed where the thickness of the lower part hangs below it.
        lower = unit + 1 + np.argmax(seen.present[unit + 1 :], axis=0)
        divides = np.isfinite(seen.room[unit, :, 0]) & ~np.any(absent[lower], axis=1)
        highest[divides], lowest[divides] = seen.room[unit, divides].T
        known &= ~divides
        ends |= divides
    field = None
    if realisation and method == "kriging":
        field = gaussian_field(
            seen.x[known], seen.y[known], values[known], not pinches, (realisation << 8) + unit
        )
    while True:
        data = UnitBottom(pinches, seen.x[known], seen.y[known], values[known], field)
        loose = np.flatnonzero(ends & ~known)
        drawn, _ = _draw(data, method, seen.x[loose], seen.y[loose])
        violated = loose[(drawn < lowest[loose] - HELD) | (drawn > highest[loose] + HELD)]
        if violated.size == 0:
            return data
        known[violated] = True


def _expected_thickness(
    seen: ObservedContacts, thickness: Floats, met: NDArray, b: np.intp
) -> float:
    """Mean thickness [m] in the nearest borings that met the unit, weighted by 1 / distance."""
    others = np.flatnonzero(met)
    distance = np.hypot(seen.x[others] - seen.x[b], seen.y[others] - seen.y[b])
    nearest = np.lexsort((thickness[others], distance))[:NEIGHBOURS]
    weights = 1.0 / np.maximum(distance[nearest], SAME_PLACE)
    return float(np.average(thickness[others][nearest], weights=weights))


def _draw(
    data: UnitBottom, method: str, x: Floats, y: Floats, *, with_std: bool = False
) -> tuple[Floats, Floats | None]:
    # A thickness has no slope to carry on: the negative values would make up most of it.
    return interpolate(
        method, data.x, data.y, data.values, x, y, with_std=with_std, trend=not data.pinches,
        field=data.field,
    )  # fmt: skip


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
