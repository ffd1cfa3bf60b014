"""Published ranges for soils, and conductivity estimated from grain size.

Values marked "value from memory" were not read again in their source; they only fill what a site
file leaves out, and every filled value is printed as an assumption.
"""

from __future__ import annotations

from wellring.inputs.basics.units import GRAVITY

HAZEN_RANGE = (1e-4, 3e-3)
"""d10 [m] for which Hazen's formula is meant (uniform loose sands; value from memory)."""

DEFAULT_UNIT_WEIGHT = 19e3
"""Saturated unit weight [N/m³] where a soil gives none (common practice, no source)."""

DEFAULT_ANISOTROPY = 10.0
"""kh/kv where a soil gives no kv (common practice for bedded deposits, no source)."""


def hazen_conductivity(d10: float) -> float:
    """Hydraulic conductivity [m/s] of a uniform loose sand from d10 [m].

    Hazen (1892, 1911): k [cm/s] = 100 · d10² with d10 in cm, for water of about 10 °C.

    >>> round(hazen_conductivity(0.2e-3), 7)
    0.0004
    """
    return 100.0 * (d10 * 100.0) ** 2 / 100.0


def kozeny_carman_conductivity(d: float, porosity: float, viscosity: float = 1.307e-6) -> float:
    """Hydraulic conductivity [m/s] from an effective grain size [m] and porosity.

    Kozeny–Carman, after Bear (1972): k = g/ν · n³/(180 (1−n)²) · d², with the kinematic
    viscosity ν [m²/s] of water (default 10 °C).

    >>> round(kozeny_carman_conductivity(0.2e-3, 0.35), 9)
    0.000169262
    """
    return GRAVITY / viscosity * porosity**3 / (180 * (1 - porosity) ** 2) * d**2


def default_specific_yield(kh: float) -> float:
    """Specific yield where a soil gives none: coarse to fine by conductivity [m/s].

    Rounded from the means of Johnson (1967), USGS Water-Supply Paper 1662-D (value from memory).
    """
    for lowest_k, specific_yield in ((1e-4, 0.25), (1e-5, 0.20), (1e-7, 0.10)):
        if kh >= lowest_k:
            return specific_yield
    return 0.03


def default_specific_storage(kh: float) -> float:
    """Specific storage [1/m] where a soil gives none: sands and gravels stiffer than clays.

    Order of magnitude after Domenico and Mifflin (1965) (value from memory).
    """
    return 2e-5 if kh >= 1e-5 else (1e-4 if kh >= 1e-7 else 5e-4)
