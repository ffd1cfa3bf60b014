"""[[walls]] of a site file: what holds the pit's sides, and whether it holds water."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import model_validator

from wellring.inputs.basics.quantities import (
    Chainage,
    Conductivity,
    JointResistance,
    Length,
    Level,
    Levels,
    Money,
    Ratio,
)
from wellring.inputs.basics.table import Line, Misfit, Name, Table, Text

WallKind = Literal[
    "sheet pile",
    "secant pile",
    "slurry",
    "soldier pile and lagging",
    "timber sheeting",
    "trench box",
    "none",
]


class WallWindow(Table):
    """A stretch of bad joints: from/to along the wall line [m], leaking `factor` times more."""

    start: Chainage
    end: Length
    factor: Ratio

    @model_validator(mode="after")
    def _ends_after_start(self) -> WallWindow:
        if self.end <= self.start:
            raise Misfit(
                f"an end beyond the window's start at {self.start:g} m", "", "end", self.end
            )
        return self

    def shares(self, along: NDArray[np.float64], length: float) -> NDArray[np.float64]:
        """Which part (m,) of the stretch of line that each face stands for lies in the window.

        A face at `along` (m,) [m] of a line of `length` [m] stands for the line half way to its
        neighbours, so that a window narrower than a cell leaks as much as it should, wherever
        it lies.
        """
        at, face = np.unique(along, return_inverse=True)
        bounds = np.concatenate([[0.0], 0.5 * (at[1:] + at[:-1]), [length]])
        overlap = np.minimum(bounds[1:], self.end) - np.maximum(bounds[:-1], self.start)
        share = np.clip(overlap / np.maximum(np.diff(bounds), 1e-9), 0.0, 1.0)
        return np.asarray(np.where(share > 1e-6, share, 0.0)[face])


class Wall(Table):
    """[[walls]]: one wall along the excavation or a line of its own."""

    kind: WallKind
    name: Text | None = None
    line: Line = "outline"
    toe: Levels | None = None
    top: Level | None = None
    joint_resistance: JointResistance | None = None
    """Inverse joint resistance ρ of EN 12063 [m/s]."""
    pile_width: Length | None = None
    k: Conductivity | None = None
    thickness: Length | None = None
    stage: Name | None = None
    windows: tuple[WallWindow, ...] = ()
    price: Money | None = None
    """Of one m² from its top, or the ground, to its toe, once."""

    @property
    def toes(self) -> tuple[float, ...]:
        """Its toe levels [m]: none, one, or one a corner of its line."""
        if self.toe is None:
            return ()
        return self.toe if isinstance(self.toe, tuple) else (self.toe,)

    def toe_at_corners(self, corners: int) -> tuple[float, ...]:
        """Toe levels [m] at the corners of its line; a closed line repeats its first at the end."""
        if len(self.toes) == 1:
            return self.toes * corners
        return self.toes + self.toes[:1] if len(self.toes) == corners - 1 else self.toes

    @property
    def holds_water(self) -> bool:
        """Whether this kind of wall is a barrier to water."""
        return self.kind in ("sheet pile", "secant pile", "slurry")

    @model_validator(mode="after")
    def _has_toe(self) -> Wall:
        if self.holds_water and self.toe is None:
            raise Misfit("toe, the level of the wall's lower end", "Add toe = -12.0, say.")
        if self.price is not None and self.toe is None:
            raise Misfit("toe beside price, which is of one m² down to it", "Add toe = -12.0, say.")
        if (self.k is None) != (self.thickness is None):
            lacking = "k" if self.k is None else "thickness"
            raise Misfit("k and thickness together", f"Add {lacking}, or take the other one out.")
        if self.k is not None and self.joint_resistance is not None:
            raise Misfit(
                "either joint_resistance or k with thickness",
                "Take one out: both tell the leakage.",
            )
        if self.top is not None and self.toes and self.top <= max(self.toes):
            raise Misfit(f"a top above the toe ({max(self.toes):g} m)", "", "top", self.top)
        return self
