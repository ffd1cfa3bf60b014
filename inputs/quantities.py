"""Quantity types of a site file: numbers in SI, or text with a unit, within sensible bounds.

To a type checker they are floats; to pydantic they are floats read by
:func:`wellring.inputs.units.to_si` and bounded.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

from pydantic import BeforeValidator, Field

from wellring.inputs.units import to_si


def _quantity(unit: str, **bounds: Any) -> Any:
    """An annotated float read from a number (SI) or text with a unit, within `bounds`."""
    return Annotated[float, BeforeValidator(lambda value: to_si(value, unit)), Field(**bounds)]


def _or_file(unit: str, low: float, high: float) -> Any:
    """As :func:`_quantity`, but text that is no quantity is kept as a file's name."""

    def read(value: Any) -> Any:
        try:
            number = to_si(value, unit)
        except ValueError:
            if isinstance(value, str) and value.strip():
                return value
            raise
        if not low <= number <= high:
            raise ValueError(f"expected a value from {low:g} to {high:g} {unit}")
        return number

    return Annotated[float | str, BeforeValidator(read)]


if TYPE_CHECKING:
    Level: TypeAlias = float
    Length: TypeAlias = float
    Offset: TypeAlias = float
    Clearance: TypeAlias = float
    Chainage: TypeAlias = float
    Diameter: TypeAlias = float
    GrainSize: TypeAlias = float
    CellSize: TypeAlias = float
    SettlementLimit: TypeAlias = float
    DrawdownLimit: TypeAlias = float
    Conductivity: TypeAlias = float
    JointResistance: TypeAlias = float
    Flow: TypeAlias = float
    Fraction: TypeAlias = float
    Ratio: TypeAlias = float
    Gradient: TypeAlias = float
    SlopeLimit: TypeAlias = float
    Pressure: TypeAlias = float
    Modulus: TypeAlias = float
    Compressibility: TypeAlias = float
    Consolidation: TypeAlias = float
    UnitWeight: TypeAlias = float
    Storage: TypeAlias = float
    BedConductance: TypeAlias = float
    LevelOrFile: TypeAlias = float | str
    RateOrFile: TypeAlias = float | str
else:
    Level = _quantity("m", ge=-2000, le=9000)
    Length = _quantity("m", gt=0, le=1e5)
    Offset = _quantity("m", ge=-1e3, le=1e3)
    Clearance = _quantity("m", ge=0, le=10)
    Chainage = _quantity("m", ge=0, le=1e5)
    Diameter = _quantity("m", ge=0.02, le=3)
    GrainSize = _quantity("m", ge=1e-7, le=0.1)
    CellSize = _quantity("m", ge=0.02, le=100)
    SettlementLimit = _quantity("m", gt=0, le=10)
    DrawdownLimit = _quantity("m", gt=0, le=200)
    Conductivity = _quantity("m/s", ge=1e-14, le=1)
    JointResistance = _quantity("m/s", gt=0, le=1)
    Flow = _quantity("m3/s", gt=0, le=100)
    Fraction = _quantity("1", gt=0, le=1)
    Ratio = _quantity("1", gt=0, le=1e4)
    Gradient = _quantity("1", ge=0, le=1)
    SlopeLimit = _quantity("1", gt=0, le=1)
    Pressure = _quantity("Pa", ge=0, le=1e9)
    Modulus = _quantity("Pa", gt=1e4, le=1e12)
    Compressibility = _quantity("1/Pa", gt=0, le=1e-4)
    Consolidation = _quantity("m2/s", gt=0, le=1)
    UnitWeight = _quantity("N/m3", ge=5e3, le=4e4)
    Storage = _quantity("1/m", gt=1e-9, le=1)
    BedConductance = _quantity("1/s", gt=0, le=1e3)
    LevelOrFile = _or_file("m", -2000, 9000)
    RateOrFile = _or_file("m/s", 0, 1e-4)
