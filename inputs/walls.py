"""[[walls]] of a site file: what holds the pit's sides, and whether it holds water."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from wellring.inputs.quantities import (
    Chainage,
    Conductivity,
    JointResistance,
    Length,
    Level,
    Ratio,
)
from wellring.inputs.table import Name, Point, Table

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


class Wall(Table):
    """[[walls]]: one wall along the excavation or a line of its own."""

    kind: WallKind
    name: str | None = None
    line: str | tuple[Point, ...] = "outline"
    toe: Level | tuple[Level, ...] | None = None
    top: Level | None = None
    joint_resistance: JointResistance | None = None
    """Inverse joint resistance ρ of EN 12063 [m/s]."""
    pile_width: Length | None = None
    k: Conductivity | None = None
    thickness: Length | None = None
    stage: Name | None = None
    windows: tuple[WallWindow, ...] = ()

    @property
    def toes(self) -> tuple[float, ...]:
        """Its toe levels [m]: none, one, or one a corner of its line."""
        if self.toe is None:
            return ()
        return self.toe if isinstance(self.toe, tuple) else (self.toe,)

    @property
    def holds_water(self) -> bool:
        """Whether this kind of wall is a barrier to water."""
        return self.kind in ("sheet pile", "secant pile", "slurry")

    @model_validator(mode="after")
    def _has_toe(self) -> Wall:
        if self.holds_water and self.toe is None:
            raise ValueError("expected toe (level of the wall's lower end)")
        if (self.k is None) != (self.thickness is None):
            raise ValueError("expected k and thickness together")
        if self.k is not None and self.joint_resistance is not None:
            raise ValueError("expected either joint_resistance or k with thickness")
        return self
