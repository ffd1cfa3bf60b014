"""What all drainage methods share: a point on the grid, how it is driven, and what limits it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wellring.model.drainage.pump_curve import PumpCurve
from wellring.model.drainage.suction_header import SuctionHeader

Floats = NDArray[np.float64]

Governing = Literal[
    "level", "pump", "screen", "rate", "dry", "no inflow", "not used", "header pump", "share"
]


@dataclass(frozen=True)
class PointDrive:
    """How one point is driven in a solve.

    `held` is the level kept in it [m] or None; `rate` the flow taken from it [m³/s] or None; both
    None: it is shut. `governing` says which limit that reflects.

    `growth` [m²/s], beside a rate, lets the flow answer to the level h in the point: it is
    growth·(h − still), and nothing at `still` [m] and below; `rate` is then what that is expected
    to come to.
    """

    held: float | None
    rate: float | None
    governing: Governing
    growth: float | None = None
    still: float = 0.0

    @property
    def shut(self) -> bool:
        """Whether the point takes no water at all."""
        return self.held is None and self.rate is None


@dataclass(frozen=True)
class GridPoint:
    """A drainage point on the grid.

    Parameters
    ----------
    name, x, y : its name and site coordinates [m].
    method : the drainage method it belongs to.
    radius : of the borehole against the ground [m].
    screen : (bottom, top) levels [m].
    node : (m,) cells its screen opens to, top down.
    conductance : (m,) [m²/s] between each cell and the water in the point.
    lowest : level below which the water in it cannot be drawn [m].
    wanted : flow asked of it [m³/s], or None where a level is to be held.
    pump_capacity : the most its pump gives [m³/s], or None where that is not limited.
    screen_k, screen_bottom, screen_top : (m,) kh [m/s] and levels [m] of the screened cells.
    opening : factor on kh of those cells where the point fills much of them, else 1.
    injects : gives water to the ground. Levels and flows of such a point are mirrored (times −1)
        everywhere but in the solver's files, so that every limit reads alike: `lowest` is minus
        the level to which it may rise, a flow is what it gives.
    follows_floor : its lowest level is the formation of the stage (a passive well).
    group, group_capacity : the header it hangs on and the most that header's pump gives [m³/s].
    header : the suction header it hangs on, whose friction takes some of its lift.
    share : part of the scheme's discharge that its group returns.
    curve, delivery : its pump's curve, and the level [m] to which the pump lifts the water, pipe
        losses included.
    square_loss : C [s²/m⁵] of the loss C·Q² within the well. The solver knows nothing of it: its
        level in the point is that before this loss, the water in the well stands C·Q² lower.
    rates : flow asked of it in each stage [m³/s], 0 where it stands still; None where it is the
        same in all.
    """

    name: str
    x: float
    y: float
    method: str
    radius: float
    screen: tuple[float, float]
    node: NDArray[np.intp]
    conductance: Floats
    lowest: float
    wanted: float | None
    pump_capacity: float | None
    screen_k: Floats
    screen_bottom: Floats
    screen_top: Floats
    opening: float = 1.0
    injects: bool = False
    follows_floor: bool = False
    group: str | None = None
    group_capacity: float | None = None
    header: SuctionHeader | None = None
    share: float | None = None
    curve: PumpCurve | None = None
    delivery: float = 0.0
    square_loss: float = 0.0
    rates: tuple[float, ...] | None = None

    def on(self, active: NDArray[np.bool_]) -> GridPoint:
        """The point with only the cells that take part: `active` (nlay·nrow·ncol,) flags them."""
        keep = active[self.node]
        if keep.all():
            return self
        return replace(
            self,
            node=self.node[keep],
            conductance=self.conductance[keep],
            screen_k=self.screen_k[keep],
            screen_bottom=self.screen_bottom[keep],
            screen_top=self.screen_top[keep],
        )

    def level_within(self, state: PointState) -> float:
        """Level [m] of the water in the point itself, after the loss C·Q²."""
        return state.level - self.square_loss * max(state.flow, 0.0) ** 2

    def pump_gives(self, level: float) -> float | None:
        """The most its pump gives [m³/s] from water at `level` [m]; None: not limited."""
        if self.curve is not None:
            return self.curve.most(self.delivery - level)
        return self.pump_capacity

    def worse(self, linear: float) -> GridPoint:
        """The point with a further loss `linear` [s/m²] times its flow, spread over its screen.

        It is in series with the whole screen; where part of that runs dry the loss of the rest
        grows as that of a skin would.
        """
        if linear == 0.0 or self.node.size == 0:
            return self
        return self.clogged(1.0 + linear * float(self.conductance.sum()))

    @property
    def sign(self) -> float:
        """+1 where it takes water, −1 where it gives it."""
        return -1.0 if self.injects else 1.0

    def clogged(self, factor: float) -> GridPoint:
        """The point with a screen that is `factor` times as hard to pass."""
        return replace(self, conductance=self.conductance / factor)

    def at_floor(self, formation: float) -> GridPoint:
        """The point in a stage with this formation [m]."""
        if not self.follows_floor:
            return self
        return replace(self, lowest=max(formation, self.screen[0]))

    def in_stage(self, stage: int) -> GridPoint:
        """The point with the flow that is asked of it in a stage."""
        return self if self.rates is None else replace(self, wanted=self.rates[stage])

    @property
    def number(self) -> int:
        """Its number in its table, from 0."""
        return int(self.name.rpartition(" ")[2]) - 1

    @property
    def idle(self) -> bool:
        """Whether nothing at all is asked of it."""
        return self.wanted == 0.0

    def screen_limit(self, level: float) -> float:
        """The most its screen lets in [m³/s]; not limited where the point gives water.

        Nothing throttles a passive well, but what enters faster carries sand: it counts no further.
        """
        if self.injects:
            return float("inf")
        return self.screen_capacity(level)

    def screen_capacity(self, level: float) -> float:
        """What the wetted screen takes in without sand [m³/s] with its water at `level` [m].

        Sichardt (1928): the entrance gradient at the borehole wall stays below 1/(15·√k), k in
        m/s, so Q ≤ 2π·r·Σ l·√k / 15 over the wetted lengths l.
        """
        wetted = np.clip(level, self.screen_bottom, self.screen_top) - self.screen_bottom
        return float(2 * np.pi * self.radius * np.sum(wetted * np.sqrt(self.screen_k)) / 15.0)


@dataclass(frozen=True)
class PointState:
    """What a solve gave for one point: level in it [m] and flow taken from the ground [m³/s]."""

    level: float
    flow: float
