"""How fast the head of a confined aquifer comes back when pumping stops, after Theis (1935).

From a steady state the head at a place rises by s(t) = Σ Q_i/(4πT)·W(r_i²·S/(4·T·t)), W the
exponential integral E1: the drawdown that the same wells would cause from rest. In an aquifer that
ends nowhere; a source nearby makes it less, a wall or an edge near the wells makes it more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SOONEST, _LATEST = 1e-6, 1e10
"""Bounds of the times looked at [s]."""


@dataclass(frozen=True)
class Aquifer:
    """Transmissivity [m²/s] and storage coefficient [-] of a confined aquifer at one place."""

    transmissivity: float
    storage: float


def recovery(aquifer: Aquifer, flow: Floats, distance: Floats, seconds: float) -> float:
    """Rise of the head [m] so many seconds after wells of `flow` (k,) [m³/s] stopped.

    Parameters
    ----------
    distance : (k,) of the wells to the place [m].
    """
    from scipy.special import exp1

    t, s = aquifer.transmissivity, aquifer.storage
    return float(np.sum(flow / (4 * np.pi * t) * exp1(distance**2 * s / (4 * t * seconds))))


def seconds_to_rise(aquifer: Aquifer, flow: Floats, distance: Floats, rise: float) -> float | None:
    """Time [s] in which the head rises by `rise` [m]; None where it never does."""
    from scipy.optimize import brentq

    if rise <= 0.0:
        return 0.0
    if not flow.size or recovery(aquifer, flow, distance, _LATEST) < rise:
        return None
    if recovery(aquifer, flow, distance, _SOONEST) >= rise:
        return 0.0
    found = brentq(
        lambda x: recovery(aquifer, flow, distance, float(np.exp(x))) - rise,
        np.log(_SOONEST),
        np.log(_LATEST),
    )
    return float(np.exp(found))
