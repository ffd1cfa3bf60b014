"""How high a suction pump can lift water: the atmosphere's limit, and the practical one."""

from __future__ import annotations

import math

STANDARD_GRAVITY = 9.80665
"""[m/s²], for the weight of an atmosphere (ISO 80000-3)."""

PRACTICAL_LOSSES = 4.5
"""What air leaks, screen, riser and header take of the theoretical head [m]: it leaves about
5.7 m at sea level, the middle of the trade's 5 to 6 m (common practice, no source)."""


def air_pressure(altitude: float) -> float:
    """Air pressure [Pa] at `altitude` [m] above sea level: standard atmosphere (ISO 2533)."""
    return 101325.0 * (1.0 - 2.25577e-5 * altitude) ** 5.25588


def vapour_pressure(temperature: float) -> float:
    """Saturation vapour pressure of water [Pa] at `temperature` [°C] (Magnus formula)."""
    return 610.94 * math.exp(17.625 * temperature / (temperature + 243.04))


def water_density(temperature: float) -> float:
    """Density of water [kg/m³] at `temperature` [°C], 0 to 40 (Tanaka et al. 2001, simplified)."""
    return 999.97 * (
        1.0
        - (temperature - 3.983) ** 2 * (temperature + 301.797) / (522528.9 * (temperature + 69.349))
    )


def theoretical_lift(altitude: float, temperature: float) -> float:
    """Head [m] of water the air can push up a perfect vacuum, before any loss.

    >>> round(theoretical_lift(0.0, 10.0), 2)
    10.21
    """
    weight = water_density(temperature) * STANDARD_GRAVITY
    return (air_pressure(altitude) - vapour_pressure(temperature)) / weight


def practical_lift(altitude: float, temperature: float, losses: float = PRACTICAL_LOSSES) -> float:
    """Lift [m] below the header that can be counted on; never below zero."""
    return max(theoretical_lift(altitude, temperature) - losses, 0.0)
