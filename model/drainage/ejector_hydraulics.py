"""What an ejector yields: flow ratio from head ratio, and the station that feeds it.

Notation of Gosline and O'Brien (1934; definitions from memory): N = (H_d − H_s)/(H_n − H_d), the
head ratio of delivery, suction and nozzle supply; M = Q_s/Q_n, the flow ratio of yield to supply;
efficiency η = M·N.
"""

from __future__ import annotations

from dataclasses import dataclass

from wellring.inputs.basics.units import WATER_UNIT_WEIGHT


def head_ratio(delivery: float, suction: float, supply: float) -> float:
    """N from the heads [m] of delivery, suction and nozzle supply.

    Raises
    ------
    ValueError : the supply head does not exceed the delivery head; the ejector cannot work.

    >>> round(head_ratio(22.0, 0.0, 80.0), 5)
    0.37931
    """
    if supply <= delivery:
        raise ValueError(
            f"the supply head at the nozzle ({supply:.1f} m) must exceed the delivery head "
            f"({delivery:.1f} m)"
        )
    return (delivery - suction) / (supply - delivery)


def yield_capacity(
    nozzle_flow: float, delivery: float, suction: float, supply: float, efficiency: float
) -> float:
    """The most one ejector draws [m³/s] from its nozzle flow [m³/s]: Q_s = Q_n · η/N."""
    return nozzle_flow * efficiency / head_ratio(delivery, suction, supply)


@dataclass(frozen=True)
class Station:
    """The pump station of a group of ejectors: flows [m³/s], pressure [Pa], power [W]."""

    supply: float
    drawn: float
    returned: float
    pressure: float
    power: float


def station(
    ejectors: int, nozzle_flow: float, drawn: float, pressure: float, pump_efficiency: float
) -> Station:
    """Supply, return and power of a station; what returns is always supply plus yield.

    Parameters
    ----------
    drawn : water all its ejectors draw from the ground [m³/s].
    pressure : gauge pressure of the supply [Pa].
    """
    supply = ejectors * nozzle_flow
    return Station(supply, drawn, supply + drawn, pressure, supply * pressure / pump_efficiency)


def head_of_pressure(pressure: float) -> float:
    """Head [m] of a gauge pressure [Pa]."""
    return pressure / WATER_UNIT_WEIGHT
