"""What a drainage method is: a table of the site file, points on the grid, a range of use."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from wellring.inputs.basics.units import conductivity_text
from wellring.inputs.site.drainage import Placed
from wellring.inputs.site.operations import Operations
from wellring.model.drainage.placement import place_points
from wellring.model.drainage.points import GridPoint
from wellring.model.grid.ground import Ground
from wellring.model.grid.plan_grid import PlanGrid

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Placement:
    """Where a method's points go: names, the pit, the grid, the ground, the source of the water.

    `shape` is the line or the points read from the site file, where given; `formations` the
    level of each stage's floor [m].
    """

    label: str
    outline: Polygon
    shape: BaseGeometry | None
    grid: PlanGrid
    ground: Ground
    source_distance: float
    formations: tuple[float, ...]
    operations: Operations = field(default_factory=Operations)
    """How pipes are reckoned and sized."""

    def positions(self, table: Placed) -> Floats:
        """Site coordinates (n, 2) of the table's points."""
        return place_points(table, self.outline, self.shape)


@dataclass(frozen=True)
class Range:
    """Ground and depth a method is meant for: kh [m/s], lowering [m]; None: no bound."""

    least_k: float | None
    most_k: float | None
    most_lowering: float | None
    source: str
    reason: str

    def warning(self, method: str, screened_k: float) -> str | None:
        """What to tell where the mean kh [m/s] of the screened ground is outside the range."""
        low, high = self.least_k or 0.0, self.most_k or np.inf
        if low <= screened_k <= high:
            return None
        usual = (
            f"{low:.0e} to {high:.0e}"
            if low > 0 and np.isfinite(high)
            else (f"{low:.0e} and more" if low > 0 else f"up to {high:.0e}")
        )
        return (
            f"{method} in ground of kh {conductivity_text(screened_k, 'metric')}: outside their "
            f"usual range of {usual} m/s ({self.source}); {self.reason}"
        )

    def deeper(self, method: str, lowering: float) -> str | None:
        """What to tell where the water is to be lowered or lifted by more than is usual [m]."""
        if self.most_lowering is None or lowering <= self.most_lowering + 1e-6:
            return None
        return (
            f"{method} that lift the water {lowering:.1f} m: more than the usual "
            f"{self.most_lowering:g} m ({self.source}); another tier or method is needed for that"
        )


@dataclass(frozen=True)
class Method:
    """One drainage method.

    Parameters
    ----------
    table : its table type in the site file.
    points : puts one such table on the grid; raises ValueError with a user's reason.
    range : where it is meant to be used.
    notes : what else must be told about one such table (assumptions, limits).
    other_range : the range of use of one such table where it differs, else None.
    lowering : how far one such table lowers or lifts the water [m], or None where it does not say.
    screened_k : the kh [m/s] that its range is about, or None where there is none.
    other_warnings : what else leaves the method's range of use, of one such table and its points.
    """

    table: type[Any]
    points: Callable[[Any, Placement], list[GridPoint]]
    range: Range
    notes: Callable[[Any, Placement], Sequence[str]] = lambda table, place: ()
    other_range: Callable[[Any], Range | None] = lambda table: None
    lowering: Callable[[Any], float | None] = lambda table: None
    screened_k: Callable[[Placement, Sequence[GridPoint]], float | None] = lambda place, points: (
        mean_screened_k(points)
    )
    other_warnings: Callable[[Any, Placement, Sequence[GridPoint]], Sequence[str]] = (
        lambda table, place, points: ()
    )

    def warnings(self, table: Any, place: Placement, points: Sequence[GridPoint]) -> list[str]:
        """Where one such table leaves the method's range of use: ground, and depth."""
        range_of_use = self.other_range(table) or self.range
        found = []
        k = self.screened_k(place, points)
        if k is not None:
            found.append(range_of_use.warning(table.method, k))
        lowering = self.lowering(table)
        if lowering is not None:
            found.append(range_of_use.deeper(table.method, lowering))
        found += self.other_warnings(table, place, points)
        return [f"{place.label}: {text}" for text in found if text is not None]


def mean_screened_k(points: Sequence[GridPoint]) -> float | None:
    """Mean kh [m/s] over the screened lengths of all points; None without points."""
    if not points:
        return None
    k = np.concatenate([point.screen_k for point in points])
    length = np.concatenate([point.screen_top - point.screen_bottom for point in points])
    return float((k * length).sum() / length.sum())
