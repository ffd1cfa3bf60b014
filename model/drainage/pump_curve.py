"""What a well's pump gives against the lift: more where the water stands higher in the well."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.drainage import Pump

Floats = NDArray[np.float64]

SHUT_OFF = 4.0 / 3.0
"""Head at no flow over the rated head, where only the rated point is known: H = 4/3·H_r −
1/3·H_r·(Q/Q_r)² (common practice for a pump known by one point, no source)."""


@dataclass(frozen=True)
class PumpCurve:
    """A pump's curve: flows (n,) [m³/s] rising, heads (n,) [m] falling, n ≥ 2."""

    flow: Floats
    head: Floats

    def most(self, lift: float) -> float:
        """The most it gives [m³/s] against `lift` [m], straight between the curve's points.

        Never more than the last point's flow. Below the first point's flow the curve goes on at
        its first slope until it gives nothing.
        """
        if lift <= self.head[-1]:
            return float(self.flow[-1])
        if lift > self.head[0]:
            slope = (self.flow[1] - self.flow[0]) / (self.head[1] - self.head[0])
            return max(float(self.flow[0] + slope * (lift - self.head[0])), 0.0)
        return float(np.interp(-lift, -self.head, self.flow))

    @property
    def rated(self) -> float:
        """The most it ever gives [m³/s]."""
        return float(self.flow[-1])


def curve_of(pump: Pump) -> PumpCurve | None:
    """The curve of a pump: its points, or one through its capacity at its rated head, or none."""
    if pump.curve:
        flow, head = np.array(pump.curve).T
        return PumpCurve(flow, head)
    if pump.capacity is None or pump.head is None:
        return None
    share = np.linspace(0.0, 1.0, 101)
    head = pump.head * (SHUT_OFF - (SHUT_OFF - 1.0) * share**2)
    # Flat at no flow: a straight first piece keeps heads falling.
    return PumpCurve(pump.capacity * share, head)
