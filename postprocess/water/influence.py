"""How far the drawdown goes: area and reach of each threshold, by direction, and what bounds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.run.answer import Answer, Part, Table
from wellring.postprocess.run.contours import contour_areas
from wellring.postprocess.run.ledger import StageEntry
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

DIRECTIONS = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
"""Sixteen directions, clockwise from grid north."""
NEAR_EDGE = 0.7
"""Part of the source distance from which a reach depends on that distance (common practice, no
source: between held level and pit the drawdown falls with the logarithm of the distance)."""


@dataclass(frozen=True)
class Influence:
    """Where one stage's largest drawdown, of water table or any layer, reaches a threshold.

    Parameters
    ----------
    threshold : drawdown [m].
    shape : ground outside the pit where it is reached (site metres).
    reach : (16,) farthest distance from the pit's edge [m] along each of :data:`DIRECTIONS`.
    cut : the threshold is reached at the edge of the modelled ground itself.
    near_edge : it reaches so far that the held level at the source distance pulls it in.
    """

    entry: StageEntry
    threshold: float
    shape: shapely.MultiPolygon
    reach: Floats
    cut: bool
    near_edge: bool

    @property
    def bounded(self) -> bool:
        """Whether the model's own edge has a say in where it ends."""
        return self.cut or self.near_edge


def influences(run: RunFolder, results: Sequence[StageResult]) -> list[Influence]:
    """Every dug stage's influence, one entry a threshold of [assessment] that is reached."""
    edge = _edge(run, results[0].grid.active)
    pit = shapely.Polygon(run.ledger.outline)
    found = []
    for result in results[1:]:
        assert result.fall is not None
        fall = result.fall.largest
        rays = _Rays(run, fall, pit)
        with np.errstate(invalid="ignore"):
            at_edge = float(np.nanmax(fall[edge], initial=0.0))
        for threshold in run.assessment.drawdowns:
            areas = contour_areas(run, fall, [threshold])
            if not areas:
                continue
            outside = shapely.difference(areas[0][2], pit)
            parts = [p for p in shapely.get_parts(outside) if p.geom_type == "Polygon"]
            reach = rays.reach(threshold)
            near = float(reach.max()) > NEAR_EDGE * run.ledger.source_distance
            found.append(
                Influence(
                    result.entry,
                    threshold,
                    shapely.MultiPolygon(parts),
                    reach,
                    at_edge >= threshold,
                    near,
                )
            )
    return found


def assess_influence(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Area and reach of the drawdown, and a warning where the model's edge has a say in them."""
    if len(results) < 2:
        return Part()
    found = influences(run, results)
    part = Part()
    for item in found:
        part.answers[f"{item.entry.folder}.influence_area.{item.threshold:g}"] = Answer(
            float(item.shape.area),
            "m2",
            "area outside the pit inside the contour of the largest drawdown of water table or "
            "any layer",
            f"{item.entry.name}: area of {item.threshold:g} m drawdown or more",
            "area",
        )
    part.tables["influence"] = _rose(found)
    part.tables["influence_areas"] = _areas(found)
    cut = sorted({item.threshold for item in found if item.cut})
    near = sorted({item.threshold for item in found if item.near_edge and not item.cut})
    if cut:
        part.warnings.append(
            f"drawdown of {_metres(cut)} reaches the edge of the modelled ground: its area and "
            "reach are cut off there, and the ground beyond is affected too"
        )
    if near:
        part.warnings.append(
            f"the reach of {_metres(near)} drawdown depends on the source distance of "
            f"{run.ledger.source_distance:.0f} m, at which the model holds the natural level; "
            "with a farther source it goes farther"
        )
    return part


class _Rays:
    """A field sampled along rays from the pit's middle, by distance from the pit's edge."""

    def __init__(self, run: RunFolder, field: Floats, pit: shapely.Polygon):
        from scipy.interpolate import RegularGridInterpolator

        x, y = run.local_centres
        values = np.nan_to_num(field.reshape(run.plan_shape), nan=0.0)
        sample = RegularGridInterpolator((-y, x), values, bounds_error=False, fill_value=0.0)
        azimuth = np.radians(np.arange(len(DIRECTIONS)) * 360.0 / len(DIRECTIONS))
        toward = np.column_stack([np.sin(azimuth), np.cos(azimuth)])
        middle = np.array([pit.centroid.x, pit.centroid.y])
        length = float(np.ptp(run.centres[0]) + np.ptp(run.centres[1]))
        start = np.array([_leaves(pit, middle, middle + length * way) for way in toward])
        self.distance = np.concatenate([[0.0], np.geomspace(0.1, length, 800)])
        along = start[:, None] + self.distance
        site = middle + along[..., None] * toward[:, None, :]
        local_x, local_y = run.to_local(site[..., 0], site[..., 1])
        self.values = sample(np.stack([-local_y, local_x], axis=-1))

    def reach(self, threshold: float) -> Floats:
        """Last distance (16,) [m] at which the field falls below a threshold, 0 where nowhere."""
        above = self.values >= threshold
        last = above.shape[1] - 1 - np.argmax(above[:, ::-1], axis=1)
        rows = np.arange(above.shape[0])
        following = np.minimum(last + 1, above.shape[1] - 1)
        here, there = self.values[rows, last], self.values[rows, following]
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.clip((here - threshold) / (here - there), 0.0, 1.0)
        step = self.distance[following] - self.distance[last]
        found = self.distance[last] + np.where(np.isfinite(share), share, 0.0) * step
        return np.where(above.any(axis=1), found, 0.0)


def _leaves(pit: shapely.Polygon, start: Floats, end: Floats) -> float:
    """Distance from `start` at which a ray leaves the pit for good, 0 if it never meets it."""
    met = shapely.intersection(shapely.LineString([start, end]), pit)
    corners = shapely.get_coordinates(met)
    return float(np.hypot(*(corners - start).T).max(initial=0.0))


def _edge(run: RunFolder, active: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Plan cells at the rim of the modelled ground, from its active cells (nlay, n)."""
    inside = np.pad(active.any(axis=0).reshape(run.plan_shape), 1)
    middle = inside[1:-1, 1:-1]
    ring = inside[:-2, 1:-1] & inside[2:, 1:-1] & inside[1:-1, :-2] & inside[1:-1, 2:]
    return np.flatnonzero(middle & ~ring)


def _rose(found: Sequence[Influence]) -> Table:
    head = ["stage", "drawdown [m]", "direction", "azimuth [degrees]", "reach from the pit [m]"]
    rows: list[Sequence[object]] = [
        [item.entry.name, item.threshold, way, number * 360 / len(DIRECTIONS), float(reach)]
        for item in found
        for number, (way, reach) in enumerate(zip(DIRECTIONS, item.reach, strict=True))
    ]
    return head, rows


def _areas(found: Sequence[Influence]) -> Table:
    head = [
        "stage",
        "drawdown [m]",
        "area outside the pit [m2]",
        "farthest [m]",
        "toward",
        "model's edge has a say",
    ]
    rows: list[Sequence[object]] = [
        [
            item.entry.name,
            item.threshold,
            float(item.shape.area),
            float(item.reach.max()),
            DIRECTIONS[int(np.argmax(item.reach))],
            "cut off" if item.cut else "yes" if item.near_edge else "no",
        ]
        for item in found
    ]
    return head, rows


def _metres(values: Sequence[float]) -> str:
    return ", ".join(f"{value:g}" for value in values) + " m"
