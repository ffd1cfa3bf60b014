"""Quantities at the edge: text with units to SI on the way in, SI to shown units on the way out.

Inside wellring every physical quantity is an SI float (m, s, kg, N, Pa; levels in m; money has no
unit). This module is the only place that converts. Pint's registry costs about 0.4 s, so it is
made only when a quantity with a unit is met that :data:`_COMMON` does not hold.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

GRAVITY = 9.81
"""Acceleration of gravity [m/s²], the rounded value of the trade."""
WATER_UNIT_WEIGHT = 9810.0
"""Unit weight of water γw [N/m³]."""
DAY = 86400.0
"""Seconds in a day."""
YEAR = 365.25 * DAY
"""Seconds in a year of the Julian calendar (IAU), as pint has it."""

_QUANTITY = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(\S.*?)?\s*$")

_FACTOR = re.compile(r"([A-Za-zµ°%_]+)(?:(?:\^|\*\*)?(-?[1-5])(?!\d))?")
_UNIT = re.compile(rf"(?:1? ?/ ?)?{_FACTOR.pattern}(?: ?[*/ ] ?{_FACTOR.pattern})*")

_FOOT = 0.3048
_GALLON = 3.785411784e-3
_POUND_FORCE = 0.45359237 * 9.80665
# Exact by definition: international foot, US liquid gallon, avoirdupois pound, standard gravity
# (NIST Special Publication 811, 2008, appendix B.8).

# Units met in nearly every site file, so that reading one does not need pint's registry.
_COMMON: dict[str, dict[str, float]] = {
    "m": {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "km": 1e3, "ft": 0.3048, "in": 0.0254},
    "m/s": {
        "m/s": 1.0,
        "cm/s": 1e-2,
        "m/day": 1 / DAY,
        "m/d": 1 / DAY,
        "ft/day": 0.3048 / DAY,
        "mm/year": 1e-3 / YEAR,
    },
    "m3/s": {
        "m3/s": 1.0,
        "m3/h": 1 / 3600,
        "m3/day": 1 / DAY,
        "m3/d": 1 / DAY,
        "L/s": 1e-3,
        "l/s": 1e-3,
        "L/min": 1e-3 / 60,
        "gpm": _GALLON / 60,
        "GPM": _GALLON / 60,
        "mgd": 1e6 * _GALLON / DAY,
        "MGD": 1e6 * _GALLON / DAY,
        "cfs": _FOOT**3,
    },
    "m3": {"m3": 1.0, "L": 1e-3, "l": 1e-3, "gal": _GALLON},
    "N/m3": {
        "N/m3": 1.0,
        "kN/m3": 1e3,
        "pcf": _POUND_FORCE / _FOOT**3,
        "lb/ft3": _POUND_FORCE / _FOOT**3,
    },
    "Pa": {
        "Pa": 1.0,
        "kPa": 1e3,
        "MPa": 1e6,
        "bar": 1e5,
        "psf": _POUND_FORCE / _FOOT**2,
        "ksf": 1e3 * _POUND_FORCE / _FOOT**2,
        "tsf": 2e3 * _POUND_FORCE / _FOOT**2,
    },
    "1/s": {"1/s": 1.0, "1/day": 1 / DAY, "1/d": 1 / DAY},
    "1/m": {"1/m": 1.0, "1/ft": 1 / 0.3048},
    "1/Pa": {"1/Pa": 1.0, "m2/MN": 1e-6, "m2/kN": 1e-3, "1/MPa": 1e-6, "1/kPa": 1e-3},
    "m2/s": {"m2/s": 1.0, "m2/year": 1 / YEAR, "m2/day": 1 / DAY, "m2/d": 1 / DAY},
    "s/m2": {"s/m2": 1.0, "h/m2": 3600.0, "day/m2": DAY, "d/m2": DAY},
    "s2/m5": {"s2/m5": 1.0, "h2/m5": 3600.0**2, "day2/m5": DAY**2, "min2/m5": 3600.0},
    "s": {"s": 1.0, "h": 3600.0, "day": DAY, "days": DAY, "d": DAY, "min": 60.0},
}

#: What each dimension is called in messages, with an example a user can copy.
EXAMPLES = {
    "m": 'a length such as 9.5 or "9.5 m" or "31 ft"',
    "m/s": 'a speed such as 2e-4 or "2e-4 m/s" or "17 m/day"',
    "m3/s": 'a flow such as 0.01 or "40 m3/h" or "150 gpm"',
    "m3": 'a volume such as 20000 or "20000 m3" or "5e6 gal"',
    "N/m3": 'a unit weight such as 18000 or "18 kN/m3"',
    "Pa": 'a pressure such as 18000 or "18 kPa"',
    "1/s": 'a conductance per area such as 1e-6 or "1e-6 1/s"',
    "1/m": 'a specific storage such as 1e-5 or "1e-5 1/m"',
    "1/Pa": 'a compressibility such as 3e-7 or "0.3 m2/MN"',
    "m2/s": 'a coefficient of consolidation such as 6e-8 or "2 m2/year"',
    "s": 'a duration such as 3600 or "1 h"',
    "1": 'a plain number or a fraction such as "1/500"',
    "s/m2": 'a loss per flow such as 50 or "50 s/m2"',
    "s2/m5": 'a loss per squared flow such as 1900 or "1900 s2/m5"',
    "W": 'a power such as 4000 or "4 kW"',
    "degC": "a temperature such as 12",
}


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(cache_folder=None)


def to_si(value: float | str, unit: str) -> float:
    """Convert `value` to the SI unit `unit`.

    Parameters
    ----------
    value : a number, taken to be in `unit` already, or text such as ``"150 gpm"``. For the
        dimensionless unit "1" a fraction ``"1/500"`` or a percentage ``"2 %"`` is also read.
    unit : one of the keys of :data:`EXAMPLES`.

    Returns
    -------
    float : finite value in `unit`.

    Raises
    ------
    ValueError : no finite number can be made of it, or its unit has another dimension. The
        message is what was expected, ready for a user.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(f"expected {EXAMPLES[unit]}")
    if isinstance(value, str):
        number = _parse(value, unit)
    else:
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
    if not math.isfinite(number):
        raise ValueError(f"expected {EXAMPLES[unit]}, and finite")
    return number


