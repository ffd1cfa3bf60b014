"""Power of pumps: ρ g Q H over the efficiencies of pump and motor."""

from __future__ import annotations

from wellring.inputs.basics.units import GRAVITY
from wellring.postprocess.water.pipe_losses import water_density

HOURS_A_WEEK = 168.0


def water_power(flow: float, head: float, temperature: float = 10.0) -> float:
    """Power [W] that lifts `flow` [m³/s] by `head` [m]: ρ g Q H."""
    return float(water_density(temperature)) * GRAVITY * flow * max(head, 0.0)


def pump_power(flow: float, head: float, efficiency: float, temperature: float = 10.0) -> float:
    """Power [W] a pump (and motor) of the overall `efficiency` takes."""
    return water_power(flow, head, temperature) / efficiency


def weekly_energy(power: float) -> float:
    """Energy [kWh] of a week of `power` [W] without a pause."""
    return power / 1e3 * HOURS_A_WEEK
