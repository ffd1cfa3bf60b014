"""Headers: flow and head along a pipe that gathers or feeds a row of points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.water.pipe_losses import PipeLaw, velocity

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Header:
    """One header between its points and its station.

    Parameters
    ----------
    names : of its points, in their order along it.
    along : distance (n,) of each point from the first [m].
    station : index of the point where the station stands.
    diameter : inner, the same all along [m].
    carried : flow (n,) [m³/s] in the pipe from each point toward the station; at the station all.
    loss : head (n,) [m] lost between each point and the station.
    speed : fastest flow [m/s].
    """

    names: list[str]
    along: Floats
    station: int
    diameter: float
    carried: Floats
    loss: Floats
    speed: float

    @property
    def length(self) -> float:
        """Of the whole header [m]."""
        return float(self.along[-1])

    @property
    def worst(self) -> float:
        """Head lost from the worst point [m]."""
        return float(self.loss.max())


def lay_header(
    names: list[str],
    xy: Floats,
    flow: Floats,
    law: PipeLaw,
    *,
    station: int | None = None,
    diameter: float | None = None,
) -> Header:
    """A header along points `xy` (n, 2) [m] with flows (n,) [m³/s], straight from one to the next.

    Parameters
    ----------
    station : index of the point where its station stands; the middle one where left out.
    diameter : inner [m]; sized by the law's velocity where left out.
    """
    n = len(names)
    steps = np.hypot(*np.diff(xy, axis=0).T) if n > 1 else np.zeros(0)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = n // 2 if station is None else station
    # Pipe i lies between points i and i + 1; before the station it carries all points up to i.
    before, after = np.cumsum(flow), np.cumsum(flow[::-1])[::-1]
    pipe = np.where(np.arange(n - 1) < at, before[:-1], after[1:])
    largest = float(pipe.max()) if pipe.size else float(flow.sum())
    inner = diameter or law.diameter(largest)
    lost = law.loss(pipe, inner, steps)
    edge = np.concatenate([[0.0], np.cumsum(lost)])
    carried = np.where(np.arange(n) < at, before, after)
    carried[at] = flow.sum()
    return Header(
        names, along, at, inner, carried, np.abs(edge - edge[at]), float(velocity(largest, inner))
    )
