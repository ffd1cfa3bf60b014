"""Labels that keep out of each other's way."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.figures.style import DPI, INK, PAPER, SOFT_INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]

_POINT = DPI / 72
_DIRECTIONS = np.radians([0, 180, 90, 270, 45, 135, 225, 315, 22, 158, 202, 338])
_BACKING = {"boxstyle": "round,pad=0.12", "facecolor": PAPER, "edgecolor": "none", "alpha": 0.72}


def text_size(text: str, size: float) -> tuple[float, float]:
    """Width and height [px at the sheet's resolution] a text of `size` points takes, roughly."""
    lines = text.split("\n")
    widest = max(
        sum(1.0 if unicodedata.east_asian_width(c) in "WF" else 0.6 for c in line) for line in lines
    )
    return widest * size * _POINT, len(lines) * 1.25 * size * _POINT


class LabelPlacer:
    """Puts labels on axes whose limits are final, each where it covers least.

    Boxes are (x0, y0, x1, y1) in pixels at the sheet's resolution. A box of weight 1 must not be
    covered, a lighter one had better not be.
    """

    def __init__(self, axes: Axes):
        self.axes = axes
        self._frame = axes.get_window_extent()
        self._boxes: list[Floats] = [np.zeros((0, 4))]
        self._weights: list[Floats] = [np.zeros(0)]

    def pixels(self, points: Any) -> Floats:
        """Data coordinates (m, 2) in pixels."""
        return np.asarray(self.axes.transData.transform(np.asarray(points, float).reshape(-1, 2)))

    def block(self, points: Any, radius: float, weight: float = 1.0) -> None:
        """Keep labels off points (m, 2), in data coordinates, by `radius` [pt]."""
        centre, half = self.pixels(points), radius * _POINT
        self._add(np.hstack([centre - half, centre + half]), weight)

    def block_line(self, points: Any, weight: float = 0.3) -> None:
        """Keep labels off a line (m, 2), in data coordinates, if that can be had."""
        corner = self.pixels(points)
        if len(corner) < 2:
            return
        along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(corner, axis=0).T))])
        at = np.arange(0, along[-1] + 1, 10.0)[:4000]
        centre = np.column_stack([np.interp(at, along, corner[:, k]) for k in (0, 1)])
        self._add(np.hstack([centre - 3, centre + 3]), weight)

    def _add(self, boxes: Floats, weight: float) -> None:
        self._boxes.append(boxes)
        self._weights.append(np.full(len(boxes), weight))

    def _cost(self, boxes: Floats) -> tuple[Floats, Floats]:
        """(m,) what each of the boxes (m, 4) covers [px²]: all weights, and weight 1 alone."""
        old, weight = np.concatenate(self._boxes), np.concatenate(self._weights)
        low = np.maximum(boxes[:, None, :2], old[None, :, :2])
        high = np.minimum(boxes[:, None, 2:], old[None, :, 2:])
        shared = np.prod(np.clip(high - low, 0, None), axis=2)
        return shared @ weight, shared[:, weight >= 1].sum(axis=1)

    def _inside(self, boxes: Floats) -> NDArray[np.bool_]:
        frame = self._frame
        return (
            (boxes[:, 0] > frame.x0 + 3)
            & (boxes[:, 1] > frame.y0 + 3)
            & (boxes[:, 2] < frame.x1 - 3)
            & (boxes[:, 3] < frame.y1 - 3)
        )

    def place(
        self,
        point: tuple[float, float],
        text: str,
        size: float = 6.5,
        away_from: tuple[float, float] | None = None,
        must: bool = False,
        near: bool = False,
        **style: Any,
    ) -> bool:
        """Label a point in data coordinates; False if no free place was found near it.

        Parameters
        ----------
        size : of the text [pt].
        away_from : the label goes to the side that is turned away from this point if it can.
        must : take the place that covers least rather than leave the label out.
        near : only beside the point, with no leader.
        """
        at = self.pixels([point])[0]
        width, height = text_size(text, size)
        offsets = self._offsets(at, away_from, width, height)
        if near:
            offsets = offsets[: 2 * len(_DIRECTIONS)]
        centre = at + offsets[:, :2]
        half = np.array([width / 2, height / 2])
        boxes = np.hstack([centre - half, centre + half])
        cost, hard = self._cost(boxes)
        cost = cost + offsets[:, 2] + np.where(hard > 0, 1e6, 0)
        cost = cost + np.where(self._inside(boxes), 0, 1e9)
        best = int(np.argmin(cost))
        if not must and (hard[best] > 0 or cost[best] >= 1e9):
            return False
        self._add(boxes[best : best + 1], 1.0)
        shift = offsets[best, :2] / _POINT
        far = np.hypot(*np.maximum(np.abs(shift) - half / _POINT, 0)) > 5
        self.axes.annotate(
            text,
            point,
            xytext=tuple(shift),
            textcoords="offset points",
            fontsize=size,
            ha="center",
            va="center",
            zorder=9,
            linespacing=1.05,
            bbox=_BACKING,
            arrowprops={
                "arrowstyle": "-",
                "color": SOFT_INK,
                "linewidth": 0.4,
                "shrinkB": 2,
                "shrinkA": 0,
            }
            if far
            else None,
            **{"color": INK, "annotation_clip": True, **style},
        )
        return True

    def _offsets(
        self, at: Floats, away_from: tuple[float, float] | None, width: float, height: float
    ) -> Floats:
        """(m, 3) shift of the label's centre [px] and what the place costs beforehand."""
        found = []
        outward = None if away_from is None else at - self.pixels([away_from])[0]
        for ring, gap in enumerate((5.0, 11.0, 19.0, 30.0, 44.0)):
            angle = _DIRECTIONS
            unit = np.column_stack([np.cos(angle), np.sin(angle)])
            # The box stays outside a circle of radius gap around the point.
            half = np.array([width / 2, height / 2])
            shift = unit * gap * _POINT + np.clip(1.42 * unit, -1, 1) * half
            cost = np.full(len(angle), 25.0 * ring) + np.arange(len(angle))
            if outward is not None and np.hypot(*outward) > 1:
                cost = cost + 60 * (1 - unit @ (outward / np.hypot(*outward)))
            found.append(np.column_stack([shift, cost]))
        return np.vstack(found)

    def place_on_line(
        self, lines: list[Floats], text: str, size: float = 6.0, clear: bool = False
    ) -> bool:
        """Label one of some lines (each (m, 2), data coordinates) on the line itself.

        `clear`: only where nothing at all is covered.
        """
        spots = []
        for line in lines:
            corner = self.pixels(line)
            length = float(np.hypot(*np.diff(corner, axis=0).T).sum())
            if length > 90:
                spots.append(corner[:: max(1, len(corner) // 60)])
        if not spots:
            return False
        centre = np.vstack(spots)
        half = np.array(text_size(text, size)) / 2
        boxes = np.hstack([centre - half - 2, centre + half + 2])
        cost, hard = self._cost(boxes)
        cost = cost + np.where(hard > 0, 1e6, 0) + np.where(self._inside(boxes), 0, 1e9)
        best = int(np.argmin(cost))
        if hard[best] > 0 or cost[best] >= (1.0 if clear else 1e9):
            return False
        # Two labels of one contour, or of neighbours, side by side say nothing twice.
        self._add(boxes[best : best + 1] + np.array([-12, -12, 12, 12]), 1.0)
        x, y = self.axes.transData.inverted().transform(centre[best])
        self.axes.text(
            x,
            y,
            text,
            fontsize=size,
            ha="center",
            va="center",
            color=INK,
            zorder=6,
            bbox={**_BACKING, "pad": 0.1, "boxstyle": "round,pad=0.08", "alpha": 0.85},
        )
        return True


def spread(positions: Floats, gap: float, low: float, high: float) -> Floats:
    """Positions (m,) moved as little as needed to stand `gap` apart within [low, high].

    Where they do not fit, they are spaced evenly.
    """
    order = np.argsort(positions, kind="stable")
    wanted = np.clip(positions[order], low, high)
    count = len(wanted)
    if count < 2:
        return np.clip(positions, low, high)
    room = min(gap, (high - low) / (count - 1))
    # With the even spacing taken out, "apart" means "not decreasing": pool where it decreases.
    base = wanted - room * np.arange(count)
    blocks: list[list[float]] = []
    for value in base:
        blocks.append([float(value), 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            mean, size = blocks.pop()
            blocks[-1][0] = (blocks[-1][0] * blocks[-1][1] + mean * size) / (blocks[-1][1] + size)
            blocks[-1][1] += size
    level = np.concatenate([np.full(int(size), mean) for mean, size in blocks])
    level = np.clip(level, low, high - room * (count - 1))
    moved = np.empty(count)
    moved[order] = level + room * np.arange(count)
    return moved
