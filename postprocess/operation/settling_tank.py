"""The settling tank: how fast grains sink (Stokes), and what a tank of a given area keeps."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wellring.inputs.basics.units import GRAVITY
from wellring.inputs.site.operations import SettlingTank
from wellring.postprocess.water.pipe_losses import water_density, water_viscosity

GRAIN_DENSITY = 2650.0
"""Of quartz [kg/m³]."""
STOKES_REYNOLDS = 0.5
"""Reynolds number beyond which Stokes' speed is too fast by more than about a tenth."""


def stokes_velocity(grain: float, temperature: float, density: float = GRAIN_DENSITY) -> float:
    """Speed [m/s] at which a ball of diameter `grain` [m] sinks: (ρs − ρ) g d²/(18 μ) (Stokes)."""
    water, mu = float(water_density(temperature)), float(water_viscosity(temperature))
    return (density - water) * GRAVITY * grain**2 / (18 * mu)


def reynolds(grain: float, speed: float, temperature: float) -> float:
    """Reynolds number of a grain [m] that sinks at `speed` [m/s]."""
    water, mu = float(water_density(temperature)), float(water_viscosity(temperature))
    return water * speed * grain / mu


def settling_velocity(grain: float, temperature: float, density: float = GRAIN_DENSITY) -> float:
    """Speed [m/s]: Stokes, slowed by 1 + 0.15 Re^0.687 (Schiller and Naumann 1933, Re < 800)."""
    from scipy.optimize import brentq

    free = stokes_velocity(grain, temperature, density)

    def excess(speed: float) -> float:
        return speed * (1 + 0.15 * reynolds(grain, speed, temperature) ** 0.687) - free

    return float(brentq(excess, 0.0, free, xtol=1e-15, rtol=1e-12))


@dataclass(frozen=True)
class Settling:
    """A tank at one flow: surface load, settling velocity [m/s], area it needs [m²], and so on.

    `smallest` [m] is the grain that just settles by Stokes, `forward` the flow's velocity [m/s],
    `minutes` how long the water stays.
    """

    load: float
    speed: float
    reynolds: float
    area: float
    area_needed: float
    smallest: float
    forward: float
    minutes: float
    keeps: bool
    velocity_limit: float | None = None


def settle(tank: SettlingTank, flow: float, temperature: float) -> Settling:
    """What a tank does with `flow` [m³/s]: it keeps grains that sink faster than flow over area
    (Hazen 1904)."""
    area = tank.length * tank.width
    speed = settling_velocity(tank.particle, temperature)
    load = flow / area
    unit = stokes_velocity(1.0, temperature)
    return Settling(
        load=load,
        speed=speed,
        reynolds=reynolds(tank.particle, speed, temperature),
        area=area,
        area_needed=flow / speed,
        smallest=math.sqrt(load / unit),
        forward=flow / (tank.width * tank.depth),
        minutes=area * tank.depth / flow / 60 if flow > 0 else math.inf,
        keeps=load <= speed,
        velocity_limit=tank.velocity_limit,
    )
