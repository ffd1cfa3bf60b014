"""Friction in pipes: Darcy and Weisbach with Colebrook's factor, or Hazen and Williams."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wellring.inputs.basics.units import GRAVITY

Floats = NDArray[np.float64]

LAMINAR = 2000.0
"""Reynolds number below which the flow is laminar, f = 64/Re (Poiseuille)."""
NOMINAL = np.array(
    [25, 32, 40, 50, 65, 80, 100, 125, 150, 200, 250, 300, 350, 400, 500, 600, 700, 800, 1000]
) * 1e-3  # fmt: skip
"""Nominal diameters (DN of ISO 6708) taken as inner diameters [m]."""


def water_viscosity(temperature: ArrayLike) -> Floats:
    """Dynamic viscosity of water [Pa s] at 0 to 40 °C: Vogel's formula in the form
    2.414e-5 · 10^(247.8/(T − 140)), T in kelvin (constants from memory; within 2.5 %).

    `temperature` [°C] may have any shape; the answer has the same.
    """
    return np.asarray(2.414e-5 * 10 ** (247.8 / (np.asarray(temperature, float) + 133.15)))


def water_density(temperature: ArrayLike) -> Floats:
    """Density of water [kg/m³] at 0 to 40 °C (Tilton and Taylor 1937, from memory; their
    millilitre held 1.000028 cm³, hence 999.972).

    `temperature` [°C] may have any shape; the answer has the same.
    """
    t = np.asarray(temperature, float)
    lighter = (t + 288.9414) * (t - 3.9863) ** 2 / (508929.2 * (t + 68.12963))
    return np.asarray(999.972 * (1 - lighter))


def friction_factor(reynolds: ArrayLike, relative_roughness: ArrayLike) -> Floats:
    """Darcy's friction factor: 64/Re below Re 2000, else Colebrook's equation solved.

    1/√f = −2 log10(ε/(3.7 D) + 2.51/(Re √f)) (Colebrook 1939), by fixed point iteration, which
    shrinks the error several times a step; after 40 steps only rounding is left. Between Re 2000
    and 4000 the turbulent value is the cautious one. Both [-] may be of any shapes that
    broadcast.
    """
    re, rough = np.broadcast_arrays(np.asarray(reynolds, float), np.asarray(relative_roughness))
    turbulent = np.maximum(re, LAMINAR)
    x = np.full(re.shape, 7.0)
    for _ in range(40):
        x = -2 * np.log10(rough / 3.7 + 2.51 * x / turbulent)
    laminar = 64 / np.maximum(re, 1e-9)
    return np.where(re < LAMINAR, laminar, 1 / x**2)


def darcy_weisbach(
    flow: ArrayLike, diameter: ArrayLike, roughness: float, temperature: float
) -> Floats:
    """Head loss per length [-] of `flow` [m³/s] in pipes of `diameter` and `roughness` [m].

    `flow` and `diameter` may be of any shapes that broadcast; `temperature` of the water [°C].
    """
    q, d = np.abs(np.asarray(flow, float)), np.asarray(diameter, float)
    speed = velocity(q, d)
    kinematic = water_viscosity(temperature) / water_density(temperature)
    factor = friction_factor(speed * d / kinematic, roughness / d)
    return np.where(q > 0, factor / d * speed**2 / (2 * GRAVITY), 0.0)


def hazen_williams(flow: ArrayLike, diameter: ArrayLike, c: float) -> Floats:
    """Head loss per length [-], 10.67 Q^1.852/(C^1.852 D^4.8704) (SI form, Williams and Hazen).

    `flow` [m³/s] and `diameter` [m] may be of any shapes that broadcast.
    """
    q, d = np.abs(np.asarray(flow, float)), np.asarray(diameter, float)
    return np.asarray(10.67 * q**1.852 / (c**1.852 * d**4.8704))


def velocity(flow: ArrayLike, diameter: ArrayLike) -> Floats:
    """Mean velocity [m/s] of a flow [m³/s] in a full pipe of `diameter` [m].

    Both may be of any shapes that broadcast.
    """
    return np.asarray(4 * np.abs(np.asarray(flow, float)) / (np.pi * np.asarray(diameter) ** 2))


def sized(flow: float, fastest: float) -> float:
    """Smallest nominal diameter [m] in which `flow` [m³/s] is no faster than `fastest` [m/s]."""
    fits = NOMINAL[velocity(flow, NOMINAL) <= fastest]
    return float(fits[0] if fits.size else np.sqrt(4 * flow / (np.pi * fastest)))


@dataclass(frozen=True)
class PipeLaw:
    """How friction is reckoned, and by which velocity [m/s] pipes are sized.

    `fittings` is the share of the friction that bends, valves and joints add.
    """

    law: Literal["darcy-weisbach", "hazen-williams"] = "darcy-weisbach"
    roughness: float = 1e-4
    c: float = 120.0
    temperature: float = 10.0
    fastest: float = 1.5
    fittings: float = 0.2

    def loss(self, flow: ArrayLike, diameter: ArrayLike, length: ArrayLike) -> Floats:
        """Head loss [m] of `flow` [m³/s] in `diameter` [m] over `length` [m], with fittings.

        All may be of any shapes that broadcast.
        """
        if self.law == "hazen-williams":
            slope = hazen_williams(flow, diameter, self.c)
        else:
            slope = darcy_weisbach(flow, diameter, self.roughness, self.temperature)
        return np.asarray(slope * np.asarray(length) * (1 + self.fittings))

    def diameter(self, flow: float) -> float:
        """Diameter [m] sized by the velocity limit."""
        return sized(flow, self.fastest)