def _parse(text: str, unit: str) -> float:
    if unit == "1":
        return _parse_ratio(text)
    match = _QUANTITY.match(text)
    if match is None:
        raise ValueError(f"expected {EXAMPLES[unit]}")
    number, symbol = float(match.group(1)), match.group(2)
    if symbol is None or symbol == unit:
        return number
    factor = _COMMON.get(unit, {}).get(symbol)
    if factor is not None:
        return number * factor
    return _parse_with_pint(number, symbol, unit)


def _parse_ratio(text: str) -> float:
    fraction = re.fullmatch(r"\s*([\d.]+)\s*/\s*([\d.]+)\s*", text)
    percent = re.fullmatch(r"\s*([-+\d.eE]+)\s*%\s*", text)
    try:
        if fraction:
            return float(fraction.group(1)) / float(fraction.group(2))
        return float(percent.group(1)) / 100 if percent else float(text)
    except (ValueError, ZeroDivisionError):
        raise ValueError(f"expected {EXAMPLES['1']}") from None


def _parse_with_pint(number: float, symbol: str, unit: str) -> float:
    # "m3/h" is the trade's way of writing; pint wants m**3/h. What is not a product of names with
    # exponents of one digit is refused first: no expression of a file is ever evaluated.
    text = symbol.replace("²", "2").replace("³", "3")
    if len(text) > 40 or not _UNIT.fullmatch(text):
        raise ValueError(f"expected {EXAMPLES[unit]}")
    text = f"1{text}" if text.startswith("/") else text
    text = _FACTOR.sub(lambda found: f"{found[1]}**{found[2] or 1}", text)
    registry = _registry()
    try:
        quantity = registry.Quantity(number, registry.parse_units(text))
        target = re.sub(r"([A-Za-z])([2-5])", r"\1**\2", unit)
        return float(quantity.to(target).magnitude)
    except Exception:
        raise ValueError(f"expected {EXAMPLES[unit]}") from None


@dataclass(frozen=True)
class Shown:
    """How one kind of quantity is shown: its unit's text and the factor from SI."""

    unit: str
    factor: float
    digits: int = 2

    def number(self, value: float) -> float:
        """`value` (SI) in the shown unit."""
        return value * self.factor

    def text(self, value: float | None, digits: int | None = None) -> str:
        """`value` (SI) as text with its unit, "–" for None or not finite."""
        if value is None or not math.isfinite(value):
            return "–"
        places = self.digits if digits is None else digits
        return f"{value * self.factor:,.{places}f} {self.unit}"


_METRIC = {
    "length": Shown("m", 1.0),
    "level": Shown("m", 1.0),
    "settlement": Shown("mm", 1e3, 1),
    "flow": Shown("m³/h", 3600.0, 1),
    "speed": Shown("m/s", 1.0, 10),
    "area": Shown("m²", 1.0, 0),
    "volume": Shown("m³", 1.0, 0),
}
_FOOT = 1 / 0.3048
_US = {
    "length": Shown("ft", _FOOT),
    "level": Shown("ft", _FOOT),
    "settlement": Shown("in", 1 / 0.0254),
    "flow": Shown("gpm", 60 / 3.785411784e-3, 0),
    "speed": Shown("ft/day", _FOOT * DAY, 4),
    "area": Shown("ft²", _FOOT**2, 0),
    "volume": Shown("ft³", _FOOT**3, 0),
}


def shown(kind: str, system: str) -> Shown:
    """How `kind` ("length", "flow", …) is shown in `system` ("metric" or "us")."""
    return (_US if system == "us" else _METRIC)[kind]


def conductivity_text(value: float, system: str) -> str:
    """A hydraulic conductivity [m/s] as text: powers of ten in metric, ft/day in US units."""
    if system == "us":
        return f"{value * _FOOT * DAY:.3g} ft/day"
    return f"{value:.1e} m/s"
